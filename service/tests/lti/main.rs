//! The service's tool side, driven over HTTP by a platform made for these tests.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]
#![expect(clippy::print_stdout, reason = "what was counted is told")]

mod checklist;
mod delivery;
mod frames;
mod gradebook;
mod keys;
mod launch;
mod limits;
mod line_items;
mod login;
mod placing;
mod platform;
mod registration;
mod roster;
mod tokens;
mod tool;
mod vectors;
mod windows;
