//! Marking: a pupil's responses to one item become points, a verdict for each step, and the misconceptions that the
//! answers are consistent with.
//!
//! Each step is judged in this order: blank, unreadable, right, right in another form, right from the pupil's own
//! earlier value, predicted by a misconception, wrong. A step that builds on an earlier one is worked anew from what
//! the pupil answered there, so one slip costs once. Published mark schemes call that follow-through; as they do, no
//! credit follows where the pupil's own value leads to nothing that can be worked (below zero, no limit fits).
use alloc::{
    collections::BTreeMap,
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::{Deserialize, Serialize};

use crate::{
    accept::{Credit, fraction_of},
    arithmetic::{Columns, evaluate},
    decimal::Decimal,
    expression::Names,
    locale::Locale,
    misconceptions,
    question::{Item, Key, ProvenStep, Step, StepKind, Wrong},
    reading::{ReadNumber, Reading, read},
    units,
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
    let mut own = Names::new();
    let mut right = item.given_names();
    own.clone_from(&right);
    let mut steps = Vec::with_capacity(item.steps.len());
    for (step, proven) in item.steps_proven() {
        let response = responses.get(&step.id).map_or("", String::as_str);
        let given = Given::read(step, response, locale);
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

/// A response, read as the step's kind asks.
enum Given {
    Blank,
    Unreadable(String),
    Number(ReadNumber),
    Choice(String),
}

impl Given {
    fn read(step: &Step, response: &str, locale: Locale) -> Self {
        if step.kind == StepKind::Choice {
            return Self::chosen(step, response.trim());
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
        let choice = step
            .choices
            .iter()
            .find(|choice| choice.id.eq_ignore_ascii_case(response) || choice.text == response);
        match choice {
            Some(choice) => Self::Choice(choice.id.clone()),
            None => Self::Unreadable("this is not one of the choices".into()),
        }
    }

    /// What later steps can build on.
    fn value(&self, step: &Step) -> Option<Decimal> {
        match self {
            Self::Number(number) => number.decimal(),
            Self::Choice(id) => step.value_of(&Key::Choice(id.clone())),
            Self::Blank | Self::Unreadable(_) => None,
        }
    }
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
            Given::Number(_) | Given::Choice(_) => {}
        }
        if self.is(given, &self.proven.key) {
            return self.in_form(given, Verdict::Correct);
        }
        let own_key = self.own_key();
        if own_key.as_ref().is_some_and(|key| self.is(given, key)) {
            return self.in_form(given, Verdict::FollowThrough);
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
            (Given::Choice(id), Key::Choice(key)) => id == key,
            _ => false,
        }
    }

    /// A right value: full points if the written form is the one asked for, else what the form's credit says.
    fn in_form(&self, given: &Given, verdict: Verdict) -> Judgement {
        let problem = match given {
            Given::Number(number) => self.form_problem(number),
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
