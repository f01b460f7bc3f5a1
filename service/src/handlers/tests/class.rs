//! The teacher's pages.

use super::*;
use crate::clock::plus_ms;
use crate::storage::{DeliveryOutcome, Drift, GradebookMark, Room};

fn everything() -> Room {
    Room { each: 10, except: [].into() }
}

/// Two pupils have handed in: `p-07` all right, `p-08` with one slip; `p-09` is still at work.
async fn class() -> School {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    for user in ["p-08", "p-07", "p-09"] {
        let pupil = school.pupil(user).await;
        let (path, attempt) = pupil.begin(user).await;
        let fields = school.fields(&attempt, |item, step| match (user, item.steps.len()) {
            ("p-07", _) | (_, 1) => right(item, step),
            _ => one_slip(item)[step].clone(),
        });
        if user != "p-09" {
            pupil.post_form(&format!("{path}/submit"), &fields).await;
        }
    }
    school
}

#[actix_web::test]
async fn the_class_is_listed_best_first_with_the_state_of_each_grade() {
    let school = class().await;
    let page = school.teacher().await.get(&format!("/class/{}/grades", school.placement.id)).await.body;
    let place = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text}: {page}"));
    assert!(place("p-07") < place("p-08") && place("p-08") < place("p-09"));
    assert!(page.contains("2 of 3 who started") && page.contains("1: open"), "{page}");
    assert_eq!(page.matches("</span>waiting").count(), 2);
    assert_eq!(page.matches("</span>has begun").count(), 1, "{page}");
    assert!(page.contains("3 messages on the way, the first since 2026-03-02 09:15 UTC"), "{page}");
    assert!(page.contains("The platform does not let us read its gradebook"), "{page}");
}

#[actix_web::test]
async fn a_grade_that_could_not_be_delivered_says_why_and_can_be_sent_again() {
    let school = class().await;
    let storage = &school.app.storage;
    let now = school.app.clock.now();
    for grade in storage.lease_grades(now, plus_ms(now, 1000), &everything()).await.unwrap() {
        let problem = "the activity is closed in the course".into();
        let outcome = match grade.user.as_str() {
            "p-07" | "p-09" => DeliveryOutcome::Delivered,
            _ => DeliveryOutcome::Parked { problem },
        };
        storage.finish_grade(&grade, &outcome, now).await.unwrap();
    }
    let teacher = school.teacher().await;
    let page = teacher.grades().await;
    assert!(page.contains("</span>delivered"), "{page}");
    assert!(page.contains("could not be delivered") && page.contains("The activity is closed"), "{page}");

    let path = format!("{}/send-again", teacher.start);
    assert_eq!(teacher.post(&path, &[]).await.status, StatusCode::FORBIDDEN, "without the token");
    assert_eq!(teacher.post_form(&path, &[]).await.status, StatusCode::SEE_OTHER);
    let page = teacher.grades().await;
    assert!(page.contains("</span>waiting") && !page.contains("could not be delivered"), "{page}");
}

fn naming(pupil: &str, more: &[(&str, &str)]) -> Vec<(String, String)> {
    let fields = [("pupil", pupil)].into_iter().chain(more.iter().copied());
    fields.map(|(name, value)| (name.to_owned(), value.to_owned())).collect()
}

#[actix_web::test]
async fn a_held_grade_is_settled_by_the_teacher() {
    let school = class().await;
    let storage = &school.app.storage;
    let now = school.app.clock.now();
    for grade in storage.lease_grades(now, plus_ms(now, 1000), &everything()).await.unwrap() {
        let found = GradebookMark { points: 9.into(), maximum: 10.into() };
        storage
            .finish_grade(&grade, &DeliveryOutcome::Held { drift: Drift::Different, found }, now)
            .await
            .unwrap();
    }
    let teacher = school.teacher().await;
    let page = teacher.grades().await;
    assert!(
        page.contains("held: the gradebook has another mark") && page.contains("shows 9 of 10"),
        "{page}"
    );
    let path = format!("{}/settle", teacher.start);
    assert_eq!(teacher.post(&path, &naming("p-07", &[])).await.status, StatusCode::FORBIDDEN);
    assert_eq!(teacher.post_form(&path, &naming("p-07", &[])).await.status, StatusCode::BAD_REQUEST);
    for (pupil, choice) in [("p-07", "send_ours"), ("p-08", "keep_theirs"), ("p-08", "keep_theirs")] {
        let answer = teacher.post_form(&path, &naming(pupil, &[("choice", choice)])).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
    }
    let page = teacher.grades().await;
    assert!(page.contains("not sent: the gradebook’s mark stays"), "{page}");
    assert_eq!(page.matches("</span>waiting").count(), 1, "{page}");
}

#[actix_web::test]
async fn a_reset_pupil_begins_anew_and_an_open_page_of_before_leads_nowhere() {
    let school = class().await;
    let teacher = school.teacher().await;
    let (pupil, before) = (school.pupil("p-07").await, school.attempts("p-07").await);
    let path = format!("{}/reset", teacher.start);
    assert_eq!(teacher.post(&path, &naming("p-07", &[])).await.status, StatusCode::FORBIDDEN, "no token");
    assert_eq!(teacher.post_form(&path, &[]).await.status, StatusCode::BAD_REQUEST, "nobody named");
    assert_eq!(teacher.post_form(&path, &naming("p-07", &[])).await.status, StatusCode::SEE_OTHER);
    assert!(school.attempts("p-07").await.is_empty());
    let old = format!("{}/{}", pupil.start, before[0].id);
    assert_eq!(pupil.get(&old).await.status, StatusCode::NOT_FOUND);
    let start = pupil.get(&pupil.start).await.body;
    assert!(start.contains("0 of 2 used"), "{start}");
    assert_eq!(pupil.begin("p-07").await.1.number, 1);
    let other = pupil.post_form(&path, &naming("p-08", &[])).await;
    assert_eq!(other.status, StatusCode::FORBIDDEN, "a pupil resets nobody");
}

#[actix_web::test]
async fn an_attempt_shows_what_wrong_answers_are_consistent_with() {
    let school = class().await;
    let teacher = school.teacher().await;
    let attempt = &school.attempts("p-08").await[0];
    let page = teacher.get(&format!("{}/{}", teacher.start, attempt.id)).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.body.contains("Answers consistent with"), "{}", page.body);
    assert!(page.body.contains("Right when worked from the pupil's own earlier value"), "{}", page.body);
    let open = &school.attempts("p-09").await[0];
    assert_eq!(teacher.get(&format!("{}/{}", teacher.start, open.id)).await.status, StatusCode::NOT_FOUND);
}

#[actix_web::test]
async fn a_pupil_sees_no_teachers_page() {
    let school = class().await;
    let pupil = school.pupil("p-07").await;
    for path in [format!("/class/{}", school.placement.id), "/class/place".into()] {
        assert_eq!(pupil.get(&path).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    assert_eq!(school.stranger().get("/class/place").await.status, StatusCode::UNAUTHORIZED);
}

#[actix_web::test]
async fn a_placed_quiz_goes_back_to_the_platform() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let teacher = school.placing().await;
    let page = teacher.get("/class/place").await.body;
    assert!(page.contains("River day: decimals") && page.contains("10 questions, aligned to"), "{page}");
    let answer = teacher.post_form("/class/place", &draft("river-day", "5", "3")).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
    assert!(answer.body.contains("name=\"JWT\""), "{}", answer.body);
    assert!(answer.policy.contains("form-action https://platform.example.org"), "{}", answer.policy);
    let cancelled = teacher.post_form("/class/place", &[("cancel".into(), "yes".into())]).await;
    assert!(cancelled.body.contains("name=\"JWT\""), "{}", cancelled.body);
}

#[actix_web::test]
async fn a_quiz_that_cannot_be_placed_says_what_to_change() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let teacher = school.placing().await;
    for (fields, expected) in [
        (draft("nowhere", "5", "3"), "Please choose a question pool."),
        (draft("river-day", "11", "3"), "questions for each pupil must be a whole number from 1 to 10"),
        (draft("river-day", "0", "3"), "questions for each pupil must be a whole number from 1 to 10"),
        (draft("river-day", "5", "many"), "attempts for each pupil must be a whole number from 1 to 20"),
        (with_dates("", "soon"), "\"pupils can hand in until\" must be a date and a time"),
        (with_dates("2026-03-05T09:00", "2026-03-04T09:00"), "The end must come after the beginning"),
        // The clock shows 09:15 UTC, which is 03:15 in Chicago.
        (with_dates("", "2026-03-02T03:15"), "The end lies in the past"),
    ] {
        let answer = teacher.post_form("/class/place", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(answer.body.contains(expected), "{expected}: {}", answer.body);
    }
    let answer = teacher.post("/class/place", &draft("river-day", "5", "3")).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN, "without the token");
}

fn draft(pool: &str, questions: &str, attempts: &str) -> Vec<(String, String)> {
    let zone = "America/Chicago";
    [("pool", pool), ("title", ""), ("questions", questions), ("attempts", attempts), ("time_zone", zone)]
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .into()
}

/// A sound draft with dates in Chicago's time: opening, and end of handing in.
fn with_dates(opens: &str, closes: &str) -> Vec<(String, String)> {
    let mut fields = draft("river-day", "5", "3");
    fields.push(("available_from".into(), opens.into()));
    fields.push(("submission_until".into(), closes.into()));
    fields
}

/// What an answered placing page sends to the platform; its signature is checked in the tests of the messages.
fn claims_sent(answer: &Answer) -> serde_json::Value {
    use base64::Engine;
    let token = answer.body.split("name=\"JWT\" value=\"").nth(1).expect("the form carries a token");
    let payload = token.split('.').nth(1).unwrap();
    serde_json::from_slice(&base64::engine::general_purpose::URL_SAFE_NO_PAD.decode(payload).unwrap())
        .unwrap()
}

fn items_sent(answer: &Answer) -> Vec<serde_json::Value> {
    let claims = claims_sent(answer);
    claims["https://purl.imsglobal.org/spec/lti-dl/claim/content_items"].as_array().unwrap().clone()
}

/// Checklist section 2: several items are several members, each with its own `resourceId`.
#[actix_web::test]
async fn several_quizzes_are_placed_at_once_each_with_its_own_column() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let teacher = school.placing_with(|request| request.accept_multiple = true).await;
    let mut fields = draft("river-day", "5", "3");
    fields.push(("more".into(), "yes".into()));
    let page = teacher.post_form("/class/place", &fields).await.body;
    assert!(page.contains("name=\"2.pool\"") && page.contains("Place these 2 quizzes"), "{page}");

    let mut fields = draft("river-day", "5", "3");
    for (name, value) in [
        ("quizzes", "3"),
        ("2.pool", "river-day"),
        ("2.title", "The same once more"),
        ("2.questions", "2"),
        ("2.attempts", "1"),
        ("2.released", "yes"),
        ("2.submission_until", "2026-03-09 17:00"),
        ("3.pool", "nowhere"),
        ("3.leave_out", "yes"),
    ] {
        fields.push((name.into(), value.into()));
    }
    let answer = teacher.post_form("/class/place", &fields).await;
    let items = items_sent(&answer);
    assert_eq!(items.len(), 2, "the third was left out");
    let ids: Vec<_> = items.iter().map(|item| item["lineItem"]["resourceId"].as_str().unwrap()).collect();
    assert_ne!(ids[0], ids[1]);
    for (item, id) in items.iter().zip(&ids) {
        assert_eq!(item["custom"]["quiz"], *id, "the link knows its column also in a copied course");
    }
    assert_eq!(
        (&items[1]["title"], &items[1]["custom"]["questions"]),
        (&"The same once more".into(), &"2".into())
    );
    assert_eq!(
        items[1]["submission"]["endDateTime"], "2026-03-09T22:00:00Z",
        "17:00 in Chicago's summer time"
    );
    assert_eq!(
        (&items[0]["lineItem"]["gradesReleased"], &items[1]["lineItem"]["gradesReleased"]),
        (&false.into(), &true.into())
    );
    assert_eq!(
        claims_sent(&answer)["https://purl.imsglobal.org/spec/lti-dl/claim/msg"],
        "2 quizzes were placed."
    );

    let fields = [("2.pool", "nowhere"), ("quizzes", "2")].map(|(name, value)| (name.into(), value.into()));
    let fields = [draft("river-day", "5", "3"), fields.into()].concat();
    let page = teacher.post_form("/class/place", &fields).await;
    assert!(page.body.contains("Quiz 2: Please choose a question pool."), "{}", page.body);
}

/// Checklist section 2: `accept_multiple` false or absent: at most one item.
#[actix_web::test]
async fn a_platform_that_takes_one_link_gets_one_and_is_not_offered_more() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let teacher = school.placing().await;
    assert!(!teacher.get("/class/place").await.body.contains("Add another quiz"));
    let more = [("2.pool", "river-day"), ("2.questions", "2"), ("2.attempts", "1"), ("quizzes", "2")];
    let more = more.map(|(name, value)| (name.into(), value.into()));
    let answer =
        teacher.post_form("/class/place", &[draft("river-day", "5", "3"), more.into()].concat()).await;
    assert_eq!(items_sent(&answer).len(), 1);
}

/// Checklist section 2: `accept_lineitem` false: line items are ignored, so warn the teacher; absent: no assumption.
#[actix_web::test]
async fn a_platform_without_columns_is_told_to_the_teacher_beforehand() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    for (accepts, warned) in [(Some(false), true), (Some(true), false), (None, false)] {
        let teacher = school.placing_with(|request| request.accept_line_item = accepts).await;
        let page = teacher.get("/class/place").await.body;
        assert_eq!(page.contains("takes no gradebook column"), warned, "{accepts:?}");
    }
}

#[actix_web::test]
async fn going_back_sends_an_empty_answer_and_says_why_where_nothing_could_be_chosen() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let cancel = [("cancel".to_owned(), "yes".to_owned())];
    let claims = claims_sent(&school.placing().await.post_form("/class/place", &cancel).await);
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti-dl/claim/content_items"], serde_json::json!([]));
    let problem = "https://purl.imsglobal.org/spec/lti-dl/claim/errormsg";
    assert!(claims.get(problem).is_none());
    let empty = School::without_pool().await;
    let claims = claims_sent(&empty.placing().await.post_form("/class/place", &cancel).await);
    assert!(claims[problem].as_str().unwrap().contains("No question pool is loaded yet"));
}
