//! Charts: each one a picture with patterns and signs beside colours, and the same as a table below it. The table of a
//! class map is the page's own, since it leads to the attempts.
//!
//! Inputs are labels and counts that are ready to show. A chart is placed by `{{ chart }}` in a template. Each needs an
//! `id` of its own on a page: letters, digits and hyphens.

use askama::Template;
use askama::filters::HtmlSafe;

use crate::texts::Texts;

/// Width of a class map's column of names, in px.
const NAMES: usize = 150;
/// Width of a cell, in px.
const CELL: usize = 44;
/// Height of a row, in px.
const ROW: usize = 36;
/// Height of the row of questions' labels, in px.
const HEAD: usize = 28;
/// Where a scale of shares has marks, in thousandths.
const TICKS: [u16; 5] = [0, 250, 500, 750, 1000];
/// Most letters of a name that fit before the cells.
const LETTERS: usize = 17;

/// How a pupil did in a question of a class map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cell {
    /// Right.
    Right,
    /// Right from the pupil's own earlier value.
    Own,
    /// Some of the points: one of several steps, or the right value in another form.
    Form,
    /// Not right yet.
    Wrong,
    /// Handed in without an answer.
    Blank,
    /// Not handed in.
    NotAnswered,
}

impl Cell {
    /// All, in the order of the legend.
    pub const ALL: [Self; 6] =
        [Self::Right, Self::Own, Self::Form, Self::Wrong, Self::Blank, Self::NotAnswered];

    /// Name in the style sheet and of its pattern.
    pub fn class(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Own => "own",
            Self::Form => "form",
            Self::Wrong => "wrong",
            Self::Blank => "blank",
            Self::NotAnswered => "none",
        }
    }

    /// The sign in the cell.
    pub fn sign(self) -> &'static str {
        match self {
            Self::Right => "\u{2713}",
            Self::Own => "\u{2192}",
            Self::Form => "~",
            Self::Wrong => "\u{00d7}",
            Self::Blank => "\u{2013}",
            Self::NotAnswered => "",
        }
    }

    /// In words.
    pub fn told(self, texts: &Texts) -> String {
        match self {
            Self::Right => texts.say("drawings-cell-right"),
            Self::Own => texts.say("drawings-cell-own"),
            Self::Form => texts.say("drawings-cell-form"),
            Self::Wrong => texts.say("drawings-cell-wrong"),
            Self::Blank => texts.say("drawings-cell-blank"),
            Self::NotAnswered => texts.say("drawings-cell-none"),
        }
    }
}

/// A pupil's row of a class map.
#[derive(Debug, Clone)]
pub struct MapRow {
    /// Who.
    pub pupil: String,
    /// One cell for each question, in their order.
    pub cells: Vec<Cell>,
}

/// Pupils by questions.
#[derive(Debug, Clone, Template)]
#[template(path = "drawings/class_map.html")]
pub struct ClassMap {
    /// The page's language.
    pub texts: &'static Texts,
    /// Unique on the page.
    pub id: &'static str,
    /// What the chart shows.
    pub title: String,
    /// Short labels of the questions: `1`, `2`, …
    pub questions: Vec<String>,
    /// The pupils.
    pub rows: Vec<MapRow>,
}

impl HtmlSafe for ClassMap {}

impl ClassMap {
    fn width(&self) -> usize {
        NAMES + CELL * self.questions.len()
    }

    fn height(&self) -> usize {
        HEAD + ROW * self.rows.len()
    }

    fn x(column: &usize) -> usize {
        NAMES + CELL * column
    }

    fn y(row: &usize) -> usize {
        HEAD + ROW * row
    }

    /// The picture in one sentence.
    fn summary(&self) -> String {
        let all = || self.rows.iter().flat_map(|row| &row.cells);
        let right = all().filter(|cell| matches!(cell, Cell::Right | Cell::Own)).count();
        self.texts.with(
            "drawings-map-summary",
            &[
                ("pupils", self.rows.len().into()),
                ("questions", self.questions.len().into()),
                ("right", right.into()),
                ("all", all().count().into()),
            ],
        )
    }
}

/// A name that fits before the cells; the table has it whole.
fn fitted(name: &str) -> String {
    if name.chars().count() <= LETTERS {
        return name.to_owned();
    }
    name.chars().take(LETTERS - 1).chain(['…']).collect()
}

/// A bar.
#[derive(Debug, Clone)]
pub struct Bar {
    /// What is counted.
    pub label: String,
    /// How many.
    pub count: usize,
}

/// Counts out of a whole, such as misconceptions by number of pupils.
#[derive(Debug, Clone, Template)]
#[template(path = "drawings/bars.html")]
pub struct Bars {
    /// The page's language.
    pub texts: &'static Texts,
    /// Unique on the page.
    pub id: &'static str,
    /// What the chart shows.
    pub title: String,
    /// Heading of the labels in the table.
    pub label_heading: String,
    /// Heading of the counts in the table.
    pub count_heading: String,
    /// The bars in the order in which they are shown.
    pub bars: Vec<Bar>,
    /// What a full bar stands for; a larger count fills its bar, too.
    pub whole: usize,
}

impl HtmlSafe for Bars {}

impl Bars {
    /// The length of a bar in percent, exact to a tenth.
    fn length(&self, bar: &Bar) -> String {
        percent(&per_mille(bar.count, self.whole))
    }

    fn number(&self, bar: &Bar) -> String {
        self.texts.number(u64::try_from(bar.count).unwrap_or(u64::MAX))
    }

    fn counted(&self, bar: &Bar) -> String {
        self.texts.with("drawings-count-of", &[("count", bar.count.into()), ("whole", self.whole.into())])
    }
}

/// A share with its interval, each in thousandths from 0 to 1000.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    /// The lower end.
    pub low: u16,
    /// The share itself.
    pub at: u16,
    /// The upper end.
    pub high: u16,
}

/// A line of an [`Intervals`] chart.
#[derive(Debug, Clone)]
pub struct IntervalRow {
    /// Whose share.
    pub label: String,
    /// The share; `None` where too few pupils answered to tell.
    pub share: Option<Share>,
}

/// Shares with their 95 % intervals, such as the facility of questions.
#[derive(Debug, Clone, Template)]
#[template(path = "drawings/intervals.html")]
pub struct Intervals {
    /// The page's language.
    pub texts: &'static Texts,
    /// Unique on the page.
    pub id: &'static str,
    /// What the chart shows.
    pub title: String,
    /// Heading of the labels in the table.
    pub label_heading: String,
    /// The lines in the order in which they are shown.
    pub rows: Vec<IntervalRow>,
}

impl HtmlSafe for Intervals {}

impl Intervals {
    fn told(&self, share: &Share) -> String {
        let [low, at, high] = [share.low, share.at, share.high].map(|part| self.rounded(&part));
        self.texts.with("drawings-share", &[("at", at.into()), ("low", low.into()), ("high", high.into())])
    }

    /// Whole percent, half up, as the language writes it.
    fn rounded(&self, thousandths: &u16) -> String {
        self.texts.with("drawings-percent", &[("share", ((u32::from(*thousandths) + 5) / 10).into())])
    }
}

fn per_mille(count: usize, whole: usize) -> u16 {
    let share = count.saturating_mul(1000).checked_div(whole).unwrap_or(0);
    u16::try_from(share.min(1000)).unwrap_or(1000)
}

/// Thousandths as a length in percent, for attributes.
fn percent(thousandths: &u16) -> String {
    let thousandths = (*thousandths).min(1000);
    format!("{}.{}%", thousandths / 10, thousandths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(texts: &'static Texts) -> ClassMap {
        ClassMap {
            texts,
            id: "map",
            title: "<Class>".into(),
            questions: vec!["1".into(), "2".into()],
            rows: vec![
                MapRow { pupil: "Ana \"<b>\"".into(), cells: vec![Cell::Right, Cell::Wrong] },
                MapRow {
                    pupil: "Bartholomäus Constantin".into(), cells: vec![Cell::Own, Cell::NotAnswered]
                },
            ],
        }
    }

    #[test]
    fn a_class_map_draws_each_cell_and_explains_it() {
        for texts in Texts::all() {
            let html = map(texts).to_string();
            assert!(!html.contains("<b>") && !html.contains("<Class>"), "{html}");
            assert!(html.contains("Bartholomäus Con…"), "{html}");
            for (cell, drawn) in Cell::ALL.into_iter().zip([1, 1, 0, 1, 0, 1]) {
                assert!(html.contains(&format!("</svg> {}</li>", cell.told(texts))), "{html}");
                let class = cell.class();
                assert!(html.contains(&format!("<g id=\"map-{class}\">")), "{html}");
                assert!(html.contains(&format!("url(#map-{class}-fill)")), "{html}");
                // Once more in the legend.
                assert_eq!(html.matches(&format!("<use href=\"#map-{class}\"")).count(), drawn + 1, "{html}");
            }
        }
    }

    #[test]
    fn cells_of_a_question_stand_in_one_column_and_inside() {
        let map = map(Texts::of("en-US"));
        let html = map.to_string();
        for column in 0..2 {
            let x = format!(" x=\"{}\"/>", ClassMap::x(&column));
            assert_eq!(html.matches(&x).count(), 2, "{html}");
            assert!(ClassMap::x(&column) + CELL <= map.width());
        }
        assert_eq!(ClassMap::y(&1) + ROW, map.height());
    }

    #[test]
    fn bars_are_as_long_as_their_share() {
        let bars = Bars {
            texts: Texts::of("es-US"),
            id: "bars",
            title: "A".into(),
            label_heading: "B".into(),
            count_heading: "C".into(),
            bars: [0, 1, 3, 7].map(|count| Bar { label: format!("<{count}>"), count }).into(),
            whole: 3,
        };
        assert_eq!(
            bars.bars.iter().map(|bar| bars.length(bar)).collect::<Vec<_>>(),
            ["0.0%", "33.3%", "100.0%", "100.0%"]
        );
        let html = bars.to_string();
        assert!(
            html.contains("width=\"33.3%\"") && html.contains("1 de 3") && !html.contains("<0>"),
            "{html}"
        );
        assert_eq!(per_mille(3, 0), 0);
    }

    #[test]
    fn intervals_are_told_in_percent() {
        let chart = Intervals {
            texts: Texts::of("en-US"),
            id: "facility",
            title: "Facility".into(),
            label_heading: "Question".into(),
            rows: vec![
                IntervalRow { label: "1".into(), share: Some(Share { low: 204, at: 625, high: 1000 }) },
                IntervalRow { label: "2".into(), share: None },
            ],
        };
        let html = chart.to_string();
        assert!(html.contains("63%, between 20% and 100%"), "{html}");
        assert!(
            html.contains("cx=\"62.5%\"") && html.contains("x1=\"20.4%\"") && html.contains("x2=\"100.0%\""),
            "{html}"
        );
        assert!(html.contains(&Texts::of("en-US").say("drawings-too-few")), "{html}");
    }
}
