//! A quiz opens and closes: before, within, at the end, after. The clock of these tests shows 09:15.

use super::*;
use crate::closing;
use crate::storage::{DeliveryState, LinkOpening};
use crate::texts::Texts;
use crate::windows::{Edge, Said};

const MINUTE_MS: i64 = 60 * 1000;

impl School {
    /// The quiz with these windows from now on, as a launch that names them makes it.
    async fn with_windows(edges: &[(Edge, &str)]) -> Self {
        let mut school = Self::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
        let edges = edges.iter().map(|(edge, at)| (*edge, at.parse().unwrap()));
        let windows = Windows::placed(edges, Some("America/Chicago".parse().unwrap()));
        let id = school.placement.id.clone();
        school.app.storage.set_windows(&id, &windows, &change()).await.unwrap();
        school.placement = school.app.storage.placement(&id).await.unwrap().unwrap();
        school
    }

    async fn open_until_half_past_nine() -> Self {
        Self::with_windows(&[(Edge::SubmissionUntil, "2026-03-02T09:30:00Z")]).await
    }
}

/// A time in Chicago as pages say it.
fn told(time: &str) -> String {
    Texts::of("en-US").date_time(time.parse().unwrap(), &"America/Chicago".parse().unwrap())
}

#[actix_web::test]
async fn before_it_opens_a_kind_page_says_when_and_nothing_starts() {
    let school = School::with_windows(&[(Edge::AvailableFrom, "2026-03-02T15:00:00Z")]).await;
    let pupil = school.pupil("p-07").await;
    let page = pupil.get(&pupil.start).await;
    assert_eq!(page.status, StatusCode::OK);
    let when = told("2026-03-02T15:00:00Z");
    assert!(page.body.contains("not open yet") && page.body.contains(&when), "{}", page.body);
    assert!(!page.body.contains("<button"), "{}", page.body);
    assert_eq!(pupil.post_form(&pupil.start, &[]).await.status, StatusCode::CONFLICT);
    assert!(school.attempts("p-07").await.is_empty());
    let page = school.teacher().await.get(&format!("/class/{}", school.placement.id)).await.body;
    assert!(page.contains(&format!("not yet: from {when}")), "{page}");

    school.clock.advance_ms(345 * MINUTE_MS);
    let pupil = school.pupil("p-07").await;
    pupil.begin("p-07").await;
    let page = school.teacher().await.get(&format!("/class/{}", school.placement.id)).await.body;
    assert!(page.contains(&format!("<dd>from {when}")), "{page}");
}

#[actix_web::test]
async fn after_the_end_results_stay_and_nothing_starts() {
    let school = School::open_until_half_past_nine().await;
    let pupil = school.pupil("p-07").await;
    assert!(pupil.get(&pupil.start).await.body.contains("Hand in until"));
    let (path, attempt) = pupil.begin("p-07").await;
    assert!(pupil.get(&path).await.body.contains(&format!("Hand in until {}", told("2026-03-02T09:30:00Z"))));
    pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;

    school.clock.advance_ms(15 * MINUTE_MS);
    let start = pupil.get(&pupil.start).await.body;
    assert!(start.contains("This quiz has ended") && start.contains("Attempt 1:"), "{start}");
    assert_eq!(pupil.post_form(&pupil.start, &[]).await.status, StatusCode::CONFLICT);
    let result = pupil.get(&path).await.body;
    assert!(result.contains("does not take new attempts") && !result.contains("<button"), "{result}");
    assert_eq!(school.attempts("p-07").await.len(), 1);
}

#[actix_web::test]
async fn answers_on_their_way_at_the_end_still_count() {
    let school = School::open_until_half_past_nine().await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    school.clock.advance_ms(16 * MINUTE_MS - 1);
    assert_eq!(closing::close_overdue(&school.app).await.unwrap(), 0, "the minute of grace is not over");
    pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    let result = school.attempts("p-07").await.pop().unwrap().result.unwrap();
    assert_eq!(result.points, result.maximum);
}

/// Saved answers are in, later ones are not, whether the pupil comes back late or never.
#[actix_web::test]
async fn what_was_saved_is_handed_in_at_the_end() {
    let school = School::open_until_half_past_nine().await;
    for user in ["late", "never", "preview"] {
        let pupil = school.pupil(user).await;
        let (path, attempt) = pupil.begin(user).await;
        let saved = school.fields(&attempt, right);
        pupil.post_form(&format!("{path}/save"), &saved[..1]).await;
    }
    school.launch(member("preview", Part::Preview)).await;
    school.clock.advance_ms(16 * MINUTE_MS);

    let pupil = school.pupil("late").await;
    let attempt = school.attempts("late").await.pop().unwrap();
    let path = format!("/quiz/{}/{}", attempt.placement, attempt.id);
    let answer = pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    assert_eq!((answer.status, answer.location), (StatusCode::SEE_OTHER, format!("{path}?ended=yes")));
    let page = pupil.get(&format!("{path}?ended=yes")).await.body;
    assert!(page.contains("What you had saved was handed in for you"), "{page}");
    assert_eq!(closing::close_overdue(&school.app).await.unwrap(), 2);
    assert_eq!(closing::close_overdue(&school.app).await.unwrap(), 0);

    for user in ["late", "never", "preview"] {
        let attempt = school.attempts(user).await.pop().unwrap();
        let points = school.questions(&attempt)[0].steps[0].points;
        let result = attempt.result.unwrap();
        assert_eq!(
            (result.points, result.submitted_at.to_string().as_str()),
            (points, "2026-03-02T09:30:00Z"),
            "{user}"
        );
    }
    let deliveries = school.app.storage.deliveries_at(&school.placement.id).await.unwrap();
    let grades = deliveries.iter().filter(|delivery| delivery.progress.score().is_some());
    let queued: Vec<_> = grades.map(|delivery| (delivery.user.as_str(), delivery.state)).collect();
    assert_eq!(
        queued,
        [("late", DeliveryState::Waiting), ("never", DeliveryState::Waiting)],
        "no grade of a preview"
    );
}

/// As in a copied course, whose links still carry last year's dates, on a platform that keeps none.
#[actix_web::test]
async fn a_teacher_changes_times_that_the_course_does_not_set() {
    let school = School::with_windows(&[(Edge::SubmissionUntil, "2025-03-02T09:30:00Z")]).await;
    let teacher = school.teacher().await;
    let path = format!("{}/times", teacher.start);
    assert!(teacher.get(&teacher.start).await.body.contains(&format!("href=\"{path}\"")));
    let page = teacher.get(&path).await.body;
    assert!(page.contains("value=\"2025-03-02T03:30\""), "as it is in Chicago: {page}");
    let form = |until: &str, zone: &str| {
        [("submission_from", "2026-03-02T03:00"), ("submission_until", until), ("time_zone", zone)]
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
    };
    for (until, zone, problem) in [
        ("2026-03-02T02:00", "America/Chicago", "The end must come after the beginning"),
        ("2026-03-02T05:00", "Atlantis/Old_Town", "Please choose a time zone"),
    ] {
        let answer = teacher.post_form(&path, &form(until, zone)).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(answer.body.contains(problem), "{}", answer.body);
    }
    let sound = form("2026-03-02T05:00", "America/Chicago");
    assert_eq!(teacher.post(&path, &sound).await.status, StatusCode::FORBIDDEN, "without the token");
    assert_eq!(teacher.post_form(&path, &sound).await.status, StatusCode::SEE_OTHER);
    school.pupil("p-07").await.begin("p-07").await;

    let said = [(Edge::AvailableUntil, Said::read("2026-03-02T12:00:00Z"))].into();
    let link = link_to(&school.placement, member("teacher", Part::Teacher));
    follow(school.app.storage.as_ref(), LinkOpening { windows: said, ..link }).await;
    assert!(teacher.get(&teacher.start).await.body.contains("set by your course"));
    let refused = teacher.post_form(&path, &sound).await;
    assert!(refused.body.contains("please change them there"), "{}", refused.body);
    let pupil = school.pupil("p-07").await;
    assert_eq!(pupil.get(&path).await.status, StatusCode::FORBIDDEN);
}
