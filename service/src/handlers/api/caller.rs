//! Who calls: the bearer token of a request, looked up by its fingerprint.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header::AUTHORIZATION;
use actix_web::{FromRequest, HttpRequest, web};

use super::error::ApiError;
use crate::app::App;
use crate::storage::{ApiRole, Fingerprint};

/// The bearer of a known token.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Caller {
    /// What the token allows.
    pub(crate) role: ApiRole,
}

impl Caller {
    /// Goes on only for some roles.
    pub(super) fn must_be(self, allowed: &[ApiRole]) -> Result<(), ApiError> {
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
            let token = app.storage.api_token(&secret).await?.ok_or(ApiError::NotAuthentic)?;
            Ok(Self { role: token.role })
        })
    }
}

/// The token in the authorization header; the scheme's name is written in any letter case.
fn bearer(request: &HttpRequest) -> Option<&str> {
    let value = request.headers().get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}
