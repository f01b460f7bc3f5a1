//! The service's tool side, driven over HTTP by a platform made for these tests.

mod delivery;
mod launch;
mod login;
mod placing;
mod platform;
mod tool;
