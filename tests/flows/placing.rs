//! Placing by deep linking in its variants: several quizzes at once, windows that the platform moves later, a platform
//! that takes less.

use conformance::school::{self, press};
use conformance::stage::Stage;
use conformance::wait_for;
use service::demo::visitor::Visitor;
use service::practice::{LinkTimes, Period, Placing};

const WITHIN: std::time::Duration = std::time::Duration::from_secs(60);

/// The pupil opens the activity of that number, from 1, on the course page.
async fn open(stage: &Stage, number: usize) -> Visitor {
    let (link, _) = stage.school.practice.links()[number - 1].clone();
    let mut pupil = stage.school.pupil().await;
    let address = format!("{}/links/{link}/open", stage.school.practice.base_url());
    pupil.open(&address).await.unwrap();
    pupil
}

#[tokio::test(flavor = "multi_thread")]
async fn two_quizzes_of_one_pool_have_columns_of_their_own() {
    let stage = Stage::set().await;
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Add an activity").await.unwrap();
    let form = press(&teacher, "Add another quiz").with("pool", "river-day").with("title", "Monday");
    teacher.submit(form.with("questions", "2").with("attempts", "1")).await.unwrap();
    let form = press(&teacher, "Place these 2 quizzes").with("2.title", "Friday").with("2.questions", "2");
    assert_eq!(form.value("title"), Some("Monday"), "what was typed is still there");
    teacher.submit(form).await.unwrap();
    let page = teacher.page().unwrap();
    assert!(
        page.says("Monday") && page.says("Friday") && page.says("2 quizzes were placed."),
        "{}",
        page.gist()
    );

    // The stage has placed one before.
    let columns = stage.school.practice.gradebook().columns;
    let labels: Vec<_> = columns.iter().map(|column| column.label.as_str()).collect();
    assert_eq!(labels, ["River day: decimals", "Monday", "Friday"]);
    let mut pupil = open(&stage, 3).await;
    let start = press(&pupil, "Start");
    pupil.submit(start).await.unwrap();
    school::hand_in(&mut pupil, 2).await;
    stage.school.grades_arrived(WITHIN).await;
    let gradebook = stage.school.practice.gradebook();
    let row = gradebook.rows.iter().find(|row| row.pupil.id == school::PUPIL_ID).unwrap();
    let points: Vec<_> = row.cells.iter().map(|cell| cell.as_ref().and_then(|cell| cell.points)).collect();
    assert!(points[0].is_none() && points[1].is_none() && points[2].is_some(), "{points:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quiz_opens_when_the_platform_says_not_when_it_was_placed() {
    let stage = Stage::set().await;
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Add an activity").await.unwrap();
    let form = press(&teacher, "Place this quiz").with("pool", "river-day").with("questions", "2");
    let form = form.with("time_zone", "America/Chicago").with("available_from", "2099-03-02T09:15");
    teacher.submit(form).await.unwrap();
    let pupil = open(&stage, 2).await;
    let page = pupil.page().unwrap();
    assert!(page.says("This quiz is not open yet."), "{}", page.gist());
    assert!(page.says("Monday, March 2, 2099 at 9:15"), "{}", page.gist());

    let (link, _) = stage.school.practice.links()[1].clone();
    let since = Period { start_date_time: Some("2026-03-02T15:15:00Z".into()), end_date_time: None };
    let open_now = LinkTimes { available: since, submission: Period::default() };
    assert!(stage.school.practice.set_times(&link, open_now.clone()));
    let mut pupil = open(&stage, 2).await;
    let start = press(&pupil, "Start");
    pupil.submit(start).await.unwrap();
    school::hand_in(&mut pupil, 2).await;

    let until = Period { start_date_time: None, end_date_time: Some("2026-03-03T15:15:00Z".into()) };
    assert!(stage.school.practice.set_times(&link, LinkTimes { submission: until, ..open_now }));
    let pupil = open(&stage, 2).await;
    let page = pupil.page().unwrap();
    assert!(page.says("This quiz has ended.") && page.says("Attempt 1: 2 of 2 points"), "{}", page.gist());
    assert!(page.form_with_button("Try again").is_err());

    assert!(stage.school.practice.set_times(&link, LinkTimes::default()));
    assert!(open(&stage, 2).await.page().unwrap().form_with_button("Try again").is_ok(), "no dates any more");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_platform_that_takes_one_link_without_column_gets_that() {
    let stage = Stage::set().await;
    stage.school.practice.set_placing(Placing { accept_multiple: false, accept_lineitem: false });
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Add an activity").await.unwrap();
    let page = teacher.page().unwrap();
    assert!(page.says("takes no gradebook column") && page.form_with_button("Add another quiz").is_err());
    let form = press(&teacher, "Place this quiz").with("pool", "river-day").with("questions", "2");
    teacher.submit(form).await.unwrap();
    assert_eq!(stage.school.practice.links().len(), 2);
    assert_eq!(stage.school.practice.gradebook().columns.len(), 1, "only the stage's own");

    // The platform lets us make the column ourselves, and so the grade arrives all the same.
    let mut pupil = open(&stage, 2).await;
    let start = press(&pupil, "Start");
    pupil.submit(start).await.unwrap();
    school::hand_in(&mut pupil, 1).await;
    wait_for("a column made by the service", WITHIN, async || {
        (stage.school.practice.gradebook().columns.len() == 2).then_some(())
    })
    .await;
    assert_eq!(stage.school.grades_arrived(WITHIN).await, ["1"]);
}
