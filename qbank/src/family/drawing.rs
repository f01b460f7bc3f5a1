//! From a family, a seed and a position to a proven item.
//!
//! All numbers that a family can draw form one long list ([`super::Space`]). A permutation keyed by the seed mixes it,
//! and the position is the place in the mixed list. So a seed never repeats numbers until the family is used up, no
//! memory of earlier draws is needed, and any position can be drawn by itself. Where a family has demands that
//! counting does not carry, numbers that fail them leave their position void.
use alloc::{
    collections::BTreeMap,
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::{Choices, Family, FamilyStep, Texts};
use crate::{
    arithmetic::{ArithmeticError, Columns, evaluate},
    decimal::Decimal,
    draw::{Draws, Permutation},
    expression::Names,
    misconceptions::{self, Predicted, gather},
    profile::Profile,
    question::{Answer, Choice, Given, Item, Key, Prediction, ProofError, Question, Step, StepKind},
    receipt, units, working,
};

/// Why a position has no question.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DrawError {
    /// Positions run from 0 to the capacity.
    #[error("the family '{family}' has {capacity} positions, from 0; there is no position {position}")]
    BeyondCapacity {
        /// The family.
        family: String,
        /// How many positions it has.
        capacity: u128,
        /// The position asked for.
        position: u64,
    },
    /// The numbers at the position fail a demand that counting does not carry; take another position.
    #[error("position {position} of family '{family}' is void; take another one")]
    Void {
        /// The family.
        family: String,
        /// The position.
        position: u64,
    },
    /// The family has no texts in that language.
    #[error("the family '{family}' has no texts for {locale}")]
    NoTexts {
        /// The family.
        family: String,
        /// The locale asked for.
        locale: String,
    },
    /// The question drawn could not be proven: a fault of ours.
    #[error(transparent)]
    Proof(#[from] ProofError),
}

impl Family {
    /// How many positions the family offers to one seed. With [`Family::is_exact`] each of them holds a question, and
    /// this is how many different questions there are; else it is an upper bound, and some positions are void.
    #[must_use]
    pub fn capacity(&self) -> u128 {
        self.space.count()
    }

    /// Whether [`Family::capacity`] is the exact number of different questions.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        self.space.is_exact()
    }

    /// The question of a position, proven.
    ///
    /// # Errors
    /// [`DrawError`]; [`DrawError::Void`] is part of the design and calls for another position.
    pub fn draw(&self, seed: &str, position: u64, locale: &str) -> Result<Item, DrawError> {
        let family = || self.id.clone();
        let (locale, texts) = self
            .texts
            .get_key_value(locale)
            .ok_or_else(|| DrawError::NoTexts { family: family(), locale: locale.to_string() })?;
        let capacity = self.capacity();
        if u128::from(position) >= capacity {
            return Err(DrawError::BeyondCapacity { family: family(), capacity, position });
        }
        let place = Permutation::keyed(&self.key(seed), capacity).at(position.into());
        let values = place.and_then(|index| self.space.numbers(index));
        let drawn = values.and_then(|values| Some((self.steps_if_fitting(&values)?, values)));
        let (steps, values) = drawn.ok_or_else(|| DrawError::Void { family: family(), position })?;
        let question = self.question(seed, position, locale, texts, &values, steps);
        Ok(question.sealed().verify()?)
    }

    /// Items from a position on, passing over void positions, until the capacity is used up.
    pub fn draws<'f>(
        &'f self,
        seed: &'f str,
        from: u64,
        locale: &'f str,
    ) -> impl Iterator<Item = Result<Item, DrawError>> + 'f {
        (from..u64::try_from(self.capacity()).unwrap_or(u64::MAX))
            .map(move |position| self.draw(seed, position, locale))
            .filter(|drawn| !matches!(drawn, Err(DrawError::Void { .. })))
    }

    fn key(&self, seed: &str) -> String {
        format!("draw/{}/{}/{seed}", self.id, self.version)
    }

    fn names(&self, values: &[Decimal]) -> Names {
        self.givens.iter().zip(values).map(|(given, value)| (given.name.clone(), *value)).collect()
    }

    /// The steps with answers and predictions, if the numbers satisfy the family.
    pub(super) fn steps_if_fitting(&self, values: &[Decimal]) -> Option<Vec<Step>> {
        let mut names = self.names(values);
        let mut steps = Vec::with_capacity(self.steps.len());
        for family_step in &self.steps {
            let step = self.step(family_step, &names).ok().flatten()?;
            let key = step.key_for(&evaluate(&Columns, &family_step.expression, &names).ok()?).ok()?;
            names.extend(step.value_of(&key).map(|value| (step.id.clone(), value)));
            steps.push(step);
        }
        self.conditions.iter().all(|condition| condition.holds(&names)).then_some(steps)
    }

    /// One step without its prompt; `None` if it predicts too few different wrong answers.
    fn step(&self, family_step: &FamilyStep, names: &Names) -> Result<Option<Step>, ArithmeticError> {
        let value = evaluate(&Columns, &family_step.expression, names)?;
        let mut step = Step {
            id: family_step.id.clone(),
            kind: family_step.kind,
            prompt: String::new(),
            expression: family_step.expression.to_string(),
            answer: Answer::Text(String::new()),
            unit: family_step.unit.clone(),
            accept: family_step.accept.clone(),
            points: family_step.points,
            predicted: Vec::new(),
            choices: self.choices(family_step, names),
            solution: working::lines(&family_step.expression, names)?,
        };
        let Ok(key) = step.key_for(&value) else {
            return Ok(None);
        };
        step.answer = Answer::from(&in_form(&key, family_step));
        step.predicted = self.predictions(family_step, &step, &key, names);
        Ok((step.predicted.len() >= family_step.separates).then_some(step))
    }

    fn choices(&self, family_step: &FamilyStep, names: &Names) -> Vec<Choice> {
        let letters = ('A'..='Z').map(String::from);
        let choice = |(id, (text, value))| Choice { id, text, value };
        match &family_step.choices {
            Choices::None => Vec::new(),
            Choices::Relations => {
                letters.zip(["<", "=", ">"].map(|sign| (sign.to_string(), None))).map(choice).collect()
            }
            Choices::Givens(givens) => {
                let worth = givens.iter().filter_map(|name| names.get(name).copied());
                let unit = family_step.unit.as_deref();
                letters
                    .zip(worth.map(|value| (units::printed(&value, unit), Some(value))))
                    .map(choice)
                    .collect()
            }
        }
    }

    /// Wrong answers that the family's misconceptions lead to, without those that would be marked right.
    fn predictions(
        &self,
        family_step: &FamilyStep,
        step: &Step,
        key: &Key,
        names: &Names,
    ) -> Vec<Prediction> {
        let by_rule =
            misconceptions::predict_all(self.misconceptions.iter().copied(), &family_step.expression, names);
        let mut predicted: Vec<(Predicted, Option<String>)> =
            by_rule.into_iter().map(|wrong| (wrong, None)).collect();
        for (misconception, mistaken) in &family_step.mistakes {
            if let Ok(value) = evaluate(&Columns, mistaken, names)
                && !predicted.iter().any(|(known, _)| known.value == value)
            {
                let mut stated = Vec::new();
                gather(&mut stated, value, misconception.id);
                predicted.extend(stated.into_iter().map(|wrong| (wrong, Some(mistaken.to_string()))));
            }
        }
        let as_record = |(wrong, expression): (Predicted, Option<String>)| {
            let answer = step.key_for(&wrong.value).ok().filter(|answer| !step.marks_right(key, answer))?;
            Some(Prediction { misconception: wrong.joined(), answer: Answer::from(&answer), expression })
        };
        predicted.into_iter().filter_map(as_record).collect()
    }

    fn question(
        &self,
        seed: &str,
        position: u64,
        locale: &str,
        texts: &Texts,
        values: &[Decimal],
        mut steps: Vec<Step>,
    ) -> Question {
        // The same words in every language's list would be chance; the key keeps languages apart on purpose.
        let draws = Draws::keyed(&format!("text/{locale}/{position}/{}", self.key(seed)));
        let mut teller = Teller { family: self, texts, values, draws, chosen: BTreeMap::new() };
        let stem = teller.stem();
        for step in &mut steps {
            step.prompt = teller.told(&texts.prompts[&step.id]);
        }
        let mut question = Question {
            id: format!("{}-v{}-{}-{position}", self.id, self.version, receipt::short(seed, 8)),
            family: self.id.clone(),
            version: self.version,
            seed: seed.to_string(),
            position,
            locale: locale.to_string(),
            standards: self.standards.clone(),
            difficulty: 0,
            title: texts.title.clone(),
            stem,
            givens: self
                .givens
                .iter()
                .zip(values)
                .map(|(given, value)| Given {
                    name: given.name.clone(),
                    value: *value,
                    unit: given.unit.clone(),
                })
                .collect(),
            steps,
            receipt: String::new(),
        };
        question.difficulty = Profile::of(&question).level();
        question
    }
}

/// The key in the written form that the step asks for.
fn in_form(key: &Key, step: &FamilyStep) -> Key {
    match (key, step.accept.form.places) {
        (Key::Number(number), Some(places)) if step.kind == StepKind::Number => {
            Key::Number(number.with_places(places).unwrap_or(*number))
        }
        _ => key.clone(),
    }
}

/// A slot of a text: `{a}` is a given with its unit, `{a:number}` without, `{person}` a word of the list `person`,
/// `{person2}` another one of it.
pub(super) struct Slot<'t> {
    /// What stands before a colon.
    pub(super) name: &'t str,
    bare: bool,
    span: (usize, usize),
}

impl<'t> Slot<'t> {
    /// The word list it draws from.
    pub(super) fn list(&self) -> &'t str {
        self.name.trim_end_matches(|last: char| last.is_ascii_digit())
    }

    /// Which different word of the list it is, from 1.
    pub(super) fn number(&self) -> usize {
        self.name[self.list().len()..].parse().unwrap_or(1)
    }
}

/// The slots of a text, in order.
pub(super) fn slots(text: &str) -> Result<Vec<Slot<'_>>, &'static str> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(open) = text[from..].find('{').map(|at| from + at) {
        let close =
            text[open..].find('}').map(|at| open + at).ok_or("a slot is opened with { and never closed")?;
        let inside = &text[open + 1..close];
        let (name, bare) = match inside.split_once(':') {
            Some((name, "number")) => (name, true),
            Some(_) => return Err("a slot takes nothing but :number after its name"),
            None => (inside, false),
        };
        found.push(Slot { name, bare, span: (open, close + 1) });
        from = close + 1;
    }
    Ok(found)
}

/// Tells a family's texts with drawn numbers and words.
struct Teller<'f> {
    family: &'f Family,
    texts: &'f Texts,
    values: &'f [Decimal],
    draws: Draws,
    /// Each word list in the order drawn for this question.
    chosen: BTreeMap<&'f str, Vec<&'f str>>,
}

impl<'f> Teller<'f> {
    fn stem(&mut self) -> String {
        let stem = self.draws.one_of(&self.texts.stems);
        stem.map(|stem| self.told(stem)).unwrap_or_default()
    }

    fn told(&mut self, text: &'f str) -> String {
        let mut told = String::new();
        let mut from = 0;
        for slot in slots(text).expect("the checker has read all slots") {
            told.push_str(&text[from..slot.span.0]);
            told.push_str(&self.filled(&slot));
            from = slot.span.1;
        }
        told.push_str(&text[from..]);
        told
    }

    fn filled(&mut self, slot: &Slot<'f>) -> String {
        let given = self.family.givens.iter().zip(self.values).find(|(given, _)| given.name == slot.name);
        if let Some((given, value)) = given {
            return units::printed(value, given.unit.as_deref().filter(|_| !slot.bare));
        }
        let texts = self.texts;
        let draws = &mut self.draws;
        let words = self.chosen.entry(slot.list()).or_insert_with(|| {
            let mut words: Vec<&str> = texts.words[slot.list()].iter().map(String::as_str).collect();
            draws.shuffle(&mut words);
            words
        });
        words[slot.number() - 1].to_string()
    }
}
