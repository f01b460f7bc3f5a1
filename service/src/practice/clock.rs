//! Time and chance for the practice platform: the only place in it that reads the clock or draws random text.

use aws_lc_rs::rand;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;

/// Now, in UTC.
pub(super) fn now() -> Timestamp {
    Timestamp::now()
}

/// Text that nobody can guess: 128 random bits in the URL-safe base64 alphabet.
pub(super) fn unguessable() -> String {
    let mut bytes = [0_u8; 16];
    rand::fill(&mut bytes).expect("the operating system's random source is available");
    URL_SAFE_NO_PAD.encode(bytes)
}
