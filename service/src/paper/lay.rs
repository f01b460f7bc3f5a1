//! Puts sheets and keys on pages: rows of text and lines, broken into pages so that a question stays whole where it fits.
//!
//! Lengths are points (1/72 inch), from the top left corner of the page. Nothing here knows PDF.

use std::str::FromStr;

use super::content::{KeyStep, Sheet, SheetQuestion, SheetStep, Space};
use super::measure::Face;
use crate::texts::Texts;

/// Distance of the content from the edges of the page.
const MARGIN: f32 = 54.0;
/// Letters of stories and prompts: large enough for children to read.
const BODY: f32 = 11.5;
/// Letters of hints, and of the key.
const SMALL: f32 = 9.0;
/// Line distance, as a multiple of the letters' size.
const LEADING: f32 = 1.38;
/// Side of a square of the grid: 6 mm, wide enough for a child's digit.
const SQUARE: f32 = 17.0;
/// Squares beside each other: enough for the longest numbers of the bank with a sign and a point.
const SQUARES_ACROSS: u8 = 12;
/// Height of the line to write on.
const WRITING: f32 = 26.0;

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 8.5 by 11 inches.
    #[default]
    Letter,
    /// 210 by 297 mm (ISO 216).
    A4,
}

impl Paper {
    /// Width and height in points.
    pub fn size(self) -> (f32, f32) {
        match self {
            Self::Letter => (612.0, 792.0),
            Self::A4 => (595.28, 841.89),
        }
    }
}

impl FromStr for Paper {
    type Err = String;

    fn from_str(name: &str) -> Result<Self, String> {
        match name.to_ascii_lowercase().as_str() {
            "letter" => Ok(Self::Letter),
            "a4" => Ok(Self::A4),
            _ => Err(format!("unknown paper '{}': expected letter or a4", crate::shorten(name, 20))),
        }
    }
}

/// How sheets are printed.
#[derive(Debug, Clone)]
pub struct PrintSettings {
    /// The paper.
    pub paper: Paper,
    /// Whether each number has a grid of squares to work in.
    pub squares: bool,
    /// Whether the key shows workings.
    pub workings: bool,
    /// Whether each sheet begins on a page of its own leaf, so that a class can be printed on both sides.
    pub two_sided: bool,
    /// What stands at the top.
    pub title: String,
    /// The language of what stands around the questions.
    pub texts: &'static Texts,
}

/// What a text is, for those who have the page read aloud.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// The sheet's title.
    Title,
    /// A question's number.
    Heading,
    /// Lines of one number belong to one paragraph.
    Paragraph(u32),
    /// On every page; not read aloud.
    Margin,
}

/// Something on a page.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Ink {
    /// A line of text; `y` is where its letters stand.
    Text { x: f32, y: f32, size: f32, face: Face, text: String, role: Role },
    /// A straight line.
    Line { from: (f32, f32), to: (f32, f32), width: f32, pale: bool },
}

impl Ink {
    /// What it is; lines are never read aloud.
    pub(super) fn role(&self) -> Role {
        match self {
            Self::Text { role, .. } => *role,
            Self::Line { .. } => Role::Margin,
        }
    }

    fn moved(mut self, right: f32, down: f32) -> Self {
        match &mut self {
            Self::Text { x, y, .. } => {
                *x += right;
                *y += down;
            }
            Self::Line { from, to, .. } => {
                for end in [from, to] {
                    end.0 += right;
                    end.1 += down;
                }
            }
        }
        self
    }
}

/// One page.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Page {
    pub(super) inks: Vec<Ink>,
}

/// A strip across the page that is never cut; its inks count from its top.
#[derive(Debug, Default)]
struct Row {
    height: f32,
    inks: Vec<Ink>,
}

/// The pages of one pupil's sheet.
pub(super) fn sheet(sheet: &Sheet, settings: &PrintSettings) -> Vec<Page> {
    let mut writer = Writer::new(settings);
    let mut pieces = vec![writer.head(sheet)];
    pieces.extend(sheet.questions.iter().map(|question| writer.question(question)));
    let margin = settings.texts.with(
        "paper-margin",
        &[("title", settings.title.as_str().into()), ("code", sheet.code.to_string().into())],
    );
    finished(pieces, &margin, settings)
}

/// The pages of the key to all sheets.
pub(super) fn key(sheets: &[Sheet], settings: &PrintSettings) -> Vec<Page> {
    let mut writer = Writer::new(settings);
    let title = settings.texts.with("paper-key-title", &[("title", settings.title.as_str().into())]);
    let mut pieces = vec![writer.title(&title)];
    pieces.push(writer.paragraph(&settings.texts.say("paper-key-about"), SMALL, Face::Plain, 0.0));
    for sheet in sheets {
        let mut piece = writer.sheet_of_key(sheet);
        for step in &sheet.key {
            piece.extend(writer.answer(step));
            // The first answer keeps the sheet's heading company.
            pieces.push(std::mem::take(&mut piece));
        }
    }
    finished(pieces, &title, settings)
}

/// Pieces on pages, with what stands at the foot of each.
fn finished(pieces: Vec<Vec<Row>>, margin: &str, settings: &PrintSettings) -> Vec<Page> {
    let (width, height) = settings.paper.size();
    let mut pages = broken(pieces, height);
    let total = u32::try_from(pages.len()).unwrap_or(u32::MAX);
    for (page, number) in pages.iter_mut().zip(1_u32..) {
        let y = height - MARGIN / 2.0;
        let numbers = [("page", number.into()), ("pages", total.into())];
        let right = settings.texts.with("paper-page", &numbers);
        let x = width - MARGIN - Face::Plain.width(&right, SMALL);
        let room = x - MARGIN - SMALL;
        let left = Face::Bold.wrap(margin, SMALL, room).into_iter().next().unwrap_or_default();
        for (x, text, face) in [(MARGIN, left, Face::Bold), (x, right, Face::Plain)] {
            page.inks.push(Ink::Text { x, y, size: SMALL, face, text, role: Role::Margin });
        }
    }
    // The empty back of a leaf is nobody's page: whoever holds a sheet must not look for it.
    if settings.two_sided && pages.len() % 2 == 1 {
        pages.push(Page::default());
    }
    pages
}

/// Breaks pieces into pages of that height: a piece that fits a page is never cut, a longer one between its rows.
fn broken(pieces: Vec<Vec<Row>>, height: f32) -> Vec<Page> {
    let room = height - 2.0 * MARGIN;
    let mut pages = vec![Page::default()];
    let mut used = 0.0;
    for piece in pieces {
        let tall: f32 = piece.iter().map(|row| row.height).sum();
        if used + tall > room && tall <= room && used > 0.0 {
            pages.push(Page::default());
            used = 0.0;
        }
        for row in piece {
            if used + row.height > room && used > 0.0 {
                pages.push(Page::default());
                used = 0.0;
            }
            let page = pages.last_mut().expect("there is always a page");
            page.inks.extend(row.inks.into_iter().map(|ink| ink.moved(0.0, MARGIN + used)));
            used += row.height;
        }
    }
    pages
}

/// Makes rows, and counts paragraphs while doing so.
struct Writer<'s> {
    settings: &'s PrintSettings,
    /// Width of the content.
    width: f32,
    paragraphs: u32,
}

impl<'s> Writer<'s> {
    fn new(settings: &'s PrintSettings) -> Self {
        Self { settings, width: settings.paper.size().0 - 2.0 * MARGIN, paragraphs: 0 }
    }

    fn next_paragraph(&mut self) -> Role {
        self.paragraphs += 1;
        Role::Paragraph(self.paragraphs)
    }

    /// A text over the whole width, `indent` from the left.
    fn paragraph(&mut self, text: &str, size: f32, face: Face, indent: f32) -> Vec<Row> {
        let role = self.next_paragraph();
        self.lines(text, size, face, indent, role)
    }

    fn lines(&self, text: &str, size: f32, face: Face, indent: f32, role: Role) -> Vec<Row> {
        let lines = face.wrap(text, size, self.width - indent);
        lines.into_iter().map(|text| row(text, size, face, MARGIN + indent, role)).collect()
    }

    fn title(&mut self, text: &str) -> Vec<Row> {
        let mut rows = self.lines(text, 17.0, Face::Bold, 0.0, Role::Title);
        rows.push(gap(8.0));
        rows
    }

    /// Title, code, name and date.
    fn head(&mut self, sheet: &Sheet) -> Vec<Row> {
        let texts = self.settings.texts;
        let mut rows = self.title(&self.settings.title.clone());
        let code = texts.with("paper-code", &[("code", sheet.code.to_string().into())]);
        rows.extend(self.paragraph(&code, 14.0, Face::Bold, 0.0));
        let mut line = Row { height: WRITING + 6.0, inks: Vec::new() };
        let y = WRITING;
        let name = texts.say("paper-name");
        let date = texts.say("paper-date");
        let date_at = MARGIN + self.width * 0.64;
        let role = self.next_paragraph();
        for (x, label, until) in [(MARGIN, &name, date_at - 12.0), (date_at, &date, MARGIN + self.width)] {
            line.inks.push(text(x, y, BODY, Face::Plain, label.clone(), role));
            let from = x + Face::Plain.width(label, BODY) + 6.0;
            match (&sheet.pupil, x == MARGIN) {
                (Some(pupil), true) => {
                    let pupil =
                        Face::Bold.wrap(pupil, BODY, until - from).into_iter().next().unwrap_or_default();
                    line.inks.push(text(from, y, BODY, Face::Bold, pupil, role));
                }
                _ => line.inks.push(rule((from, y + 2.0), (until, y + 2.0))),
            }
        }
        rows.push(line);
        rows.push(gap(10.0));
        rows
    }

    fn question(&mut self, question: &SheetQuestion) -> Vec<Row> {
        let mut rows = self.number(question.number, &question.points);
        for paragraph in &question.story {
            rows.extend(self.paragraph(paragraph, BODY, Face::Plain, 0.0));
        }
        for step in &question.steps {
            rows.push(gap(5.0));
            let prompt = match step.letter {
                Some(letter) => format!("{letter})\u{a0} {}", step.prompt),
                None => step.prompt.clone(),
            };
            rows.extend(self.paragraph(&prompt, BODY, Face::Bold, 0.0));
            rows.extend(self.space(step));
        }
        rows.push(gap(14.0));
        rows
    }

    /// "Question 3" with its points at the right, under a line.
    fn number(&mut self, number: usize, points: &str) -> Vec<Row> {
        let number = u32::try_from(number).unwrap_or(u32::MAX);
        let heading = self.settings.texts.with("paper-question", &[("number", number.into())]);
        let mut row = row(heading, 12.5, Face::Bold, MARGIN, Role::Heading);
        let x = MARGIN + self.width - Face::Plain.width(points, SMALL);
        let y = row.height - 12.5 * (LEADING - 1.0);
        row.inks.push(text(x, y, SMALL, Face::Plain, points.to_owned(), Role::Heading));
        row.inks.insert(0, rule((MARGIN, 0.0), (MARGIN + self.width, 0.0)));
        let down = 4.0;
        let inks = row.inks.into_iter().enumerate();
        let inks = inks.map(|(place, ink)| if place == 0 { ink } else { ink.moved(0.0, down) }).collect();
        vec![Row { height: row.height + down + 2.0, inks }]
    }

    fn space(&mut self, step: &SheetStep) -> Vec<Row> {
        match &step.space {
            Space::Line { before, after, forms, words, rows: down } => {
                let mut rows = Vec::new();
                if !forms.is_empty() {
                    rows.extend(self.paragraph(forms, SMALL, Face::Plain, 0.0));
                }
                let line = self.answer_line(before.as_deref(), after.as_deref(), *words);
                if self.settings.squares && *down > 0 {
                    rows.push(gap(4.0));
                    rows.extend(beside(squares(*down), line));
                } else {
                    rows.push(line);
                }
                rows
            }
            Space::Boxes { choices } => choices.iter().flat_map(|choice| self.boxed(choice)).collect(),
            Space::Order { choices } => {
                let listed: Vec<String> =
                    choices.iter().map(|(letter, text)| format!("{letter}:\u{a0}{text}")).collect();
                let mut rows = self.paragraph(&listed.join("     "), BODY, Face::Plain, 0.0);
                let hint = self.settings.texts.say("paper-order");
                rows.extend(self.paragraph(&hint, SMALL, Face::Plain, 0.0));
                let mut line = Row { height: WRITING, inks: Vec::new() };
                for place in 0_u8..u8::try_from(choices.len()).unwrap_or(u8::MAX) {
                    let x = MARGIN + f32::from(place) * 48.0;
                    line.inks.push(rule((x, WRITING - 4.0), (x + 34.0, WRITING - 4.0)));
                }
                rows.push(line);
                rows
            }
        }
    }

    /// A line to write on, between the units that are given.
    fn answer_line(&mut self, before: Option<&str>, after: Option<&str>, words: bool) -> Row {
        let role = self.next_paragraph();
        let y = WRITING - 6.0;
        let mut inks = Vec::new();
        let mut x = MARGIN;
        let label = self.settings.texts.say("paper-answer");
        for part in [Some(label.as_str()), before].into_iter().flatten() {
            inks.push(text(x, y, BODY, Face::Plain, part.to_owned(), role));
            x += Face::Plain.width(part, BODY) + 6.0;
        }
        let until = if words { MARGIN + self.width } else { x + 150.0 };
        inks.push(rule((x, y + 2.0), (until, y + 2.0)));
        if let Some(after) = after {
            inks.push(text(until + 6.0, y, BODY, Face::Plain, after.to_owned(), role));
        }
        Row { height: WRITING, inks }
    }

    /// A choice behind a box to tick.
    fn boxed(&mut self, choice: &str) -> Vec<Row> {
        const SIDE: f32 = 10.0;
        const INDENT: f32 = 20.0;
        let mut rows = self.paragraph(choice, BODY, Face::Plain, INDENT);
        if let Some(first) = rows.first_mut() {
            let (left, top) = (MARGIN + 1.0, (first.height - SIDE) / 2.0);
            let (right, bottom) = (left + SIDE, top + SIDE);
            let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
            for side in 0..4 {
                first.inks.push(rule(corners[side], corners[(side + 1) % 4]));
            }
        }
        rows.push(gap(4.0));
        rows
    }

    fn sheet_of_key(&mut self, sheet: &Sheet) -> Vec<Row> {
        let code = sheet.code.to_string();
        let heading = match &sheet.pupil {
            Some(pupil) => format!("{code}   {pupil}"),
            None => code,
        };
        let mut rows = vec![gap(12.0)];
        let mut lines = self.lines(&heading, 13.0, Face::Bold, 0.0, Role::Heading);
        if let Some(first) = lines.first_mut() {
            first.inks.push(rule((MARGIN, 0.0), (MARGIN + self.width, 0.0)));
        }
        rows.extend(lines);
        rows.push(gap(4.0));
        rows
    }

    /// The answer behind the question's number; wrong answers one after the other in small letters.
    fn answer(&mut self, step: &KeyStep) -> Vec<Row> {
        const INDENT: f32 = 30.0;
        let texts = self.settings.texts;
        let answer = texts.with(
            "paper-key-answer",
            &[("answer", step.answer.as_str().into()), ("points", step.points.as_str().into())],
        );
        let mut rows = self.paragraph(&answer, 10.5, Face::Bold, INDENT);
        if let Some(first) = rows.first_mut() {
            let role = first.inks.first().map_or(Role::Margin, Ink::role);
            first.inks.insert(0, text(MARGIN, 10.5 * 1.08, 10.5, Face::Plain, step.label.clone(), role));
        }
        let wrong = |(answer, names): &(String, String)| {
            texts.with(
                "paper-key-wrong",
                &[("answer", answer.as_str().into()), ("names", names.as_str().into())],
            )
        };
        if !step.accepted.is_empty() {
            rows.extend(self.paragraph(&step.accepted, SMALL, Face::Plain, INDENT));
        }
        if !step.wrong.is_empty() {
            let told: Vec<String> = step.wrong.iter().map(wrong).collect();
            rows.extend(self.paragraph(&told.join("; "), SMALL, Face::Plain, INDENT));
        }
        if self.settings.workings {
            let role = self.next_paragraph();
            let line = |line: &String| row(line.clone(), SMALL, Face::Mono, MARGIN + INDENT, role);
            rows.extend(step.working.iter().map(line));
        }
        rows.push(gap(5.0));
        rows
    }
}

/// A line of text with the distance to the next.
fn row(line: String, size: f32, face: Face, x: f32, role: Role) -> Row {
    // An empty line of a working has its height, but nothing to write.
    let inks =
        if line.trim().is_empty() { Vec::new() } else { vec![text(x, size * 1.08, size, face, line, role)] };
    Row { height: size * LEADING, inks }
}

fn gap(height: f32) -> Row {
    Row { height, inks: Vec::new() }
}

/// So many rows of squares to work in; one more closes them.
fn squares(down: u8) -> Vec<Row> {
    let right = MARGIN + f32::from(SQUARES_ACROSS) * SQUARE;
    let pale = |from, to| Ink::Line { from, to, width: 0.6, pale: true };
    let row = |_| {
        let upright = (0..=SQUARES_ACROSS).map(|column| {
            let x = MARGIN + f32::from(column) * SQUARE;
            pale((x, 0.0), (x, SQUARE))
        });
        let inks = upright.chain([pale((MARGIN, 0.0), (right, 0.0))]).collect();
        Row { height: SQUARE, inks }
    };
    let mut rows: Vec<Row> = (0..down).map(row).collect();
    rows.push(Row { height: 1.0, inks: vec![pale((MARGIN, 0.0), (right, 0.0))] });
    rows
}

/// The line to write the answer on, right of the squares and level with their last row.
fn beside(mut squares: Vec<Row>, line: Row) -> Vec<Row> {
    let right = f32::from(SQUARES_ACROSS) * SQUARE + 18.0;
    let up = line.height - SQUARE;
    if let Some(last) = squares.iter_mut().rev().nth(1) {
        last.inks.extend(line.inks.into_iter().map(|ink| ink.moved(right, -up)));
    }
    squares.push(gap(4.0));
    squares
}

fn text(x: f32, y: f32, size: f32, face: Face, text: String, role: Role) -> Ink {
    Ink::Text { x, y, size, face, text, role }
}

fn rule(from: (f32, f32), to: (f32, f32)) -> Ink {
    Ink::Line { from, to, width: 0.8, pale: false }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::SheetCode;

    /// A sheet of so many questions, each too long to share a page.
    fn sheet_of(questions: usize) -> Sheet {
        let question = |number| SheetQuestion {
            id: String::new(),
            number,
            points: "1 point".into(),
            story: vec!["A bag weighs 1.5 kg.".into(); 30],
            steps: Vec::new(),
        };
        Sheet {
            code: SheetCode::of("one"),
            pupil: None,
            questions: (1..=questions).map(question).collect(),
            key: Vec::new(),
        }
    }

    #[test]
    fn pages_are_counted_without_the_empty_back_of_a_leaf() {
        for (questions, two_sided, expected) in
            [(1, false, 1), (1, true, 2), (2, true, 2), (3, false, 3), (3, true, 4)]
        {
            let settings = PrintSettings {
                paper: Paper::Letter,
                squares: false,
                workings: false,
                two_sided,
                title: "Bags".into(),
                texts: Texts::of("en-US"),
            };
            let pages = super::sheet(&sheet_of(questions), &settings);
            assert_eq!(pages.len(), expected, "{questions} questions, two sides: {two_sided}");
            let last = format!("page {questions} of {questions}");
            let told = pages.iter().flat_map(|page| &page.inks);
            let told = told.filter(|ink| matches!(ink, Ink::Text { text, .. } if *text == last));
            assert_eq!(told.count(), 1, "'{last}', two sides: {two_sided}");
        }
    }
}
