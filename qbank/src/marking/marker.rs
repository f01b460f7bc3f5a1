//! Marking many responses to one item: what does not change from pupil to pupil is looked up once, and what is found is
//! lent rather than copied. [`super::mark`] is the same for one response, kept.
use alloc::{borrow::Cow, string::String, vec::Vec};

use serde::Serialize;

use super::{Given, Judge, Judgement, Mark, Policy, StepMark, Verdict};
use crate::{
    accept::Rule,
    decimal::Decimal,
    expression::Names,
    json,
    locale::{Language, Locale},
    question::{Item, Key, ProvenStep, Step, StepKind, Wrong},
    reading::plain_numeral,
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
    steps: Vec<Ready<'i>>,
    /// Whether a step works with the answer to an earlier one.
    chained: bool,
}

/// A step made ready.
#[derive(Debug)]
struct Ready<'i> {
    step: &'i Step,
    proven: &'i ProvenStep,
    /// The earlier steps that it works with, as indices.
    builds_on: Vec<usize>,
    plain: Option<Plain<'i>>,
}

/// The answers to a step that takes a number and no other than its key, whatever its form, close together in memory.
#[derive(Debug)]
struct Plain<'i> {
    key: (i64, u32),
    wrong: Vec<((i64, u32), &'i [&'static str])>,
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
        let steps: Vec<Ready<'_>> =
            item.steps_proven().map(|(step, proven)| Ready::new(item, step, proven)).collect();
        let chained = steps.iter().any(|ready| !ready.builds_on.is_empty());
        let locale = Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US);
        Self { item, policy, locale, written_in, told_in: written_in, right, steps, chained }
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
        let mut own: Vec<Option<Decimal>> = Vec::new();
        self.steps.iter().map(move |ready| {
            let Ready { step, proven, .. } = *ready;
            let response = response(&step.id);
            let own_names = self.own_names(&ready.builds_on, &own);
            if let (None, Some(plain)) = (&own_names, &ready.plain)
                && let Some(number) = plain_numeral(response, self.locale)
                && let Some(compact) = number.compact()
            {
                if self.chained {
                    own.push(Some(number));
                }
                return lent(step, response, plain.judge(compact, step.points));
            }
            let given = Given::read(step, response, self.locale, self.written_in);
            let judge = Judge {
                step,
                proven,
                right: &self.right,
                own: own_names.as_ref(),
                policy: self.policy,
                language: self.told_in,
            };
            let judged = judge.judge(&given);
            if self.chained {
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
    fn own_names(&self, builds_on: &[usize], own: &[Option<Decimal>]) -> Option<Names> {
        let differs = |earlier: &usize| own[*earlier] != self.steps[*earlier].proven.value;
        if !builds_on.iter().any(differs) {
            return None;
        }
        let mut names = self.right.clone();
        let values = self.item.steps.iter().zip(own);
        names.extend(values.filter_map(|(step, value)| Some((step.id.clone(), (*value)?))));
        Some(names)
    }
}

impl<'i> Ready<'i> {
    fn new(item: &'i Item, step: &'i Step, proven: &'i ProvenStep) -> Self {
        let index = |name: &str| item.steps.iter().position(|step| step.id == name);
        let builds_on = proven.expression.names().into_iter().filter_map(index).collect();
        Self { step, proven, builds_on, plain: Plain::new(step, proven) }
    }
}

impl<'i> Plain<'i> {
    fn new(step: &Step, proven: &'i ProvenStep) -> Option<Self> {
        let compact = |key: &Key| match key {
            Key::Number(number) => number.compact(),
            Key::Choice(_) | Key::Order(_) => None,
        };
        let exact =
            step.kind == StepKind::Number && step.accept.rule == Rule::Exact && step.accept.form.is_free();
        let wrong = |wrong: &'i Wrong| Some((compact(&wrong.key)?, wrong.misconceptions.as_slice()));
        let key = compact(&proven.key).filter(|_| exact)?;
        Some(Self { key, wrong: proven.wrong.iter().map(wrong).collect::<Option<_>>()? })
    }

    /// What [`Judge`] finds of a decimal alone, by comparing whole numbers only.
    fn judge(&self, number: (i64, u32), points: u32) -> Judgement<'i> {
        if number == self.key {
            return Judgement::new(Verdict::Correct, points, "");
        }
        let known = self.wrong.iter().find(|(wrong, _)| *wrong == number);
        let misconceptions = Cow::Borrowed(known.map_or(&[][..], |(_, names)| names));
        Judgement { misconceptions, ..Judgement::new(Verdict::Wrong, 0, "") }
    }
}

impl LentMark<'_> {
    /// Writes the record behind a text, in JSON as serde does.
    ///
    /// # Example
    /// ```
    /// use qbank::{bank, marking::{Marker, Policy}};
    /// let item = bank::family("add-ragged").expect("in the starter bank").draw("a seed", 0, "en-US")?;
    /// let marker = Marker::new(&item, Policy::default());
    /// let mark = marker.mark("p-07", &item.id, |_| "3,5");
    /// let mut written = String::new();
    /// mark.print(&mut written);
    /// assert_eq!(written, serde_json::to_string(&mark)?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn print(&self, out: &mut String) {
        out.push_str("{\"pupil\":");
        json::text(out, self.pupil);
        json::named(out, "question", self.question);
        json::number(out, "points", self.points.into());
        json::number(out, "max", self.max.into());
        out.push_str(",\"steps\":");
        json::list(out, &self.steps, |out, step| step.print(out));
        out.push('}');
    }
}

impl LentStepMark<'_> {
    fn print(&self, out: &mut String) {
        out.push_str("{\"id\":");
        json::text(out, self.id);
        json::named(out, "response", self.response);
        json::number(out, "points", self.points.into());
        json::number(out, "max", self.max.into());
        out.push_str(",\"verdict\":");
        json::plain(out, self.verdict.name());
        out.push_str(",\"misconceptions\":");
        json::list(out, &self.misconceptions, |out, name| json::plain(out, name));
        json::named(out, "note", &self.note);
        out.push('}');
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bank;
    use alloc::{format, string::ToString};

    #[test]
    fn the_short_way_judges_as_the_long_one() {
        let mut met = [0; 3];
        for family in bank::families().unwrap() {
            for item in family.draws("short way", 0, "en-US").take(5).map(Result::unwrap) {
                let marker = Marker::new(&item, Policy::default());
                for Ready { step, proven, plain, .. } in &marker.steps {
                    let Some(plain) = plain else { continue };
                    let predicted = step.predicted.iter().filter_map(|wrong| wrong.answer.text());
                    let answers = predicted.chain(step.answer.text()).map(ToString::to_string);
                    let longer =
                        |text: String| [format!("{text}0"), format!("0{text}"), format!("-{text}"), text];
                    for text in answers.flat_map(longer) {
                        let number = plain_numeral(&text, marker.locale).unwrap();
                        let judge = Judge {
                            step,
                            proven,
                            right: &marker.right,
                            own: None,
                            policy: marker.policy,
                            language: marker.told_in,
                        };
                        let [long, short] = [
                            judge.judge(&Given::Plain(number)),
                            plain.judge(number.compact().unwrap(), step.points),
                        ]
                        .map(|judged| StepMark::from(lent(step, &text, judged)));
                        met[0] += usize::from(short.verdict == Verdict::Correct);
                        met[1] += usize::from(!short.misconceptions.is_empty());
                        met[2] += 1;
                        assert_eq!(short, long, "{}: {text}", item.id);
                    }
                }
            }
        }
        assert!(met[0] > 100 && met[1] > 500 && met[2] > met[0] + met[1], "{met:?}");
    }

    #[test]
    fn verdicts_are_named_as_in_records() {
        for verdict in [
            Verdict::Correct,
            Verdict::FollowThrough,
            Verdict::RightValueWrongForm,
            Verdict::Wrong,
            Verdict::Unreadable,
            Verdict::Blank,
        ] {
            assert_eq!(serde_json::to_string(&verdict).unwrap(), format!("\"{}\"", verdict.name()));
        }
    }

    #[test]
    fn a_lent_mark_is_the_same_record() {
        let item = bank::family("add-then-subtract").unwrap().draw("record", 0, "en-US").unwrap();
        let marker = Marker::new(&item, Policy::default());
        for response in ["", "3", "1.2.3"] {
            let lent = marker.mark("p \"1\"", &item.id, |_| response);
            let record = serde_json::to_string(&lent).unwrap();
            let mut printed = String::new();
            lent.print(&mut printed);
            assert_eq!(record, printed);
            assert_eq!(record, serde_json::to_string(&Mark::from(lent)).unwrap());
        }
    }
}
