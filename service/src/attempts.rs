//! Closing attempts and handing them in.
//!
//! Marking is done by the caller; here the marks are stored, the grade is queued in the same step, and the delivery
//! worker is woken.

use crate::app::App;
use crate::storage::{
    Attempt, AttemptResult, HandIn, HandedIn, Responses, StorageError, Submission, Submitted,
};

/// Hands in an attempt of so many questions and queues the pupil's best grade. Handing in twice changes nothing.
///
/// # Errors
/// When the store fails; nothing has changed then.
pub(crate) async fn hand_in(app: &App, hand_in: HandIn, questions: usize) -> Result<HandedIn, StorageError> {
    let handed_in = app.storage.hand_in(hand_in).await?;
    if let HandedIn::Closed(attempt) = &handed_in {
        note(app, attempt, questions);
    }
    Ok(handed_in)
}

/// Closes an attempt of so many questions with what it comes to, with or without a grade.
///
/// # Errors
/// As [`hand_in`].
pub(crate) async fn close(
    app: &App,
    attempt: &Attempt,
    responses: Responses,
    result: AttemptResult,
    questions: usize,
    deliver: bool,
) -> Result<Submitted, StorageError> {
    let submission =
        Submission { attempt: attempt.id.clone(), responses, result, deliver, at: app.clock.now() };
    let submitted = app.storage.submit_attempt(submission).await?;
    if let Submitted::Closed(attempt) = &submitted {
        note(app, attempt, questions);
    }
    Ok(submitted)
}

/// Tells those who run the service, and the delivery worker.
fn note(app: &App, attempt: &Attempt, questions: usize) {
    app.metrics.submitted(u64::try_from(questions).unwrap_or(u64::MAX));
    app.waker.wake();
    tracing::info!(attempt = %attempt.id, placement = %attempt.placement, "an attempt was submitted");
}
