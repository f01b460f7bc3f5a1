//! Login, authorization endpoint, id_tokens and their forgeries.

use reqwest::StatusCode;
use serde_json::{Value, json};

use super::browser::{
    authorization, authorize, claims, hidden_fields, initiate, launch, lti, open_path, placed_quiz, verify,
};
use super::stage::Stage;
use crate::practice::Forgery;

const ADD: &str = "/activities/add?as=t-1";

#[actix_web::test]
async fn login_initiation_carries_every_parameter() {
    let stage = Stage::new().await;
    let login = initiate(&stage, ADD).await;
    let registration = stage.registration();
    assert_eq!(login["iss"], registration.issuer);
    assert_eq!(login["client_id"], registration.client_id);
    assert_eq!(login["lti_deployment_id"], registration.deployment_id);
    assert_eq!(login["target_link_uri"], stage.tool.deep_linking_url.as_str());
    assert_ne!(login["login_hint"], "t-1");
    assert!(!login["lti_message_hint"].is_empty());
}

#[actix_web::test]
async fn login_initiation_is_posted_on_request() {
    let stage = Stage::new().await;
    let page = stage.client.get(stage.url(&format!("{ADD}&via=form"))).send().await.unwrap();
    let page = page.text().await.unwrap();
    assert!(page.contains(&format!("action=\"{}\"", stage.tool.login_url)));
    assert!(page.contains("<button>Continue</button>"));
    assert_eq!(hidden_fields(&page).len(), 6);
}

#[actix_web::test]
async fn a_pupils_launch_has_all_claims_and_verifies() {
    let stage = Stage::new().await;
    let claims = placed_quiz(&stage, "p-07").await;
    assert_eq!(claims["sub"], "p-07");
    assert_eq!(claims[&lti("message_type")], "LtiResourceLinkRequest");
    assert_eq!(claims[&lti("version")], "1.3.0");
    assert_eq!(claims[&lti("resource_link")]["title"], "Adding hundredths");
    assert_eq!(claims[&lti("context")]["title"], "River and bicycle days");
    assert_eq!(claims[&lti("roles")][0], "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner");
    assert_eq!(claims[&lti("target_link_uri")], stage.tool.launch_url.as_str());
    assert_eq!(claims[&lti("launch_presentation")]["document_target"], "window");
    assert_eq!(
        claims[&lti("custom")],
        json!({ "pool": "river", "due": "2026-12-17T22:00:00Z", "who": "p-07", "x": "$No.such" })
    );
    let endpoint = &claims["https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"];
    assert_eq!(endpoint["scope"].as_array().unwrap().len(), 4);
    assert!(endpoint["lineitem"].as_str().unwrap().starts_with(stage.practice.base_url()));
    let roster = &claims["https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice"];
    assert_eq!(roster["service_versions"], json!(["2.0"]));
}

#[actix_web::test]
async fn a_launch_in_a_frame_says_so() {
    let stage = Stage::new().await;
    placed_quiz(&stage, "p-01").await;
    let path = open_path(&stage, "p-01").await;
    let claims = claims(&stage, &format!("{path}&target=iframe")).await;
    assert_eq!(claims[&lti("launch_presentation")]["document_target"], "iframe");
}

#[actix_web::test]
async fn a_login_request_in_a_frame_names_the_window_that_keeps_values() {
    let stage = Stage::new().await;
    placed_quiz(&stage, "p-01").await;
    let path = open_path(&stage, "p-01").await;
    let in_frame = format!("{path}&target=iframe");
    assert_eq!(initiate(&stage, &path).await.get("lti_storage_target"), None);
    for (storage, target) in
        [("working", Some("_parent")), ("in_frame", Some("message-storage")), ("not_offered", None)]
    {
        let set = stage.client.put(stage.url("/admin/message-storage")).json(&json!({ "storage": storage }));
        assert_eq!(set.send().await.unwrap().status(), StatusCode::NO_CONTENT);
        let sent = initiate(&stage, &in_frame).await;
        assert_eq!(sent.get("lti_storage_target").map(String::as_str), target, "{storage}");
    }
}

#[actix_web::test]
async fn only_the_teacher_adds_activities() {
    let stage = Stage::new().await;
    let response = stage.client.get(stage.url("/activities/add?as=p-01")).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::FORBIDDEN);
}

#[actix_web::test]
async fn each_wrong_authorization_parameter_is_reported_to_the_tool() {
    let stage = Stage::new().await;
    for name in [
        "scope",
        "response_type",
        "response_mode",
        "prompt",
        "login_hint",
        "lti_message_hint",
        "nonce",
        "state",
    ] {
        let right = authorization(&stage, &initiate(&stage, ADD).await);
        let mut missing = right.clone();
        missing.remove(name);
        let posted = authorize(&stage, &missing).await;
        assert_eq!(posted["error"], "invalid_request", "{name}");
        assert!(posted["error_description"].contains(name), "{name}: {posted:?}");
        assert!(!posted.contains_key("id_token"));
        assert_eq!(posted.get("state"), missing.get("state"));

        if name != "nonce" && name != "state" {
            let mut wrong = right;
            wrong.insert(name.to_owned(), "something else".to_owned());
            assert_eq!(authorize(&stage, &wrong).await["error"], "invalid_request", "{name}");
        }
    }
}

#[actix_web::test]
async fn a_login_hint_of_another_person_is_declined() {
    let stage = Stage::new().await;
    placed_quiz(&stage, "p-01").await;
    let own = initiate(&stage, &open_path(&stage, "p-01").await).await;
    let others = initiate(&stage, &open_path(&stage, "p-02").await).await;
    let mut parameters = authorization(&stage, &own);
    parameters.insert("login_hint".to_owned(), others["login_hint"].clone());
    assert_eq!(authorize(&stage, &parameters).await["error"], "invalid_request");
}

#[actix_web::test]
async fn nothing_is_posted_to_an_unregistered_address_or_client() {
    let stage = Stage::new().await;
    for (name, value) in [
        ("redirect_uri", format!("{}/", stage.tool.launch_url)),
        ("redirect_uri", "http://127.0.0.1:9/launch".to_owned()),
        ("client_id", "somebody".to_owned()),
    ] {
        let mut parameters = authorization(&stage, &initiate(&stage, ADD).await);
        parameters.insert(name.to_owned(), value);
        let request = stage.client.get(stage.registration().authorization_url).query(&parameters);
        let response = request.send().await.unwrap();
        assert_eq!(response.status(), StatusCode::BAD_REQUEST);
        assert!(!response.text().await.unwrap().contains("<form"));
    }
}

#[actix_web::test]
async fn a_repeated_parameter_is_refused() {
    let stage = Stage::new().await;
    let parameters = authorization(&stage, &initiate(&stage, ADD).await);
    let request = stage.client.get(stage.registration().authorization_url);
    let response = request.query(&parameters).query(&[("nonce", "other")]).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::BAD_REQUEST);
}

#[actix_web::test]
async fn a_nonce_is_accepted_once_and_a_posted_request_as_well_as_a_get() {
    let stage = Stage::new().await;
    let parameters = authorization(&stage, &initiate(&stage, ADD).await);
    let request = stage.client.post(stage.registration().authorization_url).form(&parameters);
    let page = request.send().await.unwrap().text().await.unwrap();
    assert!(hidden_fields(&page).contains_key("id_token"));
    assert_eq!(authorize(&stage, &parameters).await["error_description"], "nonce was used before");
}

#[actix_web::test]
async fn forged_tokens_fail_the_check_they_are_named_after() {
    let stage = Stage::new().await;
    let path = {
        placed_quiz(&stage, "p-01").await;
        open_path(&stage, "p-01").await
    };
    for (forgery, failure) in [
        (Forgery::WrongKey, "InvalidSignature"),
        (Forgery::UnknownKeyId, "unknown kid"),
        (Forgery::MissingKeyId, "kid"),
        (Forgery::ChangedPayload, "InvalidSignature"),
        (Forgery::PublicKeyAsSecret, "InvalidAlgorithm"),
        (Forgery::Expired, "ExpiredSignature"),
        (Forgery::IssuedInFuture, "iat"),
        (Forgery::WrongIssuer, "InvalidIssuer"),
        (Forgery::WrongAudience, "InvalidAudience"),
        (Forgery::UnknownDeployment, "deployment_id"),
        (Forgery::WrongNonce, "nonce"),
        (Forgery::Replayed, "nonce"),
        (Forgery::MissingClaim { claim: "sub".to_owned() }, "Missing required claim: sub"),
    ] {
        stage.practice.set_forgery(Some(forgery.clone()));
        let (id_token, nonce) = launch(&stage, &path).await;
        let refused = verify(&stage, &id_token, &nonce).await.unwrap_err();
        assert_eq!(refused, failure, "{forgery:?}");
    }
    stage.practice.set_forgery(None);
    claims(&stage, &path).await;
}

#[actix_web::test]
async fn an_unsigned_token_says_none_and_has_no_signature() {
    let stage = Stage::new().await;
    stage.practice.set_forgery(Some(Forgery::AlgorithmNone));
    let (id_token, nonce) = launch(&stage, ADD).await;
    assert!(id_token.ends_with('.'));
    assert!(verify(&stage, &id_token, &nonce).await.unwrap_err().contains("none"));
}

#[actix_web::test]
async fn single_claims_are_left_out_or_replaced_in_validly_signed_tokens() {
    let stage = Stage::new().await;
    let claim = lti("roles");
    stage.practice.set_forgery(Some(Forgery::MissingClaim { claim: claim.clone() }));
    assert!(!claims(&stage, ADD).await.contains_key(&claim));
    let value: Value = json!("not an array");
    stage.practice.set_forgery(Some(Forgery::ReplacedClaim { claim: claim.clone(), value: value.clone() }));
    assert_eq!(claims(&stage, ADD).await[&claim], value);
}

#[actix_web::test]
async fn forgeries_are_switched_over_http() {
    let stage = Stage::new().await;
    let switch = stage.client.put(stage.url("/admin/forgery")).json(&json!({ "forgery": "expired" }));
    assert_eq!(switch.send().await.unwrap().status(), StatusCode::NO_CONTENT);
    let (id_token, nonce) = launch(&stage, ADD).await;
    assert_eq!(verify(&stage, &id_token, &nonce).await.unwrap_err(), "ExpiredSignature");
    stage.client.delete(stage.url("/admin/forgery")).send().await.unwrap();
    claims(&stage, ADD).await;
}
