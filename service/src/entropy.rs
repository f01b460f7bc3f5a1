//! The only source of randomness: secrets, identifiers and jitter.
//!
//! Questions are never drawn from here; they come from seeds (which this module may invent once).

use aws_lc_rs::digest::{SHA256, digest};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};

/// A secret with 256 random bits, as 43 characters that need no escaping in addresses, cookies and forms.
pub fn secret() -> String {
    URL_SAFE_NO_PAD.encode(rand::random::<[u8; 32]>())
}

/// An identifier with 128 random bits, lower-case hexadecimal; for addresses that people may see.
pub fn identifier() -> String {
    format!("{:032x}", rand::random::<u128>())
}

/// An identifier with 64 random bits, lower-case hexadecimal; for names that people type.
pub fn short_identifier() -> String {
    format!("{:016x}", rand::random::<u64>())
}

/// A whole number below `bound`, for spreading retries; 0 when `bound` is 0.
pub fn jitter_ms(bound: u64) -> u64 {
    if bound == 0 { 0 } else { rand::random_range(0..bound) }
}

/// What is stored in place of a secret: its SHA-256 in base64url. Fit for random secrets only, not for passwords.
pub fn fingerprint(secret: &str) -> String {
    URL_SAFE_NO_PAD.encode(digest(&SHA256, secret.as_bytes()))
}
