//! A table of faults: 200 pupils hand in while the platform misbehaves in one way, and every grade arrives once, in order.
//!
//! Real are the service (its worker, store, tokens, calls) and the practice platform, with real clocks and signatures, and
//! the placing and first opening of the quiz over HTTP. Simulated is what 200 browsers would do: attempts are begun and
//! handed in at the service's store, in the steps that its pages use. The judge is the platform's journal.

use std::collections::BTreeMap;
use std::fmt;
use std::io::Write as _;
use std::net::{Ipv4Addr, TcpListener};
use std::sync::Arc;
use std::time::{Duration, Instant};

use conformance::school::School;
use conformance::wait_for;
use service::clock::{Clock, SystemClock};
use service::practice::{Fault, JournalEntry, Outcome, Person, PlannedFault, Points};
use service::server::Server;
use service::settings::{ServeArguments, Settings};
use service::storage::{
    self, Actor, Announce, AttemptResult, Change, Choice, DeliveryQuery, DeliveryState, NewRegistration,
    Placement, Responses, Started, Storage, Submission,
};
use tokio::task::JoinSet;

const PUPILS: u32 = 200;
const MAXIMUM: u32 = 10;
/// How long a row may take until nothing waits any more, on a busy machine.
const ALL_WITHIN: Duration = Duration::from_secs(420);
/// How many rows are played at once: mostly they wait, and the other tests want the machine, too.
const ROWS_AT_ONCE: usize = 5;

/// What happens to the class.
#[derive(Debug, Clone)]
enum Trouble {
    None,
    /// From the first beginning to the last grade.
    Throughout(Fault),
    /// Three calls in a row fail, again and again for some seconds.
    Bursts(Fault),
    /// Once, when grades are on their way.
    Once(Fault),
    /// The teacher gives every second pupil another mark; a better grade follows; they choose theirs and ours by turns.
    OtherMarks,
    /// The teacher empties every cell; better grades follow.
    EmptiedCells,
    /// The teacher resets every second pupil, who begins anew.
    Resets,
}

/// What the journal and the gradebook say of a row.
#[derive(Debug, Default)]
struct Figures {
    expected: usize,
    in_gradebook: usize,
    lost: usize,
    doubled: usize,
    out_of_order: usize,
    messages: usize,
    /// Of the messages; what was turned away at the door (503 everywhere, out) is not in the journal.
    refused: usize,
}

impl fmt::Display for Figures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:>8} {:>9} {:>4} {:>7} {:>12} {:>8} {:>7}",
            self.expected,
            self.in_gradebook,
            self.lost,
            self.doubled,
            self.out_of_order,
            self.messages,
            self.refused
        )
    }
}

/// A service and a platform with 200 pupils and one quiz.
struct Stage {
    school: School,
    server: Server,
    storage: Arc<dyn Storage>,
    placement: Placement,
    _folder: tempfile::TempDir,
}

fn pupil(number: u32) -> String {
    format!("p-{number:03}")
}

impl Stage {
    async fn set() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let person = |number| Person { id: pupil(number), name: format!("Pupil Number{number}") };
        let school = School::open_for(&url, (1..=PUPILS).map(person).collect()).await;
        let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
        let storage = storage::open(&store).unwrap();
        storage.put_pool(storage::StoredPool::of(&conformance::school::pool())).await.unwrap();
        let change = Change { at: SystemClock.now(), by: Actor::CommandLine };
        storage.put_registration(registration(&school), &change).await.unwrap();
        let arguments =
            ServeArguments::on_loopback(listener.local_addr().unwrap(), url.parse().unwrap(), &store);
        let settings = Settings::check(arguments).unwrap();
        let server = Server::start(listener, settings, storage.clone(), Arc::new(SystemClock)).await.unwrap();
        school.place_quiz().await;
        // A link becomes a placement when somebody opens it.
        school.enter("Pupil Number1").await.follow("Open").await.unwrap();
        let placement = storage.placements().await.unwrap().pop().unwrap();
        Self { school, server, storage, placement, _folder: folder }
    }

    fn change(&self) -> Change {
        Change { at: self.server.app.clock.now(), by: Actor::CommandLine }
    }

    /// What the quiz page does when a pupil begins.
    async fn begin(&self, number: u32) -> storage::AttemptId {
        let (now, announce) = (self.server.app.clock.now(), Announce::Begun { maximum: MAXIMUM });
        let user = pupil(number).as_str().into();
        let started =
            self.storage.start_attempt(&self.placement.id, &user, "seed", announce, now).await.unwrap();
        self.server.app.waker.wake();
        match started {
            Started::Open(attempt) => attempt.id,
            other => panic!("no attempt for {number}: {other:?}"),
        }
    }

    /// What the quiz page does when a pupil hands in.
    async fn hand_in(&self, attempt: storage::AttemptId, points: u32) {
        let at = self.server.app.clock.now();
        let result = AttemptResult {
            submitted_at: at,
            marks: "[]".to_owned(),
            points,
            maximum: MAXIMUM,
            overrides: Vec::new(),
        };
        let submission = Submission { attempt, responses: Responses::new(), result, deliver: true, at };
        self.storage.submit_attempt(submission).await.unwrap();
        self.server.app.waker.wake();
    }

    async fn hand_in_once(&self, number: u32, points: u32) {
        let attempt = self.begin(number).await;
        self.hand_in(attempt, points).await;
    }

    async fn nothing_waits(&self, what: &str) {
        wait_for(what, ALL_WITHIN, async || {
            let queue = self.storage.delivery_queue().await.unwrap();
            assert_eq!(queue.parked, 0, "{what}: {:?}", self.parked().await);
            (queue.waiting == 0).then_some(())
        })
        .await;
    }

    /// Why grades need a person.
    async fn parked(&self) -> Option<String> {
        let query =
            DeliveryQuery { state: Some(DeliveryState::Parked), limit: 1, ..DeliveryQuery::default() };
        self.storage.deliveries(&query).await.unwrap().pop()?.problem
    }

    fn fault(&self, fault: &Fault, times: Option<u32>) {
        self.school.practice.set_fault(Some(PlannedFault { fault: fault.clone(), times }));
    }

    /// Three failures at a time, with room for a success in between.
    async fn bursts(&self, fault: &Fault) {
        let until = Instant::now() + Duration::from_secs(6);
        while Instant::now() < until {
            self.fault(fault, Some(3));
            tokio::time::sleep(Duration::from_millis(60)).await;
        }
        self.school.practice.set_fault(None);
    }

    async fn judged(&self, expected: &BTreeMap<u32, u32>, resets: bool) -> Figures {
        let journal = self.school.practice.journal();
        let gradebook = self.school.practice.gradebook();
        let mut figures = Figures { expected: expected.len(), messages: journal.len(), ..Figures::default() };
        figures.refused = journal.iter().filter(|entry| !recorded(entry)).count();
        for (number, points) in expected {
            let heard: Vec<_> = journal
                .iter()
                .filter(|entry| entry.message.user_id == pupil(*number) && recorded(entry))
                .collect();
            figures.doubled += usize::from(is_doubled(&heard));
            figures.out_of_order += usize::from(!in_order(&heard, resets));
            let row = gradebook.rows.iter().find(|row| row.pupil.id == pupil(*number)).unwrap();
            let cells: Vec<_> = row.cells.iter().flatten().filter_map(|cell| cell.points).collect();
            // The column may have another maximum; the quiz of these tests is worth two points.
            let shown = Points::from(*points).decimal() * gradebook.columns[0].maximum.decimal();
            let arrived = cells.len() == 1 && cells[0].decimal() * Points::from(MAXIMUM).decimal() == shown;
            figures.in_gradebook += usize::from(arrived);
            figures.lost += usize::from(!arrived);
            figures.doubled += cells.len().saturating_sub(1);
        }
        figures
    }
}

fn registration(school: &School) -> NewRegistration {
    let known = school.practice.registration();
    NewRegistration {
        issuer: known.issuer,
        client_id: known.client_id.as_str().into(),
        authorization_url: known.authorization_url.parse().unwrap(),
        token_url: known.token_url.parse().unwrap(),
        keys_url: known.keys_url.parse().unwrap(),
        audience: None,
        deployments: [known.deployment_id.as_str().into()].into(),
    }
}

fn recorded(entry: &JournalEntry) -> bool {
    matches!(entry.outcome, Outcome::Recorded | Outcome::RecordedUnanswered)
}

/// Whether a grade was put on record again although its sender had been told that it was there.
fn is_doubled(heard: &[&JournalEntry]) -> bool {
    heard.windows(2).any(|pair| {
        let said = |entry: &JournalEntry| (entry.message.activity_progress, entry.message.score_given);
        pair[0].outcome == Outcome::Recorded && said(pair[0]) == said(pair[1])
    })
}

/// Whether times strictly increase, and no message takes back what an earlier one told unless there were resets.
fn in_order(heard: &[&JournalEntry], resets: bool) -> bool {
    heard.windows(2).all(|pair| {
        let (before, after) = (&pair[0].message, &pair[1].message);
        before.timestamp < after.timestamp && (resets || before.score_given <= after.score_given)
    })
}

/// The first attempt's points of a pupil, from 0 to 7, and a better one.
fn first(number: u32) -> u32 {
    number % 8
}

fn better(number: u32) -> u32 {
    first(number) + 2
}

/// Plays a row and judges it.
async fn play(trouble: Trouble) -> Figures {
    let stage = Arc::new(Stage::set().await);
    if let Trouble::Throughout(fault) = &trouble {
        stage.fault(fault, None);
    }
    let mut open = Vec::new();
    for number in 1..=PUPILS {
        open.push(stage.begin(number).await);
    }
    stage.nothing_waits("beginnings").await;

    let mut expected: BTreeMap<u32, u32> = (1..=PUPILS).map(|number| (number, first(number))).collect();
    let bursts = match &trouble {
        Trouble::Bursts(fault) => {
            let (stage, fault) = (stage.clone(), fault.clone());
            Some(tokio::spawn(async move { stage.bursts(&fault).await }))
        }
        Trouble::Once(fault) => {
            let times = if matches!(fault, Fault::Outage { .. }) { None } else { Some(1) };
            stage.fault(fault, times);
            None
        }
        _ => None,
    };
    let mut handing_in = JoinSet::new();
    for (number, attempt) in (1..=PUPILS).zip(open) {
        let stage = stage.clone();
        handing_in.spawn(async move { stage.hand_in(attempt, first(number)).await });
    }
    handing_in.join_all().await;
    if matches!(trouble, Trouble::OtherMarks | Trouble::EmptiedCells | Trouble::Resets) {
        stage.nothing_waits("first grades").await;
    }
    second_round(&stage, &trouble, &mut expected).await;
    if let Some(bursts) = bursts {
        bursts.await.unwrap();
    }
    stage.nothing_waits(&format!("{trouble:?}")).await;
    stage.judged(&expected, matches!(trouble, Trouble::Resets)).await
}

/// Every second pupil does better a second time, mostly while first grades are still on their way.
async fn second_round(stage: &Stage, trouble: &Trouble, expected: &mut BTreeMap<u32, u32>) {
    for number in (2..=PUPILS).step_by(2) {
        match trouble {
            Trouble::OtherMarks => stage.school.practice.set_mark(&pupil(number), Some(Points::from(1))),
            Trouble::EmptiedCells => stage.school.practice.set_mark(&pupil(number), None),
            Trouble::Resets => {
                let user = pupil(number).as_str().into();
                stage.storage.reset_pupil(&stage.placement.id, &user, &stage.change()).await.unwrap();
            }
            _ => {}
        }
        stage.hand_in_once(number, better(number)).await;
        expected.insert(number, better(number));
    }
    if matches!(trouble, Trouble::OtherMarks) {
        stage.nothing_waits("held grades").await;
        let queue = stage.storage.delivery_queue().await.unwrap();
        assert_eq!(queue.held, PUPILS / 2, "every other mark holds the grade");
        for number in (2..=PUPILS).step_by(2) {
            let (choice, points) = match number % 4 {
                0 => (Choice::SendOurs, better(number)),
                // One of the column's two points.
                _ => (Choice::KeepTheirs, MAXIMUM / 2),
            };
            let user = pupil(number).as_str().into();
            stage.storage.settle(&stage.placement.id, &user, choice, &stage.change()).await.unwrap();
            expected.insert(number, points);
        }
        stage.server.app.waker.wake();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_grades_arrive_once_and_in_order_whatever_the_platform_does() {
    let rows = [
        ("none", Trouble::None),
        ("slow: 150 ms each", Trouble::Throughout(Fault::Slow { delay_ms: 150 })),
        ("429, Retry-After 1", Trouble::Bursts(Fault::TooManyRequests { retry_after_s: 1 })),
        ("500", Trouble::Bursts(Fault::ServerError)),
        ("503 everywhere", Trouble::Bursts(Fault::Unavailable)),
        ("cut off after processing", Trouble::Bursts(Fault::ConnectionCut)),
        ("401 once, token revoked", Trouble::Once(Fault::TokenRefused)),
        ("clock a minute ahead", Trouble::Throughout(Fault::ClockAhead { ahead_ms: 60_000 })),
        ("out for 6 s", Trouble::Once(Fault::Outage { for_ms: 6_000 })),
        ("in another order", Trouble::Throughout(Fault::Reordered { delay_ms: 150 })),
        ("other marks by the teacher", Trouble::OtherMarks),
        ("cells emptied", Trouble::EmptiedCells),
        ("work reset by the teacher", Trouble::Resets),
    ];
    // Waiting closures cannot go from thread to thread, so this thread plays all rows; services and platforms have others.
    let here = tokio::task::LocalSet::new();
    let _here = here.enter();
    let turns = Arc::new(tokio::sync::Semaphore::new(ROWS_AT_ONCE));
    let mut playing = JoinSet::new();
    for (place, (name, trouble)) in rows.into_iter().enumerate() {
        let turns = turns.clone();
        playing.spawn_local(async move {
            let _turn = turns.acquire_owned().await.unwrap();
            (place, name, play(trouble).await)
        });
    }
    let mut played = here.run_until(playing.join_all()).await;
    played.sort_by_key(|(place, ..)| *place);
    let mut table = format!(
        "{:<28}{:>8} {:>9} {:>4} {:>7} {:>12} {:>8} {:>7}\n",
        "fault", "expected", "gradebook", "lost", "doubled", "out of order", "messages", "refused"
    );
    for (_, name, figures) in &played {
        table.push_str(&format!("{name:<28}{figures}\n"));
    }
    // Straight to standard error, because the test harness swallows what is printed.
    let _ = std::io::stderr().write_all(table.as_bytes());
    for (_, name, figures) in &played {
        assert_eq!(figures.expected, usize::try_from(PUPILS).unwrap(), "{name}");
        assert_eq!(figures.in_gradebook, figures.expected, "{name}\n{table}");
        assert_eq!((figures.lost, figures.doubled, figures.out_of_order), (0, 0, 0), "{name}\n{table}");
    }
}
