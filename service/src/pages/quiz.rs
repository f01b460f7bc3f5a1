//! The pupil's pages: start, a running attempt, the result.

use askama::Template;

use super::marked::MarkedQuestion;
use super::{Frame, Link};

/// Most characters an answer may have; longer ones are refused with a sentence beside the field. The field itself has no
/// limit, because browsers cut pasted text at one without a word.
pub const ANSWER_LENGTH_MAX: usize = 200;

/// What a pupil meets first, and between attempts.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/start.html")]
pub struct StartPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// A message about what just happened.
    pub notice: Option<&'static str>,
    /// One sentence of welcome.
    pub welcome: &'static str,
    /// Number of questions of an attempt.
    pub question_count: u32,
    /// "1 of 3 used".
    pub attempts: String,
    /// What counts in a step that builds on another.
    pub later_steps: &'static str,
    /// Until when, where there is an end.
    pub until: Option<String>,
    /// "7 of 10 points", once an attempt was handed in.
    pub best: Option<String>,
    /// What is sent to the gradebook.
    pub gradebook: &'static str,
    /// What can be done now.
    pub next: Next,
    /// Words of the start button.
    pub start_text: &'static str,
    /// Token of the session, in every form.
    pub csrf: String,
    /// Results of earlier attempts.
    pub finished: Vec<Link>,
}

/// What a pupil can do on the start page.
#[derive(Debug, Clone)]
pub enum Next {
    /// Begin an attempt.
    Start {
        /// Where the form goes.
        action: String,
    },
    /// Go on with the open attempt.
    Resume {
        /// The attempt's page.
        url: String,
        /// "You have answered 3 of 8 steps so far."
        saved: String,
    },
    /// All attempts are used.
    Finished,
    /// It is too early.
    NotYet {
        /// From when, in words.
        opens: String,
    },
    /// It is too late.
    Over {
        /// Since when, in words.
        closed: String,
    },
}

/// All questions of an attempt that is still open. No field here holds an answer of ours.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/attempt.html")]
pub struct AttemptPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// "Attempt 1 of 3, 5 questions".
    pub progress: String,
    /// A message about what just happened.
    pub notice: Notice,
    /// Where the save button sends the form.
    pub save_action: String,
    /// Where the hand-in button sends the form.
    pub submit_action: String,
    /// Token of the session.
    pub csrf: String,
    /// The questions in order.
    pub questions: Vec<OpenQuestion>,
}

/// What to tell the pupil above the questions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// Nothing.
    None,
    /// The typed answers were saved.
    Saved,
    /// Handing in stopped once because answers are missing.
    Empty {
        /// Links to the empty fields.
        fields: Vec<FieldLink>,
    },
    /// Some answers are longer than [`ANSWER_LENGTH_MAX`].
    TooLong {
        /// Links to those fields.
        fields: Vec<FieldLink>,
    },
}

/// A link to a field of the same page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldLink {
    /// The field's id.
    pub anchor: String,
    /// "Question 2: How much is left?"
    pub text: String,
}

/// A question that waits for answers.
#[derive(Debug, Clone)]
pub struct OpenQuestion {
    /// Place on the page, from 1.
    pub number: usize,
    /// The story, one entry a paragraph.
    pub story: Vec<String>,
    /// "3 points".
    pub points: String,
    /// The steps in order.
    pub steps: Vec<OpenStep>,
}

/// A step that waits for an answer.
#[derive(Debug, Clone)]
pub struct OpenStep {
    /// Name of its field in the posted form.
    pub name: String,
    /// Id of its field on the page, for labels and links.
    pub anchor: String,
    /// What is asked.
    pub prompt: String,
    /// How it is answered.
    pub field: Field,
}

/// The control of a step.
#[derive(Debug, Clone)]
pub enum Field {
    /// A typed number, in digits or in words.
    Typed {
        /// What the pupil typed so far, as typed.
        typed: String,
        /// The unit shown beside the field; none where the pupil must write it.
        unit: Option<UnitSign>,
        /// Which forms count, in words.
        forms: String,
        /// Whether the typed text is longer than [`ANSWER_LENGTH_MAX`].
        too_long: bool,
        /// Whether words are asked for.
        words: bool,
    },
    /// All choices, one at each place.
    Order {
        /// The places, first to last.
        places: Vec<OrderPlace>,
    },
    /// One of several choices.
    Choice {
        /// The choices in order.
        options: Vec<ChoiceOption>,
    },
}

/// A place of an order.
#[derive(Debug, Clone)]
pub struct OrderPlace {
    /// From 1.
    pub number: usize,
    /// Name of its field in the posted form.
    pub name: String,
    /// Id of its field on the page.
    pub anchor: String,
    /// What can stand there.
    pub options: Vec<ChoiceOption>,
}

/// A unit beside a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitSign {
    /// `kg`, `$`.
    pub symbol: String,
    /// Whether it stands before the number.
    pub leads: bool,
}

/// One choice.
#[derive(Debug, Clone)]
pub struct ChoiceOption {
    /// The choice's id, sent when chosen.
    pub id: String,
    /// What it says.
    pub text: String,
    /// Whether the pupil chose it.
    pub chosen: bool,
}

/// Verdict and reason for each step of an attempt that was handed in.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/result.html")]
pub struct ResultPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// "Attempt 1 of 3".
    pub progress: String,
    /// Points of this attempt.
    pub points: u32,
    /// Points that this attempt could have given.
    pub points_max: u32,
    /// What is sent to the gradebook.
    pub gradebook: String,
    /// A message about what just happened.
    pub notice: Option<&'static str>,
    /// Where to start another attempt, when one is left.
    pub again: Option<String>,
    /// Why there is no other attempt, when there is none.
    pub no_more: &'static str,
    /// The quiz's start page.
    pub start_url: String,
    /// Token of the session.
    pub csrf: String,
    /// Who answered, before each answer: "Your answer:".
    pub whose: &'static str,
    /// The marked questions.
    pub questions: Vec<MarkedQuestion>,
}
