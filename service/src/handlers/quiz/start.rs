//! The start page, and beginning an attempt.

use std::collections::BTreeSet;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::{attempt_path, gradebook_sentence, start_path, too_late};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::marking_words;
use crate::handlers::opened_quiz::{OpenedQuiz, best, counted};
use crate::pages::quiz::{Next, StartPage};
use crate::pages::{Frame, Link, Place};
use crate::session::PupilSession;
use crate::storage::{Announce, Attempt, Started};
use crate::windows::Phase;

/// How many seeds are tried for a new attempt, to find one whose questions are new to the pupil.
const SEEDS_TRIED: usize = 16;

/// GET: what the quiz is and what can be done now.
pub(crate) async fn show(session: PupilSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::of_pupil(&app, &session).await?;
    let mut attempts = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
    if let Some(open) = attempts.iter().find(|attempt| attempt.result.is_none())
        && too_late(&app, &session, &quiz, open).await?.is_some()
    {
        attempts = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
    }
    answer::page(StatusCode::OK, &page(&app, &quiz, &session, &attempts, None))
}

/// POST: the open attempt, or a new one.
pub(crate) async fn begin(
    session: PupilSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    let quiz = OpenedQuiz::of_pupil(&app, &session).await?;
    let earlier = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
    if !matches!(quiz.placement.quiz.windows.phase(app.clock.now()), Phase::Open { .. }) {
        let notice = Some("No attempt was started, because the quiz is not open now.");
        return answer::page(StatusCode::CONFLICT, &page(&app, &quiz, &session, &earlier, notice));
    }
    let seed = fresh_seed(&quiz, &earlier);
    let announce = announce(&quiz, &session, &seed);
    let started = app
        .storage
        .start_attempt(&quiz.placement.id, &session.user, &seed, announce, app.clock.now())
        .await?;
    app.waker.wake();
    match started {
        Started::Open(attempt) => Ok(answer::see_other(&attempt_path(&attempt))),
        Started::UsedUp => {
            let notice = Some("All attempts are used, so no new one was started.");
            answer::page(StatusCode::CONFLICT, &page(&app, &quiz, &session, &earlier, notice))
        }
        Started::NoPlacement => Err(PageError::NotFound),
    }
}

/// Whether the gradebook hears that the pupil begins.
fn announce(quiz: &OpenedQuiz, session: &PupilSession, seed: &str) -> Announce {
    if session.preview || !quiz.sends_grades() {
        return Announce::Nothing;
    }
    Announce::Begun { maximum: quiz.questions(seed).iter().map(|item| item.max_points()).sum() }
}

fn page(
    app: &App,
    quiz: &OpenedQuiz,
    session: &PupilSession,
    attempts: &[Attempt],
    notice: Option<&'static str>,
) -> StartPage {
    let allowed = quiz.placement.quiz.attempts_allowed;
    let closed = attempts.iter().filter(|attempt| attempt.result.is_some());
    StartPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, quiz.title()),
        notice,
        welcome: if attempts.is_empty() {
            "These questions have numbers of your own. Take your time; you can save and come back."
        } else {
            "Good to see you again."
        },
        question_count: u32::try_from(quiz.questions("").len()).unwrap_or(u32::MAX),
        attempts: format!("{} of {allowed} used", attempts.len()),
        later_steps: marking_words::for_pupils(quiz.placement.quiz.policy),
        until: quiz.placement.quiz.windows.closes_at().map(|closes| quiz.told(app, closes)),
        best: best(attempts).map(|best| format!("{} of {}", best.points, counted(best.maximum, "point"))),
        gradebook: gradebook_sentence(quiz, session),
        next: next(app, quiz, attempts),
        start_text: if attempts.is_empty() { "Start" } else { "Try again with new numbers" },
        csrf: session.csrf.value().to_owned(),
        finished: closed.filter_map(finished_link).collect(),
    }
}

fn next(app: &App, quiz: &OpenedQuiz, attempts: &[Attempt]) -> Next {
    let phase = quiz.placement.quiz.windows.phase(app.clock.now());
    if let Phase::Early { opens } = phase {
        return Next::NotYet { opens: quiz.told(app, opens) };
    }
    // An attempt that is open after the end is in its minute of grace: it can still be handed in.
    if let Some(open) = attempts.iter().find(|attempt| attempt.result.is_none()) {
        let answered = open.responses.values().flat_map(|steps| steps.values());
        let answered = answered.filter(|typed| !typed.trim().is_empty()).count();
        let asked: usize = quiz.questions(&open.seed).iter().map(|item| item.steps.len()).sum();
        return Next::Resume {
            url: attempt_path(open),
            saved: format!("Your attempt {} is open: {answered} of {asked} answers are saved.", open.number),
        };
    }
    if let Phase::Over { closed } = phase {
        return Next::Over { closed: quiz.told(app, closed) };
    }
    let used = u32::try_from(attempts.len()).unwrap_or(u32::MAX);
    if used < quiz.placement.quiz.attempts_allowed {
        Next::Start { action: start_path(quiz) }
    } else {
        Next::Finished
    }
}

fn finished_link(attempt: &Attempt) -> Option<Link> {
    let result = attempt.result.as_ref()?;
    let points = counted(result.maximum, "point");
    let text = format!("Attempt {}: {} of {points}", attempt.number, result.points);
    Some(Link { url: attempt_path(attempt), text })
}

/// A random seed; of several, the one that repeats the fewest questions of the pupil's earlier attempts.
fn fresh_seed(quiz: &OpenedQuiz, earlier: &[Attempt]) -> String {
    let drawn = |seed: &str| -> BTreeSet<String> {
        quiz.questions(seed).into_iter().map(|item| item.id.clone()).collect()
    };
    let seen: BTreeSet<String> = earlier.iter().flat_map(|attempt| drawn(&attempt.seed)).collect();
    let seeds = std::iter::repeat_with(entropy::identifier);
    let tried = if seen.is_empty() { 1 } else { SEEDS_TRIED };
    seeds
        .take(tried)
        .min_by_key(|seed| drawn(seed).intersection(&seen).count())
        .expect("at least one seed is tried")
}
