//! The class at one quiz.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::delivery_view;
use super::people::People;
use super::roster::{ClassList, class_list};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::marking_words;
use crate::handlers::opened_quiz::{OpenedQuiz, best};
use crate::pages::class::{AttemptLink, OverviewPage, PupilRow};
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::storage::{Attempt, AttemptResult, Delivery, Reading, UserId};
use crate::windows::Phase;

/// GET: pupils by best points, with attempts and the state of each grade, and who has not started.
pub(crate) async fn show(session: TeacherSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let class = class_list(&app, &quiz.placement).await?;
    let attempts = app.storage.attempts_at(&quiz.placement.id).await?;
    let deliveries = app.storage.deliveries_at(&quiz.placement.id).await?;
    let reading = app.storage.reading_of(&quiz.placement.id).await?;
    let page = page(&app, &quiz, &session, &class, &attempts, &deliveries, reading.as_ref());
    answer::page(StatusCode::OK, &page)
}

fn page(
    app: &App,
    quiz: &OpenedQuiz,
    session: &TeacherSession,
    class: &ClassList,
    attempts: &[Attempt],
    deliveries: &[Delivery],
    reading: Option<&Reading>,
) -> OverviewPage {
    let people = People::of(class, attempts);
    let by_pupil = rows(quiz, &people, attempts, deliveries);
    OverviewPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Class, quiz.title()).wide(),
        pool: quiz.pool.title.clone(),
        question_count: u32::try_from(quiz.questions("").len()).unwrap_or(u32::MAX),
        attempts_allowed: quiz.placement.quiz.attempts_allowed.to_string(),
        open: open_words(app, quiz),
        times: (!quiz.placement.quiz.windows.named_by_platform())
            .then(|| format!("/class/{}/times", session.placement)),
        marking: marking_words::policy(quiz.placement.quiz.policy),
        handed_in: people.handed_in(attempts),
        class_list: class.words(|time| quiz.told(app, time)),
        read_again: class.roster.as_ref().map(|_| format!("/class/{}/roster", session.placement)),
        not_started: people.not_started(),
        warning: (!quiz.sends_grades()).then_some(
            "The course does not take grades for this quiz, so none are sent. Points stay visible here.",
        ),
        class_url: format!("/class/{}", session.placement),
        gradebook: delivery_view::gradebook(quiz, deliveries, reading),
        csrf: session.csrf.value().to_owned(),
        pupils: by_pupil.into_iter().map(|(_, row)| row).collect(),
    }
}

/// When pupils can work on the quiz.
fn open_words(app: &App, quiz: &OpenedQuiz) -> String {
    let windows = &quiz.placement.quiz.windows;
    let told = |time| quiz.told(app, time);
    let times = match (windows.opens_at().map(told), windows.closes_at().map(told)) {
        (None, None) => return "at any time".into(),
        (Some(opens), None) => format!("from {opens}"),
        (None, Some(closes)) => format!("until {closes}"),
        (Some(opens), Some(closes)) => format!("from {opens} until {closes}"),
    };
    match windows.phase(app.clock.now()) {
        Phase::Early { .. } => format!("not yet: {times}"),
        Phase::Open { .. } => times,
        Phase::Over { .. } => format!("not any more: {times}"),
    }
}

/// The pupils with their best result, best share of points first, then by label.
fn rows<'a>(
    quiz: &OpenedQuiz,
    people: &People<'_>,
    attempts: &'a [Attempt],
    deliveries: &'a [Delivery],
) -> Vec<(Option<&'a AttemptResult>, PupilRow)> {
    let mut by_pupil: BTreeMap<&UserId, Vec<&Attempt>> = BTreeMap::new();
    for attempt in attempts {
        by_pupil.entry(&attempt.user).or_default().push(attempt);
    }
    // A pupil whose work was reset has no attempts, but a cell in the gradebook.
    for delivery in deliveries {
        by_pupil.entry(&delivery.user).or_default();
    }
    let mut rows: Vec<_> = by_pupil
        .into_iter()
        .map(|(user, attempts)| {
            let best = best(attempts.iter().copied());
            let delivery = deliveries.iter().find(|delivery| &delivery.user == user);
            (best, row(quiz, people, user, &attempts, best, delivery))
        })
        .collect();
    rows.sort_by(|(one, one_row), (other, other_row)| {
        share(*other).cmp(&share(*one)).then_with(|| one_row.label.cmp(&other_row.label))
    });
    rows
}

/// Points per million possible, for sorting only.
fn share(best: Option<&AttemptResult>) -> Option<u64> {
    best.map(|best| u64::from(best.points) * 1_000_000 / u64::from(best.maximum.max(1)))
}

fn row(
    quiz: &OpenedQuiz,
    people: &People<'_>,
    user: &UserId,
    attempts: &[&Attempt],
    best: Option<&AttemptResult>,
    delivery: Option<&Delivery>,
) -> PupilRow {
    PupilRow {
        label: people.label(user),
        subject: user.to_string(),
        mark: people.mark(user),
        best: best.map_or_else(
            || "not handed in yet".into(),
            |best| format!("{} of {}", best.points, best.maximum),
        ),
        attempts: attempts.iter().map(|attempt| attempt_link(attempt)).collect(),
        can_reset: !attempts.is_empty(),
        delivery: delivery_view::of_pupil(quiz, best.is_some(), delivery),
    }
}

fn attempt_link(attempt: &Attempt) -> AttemptLink {
    match &attempt.result {
        Some(result) => AttemptLink {
            text: format!("{}: {} of {}", attempt.number, result.points, result.maximum),
            url: Some(format!("/class/{}/{}", attempt.placement, attempt.id)),
        },
        None => AttemptLink { text: format!("{}: open", attempt.number), url: None },
    }
}
