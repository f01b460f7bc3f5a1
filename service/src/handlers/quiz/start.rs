//! The start page, and beginning an attempt.

use std::collections::BTreeSet;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::at_quiz::AtQuiz;
use super::practice;
use super::{attempt_path, fields, gradebook_sentence, start_path, texts, told, told_points, too_late};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::{OpenedQuiz, best};
use crate::pages::quiz::{Next, StartPage};
use crate::pages::{Frame, Link, Place};
use crate::session::PupilSession;
use crate::storage::{Announce, Attempt, AttemptResult, Started};
use crate::texts::Texts;
use crate::windows::Phase;

/// How many seeds are tried for a new attempt, to find one whose questions are new to the pupil.
const SEEDS_TRIED: usize = 16;

/// GET: what the quiz is and what can be done now.
pub(crate) async fn show(
    AtQuiz { session, quiz, mut attempts }: AtQuiz,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    if let Some(open) = attempts.iter().find(|attempt| attempt.result.is_none())
        && too_late(&app, &session, &quiz, open).await?.is_some()
    {
        attempts = app.storage.attempts_of(&quiz.placement.id, &session.user).await?;
    }
    answer::page(StatusCode::OK, &page(&app, &quiz, &session, &attempts, None)?)
}

/// POST: the open attempt, or a new one.
pub(crate) async fn begin(
    AtQuiz { session, quiz, attempts: earlier }: AtQuiz,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    if !matches!(quiz.placement.quiz.windows.phase(app.clock.now()), Phase::Open { .. }) {
        let notice = Some("quiz-not-started-closed");
        return answer::page(StatusCode::CONFLICT, &page(&app, &quiz, &session, &earlier, notice)?);
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
            let notice = Some("quiz-not-started-used");
            answer::page(StatusCode::CONFLICT, &page(&app, &quiz, &session, &earlier, notice)?)
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

/// The page, with a message about what just happened.
fn page(
    app: &App,
    quiz: &OpenedQuiz,
    session: &PupilSession,
    attempts: &[Attempt],
    notice: Option<&'static str>,
) -> Result<StartPage, PageError> {
    let texts = texts(quiz);
    let allowed = quiz.placement.quiz.attempts_allowed;
    let closed = attempts.iter().filter_map(|attempt| Some((attempt, attempt.result.as_ref()?)));
    let used = [("used", attempts.len().into()), ("allowed", allowed.into())];
    let follows = quiz.placement.quiz.policy.follow_through;
    Ok(StartPage {
        frame: Frame::of_locale(&quiz.pool.locale, Place::Quiz, quiz.title()),
        notice: notice.map(|message| texts.say(message)),
        welcome: texts.say(if attempts.is_empty() { "quiz-welcome" } else { "quiz-welcome-again" }),
        question_count: quiz.questions("").len(),
        attempts: texts.with("quiz-attempts-used", &used),
        later_steps: texts.say(if follows { "quiz-later-own" } else { "quiz-later-right" }),
        until: quiz.placement.quiz.windows.closes_at().map(|closes| told(app, quiz, closes)),
        best: best(attempts).map(|best| told_points(texts, "quiz-points-of", best)),
        gradebook: gradebook_sentence(quiz, session),
        next: next(app, quiz, attempts)?,
        csrf: session.csrf.value().to_owned(),
        finished: closed.map(|(attempt, result)| finished_link(texts, attempt, result)).collect(),
    })
}

fn next(app: &App, quiz: &OpenedQuiz, attempts: &[Attempt]) -> Result<Next, PageError> {
    let time = |at| [("time", told(app, quiz, at).into())];
    let phase = quiz.placement.quiz.windows.phase(app.clock.now());
    if let Phase::Early { opens } = phase {
        return Ok(Next::NotYet(texts(quiz).with("quiz-not-yet-opens", &time(opens))));
    }
    // An attempt that is open after the end is in its minute of grace: it can still be handed in.
    if let Some(open) = attempts.iter().find(|attempt| attempt.result.is_none()) {
        return Ok(Next::Resume { url: attempt_path(open), saved: saved(quiz, open) });
    }
    if let Phase::Over { closed } = phase {
        return Ok(Next::Over(texts(quiz).with("quiz-over-closed", &time(closed))));
    }
    let used = u32::try_from(attempts.len()).unwrap_or(u32::MAX);
    Ok(if used < quiz.placement.quiz.attempts_allowed {
        Next::Start { action: start_path(quiz), again: !attempts.is_empty() }
    } else {
        Next::Finished { practice: practice::offered(app, quiz, attempts)? }
    })
}

/// How many answers of an open attempt are there.
fn saved(quiz: &OpenedQuiz, open: &Attempt) -> String {
    let questions = quiz.questions(&open.seed);
    let asked = fields::all(&questions).count();
    let answered = fields::all(&questions)
        .filter(|(_, item, step)| !fields::is_empty(step, fields::stored(&open.responses, item, step)))
        .count();
    let counts = [("number", open.number.into()), ("answered", answered.into()), ("asked", asked.into())];
    texts(quiz).with("quiz-resume-saved", &counts)
}

fn finished_link(texts: &Texts, attempt: &Attempt, result: &AttemptResult) -> Link {
    let variables = [
        ("number", attempt.number.into()),
        ("points", result.points.into()),
        ("maximum", result.maximum.into()),
    ];
    Link { url: attempt_path(attempt), text: texts.with("quiz-handed-in-points", &variables) }
}

/// A random seed; of several, the one that repeats the fewest questions of the pupil's earlier attempts.
fn fresh_seed(quiz: &OpenedQuiz, earlier: &[Attempt]) -> String {
    let drawn = |seed: &str| -> BTreeSet<String> {
        quiz.questions(seed).into_iter().map(|item| item.id.to_string()).collect()
    };
    let seen: BTreeSet<String> = earlier.iter().flat_map(|attempt| drawn(&attempt.seed)).collect();
    let seeds = std::iter::repeat_with(entropy::identifier);
    let tried = if seen.is_empty() { 1 } else { SEEDS_TRIED };
    seeds
        .take(tried)
        .min_by_key(|seed| drawn(seed).intersection(&seen).count())
        .expect("at least one seed is tried")
}
