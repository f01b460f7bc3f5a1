//! Answers that pupils might give to the items of the bank, and what an exported item must say of each: the material of
//! all comparisons with the project's own marking.
use std::collections::BTreeMap;

use qbank::{
    accept::{Precision, Rule},
    arithmetic::{Columns, evaluate},
    decimal::Decimal,
    expression::Names,
    locale::Language,
    marking::{StepMark, Verdict},
    question::{Item, Key, ProvenStep, Step, StepKind},
    units,
    words::{from_words, to_words},
};
use smol_str::SmolStr;

pub(crate) type Responses = BTreeMap<String, String>;

pub(crate) fn language(item: &Item) -> Language {
    Language::of_locale(&item.locale).unwrap()
}

/// A key as a pupil would give it.
pub(crate) fn given(item: &Item, step: &Step, key: &Key) -> String {
    step.answer_of(key, language(item)).unwrap().to_string()
}

/// What the item must say of a step that was marked so.
pub(crate) fn expected_feedback(item: &Item, step: &StepMark, proven: &ProvenStep) -> String {
    match step.verdict {
        Verdict::Correct => "RIGHT".into(),
        Verdict::FollowThrough => "FOLLOW_THROUGH".into(),
        Verdict::RightValueWrongForm => "RIGHT_VALUE_WRONG_FORM".into(),
        Verdict::Unreadable => "UNREADABLE".into(),
        Verdict::Blank => "BLANK".into(),
        Verdict::Wrong => {
            let is = |key: &Key| match key {
                Key::Number(number) => {
                    step.response.trim().parse() == Ok(*number)
                        || from_words(&step.response, language(item)) == Ok(*number)
                }
                Key::Choice(id) => *id == step.response,
                Key::Order(_) => key.to_string() == step.response,
            };
            let wrong = proven.wrong.iter().find(|wrong| is(&wrong.key));
            wrong.map_or_else(|| "OTHER".into(), |wrong| wrong.misconceptions.join("."))
        }
    }
}

/// Answers that pupils might give to a step, own earlier values as they stand in `own`.
pub(crate) fn candidates(item: &Item, step: &Step, proven: &ProvenStep, own: &Names) -> Vec<String> {
    let mut texts = vec![step.answer.to_string(), step.answer.to_string(), String::new()];
    texts.extend(proven.wrong.iter().map(|wrong| given(item, step, &wrong.key)));
    let from_own =
        evaluate(&Columns, &proven.expression, own).ok().and_then(|value| step.key_for(&value).ok());
    texts.extend(from_own.iter().map(|key| given(item, step, key)));
    match &proven.key {
        Key::Choice(_) => texts.extend(step.choices.iter().map(|choice| choice.id.to_string())),
        Key::Order(ids) => {
            let mut turned = ids.clone();
            turned.rotate_left(1);
            let back: Vec<&str> = ids.iter().rev().map(SmolStr::as_str).collect();
            texts.extend([turned.join(", "), back.join(", ")]);
        }
        Key::Number(key) if step.kind == StepKind::Words => texts.extend(in_words(*key, language(item))),
        Key::Number(key) => {
            texts.extend(["junk", "0", "1.2.3", "1000"].map(String::from));
            texts.extend([format!("  {key}0 ").replace("00 ", "00 "), format!("00{key}")]);
            texts.extend(other_spellings(*key, step));
            texts.extend(ends(*key, &step.accept.rule).iter().flat_map(around));
            let aside = |units: i128, places: u32| beside(*key, units, places);
            texts.extend(
                [(1, 1), (-1, 1), (1, 2), (-1, 2), (1, 3), (-1, 4)].iter().filter_map(|(u, p)| aside(*u, *p)),
            );
        }
    }
    texts
}

/// The right value as a float reads it, and as only the text as typed tells it.
fn other_spellings(key: Decimal, step: &Step) -> Vec<String> {
    let mut texts = vec![format!("{key}{}", if key.places() > 0 { "000" } else { ".00" })];
    texts.extend(key.to_string().strip_prefix('0').filter(|rest| rest.starts_with('.')).map(str::to_owned));
    // Later steps build on the value, which an engine does not have from a text with a unit: the key stands in for it.
    if step.accept.rule == Rule::Exact {
        texts.push(units::printed(&key, step.unit.as_deref()));
        texts.push(format!(" {}", units::printed(&key.normalized(), step.unit.as_deref())));
    }
    texts
}

/// The ends of what a rule accepts.
fn ends(key: Decimal, rule: &Rule) -> Vec<Decimal> {
    let width = match rule {
        Rule::Exact => return Vec::new(),
        Rule::Interval { from, to } => return vec![*from, *to],
        Rule::Absolute { tolerance } => *tolerance,
        Rule::Relative { percent } => {
            Decimal::new(key.units() * percent.units(), key.places() + percent.places() + 2).unwrap()
        }
        Rule::Rounded { to: Precision::Places(places), .. } => Decimal::new(5, places + 1).unwrap(),
        Rule::Rounded { to: Precision::Figures(_), .. } => return vec![key],
    };
    let places = key.places().max(width.places());
    let (centre, width) = (key.units_at(places).unwrap(), width.units_at(places).unwrap());
    [centre - width, centre + width]
        .iter()
        .filter(|units| **units >= 0)
        .map(|units| Decimal::new(*units, places).unwrap())
        .collect()
}

/// A value, and the nearest ones that pupils might write.
fn around(value: &Decimal) -> Vec<String> {
    let places = value.places();
    let near = [(0, places), (1, places), (-1, places), (1, places + 1), (-1, places + 1)];
    near.iter().filter_map(|(units, places)| beside(*value, *units, *places)).collect()
}

/// So many units of a place away, if that is not below zero.
fn beside(value: Decimal, units: i128, places: u32) -> Option<String> {
    let places = places.max(value.places());
    let moved = value.units_at(places)? + units;
    (moved >= 0).then(|| Decimal::new(moved, places).ok().map(|value| value.to_string()))?
}

/// Ways to write a number in words, right, under another place's name, wrong and unreadable.
fn in_words(key: Decimal, language: Language) -> Vec<String> {
    let forms = (0..=4).filter_map(|places| to_words(&key.with_places(places)?, language));
    let mut texts: Vec<String> = forms.collect();
    let told = to_words(&key, language).unwrap();
    texts.extend([
        told.to_uppercase(),
        told.replace('-', " "),
        told.replace(' ', "  "),
        format!(" {told}. "),
    ]);
    texts.extend(["junk", "   ", "0.5", "seven", "one and one half"].map(String::from));
    texts.extend([key.to_string(), format!("{told} meters"), format!("{} hundredths", key.point_removed())]);
    texts
}

/// A small generator of numbers, so that each run tries the same answers.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % bound
    }
}

/// One pupil's answers, each chosen with the own earlier ones in view.
pub(crate) fn some_pupil(item: &Item, dice: &mut Dice) -> Responses {
    let mut own = item.given_names();
    let mut given = Responses::new();
    for (step, proven) in item.steps_proven() {
        let texts = candidates(item, step, proven, &own);
        let text = texts[dice.below(texts.len())].clone();
        let value = match &proven.key {
            Key::Number(_) => text.trim().parse().ok(),
            Key::Choice(_) => step.value_of(&Key::Choice(text.as_str().into())),
            Key::Order(_) => None,
        };
        own.extend(value.or(proven.value).map(|value| (step.id.clone(), value)));
        given.insert(step.id.to_string(), text);
    }
    given
}
