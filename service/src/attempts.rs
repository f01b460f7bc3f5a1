//! What quiz pages need from attempts: the session's own one, and submitting it.
//!
//! Marking is done by the caller; here the marks are stored, the grade is queued in the same step, and the delivery
//! worker is woken.

use jiff::Timestamp;
use qbank::grade::Grade;
use qbank::marking::Mark;

use crate::app::App;
use crate::session::PupilSession;
use crate::storage::{Attempt, AttemptId, AttemptResult, Responses, StorageError, Submission, Submitted};

/// The session's own attempt; none when it is unknown or somebody else's.
///
/// # Errors
/// When the store fails.
pub async fn own(app: &App, session: &PupilSession, id: &AttemptId) -> Result<Option<Attempt>, StorageError> {
    let attempt = app.storage.attempt(id).await?;
    Ok(attempt.filter(|attempt| attempt.placement == session.placement && attempt.user == session.user))
}

/// Closes the session's own attempt with the marks of its questions and queues the pupil's best grade. Submitting
/// twice changes nothing.
///
/// # Errors
/// When the store fails; nothing has changed then.
pub async fn submit(
    app: &App,
    session: &PupilSession,
    id: &AttemptId,
    responses: Responses,
    marks: &[Mark],
) -> Result<Submitted, StorageError> {
    let Some(attempt) = own(app, session, id).await? else { return Ok(Submitted::NoAttempt) };
    close(app, &attempt, responses, marks, app.clock.now(), !session.preview).await
}

/// Closes an attempt as [`submit`] does, with the time at which it counts as handed in, and with or without a grade.
pub(crate) async fn close(
    app: &App,
    attempt: &Attempt,
    responses: Responses,
    marks: &[Mark],
    submitted_at: Timestamp,
    deliver: bool,
) -> Result<Submitted, StorageError> {
    let grade = Grade::of(marks);
    let result = AttemptResult {
        submitted_at,
        marks: serde_json::to_string(marks).expect("mark records are plain and have text keys"),
        points: grade.given,
        maximum: grade.maximum,
        overrides: Vec::new(),
    };
    let submission =
        Submission { attempt: attempt.id.clone(), responses, result, deliver, at: app.clock.now() };
    let submitted = app.storage.submit_attempt(submission).await?;
    if let Submitted::Closed(attempt) = &submitted {
        app.metrics.submitted(u64::try_from(marks.len()).unwrap_or(u64::MAX));
        app.waker.wake();
        tracing::info!(attempt = %attempt.id, placement = %attempt.placement, "an attempt was submitted");
    }
    Ok(submitted)
}
