//! What stands on sheets and keys, apart from where: the same for the printed page of a browser and for PDF.

use qbank::accept::Rule;
use qbank::form;
use qbank::locale::Language;
use qbank::marking::Policy;
use qbank::misconceptions;
use qbank::pool::Pool;
use qbank::question::{Answer, Item, Step, StepKind};
use qbank::units;

use super::code::SheetCode;
use crate::handlers::{paragraphs, unbroken};
use crate::texts::Texts;

/// One pupil's sheet and what is needed to mark it by hand.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Its code.
    pub code: SheetCode,
    /// Whose it is, where that is known.
    pub pupil: Option<String>,
    /// The questions.
    pub questions: Vec<SheetQuestion>,
    /// Their answers.
    pub key: Vec<KeyStep>,
}

/// A question as it is asked on paper.
#[derive(Debug, Clone)]
pub struct SheetQuestion {
    /// The question's id in the pool; not printed.
    pub id: String,
    /// From 1.
    pub number: usize,
    /// "3 points".
    pub points: String,
    /// The story, one entry a paragraph.
    pub story: Vec<String>,
    /// The steps.
    pub steps: Vec<SheetStep>,
}

/// A step as it is asked on paper.
#[derive(Debug, Clone)]
pub struct SheetStep {
    /// `a`, `b` … where a question has several.
    pub letter: Option<char>,
    /// What is asked.
    pub prompt: String,
    /// Where to write the answer.
    pub space: Space,
}

/// Where to write an answer.
#[derive(Debug, Clone)]
pub enum Space {
    /// A line, with the unit where it is not asked for.
    Line {
        /// A unit before the line: `$`.
        before: Option<String>,
        /// A unit behind it.
        after: Option<String>,
        /// Which forms count, in words; empty where every form does.
        forms: String,
        /// Whether words are asked for.
        words: bool,
        /// How many rows of squares help to work it; none where nothing is worked in columns.
        rows: u8,
    },
    /// A box to tick before each choice.
    Boxes {
        /// The choices.
        choices: Vec<String>,
    },
    /// A line for each place, to be filled with letters.
    Order {
        /// The choices with their letters.
        choices: Vec<(String, String)>,
    },
}

/// A step in the key.
#[derive(Debug, Clone)]
pub struct KeyStep {
    /// `3` or `3 b`.
    pub label: String,
    /// The answer as it is written.
    pub answer: String,
    /// Which values and forms count beside it, in words; empty where only the value does, in any form.
    pub accepted: String,
    /// "2 points".
    pub points: String,
    /// Wrong answers with what they are consistent with.
    pub wrong: Vec<(String, String)>,
    /// The working in lines of equal-width letters.
    pub working: Vec<String>,
}

impl Sheet {
    /// The sheet that a code draws from a pool: `count` questions.
    pub fn of(pool: &Pool, count: usize, code: SheetCode, policy: Policy) -> Self {
        let texts = Texts::of(&pool.locale);
        let items = form::draw(pool, count, &code.seed());
        let numbered = || (1..).zip(&items);
        Self {
            code,
            pupil: None,
            questions: numbered().map(|(number, item)| question(number, item, policy, texts)).collect(),
            key: numbered().flat_map(|(number, item)| key(number, item, policy, texts)).collect(),
        }
    }

    /// The same for a pupil.
    #[must_use]
    pub fn for_pupil(self, pupil: String) -> Self {
        Self { pupil: Some(pupil), ..self }
    }
}

fn question(number: usize, item: &Item, policy: Policy, texts: &Texts) -> SheetQuestion {
    let language = Language::of_locale(&item.locale).unwrap_or_default();
    SheetQuestion {
        id: item.id.to_string(),
        number,
        points: points(item.max_points(), texts),
        story: paragraphs(&item.stem),
        steps: lettered(item)
            .map(|(letter, step)| SheetStep {
                letter,
                prompt: unbroken(&step.prompt),
                space: space(step, policy, language, texts),
            })
            .collect(),
    }
}

/// The steps, with letters where there are several.
fn lettered(item: &Item) -> impl Iterator<Item = (Option<char>, &Step)> {
    let several = item.steps.len() > 1;
    ('a'..='z').zip(&item.steps).map(move |(letter, step)| (several.then_some(letter), step))
}

fn points(count: u32, texts: &Texts) -> String {
    texts.with("paper-points", &[("count", count.into())])
}

fn space(step: &Step, policy: Policy, language: Language, texts: &Texts) -> Space {
    match step.kind {
        StepKind::Choice => {
            Space::Boxes { choices: step.choices.iter().map(|choice| unbroken(&choice.text)).collect() }
        }
        StepKind::Order => {
            let letter = |choice: &qbank::question::Choice| (choice.id.to_string(), unbroken(&choice.text));
            Space::Order { choices: step.choices.iter().map(letter).collect() }
        }
        StepKind::Words => {
            let forms = texts.say("paper-in-words");
            Space::Line { before: None, after: None, forms, words: true, rows: 0 }
        }
        StepKind::Number => {
            // Where the unit is part of the answer, showing it would give it away.
            let unit = step.unit.as_deref().filter(|_| !step.accept.form.unit);
            let leads = unit.and_then(units::by_symbol).is_some_and(|unit| unit.leads);
            let unit = unit.map(str::to_owned);
            let (before, after) = if leads { (unit, None) } else { (None, unit) };
            let forms = step.accept.with_credit(policy.form_credit).explained(language);
            Space::Line { before, after, forms, words: false, rows: rows(&step.expression) }
        }
    }
}

/// Rows of squares to work an expression in. They depend on its operations alone: rows counted from the working would tell
/// whether something is carried.
fn rows(expression: &str) -> u8 {
    let worked = |sign: char| {
        let places = expression.match_indices(sign);
        places.filter(|(place, _)| !moves_the_point(&expression[place + 1..])).count()
    };
    let (products, quotients) = (worked('*'), worked('/'));
    let first = match (quotients, products, worked('+') + worked('-')) {
        (0, 0, 0) => return 0,
        // Carries, three numbers, the sum.
        (0, 0, _) => 5,
        // Two factors, a product for each of three digits with the carries of their sum, the sum.
        (0, ..) => 7,
        // The division, then a product and a difference for each of four digits.
        _ => 9,
    };
    if products + quotients > 1 { 12 } else { first }
}

/// Whether a multiplication or division by what stands there is by a power of ten, which nobody works in columns.
fn moves_the_point(rest: &str) -> bool {
    let number = rest.trim_start().split(|sign: char| !sign.is_alphanumeric() && sign != '.').next();
    let zeros = number.and_then(|number| number.strip_prefix('1')).unwrap_or_default();
    !zeros.is_empty() && zeros.bytes().all(|digit| digit == b'0')
}

fn key(number: usize, item: &Item, policy: Policy, texts: &Texts) -> Vec<KeyStep> {
    let step = |(letter, step): (Option<char>, &Step)| KeyStep {
        label: letter.map_or_else(|| number.to_string(), |letter| format!("{number}\u{a0}{letter}")),
        answer: written(step, &step.answer),
        accepted: accepted(step, policy, texts),
        points: points(step.points, texts),
        wrong: step
            .predicted
            .iter()
            .map(|wrong| {
                (written(step, &wrong.answer), consistent_with(&wrong.misconception, texts.language()))
            })
            .collect(),
        working: step.solution.iter().map(ToString::to_string).collect(),
    };
    lettered(item).map(step).collect()
}

/// What is accepted, for those who mark: unlike on the sheet, the ends of an interval are told.
fn accepted(step: &Step, policy: Policy, texts: &Texts) -> String {
    if step.kind != StepKind::Number {
        return String::new();
    }
    let told = step.accept.with_credit(policy.form_credit).explained(texts.language());
    let Rule::Interval { from, to } = &step.accept.rule else { return told };
    let end = |end| unbroken(&units::printed(end, step.unit.as_deref()));
    let interval = texts.with("paper-key-interval", &[("from", end(from).into()), ("to", end(to).into())]);
    format!("{told} {interval}")
}

/// An answer as it is written on paper: numbers with their unit, choices by their text, orders by letters.
fn written(step: &Step, answer: &Answer) -> String {
    let text = answer.to_string();
    if step.kind == StepKind::Order {
        return text;
    }
    if let Some(choice) = step.choices.iter().find(|choice| choice.id == text) {
        return unbroken(&choice.text);
    }
    match text.parse() {
        Ok(number) if step.kind == StepKind::Number => {
            unbroken(&units::printed(&number, step.unit.as_deref()))
        }
        _ => text,
    }
}

/// What answers are consistent with, of misconceptions that were joined by ` | `.
fn consistent_with(joined: &str, language: Language) -> String {
    let shown = |id: &str| {
        misconceptions::find(id).map_or_else(|| id.to_owned(), |known| known.shown_as(language).to_owned())
    };
    joined.split(" | ").map(shown).collect::<Vec<_>>().join(" / ")
}

#[cfg(test)]
mod tests {
    use qbank::accept::Acceptance;
    use qbank::plan::Plan;

    use super::*;

    const PLAN: &str = r#"
pool = "paper"
title = "On paper"
seed = "1"

[[section]]
title = "Money"
family = "money-many-change"
count = 2
pick = 1
"#;

    #[test]
    fn squares_are_for_what_is_worked_in_columns() {
        for (expression, expected) in [
            ("a", 0),
            ("a ? b", 0),
            ("round(a / 10, 0) * 10", 0),
            ("digit(a / 10, 0)", 0),
            ("b / 1000", 0),
            ("a*100", 0),
            ("a + b + c", 5),
            ("w + t / 100", 5),
            ("n * a", 7),
            ("a * 12", 7),
            ("a / n", 9),
            ("trips * c - a", 7),
            ("u * p + v * p", 12),
        ] {
            assert_eq!(rows(expression), expected, "{expression}");
        }
    }

    #[test]
    fn the_key_tells_what_counts() {
        let families = qbank::bank::families().unwrap();
        let pool = Plan::from_toml(PLAN).unwrap().make(&families, None).unwrap();
        let sheet = Sheet::of(&pool, 1, SheetCode::of("one"), Policy::default());
        let asked = sheet.key.iter().filter(|step| step.accepted.contains("2 places after the point"));
        assert!(asked.count() > 0, "{:?}", sheet.key);

        let mut step = pool.items().next().unwrap().steps[0].clone();
        step.unit = Some("kg".into());
        let (from, to) = ("40".parse().unwrap(), "45.5".parse().unwrap());
        step.accept = Acceptance { rule: Rule::Interval { from, to }, ..Acceptance::EXACT };
        for (tag, told) in [
            ("en-US", "Every value from 40\u{a0}kg to 45.5\u{a0}kg counts."),
            ("es-US", "Vale todo valor de 40\u{a0}kg a 45.5\u{a0}kg."),
        ] {
            let accepted = accepted(&step, Policy::default(), Texts::of(tag));
            assert!(accepted.ends_with(told), "{accepted}");
        }
    }
}
