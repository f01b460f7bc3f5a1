//! The exporters' public face: whole packages against the published schemas, and what their items score.
#![expect(clippy::unwrap_used, reason = "a test may stop where it fails")]

mod engine;
mod results;
mod samples;
mod schemas;
mod scoring;
mod templates;
