//! Who is signed in: the bearer of a coordinator's token, by a sealed cookie that ends with the token.

use std::future::Future;
use std::pin::Pin;

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::dev::Payload;
use actix_web::http::header::LOCATION;
use actix_web::{FromRequest, HttpRequest, HttpResponse, ResponseError, web};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::app::App;
use crate::clock::plus_ms;
use crate::entropy;
use crate::session::Csrf;
use crate::storage::{Actor, ApiRole, ApiToken, Change, Fingerprint, StorageError};

/// How long somebody stays signed in: a working day.
const LIFETIME_MS: i64 = 8 * 60 * 60 * 1000;
/// What the cookie is sealed for.
const PURPOSE: &str = "district session";

/// A signed-in coordinator.
#[derive(Debug, Clone)]
pub(crate) struct DistrictSession {
    /// The token's name on the list of tokens.
    pub(super) token: String,
    /// The value that every form must carry.
    pub(super) csrf: Csrf,
}

impl DistrictSession {
    /// A change that the coordinator makes now.
    pub(super) fn change(&self, app: &App) -> Change {
        let by = Actor::Token { role: ApiRole::Coordinator, id: Some(self.token.clone()) };
        Change { at: app.clock.now(), by }
    }
}

/// Why nobody is signed in.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotSignedIn {
    /// No cookie, or one that does not count any more.
    #[error("nobody is signed in")]
    Nobody,
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
}

impl ResponseError for NotSignedIn {
    fn error_response(&self) -> HttpResponse {
        match self {
            Self::Nobody => HttpResponse::SeeOther().insert_header((LOCATION, "/district/sign-in")).finish(),
            Self::Storage(error) => {
                tracing::error!(%error, "a coordinator's session could not be read");
                crate::pages::refusal::RefusalPage::of("store")
                    .into_response(actix_web::http::StatusCode::SERVICE_UNAVAILABLE)
            }
        }
    }
}

/// What the cookie holds. The token itself is in none of it.
#[derive(Debug, Serialize, Deserialize)]
struct Sealed {
    token: Fingerprint,
    csrf: String,
    ends_at: Timestamp,
}

/// The cookie of a new session for the bearer of `token`.
pub(super) fn cookie(app: &App, token: &ApiToken) -> Cookie<'static> {
    let ends_at = plus_ms(app.clock.now(), LIFETIME_MS);
    let sealed = Sealed { token: token.secret.clone(), csrf: entropy::secret(), ends_at };
    let content = serde_json::to_vec(&sealed).expect("a session has text keys");
    let value = URL_SAFE_NO_PAD.encode(app.form_key.seal(PURPOSE, &content));
    carrying(app, value, Duration::milliseconds(LIFETIME_MS))
}

/// The cookie that ends a session.
pub(super) fn no_cookie(app: &App) -> Cookie<'static> {
    // With the same attributes: without Secure a browser would not take a cookie of that name, not even to remove it.
    carrying(app, String::new(), Duration::ZERO)
}

fn carrying(app: &App, value: String, lifetime: Duration) -> Cookie<'static> {
    Cookie::build(name(app), value)
        .path("/district")
        .max_age(lifetime)
        .http_only(true)
        .secure(app.settings.public_url.is_https())
        .same_site(SameSite::Strict)
        .finish()
}

/// The prefix makes browsers insist on https.
fn name(app: &App) -> &'static str {
    if app.settings.public_url.is_https() { "__Secure-tenths-district" } else { "tenths-district" }
}

impl FromRequest for DistrictSession {
    type Error = NotSignedIn;
    type Future = Pin<Box<dyn Future<Output = Result<Self, NotSignedIn>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let app = request.app_data::<web::Data<App>>().expect("routes always carry the App").clone();
        let cookie = request.cookie(name(&app));
        Box::pin(async move {
            let sealed = cookie.and_then(|cookie| open(&app, cookie.value())).ok_or(NotSignedIn::Nobody)?;
            let now = app.clock.now();
            let token = app.storage.api_token(&sealed.token).await?;
            let token = token.filter(|token| {
                token.role == ApiRole::Coordinator && token.is_valid(now) && now < sealed.ends_at
            });
            let token = token.ok_or(NotSignedIn::Nobody)?;
            Ok(Self { token: token.id, csrf: Csrf::from(sealed.csrf) })
        })
    }
}

fn open(app: &App, value: &str) -> Option<Sealed> {
    let sealed = URL_SAFE_NO_PAD.decode(value).ok()?;
    serde_json::from_slice(&app.form_key.open(PURPOSE, &sealed)?).ok()
}
