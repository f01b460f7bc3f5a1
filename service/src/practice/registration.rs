//! Dynamic registration, the platform's side: what it says of itself, and the endpoint where a tool leaves its record
//! (LTI Dynamic Registration 1.0, RFC 7591).
//!
//! Strict on purpose: whatever the standard asks of a record is asked for. A registration takes the place of the tool's
//! addresses that the platform knew before; the tool keeps its only client id. No deployment is named in the reply, so
//! a tool has to deal with a deployment that it meets at the first launch.

use std::collections::HashSet;

use actix_web::http::StatusCode;
use actix_web::http::header::{AUTHORIZATION, CACHE_CONTROL, LOCATION};
use actix_web::web::{Bytes, Data};
use actix_web::{HttpMessage, HttpRequest, HttpResponse, ResponseError};
use askama::Template;
use serde_json::{Value, json};
use url::{Position, Url};

use super::access_tokens::Scope;
use super::clock;
use super::pages;
use super::parameters::Parameters;
use super::problems::PageProblem;
use super::settings::ToolAddresses;
use super::state::{CLIENT_ID, Platform};

const PLATFORM: &str = "https://purl.imsglobal.org/spec/lti-platform-configuration";
const TOOL: &str = "https://purl.imsglobal.org/spec/lti-tool-configuration";
const DEEP_LINKING: &str = "LtiDeepLinkingRequest";
/// Messages that this platform sends.
const MESSAGES: [&str; 2] = ["LtiResourceLinkRequest", DEEP_LINKING];

/// Tokens that each permit one registration, and what was registered.
#[derive(Debug)]
pub(super) struct Registrations {
    open_tokens: HashSet<String>,
    tool: ToolAddresses,
    name: Option<String>,
}

impl Registrations {
    pub(super) fn new(tool: ToolAddresses) -> Registrations {
        Registrations { open_tokens: HashSet::new(), tool, name: None }
    }

    pub(super) fn tool(&self) -> &ToolAddresses {
        &self.tool
    }
}

/// What this platform says of itself.
pub(super) async fn configuration(platform: Data<Platform>) -> HttpResponse {
    let known = platform.registration();
    let mut scopes = vec!["openid"];
    scopes.extend(Scope::ALL.iter().map(|scope| scope.uri()));
    HttpResponse::Ok().json(json!({
        "issuer": known.issuer,
        "authorization_endpoint": known.authorization_url,
        "registration_endpoint": platform.url("/register"),
        "token_endpoint": known.token_url,
        "token_endpoint_auth_methods_supported": ["private_key_jwt"],
        "token_endpoint_auth_signing_alg_values_supported": ["RS256"],
        "jwks_uri": known.keys_url,
        "scopes_supported": scopes,
        "response_types_supported": ["id_token"],
        "subject_types_supported": ["public"],
        "id_token_signing_alg_values_supported": ["RS256"],
        "claims_supported": ["sub", "iss", "name", "given_name", "family_name"],
        PLATFORM: {
            "product_family_code": "practice-platform",
            "version": env!("CARGO_PKG_VERSION"),
            "messages_supported": MESSAGES.map(|message| json!({ "type": message })),
            "variables": [],
        },
    }))
}

#[derive(Template)]
#[template(path = "practice/registrations.html")]
struct RegistrationsPage {
    registered: Option<String>,
}

/// Where the platform's administrator starts a registration.
pub(super) async fn page(platform: Data<Platform>) -> HttpResponse {
    let registered = platform.state().registrations.name.clone();
    pages::page(&RegistrationsPage { registered })
}

#[derive(Template)]
#[template(path = "practice/registration_frame.html")]
struct RegistrationFramePage {
    address: Url,
}

/// Opens the tool's registration page at the address that the administrator pasted, in the same tab or in a frame.
pub(super) async fn start(platform: Data<Platform>, body: Bytes) -> Result<HttpResponse, PageProblem> {
    let form = Parameters::parse(&body).map_err(|repeated| PageProblem::bad_request(repeated.to_string()))?;
    let address = form.find("address").unwrap_or_default();
    let mut address: Url =
        address.parse().map_err(|_| PageProblem::bad_request(format!("`{address}` is not an address")))?;
    let token = clock::unguessable();
    platform.state().registrations.open_tokens.insert(token.clone());
    address
        .query_pairs_mut()
        .append_pair("openid_configuration", &platform.url("/.well-known/openid-configuration"))
        .append_pair("registration_token", &token);
    if form.find("target") == Some("frame") {
        return Ok(pages::page(&RegistrationFramePage { address }));
    }
    Ok(HttpResponse::SeeOther()
        .insert_header((LOCATION, address.as_str()))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish())
}

/// A record is refused, in the form of RFC 7591 section 3.2.2, or its token in that of RFC 6750.
#[derive(Debug)]
pub(super) struct RegistrationRefusal {
    status: StatusCode,
    error: &'static str,
    description: String,
}

impl RegistrationRefusal {
    fn redirect(description: impl Into<String>) -> RegistrationRefusal {
        RegistrationRefusal { error: "invalid_redirect_uri", ..metadata(description) }
    }
}

fn metadata(description: impl Into<String>) -> RegistrationRefusal {
    let description = description.into();
    RegistrationRefusal { status: StatusCode::BAD_REQUEST, error: "invalid_client_metadata", description }
}

impl std::fmt::Display for RegistrationRefusal {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{}: {}", self.error, self.description)
    }
}

impl ResponseError for RegistrationRefusal {
    fn status_code(&self) -> StatusCode {
        self.status
    }

    fn error_response(&self) -> HttpResponse {
        tracing::warn!(
            error = self.error,
            reason = self.description,
            "practice platform refused a registration"
        );
        HttpResponse::build(self.status)
            .insert_header((CACHE_CONTROL, "no-store"))
            .json(json!({ "error": self.error, "error_description": self.description }))
    }
}

/// Takes a tool's record.
pub(super) async fn register(
    platform: Data<Platform>,
    request: HttpRequest,
    body: Bytes,
) -> Result<HttpResponse, RegistrationRefusal> {
    let token = bearer(&request).filter(|token| platform.state().registrations.open_tokens.contains(*token));
    let token = token.ok_or_else(|| RegistrationRefusal {
        status: StatusCode::UNAUTHORIZED,
        error: "invalid_token",
        description: "the registration token is missing, unknown or used".to_owned(),
    })?;
    if request.content_type() != "application/json" {
        return Err(metadata("the body must be JSON"));
    }
    let mut record: Value =
        serde_json::from_slice(&body).map_err(|error| metadata(format!("the body is no JSON: {error}")))?;
    let tool = read(&record)?;
    let mut state = platform.state();
    // Of two registrations with one token, the first counts.
    if !state.registrations.open_tokens.remove(token) {
        return Err(metadata("the registration token was used meanwhile"));
    }
    state.registrations.tool = tool;
    state.registrations.name = record["client_name"].as_str().map(str::to_owned);
    record["client_id"] = json!(CLIENT_ID);
    Ok(HttpResponse::Created().insert_header((CACHE_CONTROL, "no-store")).json(record))
}

fn bearer(request: &HttpRequest) -> Option<&str> {
    request.headers().get(AUTHORIZATION)?.to_str().ok()?.strip_prefix("Bearer ")
}

/// Checks a record and reads the tool's addresses from it.
fn read(record: &Value) -> Result<ToolAddresses, RegistrationRefusal> {
    for (name, expected) in [
        ("application_type", json!("web")),
        ("response_types", json!(["id_token"])),
        ("token_endpoint_auth_method", json!("private_key_jwt")),
    ] {
        if record[name] != expected {
            return Err(metadata(format!("{name} must be {expected}")));
        }
    }
    let grants = texts(record, "grant_types")?;
    if !["implicit", "client_credentials"].iter().all(|grant| grants.contains(grant)) {
        return Err(metadata("grant_types must name implicit and client_credentials"));
    }
    if record["client_name"].as_str().is_none_or(str::is_empty) {
        return Err(metadata("client_name is missing"));
    }
    let scope = record["scope"].as_str().ok_or_else(|| metadata("scope is missing"))?;
    if let Some(unknown) = scope.split_whitespace().find(|scope| Scope::from_uri(scope).is_none()) {
        return Err(metadata(format!("scope `{unknown}` is not offered here")));
    }
    let domain = record[TOOL]["domain"].as_str().ok_or_else(|| metadata("the tool's domain is missing"))?;
    let redirects = texts(record, "redirect_uris")?;
    let [launch_url] = redirects[..] else {
        return Err(RegistrationRefusal::redirect("redirect_uris must name one address"));
    };
    let launch_url = on_domain("redirect_uris", Some(launch_url), domain)
        .map_err(|refusal| RegistrationRefusal::redirect(refusal.description))?;
    Ok(ToolAddresses {
        login_url: on_domain("initiate_login_uri", record["initiate_login_uri"].as_str(), domain)?,
        launch_url,
        keys_url: on_domain("jwks_uri", record["jwks_uri"].as_str(), domain)?,
        deep_linking_url: read_tool(&record[TOOL], domain)?,
    })
}

/// Checks what is particular to learning tools, and finds the target of deep linking.
fn read_tool(tool: &Value, domain: &str) -> Result<Url, RegistrationRefusal> {
    let claims = texts(tool, "claims")?;
    if !["iss", "sub"].iter().all(|claim| claims.contains(claim)) {
        return Err(metadata("the claims must name iss and sub"));
    }
    let target = on_domain("target_link_uri", tool["target_link_uri"].as_str(), domain)?;
    let messages = tool["messages"].as_array().ok_or_else(|| metadata("the messages are missing"))?;
    let mut deep_linking_url = target;
    for message in messages {
        let kind = message["type"].as_str().unwrap_or_default();
        if !MESSAGES.contains(&kind) {
            return Err(metadata(format!("message `{kind}` is not offered here")));
        }
        if let (DEEP_LINKING, Some(url)) = (kind, message["target_link_uri"].as_str()) {
            deep_linking_url = on_domain("target_link_uri", Some(url), domain)?;
        }
    }
    Ok(deep_linking_url)
}

/// An address on the tool's own domain. Plain http is for this machine only.
fn on_domain(name: &str, address: Option<&str>, domain: &str) -> Result<Url, RegistrationRefusal> {
    let refused = |what| metadata(format!("{name} {what}"));
    let url: Url = address.and_then(|text| text.parse().ok()).ok_or_else(|| refused("is not an address"))?;
    if &url[Position::BeforeHost..Position::AfterPort] != domain {
        return Err(refused("is not on the tool's domain"));
    }
    let loopback = url.host_str().is_some_and(|host| matches!(host, "127.0.0.1" | "[::1]" | "localhost"));
    match url.scheme() {
        "https" => Ok(url),
        "http" if loopback => Ok(url),
        _ => Err(refused("must be https")),
    }
}

fn texts<'a>(record: &'a Value, name: &str) -> Result<Vec<&'a str>, RegistrationRefusal> {
    let list = record[name].as_array().map(|list| list.iter().map(Value::as_str).collect::<Option<Vec<_>>>());
    list.flatten().ok_or_else(|| metadata(format!("{name} must be a list of texts")))
}
