//! Deep linking: what is asked, what may come back, what is created.

use reqwest::StatusCode;
use serde_json::json;

use super::browser::{claims, dl, lti, open_path, placed_quiz, placing_response, post_response, quiz_item};
use crate::practice::{LinkTimes, Period, Placing};

use super::stage::{OTHER_KEY, Stage, TOOL_KEY};

const ADD: &str = "/activities/add?as=t-1";

#[actix_web::test]
async fn the_request_says_what_is_accepted() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    assert_eq!(request[&lti("message_type")], "LtiDeepLinkingRequest");
    assert!(!request.contains_key(&lti("resource_link")));
    let settings = &request[&dl("deep_linking_settings")];
    assert_eq!(settings["accept_types"], json!(["ltiResourceLink"]));
    assert_eq!(settings["accept_multiple"], json!(true));
    assert_eq!(settings["accept_lineitem"], json!(true));
    assert!(!settings["data"].as_str().unwrap().is_empty());
}

#[actix_web::test]
async fn each_item_becomes_a_link_and_its_line_item() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    let mut without_grade = quiz_item();
    without_grade.as_object_mut().unwrap().remove("lineItem");
    let mut response = placing_response(&stage, &request, &json!([quiz_item(), without_grade]));
    response[dl("msg")] = json!("Two activities placed");
    let answer = post_response(&stage, &request, &response).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    assert_eq!(answer.headers()["location"], "/course?as=t-1");

    let columns = stage.practice.gradebook().columns;
    assert_eq!(columns.len(), 1);
    assert_eq!(columns[0].label, "Hundredths");
    assert_eq!(columns[0].maximum.to_string(), "10");
    assert!(columns[0].resource_link_id.is_some());
    let page = stage.client.get(stage.url("/course?as=t-1")).send().await.unwrap().text().await.unwrap();
    assert_eq!(page.matches("<h3>Adding hundredths</h3>").count(), 2);
    assert!(page.contains("Two activities placed"));
    assert!(page.contains("Due 17 December 2026, 22:00 UTC"));
}

#[actix_web::test]
async fn an_empty_response_creates_nothing() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    let response = placing_response(&stage, &request, &json!([]));
    assert_eq!(post_response(&stage, &request, &response).await.status(), StatusCode::SEE_OTHER);
    assert!(stage.practice.gradebook().columns.is_empty());
}

#[actix_web::test]
async fn a_request_is_answered_once() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    for expected in [StatusCode::SEE_OTHER, StatusCode::NOT_FOUND] {
        let response = placing_response(&stage, &request, &json!([quiz_item()]));
        assert_eq!(post_response(&stage, &request, &response).await.status(), expected);
    }
    assert_eq!(stage.practice.gradebook().columns.len(), 1);
}

#[actix_web::test]
async fn responses_with_a_wrong_claim_are_refused_by_name() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    for (claim, value, status, named) in [
        ("iss".to_owned(), json!("somebody"), 401, "InvalidIssuer"),
        ("aud".to_owned(), json!("elsewhere"), 401, "InvalidAudience"),
        ("exp".to_owned(), json!(1_000_000), 401, "ExpiredSignature"),
        ("iat".to_owned(), json!(9_999_999_999_u64), 401, "iat"),
        ("nonce".to_owned(), json!(7), 401, "nonce"),
        (lti("message_type"), json!("LtiResourceLinkRequest"), 400, "message_type"),
        (lti("version"), json!("1.1"), 400, "version"),
        (lti("deployment_id"), json!("other"), 400, "deployment_id"),
        (dl("data"), json!("changed"), 400, "data"),
        (
            dl("content_items"),
            json!([{ "type": "link", "url": "https://example.org" }]),
            400,
            "content_items[0]",
        ),
        (
            dl("content_items"),
            json!([{ "type": "ltiResourceLink", "custom": { "n": 5 } }]),
            400,
            "content_items[0]",
        ),
        (
            dl("content_items"),
            json!([{ "type": "ltiResourceLink", "url": "https://elsewhere.example/" }]),
            400,
            "does not belong to the tool",
        ),
        (
            dl("content_items"),
            json!([quiz_item(), { "type": "ltiResourceLink", "lineItem": { "scoreMaximum": 0 } }]),
            400,
            "content_items[1]",
        ),
    ] {
        let mut response = placing_response(&stage, &request, &json!([quiz_item()]));
        response[&claim] = value;
        let answer = post_response(&stage, &request, &response).await;
        assert_eq!(answer.status().as_u16(), status, "{claim}");
        let page = answer.text().await.unwrap();
        assert!(page.contains(named), "{claim}: {page}");
    }
    assert!(stage.practice.gradebook().columns.is_empty());
}

#[actix_web::test]
async fn a_response_needs_the_tools_signature_and_a_new_nonce() {
    let stage = Stage::new().await;
    let request = claims(&stage, ADD).await;
    let address = request[&dl("deep_linking_settings")]["deep_link_return_url"].as_str().unwrap();
    let response = placing_response(&stage, &request, &json!([]));
    for (token, status) in [
        (OTHER_KEY.sign(&TOOL_KEY.header(), &response), StatusCode::UNAUTHORIZED),
        (OTHER_KEY.sign(&OTHER_KEY.header(), &response), StatusCode::UNAUTHORIZED),
        (TOOL_KEY.sign(&json!({ "alg": "RS256" }), &response), StatusCode::UNAUTHORIZED),
        ("not.a.token".to_owned(), StatusCode::BAD_REQUEST),
        (TOOL_KEY.sign_with_public_half(&response), StatusCode::BAD_REQUEST),
    ] {
        let answer = stage.client.post(address).form(&[("JWT", token)]).send().await.unwrap();
        assert_eq!(answer.status(), status);
    }

    assert_eq!(post_response(&stage, &request, &response).await.status(), StatusCode::SEE_OTHER);
    let next = claims(&stage, ADD).await;
    let mut again = placing_response(&stage, &next, &json!([]));
    again["nonce"] = response["nonce"].clone();
    assert_eq!(post_response(&stage, &next, &again).await.status(), StatusCode::UNAUTHORIZED);
}

#[actix_web::test]
async fn what_is_asked_for_can_be_less() {
    let stage = Stage::new().await;
    stage.practice.set_placing(Placing { accept_multiple: false, accept_lineitem: false });
    let request = claims(&stage, ADD).await;
    let settings = &request[&dl("deep_linking_settings")];
    assert_eq!((&settings["accept_multiple"], &settings["accept_lineitem"]), (&json!(false), &json!(false)));
    let two = placing_response(&stage, &request, &json!([quiz_item(), quiz_item()]));
    assert_eq!(post_response(&stage, &request, &two).await.status(), StatusCode::BAD_REQUEST);
    let one = placing_response(&stage, &request, &json!([quiz_item()]));
    assert_eq!(post_response(&stage, &request, &one).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(stage.practice.links().len(), 1);
    assert!(stage.practice.gradebook().columns.is_empty(), "line items are ignored");
}

/// Dates of a content item are first values only; launches carry those that hold.
#[actix_web::test]
async fn launches_carry_the_times_that_hold_now() {
    let stage = Stage::new().await;
    let custom = |claims: &serde_json::Map<String, serde_json::Value>| claims[&lti("custom")]["due"].clone();
    assert_eq!(custom(&placed_quiz(&stage, "p-01").await), "2026-12-17T22:00:00Z");
    let (link, _) = stage.practice.links().pop().unwrap();
    let until = Period { end_date_time: Some("2027-01-05T22:00:00Z".into()), ..Period::default() };
    assert!(stage.practice.set_times(&link, LinkTimes { submission: until, ..LinkTimes::default() }));
    let path = open_path(&stage, "p-01").await;
    assert_eq!(custom(&claims(&stage, &path).await), "2027-01-05T22:00:00Z");
    assert!(stage.practice.set_times(&link, LinkTimes::default()));
    assert_eq!(custom(&claims(&stage, &path).await), "", "no date");
    assert!(!stage.practice.set_times("none", LinkTimes::default()));
}
