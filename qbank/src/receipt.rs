//! Receipts: a fingerprint over the canonical content of a record, by which anyone can tell that nothing in it was
//! changed and a question can be drawn anew.
use alloc::string::String;

use serde::Serialize;
use sha2::{Digest, Sha256};

/// What a receipt begins with: the name of its digest.
const PREFIX: &str = "sha256:";

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
    let mut receipt = String::with_capacity(PREFIX.len() + 64);
    receipt.push_str(PREFIX);
    hexadecimal(&Sha256::digest(canonical), &mut receipt);
    receipt
}

/// The first `characters` hexadecimal digits of the SHA-256 of a text: short names for seeds.
#[must_use]
pub fn short(text: &str, characters: usize) -> String {
    let mut digits = String::new();
    hexadecimal(&Sha256::digest(text.as_bytes()), &mut digits);
    digits.truncate(characters);
    digits
}

fn hexadecimal(digest: &[u8], behind: &mut String) {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let mut digits = [0; 64];
    for (pair, byte) in digits.chunks_exact_mut(2).zip(digest) {
        pair.copy_from_slice(&[DIGITS[usize::from(byte >> 4)], DIGITS[usize::from(byte & 0xF)]]);
    }
    behind.push_str(core::str::from_utf8(&digits).expect("digits are ASCII"));
}

#[cfg(test)]
mod tests {
    #[test]
    fn is_the_published_digest_of_known_content() {
        // FIPS 180-4 example: SHA-256 of "abc"; JSON puts it in quotes, so `short` is checked, which does not.
        assert_eq!(super::short("abc", 16), "ba7816bf8f01cfea");
    }
}
