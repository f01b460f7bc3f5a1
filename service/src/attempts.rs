//! Closing attempts: what one comes to, and handing it in.
//!
//! Marking is done by the caller; here the marks are stored, the grade is queued in the same step, and the delivery
//! worker is woken.

use jiff::Timestamp;
use qbank::grade::Grade;
use qbank::marking::Mark;

use crate::app::App;
use crate::storage::{
    Attempt, AttemptResult, HandIn, HandedIn, Responses, StorageError, Submission, Submitted,
};

/// What an attempt comes to with these marks.
pub(crate) fn result(marks: &[Mark], submitted_at: Timestamp) -> AttemptResult {
    let grade = Grade::of(marks);
    AttemptResult {
        submitted_at,
        marks: serde_json::to_string(marks).expect("mark records are plain and have text keys"),
        points: grade.given,
        maximum: grade.maximum,
        overrides: Vec::new(),
    }
}

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

/// Closes an attempt with the marks of its questions and the time at which it counts as handed in, with or without a grade.
///
/// # Errors
/// As [`hand_in`].
pub(crate) async fn close(
    app: &App,
    attempt: &Attempt,
    responses: Responses,
    marks: &[Mark],
    submitted_at: Timestamp,
    deliver: bool,
) -> Result<Submitted, StorageError> {
    let result = result(marks, submitted_at);
    let submission =
        Submission { attempt: attempt.id.clone(), responses, result, deliver, at: app.clock.now() };
    let submitted = app.storage.submit_attempt(submission).await?;
    if let Submitted::Closed(attempt) = &submitted {
        note(app, attempt, marks.len());
    }
    Ok(submitted)
}

/// Tells those who run the service, and the delivery worker.
fn note(app: &App, attempt: &Attempt, questions: usize) {
    app.metrics.submitted(u64::try_from(questions).unwrap_or(u64::MAX));
    app.waker.wake();
    tracing::info!(attempt = %attempt.id, placement = %attempt.placement, "an attempt was submitted");
}
