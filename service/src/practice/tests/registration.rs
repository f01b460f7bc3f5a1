//! Dynamic registration: what the platform says of itself, and records that it takes and refuses (LTI Dynamic
//! Registration 1.0 and RFC 7591, from memory).

use reqwest::StatusCode;
use reqwest::header::{AUTHORIZATION, LOCATION};
use serde_json::{Value, json};
use url::Url;

use super::stage::Stage;

const PLATFORM: &str = "https://purl.imsglobal.org/spec/lti-platform-configuration";
const TOOL: &str = "https://purl.imsglobal.org/spec/lti-tool-configuration";
const SCORE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";

fn record() -> Value {
    json!({
        "application_type": "web",
        "response_types": ["id_token"],
        "grant_types": ["implicit", "client_credentials"],
        "initiate_login_uri": "https://tool.example.org/login",
        "redirect_uris": ["https://tool.example.org/launch"],
        "client_name": "River tool",
        "jwks_uri": "https://tool.example.org/keys",
        "token_endpoint_auth_method": "private_key_jwt",
        "scope": SCORE,
        TOOL: {
            "domain": "tool.example.org",
            "target_link_uri": "https://tool.example.org/launch",
            "claims": ["iss", "sub"],
            "messages": [
                {"type": "LtiResourceLinkRequest"},
                {"type": "LtiDeepLinkingRequest", "target_link_uri": "https://tool.example.org/place"},
            ],
        },
    })
}

impl Stage {
    /// The platform's administrator opens the tool's registration page; the token that goes along.
    async fn registration_token(&self) -> String {
        let form = [("address", "https://tool.example.org/register?invitation=7")];
        let answer = self.client.post(self.url("/registrations")).form(&form).send().await.unwrap();
        assert_eq!(answer.status(), StatusCode::SEE_OTHER);
        let address: Url = answer.headers()[LOCATION].to_str().unwrap().parse().unwrap();
        let value =
            |wanted: &str| address.query_pairs().find(|(name, _)| name == wanted).unwrap().1.into_owned();
        assert_eq!((address.path(), value("invitation").as_str()), ("/register", "7"));
        assert_eq!(value("openid_configuration"), self.url("/.well-known/openid-configuration"));
        value("registration_token")
    }

    async fn register(&self, token: &str, record: &Value) -> (StatusCode, Value) {
        let request = self.client.post(self.url("/register")).bearer_auth(token).json(record);
        let answer = request.send().await.unwrap();
        (answer.status(), answer.json().await.unwrap())
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_configuration_has_what_the_standard_asks_for() {
    let stage = Stage::new().await;
    let answer = stage.client.get(stage.url("/.well-known/openid-configuration")).send().await.unwrap();
    let configuration: Value = answer.json().await.unwrap();
    let known = stage.registration();
    for (name, value) in [
        ("issuer", &known.issuer),
        ("authorization_endpoint", &known.authorization_url),
        ("token_endpoint", &known.token_url),
        ("jwks_uri", &known.keys_url),
    ] {
        assert_eq!(configuration[name], value.as_str(), "{name}");
    }
    for (name, value) in [
        ("token_endpoint_auth_methods_supported", "private_key_jwt"),
        ("token_endpoint_auth_signing_alg_values_supported", "RS256"),
        ("response_types_supported", "id_token"),
        ("id_token_signing_alg_values_supported", "RS256"),
        ("scopes_supported", "openid"),
        ("claims_supported", "sub"),
        ("subject_types_supported", "public"),
    ] {
        assert!(configuration[name].as_array().unwrap().contains(&json!(value)), "{name}");
    }
    assert_eq!(configuration[PLATFORM]["messages_supported"][0]["type"], "LtiResourceLinkRequest");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_takes_effect_and_its_token_is_used_up() {
    let stage = Stage::new().await;
    let token = stage.registration_token().await;
    let (status, reply) = stage.register(&token, &record()).await;
    assert_eq!((status, &reply["client_id"]), (StatusCode::CREATED, &json!(stage.registration().client_id)));
    assert_eq!(reply["redirect_uris"], record()["redirect_uris"]);
    let launch = stage.client.get(stage.url("/activities/add?as=t-1")).send().await.unwrap();
    let address = launch.headers()[LOCATION].to_str().unwrap().to_owned();
    assert!(address.starts_with("https://tool.example.org/login?"), "{address}");
    assert!(address.contains("target_link_uri=https%3A%2F%2Ftool.example.org%2Fplace"), "{address}");
    for token in [token.as_str(), "", "invented"] {
        let (status, refusal) = stage.register(token, &record()).await;
        assert_eq!((status, &refusal["error"]), (StatusCode::UNAUTHORIZED, &json!("invalid_token")));
    }
    let bare = stage.client.post(stage.url("/register")).json(&record()).send().await.unwrap();
    assert_eq!(bare.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_that_leaves_the_standard_is_refused_and_the_token_stays() {
    type Spoil = fn(&mut Value);
    let rows: [(&str, &str, Spoil); 16] = [
        ("invalid_client_metadata", "application_type", |r| r["application_type"] = json!("native")),
        ("invalid_client_metadata", "response_types", |r| r["response_types"] = json!(["code"])),
        ("invalid_client_metadata", "grant_types", |r| {
            r["grant_types"] = json!(["implict", "client_credentials"]);
        }),
        ("invalid_client_metadata", "token_endpoint_auth_method", |r| {
            r["token_endpoint_auth_method"] = json!("client_secret_post");
        }),
        ("invalid_client_metadata", "client_name", |r| r["client_name"] = json!("")),
        ("invalid_client_metadata", "scope", |r| r["scope"] = json!("everything")),
        ("invalid_client_metadata", "initiate_login_uri", |r| r["initiate_login_uri"] = Value::Null),
        ("invalid_client_metadata", "must be https", |r| {
            r["initiate_login_uri"] = json!("http://tool.example.org/login");
        }),
        ("invalid_client_metadata", "jwks_uri", |r| r["jwks_uri"] = json!("https://other.example.org/keys")),
        ("invalid_redirect_uri", "redirect_uris", |r| r["redirect_uris"] = json!([])),
        ("invalid_redirect_uri", "redirect_uris", |r| {
            r["redirect_uris"] = json!(["https://other.example.org/l"]);
        }),
        ("invalid_client_metadata", "domain", |r| drop(r.as_object_mut().unwrap().remove(TOOL))),
        ("invalid_redirect_uri", "domain", |r| r[TOOL]["domain"] = json!("other.example.org")),
        ("invalid_client_metadata", "claims", |r| r[TOOL]["claims"] = json!(["iss"])),
        ("invalid_client_metadata", "messages", |r| r[TOOL]["messages"] = json!({})),
        ("invalid_client_metadata", "LtiOther", |r| r[TOOL]["messages"][0]["type"] = json!("LtiOther")),
    ];
    let stage = Stage::new().await;
    let token = stage.registration_token().await;
    for (error, words, spoil) in rows {
        let mut record = record();
        spoil(&mut record);
        let (status, refusal) = stage.register(&token, &record).await;
        assert_eq!(
            (status, &refusal["error"]),
            (StatusCode::BAD_REQUEST, &json!(error)),
            "{words}: {refusal}"
        );
        assert!(refusal["error_description"].as_str().unwrap().contains(words), "{words}: {refusal}");
    }
    let form = stage
        .client
        .post(stage.url("/register"))
        .header(AUTHORIZATION, format!("Bearer {token}"))
        .form(&[("client_name", "River tool")]);
    assert_eq!(form.send().await.unwrap().status(), StatusCode::BAD_REQUEST);
    assert_eq!(stage.register(&token, &record()).await.0, StatusCode::CREATED, "the token was not used up");
}
