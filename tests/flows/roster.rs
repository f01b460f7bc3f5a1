//! The people of a course: who has not started, who has left, whose name is kept, and what is deleted on request.

use std::time::Duration;

use conformance::program::{run, run_well};
use conformance::school::{self, PUPIL_ID, press};
use conformance::stage::Stage;
use conformance::wait_for;
use service::demo::visitor::Visitor;
use service::practice::MemberStatus;

const WITHIN: Duration = Duration::from_secs(60);
/// Names of the school's people.
const NAMES: [&str; 3] = ["Ines", "Jonte", "Tannberg"];

/// The teacher on the class page.
async fn class_page(stage: &Stage) -> Visitor {
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Open").await.unwrap();
    teacher
}

/// The pupil hands in, with all answers right.
async fn hand_in(stage: &Stage) {
    let mut pupil = stage.school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 2).await;
    stage.school.grades_arrived(WITHIN).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_class_page_tells_who_has_not_started_and_who_has_left() {
    let stage = Stage::set().await;
    let teacher = class_page(&stage).await;
    let page = teacher.page().unwrap();
    assert!(page.says("Not started yet: 2") && page.says("0 of 2 pupils, 0 have started"), "{}", page.gist());
    hand_in(&stage).await;
    let mut teacher = class_page(&stage).await;
    let page = teacher.page().unwrap();
    assert!(page.says("Not started yet: 1") && page.says("1 of 2 pupils, 1 have started"), "{}", page.gist());

    stage.school.practice.set_status(PUPIL_ID, MemberStatus::Inactive);
    stage.school.practice.set_status("p-02", MemberStatus::Deleted);
    wait_for("the list to be read again", WITHIN, async || {
        let form = press(&teacher, "Read the class list again");
        teacher.submit(form).await.unwrap();
        teacher.page().unwrap().says("left the course").then_some(())
    })
    .await;
    let page = teacher.page().unwrap();
    assert!(page.says("Not started yet: 0") && page.says("0 of 0 pupils"), "{}", page.gist());
}

#[tokio::test(flavor = "multi_thread")]
async fn without_the_setting_no_name_is_kept_anywhere() {
    let stage = Stage::set().await;
    hand_in(&stage).await;
    let teacher = class_page(&stage).await;
    assert!(teacher.page().unwrap().says("p-02"), "the class list was read");
    assert!(stage.files_hold("p-02"), "and stored");
    for name in NAMES {
        assert!(!teacher.page().unwrap().says(name) && !stage.files_hold(name), "{name}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn with_the_setting_names_are_on_the_class_page_and_nowhere_else_until_it_ends() {
    let mut stage = Stage::set_with(&["--names"]).await;
    hand_in(&stage).await;
    let teacher = class_page(&stage).await;
    let page = teacher.page().unwrap();
    assert!(page.says("Ines") && page.says("Jonte") && !page.says("Tannberg"), "{}", page.gist());
    assert!(!stage.files_hold("Tannberg"), "a teacher's name is not needed");
    for name in NAMES {
        assert!(!stage.log().contains(name), "{name} is in the log");
    }
    // Started again without the setting, the service forgets.
    stage.die_and_restart(|_| {}).await;
    for name in NAMES {
        assert!(!stage.files_hold(name), "{name}");
    }
    assert!(!class_page(&stage).await.page().unwrap().says("Ines"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pupil_is_given_out_and_deleted_without_a_trace() {
    let stage = Stage::set().await;
    hand_in(&stage).await;
    class_page(&stage).await;
    let issuer = stage.school.practice.registration().issuer;
    let store = stage.store();
    let person = ["--store", &store, "--issuer", &issuer, "--pupil", PUPIL_ID];
    let held = run_well(["held"].into_iter().chain(person));
    let held: serde_json::Value = serde_json::from_str(&held).unwrap();
    assert_eq!(held["quizzes"][0]["attempts"][0]["points"], 2);
    assert_eq!(held["quizzes"][0]["grade"]["state"], "delivered");

    let counted = run_well(["purge", "--dry-run"].into_iter().chain(person));
    assert!(counted.starts_with("would be deleted: 1 people at quizzes, 1 attempts, 1 grades"), "{counted}");
    assert!(stage.files_hold(PUPIL_ID));
    let deleted = run_well(["purge"].into_iter().chain(person));
    assert!(deleted.starts_with("deleted: 1 people at quizzes, 1 attempts, 1 grades"), "{deleted}");
    assert!(!stage.files_hold(PUPIL_ID), "the id is left in a file");
    assert!(stage.files_hold("p-02"), "another pupil's is not");
    let again = run_well(["purge"].into_iter().chain(person));
    assert!(again.starts_with("deleted: 0 people"), "{again}");
    // The service goes on, and the pupil can begin anew.
    hand_in(&stage).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_purge_says_what_it_needs_to_know() {
    let folder = tempfile::tempdir().unwrap();
    let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
    for (arguments, code, words) in [
        (vec!["purge", "--store", &store], 2, "--pupil"),
        (vec!["purge", "--store", &store, "--pupil", "p-01"], 2, "--issuer"),
        (vec!["purge", "--store", &store, "--older-than", "400"], 2, "a number of days"),
        (
            vec!["purge", "--store", &store, "--older-than", "9d", "--platform", "https://x.test"],
            2,
            "cannot be used with",
        ),
        (vec!["purge", "--store", &store, "--platform", "https://x.test"], 1, "no platform with that issuer"),
        (
            vec!["held", "--store", &store, "--issuer", "https://x.test", "--pupil", "p"],
            1,
            "no platform with that issuer",
        ),
        (vec!["purge", "--store", &store, "--older-than", "400d", "--json"], 0, ""),
    ] {
        let ended = run(&arguments);
        assert_eq!(ended.code, code, "{arguments:?}: {}", ended.stderr);
        assert!(ended.stderr.contains(words), "{arguments:?}: {}", ended.stderr);
    }
}
