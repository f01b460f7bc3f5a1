//! Handing in: every question is marked, the attempt closes and the grade is queued in one step of the store.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::fields::Typed;
use super::{AttemptPath, attempt_path, open_view, own_attempt, too_late};
use crate::app::App;
use crate::attempts;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::quiz::Notice;
use crate::session::PupilSession;
use crate::storage::Submitted;

/// POST: hands in, unless an answer is too long, or some are empty and the pupil has not said that this is meant.
/// Handing in a closed attempt again changes nothing and shows its result. After the quiz's end what was saved counts.
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
    let typed = Typed::read(&fields, &quiz.questions(&attempt.seed));
    if let Some(notice) = stop(&typed, fields.value("allow_empty") == "yes") {
        app.storage.save_responses(&attempt.id, &typed.storable()).await?;
        let page = open_view::page(&app, &quiz, &session, &attempt, &typed, notice);
        return answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page);
    }
    let responses = typed.storable();
    let marks = quiz.marked(&attempt, &responses);
    match attempts::submit(&app, &session, &attempt.id, responses, &marks).await? {
        Submitted::Closed(attempt) | Submitted::AlreadyClosed(attempt) => {
            Ok(answer::see_other(&attempt_path(&attempt)))
        }
        Submitted::NoAttempt => Err(PageError::NotFound),
    }
}

/// Why handing in stops for once, if it does.
fn stop(typed: &Typed, empty_is_meant: bool) -> Option<Notice> {
    if !typed.too_long.is_empty() {
        return Some(Notice::TooLong { fields: typed.too_long_links.clone() });
    }
    (!empty_is_meant && !typed.empty.is_empty()).then(|| Notice::Empty { fields: typed.empty.clone() })
}
