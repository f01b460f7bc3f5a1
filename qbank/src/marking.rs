//! Marking: a pupil's responses to one item become points, a verdict for each step, and the misconceptions that the
//! answers are consistent with.
//!
//! Each step is judged in this order: blank, unreadable, right, right in another form, right from the pupil's own
//! earlier value, predicted by a misconception, wrong. A step that builds on an earlier one is worked anew from what
//! the pupil answered there, so one slip costs once. Published mark schemes call that follow-through; as they do, no
//! credit follows where the pupil's own value leads to nothing that can be worked (below zero, no limit fits).
use alloc::{
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::{Deserialize, Deserializer, Serialize};

use crate::{
    accept::{Credit, fraction_of},
    arithmetic::{Columns, evaluate},
    decimal::Decimal,
    expression::Names,
    locale::{Language, Locale},
    misconceptions,
    question::{Choice, Item, Key, ProvenStep, Step, StepKind, Wrong},
    reading::{ReadNumber, Reading, read},
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

/// Marks a pupil's responses, by step id, to an item. Steps without a response are blank; responses to unknown steps
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
    let locale = Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US);
    let language = Language::of_locale(&item.locale).expect("an item is in a language with words");
    let mut own = Names::new();
    let mut right = item.given_names();
    own.clone_from(&right);
    let mut steps = Vec::with_capacity(item.steps.len());
    for (step, proven) in item.steps_proven() {
        let response = responses.get(&step.id).map_or("", String::as_str);
        let given = Given::read(step, response, locale, language);
        let judged = Judge { step, proven, right: &right, own: &own }.judge(&given);
        steps.push(StepMark {
            id: step.id.clone(),
            response: response.to_string(),
            points: judged.points,
            max: step.points,
            verdict: judged.verdict,
            misconceptions: judged.misconceptions,
            note: judged.note,
        });
        // Later steps build on what the pupil answered, and on the key where there is nothing to build on.
        let pupils_own = given.value(step).or(proven.value);
        own.extend(pupils_own.map(|value| (step.id.clone(), value)));
        right.extend(proven.value.map(|value| (step.id.clone(), value)));
    }
    Mark {
        pupil: pupil.to_string(),
        question: item.id.clone(),
        points: steps.iter().map(|step| step.points).sum(),
        max: item.max_points(),
        steps,
    }
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

/// A response, read as the step's kind asks.
enum Given {
    Blank,
    Unreadable(String),
    Number(ReadNumber),
    /// A number told in words, with the places that the words name.
    Words(Decimal),
    Choice(String),
    Order(Vec<String>),
}

impl Given {
    fn read(step: &Step, response: &str, locale: Locale, language: Language) -> Self {
        match step.kind {
            StepKind::Choice => return Self::chosen(step, response.trim()),
            StepKind::Order => return Self::ordered(step, response.trim()),
            StepKind::Words => return Self::told(response, language),
            StepKind::Number => {}
        }
        match read(response, locale, step.unit.as_deref().and_then(units::by_symbol)) {
            Reading::Blank => Self::Blank,
            Reading::Unreadable(problem) => Self::Unreadable(problem.to_string()),
            Reading::Read(number) => Self::Number(number),
        }
    }

    fn chosen(step: &Step, response: &str) -> Self {
        if response.is_empty() {
            return Self::Blank;
        }
        match chosen(step, response) {
            Some(choice) => Self::Choice(choice.id.clone()),
            None => Self::Unreadable("this is not one of the choices".into()),
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
        ids.map_or_else(|| Self::Unreadable("put each of the choices in the order once".into()), Self::Order)
    }

    fn told(response: &str, language: Language) -> Self {
        match from_words(response, language) {
            Ok(number) => Self::Words(number),
            Err(WordsProblem::Blank) => Self::Blank,
            Err(problem) => Self::Unreadable(problem.to_string()),
        }
    }

    /// What later steps can build on.
    fn value(&self, step: &Step) -> Option<Decimal> {
        match self {
            Self::Number(number) => number.decimal(),
            Self::Words(number) => Some(*number),
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
fn all_once(step: &Step, parts: &[&str]) -> Option<Vec<String>> {
    let ids: Vec<String> =
        parts.iter().map(|part| Some(chosen(step, part)?.id.clone())).collect::<Option<_>>()?;
    let different: BTreeSet<&String> = ids.iter().collect();
    (different.len() == ids.len() && ids.len() == step.choices.len()).then_some(ids)
}

struct Judgement {
    verdict: Verdict,
    points: u32,
    misconceptions: Vec<String>,
    note: String,
}

impl Judgement {
    fn new(verdict: Verdict, points: u32, note: impl Into<String>) -> Self {
        Self { verdict, points, misconceptions: Vec::new(), note: note.into() }
    }
}

/// All that bears on one step.
struct Judge<'i> {
    step: &'i Step,
    proven: &'i ProvenStep,
    /// Givens and right earlier values.
    right: &'i Names,
    /// Givens and the pupil's own earlier values.
    own: &'i Names,
}

impl Judge<'_> {
    fn judge(&self, given: &Given) -> Judgement {
        match given {
            Given::Blank => return Judgement::new(Verdict::Blank, 0, ""),
            Given::Unreadable(problem) => return Judgement::new(Verdict::Unreadable, 0, problem.clone()),
            Given::Number(_) | Given::Words(_) | Given::Choice(_) | Given::Order(_) => {}
        }
        if self.is(given, &self.proven.key) {
            return self.in_form(given, &self.proven.key, Verdict::Correct);
        }
        let own_key = self.own_key();
        if let Some(key) = own_key.as_ref().filter(|key| self.is(given, key)) {
            return self.in_form(given, key, Verdict::FollowThrough);
        }
        let mut judgement = Judgement::new(Verdict::Wrong, 0, "");
        judgement.misconceptions = self.consistent_with(given, own_key.is_some());
        judgement
    }

    /// The right answer from the pupil's own earlier values, where those differ from the right ones.
    fn own_key(&self) -> Option<Key> {
        let builds_on_own =
            self.proven.expression.names().into_iter().any(|name| self.own.get(name) != self.right.get(name));
        let value = builds_on_own.then(|| evaluate(&Columns, &self.proven.expression, self.own).ok())??;
        self.step.key_for(&value).ok()
    }

    fn is(&self, given: &Given, key: &Key) -> bool {
        match (given, key) {
            (Given::Number(number), Key::Number(key)) => {
                self.step.accept.accepts(&fraction_of(key), &number.value)
            }
            (Given::Words(number), Key::Number(key)) => number == key,
            (Given::Choice(id), Key::Choice(key)) => id == key,
            (Given::Order(ids), Key::Order(key)) => ids == key,
            _ => false,
        }
    }

    /// A right value: full points if the written form is the one asked for, else what the form's credit says.
    fn in_form(&self, given: &Given, key: &Key, verdict: Verdict) -> Judgement {
        let problem = match (given, key) {
            (Given::Number(number), _) => self.form_problem(number),
            // Reading a numeral aloud names its last place: 0.50 is fifty hundredths.
            (Given::Words(number), Key::Number(key)) => (!number.same_written(key))
                .then(|| "the value is right; name the last place that is written".into()),
            _ => None,
        };
        let own = if verdict == Verdict::FollowThrough { "right from your own earlier value" } else { "" };
        match (problem, self.step.accept.form.credit) {
            (None, _) => Judgement::new(verdict, self.step.points, own),
            (Some(problem), Credit::Full) => {
                Judgement::new(Verdict::RightValueWrongForm, self.step.points, problem)
            }
            (Some(problem), Credit::None) => Judgement::new(Verdict::RightValueWrongForm, 0, problem),
        }
    }

    fn form_problem(&self, number: &ReadNumber) -> Option<String> {
        let form = &self.step.accept.form;
        if let Some(places) = form.places {
            // Whole cents are a full answer in money, whatever the places.
            let in_smaller_unit =
                number.unit.is_some_and(|unit| Some(unit.symbol) != self.step.unit.as_deref());
            let written = number.written.map(|written| written.places());
            if !in_smaller_unit && written != Some(places) {
                return Some(format!("the value is right; write it with {places} places after the point"));
            }
        }
        if form.unit && number.unit.is_none() {
            return Some("the number is right; write the unit, too".into());
        }
        (form.lowest_terms && !number.lowest_terms)
            .then(|| "the value is right; write the fraction in lowest terms".into())
    }

    /// Misconceptions that lead to this answer, from the right earlier values or from the pupil's own.
    fn consistent_with(&self, given: &Given, has_own: bool) -> Vec<String> {
        let from_right = self.proven.wrong.iter().filter(|wrong| self.is_exactly(given, &wrong.key));
        let mut names: Vec<&'static str> =
            from_right.flat_map(|wrong| wrong.misconceptions.iter().copied()).collect();
        if has_own {
            let from_own = self.proven.wrong.iter().filter_map(|wrong| self.own_prediction(wrong, given));
            for name in from_own.flatten() {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
        }
        names.into_iter().map(String::from).collect()
    }

    fn own_prediction(&self, wrong: &Wrong, given: &Given) -> Option<Vec<&'static str>> {
        let leads_here = |id: &&&'static str| {
            let value = match &wrong.stated {
                Some(mistaken) => evaluate(&Columns, mistaken, self.own).ok(),
                None => misconceptions::find(id)
                    .and_then(|known| misconceptions::predict(known, &self.proven.expression, self.own)),
            };
            let key = value.and_then(|value| self.step.key_for(&value).ok());
            key.is_some_and(|key| self.is_exactly(given, &key))
        };
        let names: Vec<&'static str> = wrong.misconceptions.iter().filter(leads_here).copied().collect();
        (!names.is_empty()).then_some(names)
    }

    /// A predicted wrong answer is met by its value alone; tolerances are for right answers.
    fn is_exactly(&self, given: &Given, key: &Key) -> bool {
        match (given, key) {
            (Given::Number(number), Key::Number(key)) => number.value == fraction_of(key),
            _ => self.is(given, key),
        }
    }
}
