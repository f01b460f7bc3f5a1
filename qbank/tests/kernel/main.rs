//! The kernel's public face: published worked examples, the starter bank, proofs, marking.
#![expect(clippy::unwrap_used, reason = "a test may stop where it fails")]

mod bank;
mod marking;
mod plans;
mod profiles;
mod proof;
mod published;
