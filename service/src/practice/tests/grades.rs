//! Line items, scores, results, and the faults of the score service.

use std::time::{Duration, Instant};

use reqwest::{RequestBuilder, StatusCode};
use serde_json::{Value, json};

use super::browser::{lti, placed_quiz};
use super::stage::{
    ITEM_TYPE, ITEMS_TYPE, LINE_ITEM_SCOPE, RESULT_SCOPE, SCORE_SCOPE, SCORE_TYPE, Stage, below,
};
use crate::practice::{Fault, Outcome, PlannedFault};

const RESULTS_TYPE: &str = "application/vnd.ims.lis.v2.resultcontainer+json";

/// A stage with one placed quiz, the address of its line item, of the container, and the id of its link.
async fn graded_stage() -> (Stage, String, String, String) {
    let stage = Stage::new().await;
    let claims = placed_quiz(&stage, "p-01").await;
    let endpoint = &claims["https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"];
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let link = text(&claims[&lti("resource_link")]["id"]);
    (stage, text(&endpoint["lineitem"]), text(&endpoint["lineitems"]), link)
}

fn typed(request: RequestBuilder, media_type: &str, body: &Value) -> RequestBuilder {
    request.header("content-type", media_type).body(body.to_string())
}

fn score(user: &str, timestamp: &str, given: u32) -> Value {
    json!({
        "userId": user,
        "timestamp": timestamp,
        "activityProgress": "Completed",
        "gradingProgress": "FullyGraded",
        "scoreGiven": given,
        "scoreMaximum": 20,
    })
}

async fn send(stage: &Stage, line_item: &str, message: &Value) -> StatusCode {
    let request = typed(stage.client.post(below(line_item, "scores")), SCORE_TYPE, message);
    stage.with_token(request, SCORE_SCOPE).await.status()
}

fn points_of(stage: &Stage, pupil: &str) -> Option<String> {
    let gradebook = stage.practice.gradebook();
    let row = gradebook.rows.iter().find(|row| row.pupil.id == pupil).unwrap();
    Some(row.cells[0].as_ref()?.points?.to_string())
}

#[actix_web::test]
async fn line_items_are_made_found_replaced_and_removed() {
    let (stage, _, container, link) = graded_stage().await;
    let body = json!({ "label": "Second go", "scoreMaximum": 5, "resourceLinkId": link, "tag": "again" });
    let created =
        stage.with_token(typed(stage.client.post(&container), ITEM_TYPE, &body), LINE_ITEM_SCOPE).await;
    assert_eq!(created.status(), StatusCode::CREATED);
    let created: Value = created.json().await.unwrap();
    let url = created["id"].as_str().unwrap();

    let found = stage.client.get(url).header("accept", ITEM_TYPE);
    let found: Value = stage.with_token(found, LINE_ITEM_SCOPE).await.json().await.unwrap();
    assert_eq!(found, created);

    let body = json!({ "label": "Third go", "scoreMaximum": 6.5 });
    let replaced = stage.with_token(typed(stage.client.put(url), ITEM_TYPE, &body), LINE_ITEM_SCOPE).await;
    assert_eq!(replaced.status(), StatusCode::OK);
    let replaced: Value = replaced.json().await.unwrap();
    assert_eq!(replaced, json!({ "id": url, "label": "Third go", "scoreMaximum": 6.5 }));

    assert_eq!(
        stage.with_token(stage.client.delete(url), LINE_ITEM_SCOPE).await.status(),
        StatusCode::NO_CONTENT
    );
    let gone = stage.client.get(url).header("accept", ITEM_TYPE);
    assert_eq!(stage.with_token(gone, LINE_ITEM_SCOPE).await.status(), StatusCode::NOT_FOUND);
}

#[actix_web::test]
async fn unusable_line_items_are_refused() {
    let (stage, _, container, _) = graded_stage().await;
    for (body, expected) in [
        (json!({ "scoreMaximum": 5 }), 400),
        (json!({ "label": "x" }), 400),
        (json!({ "label": "x", "scoreMaximum": 0 }), 400),
        (json!({ "label": "x", "scoreMaximum": "5" }), 400),
        (json!({ "label": "x", "scoreMaximum": 5, "tag": "t".repeat(257) }), 400),
        (json!({ "label": "x", "scoreMaximum": 5, "resourceLinkId": "foreign" }), 404),
    ] {
        let request = typed(stage.client.post(&container), ITEM_TYPE, &body);
        let status = stage.with_token(request, LINE_ITEM_SCOPE).await.status();
        assert_eq!(status.as_u16(), expected, "{body}");
    }
    let request = typed(stage.client.post(&container), "application/json", &json!({}));
    let status = stage.with_token(request, LINE_ITEM_SCOPE).await.status();
    assert_eq!(status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
}

#[actix_web::test]
async fn the_list_of_line_items_is_filtered() {
    let (stage, line_item, container, link) = graded_stage().await;
    for (filter, expected) in [
        (String::new(), 1),
        (format!("&resource_link_id={link}"), 1),
        (format!("&resource_link_id={link}&resource_id=river-10&tag=grade"), 1),
        (format!("&resource_link_id={link}&resource_id=other"), 0),
        ("&tag=other".to_owned(), 0),
    ] {
        let request = stage.client.get(format!("{container}{filter}")).header("accept", ITEMS_TYPE);
        let list: Value = stage.with_token(request, LINE_ITEM_SCOPE).await.json().await.unwrap();
        assert_eq!(list.as_array().unwrap().len(), expected, "{filter}");
        if expected == 1 {
            assert_eq!(list[0]["id"], line_item);
        }
    }
    let request = stage.client.get(format!("{container}&limit=none")).header("accept", ITEMS_TYPE);
    assert_eq!(stage.with_token(request, LINE_ITEM_SCOPE).await.status(), StatusCode::BAD_REQUEST);
}

#[actix_web::test]
async fn a_score_counts_only_if_strictly_later() {
    let (stage, line_item, _, _) = graded_stage().await;
    for (timestamp, given, expected, on_record) in [
        ("2026-03-02T09:30:00.500Z", 7, StatusCode::NO_CONTENT, "3.5"),
        ("2026-03-02T09:30:00.500Z", 8, StatusCode::CONFLICT, "3.5"),
        ("2026-03-02T10:30:00.500+01:00", 9, StatusCode::CONFLICT, "3.5"),
        ("2026-03-02T09:30:00.499Z", 9, StatusCode::CONFLICT, "3.5"),
        ("2026-03-02T09:30:00.501Z", 15, StatusCode::NO_CONTENT, "7.5"),
    ] {
        assert_eq!(send(&stage, &line_item, &score("p-01", timestamp, given)).await, expected);
        assert_eq!(points_of(&stage, "p-01").as_deref(), Some(on_record), "{timestamp}");
    }
    let outcomes: Vec<Outcome> = stage.practice.journal().iter().map(|entry| entry.outcome).collect();
    use Outcome::{OutOfOrder, Recorded};
    assert_eq!(outcomes, [Recorded, OutOfOrder, OutOfOrder, OutOfOrder, Recorded]);
    assert_eq!(points_of(&stage, "p-02"), None);
}

#[actix_web::test]
async fn unusable_scores_are_refused_and_not_in_the_journal() {
    let (stage, line_item, _, _) = graded_stage().await;
    let right = score("p-01", "2026-03-02T09:30:00.500Z", 7);
    for (member, value, expected) in [
        ("timestamp", json!("2026-03-02T09:30:00Z"), 400),
        ("timestamp", json!("2026-03-02T09:30:00.500"), 400),
        ("timestamp", json!("2026-03-02 09:30:00.500Z"), 400),
        ("timestamp", json!(1_772_443_800), 400),
        ("activityProgress", json!("Finished"), 400),
        ("gradingProgress", json!(null), 400),
        ("scoreGiven", json!(-1), 400),
        ("scoreGiven", json!("7"), 400),
        ("scoreMaximum", json!(null), 400),
        ("scoreMaximum", json!(0), 400),
        ("userId", json!("t-1"), 403),
        ("userId", json!("p-99"), 404),
    ] {
        let mut wrong = right.clone();
        wrong[member] = value.clone();
        assert_eq!(send(&stage, &line_item, &wrong).await.as_u16(), expected, "{member} {value}");
    }
    let request = stage.client.post(below(&line_item, "scores")).json(&right);
    let status = stage.with_token(request, SCORE_SCOPE).await.status();
    assert_eq!(status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
    assert!(stage.practice.journal().is_empty());
}

#[actix_web::test]
async fn results_show_final_scores_on_the_line_items_scale() {
    let (stage, line_item, _, _) = graded_stage().await;
    for n in 1..=12 {
        let message = score(&format!("p-{n:02}"), "2026-03-02T09:30:00.500Z", n);
        assert_eq!(send(&stage, &line_item, &message).await, StatusCode::NO_CONTENT);
    }
    let results = below(&line_item, "results");
    let get = |url: &str| stage.client.get(url).header("accept", RESULTS_TYPE);

    let one = stage.with_token(get(&format!("{results}&user_id=p-07")), RESULT_SCOPE).await;
    let one: Value = one.json().await.unwrap();
    assert_eq!(one.as_array().unwrap().len(), 1);
    assert_eq!(one[0]["resultScore"], json!(3.5));
    assert_eq!(one[0]["resultMaximum"], json!(10));
    assert_eq!(one[0]["scoreOf"], line_item);

    let first = stage.with_token(get(&results), RESULT_SCOPE).await;
    assert!(first.headers()["link"].to_str().unwrap().contains("rel=\"next\""));
    let first: Value = first.json().await.unwrap();
    assert_eq!(first.as_array().unwrap().len(), 10);

    let mut cleared = score("p-07", "2026-03-02T09:31:00.000Z", 1);
    cleared.as_object_mut().unwrap().remove("scoreGiven");
    assert_eq!(send(&stage, &line_item, &cleared).await, StatusCode::NO_CONTENT);
    assert_eq!(points_of(&stage, "p-07"), None);
}

#[actix_web::test]
async fn refusing_faults_record_nothing() {
    let (stage, line_item, _, _) = graded_stage().await;
    let message = score("p-01", "2026-03-02T09:30:00.500Z", 7);
    for (fault, status) in [(Fault::TooManyRequests { retry_after_s: 3 }, 429), (Fault::ServerError, 500)] {
        stage.practice.set_fault(Some(PlannedFault { fault, times: Some(1) }));
        let request = typed(stage.client.post(below(&line_item, "scores")), SCORE_TYPE, &message);
        let response = stage.with_token(request, SCORE_SCOPE).await;
        assert_eq!(response.status().as_u16(), status);
        assert_eq!(response.headers().get("retry-after").is_some_and(|after| after == "3"), status == 429);
        assert_eq!(stage.practice.journal().last().unwrap().outcome, Outcome::Refused(status));
        assert_eq!(points_of(&stage, "p-01"), None);
    }
    assert_eq!(send(&stage, &line_item, &message).await, StatusCode::NO_CONTENT);
}

#[actix_web::test]
async fn a_refused_token_stays_refused_and_a_new_one_works() {
    let (stage, line_item, _, _) = graded_stage().await;
    stage.practice.set_fault(Some(PlannedFault { fault: Fault::TokenRefused, times: Some(1) }));
    let token = stage.token(&[SCORE_SCOPE]).await;
    let message = score("p-01", "2026-03-02T09:30:00.500Z", 7);
    for _ in 0..2 {
        let request = typed(stage.client.post(below(&line_item, "scores")), SCORE_TYPE, &message);
        let status = request.bearer_auth(&token).send().await.unwrap().status();
        assert_eq!(status, StatusCode::UNAUTHORIZED);
    }
    assert_eq!(send(&stage, &line_item, &message).await, StatusCode::NO_CONTENT);
}

#[actix_web::test]
async fn a_cut_connection_leaves_the_score_on_record() {
    let (stage, line_item, _, _) = graded_stage().await;
    stage.practice.set_fault(Some(PlannedFault { fault: Fault::ConnectionCut, times: Some(1) }));
    let message = score("p-01", "2026-03-02T09:30:00.500Z", 7);
    let request = typed(stage.client.post(below(&line_item, "scores")), SCORE_TYPE, &message);
    let answer = request.bearer_auth(stage.token(&[SCORE_SCOPE]).await).send().await;
    assert!(answer.is_err(), "{answer:?}");
    assert_eq!(points_of(&stage, "p-01").as_deref(), Some("3.5"));
    assert_eq!(stage.practice.journal()[0].outcome, Outcome::RecordedUnanswered);
    assert_eq!(send(&stage, &line_item, &message).await, StatusCode::CONFLICT);
}

#[actix_web::test]
async fn a_slow_answer_is_late_but_right() {
    let (stage, line_item, _, _) = graded_stage().await;
    stage.practice.set_fault(Some(PlannedFault { fault: Fault::Slow { delay_ms: 300 }, times: Some(1) }));
    let begun = Instant::now();
    let message = score("p-01", "2026-03-02T09:30:00.500Z", 7);
    assert_eq!(send(&stage, &line_item, &message).await, StatusCode::NO_CONTENT);
    assert!(begun.elapsed() >= Duration::from_millis(300));
}

#[actix_web::test]
async fn a_clock_that_runs_ahead_refuses_scores_until_they_have_caught_up() {
    let (stage, line_item, ..) = graded_stage().await;
    let now = crate::practice::clock::now();
    let at = |ms: i64| format!("{:.3}", now + jiff::SignedDuration::from_millis(ms));
    let fault = Fault::ClockAhead { ahead_ms: 60_000 };
    stage.practice.set_fault(Some(PlannedFault { fault, times: None }));
    assert_eq!(send(&stage, &line_item, &score("p-01", &at(0), 10)).await, StatusCode::NO_CONTENT);
    assert_eq!(send(&stage, &line_item, &score("p-01", &at(1_000), 14)).await, StatusCode::CONFLICT);
    assert_eq!(points_of(&stage, "p-01").as_deref(), Some("5"), "on a column of 10");
    assert_eq!(send(&stage, &line_item, &score("p-01", &at(120_000), 14)).await, StatusCode::NO_CONTENT);
    assert_eq!(points_of(&stage, "p-01").as_deref(), Some("7"));
}

#[actix_web::test]
async fn of_scores_sent_together_the_later_one_can_count_first() {
    let (stage, line_item, ..) = graded_stage().await;
    let token = stage.token(&[SCORE_SCOPE]).await;
    let fault = Fault::Reordered { delay_ms: 400 };
    stage.practice.set_fault(Some(PlannedFault { fault, times: None }));
    let post = |timestamp: &str, given| {
        let request = stage.client.post(below(&line_item, "scores"));
        typed(request, SCORE_TYPE, &score("p-01", timestamp, given)).bearer_auth(&token).send()
    };
    let earlier = tokio::spawn(post("2026-03-02T09:00:00.000Z", 3));
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert_eq!(post("2026-03-02T09:00:01.000Z", 5).await.unwrap().status(), StatusCode::NO_CONTENT);
    assert_eq!(earlier.await.unwrap().unwrap().status(), StatusCode::CONFLICT);
    assert_eq!(points_of(&stage, "p-01").as_deref(), Some("2.5"));
}

#[actix_web::test]
async fn a_teachers_mark_is_a_result_and_stands_until_the_next_score() {
    let (stage, line_item, ..) = graded_stage().await;
    let result = async || -> Value {
        let request = stage.client.get(format!("{}&user_id=p-01", below(&line_item, "results")));
        let answer = stage.with_token(request.header("accept", RESULTS_TYPE), RESULT_SCOPE).await;
        answer.json::<Value>().await.unwrap()[0]["resultScore"].clone()
    };
    let marks = |request: RequestBuilder, body: Value| request.json(&body).send();
    let url = stage.url("/admin/marks");
    marks(stage.client.put(&url), json!({ "pupil": "p-01", "points": 2.5 })).await.unwrap();
    assert_eq!(result().await, json!(2.5), "before any score");
    send(&stage, &line_item, &score("p-01", "2026-03-02T09:00:00.000Z", 20)).await;
    let sent = result().await;
    marks(stage.client.put(&url), json!({ "pupil": "p-01", "points": 1 })).await.unwrap();
    assert_eq!((result().await, points_of(&stage, "p-01").as_deref()), (json!(1), Some("1")));
    send(&stage, &line_item, &score("p-01", "2026-03-02T09:00:01.000Z", 20)).await;
    assert_eq!(result().await, sent);
    marks(stage.client.delete(&url), json!({ "pupil": "p-01" })).await.unwrap();
    assert_eq!((result().await, points_of(&stage, "p-01")), (Value::Null, None));
}
