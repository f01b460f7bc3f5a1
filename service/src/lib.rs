//! Everything that touches the world: command line, HTTP, storage, clock.

pub mod app;
pub mod attempts;
pub mod cli;
pub mod clock;
pub mod closing;
pub mod delivery;
pub mod demo;
pub mod entropy;
mod frame_ancestors;
pub mod handlers;
pub mod holdings;
pub mod jobs;
mod judgement;
pub mod lti;
pub mod metrics;
pub mod pages;
pub mod paper;
pub mod placing;
pub mod practice;
mod registering;
mod remembered;
mod retention;
pub mod routes;
pub mod seal;
pub mod server;
pub mod session;
pub mod settings;
pub mod storage;
pub mod texts;
pub mod traces;
pub mod typing;
mod usage;
pub mod windows;

/// The first `limit` characters of a text.
pub(crate) fn shorten_plain(text: &str, limit: usize) -> &str {
    text.char_indices().nth(limit).map_or(text, |(end, _)| &text[..end])
}

/// `text` cut to `limit` characters for messages, with a mark where it was cut.
pub(crate) fn shorten(text: &str, limit: usize) -> String {
    match text.char_indices().nth(limit) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}
