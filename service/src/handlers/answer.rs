//! From a page to an answer over HTTP, and from a failure to a page in plain words.
//!
//! Pages use no script, so their policy permits none: stricter than what every answer gets anyway. No copy of a page is
//! kept. This module knows nothing of what a page says.

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, ContentType, LOCATION};
use actix_web::{HttpResponse, ResponseError};
use askama::Template;

use crate::pages::{Frame, NoticePage};
use crate::session::SessionError;
use crate::storage::StorageError;

/// What a page may load and where its forms may go.
const POLICY: &str = "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'";

/// Answers with a page.
pub(crate) fn page(status: StatusCode, page: &impl Template) -> Result<HttpResponse, PageError> {
    let body = page.render().map_err(|_| PageError::Template)?;
    Ok(HttpResponse::build(status)
        .content_type(ContentType::html())
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((CONTENT_SECURITY_POLICY, POLICY))
        .body(body))
}

/// Sends the browser to a page of ours after a form was taken, so that reloading does not send the form again.
pub(crate) fn see_other(path: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, path))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish()
}

/// Why a page cannot be shown.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PageError {
    /// The session does not allow it.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// There is no such quiz or attempt, or it is another person's.
    #[error("no such page")]
    NotFound,
    /// The posted form cannot be used; the sentence says why.
    #[error("unusable form: {0}")]
    Form(String),
    /// The quiz's pool is gone from the store.
    #[error("pool {0:?} is not in the store")]
    NoPool(String),
    /// A stored record is not what was written; never a fault of the person in front.
    #[error("unreadable record: {0}")]
    Record(String),
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// A template failed; our fault.
    #[error("template")]
    Template,
}

impl ResponseError for PageError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::Session(error) => error.status_code(),
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::Form(_) => StatusCode::BAD_REQUEST,
            Self::NoPool(_) | Self::Record(_) | Self::Template => StatusCode::INTERNAL_SERVER_ERROR,
            Self::Storage(_) => StatusCode::SERVICE_UNAVAILABLE,
        }
    }

    fn error_response(&self) -> HttpResponse {
        if let Self::Session(error) = self {
            return error.error_response();
        }
        if self.status_code().is_server_error() {
            tracing::error!(error = %self, "a page could not be shown");
        }
        let (title, sentence, hint) = self.words();
        let notice = NoticePage {
            frame: Frame { language: "en-US".into(), title: title.into(), place: "", wide: false },
            sentence,
            hint: Some(hint.into()),
        };
        page(self.status_code(), &notice)
            .unwrap_or_else(|_| HttpResponse::build(self.status_code()).body(notice.sentence))
    }
}

impl PageError {
    /// Title, sentence and hint for the person in front of the page.
    fn words(&self) -> (&'static str, String, &'static str) {
        match self {
            Self::Session(_) | Self::NotFound => (
                "This page is not here",
                "The address leads to nothing, or to something that is not yours to see.".into(),
                "Go back to your course and open the quiz from there again.",
            ),
            Self::Form(problem) => (
                "This could not be sent",
                format!("{}.", capitalised(problem)),
                "Go back one page and try again. What was saved before is still there.",
            ),
            Self::NoPool(_) => (
                "The questions are missing",
                "The question pool of this quiz is no longer loaded.".into(),
                "Please tell your teacher. Whoever looks after tenths can load the pool again.",
            ),
            Self::Record(_) | Self::Template | Self::Storage(_) => (
                "Something went wrong on our side",
                "The page could not be put together just now.".into(),
                "Wait a minute, then reload the page. What was saved before is still there.",
            ),
        }
    }
}

/// `text` with its first letter in upper case: notes start lower case, sentences do not.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
