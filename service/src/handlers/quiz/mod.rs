//! The pupil's pages under `/quiz/{placement}`.
//!
//! ```text
//! GET  /quiz/{placement}                    start: what the quiz is, attempts used, go on or begin
//! POST /quiz/{placement}                    begin an attempt
//! GET  /quiz/{placement}/{attempt}          the questions while open, the result once handed in
//! POST /quiz/{placement}/{attempt}/save     keep what was typed
//! POST /quiz/{placement}/{attempt}/submit   hand in
//! ```
//!
//! Every address runs only for the pupil who was launched into that placement, and an attempt only for its owner.
//! Answers, predictions, receipts and seeds never reach a page before the attempt is closed: the page of an open
//! attempt is made from [`qbank::question::Step`]s by `open_view` alone, which does not read those fields.

pub(crate) mod attempt;
mod fields;
mod open_view;
pub(crate) mod save;
pub(crate) mod start;
pub(crate) mod submit;

use actix_web::{HttpResponse, web};

use super::answer::{self, PageError};
use super::opened_quiz::OpenedQuiz;
use crate::app::App;
use crate::attempts;
use crate::closing;
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptId};

/// The path of an attempt: placement and attempt.
type AttemptPath = web::Path<(String, String)>;

/// The session's own attempt that the path names; another pupil's is as good as none.
async fn own_attempt(app: &App, session: &PupilSession, path: &AttemptPath) -> Result<Attempt, PageError> {
    let id = AttemptId::from(path.1.as_str());
    attempts::own(app, session, &id).await?.ok_or(PageError::NotFound)
}

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

/// What happens with the points, in one sentence.
fn gradebook_sentence(quiz: &OpenedQuiz, session: &PupilSession) -> &'static str {
    match (session.preview, quiz.sends_grades()) {
        (true, _) => "This is a preview: nothing goes to the gradebook.",
        (false, true) => "Your best attempt goes to the gradebook.",
        (false, false) => "Your teacher sees your points here; this course takes no grades from the quiz.",
    }
}
