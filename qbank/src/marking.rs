//! Marking: a pupil's responses to one item become points, a verdict for each step, and the misconceptions that the
//! answers are consistent with.
//!
//! Each step is judged in this order: blank, unreadable, right, right in another form, right from the pupil's own
//! earlier value, predicted by a misconception, wrong. A step that builds on an earlier one is worked anew from what
//! the pupil answered there, so one slip costs once; an own value that equals the right one is simply right.
//!
//! Published mark schemes call that follow-through and limit it. The limits here, each a [`Limit`] that the mark's
//! note names in words:
//!
//! - *No such result*: the own value leads below zero, to a division by zero, beyond every limit, or to no decimal.
//!   No accuracy mark follows from an inappropriate value (instructions to markers of the International
//!   Baccalaureate, as gathered in the trade's notes).
//! - *Trivial*: the own value makes an operand 0 or 1 where the right one was not, so that `× ÷ + -` has nothing left
//!   to work. "If the error makes the rest much simpler, use discretion" (same source); a program has none, so the
//!   line is drawn where nothing is left to do. That line is common practice.
//! - *Absurd*: an own value a [`ABSURD_FACTOR`]th of the right one or less (zero and below among them), or that many
//!   times as large or more. A point moved by one or two places is a slip that is followed; grams for kilograms give
//!   an answer that a look at the story refuses. The factor is a decision of this project, common practice at best.
//! - *Not in this quiz*: the quiz's [`Policy`] says so, as 'cao' (this answer only) does in mark schemes.
mod marker;

use alloc::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    vec::Vec,
};

use num_bigint::BigInt;
use num_traits::Signed;
use serde::{Deserialize, Deserializer, Serialize};
use smol_str::SmolStr;

pub use marker::{LentMark, LentStepMark, Marker};

use crate::{
    accept::{Credit, Demand, fraction_of, significant_figures},
    arithmetic::{ArithmeticError, Columns, Value, evaluate},
    decimal::Decimal,
    expression::{Expression, Names, Operation},
    locale::{Language, Locale},
    misconceptions,
    question::{Choice, Item, Key, ProvenStep, Step, StepKind, Wrong},
    reading::{self, ReadNumber, Reading, WrittenForm, plain_numeral, read},
    units,
    words::{WordsProblem, from_words},
};

/// The mark of one item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    /// Who answered: an opaque name.
    pub pupil: String,
    /// The item's id.
    pub question: String,
    /// Points earned.
    pub points: u32,
    /// Points possible.
    pub max: u32,
    /// One for each step, in order.
    pub steps: Vec<StepMark>,
}

/// The mark of one step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepMark {
    /// The step's id.
    pub id: String,
    /// The response as given.
    pub response: String,
    /// Points earned.
    pub points: u32,
    /// Points possible.
    pub max: u32,
    /// How it was judged.
    pub verdict: Verdict,
    /// Misconceptions that the answer is consistent with; more than one where they lead to the same answer.
    pub misconceptions: Vec<String>,
    /// One sentence on the verdict, where there is something to say beyond it.
    pub note: String,
}

/// How a step was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Right.
    Correct,
    /// Right from the pupil's own earlier value.
    FollowThrough,
    /// The right value in another written form than asked for.
    RightValueWrongForm,
    /// Not right.
    Wrong,
    /// Cannot be read as an answer.
    Unreadable,
    /// Not answered.
    Blank,
}

impl Verdict {
    /// The name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Correct => "correct",
            Self::FollowThrough => "follow_through",
            Self::RightValueWrongForm => "right_value_wrong_form",
            Self::Wrong => "wrong",
            Self::Unreadable => "unreadable",
            Self::Blank => "blank",
        }
    }
}

/// By how many times an own value may be too large or too small and still be followed; see the module's limits.
pub const ABSURD_FACTOR: u32 = 1000;

/// What a quiz decides about marking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Policy {
    /// Whether a value that is right from the pupil's own earlier value earns points.
    pub follow_through: bool,
    /// What the right value in another form earns, in place of what each step says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub form_credit: Option<Credit>,
}

impl Default for Policy {
    /// Own values are followed; each step says what its form is worth.
    fn default() -> Self {
        Self { follow_through: true, form_credit: None }
    }
}

/// Marks a pupil's responses, by step id, to an item, as [`mark_with`] does by the default [`Policy`]. Steps without a response are blank; responses to unknown steps
/// are passed over.
///
/// # Example
/// ```
/// use qbank::{bank, marking::{mark, Verdict}};
/// let family = bank::family("add-ragged").expect("in the starter bank");
/// let item = family.draw("a seed", 0, "en-US")?;
/// let marked = mark(&item, "p-07", &item.right_responses());
/// assert_eq!(marked.points, marked.max);
/// assert_eq!(marked.steps[0].verdict, Verdict::Correct);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn mark(item: &Item, pupil: &str, responses: &BTreeMap<String, String>) -> Mark {
    mark_with(item, pupil, responses, Policy::default())
}

/// Marks a pupil's responses by a quiz's policy.
///
/// # Example
/// ```
/// use qbank::{accept::Credit, bank, marking::{mark_with, Policy}};
/// let item = bank::family("add-ragged").expect("in the starter bank").draw("a seed", 0, "en-US")?;
/// let strict = Policy { follow_through: false, form_credit: Some(Credit::None) };
/// assert_eq!(mark_with(&item, "p-07", &item.right_responses(), strict).points, item.max_points());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn mark_with(item: &Item, pupil: &str, responses: &BTreeMap<String, String>, policy: Policy) -> Mark {
    let marker = Marker::new(item, policy);
    marker.mark(pupil, &item.id, response_in(responses)).into()
}

/// The notes of a mark, one for each of its steps, told in another language than the item's: the sentences alone, without
/// the teacher's. A stored mark keeps the note it has where it was judged otherwise than it would be today.
///
/// # Example
/// ```
/// use qbank::{bank, locale::Language, marking::{mark, notes_in}};
/// let item = bank::family("add-ragged").expect("in the starter bank").draw("a seed", 0, "en-US")?;
/// let marked = mark(&item, "p-07", &[(item.steps[0].id.to_string(), "1.2.3".to_string())].into());
/// assert_eq!(marked.steps[0].note, "there are two decimal points");
/// assert_eq!(notes_in(&item, &marked, Language::Spanish), ["hay dos signos decimales"]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn notes_in(item: &Item, mark: &Mark, language: Language) -> Vec<String> {
    let responses: BTreeMap<String, String> =
        mark.steps.iter().map(|step| (step.id.clone(), step.response.clone())).collect();
    let marker = Marker::new(item, Policy::default()).told_in(language);
    let told: Vec<LentStepMark<'_>> = marker.judge(response_in(&responses)).collect();
    let note = |stored: &StepMark| {
        let same = told.iter().find(|step| step.id == stored.id && step.verdict == stored.verdict);
        same.map_or_else(|| stored.note.clone(), |step| step.note.to_string())
    };
    mark.steps.iter().map(note).collect()
}

/// The responses of a map, by step id.
fn response_in<'r>(responses: &'r BTreeMap<String, String>) -> impl FnMut(&str) -> &'r str {
    |step| responses.get(step).map_or("", String::as_str)
}

/// What a step is worked with: the givens, and the values of earlier steps.
#[derive(Clone, Debug)]
pub struct WorkedWith {
    /// By the right answers.
    pub right: Names,
    /// By what the pupil answered, and by the key where there is nothing to build on.
    pub own: Names,
    /// Whether the answer to the step is not the right one, but right by the own values, whatever points follow from that
    /// and whatever form it is written in.
    pub follows: bool,
}

/// What each step of a marked item was worked with, in the order of the item's steps.
///
/// # Example
/// ```
/// use qbank::{bank, marking::{mark, worked_with}};
/// let item = bank::family("add-then-subtract").expect("in the starter bank").draw("a seed", 0, "en-US")?;
/// let marked = mark(&item, "p-07", &item.right_responses());
/// let with = worked_with(&item, &marked);
/// assert_eq!(with.len(), item.steps.len());
/// assert_eq!(with[1].own, with[1].right);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn worked_with(item: &Item, mark: &Mark) -> Vec<WorkedWith> {
    let locale = Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US);
    let language = Language::of_locale(&item.locale).unwrap_or_default();
    let mut with = WorkedWith { right: item.given_names(), own: item.given_names(), follows: false };
    let mut all = Vec::with_capacity(item.steps.len());
    for (step, proven) in item.steps_proven() {
        let response = mark.steps.iter().find(|marked| marked.id == step.id);
        let response = response.map_or("", |marked| marked.response.as_str());
        let given = Given::read(step, response, locale, language);
        let WorkedWith { right, own, .. } = &with;
        let differs = |name: &&str| own.get(name) != right.get(name);
        let own = proven.expression.names().iter().any(differs).then_some(own);
        let judge = Judge { step, proven, right, own, policy: Policy::default(), language };
        let follows = judge.follows(&given);
        all.push(WorkedWith { follows, ..with.clone() });
        let own = given.value(step).or(proven.value);
        with.own.extend(own.map(|value| (step.id.clone(), value)));
        with.right.extend(proven.value.map(|value| (step.id.clone(), value)));
    }
    all
}

/// Reads responses by step id from a record: texts, and the ids of an order as a list.
///
/// # Errors
/// As the deserializer, where a response is neither.
///
/// # Example
/// ```
/// let mut record = serde_json::Deserializer::from_str(r#"{"total": "5.35", "order": ["B", "A"]}"#);
/// let responses = qbank::marking::responses(&mut record)?;
/// assert_eq!((responses["total"].as_str(), responses["order"].as_str()), ("5.35", "B, A"));
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn responses<'de, D: Deserializer<'de>>(record: D) -> Result<BTreeMap<String, String>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "a response is a text, or a list of ids for an order")]
    enum Response {
        Text(String),
        Order(Vec<String>),
    }
    let responses = BTreeMap::<String, Response>::deserialize(record)?;
    let text = |response| match response {
        Response::Text(text) => text,
        Response::Order(ids) => ids.join(", "),
    };
    Ok(responses.into_iter().map(|(step, response)| (step, text(response))).collect())
}

/// What a response says, read as marking reads it, as far as it can be compared and built on; `None` where it is blank,
/// unreadable, or a number that no decimal writes.
pub(crate) fn answered(item: &Item, step: &Step, response: &str) -> Option<Key> {
    let locale = Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US);
    let language = Language::of_locale(&item.locale)?;
    match Given::read(step, response, locale, language) {
        Given::Number(number) => number.decimal().map(Key::Number),
        Given::Plain(number) | Given::Words(number) => Some(Key::Number(number)),
        Given::Choice(id) => Some(Key::Choice(id)),
        Given::Order(ids) => Some(Key::Order(ids)),
        Given::Blank | Given::Unreadable(_) => None,
    }
}

/// A response, read as the step's kind asks.
enum Given {
    Blank,
    Unreadable(Unread),
    /// A number, by far most of them: a decimal alone.
    Plain(Decimal),
    /// Any other number.
    Number(ReadNumber),
    /// A number told in words, with the places that the words name.
    Words(Decimal),
    Choice(SmolStr),
    Order(Vec<SmolStr>),
}

impl Given {
    fn read(step: &Step, response: &str, locale: Locale, language: Language) -> Self {
        match step.kind {
            StepKind::Choice => return Self::chosen(step, response.trim()),
            StepKind::Order => return Self::ordered(step, response.trim()),
            StepKind::Words => return Self::told(response, language),
            StepKind::Number => {}
        }
        if let Some(number) = plain_numeral(response, locale) {
            return Self::Plain(number);
        }
        match read(response, locale, step.unit.as_deref().and_then(units::by_symbol)) {
            Reading::Blank => Self::Blank,
            Reading::Unreadable(problem) => Self::Unreadable(Unread::Number(problem)),
            Reading::Read(number) => Self::Number(number),
        }
    }

    fn chosen(step: &Step, response: &str) -> Self {
        if response.is_empty() {
            return Self::Blank;
        }
        match chosen(step, response) {
            Some(choice) => Self::Choice(choice.id.clone()),
            None => Self::Unreadable(Unread::NoChoice),
        }
    }

    /// All choices in order: ids or texts with `<`, `>`, commas, semicolons or blanks between them, or ids that are
    /// letters, one after the other.
    fn ordered(step: &Step, response: &str) -> Self {
        if response.is_empty() {
            return Self::Blank;
        }
        let signs: Vec<&str> = response.split(['<', '>', ',', ';']).map(str::trim).collect();
        let blanks: Vec<&str> = response.split_whitespace().collect();
        let letters: Vec<String> = response.chars().map(String::from).collect();
        let letters: Vec<&str> = letters.iter().map(String::as_str).collect();
        let readings = [signs, blanks, letters];
        let ids = readings.iter().find_map(|parts| all_once(step, parts));
        ids.map_or(Self::Unreadable(Unread::NoOrder), Self::Order)
    }

    fn told(response: &str, language: Language) -> Self {
        match from_words(response, language) {
            Ok(number) => Self::Words(number),
            Err(WordsProblem::Blank) => Self::Blank,
            Err(problem) => Self::Unreadable(Unread::Words(problem)),
        }
    }

    /// What later steps can build on.
    fn value(&self, step: &Step) -> Option<Decimal> {
        match self {
            Self::Number(number) => number.decimal(),
            Self::Plain(number) | Self::Words(number) => Some(*number),
            Self::Choice(id) => step.value_of(&Key::Choice(id.clone())),
            Self::Order(_) | Self::Blank | Self::Unreadable(_) => None,
        }
    }
}

fn chosen<'s>(step: &'s Step, response: &str) -> Option<&'s Choice> {
    let is = |choice: &&Choice| choice.id.eq_ignore_ascii_case(response) || choice.text == response;
    step.choices.iter().find(is)
}

/// The ids of the choices that the parts name, if each choice is named once.
fn all_once(step: &Step, parts: &[&str]) -> Option<Vec<SmolStr>> {
    let ids: Vec<SmolStr> =
        parts.iter().map(|part| Some(chosen(step, part)?.id.clone())).collect::<Option<_>>()?;
    let different: BTreeSet<&SmolStr> = ids.iter().collect();
    (different.len() == ids.len() && ids.len() == step.choices.len()).then_some(ids)
}

/// Why a response cannot be read.
enum Unread {
    Number(reading::Problem),
    Words(WordsProblem),
    NoChoice,
    NoOrder,
}

impl Unread {
    fn told(&self, language: Language) -> Cow<'static, str> {
        let sentences = match self {
            Self::Number(problem) => return problem.told(language).into(),
            Self::Words(problem) => return problem.told(language).into(),
            Self::NoChoice => ["this is not one of the choices", "esta no es una de las opciones"],
            Self::NoOrder => [
                "put each of the choices in the order once",
                "pon cada una de las opciones en el orden una sola vez",
            ],
        };
        in_language(sentences, language).into()
    }
}

/// One of two sentences, English and Spanish.
fn in_language([english, spanish]: [&'static str; 2], language: Language) -> &'static str {
    match language {
        Language::English => english,
        Language::Spanish => spanish,
    }
}

/// Why no credit follows from an own earlier value; the module says where each comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// The result is below zero.
    BelowZero,
    /// Something is divided by zero.
    DivisionByZero,
    /// Every limit among which to choose is too small.
    NoneFits,
    /// The result is no decimal, or no choice stands for it.
    NoAnswer,
    /// Nothing is left to work.
    Trivial,
    /// The own value is off by [`ABSURD_FACTOR`] or more.
    Absurd,
    /// The quiz gives no points for it.
    Policy,
}

impl Limit {
    /// The rule in words.
    #[must_use]
    pub fn told(self, language: Language) -> &'static str {
        let sentences = match self {
            Self::BelowZero => [
                "nothing follows from your own earlier value: it leads below zero",
                "de tu valor anterior no se sigue nada: lleva a menos de cero",
            ],
            Self::DivisionByZero => [
                "nothing follows from your own earlier value: it leads to a division by zero",
                "de tu valor anterior no se sigue nada: lleva a una división entre cero",
            ],
            Self::NoneFits => [
                "nothing follows from your own earlier value: no limit is large enough for it",
                "de tu valor anterior no se sigue nada: ningún límite es bastante grande",
            ],
            Self::NoAnswer => [
                "nothing follows from your own earlier value: it leads to no answer of this kind",
                "de tu valor anterior no se sigue nada: no lleva a una respuesta de este tipo",
            ],
            Self::Trivial => [
                "this fits your own earlier value, but that value leaves nothing to work here, so no points follow",
                "esto corresponde a tu valor anterior, pero con ese valor no queda nada que calcular: no da puntos",
            ],
            Self::Absurd => [
                "this fits your own earlier value, but that value is far from possible here, so no points follow",
                "esto corresponde a tu valor anterior, pero ese valor está lejos de lo posible: no da puntos",
            ],
            Self::Policy => [
                "this fits your own earlier value; this quiz gives no points for that",
                "esto corresponde a tu valor anterior; esta prueba no da puntos por eso",
            ],
        };
        in_language(sentences, language)
    }

    /// The limit that the earlier values themselves set, if any: [`Limit::Trivial`] or [`Limit::Absurd`]. `own` holds
    /// the givens and the pupil's own values of earlier steps, `right` the givens and the right ones.
    #[must_use]
    pub fn of(expression: &Expression, own: &Names, right: &Names) -> Option<Self> {
        if leaves_nothing_to_work(expression, own, right) {
            return Some(Self::Trivial);
        }
        let is_absurd = |name: &str| match (own.get(name), right.get(name)) {
            (Some(own), Some(right)) => {
                let (own, right) = (fraction_of(own), fraction_of(right));
                let factor = BigInt::from(ABSURD_FACTOR);
                right.is_positive() && (&own * &factor <= right || own >= right * factor)
            }
            _ => false,
        };
        expression.names().into_iter().any(is_absurd).then_some(Self::Absurd)
    }
}

impl From<ArithmeticError> for Limit {
    fn from(error: ArithmeticError) -> Self {
        match error {
            ArithmeticError::BelowZero => Self::BelowZero,
            ArithmeticError::DivisionByZero => Self::DivisionByZero,
            ArithmeticError::NoneFits => Self::NoneFits,
            _ => Self::NoAnswer,
        }
    }
}

/// Whether an operand anywhere in the expression is 0 or 1 by the own values, where by the right ones it is not, so
/// that its operation needs no working.
fn leaves_nothing_to_work(expression: &Expression, own: &Names, right: &Names) -> bool {
    let inside = |part: &Expression| leaves_nothing_to_work(part, own, right);
    let Expression::Binary(operation, first, second) = expression else {
        return match expression {
            Expression::Call(_, parts) | Expression::Order(_, parts) => parts.iter().any(inside),
            Expression::Comparison(first, second) => inside(first) || inside(second),
            _ => false,
        };
    };
    let becomes = |operand: &Expression, trivial: u32| {
        let is = |names| evaluate(&Columns, operand, names) == Ok(Value::Number(Decimal::from(trivial)));
        is(own) && !is(right)
    };
    let trivial = match operation {
        Operation::Add => becomes(first, 0) || becomes(second, 0),
        Operation::Subtract => becomes(second, 0),
        Operation::Multiply => [first, second].into_iter().any(|one| becomes(one, 0) || becomes(one, 1)),
        Operation::Divide => becomes(first, 0) || becomes(second, 1),
    };
    trivial || inside(first) || inside(second)
}

struct Judgement<'i> {
    verdict: Verdict,
    points: u32,
    misconceptions: Cow<'i, [&'static str]>,
    note: Cow<'static, str>,
}

impl Judgement<'_> {
    fn new(verdict: Verdict, points: u32, note: impl Into<Cow<'static, str>>) -> Self {
        Self { verdict, points, misconceptions: Cow::Borrowed(&[]), note: note.into() }
    }
}

/// All that bears on one step.
struct Judge<'i, 'n> {
    step: &'i Step,
    proven: &'i ProvenStep,
    /// Givens and right earlier values.
    right: &'n Names,
    /// Givens and the pupil's own earlier values, where the step works with one that is not the right one.
    own: Option<&'n Names>,
    policy: Policy,
    language: Language,
}

impl<'i> Judge<'i, '_> {
    fn judge(&self, given: &Given) -> Judgement<'i> {
        match given {
            Given::Blank => return Judgement::new(Verdict::Blank, 0, ""),
            Given::Unreadable(problem) => {
                return Judgement::new(Verdict::Unreadable, 0, problem.told(self.language));
            }
            Given::Plain(_) | Given::Number(_) | Given::Words(_) | Given::Choice(_) | Given::Order(_) => {}
        }
        if self.is(given, &self.proven.key) {
            return self.in_form(given, &self.proven.key, Verdict::Correct);
        }
        let mut judgement = Judgement::new(Verdict::Wrong, 0, "");
        let own_key = self.own_key();
        match &own_key {
            Some(Ok(key)) if self.is(given, key) => match self.limit() {
                None => return self.in_form(given, key, Verdict::FollowThrough),
                Some(limit) => judgement.note = limit.told(self.language).into(),
            },
            Some(Err(limit)) => judgement.note = limit.told(self.language).into(),
            Some(Ok(_)) | None => {}
        }
        let own = self.own.filter(|_| matches!(own_key, Some(Ok(_))));
        judgement.misconceptions = self.consistent_with(given, own);
        judgement
    }

    /// Whether the response is not the right answer, but right from the pupil's own earlier values.
    fn follows(&self, given: &Given) -> bool {
        let by_own = |key| matches!(key, Ok(key) if self.is(given, &key));
        !self.is(given, &self.proven.key) && self.own_key().is_some_and(by_own)
    }

    /// The right answer from the pupil's own earlier values, where those differ from the right ones.
    fn own_key(&self) -> Option<Result<Key, Limit>> {
        self.own.map(|own| {
            let value = evaluate(&Columns, &self.proven.expression, own)?;
            self.step.key_for(&value).map_err(|_| Limit::NoAnswer)
        })
    }

    /// What stands against points for an answer that is right from the own earlier values.
    fn limit(&self) -> Option<Limit> {
        if !self.policy.follow_through {
            return Some(Limit::Policy);
        }
        self.own.and_then(|own| Limit::of(&self.proven.expression, own, self.right))
    }

    fn is(&self, given: &Given, key: &Key) -> bool {
        match (given, key) {
            (Given::Number(number), Key::Number(key)) => {
                self.step.accept.accepts(&fraction_of(key), &number.value)
            }
            (Given::Plain(number), Key::Number(key)) => self.step.accept.accepts_decimal(key, number),
            (Given::Words(number), Key::Number(key)) => number == key,
            (Given::Choice(id), Key::Choice(key)) => id == key,
            (Given::Order(ids), Key::Order(key)) => ids == key,
            _ => false,
        }
    }

    /// A right value: full points if the written form is the one asked for, else what the form's credit says.
    fn in_form(&self, given: &Given, key: &Key, verdict: Verdict) -> Judgement<'i> {
        let unmet = match (given, key) {
            (Given::Plain(_), _) if self.step.accept.form.is_free() => Vec::new(),
            (Given::Plain(number), _) => self.unmet(&ReadNumber::plain(*number)),
            (Given::Number(number), _) => self.unmet(number),
            // Reading a numeral aloud names its last place: 0.50 is fifty hundredths.
            (Given::Words(number), Key::Number(key)) if !number.same_written(key) => {
                let name = ["name the last place that is written", "nombra el último lugar que está escrito"];
                [in_language(name, self.language).into()].into()
            }
            _ => Vec::new(),
        };
        if unmet.is_empty() {
            let own = ["right from your own earlier value", "correcto a partir de tu propio valor anterior"];
            let followed = verdict == Verdict::FollowThrough;
            let note = if followed { in_language(own, self.language) } else { "" };
            return Judgement::new(verdict, self.step.points, note);
        }
        let right = if verdict == Verdict::FollowThrough {
            [
                "the value is right from your own earlier value",
                "el valor es correcto a partir de tu propio valor anterior",
            ]
        } else {
            ["the value is right", "el valor es correcto"]
        };
        let right = in_language(right, self.language);
        let note = format!("{right}; {}", unmet.join("; "));
        let credit = self.policy.form_credit.unwrap_or(self.step.accept.form.credit);
        Judgement::new(Verdict::RightValueWrongForm, credit.of(self.step.points), note)
    }

    /// What the form asks for and the number does not have, in words.
    fn unmet(&self, number: &ReadNumber) -> Vec<String> {
        let unmet = self.step.accept.form.demands().filter(|demand| !self.meets(number, *demand));
        unmet.map(|demand| demand.told(self.language)).collect()
    }

    fn meets(&self, number: &ReadNumber, demand: Demand) -> bool {
        match demand {
            // Whole cents are a full answer in money, whatever the places; so are dollars and cents.
            Demand::Places(places) => {
                let smaller = number.unit.is_some_and(|unit| Some(unit.symbol) != self.step.unit.as_deref());
                smaller || number.written.is_some_and(|written| written.places() == places)
            }
            Demand::Figures(figures) => {
                number.written.is_some_and(|written| significant_figures(&written).contains(&figures))
            }
            Demand::Decimal => matches!(number.form, WrittenForm::Decimal | WrittenForm::Money),
            Demand::Unit => number.unit.is_some(),
            Demand::LowestTerms => number.lowest_terms,
        }
    }

    /// Misconceptions that lead to this answer, from the right earlier values or from the pupil's own. Predictions are
    /// pairwise different, so at most one is met from the right values.
    fn consistent_with(&self, given: &Given, own: Option<&Names>) -> Cow<'i, [&'static str]> {
        let mut from_right = self.proven.wrong.iter().filter(|wrong| self.is_exactly(given, &wrong.key));
        let mut names = from_right
            .next()
            .map_or(Cow::Borrowed(&[][..]), |wrong| Cow::Borrowed(&wrong.misconceptions[..]));
        let Some(own) = own else { return names };
        for wrong in &self.proven.wrong {
            for name in self.own_prediction(wrong, given, own) {
                if !names.contains(&name) {
                    names.to_mut().push(name);
                }
            }
        }
        names
    }

    fn own_prediction(
        &self,
        wrong: &'i Wrong,
        given: &Given,
        own: &Names,
    ) -> impl Iterator<Item = &'static str> {
        let leads_here = move |id: &&'static str| {
            let value = match &wrong.stated {
                Some(mistaken) => evaluate(&Columns, mistaken, own).ok(),
                None => misconceptions::find(id)
                    .and_then(|known| misconceptions::predict(known, &self.proven.expression, own)),
            };
            let key = value.and_then(|value| self.step.key_for(&value).ok());
            key.is_some_and(|key| self.is_exactly(given, &key))
        };
        wrong.misconceptions.iter().copied().filter(leads_here)
    }

    /// A predicted wrong answer is met by its value alone; tolerances are for right answers.
    fn is_exactly(&self, given: &Given, key: &Key) -> bool {
        match (given, key) {
            (Given::Number(number), Key::Number(key)) => number.value == fraction_of(key),
            (Given::Plain(number), Key::Number(key)) => number == key,
            _ => self.is(given, key),
        }
    }
}
