//! The token endpoint, what tokens permit, and the class list.

use std::collections::BTreeSet;

use reqwest::StatusCode;
use serde_json::{Value, json};

use super::browser::claims;
use super::stage::{
    ITEMS_TYPE, LINE_ITEM_SCOPE, OTHER_KEY, READ_ONLY_SCOPE, ROSTER_SCOPE, SCORE_SCOPE, Stage, TOOL_KEY,
};
use crate::practice::{Fault, MemberStatus, PlannedFault};

const ROSTER_TYPE: &str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";

async fn lineitems_url(stage: &Stage) -> String {
    let claims = claims(stage, "/activities/add?as=t-1").await;
    let endpoint = &claims["https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"];
    endpoint["lineitems"].as_str().unwrap().to_owned()
}

#[actix_web::test]
async fn a_token_is_granted_for_the_known_part_of_the_scopes() {
    let stage = Stage::new().await;
    let assertion = TOOL_KEY.sign(&TOOL_KEY.header(), &stage.assertion());
    let response = stage.ask_token(&assertion, &[SCORE_SCOPE, "https://example.org/unknown"]).await;
    assert_eq!(response.status(), StatusCode::OK);
    assert_eq!(response.headers()["cache-control"], "no-store");
    let body: Value = response.json().await.unwrap();
    assert_eq!(body["scope"], SCORE_SCOPE);
    assert_eq!(body["token_type"], "Bearer");
    assert_eq!(body["expires_in"], 3600);
}

#[actix_web::test]
async fn bad_assertions_are_refused() {
    let stage = Stage::new().await;
    let right = stage.assertion();
    for (claim, value) in [
        ("iss", json!("somebody")),
        ("sub", json!("somebody")),
        ("aud", json!(stage.practice.base_url())),
        ("exp", json!(1_000_000)),
        ("exp", json!(null)),
        ("iat", json!(null)),
        ("iat", json!(9_999_999_999_u64)),
        ("jti", json!(null)),
    ] {
        let mut wrong = stage.assertion();
        wrong[claim] = value.clone();
        let response = stage.ask_token(&TOOL_KEY.sign(&TOOL_KEY.header(), &wrong), &[SCORE_SCOPE]).await;
        assert_eq!(response.status(), StatusCode::UNAUTHORIZED, "{claim} {value}");
        let body: Value = response.json().await.unwrap();
        assert_eq!(body["error"], "invalid_client");
    }
    for forged in [OTHER_KEY.sign(&TOOL_KEY.header(), &right), OTHER_KEY.sign(&OTHER_KEY.header(), &right)] {
        assert_eq!(stage.ask_token(&forged, &[SCORE_SCOPE]).await.status(), StatusCode::UNAUTHORIZED);
    }
}

#[actix_web::test]
async fn an_assertion_is_used_once() {
    let stage = Stage::new().await;
    let assertion = TOOL_KEY.sign(&TOOL_KEY.header(), &stage.assertion());
    assert_eq!(stage.ask_token(&assertion, &[SCORE_SCOPE]).await.status(), StatusCode::OK);
    assert_eq!(stage.ask_token(&assertion, &[SCORE_SCOPE]).await.status(), StatusCode::UNAUTHORIZED);
}

#[actix_web::test]
async fn unusable_token_requests_are_named() {
    let stage = Stage::new().await;
    let assertion = TOOL_KEY.sign(&TOOL_KEY.header(), &stage.assertion());
    let right = [
        ("grant_type", "client_credentials"),
        ("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"),
        ("client_assertion", &assertion),
        ("scope", SCORE_SCOPE),
    ];
    for (name, value, error) in [
        ("grant_type", "password", "unsupported_grant_type"),
        ("client_assertion_type", "other", "invalid_request"),
        ("scope", "openid", "invalid_scope"),
        ("scope", "", "invalid_scope"),
    ] {
        let form: Vec<_> = right.map(|(n, v)| if n == name { (n, value) } else { (n, v) }).into();
        let response = stage.client.post(stage.registration().token_url).form(&form).send().await.unwrap();
        assert_eq!(response.status(), StatusCode::BAD_REQUEST);
        let body: Value = response.json().await.unwrap();
        assert_eq!(body["error"], error, "{name}");
    }
}

#[actix_web::test]
async fn services_check_token_scope_course_and_media_type() {
    let stage = Stage::new().await;
    let url = lineitems_url(&stage).await;
    let get = |url: &str| stage.client.get(url).header("accept", ITEMS_TYPE);
    assert_eq!(get(&url).send().await.unwrap().status(), StatusCode::UNAUTHORIZED);
    let unknown = get(&url).bearer_auth("made-up").send().await.unwrap();
    assert_eq!(unknown.status(), StatusCode::UNAUTHORIZED);
    assert!(unknown.headers().contains_key("www-authenticate"));

    let refused = stage.with_token(get(&url), SCORE_SCOPE).await;
    assert_eq!(refused.status(), StatusCode::FORBIDDEN);
    assert_eq!(refused.headers()["content-type"], "application/problem+json");
    let problem: Value = refused.json().await.unwrap();
    assert!(problem["detail"].as_str().unwrap().contains(LINE_ITEM_SCOPE));

    assert_eq!(stage.with_token(get(&url), READ_ONLY_SCOPE).await.status(), StatusCode::OK);
    let without_query = url.split('?').next().unwrap();
    assert_eq!(stage.with_token(get(without_query), READ_ONLY_SCOPE).await.status(), StatusCode::NOT_FOUND);
    let any_type = stage.client.get(&url).header("accept", "*/*");
    assert_eq!(stage.with_token(any_type, READ_ONLY_SCOPE).await.status(), StatusCode::NOT_ACCEPTABLE);
    let create = stage.client.post(&url).body("{}");
    assert_eq!(stage.with_token(create, READ_ONLY_SCOPE).await.status(), StatusCode::FORBIDDEN);
}

#[actix_web::test]
async fn an_outage_answers_503_as_often_as_planned() {
    let stage = Stage::new().await;
    let url = lineitems_url(&stage).await;
    stage.practice.set_fault(Some(PlannedFault { fault: Fault::Unavailable, times: Some(2) }));
    for expected in [503, 503, 401] {
        assert_eq!(stage.client.get(&url).send().await.unwrap().status().as_u16(), expected);
    }
    let switch = stage.client.put(stage.url("/admin/fault")).json(&json!({ "fault": "unavailable" }));
    assert_eq!(switch.send().await.unwrap().status(), StatusCode::NO_CONTENT);
    let assertion = TOOL_KEY.sign(&TOOL_KEY.header(), &stage.assertion());
    assert_eq!(stage.ask_token(&assertion, &[SCORE_SCOPE]).await.status(), StatusCode::SERVICE_UNAVAILABLE);
    stage.client.delete(stage.url("/admin/fault")).send().await.unwrap();
    assert_eq!(stage.ask_token(&assertion, &[SCORE_SCOPE]).await.status(), StatusCode::OK);
}

/// The address in a `Link` header.
/// The target of the answer's link with that relation.
fn linked(response: &reqwest::Response, relation: &str) -> Option<String> {
    let links = response.headers().get_all("link").iter().map(|link| link.to_str().unwrap());
    let link = links.into_iter().find(|link| link.ends_with(&format!("; rel=\"{relation}\"")))?;
    Some(link[1..link.find('>').unwrap()].to_owned())
}

#[actix_web::test]
async fn the_roster_comes_in_pages_and_is_filtered_by_role() {
    let stage = Stage::new().await;
    let claims = claims(&stage, "/activities/add?as=t-1").await;
    let service = &claims["https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice"];
    let roster = service["context_memberships_url"].as_str().unwrap();

    for (filter, expected) in [("", 25), ("&role=Learner", 24), ("&role=Instructor&limit=3", 1)] {
        let mut address = Some(format!("{roster}{filter}"));
        let mut seen = BTreeSet::new();
        let mut pages = 0;
        while let Some(url) = address {
            let response =
                stage.with_token(stage.client.get(url).header("accept", ROSTER_TYPE), ROSTER_SCOPE).await;
            assert_eq!(response.headers()["content-type"], ROSTER_TYPE);
            address = linked(&response, "next");
            let body: Value = response.json().await.unwrap();
            for member in body["members"].as_array().unwrap() {
                assert!(seen.insert(member["user_id"].as_str().unwrap().to_owned()));
            }
            pages += 1;
        }
        assert_eq!(seen.len(), expected, "{filter}");
        assert_eq!(pages, expected.div_ceil(10), "{filter}");
    }
    let foreign = stage.client.get(format!("{roster}&rlid=none")).header("accept", ROSTER_TYPE);
    assert_eq!(stage.with_token(foreign, ROSTER_SCOPE).await.status(), StatusCode::NOT_FOUND);
}

/// NRPS 2.3 and 2.4: members who left are told in differences only, at an address that the list names.
#[actix_web::test]
async fn changes_of_the_roster_are_told_at_an_address_of_their_own() {
    let stage = Stage::new().await;
    let claims = claims(&stage, "/activities/add?as=t-1").await;
    let service = &claims["https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice"];
    let roster = service["context_memberships_url"].as_str().unwrap();
    let read = async |url: &str| {
        let request = stage.client.get(url).header("accept", ROSTER_TYPE);
        let response = stage.with_token(request, ROSTER_SCOPE).await;
        let differences = linked(&response, "differences").unwrap();
        let body: Value = response.json().await.unwrap();
        let members = body["members"].as_array().unwrap().iter();
        let told =
            members.map(|member| format!("{} {}", member["user_id"], member["status"]).replace('"', ""));
        (told.collect::<BTreeSet<_>>(), differences)
    };
    stage.practice.set_status("p-03", MemberStatus::Deleted);
    let (first, differences) = read(&format!("{roster}&role=Learner")).await;
    assert!(first.contains("p-02 Active") && !first.iter().any(|told| told.starts_with("p-03")), "{first:?}");
    assert_eq!(read(&differences).await.0, BTreeSet::new());

    for (person, status) in [
        ("p-01", MemberStatus::Inactive),
        ("p-02", MemberStatus::Deleted),
        ("p-03", MemberStatus::Active),
        ("t-1", MemberStatus::Inactive),
    ] {
        stage.practice.set_status(person, status);
    }
    let (changed, later) = read(&differences).await;
    let expected = ["p-01 Inactive", "p-02 Deleted", "p-03 Active"].map(str::to_owned);
    assert_eq!(changed, BTreeSet::from(expected), "the filter is part of the address");
    assert_eq!(read(&later).await.0, BTreeSet::new());
}
