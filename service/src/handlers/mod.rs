//! One file for each operation, by resource; the files beside the folders are what operations share. Handlers translate
//! between HTTP and the rest; rules live elsewhere.

pub(crate) mod answer;
pub mod api;
pub mod assets;
pub mod class;
pub(crate) mod district;
mod form;
pub mod health;
pub(crate) mod language;
pub mod lti;
mod marked_view;
mod marking_words;
mod opened_quiz;
mod overrides_view;
mod problem_words;
mod proven_pools;
pub mod quiz;
pub(crate) mod registration;

use actix_web::HttpResponse;

use self::answer::PageError;
pub use form::settings as form_settings;
pub(crate) use marked_view::{paragraphs, unbroken};
pub(crate) use opened_quiz::OpenedQuiz;
pub use proven_pools::ProvenPools;

/// An address that leads to nothing.
pub(crate) async fn no_such_page() -> Result<HttpResponse, PageError> {
    Err(PageError::NotFound)
}

#[cfg(test)]
mod tests;
