//! The kernel's public face: published worked examples, the starter bank, proofs, marking.
#![expect(clippy::unwrap_used, reason = "a test may stop where it fails")]

use std::sync::LazyLock;

use qbank::{bank as starter, family::Family};

mod bank;
mod diagnosis;
mod malformed;
mod marking;
mod plans;
mod profiles;
mod proof;
mod published;
mod published_marking;
mod reading;
mod statistics;

/// The starter bank, read once for all tests.
static FAMILIES: LazyLock<Vec<Family>> =
    LazyLock::new(|| starter::families().unwrap_or_else(|error| panic!("{error}")));

fn families() -> &'static [Family] {
    &FAMILIES
}
