//! Numbers for those who run the service, in the exposition format that collectors read. No label names a person.

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::registry::Registry;

use crate::clock::Clock;
use crate::delivery::Circuit;
use crate::lti::FailedCheck;
use crate::storage::{DeliveryOutcome, DeliveryQueue, RegistrationId, RosterReading};

/// All counters of one server.
pub struct Metrics {
    registry: Registry,
    launches: Family<MessageLabel, Counter>,
    refusals: Family<CheckLabel, Counter>,
    limited: Family<LimitLabel, Counter>,
    submits: Counter,
    marks: Counter,
    deliveries: Family<OutcomeLabel, Counter>,
    grade_refusals: Family<ClassLabel, Counter>,
    circuits: Family<PlatformLabel, Gauge>,
    class_lists: Family<OutcomeLabel, Counter>,
    queue_depth: Gauge,
    queue_parked: Gauge,
    queue_held: Gauge,
    queue_oldest_seconds: Gauge,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct MessageLabel {
    message: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct CheckLabel {
    check: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct LimitLabel {
    limit: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OutcomeLabel {
    outcome: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct ClassLabel {
    class: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct PlatformLabel {
    platform: i64,
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::with_prefix("tenths");
        let launches = Family::<MessageLabel, Counter>::default();
        let refusals = Family::<CheckLabel, Counter>::default();
        let limited = Family::<LimitLabel, Counter>::default();
        let deliveries = Family::<OutcomeLabel, Counter>::default();
        let grade_refusals = Family::<ClassLabel, Counter>::default();
        let circuits = Family::<PlatformLabel, Gauge>::default();
        let class_lists = Family::<OutcomeLabel, Counter>::default();
        let (submits, marks) = (Counter::default(), Counter::default());
        let (depth, parked, held, oldest): (Gauge, Gauge, Gauge, Gauge) = Default::default();
        registry.register("launches", "Launches accepted, by message", launches.clone());
        registry.register("refusals", "Logins and launches refused, by failed check", refusals.clone());
        registry.register("limited", "Requests kept away, by the limit they met", limited.clone());
        registry.register("submits", "Attempts submitted", submits.clone());
        registry.register("marks", "Questions marked", marks.clone());
        registry.register("deliveries", "Tries to send a grade, by outcome", deliveries.clone());
        registry.register(
            "grade_refusals",
            "Calls for grades that failed: 4xx, 5xx, none (no answer), ours (not asked)",
            grade_refusals.clone(),
        );
        registry.register(
            "platform_circuit",
            "By platform's number: 0 closed, 1 half open, 2 open (left alone for a while)",
            circuits.clone(),
        );
        registry.register("class_lists", "Readings of class lists, by outcome", class_lists.clone());
        registry.register("delivery_queue_depth", "Grades waiting to be sent", depth.clone());
        registry.register("delivery_queue_parked", "Grades that need a person", parked.clone());
        registry.register("delivery_queue_held", "Grades held for a teacher's choice", held.clone());
        registry.register("delivery_queue_oldest_seconds", "Age of the oldest waiting grade", oldest.clone());
        Self {
            registry,
            launches,
            refusals,
            limited,
            submits,
            marks,
            deliveries,
            grade_refusals,
            circuits,
            class_lists,
            queue_depth: depth,
            queue_parked: parked,
            queue_held: held,
            queue_oldest_seconds: oldest,
        }
    }
}

impl Metrics {
    /// A launch was accepted; `message` is `link` or `deep_linking`.
    pub(crate) fn launched(&self, message: &'static str) {
        self.launches.get_or_create(&MessageLabel { message }).inc();
    }

    /// A login or launch was refused.
    pub(crate) fn refused(&self, check: FailedCheck) {
        self.refusals.get_or_create(&CheckLabel { check: check.name() }).inc();
    }

    /// A request was kept away.
    pub(crate) fn limited(&self, limit: &'static str) {
        self.limited.get_or_create(&LimitLabel { limit }).inc();
    }

    /// An attempt was submitted and `questions` marked.
    pub(crate) fn submitted(&self, questions: u64) {
        self.submits.inc();
        self.marks.inc_by(questions);
    }

    /// Sending a grade ended in some way.
    pub(crate) fn delivered(&self, outcome: &DeliveryOutcome) {
        let outcome = match outcome {
            DeliveryOutcome::Delivered => "delivered",
            DeliveryOutcome::Postponed { .. } => "postponed",
            DeliveryOutcome::Retry { .. } => "retry",
            DeliveryOutcome::Held { .. } => "held",
            DeliveryOutcome::Parked { .. } => "parked",
        };
        self.deliveries.get_or_create(&OutcomeLabel { outcome }).inc();
    }

    /// A call for a grade failed; `class` is one of its statuses' classes.
    pub(crate) fn grade_refused(&self, class: &'static str) {
        self.grade_refusals.get_or_create(&ClassLabel { class }).inc();
    }

    /// A platform's breaker changed.
    pub(crate) fn circuit(&self, platform: RegistrationId, state: Circuit) {
        let state = match state {
            Circuit::Closed => 0,
            Circuit::HalfOpen => 1,
            Circuit::Open(_) => 2,
        };
        self.circuits.get_or_create(&PlatformLabel { platform: platform.0 }).set(state);
    }

    /// Reading a class list ended in some way.
    pub(crate) fn class_list_read(&self, reading: &RosterReading) {
        let outcome = match reading {
            RosterReading::Whole { .. } => "whole",
            RosterReading::Changes { .. } => "changes",
            RosterReading::Failed { .. } => "failed",
        };
        self.class_lists.get_or_create(&OutcomeLabel { outcome }).inc();
    }

    /// All numbers as text, with the queue as it is now.
    pub fn render(&self, queue: DeliveryQueue, clock: &dyn Clock) -> String {
        let age_ms = queue.oldest.map_or(0, |oldest| clock.now().as_millisecond() - oldest.as_millisecond());
        self.queue_depth.set(queue.waiting.into());
        self.queue_parked.set(queue.parked.into());
        self.queue_held.set(queue.held.into());
        self.queue_oldest_seconds.set(age_ms.max(0) / 1000);
        let mut text = String::new();
        text::encode(&mut text, &self.registry).expect("writing to a string cannot fail");
        text
    }
}
