//! Handing in: every question is marked, the attempt closes and the grade is queued in one step of the store.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::question::Item;

use super::fields::Typed;
use super::open_view::{self, OpenView};
use super::shown::Shown;
use super::{AttemptPath, attempt_path, own_attempt, texts, too_late};
use crate::app::App;
use crate::attempts;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::quiz::Notice;
use crate::session::PupilSession;
use crate::storage::{Attempt, Submitted};
use crate::typing::Kept;

/// POST: keeps what the form brings and hands in all that is stored, unless an answer is too long, a newer one is
/// stored, or some are empty and the pupil has not said that this is meant. Handing in a closed attempt again changes
/// nothing and shows its result. After the quiz's end what was saved counts.
pub(crate) async fn submit(
    session: PupilSession,
    app: web::Data<App>,
    path: AttemptPath,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let quiz = OpenedQuiz::of_pupil(&app, &session).await?;
    let attempt = own_attempt(&app, &session, &path).await?;
    if attempt.result.is_some() {
        return Ok(answer::see_other(&attempt_path(&attempt)));
    }
    if let Some(late) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(late);
    }
    let questions = quiz.questions(&attempt.seed);
    let typed = Typed::read(&fields, &questions);
    let Some(kept) = app.storage.keep_typing(&attempt.id, &typed.typing(&fields)).await? else {
        return Ok(answer::see_other(&attempt_path(&attempt)));
    };
    let shown = Shown::of_handing_in(quiz.placement.quiz.layout);
    let empty_is_meant = fields.value("allow_empty") == "yes";
    if let Some(notice) = stop(&quiz, &questions, &typed, &kept, shown, empty_is_meant) {
        let attempt = Attempt { responses: kept.responses, revision: kept.revision, ..attempt };
        let view =
            OpenView { app: &app, quiz: &quiz, session: &session, attempt: &attempt, typed: &typed, shown };
        return view.answer(StatusCode::UNPROCESSABLE_ENTITY, notice);
    }
    let marks = quiz.marked(&attempt, &kept.responses);
    match attempts::submit(&app, &session, &attempt.id, kept.responses, &marks).await? {
        Submitted::Closed(attempt) | Submitted::AlreadyClosed(attempt) => {
            Ok(answer::see_other(&attempt_path(&attempt)))
        }
        Submitted::NoAttempt => Err(PageError::NotFound),
    }
}

/// Why handing in stops for once, if it does.
fn stop(
    quiz: &OpenedQuiz,
    questions: &[&Item],
    typed: &Typed,
    kept: &Kept,
    shown: Shown,
    empty_is_meant: bool,
) -> Option<Notice> {
    open_view::refused(quiz, questions, typed, &kept.refused, shown).or_else(|| {
        let fields = open_view::empty_fields(texts(quiz), questions, &kept.responses, shown);
        // A text that is too long is not stored, and not empty either; it was told before.
        (!empty_is_meant && !fields.is_empty()).then_some(Notice::Empty { fields })
    })
}
