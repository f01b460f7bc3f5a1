//! The service is killed again and again while pupils hand in and grades are delivered: what was acknowledged arrives, once.
//!
//! Each round three pupils open the quiz and begin; all hand in at the same moment, and at a random moment of the next
//! half second the service is killed with SIGKILL and started again; who saw no result hands in again, as a pupil would. Meanwhile
//! the platform is slow, cuts off answers or is out for some calls, as the round's chance has it.
//!
//! `TENTHS_KILL_ROUNDS` says how many rounds (15), `TENTHS_KILL_SEED` repeats the moments and troubles of an earlier run.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::time::Duration;

use conformance::chance::Chance;
use conformance::stage::Stage;
use conformance::{school, wait_for};
use qbank::pool::Pool;
use service::demo::visitor::{Form, Visitor};
use service::practice::{Fault, JournalEntry, Outcome, Person, PlannedFault};
use service::storage;
use tokio::task::JoinSet;

const ROUNDS: u64 = 15;
const PUPILS_A_ROUND: u64 = 3;
/// The kill falls into one of these times after handing in has begun: while answers are taken, or while grades are sent.
const KILL_WITHIN_MS: [u64; 2] = [40, 500];
const DELIVERED_WITHIN: Duration = Duration::from_secs(120);

/// What the platform does wrong in a round.
fn trouble(chance: &mut Chance) -> Option<PlannedFault> {
    let planned = |fault, times| Some(PlannedFault { fault, times: Some(times) });
    match chance.below(4) {
        0 => None,
        1 => planned(Fault::Slow { delay_ms: 20 + chance.below(200) }, 6),
        2 => planned(Fault::ConnectionCut, 2),
        _ => planned(Fault::Unavailable, 2),
    }
}

fn setting(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name} is not a whole number: {text}")))
}

fn id(number: u64) -> String {
    format!("p-{number:04}")
}

fn name(number: u64) -> String {
    format!("Pupil Number{number:04}")
}

/// Points of two that a pupil is going to have.
fn points(number: u64) -> u64 {
    number % 3
}

/// A pupil with an attempt open and the answers filled in.
async fn ready(stage: &Stage, number: u64, pool: &Pool) -> (Visitor, Form) {
    let mut pupil = stage.school.enter(&name(number)).await;
    pupil.follow("Open").await.unwrap();
    if !pupil.page().unwrap().says("Go on with your attempt") {
        pupil.submit(school::press(&pupil, "Start")).await.unwrap();
    } else {
        pupil.follow("Go on with your attempt").await.unwrap();
    }
    let right = usize::try_from(points(number)).unwrap();
    let form = school::answered(&pupil, right, pool).with("allow_empty", "yes");
    (pupil, form)
}

/// Hands in; true when the pupil sees a result.
async fn is_acknowledged(mut pupil: Visitor, form: Form) -> bool {
    pupil.submit(form).await.is_ok() && pupil.page().is_ok_and(|page| page.says("points"))
}

/// One round; returns how many hand-ins the kill left without an answer.
async fn round(stage: &mut Stage, number: u64, chance: &mut Chance, pool: &Pool) -> usize {
    let pupils = (number * PUPILS_A_ROUND + 1)..=(number + 1) * PUPILS_A_ROUND;
    let mut handing_in = JoinSet::new();
    let mut prepared = Vec::new();
    for pupil in pupils {
        prepared.push((pupil, ready(stage, pupil, pool).await));
    }
    stage.school.practice.set_fault(trouble(chance));
    for (number, (pupil, form)) in prepared {
        handing_in.spawn(async move { (number, is_acknowledged(pupil, form).await) });
    }
    let within_ms = KILL_WITHIN_MS[usize::from(chance.below(2) == 1)];
    tokio::time::sleep(Duration::from_millis(chance.below(within_ms))).await;
    stage.kill();
    let answers = handing_in.join_all().await;
    stage.restart().await;
    let unanswered: Vec<_> = answers.iter().filter(|(_, seen)| !seen).map(|(number, _)| *number).collect();
    for number in &unanswered {
        hand_in_again(stage, *number, pool).await;
    }
    unanswered.len()
}

/// Who saw no result opens the quiz again: it may have been handed in, or is still open.
async fn hand_in_again(stage: &Stage, number: u64, pool: &Pool) {
    let mut pupil = stage.school.enter(&name(number)).await;
    pupil.follow("Open").await.unwrap();
    if pupil.page().unwrap().says("1 of 2 used") && !pupil.page().unwrap().says("is open") {
        return;
    }
    let (pupil, form) = ready(stage, number, pool).await;
    assert!(is_acknowledged(pupil, form).await, "{number} sees no result while nothing is killed");
}

fn recorded(entry: &JournalEntry) -> bool {
    matches!(entry.outcome, Outcome::Recorded | Outcome::RecordedUnanswered)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_acknowledged_arrives_once_however_often_the_service_is_killed() {
    let rounds = setting("TENTHS_KILL_ROUNDS").unwrap_or(ROUNDS);
    let seed = setting("TENTHS_KILL_SEED").unwrap_or_else(Chance::fresh_seed);
    // Straight to standard error, because the test harness swallows what is printed.
    let say = |line: String| drop(writeln!(std::io::stderr(), "{line}"));
    say(format!("kill loop: {rounds} rounds, TENTHS_KILL_SEED={seed}"));
    let mut chance = Chance::seeded(seed);
    let acknowledged = rounds * PUPILS_A_ROUND;
    let pupils = (1..=acknowledged).map(|number| Person { id: id(number), name: name(number) });
    let mut stage = Stage::set_with_pupils(pupils.collect()).await;
    let pool = school::pool();
    let mut unanswered = 0;
    for number in 0..rounds {
        unanswered += round(&mut stage, number, &mut chance, &pool).await;
    }
    stage.school.practice.set_fault(None);
    let store = storage::open(&stage.store()).unwrap();
    wait_for("all grades", DELIVERED_WITHIN, async || {
        let queue = store.delivery_queue().await.unwrap();
        assert_eq!((queue.parked, queue.held), (0, 0), "nothing needs a person");
        (queue.waiting == 0).then_some(())
    })
    .await;
    let judged = judge(&stage, acknowledged);
    say(format!(
        "kill loop: {rounds} kills; submits acknowledged {acknowledged} (of them {unanswered} at the second try), grades in \
         the gradebook {}, lost {}, doubled {}, out of order {}; sent again after a lost answer {}",
        judged.arrived, judged.lost, judged.doubled, judged.out_of_order, judged.sent_again
    ));
    assert_eq!((judged.arrived, judged.lost, judged.doubled, judged.out_of_order), (acknowledged, 0, 0, 0));
}

#[derive(Debug, Default)]
struct Judged {
    arrived: u64,
    lost: u64,
    doubled: u64,
    out_of_order: u64,
    sent_again: usize,
}

/// Compares the gradebook with what pupils earned, and reads the journal for order.
fn judge(stage: &Stage, pupils: u64) -> Judged {
    let gradebook = stage.school.practice.gradebook();
    let mut heard: BTreeMap<String, Vec<JournalEntry>> = BTreeMap::new();
    for entry in stage.school.practice.journal().into_iter().filter(recorded) {
        heard.entry(entry.message.user_id.clone()).or_default().push(entry);
    }
    let mut judged = Judged::default();
    for number in 1..=pupils {
        let row = gradebook.rows.iter().find(|row| row.pupil.id == id(number)).unwrap();
        let cells: Vec<_> = row.cells.iter().flatten().filter_map(|cell| cell.points).collect();
        let arrived = cells.len() == 1 && cells[0].to_string() == points(number).to_string();
        judged.arrived += u64::from(arrived);
        judged.lost += u64::from(cells.is_empty());
        judged.doubled += u64::try_from(cells.len().saturating_sub(1)).unwrap();
        let messages = heard.get(&id(number)).map_or(&[][..], Vec::as_slice);
        let ordered = messages.windows(2).all(|pair| {
            let (before, after) = (&pair[0].message, &pair[1].message);
            before.timestamp < after.timestamp && before.score_given <= after.score_given
        });
        judged.out_of_order += u64::from(!ordered);
        let grades = messages.iter().filter(|entry| entry.message.score_given.is_some()).count();
        judged.sent_again += grades.saturating_sub(1);
    }
    judged
}
