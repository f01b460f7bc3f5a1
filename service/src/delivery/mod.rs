//! Grade delivery: takes grades from the durable outbox and sends them until each platform has them.
//!
//! The store gives out every due grade under a lease, with a timestamp later than any sent before. If the process dies
//! between sending and noting the answer, the grade is sent again with a later timestamp; the platform keeps one score
//! for each pupil, so sending twice is safe and not sending is not. There is one row for each pupil and line item, so
//! grades cannot overtake each other. Nothing here knows marks or tokens.

mod retry;

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Mutex, Notify, watch};
use tokio::task::JoinSet;

use crate::clock::{Clock, plus_ms};
use crate::lti::grades::{GradeError, GradeService, ScoreMessage};
use crate::metrics::Metrics;
use crate::storage::{DeliveryOutcome, LeasedGrade, Placement, Registration, Storage, StorageError};

/// How long a grade is held by one worker; longer than all calls of one try can take.
const LEASE_MS: i64 = 90 * 1000;
/// How many grades are sent at once.
const BATCH: usize = 16;
/// How long the worker sleeps at most; another process may have queued something.
const SLEEP_MAX_MS: i64 = 30 * 1000;

/// Wakes the worker at once after a submit.
#[derive(Debug, Clone, Default)]
pub struct Waker(Arc<Notify>);

impl Waker {
    /// Says that a grade has been queued.
    pub fn wake(&self) {
        self.0.notify_one();
    }
}

/// Sends what is due.
pub struct Deliverer {
    storage: Arc<dyn Storage>,
    clock: Arc<dyn Clock>,
    grades: GradeService,
    metrics: Arc<Metrics>,
    /// Held while looking for a line item, so that a class whose grades come together makes one column, not many.
    finding: Mutex<()>,
}

impl Deliverer {
    pub(crate) fn new(
        storage: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        grades: GradeService,
        metrics: Arc<Metrics>,
    ) -> Self {
        Self { storage, clock, grades, metrics, finding: Mutex::default() }
    }

    /// Works until `stop` turns true; a batch that has begun is finished first.
    pub(crate) async fn run(self: Arc<Self>, waker: Waker, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow() {
            match self.clone().deliver_due().await {
                Ok(0) => {}
                Ok(_) => continue,
                Err(error) => tracing::error!(%error, "waiting grades could not be read"),
            }
            let sleep = self.sleep().await;
            tokio::select! {
                () = waker.0.notified() => {}
                () = tokio::time::sleep(sleep) => {}
                _ = stop.changed() => {}
            }
        }
    }

    /// Sends one batch of due grades; returns how many were tried.
    ///
    /// # Errors
    /// When the store cannot give them out.
    pub async fn deliver_due(self: Arc<Self>) -> Result<usize, StorageError> {
        let now = self.clock.now();
        let due = self.storage.lease_grades(now, plus_ms(now, LEASE_MS), BATCH).await?;
        let count = due.len();
        let mut sending = JoinSet::new();
        for grade in due {
            let this = self.clone();
            sending.spawn(async move { this.deliver(grade).await });
        }
        sending.join_all().await;
        Ok(count)
    }

    /// Sends one grade and notes how it went.
    async fn deliver(&self, grade: LeasedGrade) {
        let outcome = match self.send(&grade).await {
            Ok(outcome) => outcome,
            Err(error) => retry::later(&grade, self.clock.now(), format!("store: {error}"), None),
        };
        let placement = grade.placement.as_str();
        match &outcome {
            DeliveryOutcome::Delivered => {
                tracing::info!(placement, tries = grade.tries, "a grade was delivered");
            }
            DeliveryOutcome::Retry { problem, .. } => {
                tracing::warn!(placement, tries = grade.tries, problem, "a grade will be tried again");
            }
            DeliveryOutcome::Parked { problem } => {
                tracing::error!(placement, tries = grade.tries, problem, "a grade needs a person");
            }
        }
        self.metrics.delivered(&outcome);
        if let Err(error) = self.storage.finish_grade(&grade, &outcome, self.clock.now()).await {
            // The lease runs out and the grade is sent again.
            tracing::error!(%error, placement, "a delivery could not be noted");
        }
    }

    async fn send(&self, grade: &LeasedGrade) -> Result<DeliveryOutcome, StorageError> {
        let parked = |problem: &str| Ok(DeliveryOutcome::Parked { problem: problem.to_owned() });
        let Some(placement) = self.storage.placement(&grade.placement).await? else {
            return parked("the quiz has been removed");
        };
        let Some(registration) = self.storage.registration(placement.quiz.link.registration).await? else {
            return parked("the platform is no longer registered");
        };
        let result = match self.known_line_item(&registration, &placement, grade).await? {
            Ok(line_item) => self.send_to(&registration, &placement, &line_item, grade).await?,
            Err(error) => Err(error),
        };
        let now = self.clock.now();
        Ok(match result {
            Ok(()) => DeliveryOutcome::Delivered,
            Err(GradeError::Temporary { problem, pause }) => retry::later(grade, now, problem, pause),
            Err(GradeError::OlderThanKnown) => {
                let problem = "the platform has a score with a later time (409)".to_owned();
                retry::with_later_timestamp(grade, now, problem)
            }
            Err(GradeError::Gone) => DeliveryOutcome::Parked {
                problem: "the gradebook column or the pupil is gone from the course (404)".to_owned(),
            },
            Err(GradeError::Permanent { problem }) => DeliveryOutcome::Parked { problem },
        })
    }

    /// Sends to a line item; if it is gone, looks for the link's present one once.
    async fn send_to(
        &self,
        registration: &Registration,
        placement: &Placement,
        line_item: &url::Url,
        grade: &LeasedGrade,
    ) -> Result<Result<(), GradeError>, StorageError> {
        let score = ScoreMessage::of(grade);
        let now = self.clock.now();
        let first = self.grades.send_score(registration, placement, line_item, &score, now).await;
        if first != Err(GradeError::Gone) {
            return Ok(first);
        }
        match self.grades.find_line_item(registration, placement, grade.maximum, now).await {
            Ok(found) if found != *line_item => {
                self.storage.set_line_item(&placement.id, &found).await?;
                Ok(self.grades.send_score(registration, placement, &found, &score, now).await)
            }
            Err(temporary @ GradeError::Temporary { .. }) => Ok(Err(temporary)),
            _ => Ok(Err(GradeError::Gone)),
        }
    }

    /// The placement's line item; looked for, and then remembered, when launches did not name one.
    async fn known_line_item(
        &self,
        registration: &Registration,
        placement: &Placement,
        grade: &LeasedGrade,
    ) -> Result<Result<url::Url, GradeError>, StorageError> {
        if let Some(line_item) = line_item(placement) {
            return Ok(Ok(line_item));
        }
        let _finding = self.finding.lock().await;
        // Another grade of the same quiz may have found it meanwhile.
        let found = self.storage.placement(&placement.id).await?.as_ref().and_then(line_item);
        if let Some(line_item) = found {
            return Ok(Ok(line_item));
        }
        let now = self.clock.now();
        let found = self.grades.find_line_item(registration, placement, grade.maximum, now).await;
        if let Ok(line_item) = &found {
            self.storage.set_line_item(&placement.id, line_item).await?;
        }
        Ok(found)
    }

    /// How long to sleep until the next grade is due.
    async fn sleep(&self) -> Duration {
        let due_ms = match self.storage.next_grade_due().await {
            Ok(Some(due)) => due.as_millisecond() - self.clock.now().as_millisecond(),
            Ok(None) => SLEEP_MAX_MS,
            // Do not spin while the store is out of order.
            Err(_) => 5_000,
        };
        Duration::from_millis(due_ms.clamp(20, SLEEP_MAX_MS).unsigned_abs())
    }
}

/// The line item that a launch named or we found earlier.
fn line_item(placement: &Placement) -> Option<url::Url> {
    placement.quiz.grades.as_ref().and_then(|grades| grades.line_item.clone())
}
