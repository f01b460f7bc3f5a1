//! Deep linking: the session opens, and the answer is what the standard asks for.

use qbank::accept::Credit;
use qbank::marking::Policy;
use reqwest::header::{LOCATION, SET_COOKIE};
use serde_json::{Value, json};
use service::lti::deep_linking::{self, Choice, PlacedQuiz};
use service::storage::{Layout, PlacingRequest};
use service::windows::{Edge, Windows};

use crate::platform::{CLIENT_ID, DEPLOYMENT};
use crate::tool::Tool;

/// What was asked, as the platform asked it.
fn request(tool: &Tool) -> PlacingRequest {
    PlacingRequest {
        return_url: format!("{}/return", tool.platform.url).parse().unwrap(),
        accept_types: vec!["ltiResourceLink".to_owned()],
        accept_multiple: false,
        accept_line_item: None,
        data: Some("opaque-17".to_owned()),
        title: None,
        context: None,
    }
}

async fn answer(tool: &Tool, quizzes: &[PlacedQuiz], request: &PlacingRequest) -> (Value, Value) {
    let registration = tool.storage.registrations().await.unwrap().pop().unwrap();
    let signer = tool.server.app.tool_keys.signer(registration.id).await.unwrap();
    let choice = Choice { quizzes: quizzes.to_vec(), ..Choice::default() };
    let token = deep_linking::response(
        &choice,
        request,
        &registration,
        &DEPLOYMENT.into(),
        &format!("{}/lti/launch", tool.url).parse().unwrap(),
        &signer,
        crate::tool::monday(),
    );
    // Checked with another library and our published key.
    let keys: jsonwebtoken::jwk::JwkSet =
        tool.client.get(format!("{}/lti/keys", tool.url)).send().await.unwrap().json().await.unwrap();
    let header = jsonwebtoken::decode_header(&token).unwrap();
    let key = keys.find(header.kid.as_deref().unwrap()).expect("the key is published");
    let mut rules = jsonwebtoken::Validation::new(jsonwebtoken::Algorithm::RS256);
    rules.set_audience(&[&tool.platform.url]);
    rules.set_issuer(&[CLIENT_ID]);
    // The test's clock stands in the past.
    rules.validate_exp = false;
    let key = jsonwebtoken::DecodingKey::from_jwk(key).unwrap();
    let claims = jsonwebtoken::decode::<Value>(&token, &key, &rules).unwrap().claims;
    (json!(header), claims)
}

fn quiz() -> PlacedQuiz {
    PlacedQuiz {
        title: "Litres in the river".to_owned(),
        pool: "river-day".into(),
        question_count: 5,
        attempts_allowed: 2,
        policy: Policy { follow_through: false, form_credit: Some(Credit::Part) },
        layout: Layout::One,
        score_maximum: 10,
        resource_id: "quiz-7f".to_owned(),
        windows: Windows::placed(
            [
                (Edge::AvailableFrom, "2026-03-02T09:00:00Z".parse().unwrap()),
                (Edge::SubmissionUntil, "2026-03-06T22:00:00Z".parse().unwrap()),
            ],
            Some("America/Chicago".parse().unwrap()),
        ),
        grades_released: true,
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_teacher_is_sent_to_the_placing_page() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    let response = tool.launch_with(&login, &tool.placing_claims(&login)).await;
    assert_eq!(response.status(), 303);
    assert_eq!(response.headers()[LOCATION], format!("{}/class/place", tool.url));
    assert!(response.headers()[SET_COOKIE].to_str().unwrap().contains("Path=/class/place"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_answer_carries_one_link_with_its_parameters_and_line_item() {
    let tool = Tool::start().await;
    let (header, claims) = answer(&tool, &[quiz()], &request(&tool)).await;
    assert_eq!((&header["alg"], &header["typ"]), (&json!("RS256"), &json!("JWT")));
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti/claim/message_type"], "LtiDeepLinkingResponse");
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti/claim/version"], "1.3.0");
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti/claim/deployment_id"], DEPLOYMENT);
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti-dl/claim/data"], "opaque-17");
    assert!(claims["nonce"].as_str().unwrap().len() >= 22 && claims.get("azp").is_none());
    assert_eq!(
        claims["https://purl.imsglobal.org/spec/lti-dl/claim/content_items"],
        json!([{
            "type": "ltiResourceLink",
            "title": "Litres in the river",
            "url": format!("{}/lti/launch", tool.url),
            "custom": {
                "pool": "river-day", "questions": "5", "attempts": "2", "follow_through": "no", "form_credit": "part", "layout": "one",
                "quiz": "quiz-7f",
                "available_from": "$ResourceLink.available.startDateTime",
                "available_until": "$ResourceLink.available.endDateTime",
                "submission_from": "$ResourceLink.submission.startDateTime",
                "submission_until": "$ResourceLink.submission.endDateTime",
                "placed_available_from": "2026-03-02T09:00:00Z",
                "placed_submission_until": "2026-03-06T22:00:00Z",
                "time_zone": "America/Chicago",
            },
            "lineItem": {
                "label": "Litres in the river", "scoreMaximum": 10, "resourceId": "quiz-7f", "tag": "grade",
                "gradesReleased": true,
            },
            "available": {"startDateTime": "2026-03-02T09:00:00Z"},
            "submission": {"endDateTime": "2026-03-06T22:00:00Z"},
        }])
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_answer_may_be_empty_and_leaves_out_an_unwanted_line_item() {
    let tool = Tool::start().await;
    let (_, claims) = answer(&tool, &[], &request(&tool)).await;
    assert_eq!(claims["https://purl.imsglobal.org/spec/lti-dl/claim/content_items"], json!([]));
    let request = PlacingRequest { accept_line_item: Some(false), data: None, ..request(&tool) };
    let (_, claims) = answer(&tool, &[quiz(), quiz()], &request).await;
    let items = claims["https://purl.imsglobal.org/spec/lti-dl/claim/content_items"].as_array().unwrap();
    assert_eq!(items.len(), 1, "a platform that takes one link gets one");
    let item = &items[0];
    assert!(item.get("lineItem").is_none());
    assert!(claims.get("https://purl.imsglobal.org/spec/lti-dl/claim/data").is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn every_answer_has_protecting_headers() {
    let tool = Tool::start().await;
    for path in ["/lti/keys", "/health/live", "/health/ready", "/metrics", "/lti/launch", "/nowhere"] {
        let response = tool.client.get(format!("{}{path}", tool.url)).send().await.unwrap();
        for name in ["content-security-policy", "referrer-policy", "x-content-type-options"] {
            assert!(response.headers().contains_key(name), "{path} lacks {name}");
        }
    }
    let metrics =
        tool.client.get(format!("{}/metrics", tool.url)).send().await.unwrap().text().await.unwrap();
    assert!(metrics.contains(r#"tenths_refusals_total{check="post_required"} 1"#), "{metrics}");
}
