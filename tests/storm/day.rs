//! The platform is out for a day, which passes in some seconds: the service goes by a clock that is moved.
//!
//! Real are the service, its store and worker, and the platform with its own clock; pupils begin and hand in at the store,
//! in the steps that the service's pages use.

use std::net::{Ipv4Addr, TcpListener};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use conformance::history::{Asked, History, Kept, Line, Stage, check};
use conformance::school::School;
use conformance::storm::load_pool;
use conformance::wait_for;
use jiff::{SignedDuration, Timestamp};
use service::clock::{Clock, SystemClock};
use service::practice::{Fault, Person, PlannedFault};
use service::server::Server;
use service::settings::{ServeArguments, Settings};
use service::storage::{self, Announce, AttemptResult, Placement, Responses, Started, Storage, Submission};

const HOURS: i64 = 24;
const PUPILS_AN_HOUR: i64 = 2;
const MAXIMUM: u32 = 2;
const DELIVERED_WITHIN: Duration = Duration::from_secs(120);

/// The system's clock, some seconds slow.
struct Behind(AtomicI64);

impl Clock for Behind {
    fn now(&self) -> Timestamp {
        SystemClock.now() - SignedDuration::from_secs(self.0.load(Ordering::SeqCst))
    }
}

/// A pupil begins and hands in, twice; better the second time.
async fn hand_in(
    storage: &dyn Storage,
    placement: &Placement,
    pupil: &str,
    now: Timestamp,
    history: &History,
) {
    for points in [1, MAXIMUM] {
        let announce = Announce::Begun { maximum: MAXIMUM };
        let started =
            storage.start_attempt(&placement.id, &pupil.into(), "seed", announce, now).await.unwrap();
        let Started::Open(attempt) = started else { panic!("no attempt is left: {started:?}") };
        let note = |stage| {
            let (pupil, attempt) = (pupil.to_owned(), attempt.id.0.clone());
            let answers = Responses::new();
            history.note(Line {
                at: now,
                pupil,
                attempt,
                asked: Asked::Submit,
                stage,
                answers,
                points,
                process: 0,
            });
        };
        note(Stage::Sent);
        let result = AttemptResult {
            submitted_at: now,
            marks: "[{}]".to_owned(),
            points,
            maximum: MAXIMUM,
            overrides: Vec::new(),
        };
        let attempt = attempt.id.clone();
        let submission = Submission { attempt, responses: Responses::new(), result, deliver: true, at: now };
        storage.submit_attempt(submission).await.unwrap();
        note(Stage::Acknowledged);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_without_the_platform_loses_doubles_and_disorders_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let (address, store) =
        (listener.local_addr().unwrap(), format!("sqlite:{}", folder.path().join("tenths.db").display()));
    let url = format!("http://{address}");
    let person = |number| Person { id: format!("p-{number}"), name: format!("Pupil Number{number}") };
    let school = School::open_for(&url, (0..HOURS * PUPILS_AN_HOUR).map(person).collect()).await;
    school.register(&store, &school.practice.registration().deployment_id);
    load_pool(folder.path(), &store);
    let storage = storage::open(&store).unwrap();
    let settings =
        Settings::check(ServeArguments::on_loopback(address, url.parse().unwrap(), &store)).unwrap();
    let clock = Arc::new(Behind(AtomicI64::new(0)));
    let server = Server::start(listener, settings, storage.clone(), clock.clone()).await.unwrap();
    school.place_quiz().await;
    school.enter("Pupil Number1").await.follow("Open").await.unwrap();
    let placement = storage.placements().await.unwrap().pop().unwrap();

    let history = History::new();
    school.practice.set_fault(Some(PlannedFault { fault: Fault::Unavailable, times: None }));
    for hour in 0..HOURS {
        clock.0.store((HOURS - hour) * 3600, Ordering::SeqCst);
        for pupil in 0..PUPILS_AN_HOUR {
            let pupil = format!("p-{}", hour * PUPILS_AN_HOUR + pupil);
            hand_in(&*storage, &placement, &pupil, clock.now(), &history).await;
        }
        server.app.waker.wake();
        // Time for the tries of this hour.
        tokio::time::sleep(Duration::from_millis(150)).await;
    }
    clock.0.store(0, Ordering::SeqCst);
    let queue = storage.delivery_queue().await.unwrap();
    assert_eq!((queue.parked, queue.held), (0, 0), "a day is no reason to give up");
    assert!(school.practice.journal().iter().all(|entry| entry.message.score_given.is_none()), "it was out");

    school.practice.set_fault(None);
    server.app.waker.wake();
    wait_for("all grades", DELIVERED_WITHIN, async || {
        (storage.delivery_queue().await.unwrap().waiting == 0).then_some(())
    })
    .await;
    let kept = Kept::read(&*storage, &school.practice).await.unwrap();
    let verdict = check(&history, &kept, &[]);
    assert!(verdict.holds(), "{verdict}");
    let pupils = usize::try_from(HOURS * PUPILS_AN_HOUR).unwrap();
    assert_eq!((verdict.submits_acknowledged, verdict.grades_delivered), (2 * pupils, pupils), "{verdict}");
    server.stop().await;
}
