//! Logins: rows 1 to 7 of the list of launches to reject, and what a good login sends.

use reqwest::header::SET_COOKIE;
use service::lti::FailedCheck;
use service::storage::NewRegistration;

use crate::platform::CLIENT_ID;
use crate::tool::{Refusal, Tool, change, registration};

#[tokio::test(flavor = "multi_thread")]
async fn sends_the_browser_to_the_registered_address_with_every_parameter() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    let sent: std::collections::BTreeMap<_, _> = login.redirect.query_pairs().into_owned().collect();
    assert!(login.redirect.as_str().starts_with(&format!("{}/authorize?", tool.platform.url)));
    for (name, value) in [
        ("kept", "1"),
        ("scope", "openid"),
        ("response_type", "id_token"),
        ("response_mode", "form_post"),
        ("prompt", "none"),
        ("client_id", CLIENT_ID),
        ("login_hint", "hint 7"),
        ("lti_message_hint", "link=4&x=1"),
        ("redirect_uri", &format!("{}/lti/launch", tool.url)),
    ] {
        assert_eq!(sent.get(name).map(String::as_str), Some(value), "{name}");
    }
    assert!(login.state.len() >= 22 && login.nonce.len() >= 22, "at least 128 random bits each");
    assert_ne!(login.state, login.nonce);
}

#[tokio::test(flavor = "multi_thread")]
async fn takes_a_posted_login_and_sets_a_cookie_that_scripts_cannot_read() {
    let tool = Tool::start().await;
    let form = tool.login_parameters();
    let response = tool.client.post(format!("{}/lti/login", tool.url)).form(&form).send().await.unwrap();
    assert_eq!(response.status(), 302);
    let cookie = response.headers()[SET_COOKIE].to_str().unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax"), "{cookie}");
}

pub(crate) async fn rows_1_to_7() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let changed = |name: &str, value: Option<&str>| {
        let mut parameters = tool.login_parameters();
        parameters.retain(|(other, _)| *other != name || value.is_some());
        for (other, old) in &mut parameters {
            if *other == name {
                *old = value.unwrap_or_default().to_owned();
            }
        }
        parameters
    };
    let issuer = tool.platform.url.clone();
    let rows = [
        ("1", changed("iss", None), FailedCheck::LoginIssuer),
        ("2", changed("login_hint", None), FailedCheck::LoginHint),
        ("3 missing", changed("target_link_uri", None), FailedCheck::LoginTarget),
        ("3 foreign", changed("target_link_uri", Some("https://evil.test/")), FailedCheck::LoginTarget),
        ("3 no address", changed("target_link_uri", Some("quiz")), FailedCheck::LoginTarget),
        ("4", changed("iss", Some("https://unknown.example.org")), FailedCheck::IssuerUnknown),
        ("5 slash", changed("iss", Some(&format!("{issuer}/"))), FailedCheck::IssuerUnknown),
        ("5 case", changed("iss", Some(&issuer.to_uppercase())), FailedCheck::IssuerUnknown),
        ("6 unknown", changed("client_id", Some("other")), FailedCheck::ClientUnknown),
    ];
    for (row, parameters, check) in rows {
        tool.refused(tool.get_login(&parameters).await, check, row).await;
    }
    let mut repeated = tool.login_parameters();
    repeated.push(("iss", "https://other.example.org".to_owned()));
    tool.refused(tool.get_login(&repeated).await, FailedCheck::RepeatedParameter, "7").await;
    tool.refusals()
}

pub(crate) async fn row_6_an_issuer_with_two_registrations_and_no_client_id() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let second = NewRegistration { client_id: "second".into(), ..registration(&tool.platform) };
    tool.storage.put_registration(second, &change()).await.unwrap();
    let mut parameters = tool.login_parameters();
    parameters.retain(|(name, _)| *name != "client_id");
    tool.refused(tool.get_login(&parameters).await, FailedCheck::ClientAmbiguous, "6").await;
    tool.refusals()
}
