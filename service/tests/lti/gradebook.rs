//! Results read back (AGS 2.0, 3.3; checklist section 3): a teacher's own mark is never overwritten unseen.

use serde_json::{Value, json};
use service::storage::{Announce, Choice, DeliveryState, Drift, GradeEndpoint};

use crate::delivery::{Delivery, SCORE};
use crate::platform::{Fault, Platform};
use crate::tool::{change, monday};

const RESULT: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly";

/// A platform that lets its results be read, where `pupil-7` has 7 of 10.
async fn graded(scopes: &[&str]) -> Delivery {
    let platform = Platform::start();
    let endpoint = GradeEndpoint {
        line_item: Some(format!("{}/items/9?t=1", platform.url).parse().unwrap()),
        line_items: None,
        scopes: scopes.iter().map(|scope| (*scope).to_owned()).collect(),
    };
    let delivery = Delivery::open("sqlite::memory:", platform, Some(endpoint)).await;
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    assert_eq!(delivery.platform.points("pupil-7"), Some(7));
    delivery
}

impl Delivery {
    fn teacher_marks(&self, user: &str, percent: u32) {
        self.platform.book.lock().unwrap().teachers_marks.insert(user.to_owned(), json!(percent));
    }

    fn teachers_mark(&self, user: &str) -> Option<u64> {
        self.platform.book.lock().unwrap().teachers_marks.get(user).and_then(Value::as_u64)
    }

    async fn drift(&self, user: &str) -> Option<(Drift, Option<String>)> {
        let all = self.storage.deliveries_at(&self.placement.id).await.unwrap();
        let cell = all.into_iter().find(|delivery| delivery.user.as_str() == user).unwrap().cell;
        Some((cell.drift?, cell.found.map(|found| found.to_string())))
    }

    async fn settle(&self, choice: Choice) -> bool {
        self.storage.settle(&self.placement.id, &"pupil-7".into(), choice, &change()).await.unwrap()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_better_grade_is_held_where_a_teacher_gave_a_mark_until_they_choose() {
    let delivery = graded(&[SCORE, RESULT]).await;
    assert_eq!(
        delivery.platform.book.lock().unwrap().result_reads,
        0,
        "a first grade is sent without a look"
    );
    delivery.teacher_marks("pupil-7", 80);
    delivery.submit("pupil-7", 9).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Held);
    assert_eq!(delivery.teachers_mark("pupil-7"), Some(80), "untouched");
    assert_eq!(delivery.drift("pupil-7").await, Some((Drift::Different, Some("80 of 100".to_owned()))));

    assert!(delivery.settle(Choice::KeepTheirs).await);
    assert_eq!(delivery.deliver().await, 0);
    delivery.submit("pupil-7", 10).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Held, "a still better grade asks again");

    // The teacher sees 80 and says 'send ours', but has meanwhile changed the mark: that is asked again, too.
    assert!(delivery.settle(Choice::SendOurs).await);
    delivery.teacher_marks("pupil-7", 85);
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Held);
    assert!(delivery.settle(Choice::SendOurs).await);
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Delivered);
    assert_eq!((delivery.platform.points("pupil-7"), delivery.teachers_mark("pupil-7")), (Some(10), None));
    assert_eq!(delivery.drift("pupil-7").await, None);
    delivery.assert_times_increase();
}

#[tokio::test(flavor = "multi_thread")]
async fn our_own_grade_on_another_scale_or_with_a_lost_answer_holds_nothing() {
    let delivery = graded(&[SCORE, RESULT]).await;
    // 8 of 10 arrives as 80 of 100 and its answer is lost; then 9 of 10 follows.
    delivery.platform.plan(&[Fault::DropAfterProcessing]);
    delivery.submit("pupil-7", 8).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Waiting);
    delivery.submit("pupil-7", 9).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-7").await.0, DeliveryState::Delivered);
    assert_eq!(delivery.platform.points("pupil-7"), Some(9));
}

#[tokio::test(flavor = "multi_thread")]
async fn comparing_reports_what_differs_and_sends_nothing() {
    let delivery = graded(&[SCORE, RESULT]).await;
    for user in ["pupil-8", "pupil-9"] {
        delivery.submit(user, 5).await;
    }
    delivery.deliver().await;
    let sent = delivery.platform.timestamps().len();
    delivery.teacher_marks("pupil-7", 95);
    delivery.platform.book.lock().unwrap().scores.remove("pupil-8");
    let reading = delivery.app.deliverer.compare(&delivery.placement.id).await.unwrap().unwrap();
    assert_eq!(reading.problem, None);
    assert_eq!(delivery.drift("pupil-7").await, Some((Drift::Different, Some("95 of 100".to_owned()))));
    assert_eq!(delivery.drift("pupil-8").await, Some((Drift::Missing, None)));
    assert_eq!(delivery.drift("pupil-9").await, None);
    assert_eq!(
        (delivery.deliver().await, delivery.platform.timestamps().len()),
        (0, sent),
        "nothing is sent"
    );

    // A missing mark overwrites nobody's: the better grade goes there.
    delivery.submit("pupil-8", 6).await;
    delivery.deliver().await;
    assert_eq!(delivery.platform.points("pupil-8"), Some(6));
    // What was put right again is no difference.
    delivery.teacher_marks("pupil-7", 70);
    delivery.app.deliverer.compare(&delivery.placement.id).await.unwrap();
    assert_eq!(delivery.drift("pupil-7").await, None);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_given_before_our_first_grade_holds_it_once_it_was_seen() {
    let delivery = graded(&[SCORE, RESULT]).await;
    let (placement, user) = (&delivery.placement.id, "pupil-8".into());
    let announce = Announce::Begun { maximum: 10 };
    delivery.storage.start_attempt(placement, &user, "seed", announce, monday()).await.unwrap();
    delivery.deliver().await;
    delivery.teacher_marks("pupil-8", 60);
    delivery.app.deliverer.compare(placement).await.unwrap();
    assert_eq!(delivery.drift("pupil-8").await, Some((Drift::Own, Some("60 of 100".to_owned()))));
    delivery.submit("pupil-8", 9).await;
    delivery.deliver().await;
    assert_eq!(delivery.state("pupil-8").await.0, DeliveryState::Held);
    assert_eq!(delivery.teachers_mark("pupil-8"), Some(60));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reset_is_the_teachers_own_wish_and_asks_nobody() {
    let delivery = graded(&[SCORE, RESULT]).await;
    delivery.teacher_marks("pupil-7", 80);
    delivery.storage.reset_pupil(&delivery.placement.id, &"pupil-7".into(), &change()).await.unwrap();
    delivery.deliver().await;
    assert_eq!((delivery.platform.points("pupil-7"), delivery.teachers_mark("pupil-7")), (None, None));
}

#[tokio::test(flavor = "multi_thread")]
async fn without_the_right_to_read_grades_are_sent_as_usual_and_comparing_says_so() {
    let delivery = graded(&[SCORE]).await;
    delivery.teacher_marks("pupil-7", 80);
    delivery.submit("pupil-7", 9).await;
    delivery.deliver().await;
    assert_eq!(delivery.platform.points("pupil-7"), Some(9));
    let reading = delivery.app.deliverer.compare(&delivery.placement.id).await.unwrap().unwrap();
    assert_eq!(reading.problem.as_deref(), Some("the platform does not let us read its gradebook"));
    assert_eq!(delivery.platform.book.lock().unwrap().result_reads, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn columns_are_compared_once_a_day_for_a_fortnight_after_the_last_grade() {
    const DAY_MS: i64 = 24 * 60 * 60 * 1_000;
    let delivery = graded(&[SCORE, RESULT]).await;
    let due = async || delivery.app.deliverer.compare_due().await.unwrap();
    assert_eq!((due().await, due().await), (1, 0));
    delivery.clock.advance_ms(DAY_MS - 1);
    assert_eq!(due().await, 0);
    delivery.teacher_marks("pupil-7", 80);
    delivery.clock.advance_ms(1);
    assert_eq!(due().await, 1);
    assert_eq!(delivery.drift("pupil-7").await, Some((Drift::Different, Some("80 of 100".to_owned()))));
    delivery.clock.advance_ms(13 * DAY_MS);
    assert_eq!(due().await, 0, "the last grade is a fortnight old");
}
