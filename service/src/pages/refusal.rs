//! The plain page that says why something was refused.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, ContentType};
use askama::Template;

/// Why a request was refused, for the person in front of it and for whoever helps them.
#[derive(Debug, Clone, Copy, Template)]
#[template(path = "refusal.html")]
pub struct RefusalPage {
    /// The stable name of the failed check.
    pub check: &'static str,
    /// What failed, in plain words.
    pub sentence: &'static str,
    /// What to do now.
    pub hint: &'static str,
}

impl RefusalPage {
    /// The page as an answer.
    pub fn into_response(self, status: StatusCode) -> HttpResponse {
        let body = self.render().unwrap_or_else(|_| format!("{} ({})", self.sentence, self.check));
        HttpResponse::build(status)
            .content_type(ContentType::html())
            .insert_header((CACHE_CONTROL, "no-store"))
            .body(body)
    }
}
