//! What stands on sheets and keys, apart from where: the same for the printed page of a browser and for PDF.

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
        /// Whether something is worked, so that squares help.
        worked: bool,
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
            key: numbered().flat_map(|(number, item)| key(number, item, texts)).collect(),
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
        id: item.id.clone(),
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
            let letter = |choice: &qbank::question::Choice| (choice.id.clone(), unbroken(&choice.text));
            Space::Order { choices: step.choices.iter().map(letter).collect() }
        }
        StepKind::Words => {
            let forms = texts.say("paper-in-words");
            Space::Line { before: None, after: None, forms, words: true, worked: false }
        }
        StepKind::Number => {
            // Where the unit is part of the answer, showing it would give it away.
            let unit = step.unit.as_deref().filter(|_| !step.accept.form.unit);
            let leads = unit.and_then(units::by_symbol).is_some_and(|unit| unit.leads);
            let unit = unit.map(str::to_owned);
            let (before, after) = if leads { (unit, None) } else { (None, unit) };
            let forms = step.accept.with_credit(policy.form_credit).explained(language);
            let worked = step.expression.contains(['+', '-', '*', '/']);
            Space::Line { before, after, forms, words: false, worked }
        }
    }
}

fn key(number: usize, item: &Item, texts: &Texts) -> Vec<KeyStep> {
    let step = |(letter, step): (Option<char>, &Step)| KeyStep {
        label: letter.map_or_else(|| number.to_string(), |letter| format!("{number}\u{a0}{letter}")),
        answer: written(step, &step.answer),
        points: points(step.points, texts),
        wrong: step
            .predicted
            .iter()
            .map(|wrong| {
                (written(step, &wrong.answer), consistent_with(&wrong.misconception, texts.language()))
            })
            .collect(),
        working: step.solution.clone(),
    };
    lettered(item).map(step).collect()
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
