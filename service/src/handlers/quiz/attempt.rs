//! One attempt: its questions while it is open, its result once it was handed in.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use serde::Deserialize;

use super::fields::Typed;
use super::{AttemptPath, gradebook_sentence, open_view, own_attempt, start_path};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::opened_quiz::{OpenedQuiz, best, counted, marks};
use crate::pages::Frame;
use crate::pages::quiz::{Notice, ResultPage};
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptResult};

/// What the address may say beyond the attempt.
#[derive(Debug, Deserialize)]
pub(crate) struct Arrival {
    /// Present after answers were saved.
    saved: Option<String>,
}

/// GET: the questions or the result.
pub(crate) async fn show(
    session: PupilSession,
    app: web::Data<App>,
    path: AttemptPath,
    arrival: web::Query<Arrival>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let attempt = own_attempt(&app, &session, &path).await?;
    match &attempt.result {
        Some(result) => {
            let all = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
            answer::page(StatusCode::OK, &result_page(&quiz, &session, &attempt, result, &all)?)
        }
        None => {
            let notice = if arrival.saved.is_some() { Notice::Saved } else { Notice::None };
            let typed = Typed { all: attempt.responses.clone(), ..Typed::default() };
            answer::page(StatusCode::OK, &open_view::page(&quiz, &session, &attempt, &typed, notice))
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
    Ok(ResultPage {
        frame: Frame {
            language: quiz.pool.locale.clone(),
            title: format!("{}: your result", quiz.title()),
            place: "Quiz",
            wide: false,
        },
        progress: format!("Attempt {} of {allowed}", attempt.number),
        points: result.points,
        points_max: result.maximum,
        gradebook: format!("{best} {}", gradebook_sentence(quiz, session)),
        again: left.then(|| start_path(quiz)),
        start_url: start_path(quiz),
        csrf: session.csrf.value().to_owned(),
        whose: "Your answer:",
        questions: marked_view::questions(&quiz.pool, &marks(result)?, Reader::Pupil),
    })
}
