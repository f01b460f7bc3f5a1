//! Access tokens: client credentials by a signed assertion (RFC 7523), and what a token permits.

use std::collections::{BTreeSet, HashMap};
use std::fmt;

use actix_web::http::{StatusCode, header};
use actix_web::web::{Bytes, Data};
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use jiff::{SignedDuration, Timestamp};
use serde_json::json;

use super::clock;
use super::parameters::Parameters;
use super::state::{CLIENT_ID, Platform};
use super::tool_tokens::{self, ToolTokenError};

/// How long a token is good for.
const LIFETIME_S: i64 = 3600;

/// What a token can permit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Scope {
    LineItem,
    LineItemReadOnly,
    ResultReadOnly,
    Score,
    Roster,
}

impl Scope {
    pub(super) const ALL: [Scope; 5] =
        [Scope::LineItem, Scope::LineItemReadOnly, Scope::ResultReadOnly, Scope::Score, Scope::Roster];

    pub(super) fn uri(self) -> &'static str {
        match self {
            Scope::LineItem => "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem",
            Scope::LineItemReadOnly => "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem.readonly",
            Scope::ResultReadOnly => "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly",
            Scope::Score => "https://purl.imsglobal.org/spec/lti-ags/scope/score",
            Scope::Roster => "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly",
        }
    }

    pub(super) fn from_uri(uri: &str) -> Option<Scope> {
        Scope::ALL.into_iter().find(|scope| scope.uri() == uri)
    }
}

/// What one issued token permits, and until when.
#[derive(Debug)]
struct Grant {
    scopes: BTreeSet<Scope>,
    expires: Timestamp,
}

/// Every token that was issued and not revoked.
#[derive(Debug, Default)]
pub(super) struct AccessTokens(HashMap<String, Grant>);

impl AccessTokens {
    fn issue(&mut self, scopes: BTreeSet<Scope>) -> String {
        let token = clock::unguessable();
        let expires = clock::now() + SignedDuration::from_secs(LIFETIME_S);
        self.0.insert(token.clone(), Grant { scopes, expires });
        token
    }

    pub(super) fn revoke(&mut self, token: &str) {
        self.0.remove(token);
    }

    /// The scopes of a token; `None` when it is unknown, revoked or expired.
    pub(super) fn scopes(&self, token: &str) -> Option<&BTreeSet<Scope>> {
        self.0.get(token).filter(|grant| clock::now() < grant.expires).map(|grant| &grant.scopes)
    }
}

/// The token endpoint refuses, in the form of RFC 6749 section 5.2.
#[derive(Debug)]
pub(super) struct TokenRefusal {
    status: StatusCode,
    error: &'static str,
    description: String,
}

impl TokenRefusal {
    fn bad_request(error: &'static str, description: impl Into<String>) -> TokenRefusal {
        TokenRefusal { status: StatusCode::BAD_REQUEST, error, description: description.into() }
    }

    fn invalid_client(description: impl Into<String>) -> TokenRefusal {
        let description = description.into();
        TokenRefusal { status: StatusCode::UNAUTHORIZED, error: "invalid_client", description }
    }
}

impl fmt::Display for TokenRefusal {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}: {}", self.error, self.description)
    }
}

impl ResponseError for TokenRefusal {
    fn status_code(&self) -> StatusCode {
        self.status
    }

    fn error_response(&self) -> HttpResponse {
        HttpResponse::build(self.status)
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .json(json!({ "error": self.error, "error_description": self.description }))
    }
}

/// The token endpoint.
pub(super) async fn issue(
    platform: Data<Platform>,
    request: HttpRequest,
    body: Bytes,
) -> Result<HttpResponse, TokenRefusal> {
    let form = read_form(&request, &body)?;
    let assertion = form
        .find("client_assertion")
        .ok_or_else(|| TokenRefusal::bad_request("invalid_request", "client_assertion is missing"))?;
    let scopes = read_scopes(&form)?;
    check_assertion(&platform, assertion).await?;

    let granted: Vec<&str> = scopes.iter().map(|scope| scope.uri()).collect();
    let granted = granted.join(" ");
    let token = platform.state().access_tokens.issue(scopes);
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(json!({
        "access_token": token,
        "token_type": "Bearer",
        "expires_in": LIFETIME_S,
        "scope": granted,
    })))
}

fn read_form(request: &HttpRequest, body: &[u8]) -> Result<Parameters, TokenRefusal> {
    let invalid_request = |description: String| TokenRefusal::bad_request("invalid_request", description);
    let media_type = actix_web::HttpMessage::content_type(request);
    if media_type != "application/x-www-form-urlencoded" {
        return Err(invalid_request(format!("the body must be a form, not `{media_type}`")));
    }
    let form = Parameters::parse(body).map_err(|repeated| invalid_request(repeated.to_string()))?;
    match form.find("grant_type") {
        Some("client_credentials") => {}
        Some(other) => {
            let description = format!("grant_type `{other}` is not `client_credentials`");
            return Err(TokenRefusal::bad_request("unsupported_grant_type", description));
        }
        None => return Err(invalid_request("grant_type is missing".to_owned())),
    }
    let assertion_type = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";
    if form.find("client_assertion_type") != Some(assertion_type) {
        return Err(invalid_request(format!("client_assertion_type must be `{assertion_type}`")));
    }
    Ok(form)
}

/// The requested scopes that this platform knows; unknown ones are left out of the grant, as the standard allows.
fn read_scopes(form: &Parameters) -> Result<BTreeSet<Scope>, TokenRefusal> {
    let requested = form.find("scope").unwrap_or_default();
    let scopes: BTreeSet<Scope> = requested.split(' ').filter_map(Scope::from_uri).collect();
    if scopes.is_empty() {
        let description = format!("scope `{requested}` names nothing that is offered here");
        return Err(TokenRefusal::bad_request("invalid_scope", description));
    }
    Ok(scopes)
}

async fn check_assertion(platform: &Platform, assertion: &str) -> Result<(), TokenRefusal> {
    let refused = |error: ToolTokenError| {
        tracing::warn!(%error, "practice platform refused an assertion");
        TokenRefusal::invalid_client(error.to_string())
    };
    let claims =
        tool_tokens::verify(platform, assertion, &platform.token_url(), "jti").await.map_err(refused)?;
    if claims.text("sub").map_err(refused)? != CLIENT_ID {
        return Err(TokenRefusal::invalid_client("sub must be the client id"));
    }
    Ok(())
}
