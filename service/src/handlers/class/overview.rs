//! The class at one quiz: who needs what, pupils by questions, and who has not started.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use fluent_bundle::FluentValue;

use super::map::map;
use super::needs::needs;
use super::people::People;
use super::roster::class_list;
use super::views;
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marking_words;
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::class::OverviewPage;
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::texts::{ReaderTexts, Texts};
use crate::windows::Phase;

/// GET: what four minutes between two lessons are enough for.
pub(crate) async fn show(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let class = class_list(&app, &quiz.placement).await?;
    let attempts = app.storage.attempts_at(&quiz.placement.id).await?;
    let people = People::of(texts, &class, &attempts);
    let placed = &quiz.placement.quiz;
    let page = OverviewPage {
        frame: Frame::new(texts, Place::Class, quiz.title()).wide().with_languages(),
        views: views(&session, "needs"),
        pool: quiz.pool.title.clone(),
        question_count: u32::try_from(quiz.questions("").len()).unwrap_or(u32::MAX),
        attempts_allowed: placed.attempts_allowed.to_string(),
        open: open_words(texts, &app, &quiz),
        times: (!placed.windows.named_by_platform()).then(|| format!("/class/{}/times", session.placement)),
        marking: marking_words::policy(texts, placed.policy),
        warning: (!quiz.sends_grades()).then(|| texts.say("class-no-grades-taken")),
        handed_in: people.handed_in(&attempts),
        any_handed_in: attempts.iter().any(|attempt| attempt.result.is_some()),
        needs: needs(texts, &quiz, &people, &attempts).await?,
        map: map(texts, &people, &attempts)?,
        class_list: class.words(texts, |time| texts.date_time(time, quiz.zone(&app))),
        read_again: class.roster.as_ref().map(|_| format!("/class/{}/roster", session.placement)),
        not_started: people.not_started(),
        csrf: session.csrf.value().to_owned(),
    };
    answer::page(StatusCode::OK, &page)
}

/// When pupils can work on the quiz.
fn open_words(texts: &Texts, app: &App, quiz: &OpenedQuiz) -> String {
    let windows = &quiz.placement.quiz.windows;
    let told = |time| FluentValue::from(texts.date_time(time, quiz.zone(app)));
    let phase = windows.phase(app.clock.now());
    match (windows.opens_at().map(told), windows.closes_at().map(told)) {
        (None, None) => texts.say("class-open-always"),
        (Some(opens), None) => {
            let early = matches!(phase, Phase::Early { .. });
            texts.with(if early { "class-not-yet-from" } else { "class-open-from" }, &[("opens", opens)])
        }
        (None, Some(closes)) => {
            let over = matches!(phase, Phase::Over { .. });
            texts.with(if over { "class-over-until" } else { "class-open-until" }, &[("closes", closes)])
        }
        (Some(opens), Some(closes)) => {
            let id = match phase {
                Phase::Early { .. } => "class-not-yet-between",
                Phase::Open { .. } => "class-open-between",
                Phase::Over { .. } => "class-over-between",
            };
            texts.with(id, &[("opens", opens), ("closes", closes)])
        }
    }
}
