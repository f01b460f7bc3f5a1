//! Grade delivery against a gradebook with planned faults: every grade arrives once, times strictly increase.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use qbank::marking::Policy;
use service::app::App;
use service::clock::SettableClock;
use service::entropy;
use service::storage::{
    self, Announce, AttemptResult, DeliveryState, Fingerprint, GONE_AFTER_SIGNS, GradeEndpoint, Layout,
    LinkKey, LinkOpening, LoginState, Member, MemberStatus, NewPlacement, Opened, Opening, Opens, Part,
    Placement, Responses, Room, SessionRecord, Started, Storage, Submission,
};
use service::windows::Windows;

use crate::platform::{DEPLOYMENT, Fault, Platform};
use crate::tool::{Tool, change, monday, pool, registration, settings};

pub(crate) const SCORE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";
pub(crate) const LINE_ITEM: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem";

/// A store with one placement, and what delivers from it.
pub(crate) struct Delivery {
    pub(crate) app: App,
    pub(crate) storage: Arc<dyn Storage>,
    pub(crate) clock: Arc<SettableClock>,
    pub(crate) platform: Platform,
    pub(crate) placement: Placement,
}

impl Delivery {
    pub(crate) async fn start(store: &str) -> Self {
        let platform = Platform::start();
        let endpoint = GradeEndpoint {
            line_item: Some(format!("{}/items/9", platform.url).parse().unwrap()),
            line_items: None,
            scopes: [SCORE.to_owned()].into(),
        };
        Self::open(store, platform, Some(endpoint)).await
    }

    pub(crate) async fn open(store: &str, platform: Platform, grades: Option<GradeEndpoint>) -> Self {
        let storage = storage::open(store).unwrap();
        let registered = storage.put_registration(registration(&platform), &change()).await.unwrap();
        storage.put_pool(pool()).await.unwrap();
        let link = LinkKey {
            registration: registered.id,
            deployment: DEPLOYMENT.into(),
            resource_link: "link-4".into(),
        };
        let placement = NewPlacement {
            link,
            context: None,
            title: "Litres in the river".to_owned(),
            pool: "river-day".into(),
            question_count: 5,
            attempts_allowed: 3,
            policy: Policy::default(),
            layout: Layout::default(),
            resource_id: "river-day".to_owned(),
            windows: Windows::default(),
            grades,
            created_at: monday(),
        };
        let placement = place(storage.as_ref(), placement).await;
        let clock = Arc::new(SettableClock::at(monday()));
        let app = App::new(settings("http://127.0.0.1:1"), storage.clone(), clock.clone()).await.unwrap();
        Self { app, storage, clock, platform, placement }
    }

    /// Another process with the same store and clock.
    pub(crate) async fn another_process(&self, store: &str) -> App {
        let storage = storage::open(store).unwrap();
        App::new(settings("http://127.0.0.1:1"), storage, self.clock.clone()).await.unwrap()
    }

    pub(crate) async fn submit(&self, user: &str, points: u32) {
        submit(self.storage.as_ref(), &self.placement, user, points).await;
    }

    /// Sends what is due and returns how many were tried.
    pub(crate) async fn deliver(&self) -> usize {
        self.app.deliverer.clone().deliver_due().await.unwrap()
    }

    pub(crate) async fn state(&self, user: &str) -> (DeliveryState, Option<String>) {
        let all = self.storage.deliveries_at(&self.placement.id).await.unwrap();
        let one = all.into_iter().find(|delivery| delivery.user.as_str() == user).unwrap();
        (one.state, one.problem)
    }

    /// Asserts that each score message had a later time than the one before it.
    pub(crate) fn assert_times_increase(&self) {
        let times = self.platform.timestamps();
        assert!(times.windows(2).all(|pair| pair[0] < pair[1]), "{times:?}");
    }
}

/// Has a teacher follow the quiz's link; returns the placement.
pub(crate) async fn place(storage: &dyn Storage, quiz: NewPlacement) -> Placement {
    let (key, now) = (quiz.link.clone(), quiz.created_at);
    let (registration, expires_at) = (key.registration, now + jiff::SignedDuration::from_secs(1));
    let login = Fingerprint::of(&entropy::secret());
    let started = LoginState {
        state: login.clone(),
        nonce: entropy::secret(),
        registration,
        target_link_uri: "https://tool.example.org/".to_owned(),
        deployment_hint: None,
        browser: Fingerprint::of("browser"),
        storage: None,
        expires_at,
    };
    storage.add_login_state(started).await.unwrap();
    let link = LinkOpening {
        link: key.clone(),
        quiz: Arc::new(move |_| Some(quiz.clone())),
        windows: BTreeMap::new(),
        member: Member {
            user: "teacher".into(),
            part: Part::Teacher,
            status: MemberStatus::Active,
            name: None,
            seen_at: now,
        },
        roster: None,
    };
    let id = Fingerprint::of(&entropy::secret());
    let session = move |purpose| SessionRecord {
        id: id.clone(),
        registration,
        deployment: DEPLOYMENT.into(),
        user: Some("teacher".into()),
        purpose,
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at,
    };
    let (opens, session) = (Opens::Link(Box::new(link)), Arc::new(session));
    let opened = storage.open_launch(Opening { login, now, opens, session, ticket: None }).await.unwrap();
    assert!(matches!(opened, Opened::Session(_)), "{opened:?}");
    storage.placement_of(&key).await.unwrap().unwrap()
}

/// Begins and submits an attempt with `points` of 10.
pub(crate) async fn submit(storage: &dyn Storage, placement: &Placement, user: &str, points: u32) {
    let Started::Open(attempt) = storage
        .start_attempt(&placement.id, &user.into(), "seed", Announce::Nothing, monday())
        .await
        .unwrap()
    else {
        panic!("no attempt is left");
    };
    let result = AttemptResult {
        submitted_at: monday(),
        marks: "[]".to_owned(),
        points,
        maximum: 10,
        overrides: Vec::new(),
    };
    let submission =
        Submission { attempt: attempt.id, responses: Responses::new(), result, deliver: true, at: monday() };
    storage.submit_attempt(submission).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn sends_actual_points_as_the_standard_writes_them() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.submit("pupil-7", 7).await;
    assert_eq!(delivery.deliver().await, 1);
    assert_eq!(delivery.deliver().await, 0, "what was delivered is not due");
    let journal = delivery.platform.book.lock().unwrap().journal.clone();
    assert_eq!(
        journal,
        [serde_json::json!({
            "userId": "pupil-7",
            "timestamp": "2026-03-02T08:05:00.000Z",
            "activityProgress": "Completed",
            "gradingProgress": "FullyGraded",
            "scoreGiven": 7,
            "scoreMaximum": 10,
            "submission": {"startedAt": "2026-03-02T08:05:00.000Z", "submittedAt": "2026-03-02T08:05:00.000Z"},
        })]
    );
    assert_eq!(delivery.state("pupil-7").await, (DeliveryState::Delivered, None));
}

#[tokio::test(flavor = "multi_thread")]
async fn tries_again_after_500_and_after_the_pause_that_429_asks_for() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.platform.plan(&[Fault::Status(500), Fault::Busy(120)]);
    delivery.submit("pupil-7", 7).await;
    assert_eq!(delivery.deliver().await, 1);
    assert_eq!(delivery.deliver().await, 0, "not at once");
    delivery.clock.advance_ms(1_000);
    assert_eq!(delivery.deliver().await, 1);
    delivery.clock.advance_ms(119_000);
    assert_eq!(delivery.deliver().await, 0, "the platform asked for 120 s");
    delivery.clock.advance_ms(1_000);
    assert_eq!(delivery.deliver().await, 1);
    assert_eq!(delivery.platform.points("pupil-7"), Some(7));
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn gets_a_new_token_once_after_401() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.platform.plan(&[Fault::Status(401)]);
    delivery.submit("pupil-7", 7).await;
    delivery.submit("pupil-8", 8).await;
    delivery.deliver().await;
    assert_eq!(
        (delivery.platform.points("pupil-7"), delivery.platform.points("pupil-8")),
        (Some(7), Some(8))
    );
    assert_eq!(delivery.platform.book.lock().unwrap().tokens, 2);

    delivery.platform.plan(&[Fault::Status(401), Fault::Status(401)]);
    delivery.submit("pupil-9", 9).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-9").await;
    assert_eq!(state, DeliveryState::Parked);
    assert!(problem.unwrap().contains("401"));
}

#[tokio::test(flavor = "multi_thread")]
async fn sends_again_when_the_answer_was_lost_after_processing() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.platform.plan(&[Fault::DropAfterProcessing]);
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Waiting);
    delivery.clock.advance_ms(1_000);
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Delivered);
    assert_eq!(delivery.platform.points("pupil-7"), Some(7));
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn sends_again_with_a_later_time_after_409() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.platform.plan(&[Fault::Status(409)]);
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    assert_eq!(delivery.deliver().await, 1, "at once");
    assert_eq!(delivery.platform.points("pupil-7"), Some(7));
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn parks_what_trying_again_would_not_help_and_sends_it_again_on_demand() {
    let delivery = Delivery::start("sqlite::memory:").await;
    for (user, status) in [("pupil-1", 400), ("pupil-2", 403), ("pupil-3", 404), ("pupil-4", 422)] {
        delivery.platform.plan(&[Fault::Status(status)]);
        delivery.submit(user, 5).await;
        delivery.deliver().await;
        let (state, problem) = delivery.state(user).await;
        assert_eq!(state, DeliveryState::Parked, "{status}");
        assert!(problem.unwrap().contains(&status.to_string()), "{status}");
    }
    delivery.clock.advance_ms(7 * 24 * 60 * 60 * 1000);
    assert_eq!(delivery.deliver().await, 0, "parked grades are not tried by themselves");
    let queue = delivery.storage.delivery_queue().await.unwrap();
    assert_eq!((queue.waiting, queue.parked), (0, 4));
    assert_eq!(delivery.storage.send_again(&delivery.placement.id, None, &change()).await.unwrap(), 4);
    assert_eq!(delivery.deliver().await, 4);
    assert_eq!(delivery.platform.points("pupil-2"), Some(5));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_set_back_does_not_turn_times_back() {
    let delivery = Delivery::start("sqlite::memory:").await;
    delivery.submit("pupil-7", 4).await;
    delivery.deliver().await;
    delivery.submit("pupil-7", 9).await;
    delivery.clock.advance_ms(-5_000);
    assert_eq!(delivery.deliver().await, 0, "due at the time of the submit");
    delivery.clock.advance_ms(5_000);
    delivery.deliver().await;
    assert_eq!(delivery.platform.points("pupil-7"), Some(9));
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_best_attempt_counts_and_only_the_newest_grade_is_sent() {
    let delivery = Delivery::start("sqlite::memory:").await;
    for points in [4, 9, 6] {
        delivery.submit("pupil-7", points).await;
    }
    assert_eq!(delivery.deliver().await, 1);
    assert_eq!(delivery.platform.points("pupil-7"), Some(9));
    assert_eq!(delivery.platform.timestamps().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_grade_survives_a_stop_between_sending_and_noting() {
    let folder = tempfile::tempdir().unwrap();
    let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
    let (platform, grades) = {
        let delivery = Delivery::start(&store).await;
        delivery.submit("pupil-7", 7).await;
        let room = Room { each: 16, except: [].into() };
        // Leased and perhaps sent, then the process is gone: nothing was noted.
        let leased = delivery
            .storage
            .lease_grades(monday(), "2026-03-02T09:00:00Z".parse().unwrap(), &room)
            .await
            .unwrap();
        assert_eq!(leased.len(), 1);
        delivery.storage.beat(monday()).await.unwrap();
        (delivery.platform, delivery.placement.quiz.grades)
    };
    let restarted = Delivery::open(&store, platform, grades).await;
    assert_eq!(restarted.deliver().await, 0, "the lease holds while its process may live");
    for moment in 0..GONE_AFTER_SIGNS {
        let own = monday() + std::time::Duration::from_secs(u64::from(moment));
        assert_eq!(restarted.storage.beat(own).await.unwrap().released, 0);
    }
    assert_eq!(restarted.storage.beat("2026-03-02T08:10:00Z".parse().unwrap()).await.unwrap().released, 1);
    assert_eq!(restarted.deliver().await, 1);
    assert_eq!(restarted.platform.points("pupil-7"), Some(7));
    assert!(restarted.platform.timestamps()[0] > monday(), "later than the time that may have been sent");
    assert_eq!(restarted.state("pupil-7").await.0, DeliveryState::Delivered);
}

/// Pupils hand in again and again while two processes send: each message goes out once, and of each pupil in order.
#[tokio::test(flavor = "multi_thread")]
async fn two_processes_send_each_grade_once_and_in_order() {
    const PUPILS: u32 = 30;
    let folder = tempfile::tempdir().unwrap();
    let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
    let delivery = Delivery::start(&store).await;
    let other = delivery.another_process(&store).await;
    for points in [3, 6, 9] {
        for pupil in 0..PUPILS {
            delivery.submit(&format!("pupil-{pupil}"), points).await;
            if pupil % 5 == 0 {
                // In the middle of handing in, too.
                let (here, there) = (delivery.app.deliverer.clone(), other.deliverer.clone());
                let (here, there) = tokio::join!(here.deliver_due(), there.deliver_due());
                here.unwrap();
                there.unwrap();
            }
        }
        loop {
            let (here, there) = (delivery.app.deliverer.clone(), other.deliverer.clone());
            let (here, there) = tokio::join!(here.deliver_due(), there.deliver_due());
            if here.unwrap() + there.unwrap() == 0 {
                break;
            }
        }
        delivery.clock.advance_ms(1_000);
    }
    let journal = delivery.platform.book.lock().unwrap().journal.clone();
    assert_eq!(journal.len(), 3 * usize::try_from(PUPILS).unwrap(), "each grade once");
    for pupil in 0..PUPILS {
        let pupil = format!("pupil-{pupil}");
        let theirs = journal.iter().filter(|message| message["userId"] == pupil.as_str());
        let told: Vec<_> = theirs.clone().map(|message| message["scoreGiven"].as_u64().unwrap()).collect();
        assert_eq!(told, [3, 6, 9], "{pupil}");
        let times: Vec<_> = theirs.map(|message| message["timestamp"].as_str().unwrap()).collect();
        assert!(times.windows(2).all(|pair| pair[0] < pair[1]), "{pupil}: {times:?}");
        assert_eq!(delivery.state(&pupil).await, (DeliveryState::Delivered, None));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn says_so_when_the_platform_takes_no_grades() {
    let delivery = Delivery::open("sqlite::memory:", Platform::start(), None).await;
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-7").await;
    assert_eq!(
        (state, problem.as_deref()),
        (DeliveryState::Parked, Some("the platform takes no grades for this link"))
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn says_so_when_the_right_to_send_scores_is_missing() {
    let platform = Platform::start();
    let endpoint = GradeEndpoint {
        line_item: Some(format!("{}/items/9", platform.url).parse().unwrap()),
        line_items: None,
        scopes: [LINE_ITEM.to_owned()].into(),
    };
    let delivery = Delivery::open("sqlite::memory:", platform, Some(endpoint)).await;
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-7").await;
    assert_eq!(state, DeliveryState::Parked);
    assert!(problem.unwrap().contains("does not let us send scores"));
    assert_eq!(
        delivery.platform.book.lock().unwrap().tokens,
        0,
        "no token is asked for what was not granted"
    );
}

/// AGS 2.0, 3.4: the natural pairs of progress (checklist section 3).
#[tokio::test(flavor = "multi_thread")]
async fn tells_of_a_beginning_a_grade_and_a_reset_in_order() {
    let delivery = Delivery::start("sqlite::memory:").await;
    let (placement, user) = (&delivery.placement.id, "pupil-7".into());
    let announce = Announce::Begun { maximum: 10 };
    delivery.storage.start_attempt(placement, &user, "seed", announce, monday()).await.unwrap();
    delivery.deliver().await;
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    // A second attempt begins and is not handed in: nothing may be said that would clear the grade.
    delivery.storage.start_attempt(placement, &user, "seed", announce, monday()).await.unwrap();
    assert_eq!(delivery.deliver().await, 0);
    delivery.storage.reset_pupil(placement, &user, &change()).await.unwrap();
    delivery.deliver().await;
    let journal = delivery.platform.book.lock().unwrap().journal.clone();
    let told: Vec<_> = journal
        .iter()
        .map(|message| {
            let text = |name: &str| message[name].as_str().unwrap().to_owned();
            (text("activityProgress"), text("gradingProgress"), message["scoreGiven"].as_u64())
        })
        .collect();
    let row = |activity: &str, grading: &str, given| (activity.to_owned(), grading.to_owned(), given);
    assert_eq!(
        told,
        [
            row("Started", "NotReady", None),
            row("Completed", "FullyGraded", Some(7)),
            row("Initialized", "NotReady", None),
        ]
    );
    for message in [&journal[0], &journal[2]] {
        for absent in ["scoreGiven", "scoreMaximum", "submission"] {
            assert!(message.get(absent).is_none(), "{absent} in {message}");
        }
    }
    assert_eq!(delivery.platform.points("pupil-7"), None, "the grade is cleared");
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_platform_that_is_out_is_left_alone_and_another_is_not() {
    let delivery = Delivery::start("sqlite::memory:").await;
    let other = Platform::start();
    let registered = delivery.storage.put_registration(registration(&other), &change()).await.unwrap();
    let endpoint = GradeEndpoint {
        line_item: Some(format!("{}/items/9", other.url).parse().unwrap()),
        line_items: None,
        scopes: [SCORE.to_owned()].into(),
    };
    let link = LinkKey { registration: registered.id, ..delivery.placement.quiz.link.clone() };
    let quiz = NewPlacement { link, grades: Some(endpoint), ..delivery.placement.quiz.clone() };
    let elsewhere = place(delivery.storage.as_ref(), quiz).await;

    delivery.platform.plan(&[Fault::Status(503); 20]);
    for number in 0..20 {
        delivery.submit(&format!("pupil-{number:02}"), 7).await;
    }
    assert_eq!(delivery.deliver().await, 20, "one batch");
    // Eight are on their way at once; those whose turn comes after the fifth failure are put back.
    let sent = delivery.platform.timestamps().len();
    assert!((5..=12).contains(&sent), "{sent} were sent");
    delivery.platform.recover();
    assert_eq!(delivery.deliver().await, 0, "five failures in a row, and nothing more is sent");
    submit(delivery.storage.as_ref(), &elsewhere, "pupil-1", 3).await;
    assert_eq!(delivery.deliver().await, 1, "the other platform does not notice");
    assert_eq!(other.points("pupil-1"), Some(3));

    delivery.platform.plan(&[Fault::Status(503)]);
    delivery.clock.advance_ms(5_000);
    delivery.deliver().await;
    assert_eq!(delivery.platform.timestamps().len(), sent + 1, "one try to see whether it is back");
    let numbers = delivery.app.metrics.render(Some(Default::default()), true, delivery.clock.as_ref());
    let open =
        format!("tenths_platform_circuit{{platform=\"{}\"}} 2", delivery.placement.quiz.link.registration);
    assert!(numbers.contains(&open), "{numbers}");
    let refused = format!("tenths_grade_refusals_total{{class=\"5xx\"}} {}", sent + 1);
    assert!(numbers.contains(&refused), "{numbers}");
    delivery.clock.advance_ms(3_000);
    assert_eq!(delivery.deliver().await, 0, "the pause is longer now");
    let waiting = delivery.storage.deliveries_at(&delivery.placement.id).await.unwrap();
    assert!(
        waiting.iter().filter(|waiting| waiting.tries == 0).count() >= 20 - sent - 1,
        "what was not sent has not failed"
    );

    delivery.clock.advance_ms(60_000);
    while delivery.deliver().await > 0 {}
    for number in 0..20 {
        assert_eq!(delivery.platform.points(&format!("pupil-{number:02}")), Some(7), "{number}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_server_sends_at_once_after_a_submit_and_stops_cleanly() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    tool.launch_with(&login, &tool.claims(&login)).await;
    let placement = tool.storage.placements().await.unwrap().pop().unwrap();
    submit(tool.storage.as_ref(), &placement, "pupil-7", 7).await;
    tool.server.app.waker.wake();
    let limit = Instant::now() + Duration::from_secs(10);
    while tool.platform.points("pupil-7").is_none() {
        assert!(Instant::now() < limit, "the grade did not arrive");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    tool.server.stop().await;
    assert!(tool.client.get(format!("{}/health/live", tool.url)).send().await.is_err(), "nobody answers");
}
