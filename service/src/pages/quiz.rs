//! The pupil's pages: start, an open attempt, the result.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use askama::Template;

use super::marked::MarkedQuestion;
use super::spoken::Written;
use super::{Frame, Link, versioned};
use crate::texts::Texts;

/// The script of an open attempt and its result: keeps what is typed, and draws the place-value grid.
pub const SCRIPT: &str = include_str!("../../static/quiz.js");

/// Where the script is served; the address changes with the content.
pub fn script_url() -> &'static str {
    static URL: LazyLock<String> = LazyLock::new(|| versioned("/static/quiz.js", SCRIPT));
    &URL
}

/// What the script says about keeping what is typed; pages carry it in the reader's language.
const KEEP_MESSAGES: [&str; 13] = [
    "quiz-keep-ready",
    "quiz-keep-saving",
    "quiz-keep-saved",
    "quiz-keep-offline",
    "quiz-keep-offline-page",
    "quiz-keep-busy",
    "quiz-keep-signed-out",
    "quiz-keep-signed-out-page",
    "quiz-keep-newer",
    "quiz-keep-closed",
    "quiz-keep-restored",
    "quiz-keep-too-long",
    "quiz-keep-no-hand-in",
];

/// What the script says about the place-value grid.
const GRID_MESSAGES: [&str; 5] =
    ["quiz-grid-close", "quiz-grid-name", "quiz-grid-gap", "quiz-grid-other", "quiz-grid-places"];

/// Messages as attributes of the script's form.
#[derive(Template)]
#[template(
    ext = "html",
    source = r#"{% for message in messages %} data-{{ message }}="{{ texts.html(message) }}"{% endfor %}"#
)]
struct Attributes<'a> {
    texts: &'static Texts,
    messages: &'a [&'static str],
}

/// Attributes by the language's tag: they are the same on all pages, so they are written once.
type InEachLanguage = LazyLock<BTreeMap<&'static str, Written>>;

fn in_each_language(messages: &[&'static str]) -> BTreeMap<&'static str, Written> {
    Texts::all().map(|texts| (texts.tag(), Written::of(&Attributes { texts, messages }))).into()
}

/// What the script says about the place-value grid, as attributes of its form.
pub fn grid_attributes(texts: &Texts) -> &'static Written {
    static WRITTEN: InEachLanguage = LazyLock::new(|| in_each_language(&GRID_MESSAGES));
    &WRITTEN[texts.tag()]
}

/// What the script says about keeping what is typed, and about the grid.
pub fn script_attributes(texts: &Texts) -> &'static Written {
    static WRITTEN: InEachLanguage =
        LazyLock::new(|| in_each_language(&[&KEEP_MESSAGES[..], &GRID_MESSAGES].concat()));
    &WRITTEN[texts.tag()]
}

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
    pub notice: Option<String>,
    /// One sentence of welcome.
    pub welcome: String,
    /// Number of questions of an attempt.
    pub question_count: usize,
    /// "1 of 3 used".
    pub attempts: String,
    /// What counts in a step that builds on another.
    pub later_steps: String,
    /// Until when, where there is an end.
    pub until: Option<String>,
    /// "7 of 10 points", once an attempt was handed in.
    pub best: Option<String>,
    /// What is sent to the gradebook.
    pub gradebook: String,
    /// What can be done now.
    pub next: Next,
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
        /// Whether there was one before.
        again: bool,
    },
    /// Go on with the open attempt.
    Resume {
        /// The attempt's page.
        url: String,
        /// "Your attempt 1 is open: 3 of 8 answers are saved."
        saved: String,
    },
    /// All attempts are used.
    Finished {
        /// Where the kinds of questions can be practiced that were not right, if there are any.
        practice: Option<String>,
    },
    /// It is too early; the sentence says from when.
    NotYet(String),
    /// It is too late; the sentence says since when.
    Over(String),
}

/// What all pages of an open attempt have. No field here, or in what follows, holds an answer of ours.
#[derive(Debug, Clone)]
pub struct OpenFrame {
    /// "Attempt 1 of 3" and so on.
    pub facts: Vec<String>,
    /// A message about what just happened.
    pub notice: Notice,
    /// Where the save button sends the form.
    pub save_action: String,
    /// Where the hand-in button sends the form.
    pub submit_action: String,
    /// Token of the session.
    pub csrf: String,
    /// The attempt's id, by which the browser keeps what could not be sent.
    pub attempt: String,
    /// Name of the page; see [`crate::typing`].
    pub page: String,
    /// The revision of the attempt that the page shows.
    pub revision: u64,
}

/// Questions of an attempt that is still open: all, or one.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/attempt.html")]
pub struct AttemptPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// What all these pages have.
    pub open: OpenFrame,
    /// How answers are written.
    pub how_to_write: String,
    /// The decimal mark, for the place-value grid.
    pub point: char,
    /// Where one is among the questions, if they are shown one at a time.
    pub one: Option<OneAtATime>,
    /// The questions that are shown, in order.
    pub questions: Vec<Arc<Written>>,
}

/// The last page of a quiz that shows one question at a time.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/check.html")]
pub struct CheckPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// What all these pages have.
    pub open: OpenFrame,
    /// "2 answers are still empty:", for when there are any.
    pub heading: String,
    /// Links to them.
    pub empty: Vec<FieldLink>,
    /// All questions.
    pub states: Vec<QuestionState>,
}

/// Where one is in a quiz that shows one question at a time.
#[derive(Debug, Clone)]
pub struct OneAtATime {
    /// Word of the page after this one.
    pub next: String,
    /// Whether this is the last question.
    pub last: bool,
    /// Word of the page before this one.
    pub back: Option<String>,
    /// Word of this page.
    pub here: String,
    /// All questions.
    pub states: Vec<QuestionState>,
}

/// A question in a list of all.
#[derive(Debug, Clone)]
pub struct QuestionState {
    /// From 1; also the word of its page.
    pub number: usize,
    /// "Question 2".
    pub name: String,
    /// How much is answered, as a sign.
    pub sign: &'static str,
    /// The same in words.
    pub state: String,
    /// Whether it is the one that is shown.
    pub here: bool,
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
        /// What is wrong with them.
        which: String,
        /// Links to those fields.
        fields: Vec<FieldLink>,
    },
    /// Some answers were not stored, because newer ones were written on another page.
    Newer {
        /// Links to those fields, each with what was not stored.
        fields: Vec<FieldLink>,
    },
}

/// A link to a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldLink {
    /// Where the field is.
    pub address: String,
    /// "Question 2: How much is left?"
    pub text: String,
}

/// What a question asks: the same for all who get it, so it is written once.
#[derive(Debug)]
pub struct AskedQuestion {
    /// The story, one entry a paragraph.
    pub story: Vec<Written>,
    /// "3 points".
    pub points: String,
    /// The steps in order.
    pub steps: Vec<AskedStep>,
}

/// What a step asks.
#[derive(Debug)]
pub struct AskedStep {
    /// The question.
    pub prompt: Written,
    /// How it is answered.
    pub control: Control,
}

/// The control of a step.
#[derive(Debug)]
pub enum Control {
    /// A typed number, in digits or in words.
    Typed {
        /// The unit shown beside the field; none where the pupil must write it.
        unit: Option<UnitSign>,
        /// Which unit is meant and which forms count, in sentences.
        forms: String,
        /// Whether words are asked for.
        words: bool,
    },
    /// All choices, one at each place.
    Order {
        /// What can stand at each place.
        options: Vec<AskedOption>,
        /// What each place is called, first to last: "1.".
        labels: Vec<String>,
    },
    /// One of several choices.
    Choice {
        /// The choices in order.
        options: Vec<AskedOption>,
    },
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
#[derive(Debug)]
pub struct AskedOption {
    /// The choice's id, sent when chosen.
    pub id: String,
    /// What it says.
    pub text: Written,
    /// The same without words for listeners: the text of an option has no room for them.
    pub shown: String,
}

/// A question that waits for answers.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/question.html")]
pub struct OpenQuestion {
    /// The language of its page.
    pub texts: &'static Texts,
    /// Place in the attempt, from 1.
    pub number: usize,
    /// "Question 2", or "Question 2 of 5".
    pub name: String,
    /// What it asks.
    pub asked: Arc<AskedQuestion>,
    /// The answer so far to each of its steps.
    pub steps: Vec<OpenStep>,
}

impl OpenQuestion {
    /// The question ready for its page.
    pub fn written(&self) -> Arc<Written> {
        Arc::new(Written::of(self))
    }

    /// What each step asks, with the answer so far.
    pub fn asked_steps(&self) -> impl Iterator<Item = (&AskedStep, &OpenStep)> {
        self.asked.steps.iter().zip(&self.steps)
    }
}

/// A step that waits for an answer.
#[derive(Debug, Clone)]
pub struct OpenStep {
    /// Name of its field in the posted form.
    pub name: String,
    /// Id of its field on the page, for labels and links.
    pub anchor: String,
    /// What was typed so far, as typed, or the id of what was chosen.
    pub answer: String,
    /// Whether it is longer than [`ANSWER_LENGTH_MAX`].
    pub too_long: bool,
    /// The places of an order, first to last.
    pub places: Vec<OrderPlace>,
}

/// A place of an order.
#[derive(Debug, Clone)]
pub struct OrderPlace {
    /// Name of its field in the posted form.
    pub name: String,
    /// Id of its field on the page.
    pub anchor: String,
    /// The id of what was chosen for it.
    pub chosen: String,
}

/// Verdict and reason for each step of an attempt that was handed in.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/result.html")]
pub struct ResultPage {
    /// Frame; its title is the quiz's title.
    pub frame: Frame,
    /// "Attempt 1 of 3".
    pub progress: String,
    /// The attempt's id, by which the browser kept what could not be sent.
    pub attempt: String,
    /// Points of this attempt.
    pub points: u32,
    /// "of 9 points": those that it could have given.
    pub points_max: String,
    /// The best result so far, and what is sent to the gradebook.
    pub gradebook: String,
    /// A message about what just happened.
    pub notice: Option<String>,
    /// What can follow.
    pub after: After,
    /// The quiz's start page.
    pub start_url: String,
    /// Token of the session.
    pub csrf: String,
    /// Who answered, before each answer: "Your answer:".
    pub whose: String,
    /// The marked questions.
    pub questions: Vec<MarkedQuestion>,
}

/// Ungraded questions with new numbers, of the kinds that were not right.
#[derive(Debug, Clone, Template)]
#[template(path = "quiz/practice.html")]
pub struct PracticePage {
    /// Frame.
    pub frame: Frame,
    /// What there is.
    pub practice: Practice,
    /// The quiz's start page.
    pub start_url: String,
}

/// What a page of practice shows.
#[derive(Debug, Clone)]
pub enum Practice {
    /// There is nothing to practice.
    Nothing,
    /// Questions that wait for answers.
    Asked {
        /// Where the form goes.
        action: String,
        /// Token of the session.
        csrf: String,
        /// The decimal mark, for the place-value grid.
        point: char,
        /// How answers are written.
        how_to_write: String,
        /// The questions.
        questions: Vec<Arc<Written>>,
    },
    /// The same with what the answers came to.
    Marked {
        /// "Practice: 2 of 3".
        points: String,
        /// Who answered, before each answer.
        whose: String,
        /// Where to go on.
        more: String,
        /// The marked questions.
        questions: Vec<MarkedQuestion>,
    },
}

/// What a pupil can do after a result.
#[derive(Debug, Clone)]
pub enum After {
    /// Begin another attempt.
    Again {
        /// Where the form goes.
        action: String,
    },
    /// There is no other attempt.
    NoMore {
        /// Why.
        why: String,
        /// Where the kinds of questions can be practiced that were not right, if there are any.
        practice: Option<String>,
    },
}
