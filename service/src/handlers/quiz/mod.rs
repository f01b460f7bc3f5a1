//! The pupil's pages under `/quiz/{placement}`.
//!
//! ```text
//! GET  /quiz/{placement}                    start: what the quiz is, attempts used, go on or begin
//! POST /quiz/{placement}                    begin an attempt
//! GET  /quiz/{placement}/{attempt}          the questions while open, the result once handed in
//! POST /quiz/{placement}/{attempt}/save     keep what was typed, pressed by the pupil or sent by the page's script
//! POST /quiz/{placement}/{attempt}/submit   hand in
//! GET  /quiz/{placement}/practice           after the last attempt: ungraded questions of the kinds that were not right
//! POST /quiz/{placement}/practice           what the answers came to
//! ```
//!
//! A quiz is shown whole or one question at a time (`shown.rs`); in both what is typed travels in the same fields, and
//! a field that a page does not have leaves what is stored alone.
//!
//! Every address runs only for the pupil who was launched into that placement, and an attempt only for its owner.
//! Answers, predictions, receipts and seeds never reach a page before the attempt is closed: the page of an open
//! attempt is made from [`qbank::question::Step`]s by `open_view` alone, which does not read those fields.

mod at_quiz;
pub(crate) mod attempt;
mod fields;
mod open_view;
pub(crate) mod practice;
pub(crate) mod save;
mod shown;
pub(crate) mod start;
pub(crate) mod submit;

use actix_web::HttpResponse;
use jiff::Timestamp;

use super::answer::{self, PageError};
use super::opened_quiz::OpenedQuiz;
use crate::app::App;
use crate::closing;
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptResult};
use crate::texts::Texts;

/// Where an open attempt leads whose quiz is over: what was saved is handed in, and the result says so. None while
/// answers are taken, and for attempts that are closed.
async fn too_late(
    app: &App,
    session: &PupilSession,
    quiz: &OpenedQuiz,
    attempt: &Attempt,
) -> Result<Option<HttpResponse>, PageError> {
    let ended = closing::closed_since(&quiz.placement, app.clock.now());
    let Some(ended) = ended.filter(|_| attempt.result.is_none()) else { return Ok(None) };
    closing::hand_in_saved(app, quiz, attempt, ended, session.preview).await?;
    Ok(Some(answer::see_other(&format!("{}?ended=yes", attempt_path(attempt)))))
}

fn start_path(quiz: &OpenedQuiz) -> String {
    format!("/quiz/{}", quiz.placement.id)
}

fn attempt_path(attempt: &Attempt) -> String {
    format!("/quiz/{}/{}", attempt.placement, attempt.id)
}

/// What these pages say, in the language of the questions.
fn texts(quiz: &OpenedQuiz) -> &'static Texts {
    Texts::of(&quiz.pool.locale)
}

/// A time of the quiz in the pupil's language.
fn told(app: &App, quiz: &OpenedQuiz, time: Timestamp) -> String {
    let zone = quiz.placement.quiz.windows.zone.as_ref().unwrap_or(&app.settings.time_zone);
    texts(quiz).date_time(time, zone)
}

/// "Attempt 1 of 3".
fn attempt_of(quiz: &OpenedQuiz, attempt: &Attempt) -> String {
    let allowed = quiz.placement.quiz.attempts_allowed;
    texts(quiz).counting("quiz-attempt-of", [("number", attempt.number), ("allowed", allowed)])
}

/// A message that tells the points of a result.
fn told_points(texts: &Texts, message: &str, result: &AttemptResult) -> String {
    texts.with(message, &[("points", result.points.into()), ("maximum", result.maximum.into())])
}

/// What happens with the points, in one sentence.
fn gradebook_sentence(quiz: &OpenedQuiz, session: &PupilSession) -> String {
    texts(quiz).say(match (session.preview, quiz.sends_grades()) {
        (true, _) => "quiz-gradebook-preview",
        (false, true) => "quiz-gradebook-best",
        (false, false) => "quiz-gradebook-none",
    })
}
