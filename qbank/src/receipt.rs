//! Receipts: a fingerprint over the canonical content of a record, by which anyone can tell that nothing in it was
//! changed and a question can be drawn anew.
use alloc::{format, string::String};

use serde::Serialize;
use sha2::{Digest, Sha256};

/// `sha256:` and the hexadecimal SHA-256 of the record's JSON (fields in declared order, no spaces).
///
/// # Panics
/// If the record cannot be written as JSON; the records of this crate always can.
#[must_use]
pub fn of(record: &impl Serialize) -> String {
    let canonical = serde_json::to_vec(record).expect("records of this crate have text keys only");
    of_canonical(&String::from_utf8(canonical).expect("JSON is text"))
}

/// The same of a record that is already written.
pub(crate) fn of_canonical(canonical: &str) -> String {
    format!("sha256:{}", hexadecimal(&Sha256::digest(canonical)))
}

/// The first `characters` hexadecimal digits of the SHA-256 of a text: short names for seeds.
#[must_use]
pub fn short(text: &str, characters: usize) -> String {
    let mut digits = hexadecimal(&Sha256::digest(text.as_bytes()));
    digits.truncate(characters);
    digits
}

fn hexadecimal(bytes: &[u8]) -> String {
    let mut digits = String::with_capacity(2 * bytes.len());
    let halves = bytes.iter().flat_map(|byte| [byte >> 4, byte & 0xF]);
    digits.extend(halves.map(|half| char::from(b"0123456789abcdef"[usize::from(half)])));
    digits
}

#[cfg(test)]
mod tests {
    #[test]
    fn is_the_published_digest_of_known_content() {
        // FIPS 180-4 example: SHA-256 of "abc"; JSON puts it in quotes, so `short` is checked, which does not.
        assert_eq!(super::short("abc", 16), "ba7816bf8f01cfea");
    }
}
