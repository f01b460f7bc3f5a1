//! The platform's side of postMessage storage: the page around an activity keeps short values for the tool, which may
//! have no cookies inside a frame (checklist section 1.9, from memory).
//!
//! The script on the page is strict: it answers the tool's frame and the tool's registered origin only, and only messages
//! of the standard's exact form. [`MessageStorage`] makes it misbehave.

use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use actix_web::web::{Data, Json};
use askama::Template;
use serde::{Deserialize, Serialize};

use super::pages;
use super::state::Platform;

/// The name of the frame that keeps values with [`MessageStorage::InFrame`].
const FRAME: &str = "message-storage";
const SCRIPT: &str = include_str!("message_storage.js");

/// What the page around an activity does with messages of the tool.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(tag = "storage", rename_all = "snake_case")]
pub enum MessageStorage {
    /// The page itself keeps values, as the standard says.
    #[default]
    Working,
    /// A frame beside the activity keeps them; the page itself answers nothing.
    InFrame,
    /// Login requests do not offer it.
    NotOffered,
    /// Offered, but never answered.
    Silent,
    /// Answered from another origin than the platform's own.
    WrongOrigin,
    /// Answered under another `message_id`.
    WrongMessageId,
    /// Values are given back changed.
    OtherValues,
    /// Answered as the standard says, but late.
    Slow {
        /// How late, in milliseconds.
        delay_ms: u32,
    },
}

impl MessageStorage {
    /// `lti_storage_target` of login requests and launches inside a frame.
    pub(super) fn target(self) -> Option<&'static str> {
        match self {
            Self::NotOffered => None,
            Self::InFrame => Some(FRAME),
            _ => Some("_parent"),
        }
    }
}

/// What the script is told on a page.
#[derive(Debug)]
pub(super) struct Peer {
    /// The only origin that is answered.
    pub(super) tool_origin: String,
    /// How to answer.
    pub(super) behaviour: &'static str,
    pub(super) delay_ms: u32,
    /// Where a wrong origin's answers come from.
    pub(super) impostor: Option<String>,
}

impl Peer {
    fn new(platform: &Platform, behaviour: &'static str) -> Self {
        let tool_origin = platform.tool().login_url.origin().ascii_serialization();
        Self { tool_origin, behaviour, delay_ms: 0, impostor: None }
    }

    /// For the page around an activity.
    pub(super) fn of_page(platform: &Platform) -> Self {
        let storage = platform.state().message_storage;
        let behaviour = match storage {
            MessageStorage::Working | MessageStorage::Slow { .. } => "honest",
            MessageStorage::InFrame | MessageStorage::NotOffered | MessageStorage::Silent => "silent",
            MessageStorage::WrongOrigin => "wrong-origin",
            MessageStorage::WrongMessageId => "wrong-message-id",
            MessageStorage::OtherValues => "other-values",
        };
        let mut peer = Self::new(platform, behaviour);
        if let MessageStorage::Slow { delay_ms } = storage {
            peer.delay_ms = delay_ms;
        }
        if storage == MessageStorage::WrongOrigin {
            // The same server under another name is another origin.
            peer.impostor = Some(platform.url("/message-storage/impostor").replace("127.0.0.1", "localhost"));
        }
        peer
    }
}

/// The name of the frame that keeps values, if a page needs one.
pub(super) fn frame_name(platform: &Platform) -> Option<&'static str> {
    (platform.state().message_storage == MessageStorage::InFrame).then_some(FRAME)
}

#[derive(Template)]
#[template(path = "practice/message_storage.html")]
struct FramePage {
    peer: Peer,
}

/// The frame that keeps values beside an activity.
pub(super) async fn frame(platform: Data<Platform>) -> HttpResponse {
    pages::page(&FramePage { peer: Peer::new(&platform, "honest") })
}

/// A page that sends what it is told into the activity's frame, from the origin that it was opened under.
pub(super) async fn impostor(platform: Data<Platform>) -> HttpResponse {
    pages::page(&FramePage { peer: Peer::new(&platform, "impostor") })
}

/// The script.
pub(super) async fn script() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/javascript; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(SCRIPT)
}

/// Sets what the page does from now on, for instance `{"storage": "slow", "delay_ms": 2000}`.
pub(super) async fn set(platform: Data<Platform>, storage: Json<MessageStorage>) -> HttpResponse {
    platform.state().message_storage = storage.into_inner();
    HttpResponse::NoContent().finish()
}
