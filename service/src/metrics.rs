//! Numbers for those who run the service, in the exposition format that collectors read. No label names a person.

use std::sync::atomic::AtomicU64;
use std::time::Duration;

use actix_web::http::{Method, StatusCode};
use jiff::Timestamp;
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;

use crate::clock::Clock;
use crate::delivery::Circuit;
use crate::lti::FailedCheck;
use crate::storage::{DeliveryOutcome, DeliveryQueue, RegistrationId, RosterReading, StoreNumbers};

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
    requests: Family<RequestLabel, Histogram>,
    ready: Gauge,
    clock_seconds: Seconds,
}

/// A time or a duration.
type Seconds = Gauge<f64, AtomicU64>;

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct RequestLabel {
    /// The pattern, not the address: there are as many as in the route table.
    route: String,
    method: &'static str,
    class: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct VersionLabel {
    version: &'static str,
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

impl Metrics {
    /// Numbers of a server that was started then, over a store with those numbers.
    pub(crate) fn new(store: &StoreNumbers, started: Timestamp) -> Self {
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
        register_store(&mut registry, store);
        let requests = Family::<RequestLabel, Histogram>::new_with_constructor(request_ends_s);
        registry.register(
            "request_duration_seconds",
            "Requests answered, by pattern of the address and class of the status (503 by itself)",
            requests.clone(),
        );
        let (ready, clock_seconds) = (Gauge::default(), Seconds::default());
        registry.register(
            "ready",
            "1 while this process should get requests, else 0; the readiness check says why",
            ready.clone(),
        );
        registry.register(
            "clock_seconds",
            "What the process takes for the time, since 1970",
            clock_seconds.clone(),
        );
        let start = Seconds::default();
        start.set(seconds(started));
        registry.register("start_time_seconds", "When the process was started, since 1970", start);
        let version = VersionLabel { version: env!("CARGO_PKG_VERSION") };
        let build = Family::<VersionLabel, Gauge>::default();
        build.get_or_create(&version).set(1);
        registry.register("build_info", "The program's version; always 1", build);
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
            requests,
            ready,
            clock_seconds,
        }
    }

    /// A request was answered.
    pub(crate) fn answered(&self, route: &str, method: &Method, status: StatusCode, took: Duration) {
        let label =
            RequestLabel { route: route.to_owned(), method: method_name(method), class: class(status) };
        self.requests.get_or_create(&label).observe(took.as_secs_f64());
    }

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

    /// All numbers as text, with the queue as it is now; none when the store does not answer. Then the queue is told as it
    /// was last: those who run the service need the other numbers most while the store is away.
    pub fn render(&self, queue: Option<DeliveryQueue>, ready: bool, clock: &dyn Clock) -> String {
        let now = clock.now();
        self.ready.set(ready.into());
        self.clock_seconds.set(seconds(now));
        if let Some(queue) = queue {
            let age_ms = queue.oldest.map_or(0, |oldest| now.as_millisecond() - oldest.as_millisecond());
            self.queue_depth.set(queue.waiting.into());
            self.queue_parked.set(queue.parked.into());
            self.queue_held.set(queue.held.into());
            self.queue_oldest_seconds.set(age_ms.max(0) / 1000);
        }
        let mut text = String::new();
        text::encode(&mut text, &self.registry).expect("writing to a string cannot fail");
        text
    }
}

/// Registers what a store counts by itself.
fn register_store(registry: &mut Registry, store: &StoreNumbers) {
    registry.register("store_errors", "Steps of the store that failed, by kind", store.errors.clone());
    registry.register("store_steps", "Steps that wait for the store or are run", store.steps.clone());
    registry.register(
        "store_wait_seconds",
        "How long steps waited for their turn at the store",
        store.waits.clone(),
    );
}

/// Upper ends of the steps of durations, in seconds: a page from memory takes 1 ms, a hand-in waits for the disk, a PDF of a
/// class is worked on for seconds.
fn request_ends_s() -> Histogram {
    Histogram::new([0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0])
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 fit into the 53 bits of a double")]
fn seconds(time: Timestamp) -> f64 {
    time.as_millisecond() as f64 / 1000.0
}

/// A method's name; whatever the service does not know is one, so that nobody can invent labels.
fn method_name(method: &Method) -> &'static str {
    match *method {
        Method::GET => "GET",
        Method::HEAD => "HEAD",
        Method::POST => "POST",
        _ => "other",
    }
}

/// The class of a status; 503 by itself, as it asks to come again and is no failure.
fn class(status: StatusCode) -> &'static str {
    match status.as_u16() {
        503 => "503",
        100..=199 => "1xx",
        200..=299 => "2xx",
        300..=399 => "3xx",
        400..=499 => "4xx",
        _ => "5xx",
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use super::*;
    use crate::clock::SettableClock;
    use crate::storage;

    /// All numbers, each told at least once.
    async fn told() -> String {
        let store = storage::open("sqlite::memory:").unwrap();
        store.ping().await.unwrap();
        let numbers = store.numbers();
        numbers.failed(&storage::StorageError::Closed);
        let started: Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
        let metrics = Metrics::new(&numbers, started);
        metrics.launched("link");
        metrics.refused(FailedCheck::ALL[0]);
        metrics.limited("requests");
        metrics.submitted(3);
        metrics.delivered(&DeliveryOutcome::Delivered);
        metrics.grade_refused("5xx");
        metrics.circuit(RegistrationId(3), Circuit::Closed);
        metrics.class_list_read(&RosterReading::Failed { problem: String::new() });
        let (get, took) = (Method::GET, Duration::from_millis(30));
        metrics.answered("/quiz/{placement}", &get, StatusCode::OK, took);
        metrics.answered("/quiz/{placement}", &get, StatusCode::SERVICE_UNAVAILABLE, took);
        let invented = Method::from_bytes(b"INVENTED").unwrap();
        metrics.answered("/quiz/{placement}", &invented, StatusCode::BAD_GATEWAY, took);
        metrics.render(Some(DeliveryQueue::default()), true, &SettableClock::at(started))
    }

    #[tokio::test]
    async fn requests_are_told_by_pattern_method_and_class_and_nothing_else() {
        let told = told().await;
        for line in [
            r#"tenths_request_duration_seconds_bucket{le="0.05",route="/quiz/{placement}",method="GET",class="2xx"} 1"#,
            r#"tenths_request_duration_seconds_bucket{le="0.02",route="/quiz/{placement}",method="GET",class="2xx"} 0"#,
            r#"tenths_request_duration_seconds_count{route="/quiz/{placement}",method="GET",class="503"} 1"#,
            r#"tenths_request_duration_seconds_count{route="/quiz/{placement}",method="other",class="5xx"} 1"#,
            r#"tenths_store_errors_total{kind="closed"} 1"#,
            // In memory one lane does both.
            r#"tenths_store_wait_seconds_count{lane="write"} 1"#,
            r#"tenths_store_steps{lane="read"} 0"#,
            "tenths_ready 1",
            "tenths_start_time_seconds 1772438400.0",
            "tenths_clock_seconds 1772438400.0",
        ] {
            assert!(told.lines().any(|one| one == line), "{line}: {told}");
        }
    }

    #[test]
    fn a_store_that_does_not_answer_leaves_the_other_numbers() {
        let started = Timestamp::UNIX_EPOCH;
        let metrics = Metrics::new(&StoreNumbers::default(), started);
        let queue = DeliveryQueue { waiting: 7, ..Default::default() };
        metrics.render(Some(queue), true, &SettableClock::at(started));
        let told = metrics.render(None, false, &SettableClock::at(started));
        assert!(
            told.contains("tenths_ready 0\n") && told.contains("tenths_delivery_queue_depth 7\n"),
            "{told}"
        );
    }

    /// Alert rules and dashboard ask for what is told.
    #[tokio::test]
    async fn alerts_and_dashboard_name_numbers_that_there_are() {
        let told: BTreeSet<String> = names(&told().await);
        let deploy = Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy");
        for file in ["alerts.yaml", "alerts-test.yaml", "dashboard.json", "runbook.md"] {
            let asked = names(&std::fs::read_to_string(deploy.join(file)).unwrap());
            assert!(asked.len() > 3, "{file}: {asked:?}");
            // A text may speak of a histogram as a whole.
            let is_told = |name: &&String| told.contains(*name) || told.contains(&format!("{name}_bucket"));
            let missing: Vec<_> = asked.iter().filter(|name| !is_told(name)).collect();
            assert!(missing.is_empty(), "{file} asks for {missing:?}; there are {told:?}");
        }
        // And the other way round: what is told is looked at.
        let looked_at = names(&std::fs::read_to_string(deploy.join("dashboard.json")).unwrap());
        let is_part =
            |name: &&String| name.ends_with("_sum") || name.ends_with("_count") || name.ends_with("_bucket");
        let samples = told.iter().filter(|name| !is_part(name));
        let unseen: Vec<_> = samples.filter(|name| !looked_at.contains(*name)).collect();
        assert_eq!(unseen, Vec::<&String>::new());
    }

    /// Names of numbers that stand at the beginning of a word, comments of the format left out.
    fn names(text: &str) -> BTreeSet<String> {
        let lines = text.lines().filter(|line| !line.starts_with("# HELP") && !line.starts_with("# TYPE"));
        let is_part = |c: char| c.is_ascii_alphanumeric() || c == '_';
        let words = lines.flat_map(|line| line.split(move |c: char| !is_part(c)));
        words.filter(|word| word.starts_with("tenths_")).map(ToOwned::to_owned).collect()
    }
}
