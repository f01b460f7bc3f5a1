//! `GET` and `POST /lti/login`: a platform announces a person; the browser is sent to the platform to sign in.
//!
//! In a frame a browser may keep no cookies of ours. Then, in this order: the platform's window keeps what the launch
//! must show, if the platform offers that; a cookie is set and asked for again; the person opens a window of their own.

use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpRequest, HttpResponse, web};
use url::Url;

use super::{PostedForm, Stopped, answer};
use crate::app::App;
use crate::frame_ancestors::FrameAncestors;
use crate::lti::FailedCheck;
use crate::lti::login::{LoginRequest, Parameters};
use crate::pages::frames::{KeepPage, WindowPage};
use crate::session::BrowserCookie;
use crate::storage::{KnownPlatform, Registration};

/// A login request in the query.
pub async fn get(app: web::Data<App>, request: HttpRequest) -> HttpResponse {
    let parameters = Parameters::parse(request.query_string().as_bytes());
    answer(&app, begin(&app, &request, parameters).await)
}

/// A login request as a posted form.
pub async fn post(app: web::Data<App>, request: HttpRequest, posted: PostedForm) -> HttpResponse {
    answer(&app, begin(&app, &request, posted.0).await)
}

async fn begin(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let public_url = &app.settings.public_url;
    let login = LoginRequest::read(&parameters?, public_url)?;
    let known = app.storage.known_platforms(login.issuer()).await?;
    let KnownPlatform { registration, frames } = login.choose(known)?;
    FrameAncestors::note_frames(request, frames, None);
    let cookie = BrowserCookie::of(app, request);
    match (&cookie, login.storage_target()) {
        (None, _) if login.cookie_was_set() => {
            return Ok(WindowPage::to_log_in(&login.address(public_url)).into_response());
        }
        (None, None) if is_in_frame(request) => {
            let cookie = BrowserCookie::new();
            return Ok(go_on(app, &registration, &login.address_with_cookie(public_url), &cookie));
        }
        _ => {}
    }
    // One cookie for each browser, so that logins in several tabs do not undo each other.
    let knows_cookies = cookie.is_some();
    let cookie = cookie.unwrap_or_else(BrowserCookie::new);
    let begun = login.begin(&registration, public_url, cookie.fingerprint(), app.clock.now());
    app.storage.add_login_state(begun.remembered).await?;
    match begun.keepsakes {
        // Where a cookie came back there is nothing that the platform's window could add.
        Some(keepsakes) if !knows_cookies => {
            let page = KeepPage::new(
                &registration.platform.authorization_url,
                keepsakes,
                &begun.onward,
                &login.address_with_cookie(public_url),
            );
            let mut response = page.into_response();
            response.headers_mut().insert(SET_COOKIE, cookie.kept(app, &registration));
            Ok(response)
        }
        _ => Ok(go_on(app, &registration, &begun.onward, &cookie)),
    }
}

/// Sends the browser on, with the cookie.
fn go_on(app: &App, registration: &Registration, to: &Url, cookie: &BrowserCookie) -> HttpResponse {
    HttpResponse::Found()
        .insert_header((LOCATION, to.as_str()))
        .insert_header((SET_COOKIE, cookie.kept(app, registration)))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish()
}

/// Whether the browser says that the answer will be shown in a frame (Fetch Metadata, section 2.1, from memory).
/// One that does not say is taken for a window.
fn is_in_frame(request: &HttpRequest) -> bool {
    let destination = request.headers().get("sec-fetch-dest").and_then(|value| value.to_str().ok());
    matches!(destination, Some("iframe" | "frame" | "embed" | "object"))
}
