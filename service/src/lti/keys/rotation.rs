//! Changing keys while platforms keep our key set for a while.
//!
//! ```text
//! new key:  published ........ signs ------------------------------>
//! old key:  signs ------------ published ......... leaves, is erased
//!           |<--- overlap --->|<--- overlap --->|
//! ```
//!
//! Used by the command line and by the programming interface; the running service reads from the store what they did.

use std::collections::HashMap;

use jiff::Timestamp;
use serde::Serialize;

use super::{KeySetError, key_pair, open_all};
use crate::clock::plus_ms;
use crate::seal::SealKey;
use crate::storage::{Change, PrivateKey, RegistrationId, Resealed, Retired, Rotated, Storage, ToolKey};

/// How long a new key is published before it signs, and an old one after it signed last: as long as platforms may keep
/// our key set without looking again.
pub const OVERLAP_MS: i64 = 24 * 60 * 60 * 1000;

/// Where a key stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Stage {
    /// Published, and signs later.
    Waiting,
    /// Signs.
    Signing,
    /// Published, while another key signs.
    Leaving,
    /// No longer published.
    Retired,
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(match self {
            Self::Waiting => "waiting",
            Self::Signing => "signing",
            Self::Leaving => "leaving",
            Self::Retired => "retired",
        })
    }
}

/// Of keys that may sign, the greatest signs.
pub(super) fn order(key: &ToolKey) -> (Timestamp, Timestamp, String) {
    (key.signs_from, key.created_at, key.kid.clone())
}

/// Where `key` stands among all keys.
pub fn stage(key: &ToolKey, all: &[ToolKey], now: Timestamp) -> Stage {
    if !key.is_published(now) {
        return Stage::Retired;
    }
    if !key.may_sign(now) {
        return Stage::Waiting;
    }
    let mut beside = all.iter().filter(|other| other.registration == key.registration && other.may_sign(now));
    if beside.any(|other| order(other) > order(key)) { Stage::Leaving } else { Stage::Signing }
}

/// Why keys were not changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RotationError {
    /// The keys in the store cannot be used.
    #[error(transparent)]
    Keys(#[from] KeySetError),
    /// A new key waits already.
    #[error(
        "key {kid} is published already and signs from {signs_from}; wait until then, or rotate at once with --now"
    )]
    UnderWay {
        /// The key that waits.
        kid: String,
        /// From when it signs.
        signs_from: Timestamp,
    },
    /// There is no such key in the key set.
    #[error("the key set has no key {0:?}")]
    Unknown(String),
    /// No other key would sign in its place.
    #[error(
        "key {0} is needed: no other key signs in its place at that time; rotate first, with --now if it must go at once"
    )]
    Needed(String),
}

impl From<crate::storage::StorageError> for RotationError {
    fn from(error: crate::storage::StorageError) -> Self {
        Self::Keys(error.into())
    }
}

/// Gives a registration (none: all those that share a key) a new key that signs after `overlap_ms`; with 0 at once.
/// The older keys leave another overlap later, at least [`OVERLAP_MS`] after they signed last. Returns the new key's
/// name.
///
/// # Errors
/// [`RotationError`] if a new key waits already (unless the new one is to sign at once: then the waiting one does), or
/// the store's keys cannot be opened.
pub async fn rotate(
    storage: &dyn Storage,
    seal_key: Option<&SealKey>,
    registration: Option<RegistrationId>,
    overlap_ms: i64,
    change: &Change,
) -> Result<String, RotationError> {
    let stored = storage.tool_keys().await.map_err(KeySetError::from)?;
    // A key that is wrong, or missing where others are sealed, is found before anything is stored.
    open_all(&stored, seal_key, &HashMap::new())?;
    let signs_from = plus_ms(change.at, overlap_ms);
    let leave_at = plus_ms(signs_from, overlap_ms.max(OVERLAP_MS));
    let key = key_pair::make(registration, change.at, signs_from, seal_key).await?;
    let kid = key.kid.clone();
    match storage.rotate_tool_key(key, leave_at, change).await? {
        Rotated::Begun => Ok(kid),
        Rotated::UnderWay(waiting) if overlap_ms == 0 => {
            storage.hasten_tool_key(&waiting.kid, leave_at, change).await?;
            Ok(waiting.kid)
        }
        Rotated::UnderWay(waiting) => {
            Err(RotationError::UnderWay { kid: waiting.kid, signs_from: waiting.signs_from })
        }
    }
}

/// Makes a key leave the key set at `at`.
///
/// # Errors
/// [`RotationError`] if it is not in the set or still needed.
pub async fn retire(
    storage: &dyn Storage,
    kid: &str,
    at: Timestamp,
    change: &Change,
) -> Result<(), RotationError> {
    match storage.retire_tool_key(kid, at, change).await? {
        Retired::Planned => Ok(()),
        Retired::Unknown => Err(RotationError::Unknown(crate::shorten(kid, 64))),
        Retired::Needed => Err(RotationError::Needed(kid.to_owned())),
    }
}

/// Seals all private keys with `to`; they are sealed with `from` so far, or not at all. Returns how many.
///
/// # Errors
/// [`KeySetError`] if `from` does not open them. Then nothing is changed.
pub async fn reseal(
    storage: &dyn Storage,
    from: Option<&SealKey>,
    to: &SealKey,
    change: &Change,
) -> Result<usize, KeySetError> {
    let stored = storage.tool_keys().await?;
    let mut resealed = Vec::new();
    for key in stored.into_iter().filter(|key| key.private != PrivateKey::Erased) {
        let pkcs8 = key_pair::unsealed(&key, from)?;
        let sealed = key_pair::seal(to, &key.kid, &pkcs8);
        resealed.push(Resealed { kid: key.kid, from: key.private, to: sealed });
    }
    let (count, kid) = (resealed.len(), resealed.first().map(|key| key.kid.clone()).unwrap_or_default());
    if count > 0 && !storage.reseal_tool_keys(resealed, change).await? {
        return Err(KeySetError::Unreadable { kid });
    }
    Ok(count)
}
