//! A working on the page: a picture with the digits in their columns, and the same in words.

use qbank::columns::board::{Board, BoardRow, Cell, Mark, Role};
use qbank::decimal::Decimal;
use qbank::locale::Locale;
use qbank::working::Block;

use super::{Letters, Line, Picture, number_line, told};
use crate::pages::spoken::{Spoken, Voice};
use crate::texts::Texts;

/// Width of a column.
const COLUMN: i32 = 34;
/// Height of a row of digits.
const ROW: i32 = 36;
/// Height of a row of carries.
const SMALL_ROW: i32 = 26;
/// Room at the left for a sign.
const SIGN: i32 = 34;
/// Room around everything.
const EDGE: i32 = 8;
/// Width of a letter of a divisor.
const LETTER: i32 = 15;

/// One operation of a working.
#[derive(Debug, Clone)]
pub struct WorkedPicture {
    /// The pictures; none where a line of text says it all.
    pub pictures: Vec<Picture>,
    /// The working in words, a sentence each.
    pub told: Vec<Spoken>,
}

/// Who a working is drawn for.
#[derive(Debug, Clone)]
pub struct Painter {
    pub(super) texts: &'static Texts,
    pub(super) locale: Locale,
    pub(super) voice: Voice,
}

impl Painter {
    /// For readers of that locale.
    pub fn new(locale: &str) -> Self {
        Self {
            texts: Texts::of(locale),
            locale: Locale::by_tag(locale).unwrap_or(Locale::EN_US),
            voice: Voice::plain(locale),
        }
    }

    /// The number as the region writes it.
    pub(super) fn number(&self, number: &Decimal) -> String {
        number.to_string().replace('.', &self.locale.point.to_string())
    }

    /// The blocks of a working; where `by_shift`, subtractions are shown on a number line, too.
    pub fn paint(&self, blocks: &[Block], by_shift: bool) -> Vec<WorkedPicture> {
        blocks.iter().map(|block| self.block(block, by_shift)).collect()
    }

    fn block(&self, block: &Block, by_shift: bool) -> WorkedPicture {
        let title = told::title(self, block);
        let divisor = match block {
            Block::Division(division, _) => division.shifted().map(|(_, divisor)| self.number(&divisor)),
            _ => None,
        };
        let board = block.board().map(|board| self.board(&board, title, divisor.as_deref()));
        let shift = match block {
            Block::Subtraction(worked) if by_shift => worked.equal_shift(),
            _ => None,
        };
        let line = shift.as_ref().map(|shift| {
            number_line::picture(shift, self.texts.say("drawings-line-title"), |number| self.number(number))
        });
        let mut sentences = told::sentences(self, block);
        sentences.extend(shift.as_ref().map(|shift| told::shift(self, shift)));
        WorkedPicture {
            pictures: board.into_iter().chain(line).collect(),
            told: sentences.iter().map(|sentence| self.voice.speak(sentence)).collect(),
        }
    }

    /// A board as a picture; `divisor` stands before the dividend of a long division.
    fn board(&self, board: &Board, title: String, divisor: Option<&str>) -> Picture {
        let letters = divisor.map_or(0, |divisor| i32::try_from(divisor.chars().count()).unwrap_or(0));
        let frame = BoardFrame {
            left: EDGE + SIGN.max(letters * LETTER + 14),
            columns: i32::try_from(board.columns).unwrap_or(i32::MAX / COLUMN / 2),
            point: self.locale.point,
        };
        let width = frame.left + frame.columns * COLUMN + EDGE;
        let mut picture = Picture { title, width, height: EDGE, letters: Vec::new(), lines: Vec::new() };
        for row in &board.rows {
            let bracket = divisor.filter(|_| row.role == Role::Operand);
            frame.draw_row(&mut picture, row, bracket);
        }
        picture.height += EDGE;
        picture
    }
}

/// Where the columns of a board stand.
#[derive(Debug, Clone, Copy)]
struct BoardFrame {
    left: i32,
    columns: i32,
    point: char,
}

impl BoardFrame {
    /// The middle of a column; column 0 is the rightmost.
    fn x(&self, column: usize) -> i32 {
        let column = i32::try_from(column).unwrap_or(self.columns);
        self.left + (self.columns - 1 - column) * COLUMN + COLUMN / 2
    }

    /// The middle between a column and the one right of it, where a point stands.
    fn right_edge(&self, column: usize) -> i32 {
        self.x(column) + COLUMN / 2
    }

    /// Draws a row below what is there.
    fn draw_row(&self, picture: &mut Picture, row: &BoardRow, divisor: Option<&str>) {
        let is_small = matches!(row.role, Role::Carries | Role::Exchanged);
        let (top, height) = (picture.height, if is_small { SMALL_ROW } else { ROW });
        let foot = top + height - 10;
        let written: Vec<usize> =
            (0..row.cells.len()).filter(|column| row.cells[*column].is_some()).collect();
        if row.rule_above {
            let (from, to) = self.rule(row, &written);
            picture.lines.push(Line { from: (from, top), to: (to, top), class: "ruled" });
        }
        if let Some(divisor) = divisor {
            let middle = (EDGE + self.left - 10) / 2;
            let text = divisor.to_owned();
            picture.letters.push(Letters { x: middle, y: foot, text, class: "digit" });
            let x = self.left - 6;
            picture.lines.push(Line { from: (x, top), to: (x, top + height), class: "ruled" });
            picture.lines.push(Line { from: (x, top), to: (self.left, top), class: "ruled" });
        }
        for (column, cell) in row.cells.iter().enumerate() {
            if let Some(cell) = cell {
                self.draw_cell(picture, (self.x(column), foot), cell);
            }
        }
        if let Some(point) = row.point {
            let x = self.right_edge(point);
            picture.letters.push(Letters { x, y: foot, text: self.point.into(), class: "digit" });
        }
        if let Some(sign) = row.sign {
            let x = match row.role {
                // In a long division the sign stands just before what is taken away.
                Role::Taken => written.last().map_or(self.left, |first| self.x(*first) - COLUMN / 2 - 6),
                _ => EDGE + SIGN / 2,
            };
            picture.letters.push(Letters { x, y: foot, text: sign.into(), class: "digit" });
        }
        picture.height += height;
    }

    /// From where to where the line above a row goes: over its digits where something is left over, else over all.
    fn rule(&self, row: &BoardRow, written: &[usize]) -> (i32, i32) {
        let (from, to) = (self.left, self.left + self.columns * COLUMN);
        match (row.role, written.first(), written.last()) {
            (Role::Left, Some(lowest), Some(highest)) => {
                (self.x(*highest) - COLUMN / 2, self.x(*lowest) + COLUMN / 2)
            }
            (Role::Operand, ..) => (from, to),
            _ => (EDGE, to),
        }
    }

    fn draw_cell(&self, picture: &mut Picture, (x, foot): (i32, i32), cell: &Cell) {
        let class = match cell.mark {
            Mark::Plain => "digit",
            Mark::Annexed => "digit annexed",
            Mark::Struck => "digit struck",
            Mark::Small => "small carry",
            Mark::Deciding => "digit deciding",
        };
        picture.letters.push(Letters { x, y: foot, text: cell.digit.to_string(), class });
        match cell.mark {
            Mark::Struck => {
                picture.lines.push(Line { from: (x - 9, foot + 1), to: (x + 9, foot - 18), class: "strike" });
            }
            Mark::Deciding => {
                for side in [x - 13, x + 13] {
                    picture.lines.push(Line {
                        from: (side, foot - 23),
                        to: (side, foot + 6),
                        class: "around",
                    });
                }
                for y in [foot - 23, foot + 6] {
                    picture.lines.push(Line { from: (x - 13, y), to: (x + 13, y), class: "around" });
                }
            }
            Mark::Plain | Mark::Annexed | Mark::Small => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use qbank::expression::Names;
    use qbank::working::blocks;

    use super::*;

    fn painted(expression: &str, locale: &str) -> Vec<WorkedPicture> {
        let blocks = blocks(&expression.parse().unwrap(), &Names::new()).unwrap();
        Painter::new(locale).paint(&blocks, true)
    }

    fn heard(expression: &str, locale: &str) -> String {
        let all = painted(expression, locale);
        let told = all.iter().flat_map(|one| &one.told).map(Spoken::heard);
        told.collect::<Vec<_>>().join(" ")
    }

    /// Every written digit of a board stands in the middle of its own column, whatever the row.
    #[test]
    fn digits_of_one_place_stand_under_each_other() {
        for expression in
            ["18.49 + 8.92 + 1.65", "10 - 0.075", "9.04 - 3.28", "2.3 * 1.45", "7.5 / 6", "round(4.68, 1)"]
        {
            let blocks = blocks(&expression.parse().unwrap(), &Names::new()).unwrap();
            let board = blocks[0].board().unwrap();
            let picture = &painted(expression, "en-US")[0].pictures[0];
            let digits = |letters: &&Letters| letters.text.chars().all(|sign| sign.is_ascii_digit());
            let columns: BTreeSet<i32> = picture
                .letters
                .iter()
                .filter(digits)
                .map(|letters| letters.x)
                .filter(|x| (picture.width - EDGE - COLUMN / 2 - x) % COLUMN == 0)
                .collect();
            let outside =
                picture.letters.iter().filter(digits).filter(|letters| !columns.contains(&letters.x));
            // Only a divisor stands outside the columns.
            assert!(outside.count() <= usize::from(expression.contains('/')), "{expression}");
            assert_eq!(columns.len(), board.columns, "{expression}");
            for letters in &picture.letters {
                assert!(
                    letters.x >= 5 && letters.x < picture.width && letters.y < picture.height,
                    "{letters:?}"
                );
            }
        }
    }

    #[test]
    fn workings_are_told_in_words() {
        let told = heard("9.04 - 3.28", "en-US");
        assert!(told.contains("In the tenths, 0 becomes 9."), "{told}");
        assert!(told.contains("In the hundredths, 4 becomes 14."), "{told}");
        assert!(told.contains("five and seventy-six hundredths"), "{told}");
        let told = heard("4.6 + 0.75", "es-US");
        assert!(
            told.contains("1 a las unidades") && told.contains("cinco unidades y treinta y cinco centésimas"),
            "{told}"
        );
        assert!(heard("round(4.68, 1)", "en-US").contains("hundredths"));
    }

    #[test]
    fn every_working_of_the_bank_is_drawn_and_told_in_both_languages() {
        let mut drawn = 0;
        for family in qbank::bank::families().unwrap() {
            for locale in ["en-US", "es-US"] {
                for position in 0..2 {
                    let Ok(item) = family.draw("pictures", position, locale) else { continue };
                    let mut names = item.given_names();
                    for (step, proven) in item.steps_proven() {
                        let blocks = blocks(&proven.expression, &names).unwrap();
                        for one in Painter::new(locale).paint(&blocks, false) {
                            assert!(!one.told.is_empty(), "{}", item.id);
                            for sentence in &one.told {
                                assert!(!sentence.shown().contains("drawings-"), "{}", sentence.shown());
                            }
                            drawn += one.pictures.len();
                        }
                        names.extend(proven.value.map(|value| (step.id.clone(), value)));
                    }
                }
            }
        }
        assert!(drawn > 300, "only {drawn}");
    }
}
