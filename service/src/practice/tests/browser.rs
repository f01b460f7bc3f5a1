//! The browser's part of a launch: follows redirects, reads the fields of self-posting forms, checks id_tokens.

use std::collections::BTreeMap;

use jsonwebtoken::jwk::JwkSet;
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode, decode_header};
use reqwest::StatusCode;
use serde_json::{Map, Value, json};
use url::Url;

use super::stage::{Stage, TOOL_KEY};
use crate::practice::clock;

pub(super) type Fields = BTreeMap<String, String>;

pub(super) fn lti(name: &str) -> String {
    format!("https://purl.imsglobal.org/spec/lti/claim/{name}")
}

pub(super) fn dl(name: &str) -> String {
    format!("https://purl.imsglobal.org/spec/lti-dl/claim/{name}")
}

/// Hidden fields of a page's form.
pub(super) fn hidden_fields(page: &str) -> Fields {
    let attribute = |text: &str, name: &str| {
        let start = text.find(&format!("{name}=\"")).unwrap() + name.len() + 2;
        let end = start + text[start..].find('"').unwrap();
        text[start..end].replace("&#38;", "&").replace("&#39;", "'").replace("&#34;", "\"")
    };
    let inputs = page.split("<input type=\"hidden\"").skip(1);
    inputs.map(|input| (attribute(input, "name"), attribute(input, "value"))).collect()
}

/// The parameters of the login initiation that opening `path` leads to.
pub(super) async fn initiate(stage: &Stage, path: &str) -> Fields {
    let response = stage.client.get(stage.url(path)).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    let location: Url = response.headers()["location"].to_str().unwrap().parse().unwrap();
    assert!(location.as_str().starts_with(stage.tool.login_url.as_str()));
    location.query_pairs().into_owned().collect()
}

/// The authorization request of a well-behaved tool.
pub(super) fn authorization(stage: &Stage, login: &Fields) -> Fields {
    let fixed = [
        ("scope", "openid"),
        ("response_type", "id_token"),
        ("response_mode", "form_post"),
        ("prompt", "none"),
        ("redirect_uri", stage.tool.launch_url.as_str()),
        ("client_id", &login["client_id"]),
        ("login_hint", &login["login_hint"]),
        ("lti_message_hint", &login["lti_message_hint"]),
        ("state", &clock::unguessable()),
        ("nonce", &clock::unguessable()),
    ];
    fixed.into_iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect()
}

/// What the authorization endpoint posts to the tool.
pub(super) async fn authorize(stage: &Stage, parameters: &Fields) -> Fields {
    let request = stage.client.get(stage.registration().authorization_url).query(parameters);
    let response = request.send().await.unwrap();
    assert_eq!(response.status(), StatusCode::OK);
    let page = response.text().await.unwrap();
    assert!(page.contains(&format!("action=\"{}\"", stage.tool.launch_url)), "{page}");
    hidden_fields(&page)
}

/// A whole launch; the id_token is returned unchecked, with the nonce that was asked for.
pub(super) async fn launch(stage: &Stage, path: &str) -> (String, String) {
    let parameters = authorization(stage, &initiate(stage, path).await);
    let posted = authorize(stage, &parameters).await;
    assert_eq!(posted["state"], parameters["state"]);
    (posted["id_token"].clone(), parameters["nonce"].clone())
}

/// Checks an id_token as a careful tool would, and returns its claims or the first failed check.
pub(super) async fn verify(stage: &Stage, id_token: &str, nonce: &str) -> Result<Map<String, Value>, String> {
    let registration = stage.registration();
    let keys: JwkSet = stage.client.get(&registration.keys_url).send().await.unwrap().json().await.unwrap();
    let header = decode_header(id_token).map_err(|error| error.to_string())?;
    let key_id = header.kid.ok_or("kid")?;
    let key = DecodingKey::from_jwk(keys.find(&key_id).ok_or("unknown kid")?).unwrap();
    let mut validation = Validation::new(Algorithm::RS256);
    validation.set_issuer(&[&registration.issuer]);
    validation.set_audience(&[&registration.client_id]);
    validation.set_required_spec_claims(&["iss", "aud", "exp", "sub"]);
    let claims =
        decode::<Map<String, Value>>(id_token, &key, &validation).map_err(|error| error.to_string())?;
    let claims = claims.claims;
    if claims.get("nonce") != Some(&json!(nonce)) {
        return Err("nonce".to_owned());
    }
    if claims["iat"].as_i64().is_none_or(|issued| issued > clock::now().as_second() + 5) {
        return Err("iat".to_owned());
    }
    if claims[&lti("deployment_id")] != json!(registration.deployment_id) {
        return Err("deployment_id".to_owned());
    }
    Ok(claims)
}

/// The claims of a verified launch.
pub(super) async fn claims(stage: &Stage, path: &str) -> Map<String, Value> {
    let (id_token, nonce) = launch(stage, path).await;
    verify(stage, &id_token, &nonce).await.unwrap()
}

/// The claims of a valid deep-linking response to a request.
pub(super) fn placing_response(stage: &Stage, request: &Map<String, Value>, items: &Value) -> Value {
    let registration = stage.registration();
    let now = clock::now().as_second();
    json!({
        "iss": registration.client_id,
        "aud": registration.issuer,
        "iat": now,
        "exp": now + 300,
        "nonce": clock::unguessable(),
        lti("message_type"): "LtiDeepLinkingResponse",
        lti("version"): "1.3.0",
        lti("deployment_id"): registration.deployment_id,
        dl("data"): request[&dl("deep_linking_settings")]["data"],
        dl("content_items"): items,
    })
}

/// Posts a deep-linking response, signed by the tool.
pub(super) async fn post_response(
    stage: &Stage,
    request: &Map<String, Value>,
    response: &Value,
) -> reqwest::Response {
    let address = request[&dl("deep_linking_settings")]["deep_link_return_url"].as_str().unwrap();
    let token = TOOL_KEY.sign(&TOOL_KEY.header(), response);
    stage.client.post(address).form(&[("JWT", token)]).send().await.unwrap()
}

/// A content item with a line item of 10 points.
pub(super) fn quiz_item() -> Value {
    json!({
        "type": "ltiResourceLink",
        "title": "Adding hundredths",
        "text": "Ten questions",
        "custom": { "pool": "river", "due": "$ResourceLink.submission.endDateTime", "who": "$User.id", "x": "$No.such" },
        "lineItem": { "scoreMaximum": 10, "label": "Hundredths", "resourceId": "river-10", "tag": "grade" },
        "submission": { "endDateTime": "2026-12-17T22:00:00Z" },
    })
}

/// Places a quiz and returns the claims of a pupil's launch of it.
pub(super) async fn placed_quiz(stage: &Stage, pupil: &str) -> Map<String, Value> {
    let request = claims(stage, "/activities/add?as=t-1").await;
    let response = placing_response(stage, &request, &json!([quiz_item()]));
    assert_eq!(post_response(stage, &request, &response).await.status(), StatusCode::SEE_OTHER);
    let path = open_path(stage, pupil).await;
    claims(stage, &path).await
}

/// Address behind the first "Open" of a person's course page.
pub(super) async fn open_path(stage: &Stage, person: &str) -> String {
    let page = stage.client.get(stage.url(&format!("/course?as={person}"))).send().await.unwrap();
    let page = page.text().await.unwrap();
    let start = page.find("href=\"/links/").unwrap() + "href=\"".len();
    let end = start + page[start..].find('"').unwrap();
    page[start..end].to_owned()
}
