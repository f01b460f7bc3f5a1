//! The service dies between a pupil's handing in and the grade's delivery: the grade arrives all the same, once.

use std::time::Duration;

use conformance::program::{run, run_well};
use conformance::stage::Stage;
use conformance::{school, wait_for};
use service::practice::{Fault, JournalEntry, Outcome, PlannedFault};

/// How long a grade may take that waits for its next try, on a busy machine.
const DELIVERY_WITHIN: Duration = Duration::from_secs(60);

fn recorded(entry: &JournalEntry) -> bool {
    matches!(entry.outcome, Outcome::Recorded | Outcome::RecordedUnanswered)
}

fn points(entry: &JournalEntry) -> String {
    let message = &entry.message;
    format!("{} of {}", message.score_given.unwrap(), message.score_maximum.unwrap())
}

fn assert_timestamps_increase(heard: &[JournalEntry]) {
    let times: Vec<_> = heard.iter().map(|entry| entry.message.timestamp).collect();
    assert!(times.is_sorted_by(|earlier, later| earlier < later), "{times:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_grade_that_could_not_be_delivered_before_a_kill_arrives_once_after_the_restart() {
    let mut stage = Stage::set().await;
    stage.school.practice.set_fault(Some(PlannedFault { fault: Fault::Unavailable, times: None }));
    let mut pupil = stage.school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 1).await;
    assert!(stage.school.heard().is_empty(), "nothing gets through while the platform is out");

    stage.die_and_restart(|school| school.practice.set_fault(None)).await;
    let school = &stage.school;
    assert_eq!(school.grades_arrived(DELIVERY_WITHIN).await, ["1"], "one of two points");
    let heard = school.heard();
    assert_eq!(heard.iter().filter(|entry| recorded(entry)).count(), 1, "{heard:?}");
    assert_eq!(points(&heard[0]), "1 of 2");

    // The attempt from before the kill still counts as used, and a better one raises the grade.
    let mut pupil = school.pupil().await;
    school::begin(&mut pupil, "Try again").await;
    school::hand_in(&mut pupil, 2).await;
    wait_for("the better grade", DELIVERY_WITHIN, async || (school.grades() == ["2"]).then_some(())).await;
    let heard = school.heard();
    assert_eq!(heard.len(), 2, "one message for each grade, none doubled: {heard:?}");
    assert_timestamps_increase(&heard);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_grade_whose_answer_was_cut_off_is_sent_again_and_stays_one_grade() {
    let mut stage = Stage::set().await;
    // The platform keeps the score, and the service cannot know: neither before the kill nor after it.
    stage.school.practice.set_fault(Some(PlannedFault { fault: Fault::ConnectionCut, times: None }));
    let mut pupil = stage.school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 2).await;
    let school = &stage.school;
    wait_for("a score that was cut off", DELIVERY_WITHIN, async || school.graded().first().map(|_| ())).await;

    stage.die_and_restart(|school| school.practice.set_fault(None)).await;
    let school = &stage.school;
    wait_for("a score that is answered", DELIVERY_WITHIN, async || {
        school.graded().last().filter(|entry| entry.outcome == Outcome::Recorded).map(|_| ())
    })
    .await;
    let heard = school.graded();
    assert!(heard.len() >= 2 && heard.iter().all(recorded), "{heard:?}");
    assert!(heard.iter().all(|entry| points(entry) == "2 of 2"), "{heard:?}");
    assert_timestamps_increase(&school.heard());
    assert_eq!(school.grades(), ["2"], "one column, one grade");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_placed_pool_is_not_replaced_by_another_under_its_id() {
    let stage = Stage::set().await;
    // A link becomes a placement when somebody opens it.
    stage.school.pupil().await.follow("Open").await.unwrap();
    let load = |seed: &str| {
        let pool = stage.pool_file(seed);
        ["load".to_owned(), pool.display().to_string(), "--store".to_owned(), stage.store()]
    };
    run_well(load("river-day-1"));
    let refused = run(load("river-day-2"));
    assert_eq!(refused.code, 1, "{}", refused.stdout);
    for said in ["'river-day' is placed in courses", "under another id"] {
        assert!(refused.stderr.contains(said), "{}", refused.stderr);
    }
}
