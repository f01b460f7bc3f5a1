//! One attempt: its questions while it is open, its result once it was handed in.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use serde::Deserialize;

use super::at_quiz::AtAttempt;
use super::fields::Typed;
use super::open_view::OpenView;
use super::practice;
use super::shown::Shown;
use super::{attempt_of, gradebook_sentence, start_path, texts, told_points, too_late};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marked_view::{self, Reader};
use crate::handlers::opened_quiz::{OpenedQuiz, best, marks};
use crate::handlers::overrides_view;
use crate::pages::quiz::{After, Notice, ResultPage};
use crate::pages::{Frame, Place};
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptResult};
use crate::windows::Phase;

/// What the address may say beyond the attempt.
#[derive(Debug, Deserialize)]
pub(crate) struct Arrival {
    /// Which question, where they are shown one at a time.
    question: Option<String>,
    /// Present after answers were saved.
    saved: Option<String>,
    /// Present after the service handed in what was saved, because the quiz is over.
    ended: Option<String>,
}

/// GET: the questions or the result.
pub(crate) async fn show(
    AtAttempt { session, quiz, attempt }: AtAttempt,
    app: web::Data<App>,
    arrival: web::Query<Arrival>,
) -> Result<HttpResponse, PageError> {
    if let Some(ended) = too_late(&app, &session, &quiz, &attempt).await? {
        return Ok(ended);
    }
    let Some(result) = &attempt.result else {
        let asked = arrival.question.as_deref().unwrap_or_default();
        let layout = quiz.placement.quiz.layout;
        let questions = quiz.questions(&attempt.seed);
        let view = OpenView {
            app: &app,
            quiz: &quiz,
            session: &session,
            attempt: &attempt,
            questions: &questions,
            typed: &Typed::default(),
            shown: Shown::read(layout, asked, &attempt, &questions),
        };
        let notice = if arrival.saved.is_some() { Notice::Saved } else { Notice::None };
        return view.answer(StatusCode::OK, notice);
    };
    let page = ResultPage {
        notice: arrival.ended.as_ref().map(|_| texts(&quiz).say("quiz-ended")),
        ..result_page(&app, &quiz, &session, &attempt, result).await?
    };
    answer::page_with_script(StatusCode::OK, &page)
}

/// What can follow after these attempts.
fn after(app: &App, quiz: &OpenedQuiz, attempts: &[Attempt]) -> Result<After, PageError> {
    let no_more = |message| {
        let practice = practice::offered(app, quiz, attempts)?;
        Ok(After::NoMore { why: texts(quiz).say(message), practice })
    };
    match quiz.placement.quiz.windows.phase(app.clock.now()) {
        Phase::Open { .. } if attempts.len() < quiz.placement.quiz.attempts_allowed as usize => {
            Ok(After::Again { action: start_path(quiz) })
        }
        Phase::Open { .. } => no_more("quiz-no-more"),
        Phase::Early { .. } | Phase::Over { .. } => no_more("quiz-no-more-closed"),
    }
}

async fn result_page(
    app: &App,
    quiz: &OpenedQuiz,
    session: &PupilSession,
    attempt: &Attempt,
    result: &AttemptResult,
) -> Result<ResultPage, PageError> {
    let texts = texts(quiz);
    let all = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
    let title = texts.with("quiz-result-title", &[("title", quiz.title().into())]);
    let best = told_points(texts, "quiz-best", best(&all).unwrap_or(result));
    let mut questions = marked_view::questions(&quiz.pool, &marks(result)?, Reader::Pupil);
    overrides_view::tell(texts, "class-points-changed", &mut questions, result)?;
    Ok(ResultPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, title),
        progress: attempt_of(quiz, attempt),
        attempt: attempt.id.to_string(),
        points: result.points,
        points_max: texts.with("quiz-score-of", &[("maximum", result.maximum.into())]),
        gradebook: format!("{best} {}", gradebook_sentence(quiz, session)),
        notice: None,
        after: after(app, quiz, &all)?,
        start_url: start_path(quiz),
        csrf: session.csrf.value().to_owned(),
        whose: texts.say("quiz-your-answer"),
        questions,
    })
}
