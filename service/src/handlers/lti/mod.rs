//! The doors that platforms use: login, launch, key set.

pub mod finish;
pub mod keys;
pub mod launch;
pub mod login;
mod pending;
pub mod window;

use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_TYPE, HeaderValue, ORIGIN, RETRY_AFTER};
use actix_web::{FromRequest, HttpRequest, HttpResponse, web};

use crate::app::App;
use crate::lti::FailedCheck;
use crate::lti::login::Parameters;
use crate::pages::refusal::RefusalPage;
use crate::storage::StorageError;

/// Why a login or launch got no further.
#[derive(Debug)]
enum Stopped {
    /// It did not pass a check.
    Refused(FailedCheck),
    /// The platform's keys cannot be loaded, so nothing can be said about the token.
    KeysUnavailable,
    /// The store failed.
    Storage(StorageError),
}

impl From<FailedCheck> for Stopped {
    fn from(check: FailedCheck) -> Self {
        Self::Refused(check)
    }
}

impl From<StorageError> for Stopped {
    fn from(error: StorageError) -> Self {
        Self::Storage(error)
    }
}

impl Stopped {
    /// Counts and logs the reason, and answers with the page that names it. Never shows any part of a token.
    fn into_response(self, app: &App) -> HttpResponse {
        let (status, check) = match self {
            Self::Refused(check) => {
                app.metrics.refused(check);
                tracing::warn!(
                    check = check.name(),
                    status = check.status(),
                    "a login or launch was refused"
                );
                let status = StatusCode::from_u16(check.status()).unwrap_or(StatusCode::FORBIDDEN);
                return RefusalPage::of(check.name()).into_response(status);
            }
            // The key cache has logged why.
            Self::KeysUnavailable => (StatusCode::SERVICE_UNAVAILABLE, "platform_keys"),
            Self::Storage(error) => {
                tracing::error!(%error, "a launch could not be stored");
                (StatusCode::SERVICE_UNAVAILABLE, "store")
            }
        };
        let mut response = RefusalPage::of(check).into_response(status);
        response.headers_mut().insert(RETRY_AFTER, HeaderValue::from_static("60"));
        response
    }
}

/// What came of a message, or the page that says why nothing did.
fn answer(app: &App, result: Result<HttpResponse, Stopped>) -> HttpResponse {
    result.unwrap_or_else(|stopped| stopped.into_response(app))
}

/// The parameters of a posted form, or why there are none: the handler says so on its own page.
pub struct PostedForm(Result<Parameters, FailedCheck>);

impl FromRequest for PostedForm {
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Infallible>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let is_form =
            request.headers().get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).is_some_and(|value| {
                value.to_ascii_lowercase().starts_with("application/x-www-form-urlencoded")
            });
        let body = web::Bytes::from_request(request, payload);
        Box::pin(async move {
            Ok(Self(match body.await {
                Ok(body) if is_form => Parameters::parse(&body),
                _ => Err(FailedCheck::RequestForm),
            }))
        })
    }
}

/// Lets only forms of our own pages through, which the browser says by the `Origin` header (Fetch, 'append a request
/// Origin header', from memory): a form of another site could bring values of another person's login.
fn from_our_page(app: &App, request: &HttpRequest) -> Result<(), FailedCheck> {
    let origin = request.headers().get(ORIGIN).and_then(|origin| origin.to_str().ok());
    if origin == Some(app.settings.public_url.origin().as_str()) { Ok(()) } else { Err(FailedCheck::Browser) }
}
