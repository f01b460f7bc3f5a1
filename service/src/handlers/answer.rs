//! From a page to an answer over HTTP, and from a failure to a page in plain words.
//!
//! Most pages use no script, so their policy permits none: stricter than what every answer gets anyway. No copy of a page
//! is kept. This module knows nothing of what a page says.

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, ContentType, LOCATION};
use actix_web::{HttpResponse, ResponseError};
use askama::Template;

use crate::pages::{Frame, NoticePage, Place};
use crate::server::request_id::RequestId;
use crate::session::SessionError;
use crate::storage::StorageError;
use crate::texts::Texts;

/// What a page may load and where its forms may go.
const POLICY: &str = "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'";

/// The same for pages whose script also sends to us.
const POLICY_WITH_SCRIPT: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; \
                                  form-action 'self'; base-uri 'none'";

/// Room for most pages, so that writing one does not move what is written already.
const PAGE_ROOM: usize = 24 * 1024;

/// Answers with a page.
pub(crate) fn page(status: StatusCode, page: &impl Template) -> Result<HttpResponse, PageError> {
    with_policy(status, page, POLICY)
}

/// Answers with a page that loads a script of ours. It must work without.
pub(crate) fn page_with_script(status: StatusCode, page: &impl Template) -> Result<HttpResponse, PageError> {
    with_policy(status, page, POLICY_WITH_SCRIPT)
}

fn with_policy(
    status: StatusCode,
    page: &impl Template,
    policy: &'static str,
) -> Result<HttpResponse, PageError> {
    let mut body = String::with_capacity(PAGE_ROOM);
    page.render_into(&mut body).map_err(|_| PageError::Template)?;
    Ok(HttpResponse::build(status)
        .content_type(ContentType::html())
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((CONTENT_SECURITY_POLICY, policy))
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
        let texts = Texts::of_reader();
        let message = self.message();
        let problem = match self {
            Self::Form(problem) => capitalised(problem),
            _ => String::new(),
        };
        let notice = NoticePage {
            frame: Frame::new(texts, Place::Nowhere, texts.say(message)),
            sentence: texts.with(&format!("{message}-why"), &[("problem", problem.into())]),
            hint: Some(self.hint(texts, message)),
        };
        page(self.status_code(), &notice)
            .unwrap_or_else(|_| HttpResponse::build(self.status_code()).body(notice.sentence))
    }
}

impl PageError {
    /// What to do now, and what those who run the service can look for where the fault is theirs.
    fn hint(&self, texts: &Texts, message: &str) -> String {
        let next = texts.say(&format!("{message}-next"));
        match RequestId::current().filter(|_| self.status_code().is_server_error()) {
            Some(id) => format!("{next} {}", texts.with("frame-request", &[("id", id.to_string().into())])),
            None => next,
        }
    }

    /// The message that says what happened; `…-why` and `…-next` say why and what to do.
    fn message(&self) -> &'static str {
        match self {
            Self::Session(_) | Self::NotFound => "frame-not-here",
            Self::Form(_) => "frame-form",
            Self::NoPool(_) => "frame-no-pool",
            Self::Record(_) | Self::Template | Self::Storage(_) => "frame-ours",
        }
    }
}

/// `text` with its first letter in upper case: notes start lower case, sentences do not.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use actix_web::body::to_bytes;
    use actix_web::http::header::HeaderMap;

    use super::*;

    async fn page_of(problem: PageError) -> (RequestId, String) {
        let id = RequestId::of(&HeaderMap::new(), false);
        let response = id.during(async { problem.error_response() }).await;
        let body = to_bytes(response.into_body()).await.unwrap();
        (id, String::from_utf8(body.to_vec()).unwrap())
    }

    #[tokio::test]
    async fn a_fault_of_ours_tells_the_requests_id_and_no_other_does() {
        let (id, page) = page_of(PageError::Storage(StorageError::Closed)).await;
        assert!(page.contains(&id.to_string()), "{page}");
        let (id, page) = page_of(PageError::NotFound).await;
        assert!(!page.contains(&id.to_string()), "{page}");
    }
}
