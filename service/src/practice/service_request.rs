//! What every service checks about a request before it looks at its own part: token and scope, course, media types.
//!
//! Media types are checked to the letter, more strictly than HTTP asks for, because a tool that names them as the
//! standards do gets along with every platform.

use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT, AUTHORIZATION};
use actix_web::{HttpMessage, HttpRequest};

use super::access_tokens::Scope;
use super::parameters::Parameters;
use super::problems::ServiceProblem;
use super::state::Platform;

/// Checks that the request carries a valid token with one of `scopes`, and that its address, as handed out in
/// launches, names the course. Returns the query parameters.
pub(super) fn authorize(
    platform: &Platform,
    request: &HttpRequest,
    scopes: &[Scope],
) -> Result<Parameters, ServiceProblem> {
    let token = bearer(request)
        .ok_or_else(|| ServiceProblem::new(StatusCode::UNAUTHORIZED, "a bearer token is missing"))?;
    let state = platform.state();
    let granted = state.access_tokens.scopes(token).ok_or_else(|| {
        ServiceProblem::new(StatusCode::UNAUTHORIZED, "the bearer token is unknown, revoked or expired")
    })?;
    if !scopes.iter().any(|scope| granted.contains(scope)) {
        let detail = format!("the token lacks the scope {}", scopes[0].uri());
        return Err(ServiceProblem::new(StatusCode::FORBIDDEN, detail));
    }
    let query = Parameters::parse(request.query_string().as_bytes())
        .map_err(|repeated| ServiceProblem::bad_request(repeated.to_string()))?;
    if query.find("course") != Some(&platform.course.id) {
        return Err(ServiceProblem::not_found(
            "no such course: the address is used with its query as handed out",
        ));
    }
    Ok(query)
}

/// The bearer token of a request.
pub(super) fn bearer(request: &HttpRequest) -> Option<&str> {
    let (scheme, token) = request.headers().get(AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("Bearer").then_some(token)
}

/// Checks that the request asks for `media_type` by name.
pub(super) fn require_accept(request: &HttpRequest, media_type: &str) -> Result<(), ServiceProblem> {
    let accepts = request.headers().get_all(ACCEPT).filter_map(|value| value.to_str().ok());
    let mut ranges = accepts.flat_map(|value| value.split(','));
    let named = ranges.any(|range| range.split(';').next().is_some_and(|name| name.trim() == media_type));
    if !named {
        let detail = format!("the Accept header must name {media_type}");
        return Err(ServiceProblem::new(StatusCode::NOT_ACCEPTABLE, detail));
    }
    Ok(())
}

/// Checks that the body is declared as `media_type`.
pub(super) fn require_content_type(request: &HttpRequest, media_type: &str) -> Result<(), ServiceProblem> {
    if request.content_type() != media_type {
        let detail = format!("the body must be {media_type}, not `{}`", request.content_type());
        return Err(ServiceProblem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, detail));
    }
    Ok(())
}
