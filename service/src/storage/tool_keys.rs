//! Records of our own signing keys.

use std::fmt;

use jiff::Timestamp;

use super::RegistrationId;

/// One of our signing keys. A retired key stays on record without its private part, so that its name is never given to
/// another key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolKey {
    /// Its public name in our key set.
    pub kid: String,
    /// Whose messages it signs; none for a key that registrations without an own one share.
    pub registration: Option<RegistrationId>,
    /// The private RSA key.
    pub private: PrivateKey,
    /// When it was made, and published.
    pub created_at: Timestamp,
    /// From when it signs; before, platforms can already read it.
    pub signs_from: Timestamp,
    /// When it leaves the key set, once that is known.
    pub retires_at: Option<Timestamp>,
}

impl ToolKey {
    /// Whether platforms can read the public half at `now`.
    pub fn is_published(&self, now: Timestamp) -> bool {
        self.private != PrivateKey::Erased && self.retires_at.is_none_or(|at| now < at)
    }

    /// Whether it may sign at `now`; of several the one that began last does.
    pub fn may_sign(&self, now: Timestamp) -> bool {
        self.is_published(now) && self.signs_from <= now
    }
}

/// A private key as it lies in the store: PKCS#8 DER.
#[derive(Clone, PartialEq, Eq)]
pub enum PrivateKey {
    /// As it is; for development.
    Plain(Vec<u8>),
    /// Sealed, so that the store alone is of no use to a thief.
    Sealed {
        /// The name of the key that seals it.
        by: String,
        /// Nonce, sealed key and tag.
        bytes: Vec<u8>,
    },
    /// Gone for ever.
    Erased,
}

impl fmt::Debug for PrivateKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The content stays out of logs and panic messages.
        match self {
            Self::Plain(_) => f.write_str("Plain"),
            Self::Sealed { by, .. } => f.debug_struct("Sealed").field("by", by).finish_non_exhaustive(),
            Self::Erased => f.write_str("Erased"),
        }
    }
}

/// A private part that takes the place of another one of the same key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resealed {
    /// The key.
    pub kid: String,
    /// What the store must hold.
    pub from: PrivateKey,
    /// What it shall hold.
    pub to: PrivateKey,
}

/// What became of a rotation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rotated {
    /// The new key is stored, and older ones have a time to leave.
    Begun,
    /// Nothing was stored: this key waits to sign already.
    UnderWay(ToolKey),
}

/// What became of a request to retire a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Retired {
    /// It leaves the key set at the time asked for.
    Planned,
    /// There is no such key, or it has left already.
    Unknown,
    /// Nothing was changed: no other key would sign in its place.
    Needed,
}
