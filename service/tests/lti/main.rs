//! The service's tool side, driven over HTTP by a platform made for these tests.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod delivery;
mod keys;
mod launch;
mod login;
mod placing;
mod platform;
mod registration;
mod tool;
