//! What goes over the wire, with its description for the OpenAPI document.
//!
//! Marks, questions and pools are written by `qbank`; the records of those names here only describe them, and a test
//! holds the description of marks to what is written.

use std::collections::BTreeMap;

use qbank::accept::Credit;
use qbank::marking::Policy;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A failure.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Failure {
    /// The HTTP status.
    pub(super) status: u16,
    /// Stable name of the failure.
    pub(super) code: String,
    /// What happened, for people.
    pub(super) message: String,
    /// What to do about it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) hint: Option<String>,
}

/// A pool in a list.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PoolEntry {
    /// The pool's id.
    pub(super) id: String,
    /// The pool's title.
    pub(super) title: String,
    /// How many questions it holds.
    pub(super) questions: u32,
}

/// A pool that was loaded.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PoolLoaded {
    /// The pool's id.
    pub(super) id: String,
    /// The pool's title.
    pub(super) title: String,
    /// How many questions were proven.
    pub(super) questions: u32,
    /// Fingerprint of the content.
    pub(super) receipt: String,
}

/// A pool file as `tenths pool` writes it.
#[derive(Debug, ToSchema)]
#[expect(
    dead_code,
    reason = "describes what qbank reads and writes; its fields are read by the derived schema only"
)]
pub(super) struct PoolFile {
    /// Letters, digits and hyphens, starting with a letter.
    id: String,
    /// What teachers read.
    title: String,
    /// Language and region, as `en-US`.
    locale: String,
    /// At least one.
    sections: Vec<SectionFile>,
}

/// Questions of a pool that practise one thing.
#[derive(Debug, ToSchema)]
#[expect(
    dead_code,
    reason = "describes what qbank reads and writes; its fields are read by the derived schema only"
)]
pub(super) struct SectionFile {
    /// Unique within the pool.
    id: String,
    /// What teachers read.
    title: String,
    /// How many of its questions a test draws.
    pick: u32,
    /// Question records as `tenths draw --json` writes them.
    #[schema(value_type = Vec<Object>)]
    questions: Vec<serde_json::Value>,
}

/// A pool without anything that would tell an answer.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PoolOutline {
    /// The pool's id.
    pub(super) id: String,
    /// The pool's title.
    pub(super) title: String,
    /// Language and region.
    pub(super) locale: String,
    /// Its questions in order.
    pub(super) questions: Vec<QuestionOutline>,
}

/// A question without anything that would tell its answers.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct QuestionOutline {
    /// The question's id.
    pub(super) id: String,
    /// What is practised.
    pub(super) title: String,
    /// Curriculum codes.
    pub(super) standards: Vec<String>,
    /// From 1 (easy) to 5 (hard).
    pub(super) difficulty: u8,
    /// The story.
    pub(super) stem: String,
    /// What is asked, step by step.
    pub(super) prompts: Vec<String>,
    /// Points possible.
    pub(super) max: u32,
}

/// A quiz placed in a course.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PlacementEntry {
    /// The placement's id.
    pub(super) id: String,
    /// The title pupils see.
    pub(super) title: String,
    /// The pool.
    pub(super) pool: String,
    /// Questions for each pupil.
    pub(super) questions: u32,
    /// Attempts for each pupil.
    pub(super) attempts: u32,
    /// What earns points.
    pub(super) policy: PolicyRecord,
    /// From when pupils can work on it, where that is limited, RFC 3339.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(super) opens_at: Option<jiff::Timestamp>,
    /// Until when pupils can hand in, where that is limited, RFC 3339.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(super) closes_at: Option<jiff::Timestamp>,
    /// When it was first opened, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    pub(super) created_at: jiff::Timestamp,
}

/// The mark of one question.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct MarkRecord {
    /// Who answered: the platform's opaque id.
    pupil: String,
    /// The question's id.
    question: String,
    /// Points earned.
    points: u32,
    /// Points possible.
    max: u32,
    /// One for each step.
    steps: Vec<StepMarkRecord>,
}

/// The mark of one step.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct StepMarkRecord {
    /// The step's id.
    id: String,
    /// The response as typed.
    response: String,
    /// Points earned.
    points: u32,
    /// Points possible.
    max: u32,
    /// How it was judged.
    verdict: VerdictRecord,
    /// Misconceptions that the answer is consistent with.
    misconceptions: Vec<String>,
    /// One sentence, or empty.
    note: String,
}

/// How a step was judged.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum VerdictRecord {
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

/// What a quiz decides about marking.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct PolicyRecord {
    /// Whether a value that is right from the pupil's own earlier value earns points; `true` if not given.
    follow_through: bool,
    /// What the right value in another form earns: `none`, `part` or `full`; what each step says if not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>)]
    form_credit: Option<Credit>,
}

impl Default for PolicyRecord {
    fn default() -> Self {
        Policy::default().into()
    }
}

impl From<Policy> for PolicyRecord {
    fn from(Policy { follow_through, form_credit }: Policy) -> Self {
        Self { follow_through, form_credit }
    }
}

impl From<PolicyRecord> for Policy {
    fn from(PolicyRecord { follow_through, form_credit }: PolicyRecord) -> Self {
        Self { follow_through, form_credit }
    }
}

/// Responses of one pupil to one question.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ScoreRequest {
    /// The pool that holds the question.
    pub(super) pool: String,
    /// The question's id.
    pub(super) question: String,
    /// An opaque name of the pupil.
    pub(super) pupil: String,
    /// What was typed, by step id, at most 200 characters each; for an order a text or a list of ids.
    #[serde(deserialize_with = "qbank::marking::responses")]
    pub(super) responses: BTreeMap<String, String>,
    /// What earns points.
    #[serde(default)]
    pub(super) policy: PolicyRecord,
}

#[cfg(test)]
mod tests {
    use super::*;
    use qbank::marking::{Mark, StepMark, Verdict};

    #[test]
    fn a_mark_is_described_as_it_is_written() {
        use Verdict::{Blank, Correct, FollowThrough, RightValueWrongForm, Unreadable, Wrong};
        let verdicts = [Correct, FollowThrough, RightValueWrongForm, Wrong, Unreadable, Blank];
        let step = |verdict| StepMark {
            id: "total".into(),
            response: "1.21".into(),
            points: 0,
            max: 1,
            verdict,
            misconceptions: vec!["add-right-edge".into()],
            note: String::new(),
        };
        let steps = verdicts.into_iter().map(step).collect();
        let mark = Mark { pupil: "p-07".into(), question: "q-1".into(), points: 0, max: 6, steps };
        let written = serde_json::to_value(&mark).unwrap();
        let described: MarkRecord = serde_json::from_value(written.clone()).unwrap();
        assert_eq!(serde_json::to_value(described).unwrap(), written);
    }
}
