//! A marked question as pupils and teachers see it after an attempt was handed in.
//!
//! Shared by the pupil's result page and the teacher's view of an attempt. Holds right answers, so it must
//! never be filled from an attempt that is still open; both pages are built only from stored marks.

use super::drawings::working::WorkedPicture;
use super::spoken::Spoken;
use crate::texts::Texts;

/// A question of an attempt that was handed in.
#[derive(Debug, Clone)]
pub struct MarkedQuestion {
    /// What surrounds the texts, in the reader's language.
    pub texts: &'static Texts,
    /// The locale of the question itself.
    pub language: String,
    /// Place on the page, from 1.
    pub number: usize,
    /// The story, one entry a paragraph.
    pub story: Vec<Spoken>,
    /// "2 of 3 points".
    pub points: String,
    /// The steps in order.
    pub steps: Vec<MarkedStep>,
}

impl MarkedQuestion {
    /// "Question 3".
    pub fn heading(&self) -> String {
        self.texts.with("drawings-marked-question", &[("number", self.number.into())])
    }
}

/// One step with the pupil's answer, the verdict and the reason for it.
#[derive(Debug, Clone)]
pub struct MarkedStep {
    /// What was asked.
    pub prompt: Spoken,
    /// The answer as typed, or the chosen text; empty when nothing was answered.
    pub response: Spoken,
    /// The verdict in words.
    pub verdict: String,
    /// Colour and sign that go with the verdict.
    pub tone: Tone,
    /// Sentences that give the reason, most useful first.
    pub why: Vec<Spoken>,
    /// The working from the pupil's own earlier value, where marking followed it.
    pub own: Vec<WorkedPicture>,
    /// Words before the answer.
    pub answer_lead: String,
    /// The right answer as it is written, with its unit or as the choice's text; empty when the response was right.
    pub answer: Spoken,
    /// The working from the right values.
    pub working: Vec<WorkedPicture>,
    /// Whether the working is unfolded at first.
    pub open: bool,
    /// What the teacher changed of the points, with the reason.
    pub changed: Option<String>,
    /// The form to change them, for teachers.
    pub points_form: Option<PointsForm>,
}

/// The form in which a teacher changes the points of a step.
#[derive(Debug, Clone)]
pub struct PointsForm {
    /// What it says.
    pub texts: &'static Texts,
    /// Where it goes.
    pub action: String,
    /// Token of the session.
    pub csrf: String,
    /// What the ids of its fields begin with.
    pub id: String,
    /// Its name for those who do not see where it stands.
    pub name: String,
    /// The question's id.
    pub question: String,
    /// The question's number on the page.
    pub number: usize,
    /// The step's id.
    pub step: String,
    /// Points as they are.
    pub points: u32,
    /// Most points.
    pub most: u32,
    /// The reason as it is, if they were changed before.
    pub reason: String,
    /// Most letters of the reason.
    pub reason_max: usize,
    /// Points of our own mark, if they were changed.
    pub ours: Option<u32>,
}

impl PointsForm {
    /// "Points, from 0 to 2".
    pub fn ask(&self) -> String {
        self.texts.with("class-points-new", &[("most", self.most.into())])
    }

    /// "Back to our points (1)", if there is a way back.
    pub fn undo(&self) -> Option<String> {
        self.ours.map(|ours| self.texts.with("class-points-undo", &[("points", ours.into())]))
    }
}

/// Colour and sign of a verdict or a state. Words always stand beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Right, done.
    Right,
    /// Right from the pupil's own earlier value.
    Own,
    /// Nearly: the form is not the one asked for; or something waits.
    Form,
    /// Not right, failed.
    Wrong,
    /// Nothing to judge.
    Quiet,
}

impl Tone {
    /// Class name in the style sheet.
    pub fn class(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Own => "own",
            Self::Form => "form",
            Self::Wrong => "wrong",
            Self::Quiet => "quiet",
        }
    }

    /// A sign that tells the tones apart without colour.
    pub fn sign(self) -> &'static str {
        match self {
            Self::Right => "\u{2713}",
            Self::Own => "\u{2192}",
            Self::Form => "~",
            Self::Wrong => "\u{00d7}",
            Self::Quiet => "\u{2013}",
        }
    }
}
