//! Points that a teacher gave in place of ours, and attempts beyond those of the quiz.

use jiff::Timestamp;
use qbank::grade::Grade;
use qbank::locale::Language;
use qbank::marking::{Mark, StepMark};
use serde::{Deserialize, Serialize};

use super::{Attempt, AttemptResult};

/// Most letters of a reason.
pub const REASON_LENGTH_MAX: usize = 300;

/// Points of one step by the teacher's word. The verdict and what the answer is consistent with stay as they are: the
/// teacher judges what the answer is worth, not what it is. In judging what a pupil needs, an answer that got all points
/// says nothing (`crate::judgement`).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Override {
    /// The question's id.
    pub question: String,
    /// The step's id.
    pub step: String,
    /// Points in place of ours.
    pub points: u32,
    /// Why; the pupil reads it.
    pub reason: String,
    /// When.
    pub at: Timestamp,
}

impl Override {
    /// Whether it is about this step.
    pub fn is_of(&self, question: &str, step: &str) -> bool {
        self.question == question && self.step == step
    }

    /// What the note of a mark says of it.
    fn note(&self, ours: &StepMark, language: Language) -> String {
        let Self { points, reason, .. } = self;
        match language {
            Language::English => {
                format!("points changed by the teacher from {} to {points}: {reason}", ours.points)
            }
            Language::Spanish => {
                format!(
                    "puntos cambiados por el maestro o la maestra de {} a {points}: {reason}",
                    ours.points
                )
            }
        }
    }
}

impl AttemptResult {
    /// The marks with the points that the teacher gave.
    ///
    /// # Errors
    /// When the stored marks are not what was written.
    pub fn marked(&self) -> Result<Vec<Mark>, serde_json::Error> {
        self.changed(|step, change| step.points = change.points)
    }

    /// The same as records to give out: the note of a changed mark says so, in `language`.
    ///
    /// # Errors
    /// As [`AttemptResult::marked`].
    pub fn recorded(&self, language: Language) -> Result<Vec<Mark>, serde_json::Error> {
        self.changed(|step, change| {
            step.note = change.note(step, language);
            step.points = change.points;
        })
    }

    fn changed(
        &self,
        change_step: impl Fn(&mut StepMark, &Override),
    ) -> Result<Vec<Mark>, serde_json::Error> {
        let mut marks = self.judged()?;
        for mark in &mut marks {
            for step in &mut mark.steps {
                let change = self.overrides.iter().find(|change| change.is_of(&mark.question, &step.id));
                change.into_iter().for_each(|change| change_step(step, change));
            }
            if !self.overrides.is_empty() {
                mark.points = mark.steps.iter().map(|step| step.points).sum();
            }
        }
        Ok(marks)
    }

    /// The marks as they were made at first.
    ///
    /// # Errors
    /// As [`AttemptResult::marked`].
    pub fn judged(&self) -> Result<Vec<Mark>, serde_json::Error> {
        serde_json::from_str(&self.marks)
    }

    /// Points by the marks with what the teacher changed.
    ///
    /// # Errors
    /// As [`AttemptResult::marked`].
    pub fn counted(&self) -> Result<u32, serde_json::Error> {
        Ok(Grade::of(&self.marked()?).given)
    }
}

/// What a teacher wants of one step's points.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Points {
    /// So many, for that reason.
    Given {
        /// The points.
        points: u32,
        /// The reason.
        reason: String,
    },
    /// Those of our own mark again.
    AsMarked,
}

/// What became of the wish to change points.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(clippy::large_enum_variant, reason = "there is one for a request, and none is kept")]
pub enum Overridden {
    /// The attempt has other points now, or had these already.
    Done(Attempt),
    /// No such attempt was handed in.
    NoAttempt,
    /// The attempt has no such step, or the step has not so many points.
    NoStep,
}

/// What became of the wish to allow one more attempt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Allowed {
    /// So many are allowed beyond those of the quiz.
    Extra(u32),
    /// There are other extra attempts than the one who asked has seen: a second press of the button.
    Otherwise(u32),
}
