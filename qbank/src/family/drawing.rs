//! From a family, a seed and a position to a proven item.
//!
//! All numbers that a family can draw form one long list ([`super::Space`]). A permutation keyed by the seed mixes it,
//! and the position is the place in the mixed list. So a seed never repeats numbers until the family is used up, no
//! memory of earlier draws is needed, and any position can be drawn by itself. Where a family has demands that
//! counting does not carry, numbers that fail them leave their position void.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::iter;

use smallvec::smallvec;
use smol_str::{SmolStr, ToSmolStr};

use super::{Choices, Counted, Family, FamilyStep, Numbers, Texts, texts::Teller};
use crate::{
    arithmetic::{Columns, Value, evaluate, prove},
    decimal::Decimal,
    draw::{Draws, Permutation},
    expression::Names,
    locale::Language,
    misconceptions::{self, Predicted},
    profile::Profile,
    question::{
        Answer, Choice, DrawnStep, Given, Item, Key, Mistake, Prediction, ProofError, Question, Step,
        StepKind, Wrong,
    },
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

/// In which words a question is told.
pub(super) struct Voice<'f> {
    pub(super) locale: SmolStr,
    pub(super) language: Language,
    pub(super) texts: &'f Texts,
}

impl Family {
    /// How many positions the family offers to one seed, no two with the same numbers; [`Family::counted`] tells what
    /// the count says of questions.
    #[must_use]
    pub fn capacity(&self) -> u128 {
        self.space.count()
    }

    /// Whether [`Family::capacity`] counts questions, the numbers that satisfy the family, or is a bound.
    #[must_use]
    pub fn counted(&self) -> Counted {
        self.space.counted()
    }

    /// The question of a position, proven.
    ///
    /// # Errors
    /// [`DrawError`]; [`DrawError::Void`] is part of the design and calls for another position.
    pub fn draw(&self, seed: &str, position: u64, locale: &str) -> Result<Item, DrawError> {
        self.seeded(seed, locale)?.draw(position)
    }

    /// The questions of one seed in one language, with what does not depend on the position worked out.
    ///
    /// # Errors
    /// [`DrawError::NoTexts`].
    ///
    /// # Example
    /// ```
    /// let family = qbank::bank::family("add-ragged")?;
    /// let seeded = family.seeded("a seed", "en-US")?;
    /// assert_eq!(seeded.draw(3)?, family.draw("a seed", 3, "en-US")?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn seeded<'s>(&'s self, seed: &'s str, locale: &str) -> Result<Seeded<'s>, DrawError> {
        let voice = self.voice(locale)?;
        let key = self.key(seed);
        let capacity = self.capacity();
        let id = format!("{}-v{}-{}-", self.id, self.version, receipt::short(seed, 8));
        Ok(Seeded {
            family: self,
            seed: seed.into(),
            voice,
            places: Permutation::keyed(&key, capacity),
            key,
            id,
            capacity,
        })
    }

    fn voice(&self, locale: &str) -> Result<Voice<'_>, DrawError> {
        let no_texts = || DrawError::NoTexts { family: self.id.to_string(), locale: locale.to_string() };
        let (locale, texts) = self.texts.get_key_value(locale).ok_or_else(no_texts)?;
        let language = Language::of_locale(locale).ok_or_else(no_texts)?;
        Ok(Voice { locale: locale.into(), language, texts })
    }

    /// The question with these numbers, proven: one for each given, as they are drawn (any number for a derived given,
    /// and for a mistaken one which of its misconceptions it is). It has position 0 and names `seed` as its seed,
    /// though that seed draws other numbers there.
    ///
    /// # Errors
    /// [`DrawError::NoTexts`]; [`DrawError::Void`] for numbers that fail a demand of the family.
    pub fn with_numbers(&self, drawn: &[Decimal], seed: &str, locale: &str) -> Result<Item, DrawError> {
        let drawn = (drawn.len() == self.givens.len()).then(|| drawn.to_vec());
        self.seeded(seed, locale)?.with_numbers(drawn, 0)
    }

    /// Items from a position on, passing over void positions, until the capacity is used up.
    pub fn draws<'f>(
        &'f self,
        seed: &'f str,
        from: u64,
        locale: &'f str,
    ) -> impl Iterator<Item = Result<Item, DrawError>> + 'f {
        let seeded = self.seeded(seed, locale);
        (from..u64::try_from(self.capacity()).unwrap_or(u64::MAX))
            .map(move |position| seeded.as_ref().map_err(Clone::clone)?.draw(position))
            .filter(|drawn| !matches!(drawn, Err(DrawError::Void { .. })))
    }

    fn key(&self, seed: &str) -> String {
        format!("draw/{}/{}/{seed}", self.id, self.version)
    }

    fn names(&self, values: &[Decimal]) -> Names {
        self.givens.iter().zip(values).map(|(given, value)| (given.name.clone(), *value)).collect()
    }

    /// The numbers of all givens from those drawn: derived ones worked out, mistakes made. `None` where one of them
    /// has no value.
    pub(super) fn resolved(&self, mut drawn: Vec<Decimal>) -> Option<Vec<Decimal>> {
        for (index, given) in self.givens.iter().enumerate() {
            let earlier = || self.names(&drawn[..index]);
            let value = match &given.numbers {
                Numbers::Range { .. } | Numbers::List(_) => continue,
                Numbers::Derived { expression, places } => {
                    let value = as_number(&evaluate(&Columns, expression, &earlier()).ok()?)?;
                    places.map_or(Some(value), |places| value.with_places(places))?
                }
                Numbers::Mistaken { of, by } => {
                    let which = usize::try_from(drawn[index].units()).ok()?;
                    as_number(&misconceptions::predict(by.get(which)?, of, &earlier())?)?
                }
            };
            drawn[index] = value;
        }
        Some(drawn)
    }

    /// The steps with answers and predictions, if the numbers satisfy the family.
    pub(super) fn steps_if_fitting(&self, values: &[Decimal], voice: &Voice<'_>) -> Option<Drawn> {
        let mut names = self.names(values);
        let (mut records, mut steps) =
            (Vec::with_capacity(self.steps.len()), Vec::with_capacity(self.steps.len()));
        for family_step in &self.steps {
            let (record, step) = self.step(family_step, &names, voice)?;
            names.extend(record.value_of(&step.key).map(|value| (record.id.clone(), value)));
            records.push(record);
            steps.push(step);
        }
        let fits = self.conditions.iter().all(|condition| condition.holds(&names));
        fits.then_some(Drawn { records, steps, names })
    }

    /// One step without its prompt; `None` if it has no answer or predicts too few different wrong ones.
    fn step(&self, family_step: &FamilyStep, names: &Names, voice: &Voice<'_>) -> Option<(Step, DrawnStep)> {
        let value = evaluate(&Columns, &family_step.expression, names).ok()?;
        let mut step = Step {
            id: family_step.id.clone(),
            kind: family_step.kind,
            prompt: SmolStr::default(),
            expression: family_step.text.clone(),
            answer: Answer::Text(SmolStr::default()),
            unit: family_step.unit.clone(),
            accept: family_step.accept.clone(),
            points: family_step.points,
            predicted: Vec::new(),
            choices: self.choices(family_step, names, voice)?,
            solution: Vec::new(),
        };
        let key = step.key_for(&value).ok()?;
        step.answer = step.answer_of(&in_form(&key, family_step), voice.language).ok()?;
        let wrong;
        (step.predicted, wrong) = self.predictions(family_step, &step, &value, &key, names, voice.language);
        if step.predicted.len() < family_step.separates {
            return None;
        }
        step.solution = match family_step.choices {
            // What is shown was drawn; the step before works the exercise.
            Choices::Mistakes(_) => Vec::new(),
            _ => working::lines(&family_step.expression, names).ok()?,
        };
        Some((step, DrawnStep { expression: family_step.expression.clone(), value, key, wrong }))
    }

    /// What can be chosen; `None` where a mistake to choose makes no difference.
    fn choices(&self, family_step: &FamilyStep, names: &Names, voice: &Voice<'_>) -> Option<Vec<Choice>> {
        let letters = ('A'..='Z').map(|letter| letter.to_smolstr());
        let plain = |(id, (text, value))| Choice { id, text, value, mistake: None };
        Some(match &family_step.choices {
            Choices::None => Vec::new(),
            Choices::Relations => letters
                .zip(["<", "=", ">"].map(|sign| (SmolStr::new_static(sign), None)))
                .map(plain)
                .collect(),
            Choices::Values(choices) => {
                let worth = choices.iter().filter_map(|name| names.get(name).copied());
                let unit = family_step.unit.as_deref();
                let printed = worth.map(|value| (units::printed(&value, unit).into(), Some(value)));
                letters.zip(printed).map(plain).collect()
            }
            Choices::Mistakes(given) => {
                let given = self.givens.iter().find(|known| known.name == *given)?;
                let Numbers::Mistaken { of, by } = &given.numbers else { return None };
                let named = |(id, misconception): (SmolStr, &&'static misconceptions::Misconception)| {
                    let value = as_number(&misconceptions::predict(misconception, of, names)?)?;
                    let text = voice.texts.choices.get(misconception.id)?.clone();
                    let misconception = SmolStr::new_static(misconception.id);
                    let mistake = Mistake { misconception, of: of.to_smolstr() };
                    Some(Choice { id, text, value: Some(value), mistake: Some(mistake) })
                };
                letters.zip(by).map(named).collect::<Option<_>>()?
            }
        })
    }

    /// Wrong answers that the family's misconceptions lead to, without those that would be marked right.
    fn predictions(
        &self,
        family_step: &FamilyStep,
        step: &Step,
        value: &Value,
        key: &Key,
        names: &Names,
        language: Language,
    ) -> (Vec<Prediction>, Vec<Wrong>) {
        let candidates = self.misconceptions.iter().copied();
        let mut predicted =
            misconceptions::predict_all_beside(Some(value), candidates, &family_step.expression, names);
        let by_rule = predicted.len();
        let mut stated = Vec::new();
        for (misconception, mistaken) in &family_step.mistakes {
            if let Ok(value) = prove(mistaken, names)
                && !predicted.iter().any(|known| known.value == value)
            {
                predicted.push(Predicted { value, misconceptions: smallvec![misconception.id] });
                stated.push(mistaken);
            }
        }
        let stated = iter::repeat_n(None, by_rule).chain(stated.into_iter().map(Some));
        let (mut records, mut wrong) =
            (Vec::with_capacity(predicted.len()), Vec::with_capacity(predicted.len()));
        for (Predicted { value, misconceptions }, stated) in predicted.into_iter().zip(stated) {
            let Some(answer) = step.key_for(&value).ok().filter(|answer| !step.marks_right(key, answer))
            else {
                continue;
            };
            if let Ok(record) = step.answer_of(&answer, language) {
                records.push(Prediction {
                    misconception: misconceptions::joined(&misconceptions),
                    answer: record,
                    expression: stated.map(ToSmolStr::to_smolstr),
                });
                wrong.push(Wrong { key: answer, misconceptions, stated: stated.cloned() });
            }
        }
        (records, wrong)
    }
}

/// Steps of drawn numbers.
pub(super) struct Drawn {
    records: Vec<Step>,
    steps: Vec<DrawnStep>,
    /// The givens, and the answers of all steps.
    names: Names,
}

/// The questions of one seed of a family in one language.
pub struct Seeded<'f> {
    family: &'f Family,
    seed: SmolStr,
    voice: Voice<'f>,
    /// What keys all choices.
    key: String,
    places: Permutation,
    /// What the ids begin with.
    id: String,
    capacity: u128,
}

impl Seeded<'_> {
    /// The question of a position, proven.
    ///
    /// # Errors
    /// [`DrawError`]; [`DrawError::Void`] is part of the design and calls for another position.
    pub fn draw(&self, position: u64) -> Result<Item, DrawError> {
        if u128::from(position) >= self.capacity {
            let (family, capacity) = (self.family.id.to_string(), self.capacity);
            return Err(DrawError::BeyondCapacity { family, capacity, position });
        }
        let place = self.places.at(position.into());
        self.with_numbers(place.and_then(|index| self.family.space.numbers(index)), position)
    }

    fn with_numbers(&self, drawn: Option<Vec<Decimal>>, position: u64) -> Result<Item, DrawError> {
        let values = drawn.and_then(|drawn| self.family.resolved(drawn));
        let drawn =
            values.and_then(|values| Some((self.family.steps_if_fitting(&values, &self.voice)?, values)));
        let void = || DrawError::Void { family: self.family.id.to_string(), position };
        let (Drawn { records, steps, names }, values) = drawn.ok_or_else(void)?;
        let mut question = self.question(position, &values, records);
        let expressions = steps.iter().map(|step| Some(&*step.expression));
        let profile = Profile::counted(&question, expressions, &names);
        question.difficulty = profile.level();
        Ok(question.proven_as_drawn(steps, &names, profile)?)
    }

    /// The record, but for how hard it is and its receipt.
    fn question(&self, position: u64, values: &[Decimal], mut steps: Vec<Step>) -> Question {
        let Self { family, voice: Voice { locale, language, texts }, .. } = self;
        // The same words in every language's list would be chance; the key keeps languages apart on purpose.
        let told = Decimal::new(position.into(), 0).expect("it has 20 digits at most").printed();
        let draws = Draws::keyed(&["text/", locale, "/", &told, "/", &self.key].concat());
        let mut teller = Teller::new(family, texts, *language, values, draws);
        let stem = teller.stem();
        for step in &mut steps {
            step.prompt = teller.prompt(&texts.prompts[&step.id]);
        }
        let given = family.givens.iter().zip(values).map(|(given, value)| Given {
            name: given.name.clone(),
            value: *value,
            unit: given.unit.clone(),
        });
        Question {
            id: [self.id.as_str(), &told].concat().into(),
            family: family.id.clone(),
            version: family.version,
            seed: self.seed.clone(),
            position,
            locale: locale.clone(),
            standards: family.standards.clone(),
            difficulty: 0,
            title: texts.title.clone(),
            stem,
            givens: given.collect(),
            steps,
            receipt: String::new(),
        }
    }
}

fn as_number(value: &Value) -> Option<Decimal> {
    match value {
        Value::Number(number) => Some(*number),
        Value::Relation(_) | Value::Order(_) => None,
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
