//! Keeping what was typed, without judging it.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::fields::Typed;
use super::{AttemptPath, attempt_path, open_view, own_attempt, too_late};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::quiz::Notice;
use crate::session::PupilSession;

/// POST: saves, then shows the attempt again. A closed attempt stays as it is and its result is shown; so does one whose
/// quiz is over.
pub(crate) async fn save(
    session: PupilSession,
    app: web::Data<App>,
    path: AttemptPath,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let quiz = OpenedQuiz::of_pupil(&app, &session).await?;
    let attempt = own_attempt(&app, &session, &path).await?;
    if let Some(late) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(late);
    }
    let typed = Typed::read(&fields, &quiz.questions(&attempt.seed));
    let open = app.storage.save_responses(&attempt.id, &typed.storable()).await?;
    if !open {
        return Ok(answer::see_other(&attempt_path(&attempt)));
    }
    if typed.too_long.is_empty() {
        return Ok(answer::see_other(&format!("{}?saved=yes", attempt_path(&attempt))));
    }
    let notice = Notice::TooLong { fields: typed.too_long_links.clone() };
    let page = open_view::page(&app, &quiz, &session, &attempt, &typed, notice);
    answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
}
