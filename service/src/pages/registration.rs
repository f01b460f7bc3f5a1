//! Pages for the administrator of a platform that registers itself.
//!
//! They are shown inside the platform's own pages or in a window of theirs, so their policy names the platform as the
//! one that may frame them.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, ContentType};
use askama::Template;
use url::Url;

use super::Frame;

/// The script that tells the platform to close us.
pub const CLOSING_SCRIPT: &str = include_str!("../../static/close.js");

/// What will be registered, and a button to do it.
#[derive(Debug, Template)]
#[template(path = "registration/confirm.html")]
pub struct ConfirmPage {
    /// Frame.
    pub frame: Frame,
    /// The platform's name for itself.
    pub issuer: String,
    /// What kind of platform it is, in its own words.
    pub product: String,
    /// What the platform gives us, in words.
    pub permissions: Vec<String>,
    /// Addresses of the platform that we will call or send browsers to, with what for.
    pub addresses: Vec<(String, String)>,
    /// The offer, sealed.
    pub offer: String,
}

/// It is done.
#[derive(Debug, Template)]
#[template(path = "registration/done.html")]
pub struct DonePage {
    /// Frame.
    pub frame: Frame,
    /// The platform's name for itself.
    pub issuer: String,
    /// What the platform calls us, in a sentence.
    pub known_as: String,
    /// Whether a deployment may launch already.
    pub deployed: bool,
}

/// Nothing was registered.
#[derive(Debug, Template)]
#[template(path = "registration/refused.html")]
pub struct RefusedPage {
    /// Frame.
    pub frame: Frame,
    /// The stable name of the problem.
    pub problem: &'static str,
    /// What is wrong.
    pub sentence: String,
    /// What to do now.
    pub hint: String,
}

/// Answers with one of these pages, which the platform at `issuer` may frame.
pub fn answer(status: StatusCode, page: &impl Template, issuer: Option<&str>) -> HttpResponse {
    let platform = issuer.and_then(|issuer| Url::parse(issuer).ok());
    let ancestors = platform.map_or_else(|| "'none'".to_owned(), |url| url.origin().ascii_serialization());
    let policy = format!(
        "default-src 'none'; style-src 'self'; script-src 'self'; form-action 'self'; base-uri 'none'; \
         frame-ancestors {ancestors}"
    );
    match page.render() {
        Ok(body) => HttpResponse::build(status)
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
