//! The end of a quiz: open attempts are handed in by the service with what was saved, so that nothing is lost.
//!
//! What a pupil sends within a minute after the end still counts: a slow line or a slow clock must not cost an
//! answer. After that the saved answers are marked and the grade goes out as if the pupil had handed in at the end;
//! answers that were never saved are not known. This happens when anybody opens a page of the attempt, and for all
//! others by a worker. An attempt of a preview user is closed without a grade.

use std::time::Duration;

use actix_web::web;
use jiff::Timestamp;
use tokio::sync::watch;

use crate::app::App;
use crate::attempts;
use crate::clock::plus_ms;
use crate::handlers::OpenedQuiz;
use crate::handlers::answer::PageError;
use crate::storage::{Attempt, OverdueAttempt, Placement, StorageError, Submitted};
use crate::windows::Phase;

/// How long after the end answers are still taken.
const GRACE_MS: i64 = 60 * 1000;
/// How often the worker looks for attempts that were left open.
const LOOK_EVERY: Duration = Duration::from_secs(20);
/// How many attempts are closed between two looks at the store.
const BATCH: usize = 64;

/// Since when a placement takes no answers any more; none while it does.
pub(crate) fn closed_since(placement: &Placement, now: Timestamp) -> Option<Timestamp> {
    match placement.quiz.windows.phase(now) {
        Phase::Over { closed } if plus_ms(closed, GRACE_MS) <= now => Some(closed),
        _ => None,
    }
}

/// Hands in what was saved of an attempt whose quiz ended at `ended`.
pub(crate) async fn hand_in_saved(
    app: &App,
    quiz: &OpenedQuiz,
    attempt: &Attempt,
    ended: Timestamp,
    preview: bool,
) -> Result<(), StorageError> {
    // The platform may have moved the end to before the attempt began.
    let at = ended.max(attempt.started_at);
    let questions = quiz.questions(&attempt.seed);
    let result = quiz.result(&questions, attempt, &attempt.responses, at);
    let responses = attempt.responses.clone();
    let closed = attempts::close(app, attempt, responses, result, questions.len(), !preview).await?;
    if matches!(closed, Submitted::Closed(_)) {
        tracing::info!(attempt = %attempt.id, placement = %attempt.placement, "an attempt was closed at its quiz's end");
    }
    Ok(())
}

/// Closes all attempts whose quiz has ended. Returns how many.
///
/// # Errors
/// When the store cannot be read; one attempt that cannot be closed is logged and left for the next time.
pub async fn close_overdue(app: &App) -> Result<usize, StorageError> {
    let ended_before = plus_ms(app.clock.now(), -GRACE_MS);
    let overdue = app.storage.overdue_attempts(ended_before, BATCH).await?;
    let mut closed = 0;
    for OverdueAttempt { attempt, preview } in overdue {
        match close_one(app, &attempt, preview).await {
            Ok(()) => closed += 1,
            Err(error) => tracing::error!(%error, attempt = %attempt.id, "an attempt could not be closed"),
        }
    }
    Ok(closed)
}

async fn close_one(app: &App, attempt: &Attempt, preview: bool) -> Result<(), PageError> {
    let quiz = OpenedQuiz::find(app, &attempt.placement).await?;
    if let Some(ended) = closed_since(&quiz.placement, app.clock.now()) {
        hand_in_saved(app, &quiz, attempt, ended, preview).await?;
    }
    Ok(())
}

/// Looks for attempts that were left open until `stop` turns true.
pub(crate) async fn run(app: web::Data<App>, mut stop: watch::Receiver<bool>) {
    while !*stop.borrow() {
        match close_overdue(&app).await {
            Ok(closed) if closed == BATCH => continue,
            Ok(_) => {}
            Err(error) => tracing::error!(%error, "attempts that were left open could not be read"),
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK_EVERY) => {}
            _ = stop.changed() => {}
        }
    }
}
