//! One attempt: its questions while it is open, its result once it was handed in.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use serde::Deserialize;

use super::fields::Typed;
use super::{AttemptPath, gradebook_sentence, open_view, own_attempt, start_path, too_late};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::overrides_view;
use crate::texts::Texts;
use crate::handlers::opened_quiz::{OpenedQuiz, best, counted, marks};
use crate::pages::quiz::{Notice, ResultPage};
use crate::pages::{Frame, Place};
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptResult};
use crate::windows::Phase;

/// What a pupil reads who comes after the end with an attempt that was still open.
const ENDED: &str =
    "The quiz has ended. What you had saved was handed in for you, and it counts. Here is your result.";

/// What the address may say beyond the attempt.
#[derive(Debug, Deserialize)]
pub(crate) struct Arrival {
    /// Present after answers were saved.
    saved: Option<String>,
    /// Present after the service handed in what was saved, because the quiz is over.
    ended: Option<String>,
}

/// GET: the questions or the result.
pub(crate) async fn show(
    session: PupilSession,
    app: web::Data<App>,
    path: AttemptPath,
    arrival: web::Query<Arrival>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::of_pupil(&app, &session).await?;
    let attempt = own_attempt(&app, &session, &path).await?;
    if let Some(ended) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(ended);
    }
    match &attempt.result {
        Some(result) => {
            let all = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
            let mut page = result_page(&quiz, &session, &attempt, result, &all)?;
            if !matches!(quiz.placement.quiz.windows.phase(app.clock.now()), Phase::Open { .. }) {
                page.again = None;
                page.no_more = "The quiz does not take new attempts now.";
            }
            if arrival.ended.is_some() {
                page.notice = Some(ENDED);
            }
            answer::page(StatusCode::OK, &page)
        }
        None => {
            let notice = if arrival.saved.is_some() { Notice::Saved } else { Notice::None };
            let typed = Typed { all: attempt.responses.clone(), ..Typed::default() };
            answer::page(StatusCode::OK, &open_view::page(&app, &quiz, &session, &attempt, &typed, notice))
        }
    }
}

fn result_page(
    quiz: &OpenedQuiz,
    session: &PupilSession,
    attempt: &Attempt,
    result: &AttemptResult,
    all: &[Attempt],
) -> Result<ResultPage, PageError> {
    let allowed = quiz.placement.quiz.attempts_allowed;
    let left = u32::try_from(all.len()).unwrap_or(u32::MAX) < allowed;
    let best = best(all).unwrap_or(result);
    let best = format!("Your best so far: {} of {}.", best.points, counted(best.maximum, "point"));
    let mut questions = marked_view::questions(&quiz.pool, &marks(result)?, Reader::Pupil);
    let texts = Texts::of(&quiz.pool.locale);
    overrides_view::tell(texts, "class-points-changed", &mut questions, result)?;
    Ok(ResultPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, format!("{}: your result", quiz.title())),
        progress: format!("Attempt {} of {allowed}", attempt.number),
        points: result.points,
        points_max: result.maximum,
        gradebook: format!("{best} {}", gradebook_sentence(quiz, session)),
        again: left.then(|| start_path(quiz)),
        no_more: "This was your last attempt.",
        notice: None,
        start_url: start_path(quiz),
        csrf: session.csrf.value().to_owned(),
        whose: "Your answer:",
        questions,
    })
}
