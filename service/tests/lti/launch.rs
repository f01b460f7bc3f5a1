//! Launches: rows 8 to 48 of the list of launches to reject, and the good variants that must open.

use reqwest::Response;
use reqwest::header::{COOKIE, LOCATION, SET_COOKIE};
use serde_json::{Value, json};
use service::lti::FailedCheck;
use service::lti::token::SIZE_MAX;

use crate::platform::{CLIENT_ID, KeysInstead, Signer, foreign_public_key, sign};
use crate::tool::{GOOD_HEADER, Refusal, StartedLogin, Tool};

const CLAIM: &str = "https://purl.imsglobal.org/spec/lti/claim/";
const LEARNER: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner";
const MEMBERSHIP: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership#";
const INSTITUTION: &str = "http://purl.imsglobal.org/vocab/lis/v2/institution/person#";
const INSTRUCTOR: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor";

/// A launch that a row spoils in one place.
struct Spoiled {
    header: String,
    claims: Value,
    /// Replaces the text of the claims altogether.
    raw_claims: Option<String>,
    signer: Signer,
}

impl Spoiled {
    fn set(&mut self, name: &str, value: Value) {
        self.claims[full(name)] = value;
    }

    fn remove(&mut self, name: &str) {
        self.claims.as_object_mut().unwrap().remove(&full(name)).expect("the good launch has it");
    }
}

/// Short names stand for the standard's claims, dotted and plain ones for themselves.
fn full(name: &str) -> String {
    let core = [
        "message_type",
        "version",
        "deployment_id",
        "target_link_uri",
        "resource_link",
        "roles",
        "context",
        "custom",
    ];
    if core.contains(&name) { format!("{CLAIM}{name}") } else { name.to_owned() }
}

struct Row {
    number: &'static str,
    check: FailedCheck,
    spoil: fn(&mut Spoiled, &Tool),
}

fn row(number: &'static str, check: FailedCheck, spoil: fn(&mut Spoiled, &Tool)) -> Row {
    Row { number, check, spoil }
}

/// Runs rows that spoil the token of an otherwise good launch.
async fn refuse(tool: &Tool, rows: Vec<Row>, good: fn(&Tool, &StartedLogin) -> Value) {
    for Row { number, check, spoil } in rows {
        let login = tool.login().await;
        let mut launch = Spoiled {
            header: GOOD_HEADER.to_owned(),
            claims: good(tool, &login),
            raw_claims: None,
            signer: Signer::Own,
        };
        spoil(&mut launch, tool);
        let claims = launch.raw_claims.unwrap_or_else(|| launch.claims.to_string());
        let token = sign(&launch.header, &claims, launch.signer);
        let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
        let page = tool.refused(response, check, number).await;
        for part in token.split('.').skip(1).filter(|part| !part.is_empty()) {
            assert!(!page.contains(part), "row {number}: the page shows a part of the token");
        }
    }
}

pub(crate) async fn rows_8_to_11_launches_without_their_login() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let login = tool.login().await;
    let token = sign(GOOD_HEADER, &tool.claims(&login).to_string(), Signer::Own);

    let response = tool.launch(&login.cookie, &[("id_token", &token)]).await;
    tool.refused(response, FailedCheck::StateMissing, "8").await;
    let response = tool.launch(&login.cookie, &[("state", "invented"), ("id_token", &token)]).await;
    tool.refused(response, FailedCheck::StateUnknown, "9 unknown").await;

    let query = format!("{}/lti/launch?state={}&id_token={token}", tool.url, login.state);
    let response = tool.client.get(query).header(COOKIE, &login.cookie).send().await.unwrap();
    tool.refused(response, FailedCheck::PostRequired, "11 by query").await;
    let response = tool.launch(&login.cookie, &[("state", &login.state)]).await;
    tool.refused(response, FailedCheck::TokenMissing, "11 missing").await;
    let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
    tool.refused(response, FailedCheck::StateUsed, "9 used").await;

    let late = tool.login().await;
    tool.clock.advance_ms(10 * 60 * 1000);
    let response = tool.launch_with(&late, &tool.claims(&late)).await;
    tool.refused(response, FailedCheck::StateExpired, "9 expired").await;

    let (mine, other) = (tool.login().await, tool.login().await);
    for (case, cookie) in [("10 other browser", other.cookie.as_str()), ("10 no cookie", "")] {
        let attacked = if cookie.is_empty() { tool.login().await } else { mine.clone() };
        let token = sign(GOOD_HEADER, &tool.claims(&attacked).to_string(), Signer::Own);
        let response = tool.launch(cookie, &[("state", &attacked.state), ("id_token", &token)]).await;
        tool.refused(response, FailedCheck::Browser, case).await;
    }
    tool.refusals()
}

pub(crate) async fn rows_12_to_21_tokens_that_are_malformed_or_not_authentic() -> Vec<Refusal> {
    let tool = Tool::start().await;
    for (case, token, check) in [
        ("12 two parts", "e30.e30".to_owned(), FailedCheck::TokenForm),
        ("12 not base64url", "e30.e+30.e30".to_owned(), FailedCheck::TokenForm),
        ("12 too large", format!("e30.{}.e30", "a".repeat(SIZE_MAX)), FailedCheck::TokenSize),
    ] {
        let login = tool.login().await;
        let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
        tool.refused(response, check, case).await;
    }
    let login = tool.login().await;
    let huge = "a".repeat(300 * 1024);
    let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &huge)]).await;
    tool.refused(response, FailedCheck::RequestForm, "12 body too large").await;

    let rows = vec![
        row("13 claims", FailedCheck::TokenJson, |launch, _| launch.raw_claims = Some("[]".to_owned())),
        row("13 header", FailedCheck::TokenJson, |launch, _| launch.header = "\"RS256\"".to_owned()),
        row("14", FailedCheck::KeyIdMissing, |launch, _| launch.header = r#"{"alg":"RS256"}"#.to_owned()),
        row("15", FailedCheck::KeyUnknown, |launch, _| {
            launch.header = r#"{"alg":"RS256","kid":"other"}"#.to_owned();
        }),
        row("16", FailedCheck::Algorithm, |launch, _| {
            launch.header = r#"{"alg":"none","kid":"own"}"#.to_owned();
            launch.signer = Signer::Nobody;
        }),
        row("16 letter case", FailedCheck::Algorithm, |launch, _| {
            launch.header = r#"{"alg":"nOnE","kid":"own"}"#.to_owned();
            launch.signer = Signer::Nobody;
        }),
        row("16 RS256 unsigned", FailedCheck::Signature, |launch, _| launch.signer = Signer::Nobody),
        row("17", FailedCheck::Algorithm, |launch, _| {
            launch.header = r#"{"alg":"HS256","kid":"own"}"#.to_owned();
            launch.signer = Signer::PublicKeyAsSecret;
        }),
        row("17 as RS256", FailedCheck::Signature, |launch, _| launch.signer = Signer::PublicKeyAsSecret),
        row("18", FailedCheck::Algorithm, |launch, _| {
            launch.header = r#"{"alg":"ES256","kid":"own"}"#.to_owned();
        }),
        row("20", FailedCheck::Signature, |launch, _| launch.signer = Signer::Foreign),
        row("21", FailedCheck::Signature, |launch, _| {
            launch.header = json!({"alg": "RS256", "kid": "own", "jwk": foreign_public_key()}).to_string();
            launch.signer = Signer::Foreign;
        }),
        row("21 by address", FailedCheck::Signature, |launch, tool| {
            let address = format!("{}/keys", tool.url);
            launch.header = json!({"alg": "RS256", "kid": "own", "jku": address, "x5u": address}).to_string();
            launch.signer = Signer::Foreign;
        }),
        row("21 certificate", FailedCheck::Signature, |launch, _| {
            launch.header = json!({"alg": "RS256", "kid": "own", "x5c": ["MIIB"]}).to_string();
            launch.signer = Signer::Foreign;
        }),
    ];
    refuse(&tool, rows, Tool::claims).await;

    for part in ["19 claims", "19 header", "19 signature"] {
        let login = tool.login().await;
        let claims = tool.claims(&login).to_string();
        let token = sign(GOOD_HEADER, &claims, Signer::Own);
        let changed = changed_by_a_byte(&token, &claims, part);
        let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &changed)]).await;
        tool.refused(response, FailedCheck::Signature, part).await;
    }

    let login = tool.login().await;
    let registration = tool.storage.registrations().await.unwrap().pop().unwrap();
    let signer = tool.server.app.tool_keys.signer(registration.id).await.unwrap();
    let token = signer.sign(&tool.claims(&login));
    let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
    tool.refused(response, FailedCheck::KeyUnknown, "20 our own key").await;
    tool.refusals()
}

/// The token with one byte of one part changed, so that all parts still are what they should be.
fn changed_by_a_byte(token: &str, claims: &str, part: &str) -> String {
    let (rest, signature) = token.rsplit_once('.').unwrap();
    let (header, payload) = rest.split_once('.').unwrap();
    let base64url = |text: &str| sign(text, "", Signer::Nobody).split('.').next().unwrap().to_owned();
    match part {
        "19 claims" => {
            format!("{header}.{}.{signature}", base64url(&claims.replace("pupil-7", "pupil-8")))
        }
        "19 header" => {
            format!("{}.{payload}.{signature}", base64url(&GOOD_HEADER.replace("\"JWT\"", "\"JWS\"")))
        }
        _ => {
            let other = if signature.starts_with('A') { "B" } else { "A" };
            format!("{rest}.{other}{}", &signature[1..])
        }
    }
}

pub(crate) async fn rows_22_to_30_tokens_for_others_and_other_times() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let rows = vec![
        row("22", FailedCheck::Issuer, |launch, _| launch.set("iss", json!("https://other.example.org"))),
        row("22 missing", FailedCheck::Issuer, |launch, _| launch.remove("iss")),
        row("23 other", FailedCheck::Audience, |launch, _| launch.set("aud", json!("another"))),
        row("23 missing", FailedCheck::Audience, |launch, _| launch.remove("aud")),
        row("23 empty", FailedCheck::Audience, |launch, _| launch.set("aud", json!([]))),
        row("23 extra", FailedCheck::Audience, |launch, _| launch.set("aud", json!([CLIENT_ID, "another"]))),
        row("24 different", FailedCheck::AuthorizedParty, |launch, _| launch.set("azp", json!("another"))),
        row("24 several", FailedCheck::AuthorizedParty, |launch, _| {
            launch.set("aud", json!([CLIENT_ID, CLIENT_ID]));
        }),
        row("25 missing", FailedCheck::ExpiryMissing, |launch, _| launch.remove("exp")),
        row("25 string", FailedCheck::ClaimType, |launch, _| launch.set("exp", json!("1900000000"))),
        row("25 negative", FailedCheck::ClaimType, |launch, _| launch.set("exp", json!(-5))),
        row("26 missing", FailedCheck::IssuedAtMissing, |launch, _| launch.remove("iat")),
        row("26 future", FailedCheck::IssuedInFuture, |launch, _| {
            launch.set("iat", json!(launch.claims["iat"].as_i64().unwrap() + 61));
        }),
        row("27", FailedCheck::TooOld, |launch, _| {
            launch.set("iat", json!(launch.claims["iat"].as_i64().unwrap() - 661));
        }),
        row("28", FailedCheck::NonceMissing, |launch, _| launch.remove("nonce")),
        row("29", FailedCheck::Nonce, |launch, _| launch.set("nonce", json!("another"))),
        row("48 not yet", FailedCheck::NotBefore, |launch, _| {
            launch.set("nbf", json!(launch.claims["iat"].as_i64().unwrap() + 61));
        }),
        row("48 expired", FailedCheck::Expired, |launch, _| {
            launch.set("exp", json!(launch.claims["iat"].as_i64().unwrap() - 60));
        }),
    ];
    refuse(&tool, rows, Tool::claims).await;

    let login = tool.login().await;
    let token = sign(GOOD_HEADER, &tool.claims(&login).to_string(), Signer::Own);
    let fields = [("state", login.state.as_str()), ("id_token", token.as_str())];
    assert_eq!(tool.launch(&login.cookie, &fields).await.status(), 303);
    tool.refused(tool.launch(&login.cookie, &fields).await, FailedCheck::StateUsed, "30").await;
    let again = tool.login().await;
    let fields = [("state", again.state.as_str()), ("id_token", token.as_str())];
    tool.refused(tool.launch(&again.cookie, &fields).await, FailedCheck::Nonce, "30 new state").await;
    tool.refusals()
}

pub(crate) async fn rows_31_to_45_messages_that_break_the_standard() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let rows = vec![
        row("31", FailedCheck::MessageTypeMissing, |launch, _| launch.remove("message_type")),
        row("32", FailedCheck::MessageType, |launch, _| launch.set("message_type", json!("LtiOther"))),
        row("33", FailedCheck::VersionMissing, |launch, _| launch.remove("version")),
        row("34", FailedCheck::Version, |launch, _| launch.set("version", json!("1.3"))),
        row("35", FailedCheck::DeploymentMissing, |launch, _| launch.remove("deployment_id")),
        row("36 hint", FailedCheck::DeploymentHint, |launch, _| launch.set("deployment_id", json!("2"))),
        row("36 long", FailedCheck::DeploymentForm, |launch, _| {
            launch.set("deployment_id", json!("d".repeat(256)));
        }),
        row("37 missing", FailedCheck::ResourceLink, |launch, _| launch.remove("resource_link")),
        row("37 no id", FailedCheck::ResourceLink, |launch, _| launch.set("resource_link", json!({}))),
        row("37 empty", FailedCheck::ResourceLink, |launch, _| {
            launch.set("resource_link", json!({"id": ""}));
        }),
        row("38 missing", FailedCheck::TargetMissing, |launch, _| launch.remove("target_link_uri")),
        row("38 foreign", FailedCheck::TargetForeign, |launch, _| {
            launch.set("target_link_uri", json!("https://evil.test/lti/launch"));
        }),
        row("38 differs", FailedCheck::TargetDiffers, |launch, tool| {
            launch.set("target_link_uri", json!(format!("{}/other", tool.url)));
        }),
        row("39 missing", FailedCheck::RolesMissing, |launch, _| launch.remove("roles")),
        row("39 text", FailedCheck::ClaimType, |launch, _| launch.set("roles", json!(LEARNER))),
        row("40", FailedCheck::SubjectMissing, |launch, _| launch.remove("sub")),
        row("41 long", FailedCheck::SubjectForm, |launch, _| launch.set("sub", json!("s".repeat(256)))),
        row("41 number", FailedCheck::SubjectForm, |launch, _| launch.set("sub", json!(7))),
        row("42 link", FailedCheck::ClaimType, |launch, _| launch.set("resource_link", json!("link-4"))),
        row("42 version", FailedCheck::ClaimType, |launch, _| launch.set("version", json!(1.3))),
        row("42 launch presentation", FailedCheck::ClaimType, |launch, _| {
            launch.claims[format!("{CLAIM}launch_presentation")] = json!("iframe");
        }),
        row("42 tool platform", FailedCheck::ClaimType, |launch, _| {
            launch.claims[format!("{CLAIM}tool_platform")] = json!(["p-1"]);
        }),
        row("42 lis", FailedCheck::ClaimType, |launch, _| {
            launch.claims[format!("{CLAIM}lis")] = json!("person-7");
        }),
        row("42 mentor", FailedCheck::ClaimType, |launch, _| {
            launch.claims[format!("{CLAIM}role_scope_mentor")] = json!({"user": "pupil-8"});
        }),
        row("42 custom null", FailedCheck::ClaimType, |launch, _| {
            launch.set("custom", json!({"pool": "river-day", "due": null}));
        }),
        row("45", FailedCheck::DuplicateMember, |launch, _| {
            launch.raw_claims =
                Some(launch.claims.to_string().replacen('{', r#"{"iss":"https://x.test","#, 1));
        }),
        row("crit", FailedCheck::CriticalHeader, |launch, _| {
            launch.header = r#"{"alg":"RS256","kid":"own","crit":["b64"],"b64":false}"#.to_owned();
        }),
        row("no pool", FailedCheck::CustomParameters, |launch, _| launch.remove("custom")),
        row("unknown pool", FailedCheck::PoolUnknown, |launch, _| {
            launch.set("custom", json!({"pool": "other", "questions": "5", "attempts": "1"}));
        }),
        row("own values followed perhaps", FailedCheck::CustomParameters, |launch, _| {
            launch.set(
                "custom",
                json!({"pool": "river-day", "questions": "5", "attempts": "1", "follow_through": "perhaps"}),
            );
        }),
        row("half a credit", FailedCheck::CustomParameters, |launch, _| {
            launch.set(
                "custom",
                json!({"pool": "river-day", "questions": "5", "attempts": "1", "form_credit": "half"}),
            );
        }),
        row("two questions at a time", FailedCheck::CustomParameters, |launch, _| {
            launch.set(
                "custom",
                json!({"pool": "river-day", "questions": "5", "attempts": "1", "layout": "two"}),
            );
        }),
        row("no number", FailedCheck::CustomParameters, |launch, _| {
            launch.set("custom", json!({"pool": "river-day", "questions": "many", "attempts": "1"}));
        }),
        row("private grade address", FailedCheck::GradeEndpoint, |launch, _| {
            let endpoint = json!({"scope": [], "lineitem": "http://10.0.0.1/items/1"});
            launch.set("https://purl.imsglobal.org/spec/lti-ags/claim/endpoint", endpoint);
        }),
    ];
    refuse(&tool, rows, Tool::claims).await;
    tool.refusals()
}

pub(crate) async fn row_36_a_deployment_that_is_not_registered() -> Vec<Refusal> {
    let tool = Tool::start().await;
    let mut parameters = tool.login_parameters();
    parameters.retain(|(name, _)| *name != "lti_deployment_id");
    let response = tool.get_login(&parameters).await;
    let redirect: url::Url = response.headers()[LOCATION].to_str().unwrap().parse().unwrap();
    let value =
        |wanted: &str| redirect.query_pairs().find(|(name, _)| name == wanted).unwrap().1.into_owned();
    let cookie = response.headers()[SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned();
    let login =
        StartedLogin { state: value("state"), nonce: value("nonce"), cookie, redirect: redirect.clone() };
    let mut claims = tool.claims(&login);
    claims[full("deployment_id")] = json!("deployment-2");
    tool.refused(tool.launch_with(&login, &claims).await, FailedCheck::DeploymentUnknown, "36").await;
    tool.refusals()
}

pub(crate) async fn rows_43_44_and_47_deep_linking_that_may_not_be() -> Vec<Refusal> {
    const SETTINGS: &str = "https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings";
    let tool = Tool::start().await;
    let rows = vec![
        row("43 missing", FailedCheck::DeepLinkingSettings, |launch, _| launch.remove(SETTINGS)),
        row("43 no url", FailedCheck::DeepLinkingSettings, |launch, _| {
            launch.claims[SETTINGS].as_object_mut().unwrap().remove("deep_link_return_url");
        }),
        row("43 no types", FailedCheck::DeepLinkingSettings, |launch, _| {
            launch.claims[SETTINGS].as_object_mut().unwrap().remove("accept_types");
        }),
        row("43 no targets", FailedCheck::DeepLinkingSettings, |launch, _| {
            launch.claims[SETTINGS].as_object_mut().unwrap().remove("accept_presentation_document_targets");
        }),
        row("44", FailedCheck::ReturnUrl, |launch, _| {
            launch.claims[SETTINGS]["deep_link_return_url"] = json!("http://platform.example.org/return");
        }),
        row("47", FailedCheck::RoleNotAllowed, |launch, _| launch.set("roles", json!([LEARNER]))),
        row("no links", FailedCheck::AcceptTypes, |launch, _| {
            launch.claims[SETTINGS]["accept_types"] = json!(["file"]);
        }),
    ];
    refuse(&tool, rows, Tool::placing_claims).await;
    tool.refusals()
}

/// Where a good launch leads, and the session cookie it sets.
fn opened(response: &Response, case: &str) -> (String, String) {
    assert_eq!(response.status(), 303, "{case}");
    let page = response.headers()[LOCATION].to_str().unwrap().to_owned();
    (page, response.headers()[SET_COOKIE].to_str().unwrap().to_owned())
}

/// The launches that have to open, nine for each kind of person: checklist 1.3, after CERT 6.1.2 and 6.1.3.
#[tokio::test(flavor = "multi_thread")]
async fn opens_the_18_good_variants() {
    const UNKNOWN: &str = "https://unknown.example.org/role#x";
    let tool = Tool::start().await;
    let mut opened_so_far = 0;
    for (person, role, short, page) in
        [("teacher", INSTRUCTOR, "Instructor", "/class/"), ("student", LEARNER, "Learner", "/quiz/")]
    {
        let mail = json!({"email": "p@school.example"});
        let names = json!({"name": "P. Upil", "given_name": "P.", "family_name": "Upil"});
        let everything = json!({"email": "p@school.example", "name": "P. Upil", "locale": "es-US"});
        let nothing = json!({});
        let several = json!([format!("{INSTITUTION}Staff"), role, format!("{MEMBERSHIP}Mentor")]);
        // What the person is, what is told of them, and whether the course is named.
        let variants = [
            ("all that the standard has", json!([role]), &everything, true),
            ("several roles", several, &nothing, true),
            ("a short role", json!([short]), &nothing, true),
            ("an unknown role beside a known one", json!([UNKNOWN, role]), &nothing, true),
            ("no roles", json!([]), &nothing, true),
            ("e-mail only", json!([role]), &mail, true),
            ("names only", json!([role]), &names, true),
            ("no personal data", json!([role]), &nothing, true),
            ("e-mail, and no course", json!([role]), &mail, false),
        ];
        for (variant, roles, extra, with_context) in variants {
            let case = format!("{person}: {variant}");
            let login = tool.login().await;
            let mut claims = tool.claims(&login);
            let nobody = roles == json!([]);
            claims[full("roles")] = roles;
            claims.as_object_mut().unwrap().extend(extra.as_object().unwrap().clone());
            if !with_context {
                claims.as_object_mut().unwrap().remove(&full("context"));
            }
            let (location, cookie) = opened(&tool.launch_with(&login, &claims).await, &case);
            // Who has no role may what a pupil may.
            let page = if nobody { "/quiz/" } else { page };
            assert!(location.starts_with(&format!("{}{page}", tool.url)), "{case}: {location}");
            let path = location.strip_prefix(&tool.url).unwrap();
            assert!(
                cookie.contains(&format!("Path={path}")) && cookie.contains("HttpOnly"),
                "{case}: {cookie}"
            );
            opened_so_far += 1;
        }
    }
    assert_eq!(opened_so_far, 18);
    println!("good variants: {opened_so_far} of 18 accepted");
    assert_eq!(tool.storage.placements().await.unwrap().len(), 1, "one link is one placement");
}

#[tokio::test(flavor = "multi_thread")]
async fn opens_other_honest_launches() {
    let tool = Tool::start().await;
    let assistant = "http://purl.imsglobal.org/vocab/lis/v2/membership/Instructor#TeachingAssistant";
    for (case, extra, page) in [
        ("both", json!({full("roles"): [LEARNER, INSTRUCTOR]}), "/class/"),
        ("assistant", json!({full("roles"): [assistant]}), "/class/"),
        ("only an unknown role", json!({full("roles"): ["https://unknown.example.org/role#x"]}), "/quiz/"),
        // Row 46: a list of mentored people without the mentor's role is passed over.
        ("46 mentor list", json!({format!("{CLAIM}role_scope_mentor"): ["pupil-8"]}), "/quiz/"),
        ("unknown claim", json!({"https://unknown.example.org/claim": {"x": [1]}}), "/quiz/"),
        ("fraction of a second", json!({"exp": 1_772_439_000.75}), "/quiz/"),
        ("audience list", json!({"aud": [CLIENT_ID]}), "/quiz/"),
    ] {
        let login = tool.login().await;
        let mut claims = tool.claims(&login);
        claims.as_object_mut().unwrap().extend(extra.as_object().unwrap().clone());
        let (location, _) = opened(&tool.launch_with(&login, &claims).await, case);
        assert!(location.starts_with(&format!("{}{page}", tool.url)), "{case}: {location}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_placement_keeps_what_pupils_began_with() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    tool.launch_with(&login, &tool.claims(&login)).await;
    let login = tool.login().await;
    let mut claims = tool.claims(&login);
    claims[full("custom")] = json!({"pool": "river-day", "questions": "9", "attempts": "9"});
    claims[full("resource_link")] = json!({"id": "link-4", "title": "New title"});
    opened(&tool.launch_with(&login, &claims).await, "second launch");
    let placements = tool.storage.placements().await.unwrap();
    assert_eq!(placements.len(), 1);
    let quiz = &placements[0].quiz;
    assert_eq!((quiz.title.as_str(), quiz.question_count, quiz.attempts_allowed), ("New title", 5, 2));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_platform_that_could_not_sign_in_gets_a_page() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    let fields =
        [("state", login.state.as_str()), ("error", "login_required"), ("error_description", "<b>x</b>")];
    let page =
        tool.refused(tool.launch(&login.cookie, &fields).await, FailedCheck::PlatformError, "error").await;
    assert!(!page.contains("<b>x"), "the platform's text is not shown");
}

#[tokio::test(flavor = "multi_thread")]
async fn keys_are_read_once_for_many_launches_and_at_most_once_a_minute_for_unknown_names() {
    let tool = Tool::start().await;
    let header = r#"{"alg":"RS256","kid":"other"}"#;
    for _ in 0..5 {
        let login = tool.login().await;
        opened(&tool.launch_with(&login, &tool.claims(&login)).await, "good");
        let login = tool.login().await;
        let token = sign(header, &tool.claims(&login).to_string(), Signer::Own);
        let response = tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
        tool.refused(response, FailedCheck::KeyUnknown, "unknown key").await;
    }
    assert_eq!(tool.platform.book.lock().unwrap().key_reads, 1);
    tool.clock.advance_ms(60_000);
    let login = tool.login().await;
    let token = sign(header, &tool.claims(&login).to_string(), Signer::Own);
    tool.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await;
    assert_eq!(tool.platform.book.lock().unwrap().key_reads, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn keys_that_never_loaded_answer_503_and_kept_keys_stay_usable() {
    let tool = Tool::start().await;
    tool.platform.book.lock().unwrap().keys_broken = true;
    let login = tool.login().await;
    assert_eq!(tool.launch_with(&login, &tool.claims(&login)).await.status(), 503);

    tool.platform.book.lock().unwrap().keys_broken = false;
    tool.clock.advance_ms(2_000);
    let login = tool.login().await;
    opened(&tool.launch_with(&login, &tool.claims(&login)).await, "keys are back");

    tool.platform.book.lock().unwrap().keys_broken = true;
    tool.clock.advance_ms(25 * 60 * 60 * 1000);
    let login = tool.login().await;
    opened(&tool.launch_with(&login, &tool.claims(&login)).await, "old keys");
}

/// The fetch of a key set is guarded (checklist 1.5): no redirects, limited size, nothing but a set.
#[tokio::test(flavor = "multi_thread")]
async fn a_key_set_that_is_elsewhere_or_huge_or_none_is_not_used() {
    for instead in [KeysInstead::Elsewhere, KeysInstead::Huge, KeysInstead::Prose] {
        let tool = Tool::start().await;
        tool.platform.book.lock().unwrap().keys_instead = Some(instead);
        let login = tool.login().await;
        assert_eq!(tool.launch_with(&login, &tool.claims(&login)).await.status(), 503, "{instead:?}");
        assert_eq!(
            tool.platform.book.lock().unwrap().key_reads,
            1,
            "{instead:?}: asked once, followed nowhere"
        );
        tool.platform.book.lock().unwrap().keys_instead = None;
        tool.clock.advance_ms(2_000);
        let login = tool.login().await;
        opened(&tool.launch_with(&login, &tool.claims(&login)).await, "keys are there");
    }
}
