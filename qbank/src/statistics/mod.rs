//! Statistics of marks: how hard each step was, whether it tells strong pupils from weak ones, which wrong answers it
//! drew, and how far a form's total can be trusted.
//!
//! Marks are read twice, one at a time: a [`Census`] finds who answered what, a [`Tally`] then sums. What grows is
//!
//! - for each question and family of the pool: its sums and counts;
//! - for each pupil: the name, the total, two fingerprints and the patterns of wrong answers met. A pupil's total is
//!   only known after the last mark, and the correlation with the rest of the total needs it; so there are two readings;
//! - for each answered question: about 12 bytes, to see a pupil answer it again. The first mark counts, because a second
//!   answer after feedback tells little about the question.
//!
//! Rules, and why:
//!
//! - Nothing about fewer than [`LEAST`] pupils is told but how many they are: such a figure is chance, and it is about
//!   children who can be guessed.
//! - A total is compared among pupils who answered the same questions, or questions of the same families, only; with
//!   numbers of their own every pupil has other questions, and the family stands for the question.
//! - A step is compared with the *rest* of the total as well as with the total it is part of: in a short form the second
//!   flatters (0.53 against 0.31 in the published worksheet in the tests).
//! - A blank or unreadable step counts as no points. Leaving blanks out instead would move alpha by a tenth.
//! - An interval around a family's facility takes the number of pupils, not of answers, because one pupil's answers go
//!   together.
//!
//! It does not judge what a pupil believes: it counts the steps whose answers are consistent with a misconception.
mod census;
mod figures;
mod tally;

use alloc::{string::String, vec::Vec};
use core::fmt;

use serde::Serialize;

pub use self::{
    census::{Census, family_of},
    figures::{
        Divisor, Figure, PLACES, PairSums, ROOT_PLACES, alpha, kr21, standard_error, upper_lower, variance,
        wilson,
    },
    tally::Tally,
};

/// Fewest pupils about whom a figure is told.
pub const LEAST: u64 = 10;
/// Fewer pupils than this make a facility rough: with 30 its interval is a third of the scale wide.
pub const ROUGH_FACILITY: u64 = 30;
/// Fewer pupils than this make a correlation rough: with 100 its interval is as wide.
pub const ROUGH_CORRELATION: u64 = 100;

/// A figure, or why there is none.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(untagged)]
pub enum Told<T> {
    /// It can be told.
    Given(T),
    /// It is not told.
    Withheld {
        /// Why.
        withheld: Reason,
    },
}

impl<T> Told<T> {
    /// The figure, if it is told.
    pub fn given(&self) -> Option<&T> {
        match self {
            Self::Given(given) => Some(given),
            Self::Withheld { .. } => None,
        }
    }

    fn or(given: Option<T>, withheld: Reason) -> Self {
        given.map_or(Self::Withheld { withheld }, Self::Given)
    }

    fn from_result(result: Result<T, Reason>) -> Self {
        result.map_or_else(|withheld| Self::Withheld { withheld }, Self::Given)
    }
}

/// Why a figure is not told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Reason {
    /// Fewer than [`LEAST`] pupils.
    #[serde(rename = "fewer_than_10_pupils")]
    FewerThan10Pupils,
    /// All pupils have the same points in the step, or the same total: nothing can go together with it.
    AllAlike,
    /// Reliability is defined for two steps or more.
    OneStep,
    /// A pupil has several questions of the same family, so that the step is no one step.
    SeveralOfAFamily,
    /// Some step gives part of its points, or other than one point.
    NotRightOrWrong,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FewerThan10Pupils => "fewer than 10 pupils",
            Self::AllAlike => "all pupils alike",
            Self::OneStep => "only one step",
            Self::SeveralOfAFamily => "several questions of one family in a form",
            Self::NotRightOrWrong => "not all steps are worth one point, right or wrong",
        })
    }
}

/// What many marks come to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Statistics {
    /// Different pupils.
    pub pupils: u64,
    /// Marks that count.
    pub marks: u64,
    /// Marks of a question that the pupil had answered before; they count nowhere.
    pub repeated: u64,
    /// How the steps were judged.
    pub verdicts: Told<VerdictCounts>,
    /// Every step of every question, in the order of their ids.
    pub questions: Vec<StepStatistics>,
    /// Every step of every family, over all its questions.
    pub families: Vec<StepStatistics>,
    /// Pupils who answered the same questions, the largest group first.
    pub forms: Vec<GroupStatistics>,
    /// Pupils whose questions are of the same families, the largest group first.
    pub alike: Vec<GroupStatistics>,
    /// Pupils in groups too small to tell anything about: by the same questions, and by the same families.
    pub ungrouped: Ungrouped,
    /// How many pupils' answers are consistent with what, most pupils first.
    pub class: Told<Vec<ClassPattern>>,
    /// The same for each pupil, in the order of their names.
    pub by_pupil: Vec<PupilPatterns>,
}

/// Pupils in groups of fewer than [`LEAST`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Ungrouped {
    /// By the same questions.
    pub forms: u64,
    /// By the same families.
    pub alike: u64,
}

/// How many steps were judged how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct VerdictCounts {
    /// Right.
    pub correct: u64,
    /// Right from the pupil's own earlier value.
    pub follow_through: u64,
    /// The right value in another form.
    pub right_value_wrong_form: u64,
    /// Not right.
    pub wrong: u64,
    /// Could not be read.
    pub unreadable: u64,
    /// Not answered.
    pub blank: u64,
}

/// One step of a question, or of all questions of a family.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StepStatistics {
    /// The question; none where the step stands for a whole family.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub question: Option<String>,
    /// The family, as far as it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub family: Option<String>,
    /// The step's id.
    pub step: String,
    /// How many pupils answered it.
    pub pupils: u64,
    /// How many answers, for a family.
    pub answers: u64,
    /// All else, if enough pupils did.
    pub figures: Told<StepFigures>,
}

/// What is told about a step that enough pupils answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StepFigures {
    /// The share of all points that was earned.
    pub facility: Figure,
    /// Wilson's 95 % interval around it, z = 1.959963984540054.
    pub interval_95: (Figure, Figure),
    /// How the answers were judged.
    pub verdicts: VerdictCounts,
    /// Wrong answers by the misconceptions that they are consistent with, most first.
    pub distractors: Vec<Distractor>,
    /// Wrong answers that no misconception leads to.
    pub otherwise_wrong: u64,
    /// How often each choice was made, right ones too; only with a pool, for a choice.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<ChoiceCount>,
}

/// How often a predicted wrong answer was given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Distractor {
    /// The misconceptions that the answer is consistent with, joined by ` | `.
    pub misconception: String,
    /// The predicted answer; only with a pool, for one question, and where there is only one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
    /// How many answers.
    pub count: u64,
}

/// How often a choice was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ChoiceCount {
    /// Its id.
    pub choice: String,
    /// Its text.
    pub text: String,
    /// How many pupils chose it.
    pub count: u64,
}

/// Pupils with comparable totals.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct GroupStatistics {
    /// How many.
    pub pupils: u64,
    /// The mean total in points.
    pub mean: Figure,
    /// The standard deviation of the total in points, as a sample's (n - 1).
    pub deviation: Option<Figure>,
    /// Cronbach's alpha.
    pub alpha: Told<Figure>,
    /// KR-20: alpha, where every step is worth one point, right or wrong.
    pub kr20: Told<Figure>,
    /// Standard error of measurement in points, from alpha and the sample's deviation.
    pub standard_error: Told<Figure>,
    /// Each step and how it goes together with the total.
    pub steps: Vec<Discrimination>,
}

/// How points in one step go together with a pupil's total.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Discrimination {
    /// The question, or the family where totals are compared by families.
    pub of: String,
    /// The step's id.
    pub step: String,
    /// Correlation with the total, the step included.
    pub item_total: Told<Figure>,
    /// Correlation with the total of the other steps.
    pub item_rest: Told<Figure>,
}

/// How many pupils' answers are consistent with a misconception.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ClassPattern {
    /// The misconceptions, joined by ` | ` where the answers do not tell them apart.
    pub misconception: String,
    /// Pupils with at least one such step.
    pub pupils: u64,
    /// Steps so answered.
    pub steps: u64,
}

/// What one pupil's answers are consistent with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PupilPatterns {
    /// Who: an opaque name.
    pub pupil: String,
    /// Points earned.
    pub points: u64,
    /// Points possible.
    pub max: u64,
    /// Steps asked.
    pub steps: u64,
    /// Steps left blank.
    pub blank: u64,
    /// Steps whose answer could not be read.
    pub unreadable: u64,
    /// Most steps first.
    pub consistent_with: Vec<PatternCount>,
}

/// Steps of one pupil whose answers are consistent with a misconception.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PatternCount {
    /// The misconceptions, joined by ` | ` where the answer does not tell them apart.
    pub misconception: String,
    /// How many steps.
    pub steps: u64,
}
