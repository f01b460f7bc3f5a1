//! Grade delivery: takes messages from the durable outbox and sends them until each platform has them.
//!
//! The store gives out every due message under a lease, with a timestamp later than any sent before. If the process dies
//! between sending and noting the answer, the message is sent again with a later timestamp; the platform keeps one score
//! for each pupil, so sending twice is safe and not sending is not. There is one row for each pupil and line item, so
//! messages cannot overtake each other. Nothing here knows marks or tokens.
//!
//! Each platform has its own batch under way, of which at most eight messages are being sent, and its own circuit breaker:
//! one that is slow or out of order keeps no other waiting. The next batch begins when all of one are sent; how they went
//! may still be on its way to the store, where many notes share a flush.

mod breaker;
mod gradebook;
mod line_item;
mod retry;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::{Mutex, Notify, OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tracing::Instrument as _;
use url::Url;

use crate::clock::{Clock, plus_ms};
use crate::entropy;
use crate::lti::grades::{GradeError, GradeService, ScoreMessage};
use crate::lti::vocabulary as v;
use crate::metrics::Metrics;
use crate::storage::{
    DeliveryOutcome, LeasedGrade, Placement, PlacementId, Registration, RegistrationId, Room, Storage,
    StorageError,
};
use crate::traces;

use breaker::Breakers;
pub(crate) use breaker::Circuit;
use gradebook::Look;
pub(crate) use gradebook::may_read;

/// How long a message is held by one worker; longer than all calls of one try can take: look, token, score, 401, token,
/// score, and looking for a moved line item, of ten seconds each.
const LEASE_MS: i64 = 180 * 1000;
/// Pauses before the tries to note how sending went; together far shorter than a lease, which another process would take
/// over to send what a platform has already.
const NOTED_AFTER: [Duration; 5] = [
    Duration::ZERO,
    Duration::from_secs(1),
    Duration::from_secs(3),
    Duration::from_secs(8),
    Duration::from_secs(15),
];
/// How many messages are on their way to one platform at once.
const AT_ONCE: u32 = 8;
/// How many are taken from the outbox for it at once.
const BATCH: usize = 64;
/// A message that has waited so long for its turn in a batch is put back: what is left of its lease would not do.
const TURN_WITHIN_MS: i64 = 60 * 1000;
/// How long a message waits for others: when a class hands in, the outbox is not asked for each pupil.
const TOGETHER_WITHIN: Duration = Duration::from_millis(20);
/// How long the worker sleeps at most; another process may have queued something.
const SLEEP_MAX_MS: i64 = 30 * 1000;

/// Wakes the worker after a submit.
#[derive(Debug, Clone, Default)]
pub struct Waker(Arc<Notify>);

impl Waker {
    /// Says that a message has been queued.
    pub fn wake(&self) {
        self.0.notify_one();
    }

    /// Waits until one has been, and a moment for others that come with it.
    async fn called(&self) {
        self.0.notified().await;
        tokio::time::sleep(TOGETHER_WITHIN).await;
    }
}

/// Sends what is due.
pub struct Deliverer {
    storage: Arc<dyn Storage>,
    clock: Arc<dyn Clock>,
    grades: GradeService,
    metrics: Arc<Metrics>,
    breakers: Breakers,
    finding: FindingLocks,
}

/// Held while looking for a line item of a platform.
#[derive(Default)]
struct FindingLocks(std::sync::Mutex<HashMap<RegistrationId, Arc<Mutex<()>>>>);

impl FindingLocks {
    fn of(&self, platform: RegistrationId) -> Arc<Mutex<()>> {
        // A panic elsewhere leaves the table whole: locks are only added.
        self.0.lock().unwrap_or_else(PoisonError::into_inner).entry(platform).or_default().clone()
    }
}

/// Where messages of a placement go.
struct Target {
    registration: Registration,
    placement: Placement,
}

/// Messages that were leased together.
struct Batch {
    leased_at: Timestamp,
    turns: Arc<Semaphore>,
    /// Read once for all messages of a quiz.
    targets: Mutex<HashMap<PlacementId, Option<Arc<Target>>>>,
}

impl Batch {
    fn new(leased_at: Timestamp) -> Self {
        Self { leased_at, turns: Arc::new(Semaphore::new(AT_ONCE as usize)), targets: Mutex::default() }
    }

    /// A turn to send.
    async fn turn(&self) -> OwnedSemaphorePermit {
        self.turns.clone().acquire_owned().await.expect("it is never closed")
    }

    /// Waits until all turns that were taken are over.
    async fn sent(&self) {
        drop(self.turns.acquire_many(AT_ONCE).await.expect("it is never closed"));
    }

    async fn target(
        &self,
        deliverer: &Deliverer,
        id: &PlacementId,
    ) -> Result<Option<Arc<Target>>, StorageError> {
        let mut targets = self.targets.lock().await;
        if let Some(known) = targets.get(id) {
            return Ok(known.clone());
        }
        let target = deliverer.target(id).await?.map(Arc::new);
        targets.insert(id.clone(), target.clone());
        Ok(target)
    }
}

impl Deliverer {
    pub(crate) fn new(
        storage: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        grades: GradeService,
        metrics: Arc<Metrics>,
    ) -> Self {
        let (breakers, finding) = (Breakers::default(), FindingLocks::default());
        Self { storage, clock, grades, metrics, breakers, finding }
    }

    /// Works until `stop` turns true; batches that have begun are finished first.
    pub(crate) async fn run(self: Arc<Self>, waker: Waker, mut stop: watch::Receiver<bool>) {
        let mut working = JoinSet::new();
        let mut noting = JoinSet::new();
        let mut busy = HashMap::new();
        while !*stop.borrow() {
            let except: BTreeSet<RegistrationId> = busy.values().copied().collect();
            match self.lease(except.clone()).await {
                Ok(batches) => {
                    for (platform, batch) in batches {
                        let task = working.spawn(self.clone().deliver_batch(platform, batch));
                        busy.insert(task.id(), platform);
                    }
                }
                Err(error) => tracing::error!(%error, "waiting grades could not be read"),
            }
            let sleep = self.sleep(busy.values().copied().collect()).await;
            tokio::select! {
                () = waker.called() => {}
                () = tokio::time::sleep(sleep) => {}
                Some(ended) = working.join_next_with_id() => {
                    let task = match ended {
                        Ok((task, notes)) => {
                            noting.spawn(JoinSet::join_all(notes));
                            task
                        }
                        Err(error) => {
                            tracing::error!(%error, "a batch of grades ended badly; its leases run out");
                            error.id()
                        }
                    };
                    busy.remove(&task);
                }
                // What was queued for a pupil meanwhile is free now.
                Some(_) = noting.join_next() => {}
                _ = stop.changed() => {}
            }
        }
        for notes in working.join_all().await {
            notes.join_all().await;
        }
        noting.join_all().await;
    }

    /// Sends one batch of due messages to every platform; returns how many were tried.
    ///
    /// # Errors
    /// When the store cannot give them out.
    pub async fn deliver_due(self: Arc<Self>) -> Result<usize, StorageError> {
        let batches = self.lease(BTreeSet::new()).await?;
        let count = batches.values().map(Vec::len).sum();
        let mut sending = JoinSet::new();
        for (platform, batch) in batches {
            sending.spawn(self.clone().deliver_batch(platform, batch));
        }
        for notes in sending.join_all().await {
            notes.join_all().await;
        }
        Ok(count)
    }

    /// A batch for every platform that has messages due, except those and the ones whose breaker is open.
    async fn lease(
        &self,
        mut except: BTreeSet<RegistrationId>,
    ) -> Result<BTreeMap<RegistrationId, Vec<LeasedGrade>>, StorageError> {
        let now = self.clock.now();
        except.extend(self.breakers.open(now).0);
        let room = Room { each: BATCH, except };
        let mut batches: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for grade in self.storage.lease_grades(now, plus_ms(now, LEASE_MS), &room).await? {
            batches.entry(grade.registration).or_default().push(grade);
        }
        Ok(batches)
    }

    /// Sends messages to one platform; returns what is still being noted. Where its breaker is half open one goes first, and
    /// the rest waits if that fails.
    async fn deliver_batch(
        self: Arc<Self>,
        platform: RegistrationId,
        grades: Vec<LeasedGrade>,
    ) -> JoinSet<()> {
        let batch = Arc::new(Batch::new(self.clock.now()));
        let mut grades = grades.into_iter();
        let mut sending = JoinSet::new();
        if self.breakers.circuit(platform, self.clock.now()) == Circuit::HalfOpen {
            self.metrics.circuit(platform, Circuit::HalfOpen);
            if let Some(first) = grades.next() {
                self.deliver(&batch, first, batch.turn().await).await;
            }
        }
        for grade in grades {
            let (this, batch, turn) = (self.clone(), batch.clone(), batch.turn().await);
            sending.spawn(async move { this.deliver(&batch, grade, turn).await });
        }
        batch.sent().await;
        sending
    }

    /// Sends one message whose turn has come, and notes how it went.
    async fn deliver(&self, batch: &Batch, grade: LeasedGrade, turn: OwnedSemaphorePermit) {
        let outcome = match self.waits(batch, &grade) {
            Some(at) => DeliveryOutcome::Postponed { at },
            None => match self.send(batch, &grade).instrument(traces::delivery(grade.tries)).await {
                Ok(outcome) => outcome,
                Err(error) => retry::later(&grade, self.clock.now(), format!("store: {error}"), None),
            },
        };
        drop(turn);
        let (placement, tries, progress) = (grade.placement.as_str(), grade.tries, grade.progress.name());
        match &outcome {
            DeliveryOutcome::Delivered => tracing::info!(placement, tries, progress, "a grade was delivered"),
            DeliveryOutcome::Postponed { .. } => {}
            DeliveryOutcome::Retry { problem, .. } => {
                tracing::warn!(placement, tries, progress, problem, "a grade will be tried again");
            }
            DeliveryOutcome::Held { .. } => {
                tracing::warn!(placement, "a grade is held: the gradebook has another mark");
            }
            DeliveryOutcome::Parked { problem } => {
                tracing::error!(placement, tries, progress, problem, "a grade needs a person");
            }
        }
        if !matches!(outcome, DeliveryOutcome::Postponed { .. }) {
            self.metrics.delivered(&outcome);
        }
        self.note(&grade, &outcome).await;
    }

    /// Until when a message is put back whose turn has come: its platform is left alone, or its lease has run too far.
    fn waits(&self, batch: &Batch, grade: &LeasedGrade) -> Option<Timestamp> {
        let now = self.clock.now();
        if let Circuit::Open(until) = self.breakers.circuit(grade.registration, now) {
            // Spread over a second, so that the next probe is one of many and not always the same one.
            let spread_ms = i64::try_from(entropy::jitter_ms(1_000)).unwrap_or(0);
            return Some(plus_ms(until, spread_ms));
        }
        (plus_ms(batch.leased_at, TURN_WITHIN_MS) < now).then_some(now)
    }

    async fn note(&self, grade: &LeasedGrade, outcome: &DeliveryOutcome) {
        for pause in NOTED_AFTER {
            tokio::time::sleep(pause).await;
            // Noting it twice is noting it once: whether a try that failed was stored may not be known.
            match self.storage.finish_grade(grade, outcome, self.clock.now()).await {
                Ok(()) => return,
                Err(error) => {
                    tracing::warn!(%error, placement = grade.placement.as_str(), "a delivery is not noted yet");
                }
            }
        }
        // The lease runs out and the message is sent again.
        tracing::error!(placement = grade.placement.as_str(), "a delivery could not be noted");
    }

    async fn send(&self, batch: &Batch, grade: &LeasedGrade) -> Result<DeliveryOutcome, StorageError> {
        let parked = |problem: &str| Ok(DeliveryOutcome::Parked { problem: problem.to_owned() });
        let Some(target) = batch.target(self, &grade.placement).await? else {
            return parked("the quiz has been removed, or its platform is no longer registered");
        };
        let Some(endpoint) = &target.placement.quiz.grades else {
            return parked("the platform takes no grades for this link");
        };
        if !endpoint.scopes.contains(v::SCOPE_SCORE) {
            return parked(
                "the platform does not let us send scores for this link; points stay visible here",
            );
        }
        let line_item = match self.line_item(&target, grade).await? {
            Ok(line_item) => line_item,
            Err(error) => return Ok(self.outcome(grade, Err(error))),
        };
        match self.look(&target, &line_item, grade).await {
            Look::Free => {}
            Look::Other(drift, found) => {
                self.answered(grade.registration);
                return Ok(DeliveryOutcome::Held { drift, found });
            }
            Look::Failed(error) => return Ok(self.outcome(grade, Err(error))),
        }
        let result = self.send_to(&target, &line_item, grade).await?;
        Ok(self.outcome(grade, result))
    }

    async fn target(&self, id: &PlacementId) -> Result<Option<Target>, StorageError> {
        let Some(placement) = self.storage.placement(id).await? else { return Ok(None) };
        let registration = self.storage.registration(placement.quiz.link.registration).await?;
        Ok(registration.map(|registration| Target { registration, placement }))
    }

    /// Sends to a line item; if it is gone, looks for the link's present one once.
    async fn send_to(
        &self,
        target: &Target,
        line_item: &Url,
        grade: &LeasedGrade,
    ) -> Result<Result<(), GradeError>, StorageError> {
        let score = ScoreMessage::of(grade);
        let Target { registration, placement } = target;
        let now = self.clock.now();
        let first = self.grades.send_score(registration, placement, line_item, &score, now).await;
        if first != Err(GradeError::Gone) {
            return Ok(first);
        }
        match self.line_item_instead_of(line_item, target, grade).await? {
            Ok(found) if found != *line_item => {
                Ok(self.grades.send_score(registration, placement, &found, &score, now).await)
            }
            Err(temporary @ GradeError::Temporary { .. }) => Ok(Err(temporary)),
            _ => Ok(Err(GradeError::Gone)),
        }
    }

    /// What follows from an answer, for the message and for the platform's breaker.
    fn outcome(&self, grade: &LeasedGrade, result: Result<(), GradeError>) -> DeliveryOutcome {
        let (platform, now) = (grade.registration, self.clock.now());
        if let Err(error) = &result {
            self.metrics.grade_refused(error.class());
        }
        match &result {
            Err(GradeError::Temporary { pause, .. }) => {
                let circuit = self.breakers.failed(platform, now, *pause);
                self.metrics.circuit(platform, circuit);
                if let Circuit::Open(until) = circuit {
                    tracing::warn!(%platform, %until, "a platform is left alone for a while");
                }
            }
            // Nobody was asked.
            Err(GradeError::Permanent { status: None, .. }) => {}
            _ => self.answered(platform),
        }
        match result {
            Ok(()) => DeliveryOutcome::Delivered,
            Err(GradeError::Temporary { problem, pause, .. }) => retry::later(grade, now, problem, pause),
            Err(GradeError::OlderThanKnown) => {
                let problem = "the platform has a score with a later time (409)".to_owned();
                retry::with_later_timestamp(grade, now, problem)
            }
            Err(GradeError::Gone) => DeliveryOutcome::Parked {
                problem: "the gradebook column or the pupil is gone from the course (404)".to_owned(),
            },
            Err(GradeError::Permanent { problem, .. }) => DeliveryOutcome::Parked { problem },
        }
    }

    /// The platform is there.
    fn answered(&self, platform: RegistrationId) {
        self.breakers.answered(platform);
        self.metrics.circuit(platform, Circuit::Closed);
    }

    /// How long to sleep until the next message is due or the next breaker half open; busy platforms wake us themselves.
    async fn sleep(&self, busy: BTreeSet<RegistrationId>) -> Duration {
        let now = self.clock.now();
        let (open, half_open_at) = self.breakers.open(now);
        let except = busy.into_iter().chain(open).collect();
        let until = |time: Timestamp| time.as_millisecond() - now.as_millisecond();
        let due_ms = match self.storage.next_grade_due(&except).await {
            Ok(due) => due.into_iter().chain(half_open_at).map(until).min().unwrap_or(SLEEP_MAX_MS),
            // Do not spin while the store is out of order.
            Err(_) => 5_000,
        };
        Duration::from_millis(due_ms.clamp(20, SLEEP_MAX_MS).unsigned_abs())
    }
}
