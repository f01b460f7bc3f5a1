//! The exporters' public face: whole packages against the published schemas, and what their items score.
#![expect(clippy::unwrap_used, reason = "a test may stop where it fails")]

mod agreement;
mod cartridge;
mod cases;
mod hostile;
mod player;
mod reading;
mod results;
mod samples;
mod schemas;
mod scoring;
mod templates;
