//! Marking many responses to one item: what does not change from pupil to pupil is looked up once, and what is found is
//! lent rather than copied. [`super::mark`] is the same for one response, kept.
use alloc::{borrow::Cow, string::String, vec::Vec};

use serde::Serialize;

use super::{Given, Judge, Judgement, Mark, Policy, StepMark, Verdict};
use crate::{
    decimal::Decimal,
    expression::Names,
    locale::{Language, Locale},
    question::{Item, ProvenStep, Step},
};

/// An item made ready for marking.
///
/// # Example
/// ```
/// use qbank::{bank, marking::{Marker, Policy, Verdict}};
/// let item = bank::family("add-ragged").expect("in the starter bank").draw("a seed", 0, "en-US")?;
/// let marker = Marker::new(&item, Policy::default());
/// let answer = item.steps[0].answer.to_string();
/// let verdicts: Vec<Verdict> = marker.judge(|_| &answer).map(|step| step.verdict).collect();
/// assert_eq!(verdicts, [Verdict::Correct]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Marker<'i> {
    item: &'i Item,
    policy: Policy,
    /// How numbers are written there, and in which language words are.
    locale: Locale,
    written_in: Language,
    /// In which language notes are told.
    told_in: Language,
    /// The givens, and the right answers of all steps.
    right: Names,
    /// For each step the earlier steps that it works with, as indices.
    builds_on: Vec<Vec<usize>>,
}

/// A mark whose texts belong to the item, to the responses and to the marker. It is written as the same record as a [`Mark`].
#[derive(Clone, Debug, Serialize)]
pub struct LentMark<'m> {
    /// Who answered.
    pub pupil: &'m str,
    /// The item's id.
    pub question: &'m str,
    /// Points earned.
    pub points: u32,
    /// Points possible.
    pub max: u32,
    /// One for each step, in order.
    pub steps: Vec<LentStepMark<'m>>,
}

/// The mark of one step, lent as [`LentMark`] is; see [`StepMark`] for what is in it.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs, reason = "the fields are those of StepMark")]
pub struct LentStepMark<'m> {
    pub id: &'m str,
    pub response: &'m str,
    pub points: u32,
    pub max: u32,
    pub verdict: Verdict,
    pub misconceptions: Cow<'m, [&'static str]>,
    pub note: Cow<'static, str>,
}

impl<'i> Marker<'i> {
    /// Makes an item ready.
    #[must_use]
    pub fn new(item: &'i Item, policy: Policy) -> Self {
        let written_in = Language::of_locale(&item.locale).expect("an item is in a language with words");
        let mut right = item.given_names();
        for (step, proven) in item.steps_proven() {
            right.extend(proven.value.map(|value| (step.id.clone(), value)));
        }
        let earlier = |proven: &ProvenStep| {
            let names = proven.expression.names();
            let index = |name: &str| item.steps.iter().position(|step| step.id == name);
            names.into_iter().filter_map(index).collect()
        };
        let builds_on = item.proven_steps().iter().map(earlier).collect();
        let locale = Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US);
        Self { item, policy, locale, written_in, told_in: written_in, right, builds_on }
    }

    /// The same with notes in another language than the item's.
    #[must_use]
    pub fn told_in(self, language: Language) -> Self {
        Self { told_in: language, ..self }
    }

    /// The item.
    #[must_use]
    pub fn item(&self) -> &'i Item {
        self.item
    }

    /// Judges the steps in order. `response` gives what the pupil wrote for a step; nothing is a blank.
    pub fn judge<'m>(
        &'m self,
        mut response: impl FnMut(&str) -> &'m str,
    ) -> impl Iterator<Item = LentStepMark<'m>> {
        // What later steps build on; only kept where one does.
        let chained = self.builds_on.iter().any(|earlier| !earlier.is_empty());
        let mut own: Vec<Option<Decimal>> = Vec::new();
        self.item.steps_proven().enumerate().map(move |(index, (step, proven))| {
            let response = response(&step.id);
            let given = Given::read(step, response, self.locale, self.written_in);
            let own_names = self.own_names(index, &own);
            let judge = Judge {
                step,
                proven,
                right: &self.right,
                own: own_names.as_ref(),
                policy: self.policy,
                language: self.told_in,
            };
            let judged = judge.judge(&given);
            if chained {
                // Later steps build on what the pupil answered, and on the key where there is nothing to build on.
                own.push(given.value(step).or(proven.value));
            }
            lent(step, response, judged)
        })
    }

    /// The mark of a pupil's responses.
    pub fn mark<'m>(
        &'m self,
        pupil: &'m str,
        question: &'m str,
        response: impl FnMut(&str) -> &'m str,
    ) -> LentMark<'m> {
        let mut steps = Vec::with_capacity(self.item.steps.len());
        steps.extend(self.judge(response));
        let points = steps.iter().map(|step: &LentStepMark<'_>| step.points).sum();
        LentMark { pupil, question, points, max: self.item.max_points(), steps }
    }

    /// The givens and the pupil's own values, if one that the step works with is not the right one.
    fn own_names(&self, index: usize, own: &[Option<Decimal>]) -> Option<Names> {
        let right = self.item.proven_steps();
        let differs = |earlier: &usize| own[*earlier] != right[*earlier].value;
        if !self.builds_on[index].iter().any(differs) {
            return None;
        }
        let mut names = self.right.clone();
        let values = self.item.steps.iter().zip(own);
        names.extend(values.filter_map(|(step, value)| Some((step.id.clone(), (*value)?))));
        Some(names)
    }
}

fn lent<'m>(step: &'m Step, response: &'m str, judged: Judgement<'m>) -> LentStepMark<'m> {
    LentStepMark {
        id: &step.id,
        response,
        points: judged.points,
        max: step.points,
        verdict: judged.verdict,
        misconceptions: judged.misconceptions,
        note: judged.note,
    }
}

impl From<LentMark<'_>> for Mark {
    fn from(lent: LentMark<'_>) -> Self {
        Self {
            pupil: lent.pupil.into(),
            question: lent.question.into(),
            points: lent.points,
            max: lent.max,
            steps: lent.steps.into_iter().map(StepMark::from).collect(),
        }
    }
}

impl From<LentStepMark<'_>> for StepMark {
    fn from(lent: LentStepMark<'_>) -> Self {
        Self {
            id: lent.id.into(),
            response: lent.response.into(),
            points: lent.points,
            max: lent.max,
            verdict: lent.verdict,
            misconceptions: lent.misconceptions.iter().copied().map(String::from).collect(),
            note: lent.note.into_owned(),
        }
    }
}
