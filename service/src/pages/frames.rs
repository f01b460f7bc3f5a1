//! Pages of a launch inside a frame whose browser keeps no cookies there.
//!
//! [`KeepPage`] and [`AskPage`] share one script, which talks to the platform's window (postMessage storage). It is told
//! what to do by the element `#storage`.

use std::sync::LazyLock;

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, ContentType, REFERRER_POLICY};
use askama::Template;
use url::Url;

use super::{Frame, Place};
use crate::lti::login::Keepsakes;
use crate::texts::Texts;

/// The script that has the platform's window keep values and gives them back.
pub const STORAGE_SCRIPT: &str = include_str!("../../static/platform-storage.js");

/// Where the script is served; see [`super::stylesheet_url`].
pub fn storage_script_url() -> &'static str {
    static URL: LazyLock<String> =
        LazyLock::new(|| super::versioned("/static/platform-storage.js", STORAGE_SCRIPT));
    &URL
}

/// At the login: has the platform's window keep what the launch must show, then goes on to the platform.
#[derive(Template)]
#[template(path = "frames/keep.html")]
pub struct KeepPage {
    frame: Frame,
    /// The only origin that the values are sent to.
    origin: String,
    keepsakes: Keepsakes,
    /// Where to go when both values are kept.
    onward: String,
    /// Where to go when they are not.
    otherwise: String,
}

impl KeepPage {
    /// A page for the platform with that authorization endpoint.
    pub fn new(authorization_url: &Url, keepsakes: Keepsakes, onward: &Url, otherwise: &Url) -> Self {
        Self {
            frame: frame("frame-opening"),
            origin: authorization_url.origin().ascii_serialization(),
            keepsakes,
            onward: onward.to_string(),
            otherwise: otherwise.to_string(),
        }
    }

    /// The page as an answer.
    pub fn into_response(self) -> HttpResponse {
        page(&self)
    }
}

/// What the platform posted: kept in the page's form, never in an address.
pub struct Posted {
    /// The id_token.
    pub token: String,
    /// The state.
    pub state: String,
}

/// At the launch: asks the platform's window for what it keeps, and posts that with the token to ourselves.
#[derive(Template)]
#[template(path = "frames/ask.html")]
pub struct AskPage {
    frame: Frame,
    origin: String,
    target: String,
    state_key: String,
    nonce_key: String,
    posted: Posted,
}

impl AskPage {
    /// A page for the platform with that authorization endpoint, whose window `target` keeps values under those names.
    pub fn new(
        authorization_url: &Url,
        target: String,
        (state_key, nonce_key): (String, String),
        posted: Posted,
    ) -> Self {
        let origin = authorization_url.origin().ascii_serialization();
        let frame = frame("frame-opening");
        Self { frame, origin, target, state_key, nonce_key, posted }
    }

    /// The page as an answer.
    pub fn into_response(self) -> HttpResponse {
        page(&self)
    }
}

/// How a window of its own is opened.
enum Opening {
    /// By a new login: an address of ours.
    Login(String),
    /// By taking over the session of this launch.
    Ticket(String),
}

/// Offers a window of its own, because the browser keeps no cookies here.
#[derive(Template)]
#[template(path = "frames/window.html")]
pub struct WindowPage {
    frame: Frame,
    opening: Opening,
}

impl WindowPage {
    /// The window logs in anew at that address.
    pub fn to_log_in(address: &Url) -> Self {
        Self { frame: frame("frame-window"), opening: Opening::Login(address.to_string()) }
    }

    /// The window takes over a session by that ticket.
    pub fn to_take_over(ticket: String) -> Self {
        Self { frame: frame("frame-window"), opening: Opening::Ticket(ticket) }
    }

    /// The page as an answer.
    pub fn into_response(self) -> HttpResponse {
        page(&self)
    }
}

/// The frame of a page with that title.
fn frame(title: &str) -> Frame {
    let texts = Texts::of_reader();
    Frame::new(texts, Place::Nowhere, texts.say(title))
}

/// Never kept, since these pages carry secrets. With this referrer policy our own forms name their origin to us, and
/// nobody else learns an address.
fn page(template: &impl Template) -> HttpResponse {
    match template.render() {
        Ok(body) => HttpResponse::build(StatusCode::OK)
            .content_type(ContentType::html())
            .insert_header((CACHE_CONTROL, "no-store"))
            .insert_header((REFERRER_POLICY, "same-origin"))
            .body(body),
        Err(error) => {
            tracing::error!(%error, "a page could not be written");
            HttpResponse::InternalServerError().finish()
        }
    }
}
