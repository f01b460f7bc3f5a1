//! Who calls: the bearer token of a request, looked up by its fingerprint. The day of its last use is kept, once a day.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header::AUTHORIZATION;
use actix_web::{FromRequest, HttpRequest, web};
use jiff::tz::TimeZone;

use super::error::ApiError;
use crate::app::App;
use crate::storage::{Actor, ApiRole, Change, Fingerprint};

/// The bearer of a valid token.
#[derive(Debug, Clone)]
pub(crate) struct Caller {
    /// What the token allows.
    pub(crate) role: ApiRole,
    /// The token's name on the list of tokens.
    token: String,
}

impl Caller {
    /// A change that the caller makes now.
    pub(super) fn change(&self, app: &App) -> Change {
        let by = Actor::Token { role: self.role, id: Some(self.token.clone()) };
        Change { at: app.clock.now(), by }
    }

    /// Goes on only for some roles.
    pub(super) fn must_be(&self, allowed: &[ApiRole]) -> Result<(), ApiError> {
        if allowed.contains(&self.role) { Ok(()) } else { Err(ApiError::NotAllowed(self.role)) }
    }
}

impl FromRequest for Caller {
    type Error = ApiError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, ApiError>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let app = request.app_data::<web::Data<App>>().expect("routes always carry the App").clone();
        let secret = bearer(request).map(Fingerprint::of);
        Box::pin(async move {
            let secret = secret.ok_or(ApiError::NotAuthentic)?;
            let now = app.clock.now();
            let token = app.storage.api_token(&secret).await?;
            // Unknown, ended and taken back are answered alike: what a token was is nobody's business.
            let token = token.filter(|token| token.is_valid(now)).ok_or(ApiError::NotAuthentic)?;
            let today = TimeZone::UTC.to_datetime(now).date();
            if token.last_used_on.is_none_or(|day| day < today) {
                app.storage.api_token_used(&token.id, today).await?;
            }
            Ok(Self { role: token.role, token: token.id })
        })
    }
}

/// The token in the authorization header; the scheme's name is written in any letter case.
fn bearer(request: &HttpRequest) -> Option<&str> {
    let value = request.headers().get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}
