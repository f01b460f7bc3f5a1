//! The teacher's pages.

use super::*;
use crate::clock::plus_ms;
use crate::storage::{Action, AuditQuery, DeliveryOutcome, Drift, GradebookMark, REASON_LENGTH_MAX, Room};

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
    assert!(page.contains("3 messages on the way, the first since Monday, March 2, 2026"), "{page}");
    assert!(page.contains("The platform does not let us read its gradebook"), "{page}");
}

#[actix_web::test]
async fn a_grade_that_could_not_be_delivered_says_why_and_can_be_sent_again() {
    let school = class().await;
    let storage = &school.app.storage;
    let now = school.app.clock.now();
    for grade in storage.lease_grades(now, plus_ms(now, 1000), &everything()).await.unwrap() {
        let problem = "the platform does not allow grades here; the activity may be closed (403)".into();
        let outcome = match grade.user.as_str() {
            "p-07" | "p-09" => DeliveryOutcome::Delivered,
            _ => DeliveryOutcome::Parked { problem },
        };
        storage.finish_grade(&grade, &outcome, now).await.unwrap();
    }
    let teacher = school.teacher().await;
    let page = teacher.grades().await;
    assert!(page.contains("</span>delivered"), "{page}");
    assert!(
        page.contains("could not be delivered")
            && page.contains("The platform does not allow grades here; the activity may be closed (403)."),
        "{page}"
    );

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

/// Posts other points for a step of the first attempt of `p-08`: its question, and the step that was not right.
async fn change_points(teacher: &Browser<'_>, attempt: &Attempt, more: &[(&str, &str)]) -> Answer {
    let (question, step) = slipped(attempt);
    let fields = [("question", question.as_str()), ("step", step.as_str())];
    let fields = fields.into_iter().chain(more.iter().copied());
    let fields: Vec<_> = fields.map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    teacher.post_form(&format!("{}/{}/points", teacher.start, attempt.id), &fields).await
}

/// Question and step of the first wrong answer.
fn slipped(attempt: &Attempt) -> (String, String) {
    let marks = attempt.result.as_ref().unwrap().judged().unwrap();
    let wrong = marks.iter().flat_map(|mark| mark.steps.iter().map(move |step| (mark, step)));
    let (mark, step) = wrong.into_iter().find(|(_, step)| step.points < step.max).unwrap();
    (mark.question.clone(), step.id.clone())
}

#[actix_web::test]
async fn changed_points_with_their_reason_reach_pupil_grade_interface_and_trail_and_can_be_taken_back() {
    let school = class().await;
    let (teacher, pupil) = (school.teacher().await, school.pupil("p-08").await);
    let attempt = school.attempts("p-08").await.remove(0);
    let before = attempt.result.clone().unwrap();
    let most = before
        .judged()
        .unwrap()
        .iter()
        .flat_map(|mark| mark.steps.clone())
        .find(|step| step.points < step.max);
    let (most, reason) = (most.unwrap().max.to_string(), "You told me your way and it is sound");
    let page = teacher.get(&format!("{}/{}", teacher.start, attempt.id)).await.body;
    assert!(page.contains("Change the points") && !page.contains("Back to our points"), "{page}");
    let answer = change_points(&teacher, &attempt, &[("points", &most), ("reason", reason)]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);

    let page = teacher.get(answer.location.split('#').next().unwrap()).await.body;
    assert!(page.contains(&format!("You changed the points from 0 to {most}: {reason}")), "{page}");
    assert!(page.contains("Back to our points (0)"), "{page}");
    let page = pupil.get(&format!("{}/{}", pupil.start, attempt.id)).await.body;
    let told = format!("Changed by your teacher, from 0 to {most} points: {reason}");
    assert!(page.contains(&told) && !page.contains("Change the points"), "{page}");
    let after = school.attempts("p-08").await.remove(0).result.unwrap();
    assert_eq!(after.points, before.points + most.parse::<u32>().unwrap());
    assert_eq!(after.marks, before.marks, "our own marks stay on record");
    let grades = school.app.storage.deliveries_at(&school.placement.id).await.unwrap();
    let grade = grades.iter().find(|grade| grade.user.as_str() == "p-08").unwrap();
    assert_eq!(grade.progress.score().unwrap().points, after.points, "queued for the gradebook");
    let table = teacher.get(&format!("{}/marks.csv", teacher.start)).await.body;
    assert!(
        table.contains(&format!("yes,points changed by the teacher from 0 to {most}: {reason}")),
        "{table}"
    );

    let query = AuditQuery { registration: None, placement: None, before: None, limit: 1 };
    let entry = school.app.storage.audit(&query).await.unwrap().remove(0);
    assert_eq!(entry.action, Action::PointsChanged);
    assert!(entry.detail.contains(&format!("0 to {most} of {most} points")), "{}", entry.detail);
    assert!(!entry.detail.contains("sound"), "a reason may tell of a person: {}", entry.detail);

    let answer = change_points(&teacher, &attempt, &[("restore", "yes")]).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_eq!(school.attempts("p-08").await.remove(0).result.unwrap(), before);
    let entry = school.app.storage.audit(&query).await.unwrap().remove(0);
    assert_eq!(entry.action, Action::PointsRestored);
}

#[actix_web::test]
async fn points_without_a_reason_or_beyond_the_steps_own_are_refused() {
    let school = class().await;
    let teacher = school.teacher().await;
    let attempt = school.attempts("p-08").await.remove(0);
    for (fields, says) in [
        ([("points", "1"), ("reason", " ")], "A reason is needed"),
        ([("points", "999"), ("reason", "why")], "must be a whole number from 0 to"),
        ([("points", "-1"), ("reason", "why")], "must be a whole number from 0 to"),
        ([("points", ""), ("reason", "why")], "must be a whole number from 0 to"),
        ([("step", "elsewhere"), ("points", "1")], "must be a whole number from 0 to"),
    ] {
        let answer = change_points(&teacher, &attempt, &fields).await;
        if fields[0].0 != "step" {
            assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{fields:?}");
            assert!(answer.body.contains(says), "{fields:?}: {}", answer.body);
        }
    }
    let long = "x".repeat(REASON_LENGTH_MAX + 1);
    let answer = change_points(&teacher, &attempt, &[("points", "1"), ("reason", &long)]).await;
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    assert!(school.attempts("p-08").await[0].result.as_ref().unwrap().overrides.is_empty());
    let path = format!("{}/{}/points", teacher.start, attempt.id);
    let nowhere = [("question", "q"), ("step", "s"), ("points", "1"), ("reason", "why")];
    let nowhere: Vec<_> = nowhere.map(|(name, value)| (name.to_owned(), value.to_owned())).into();
    assert_eq!(teacher.post_form(&path, &nowhere).await.status, StatusCode::BAD_REQUEST);
    let open = school.attempts("p-09").await.remove(0);
    let path = format!("{}/{}/points", teacher.start, open.id);
    assert_eq!(
        teacher.post_form(&path, &nowhere).await.status,
        StatusCode::NOT_FOUND,
        "nothing is judged yet"
    );
    let pupil = school.pupil("p-08").await;
    let answer = pupil.post_form(&format!("{}/{}/points", teacher.start, attempt.id), &nowhere).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN, "a pupil changes nothing");
}

#[actix_web::test]
async fn one_pupil_gets_one_more_attempt_and_a_second_press_gives_no_other() {
    let school = class().await;
    let (teacher, pupil, other) =
        (school.teacher().await, school.pupil("p-07").await, school.pupil("p-08").await);
    for browser in [&pupil, &other] {
        let user = if std::ptr::eq(browser, &pupil) { "p-07" } else { "p-08" };
        let (path, attempt) = browser.begin(user).await;
        browser.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
        assert_eq!(browser.post_form(&browser.start, &[]).await.status, StatusCode::CONFLICT, "used up");
    }
    let path = format!("{}/attempts", teacher.start);
    for _ in 0..2 {
        let answer = teacher.post_form(&path, &naming("p-07", &[("extra", "0")])).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
    }
    let page = teacher.grades().await;
    assert!(
        page.contains("1 attempt more than the others") && page.contains("may have 3 attempts"),
        "{page}"
    );
    assert!(pupil.get(&pupil.start).await.body.contains("2 of 3"), "the pupil sees it, too");
    assert_eq!(pupil.begin("p-07").await.1.number, 3);
    assert_eq!(other.post_form(&other.start, &[]).await.status, StatusCode::CONFLICT, "nobody else");
}

/// Three pupils with the same slip in all their answers; one more is right.
async fn class_with_a_misunderstanding() -> School {
    let school = School::open(Placed { questions: 6, attempts: 2, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    for user in ["p-01", "p-02", "p-03", "p-04"] {
        for _ in 0..2 {
            let pupil = school.pupil(user).await;
            let (path, attempt) = pupil.begin(user).await;
            let fields = school.fields(&attempt, |item, step| {
                let step_of = item.steps.iter().find(|its| its.id == step).unwrap();
                let slip = step_of.predicted.iter().find(|wrong| wrong.misconception == "add-right-edge");
                match slip {
                    Some(wrong) if user != "p-04" => wrong.answer.to_string(),
                    _ => right(item, step),
                }
            });
            pupil.post_form(&format!("{path}/submit"), &fields).await;
        }
    }
    school
}

#[actix_web::test]
async fn the_class_page_says_who_needs_what_and_has_questions_for_the_board() {
    let school = class_with_a_misunderstanding().await;
    let teacher = school.teacher().await;
    let page = teacher.get(&teacher.start).await.body;
    let needs = page.split("id=\"map\"").next().unwrap();
    assert!(needs.contains("3 pupils"), "{page}");
    assert!(needs.contains("Answers consistent with lining numbers up at their last digits"), "{page}");
    assert!(needs.contains("What to do next") && needs.contains("place-value paper"), "{page}");
    assert!(needs.contains("for the board") && needs.contains("Show the answer"), "{page}");
    assert_eq!(page.matches("<td class=\"").count(), 4 * (6 + 1), "a cell for each question, and the points");
    assert_eq!(page.matches("<th scope=\"row\"><a href=\"").count(), 4, "one link a pupil for the keyboard");
    assert!(page.len() < 40_000, "{} bytes", page.len());
    let spanish =
        teacher.send(TestRequest::get().uri(&teacher.start).insert_header(("accept-language", "es"))).await;
    assert!(spanish.body.contains("Quién necesita qué") && spanish.body.contains("3 estudiantes"));
    assert!(spanish.body.contains("Respuestas consistentes con: alinear"), "{}", spanish.body);
}

#[actix_web::test]
async fn a_quiz_is_placed_in_three_clicks_with_a_preview_of_three_versions() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let teacher = school.placing().await;
    // What the browser sends after one click on a pool: the form as it stands.
    let page = teacher.get("/class/place").await.body;
    let mut fields = form_of(&page, "/class/place");
    fields.retain(|(name, _)| name != "pool");
    fields.push(("pool".into(), "river-day".into()));
    let preview = teacher.post("/class/place/preview", &fields).await;
    assert_eq!(preview.status, StatusCode::OK, "{}", preview.body);
    assert_eq!(preview.body.matches("<article").count(), 3);
    assert_eq!(preview.body.matches("Question 5").count(), 3, "{}", preview.body);
    let versions: Vec<&str> = preview.body.split("<article").skip(1).collect();
    assert_ne!(versions[0].split("</h3>").nth(1), versions[1].split("</h3>").nth(1), "numbers of their own");
    // The third click: the preview's own form.
    let answer = teacher.post("/class/place", &form_of(&preview.body, "/class/place")).await;
    assert_eq!(items_sent(&answer).len(), 1, "{}", answer.body);

    let mut edit = form_of(&preview.body, "/class/place");
    edit.push(("edit".into(), "yes".into()));
    let page = teacher.post("/class/place", &edit).await.body;
    assert!(page.contains("value=\"river-day\" required checked"), "all that was typed is there: {page}");
    let bad = draft("nowhere", "5", "3");
    let answer = teacher.post_form("/class/place/preview", &bad).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.body.contains("Please choose a question pool."), "{}", answer.body);
}

/// Names and values that the browser would send of the form with that action, no button pressed.
fn form_of(page: &str, action: &str) -> Vec<(String, String)> {
    use scraper::{Html, Selector};
    let page = Html::parse_document(page);
    let fields =
        Selector::parse(&format!("form[action='{action}'] input, form[action='{action}'] select")).unwrap();
    let chosen = Selector::parse("option[selected]").unwrap();
    let mut sent = Vec::new();
    for field in page.select(&fields) {
        let name = field.attr("name").unwrap().to_owned();
        let value = match (field.value().name(), field.attr("type")) {
            ("select", _) => {
                field.select(&chosen).next().and_then(|option| option.attr("value")).unwrap_or_default()
            }
            (_, Some("radio" | "checkbox")) if field.attr("checked").is_none() => continue,
            _ => field.attr("value").unwrap_or_default(),
        };
        sent.push((name, value.to_owned()));
    }
    sent
}

#[actix_web::test]
async fn the_table_has_a_row_for_each_step_and_no_formula() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let fields = school.fields(&attempt, |_, _| "=1+1".into());
    pupil.post_form(&format!("{path}/submit"), &fields).await;
    let teacher = school.teacher().await;
    let answer = teacher.get(&format!("{}/marks.csv", teacher.start)).await;
    assert_eq!(answer.status, StatusCode::OK);
    let text = answer.body.strip_prefix('\u{feff}').expect("a byte order mark");
    let mut table = csv::Reader::from_reader(text.as_bytes());
    let columns: Vec<String> = table.headers().unwrap().iter().map(str::to_owned).collect();
    assert_eq!(columns[..5], ["pupil", "name", "attempt", "counts", "handed_in"]);
    let rows: Vec<csv::StringRecord> = table.records().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.len(), fields.len());
    let response = columns.iter().position(|name| name == "response").unwrap();
    assert!(rows.iter().any(|row| &row[response] == "'=1+1"), "{text}");
    assert!(rows.iter().all(|row| row.iter().all(|cell| !cell.starts_with('='))), "{text}");
    assert_eq!(pupil.get(&format!("{}/marks.csv", teacher.start)).await.status, StatusCode::FORBIDDEN);
}
