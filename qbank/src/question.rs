//! A drawn question, and the proof that turns it into an item.
//!
//! A [`Question`] is a record: what a draw produced or a file holds. Nothing in it is believed. [`Question::verify`]
//! works every answer again by three routes that share no arithmetic, predicts every wrong answer anew and checks
//! the receipt; only then is there an [`Item`], and only items are placed, exported or marked.
//!
//! A question that is drawn this moment was worked by columns a moment before, so only the two other routes are left to go;
//! a family is believed when its first draws come out of [`Question::verify`] as the same items.
mod canonical;

use alloc::{
    collections::{BTreeMap, BTreeSet},
    string::{String, ToString},
    sync::Arc,
    vec::Vec,
};
use core::ops::Deref;

use serde::{Deserialize, Serialize};
use smol_str::SmolStr;

use crate::{
    accept::{Acceptance, Rule, fraction_of},
    arithmetic::{Arithmetic, ArithmeticError, Fractions, Value, prove, prove_found},
    decimal::Decimal,
    expression::{Expression, ExpressionError, Names},
    locale::Language,
    misconceptions::{self, JOINT, Misconceptions},
    profile::Profile,
    receipt,
    words::to_words,
};

/// Most points of a step, so that sums over steps and questions always fit.
pub const MOST_POINTS: u32 = 1_000;

/// A question as records write it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// Unique within a pool; letters, digits and hyphens, starting with a letter.
    pub id: SmolStr,
    /// The family it was drawn from.
    pub family: SmolStr,
    /// The family's version.
    pub version: u32,
    /// The text that keyed the draw.
    pub seed: SmolStr,
    /// Which of the seed's questions this is, from 0.
    pub position: u64,
    /// Language and region, as `en-US`.
    pub locale: SmolStr,
    /// Curriculum codes, as `5.NBT.B.7`.
    pub standards: Vec<SmolStr>,
    /// From 1 (easy) to 5 (hard): the level of its [`Profile`] when it was drawn.
    pub difficulty: u8,
    /// A short name of what is practised.
    pub title: SmolStr,
    /// The story, or empty where the first step says it all.
    pub stem: String,
    /// The numbers drawn.
    pub givens: Vec<Given>,
    /// What is asked, in order; at least one.
    pub steps: Vec<Step>,
    /// SHA-256 over all the rest, see [`receipt::of`].
    pub receipt: String,
}

/// A number given in a question.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Given {
    /// Its name in expressions.
    pub name: SmolStr,
    /// Its value, in its written form.
    pub value: Decimal,
    /// The symbol of its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<SmolStr>,
}

/// One thing asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Its name in responses and in later expressions.
    pub id: SmolStr,
    /// How it is answered.
    pub kind: StepKind,
    /// What is asked.
    pub prompt: SmolStr,
    /// How the answer comes from givens and earlier steps.
    pub expression: SmolStr,
    /// The answer.
    pub answer: Answer,
    /// The symbol of the answer's unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<SmolStr>,
    /// What counts as right.
    pub accept: Acceptance,
    /// Points for a right answer, from 1 to [`MOST_POINTS`].
    pub points: u32,
    /// Wrong answers and the misconceptions that lead to them.
    pub predicted: Vec<Prediction>,
    /// What can be chosen, for a choice.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<Choice>,
    /// The working, a line each, in equal character widths.
    pub solution: Vec<SmolStr>,
}

/// How a step is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    /// A typed number.
    Number,
    /// One of several choices.
    Choice,
    /// All choices put in order.
    Order,
    /// A number in words.
    Words,
}

/// An answer as records write it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Answer {
    /// A decimal, a choice's id, or words.
    Text(SmolStr),
    /// Ids of choices in order.
    Sequence(Vec<SmolStr>),
}

/// A wrong answer that misconceptions lead to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Prediction {
    /// Names of the misconceptions, joined by ` | ` where several lead to the same answer.
    pub misconception: SmolStr,
    /// The wrong answer.
    pub answer: Answer,
    /// The mistaken expression, for misconceptions that no rule can derive from the right one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expression: Option<SmolStr>,
}

/// Something that can be chosen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Choice {
    /// `A`, `B`, …
    pub id: SmolStr,
    /// What is read.
    pub text: SmolStr,
    /// What it is worth in the expressions of later steps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<Decimal>,
    /// Where the choice names a mistake: the mistake, which leads to `value`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mistake: Option<Mistake>,
}

/// A mistake that a choice names, in finding how somebody went wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mistake {
    /// The name of the misconception.
    pub misconception: SmolStr,
    /// The exercise in which the mistake is made.
    pub of: SmolStr,
}

/// A question whose every answer is proven.
///
/// Reads as the [`Question`] it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    question: Question,
    steps: Vec<ProvenStep>,
    profile: Profile,
}

/// What the proof of one step found, ready for marking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProvenStep {
    /// The expression, read; questions of one family share it.
    pub expression: Arc<Expression>,
    /// The right answer.
    pub key: Key,
    /// What a later expression that names this step works with.
    pub value: Option<Decimal>,
    /// The predicted wrong answers, with the expression that leads to each.
    pub wrong: Vec<Wrong>,
}

/// A right or wrong answer with its type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Key {
    /// A number.
    Number(Decimal),
    /// The id of a choice.
    Choice(SmolStr),
    /// The ids of all choices in order.
    Order(Vec<SmolStr>),
}

/// A predicted wrong answer of a proven step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// The wrong answer.
    pub key: Key,
    /// The misconceptions that lead to it, one or more.
    pub misconceptions: Misconceptions,
    /// The mistaken expression, where the family states one.
    pub stated: Option<Expression>,
}

/// Why a question is no item. Always a fault of the record, never of a pupil.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("question '{question}'{}: {fault}", step.as_deref().map(|step| alloc::format!(", step '{step}'")).unwrap_or_default())]
pub struct ProofError {
    /// The question's id.
    pub question: String,
    /// The step, if the fault is in one.
    pub step: Option<String>,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong with a question.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// The id cannot serve as a name in packages.
    #[error("the id must start with a letter and hold letters, digits and hyphens only")]
    BadId,
    /// There is nothing to answer.
    #[error("there is no step")]
    NoStep,
    /// Two givens or steps share a name.
    #[error("the name '{0}' is used twice")]
    NameTwice(String),
    /// The content is not the one the receipt was made for.
    #[error("the receipt does not fit the content; it should be {0}")]
    Receipt(String),
    /// The expression cannot be read.
    #[error("expression: {0}")]
    Expression(#[from] ExpressionError),
    /// The expression has no value, or the routes disagree on it.
    #[error("{0}")]
    Arithmetic(#[from] ArithmeticError),
    /// The record claims another answer than was worked out.
    #[error("the record says the answer is {claimed}, worked out it is {found}")]
    WrongAnswer {
        /// In the record.
        claimed: String,
        /// By the three routes.
        found: String,
    },
    /// The value found is not among the choices, or more than once.
    #[error("exactly one choice must stand for {0}")]
    NoSuchChoice(String),
    /// Choices are missing, or two share an id or a text.
    #[error("choices need different ids and different texts, and at least two of them")]
    Choices,
    /// A number that has no words in the question's language.
    #[error("{0} has no words in the question's language")]
    NoWords(String),
    /// The names of locales are `en-US` and the like.
    #[error("there are no words for the locale '{0}'")]
    NoLanguage(String),
    /// A name that the table of misconceptions does not have.
    #[error("there is no misconception '{0}'")]
    UnknownMisconception(String),
    /// A misconception leads to another answer than the record says.
    #[error("'{misconception}' leads to {found}, not to {claimed}")]
    WrongPrediction {
        /// Its name.
        misconception: String,
        /// In the record.
        claimed: String,
        /// As worked out.
        found: String,
    },
    /// Two predictions are the same answer, or one would be marked right.
    #[error("the predicted answer {0} stands twice or would be marked right")]
    Indistinct(String),
    /// Points must be positive, tolerances must not be negative, a form must be one that an answer can have.
    #[error(
        "points must be from 1 to {MOST_POINTS}, tolerances 0 or more, figures 1 or more, an interval's ends in order, a form possible"
    )]
    Accept,
    /// The answer is none of those that count.
    #[error("the answer {0} lies outside the interval that is accepted")]
    OutsideInterval(String),
}

impl Answer {
    /// The answer if it is one text.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            Self::Sequence(_) => None,
        }
    }
}

impl core::fmt::Display for Answer {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Text(text) => f.write_str(text),
            Self::Sequence(ids) => f.write_str(&ids.join(", ")),
        }
    }
}

impl core::fmt::Display for Key {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Number(number) => write!(f, "{number}"),
            Self::Choice(id) => f.write_str(id),
            Self::Order(ids) => f.write_str(&ids.join(", ")),
        }
    }
}

impl StepKind {
    /// The name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Number => "number",
            Self::Choice => "choice",
            Self::Order => "order",
            Self::Words => "words",
        }
    }
}

impl Question {
    /// Puts the receipt of the present content into the question.
    #[must_use]
    pub fn sealed(mut self) -> Self {
        self.receipt = self.fitting_receipt();
        self
    }

    /// A receipt is over all but itself.
    fn fitting_receipt(&self) -> String {
        receipt::of_canonical(&canonical::without_receipt(self))
    }

    /// The names and values that the first step's expression can use.
    #[must_use]
    pub fn given_names(&self) -> Names {
        self.givens.iter().map(|given| (given.name.clone(), given.value)).collect()
    }

    /// Proves every answer; the only way to an [`Item`].
    ///
    /// # Errors
    /// [`ProofError`], naming the question, the step and the first fault found.
    pub fn verify(self) -> Result<Item, ProofError> {
        let receipt = self.fitting_receipt();
        let fault = |fault| ProofError { question: self.id.to_string(), step: None, fault };
        check_shape(&self).map_err(fault)?;
        if receipt != self.receipt {
            return Err(fault(Fault::Receipt(receipt)));
        }
        let language = Language::of_locale(&self.locale);
        let language = language.ok_or_else(|| fault(Fault::NoLanguage(self.locale.to_string())))?;
        let mut names = self.given_names();
        let mut steps = Vec::with_capacity(self.steps.len());
        for step in &self.steps {
            let proven = step.proven(&names, language).map_err(|fault| ProofError {
                question: self.id.to_string(),
                step: Some(step.id.to_string()),
                fault,
            })?;
            if let Some(value) = proven.value {
                names.insert(step.id.clone(), value);
            }
            steps.push(proven);
        }
        Ok(Item { profile: Profile::of(&self), question: self, steps })
    }

    /// Seals a question that was drawn this moment and proves its answers. What the draw has worked is not worked again
    /// by the same way; the answers are by the two other ones.
    pub(crate) fn proven_as_drawn(
        self,
        steps: Vec<DrawnStep>,
        names: &Names,
        profile: Profile,
    ) -> Result<Item, ProofError> {
        let question = self.sealed();
        let proven = question.steps.iter().zip(steps).map(|(step, drawn)| {
            step.proven_as_drawn(drawn, names).map_err(|fault| ProofError {
                question: question.id.to_string(),
                step: Some(step.id.to_string()),
                fault,
            })
        });
        let steps = proven.collect::<Result<_, _>>()?;
        Ok(Item { profile, question, steps })
    }
}

/// What the draw of a step knows beyond its record.
pub(crate) struct DrawnStep {
    pub(crate) expression: Arc<Expression>,
    /// What the expression is worth by columns.
    pub(crate) value: Value,
    pub(crate) key: Key,
    pub(crate) wrong: Vec<Wrong>,
}

/// Whether a text can name an item in every package format: letters, digits and hyphens, a letter first.
#[must_use]
pub fn is_plain_id(id: &str) -> bool {
    id.starts_with(|first: char| first.is_ascii_alphabetic())
        && id.chars().all(|character| character.is_ascii_alphanumeric() || character == '-')
}

fn check_shape(question: &Question) -> Result<(), Fault> {
    if !is_plain_id(&question.id) {
        return Err(Fault::BadId);
    }
    if question.steps.is_empty() {
        return Err(Fault::NoStep);
    }
    let names =
        question.givens.iter().map(|given| &given.name).chain(question.steps.iter().map(|step| &step.id));
    let mut seen = BTreeSet::new();
    for name in names {
        if !seen.insert(name) {
            return Err(Fault::NameTwice(name.to_string()));
        }
    }
    Ok(())
}

impl Step {
    fn proven(&self, names: &Names, language: Language) -> Result<ProvenStep, Fault> {
        self.check_accept()?;
        self.check_mistakes(names)?;
        let expression: Arc<Expression> = Arc::new(self.expression.parse()?);
        let found = prove(&expression, names)?;
        let key = self.key_for(&found)?;
        if self.answer_of(&key, language)? != self.answer && !self.same_number(&key) {
            return Err(Fault::WrongAnswer { claimed: self.answer.to_string(), found: key.to_string() });
        }
        self.check_interval(&key)?;
        let wrong =
            self.predicted.iter().map(|wrong| self.check_prediction(wrong, &expression, names, language));
        let wrong: Vec<Wrong> = wrong.collect::<Result<_, _>>()?;
        self.check_distinct(&key, &wrong)?;
        let value = self.value_of(&key);
        Ok(ProvenStep { expression, key, value, wrong })
    }

    /// What [`Step::proven`] finds, of a step that was drawn this moment.
    fn proven_as_drawn(&self, drawn: DrawnStep, names: &Names) -> Result<ProvenStep, Fault> {
        let DrawnStep { expression, value, key, wrong } = drawn;
        prove_found(&Ok(value), &expression, names)?;
        self.check_accept()?;
        self.check_interval(&key)?;
        self.check_distinct(&key, &wrong)?;
        let value = self.value_of(&key);
        Ok(ProvenStep { expression, key, value, wrong })
    }

    /// The written form of a number is the record's own; only its value is worked out.
    fn same_number(&self, key: &Key) -> bool {
        match (self.kind, key, self.answer.text().map(str::parse::<Decimal>)) {
            (StepKind::Number, Key::Number(found), Some(Ok(claimed))) => *found == claimed,
            _ => false,
        }
    }

    fn check_accept(&self) -> Result<(), Fault> {
        let sound = self.accept.rule.fault().is_none() && self.accept.form.fault().is_none();
        if sound && (1..=MOST_POINTS).contains(&self.points) { Ok(()) } else { Err(Fault::Accept) }
    }

    /// An interval is stated apart from the answer, so it may miss it.
    fn check_interval(&self, key: &Key) -> Result<(), Fault> {
        match (&self.accept.rule, key) {
            (Rule::Interval { from, to }, Key::Number(number)) if number < from || number > to => {
                Err(Fault::OutsideInterval(number.to_string()))
            }
            _ => Ok(()),
        }
    }

    /// The answer that a value means for this step: the number itself, the choice that stands for it, or all choices
    /// in order.
    ///
    /// # Errors
    /// [`Fault::NoSuchChoice`], [`Fault::Choices`].
    pub fn key_for(&self, value: &Value) -> Result<Key, Fault> {
        match (self.kind, value) {
            (StepKind::Number, Value::Number(number)) => Ok(Key::Number(*number)),
            // Words name the last written place, so the form that is asked for belongs to the key.
            (StepKind::Words, Value::Number(number)) => {
                let asked = self.accept.form.places.and_then(|places| number.with_places(places));
                Ok(Key::Number(asked.unwrap_or(*number)))
            }
            (StepKind::Choice, Value::Number(number)) => {
                self.only_choice(value, |choice| choice.value == Some(*number)).map(Key::Choice)
            }
            (StepKind::Choice, Value::Relation(relation)) => {
                self.only_choice(value, |choice| choice.text == relation.sign()).map(Key::Choice)
            }
            (StepKind::Order, Value::Order(numbers)) if numbers.len() == self.choices.len() => {
                let place = |number: &Decimal| {
                    self.only_choice(value, |choice| choice.value.is_some_and(|worth| worth == *number))
                };
                numbers.iter().map(place).collect::<Result<_, _>>().map(Key::Order)
            }
            _ => Err(Fault::NoSuchChoice(value.to_string())),
        }
    }

    /// The id of the only choice that fits.
    fn only_choice(&self, value: &Value, fits: impl Fn(&Choice) -> bool) -> Result<SmolStr, Fault> {
        self.check_choices()?;
        let mut fitting = self.choices.iter().filter(|choice| fits(choice));
        match (fitting.next(), fitting.next()) {
            (Some(choice), None) => Ok(choice.id.clone()),
            _ => Err(Fault::NoSuchChoice(value.to_string())),
        }
    }

    /// A key as the record writes it: a decimal, a choice's id, ids in order, or the number in words.
    ///
    /// # Errors
    /// [`Fault::NoWords`] for a number that cannot be told in words.
    pub fn answer_of(&self, key: &Key, language: Language) -> Result<Answer, Fault> {
        Ok(match key {
            Key::Number(number) if self.kind == StepKind::Words => {
                let words = to_words(number, language);
                Answer::Text(words.ok_or_else(|| Fault::NoWords(number.to_string()))?.into())
            }
            Key::Number(number) => Answer::Text(number.printed()),
            Key::Choice(id) => Answer::Text(id.clone()),
            Key::Order(ids) => Answer::Sequence(ids.clone()),
        })
    }

    /// Whether the mistakes that choices name lead to what the choices are worth.
    fn check_mistakes(&self, names: &Names) -> Result<(), Fault> {
        for choice in &self.choices {
            let Some(mistake) = &choice.mistake else { continue };
            let known = misconceptions::find(&mistake.misconception)
                .ok_or_else(|| Fault::UnknownMisconception(mistake.misconception.to_string()))?;
            let found = misconceptions::predict(known, &mistake.of.parse()?, names);
            if found != choice.value.map(Value::Number) {
                return Err(Fault::WrongPrediction {
                    misconception: mistake.misconception.to_string(),
                    claimed: choice.value.map_or_else(|| "nothing".into(), |value| value.to_string()),
                    found: found.map_or_else(|| "no answer of its own".into(), |value| value.to_string()),
                });
            }
        }
        Ok(())
    }

    fn check_choices(&self) -> Result<(), Fault> {
        let ids: BTreeSet<&str> = self.choices.iter().map(|choice| choice.id.as_str()).collect();
        let texts: BTreeSet<&str> = self.choices.iter().map(|choice| choice.text.as_str()).collect();
        let distinct = ids.len() == self.choices.len() && texts.len() == self.choices.len();
        let plain = self.choices.iter().all(|choice| is_plain_id(&choice.id));
        if distinct && plain && self.choices.len() >= 2 { Ok(()) } else { Err(Fault::Choices) }
    }

    /// What a later expression that names this step works with, if it was answered so.
    #[must_use]
    pub fn value_of(&self, key: &Key) -> Option<Decimal> {
        match key {
            Key::Number(number) => Some(*number),
            Key::Choice(id) => self.choices.iter().find(|choice| choice.id == *id)?.value,
            Key::Order(_) => None,
        }
    }

    /// Works every named misconception again and compares with what the record says.
    fn check_prediction(
        &self,
        prediction: &Prediction,
        right: &Expression,
        names: &Names,
        language: Language,
    ) -> Result<Wrong, Fault> {
        let stated: Option<Expression> = prediction.expression.as_deref().map(str::parse).transpose()?;
        let mut ids = Misconceptions::new();
        let mut key = None;
        for id in prediction.misconception.split(JOINT) {
            let known = misconceptions::find(id).ok_or_else(|| Fault::UnknownMisconception(id.into()))?;
            let value = match &stated {
                Some(mistaken) => prove(mistaken, names).ok(),
                None => misconceptions::predict(known, right, names),
            };
            let found = value.as_ref().and_then(|value| self.key_for(value).ok());
            let answer = found.as_ref().and_then(|found| self.answer_of(found, language).ok());
            if answer.as_ref() != Some(&prediction.answer) {
                return Err(Fault::WrongPrediction {
                    misconception: id.into(),
                    claimed: prediction.answer.to_string(),
                    found: found.map_or_else(|| "no answer of its own".into(), |found| found.to_string()),
                });
            }
            ids.push(known.id);
            key = found;
        }
        let key = key.expect("splitting a text gives at least one name");
        Ok(Wrong { key, misconceptions: ids, stated })
    }

    fn check_distinct(&self, key: &Key, wrong: &[Wrong]) -> Result<(), Fault> {
        for (index, one) in wrong.iter().enumerate() {
            let repeated = wrong[..index].iter().any(|other| other.key == one.key);
            if repeated || self.marks_right(key, &one.key) {
                return Err(Fault::Indistinct(one.key.to_string()));
            }
        }
        Ok(())
    }

    /// Whether an answer would be marked right, whatever its form.
    #[must_use]
    pub fn marks_right(&self, key: &Key, answer: &Key) -> bool {
        match (key, answer) {
            (Key::Number(key), Key::Number(value)) => self.accept.accepts_decimal(key, value),
            _ => key == answer,
        }
    }
}

impl Item {
    /// The question in its record form.
    #[must_use]
    pub fn question(&self) -> &Question {
        &self.question
    }

    /// What the proof found, in the order of the steps.
    #[must_use]
    pub fn proven_steps(&self) -> &[ProvenStep] {
        &self.steps
    }

    /// What makes it hard.
    #[must_use]
    pub fn profile(&self) -> &Profile {
        &self.profile
    }

    /// Steps with what was proven of each.
    pub fn steps_proven(&self) -> impl Iterator<Item = (&Step, &ProvenStep)> {
        self.question.steps.iter().zip(&self.steps)
    }

    /// The most points the item can earn.
    #[must_use]
    pub fn max_points(&self) -> u32 {
        self.question.steps.iter().map(|step| step.points).sum()
    }

    /// The right answer to every step, as a pupil would give it: for tests and demonstrations.
    #[must_use]
    pub fn right_responses(&self) -> BTreeMap<String, String> {
        let response = |step: &Step, key: &Key| match key {
            Key::Number(key)
                if step.kind == StepKind::Number && matches!(step.accept.rule, Rule::Rounded { .. }) =>
            {
                Fractions
                    .decimal(&step.accept.target(&fraction_of(key)))
                    .map_or_else(|_| key.to_string(), |asked| asked.to_string())
            }
            _ => step.answer.to_string(),
        };
        self.steps_proven().map(|(step, proven)| (step.id.to_string(), response(step, &proven.key))).collect()
    }
}

impl Deref for Item {
    type Target = Question;

    fn deref(&self) -> &Question {
        &self.question
    }
}

impl Serialize for Item {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.question.serialize(serializer)
    }
}
