//! Configurations, records and replies: what is taken, and what is refused with which words. Members and values are
//! those of LTI Dynamic Registration 1.0 and RFC 7591, from memory.

use serde_json::{Value, json};

use super::*;

const PLATFORM: &str = "https://purl.imsglobal.org/spec/lti-platform-configuration";
const SCORE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";
const AT: &str = "https://platform.example.org/.well-known/openid-configuration";

fn configuration() -> Value {
    json!({
        "issuer": "https://platform.example.org",
        "authorization_endpoint": "https://platform.example.org/authorize",
        "registration_endpoint": "https://platform.example.org/register",
        "jwks_uri": "https://keys.example.net/platform",
        "token_endpoint": "https://platform.example.org/token",
        "token_endpoint_auth_methods_supported": ["private_key_jwt", "client_secret_basic"],
        "token_endpoint_auth_signing_alg_values_supported": ["RS256"],
        "scopes_supported": ["openid", SCORE, "https://platform.example.org/own"],
        "response_types_supported": ["id_token", "code"],
        "id_token_signing_alg_values_supported": ["RS256", "ES256"],
        "claims_supported": ["sub", "iss"],
        "subject_types_supported": ["public"],
        PLATFORM: {
            "product_family_code": "river-school",
            "version": "7",
            "messages_supported": [{"type": "LtiResourceLinkRequest"}, {"type": "LtiDeepLinkingRequest"}],
        },
    })
}

fn read(configuration: &Value, at: &str) -> Result<PlatformConfiguration, RegistrationProblem> {
    super::configuration::read(configuration.to_string().as_bytes(), &at.parse().unwrap(), Reach::Public)
}

fn good() -> PlatformConfiguration {
    read(&configuration(), AT).unwrap()
}

fn public_url() -> PublicUrl {
    PublicUrl::new("public", &"https://quiz.example.org:8443".parse().unwrap(), Reach::Public).unwrap()
}

#[test]
fn reads_what_a_platform_says_of_itself() {
    let read = good();
    assert_eq!(read.issuer, "https://platform.example.org");
    assert_eq!(read.jwks_uri.as_str(), "https://keys.example.net/platform");
    assert_eq!((read.product.as_str(), read.deep_linking), ("river-school", true));
    assert_eq!(read.scopes, [SCORE.to_owned()].into(), "what we do not use is not asked for");
    assert_eq!(read.authorization_server, None);
}

/// Checklist 1.8, step 2.
#[test]
fn refuses_configurations_that_do_not_fit_and_says_why() {
    type Spoil = fn(&mut Value);
    let rows: [(&str, &str, Spoil); 22] = [
        ("configuration", "issuer", |c| drop(c.as_object_mut().unwrap().remove("issuer"))),
        ("configuration", "issuer", |c| c["issuer"] = json!("platform")),
        ("configuration", "without query", |c| c["issuer"] = json!("https://platform.example.org/?x=1")),
        ("address", "issuer", |c| c["issuer"] = json!("http://platform.example.org")),
        ("issuer_host", "another host", |c| c["issuer"] = json!("https://bank.example.org")),
        ("issuer_host", "another host", |c| c["issuer"] = json!("https://platform.example.org.evil.example")),
        ("address", "authorization_endpoint", |c| {
            c["authorization_endpoint"] = json!("http://platform.example.org/a");
        }),
        ("address", "registration_endpoint", |c| {
            c["registration_endpoint"] = json!("https://10.0.0.7/register");
        }),
        ("address", "token_endpoint", |c| c["token_endpoint"] = json!("https://localhost/token")),
        ("address", "jwks_uri", |c| c["jwks_uri"] = json!("https://169.254.169.254/keys")),
        ("configuration", "jwks_uri", |c| c["jwks_uri"] = json!(["https://platform.example.org/keys"])),
        ("configuration", "private_key_jwt", |c| {
            c["token_endpoint_auth_methods_supported"] = json!(["client_secret_post"]);
        }),
        ("configuration", "RS256", |c| {
            c["token_endpoint_auth_signing_alg_values_supported"] = json!(["ES256"]);
        }),
        ("configuration", "id_token", |c| c["response_types_supported"] = json!(["code"])),
        ("configuration", "a list of texts", |c| {
            c["id_token_signing_alg_values_supported"] = json!("RS256");
        }),
        ("configuration", "openid", |c| c["scopes_supported"] = json!([SCORE])),
        ("configuration", "subject_types_supported", |c| c["subject_types_supported"] = json!([7])),
        ("configuration", "lti-platform-configuration", |c| {
            drop(c.as_object_mut().unwrap().remove(PLATFORM));
        }),
        ("configuration", "product_family_code", |c| c[PLATFORM]["product_family_code"] = json!("")),
        ("configuration", "messages_supported", |c| c[PLATFORM]["messages_supported"] = json!({})),
        ("configuration", "messages_supported", |c| c[PLATFORM]["messages_supported"] = json!([{}])),
        ("configuration", "LtiResourceLinkRequest", |c| {
            c[PLATFORM]["messages_supported"] = json!([{"type": "LtiDeepLinkingRequest"}]);
        }),
    ];
    for (number, (name, words, spoil)) in rows.into_iter().enumerate() {
        let mut configuration = configuration();
        spoil(&mut configuration);
        let problem = read(&configuration, AT).unwrap_err();
        assert_eq!(problem.name(), name, "row {number}: {problem}");
        assert!(problem.to_string().contains(words), "row {number}: {problem}");
    }
    let at = AT.parse().unwrap();
    for text in ["", "[]", "{\"issuer\":\"a\",\"issuer\":\"b\"}", "<html>"] {
        let problem = super::configuration::read(text.as_bytes(), &at, Reach::Public).unwrap_err();
        assert_eq!(problem.name(), "configuration", "{text}");
    }
}

/// Checklist 1.8, step 3.
#[test]
fn our_record_has_what_the_standard_asks_for() {
    let record = request::record(&good(), &public_url());
    let launch = "https://quiz.example.org:8443/lti/launch";
    assert_eq!(record["application_type"], "web");
    assert_eq!(record["response_types"], json!(["id_token"]));
    assert_eq!(record["grant_types"], json!(["implicit", "client_credentials"]));
    assert_eq!(record["initiate_login_uri"], "https://quiz.example.org:8443/lti/login");
    assert_eq!(record["redirect_uris"], json!([launch]));
    assert_eq!(record["jwks_uri"], "https://quiz.example.org:8443/lti/keys");
    assert_eq!(record["token_endpoint_auth_method"], "private_key_jwt");
    assert_eq!(record["scope"], SCORE);
    let tool = &record[request::TOOL];
    assert_eq!(
        (&tool["domain"], &tool["target_link_uri"]),
        (&json!("quiz.example.org:8443"), &json!(launch))
    );
    assert_eq!(tool["messages"].as_array().unwrap().len(), 2);
    let without = PlatformConfiguration { deep_linking: false, ..good() };
    let record = request::record(&without, &public_url());
    assert_eq!(record[request::TOOL]["messages"].as_array().unwrap().len(), 1);
}

/// Checklist 1.8, step 4; the misspelling is read, too.
#[test]
fn reads_the_reply_and_refuses_what_would_not_work() {
    let record = request::record(&good(), &public_url());
    let answer = |change: fn(&mut Value)| {
        let mut answer = record.clone();
        answer["client_id"] = json!("tool-7");
        change(&mut answer);
        reply::read(answer.to_string().as_bytes(), &good(), &record)
    };
    let stored = answer(|_| ()).unwrap();
    assert_eq!((stored.client_id.as_str(), stored.deployments.len()), ("tool-7", 0));
    assert_eq!(stored.token_url, good().token_endpoint);
    let with_deployment = answer(|reply| {
        reply[request::TOOL]["deployment_id"] = json!("d-1");
        reply["grant_types"] = json!(["implict", "client_credentials"]);
    });
    assert_eq!(with_deployment.unwrap().deployments, ["d-1".into()].into());
    type Spoil = fn(&mut Value);
    let rows: [(&str, Spoil); 8] = [
        ("client_id", |reply| drop(reply.as_object_mut().unwrap().remove("client_id"))),
        ("client_id", |reply| reply["client_id"] = json!(7)),
        ("client_id", |reply| reply["client_id"] = json!("x".repeat(256))),
        ("redirect_uris", |reply| reply["redirect_uris"] = json!(["https://evil.example/launch"])),
        ("jwks_uri", |reply| reply["jwks_uri"] = json!("https://evil.example/keys")),
        ("grant_types", |reply| reply["grant_types"] = json!(["implicit"])),
        ("deployment_id", |reply| reply[request::TOOL]["deployment_id"] = json!("")),
        ("lti-tool-configuration", |reply| reply[request::TOOL] = json!("none")),
    ];
    for (words, spoil) in rows {
        let problem = answer(spoil).unwrap_err();
        assert!(problem.name() == "reply" && problem.to_string().contains(words), "{words}: {problem}");
    }
}

#[test]
fn a_refusal_is_told_in_the_platforms_words_but_not_at_any_length() {
    let told =
        reply::refusal(400, br#"{"error":"invalid_redirect_uri","error_description":"another host."}"#);
    assert_eq!(told, "invalid_redirect_uri (status 400): another host");
    assert_eq!(reply::refusal(500, b"<html>"), "status 500");
    let long = format!(r#"{{"error":"e","error_description":"{}"}}"#, "a".repeat(9000));
    assert!(reply::refusal(400, long.as_bytes()).len() < 300);
}

#[test]
fn an_offer_opens_here_in_time_and_unchanged_only() {
    let (key, now) = (SealKey::random(), "2026-03-02T08:05:00Z".parse().unwrap());
    let offer = Offer {
        invitation: "secret".to_owned(),
        platform: good(),
        registration_token: Some("token".to_owned()),
        expires_at: plus_ms(now, 1000),
    };
    let field = offer.sealed(&key);
    assert_eq!(Offer::open(&field, &key, now).unwrap().platform, good());
    let refused = |field: &str, key: &SealKey, now| Offer::open(field, key, now).unwrap_err();
    assert_eq!(refused(&field, &key, plus_ms(now, 1000)), RegistrationProblem::Offer);
    assert_eq!(refused(&field, &SealKey::random(), now), RegistrationProblem::Offer);
    assert_eq!(refused(&field[1..], &key, now), RegistrationProblem::Offer);
    assert_eq!(refused("", &key, now), RegistrationProblem::Offer);
}
