//! The page that carries a deep-linking answer back: a form that submits itself, with a button for when it does not.

use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, ContentType};
use askama::Template;
use url::Url;

use super::{Frame, Place};
use crate::entropy;
use crate::texts::Texts;

/// A form with the signed answer.
#[derive(Template)]
#[template(path = "deep_linking_return.html")]
pub struct DeepLinkingReturnPage {
    frame: Frame,
    action: Url,
    token: String,
    /// Permits this page's one script.
    script_nonce: String,
}

impl DeepLinkingReturnPage {
    /// A form that posts `token` to `action`.
    pub fn new(action: Url, token: String) -> Self {
        let texts = Texts::of_reader();
        let frame = Frame::new(texts, Place::Class, texts.say("frame-return"));
        Self { frame, action, token, script_nonce: entropy::secret() }
    }

    /// The page as an answer; its policy permits posting to the platform and nothing else.
    pub fn into_response(self) -> HttpResponse {
        let policy = format!(
            "default-src 'none'; style-src 'self'; script-src 'nonce-{}'; form-action {}; base-uri 'none'",
            self.script_nonce,
            self.action.origin().ascii_serialization(),
        );
        match self.render() {
            Ok(body) => HttpResponse::Ok()
                .content_type(ContentType::html())
                .insert_header((CACHE_CONTROL, "no-store"))
                .insert_header((CONTENT_SECURITY_POLICY, policy))
                .body(body),
            Err(error) => {
                tracing::error!(%error, "a page could not be written");
                HttpResponse::InternalServerError().finish()
            }
        }
    }
}
