//! A short label for a pupil, the same on every page and every day, made from the platform's opaque id.

use sha2::{Digest, Sha256};

use crate::storage::UserId;
use crate::texts::Texts;

/// Letters and digits that cannot be mistaken for each other when read aloud or copied.
const SIGNS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";

/// "Pupil K7QD". Twenty bits: in a class of 30 two pupils share a label less than once in 2,000 classes, and the
/// id itself stands beside it.
pub(super) fn label(texts: &Texts, user: &UserId) -> String {
    let digest = Sha256::digest(user.as_str().as_bytes());
    let signs = digest.iter().take(4).map(|byte| char::from(SIGNS[usize::from(byte % 32)]));
    texts.with("class-pupil-label", &[("signs", signs.collect::<String>().into())])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_short_stable_and_different_for_different_pupils() {
        let label = |user| label(Texts::of("en-US"), &UserId::from(user));
        let one = label("a3f9");
        assert_eq!(one, label("a3f9"));
        assert_eq!(one.len(), "Pupil K7QD".len());
        assert_ne!(one, label("a3fa"));
    }
}
