//! Sealing: what is sealed can be neither read nor changed without the key (AES-256-GCM, NIST SP 800-38D, with a
//! random nonce for each message).
//!
//! Used for our private keys in the store, and for what a form carries through a browser.

use std::fmt;

use aws_lc_rs::aead::{AES_256_GCM, Aad, NONCE_LEN, Nonce, RandomizedNonceKey};
use aws_lc_rs::hmac;
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};

use crate::entropy;

/// How long a key is, in bytes.
const KEY_LENGTH: usize = 32;

/// A key that seals. Its text is never shown or logged.
#[derive(Clone)]
pub struct SealKey {
    bytes: [u8; KEY_LENGTH],
    name: String,
}

/// Text that is no key. Does not repeat the text, which may be a key with a slip in it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("expected 43 characters as 'tenths keys new-seal-key' prints them, found {0}")]
pub struct NoSealKey(usize);

impl SealKey {
    /// A new random key.
    pub fn random() -> Self {
        Self::parse(&entropy::secret()).expect("a secret has 32 bytes in base64url, as a key has")
    }

    /// Reads a key: 32 bytes in base64url without padding. Blanks around it are ignored.
    ///
    /// # Errors
    /// [`NoSealKey`] for anything else.
    pub fn parse(text: &str) -> Result<Self, NoSealKey> {
        let text = text.trim();
        let wrong = || NoSealKey(text.chars().count());
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| wrong())?;
        let bytes: [u8; KEY_LENGTH] = bytes.try_into().map_err(|_| wrong())?;
        let name = entropy::fingerprint(&format!("name of the seal key {text}")).chars().take(10).collect();
        Ok(Self { bytes, name })
    }

    /// A name that tells keys apart and nothing else about them.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Seals `content` for `purpose`; it opens for the same purpose only.
    pub fn seal(&self, purpose: &str, content: &[u8]) -> Vec<u8> {
        let mut sealed = content.to_vec();
        let nonce = self
            .cipher()
            .seal_in_place_append_tag(Aad::from(purpose.as_bytes()), &mut sealed)
            .expect("only contents of many gigabytes cannot be sealed");
        [nonce.as_ref().as_slice(), &sealed].concat()
    }

    /// Opens what [`SealKey::seal`] made for `purpose`; none if it was sealed with another key or for another purpose,
    /// or was changed.
    pub fn open(&self, purpose: &str, sealed: &[u8]) -> Option<Vec<u8>> {
        let (nonce, content) = sealed.split_at_checked(NONCE_LEN)?;
        let nonce = Nonce::try_assume_unique_for_key(nonce).ok()?;
        let mut content = content.to_vec();
        let length =
            self.cipher().open_in_place(nonce, Aad::from(purpose.as_bytes()), &mut content).ok()?.len();
        content.truncate(length);
        Some(content)
    }

    /// A hash of `text` for `purpose` that nobody without the key can make or check (HMAC-SHA-256, RFC 2104).
    pub fn keyed_hash(&self, purpose: &str, text: &str) -> String {
        let key = hmac::Key::new(hmac::HMAC_SHA256, &self.bytes);
        let mut context = hmac::Context::with_key(&key);
        for part in ["keyed hash", purpose, text] {
            // Each part ends by a sign that none contains, so that no two lists of parts look alike.
            context.update(part.as_bytes());
            context.update(&[0xff]);
        }
        URL_SAFE_NO_PAD.encode(context.sign())
    }

    fn cipher(&self) -> RandomizedNonceKey {
        RandomizedNonceKey::new(&AES_256_GCM, &self.bytes).expect("the key has the cipher's length")
    }
}

impl fmt::Debug for SealKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SealKey").field("name", &self.name).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn opens_with_the_same_key_and_purpose_only() {
        let key = SealKey::random();
        let sealed = key.seal("key a", b"content");
        assert_eq!(key.open("key a", &sealed).as_deref(), Some(&b"content"[..]));
        assert_eq!(key.open("key b", &sealed), None);
        assert_eq!(SealKey::random().open("key a", &sealed), None);
        for place in 0..sealed.len() {
            let mut changed = sealed.clone();
            changed[place] ^= 1;
            assert_eq!(key.open("key a", &changed), None, "byte {place}");
        }
        assert_eq!(key.open("key a", &sealed[..11]), None);
        assert_ne!(key.seal("key a", b"content"), sealed, "each nonce is used once");
    }

    #[test]
    fn a_hash_depends_on_key_purpose_and_text() {
        let key = SealKey::random();
        let hash = key.keyed_hash("a", "b");
        assert_eq!(hash, key.keyed_hash("a", "b"));
        for other in [key.keyed_hash("b", "b"), key.keyed_hash("a", "c"), key.keyed_hash("ab", "")] {
            assert_ne!(hash, other);
        }
        assert_ne!(hash, SealKey::random().keyed_hash("a", "b"));
    }

    #[test]
    fn a_key_is_read_back_from_its_text_and_shows_itself_nowhere() {
        let text = entropy::secret();
        let key = SealKey::parse(&format!("{text}\n")).unwrap();
        assert_eq!(key.name(), SealKey::parse(&text).unwrap().name());
        assert!(!format!("{key:?}").contains(&text) && !text.contains(key.name()));
        let refused = SealKey::parse("not a key").unwrap_err().to_string();
        assert!(refused.contains("43 characters") && !refused.contains("not a key"), "{refused}");
    }
}
