//! Our own keys: signing what we send, and the public set that platforms read.
//!
//! Each registration has keys of its own (Security Framework 7.2: no key pair for more than one other system). A new
//! key is published at once and signs only after an overlap, so that platforms which keep our key set for a while never
//! meet an unknown one; the old key stays published for another overlap ([`rotation`]). Registrations from before keys
//! had owners share a key until their own one signs.
//!
//! The store is looked at again every few seconds, so what the command line changes is noticed without a restart.

mod key_pair;
pub mod rotation;
#[cfg(test)]
mod tests;

use std::collections::HashMap;
use std::sync::{Arc, PoisonError, RwLock};

use aws_lc_rs::signature::RsaKeyPair;
use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value, json};

use crate::clock::{Clock, plus_ms};
use crate::seal::SealKey;
use crate::storage::{Actor, Change, PrivateKey, RegistrationId, Resealed, Storage, StorageError, ToolKey};

/// How long the keys in memory count as the store's.
const RELOAD_AFTER_MS: i64 = 15 * 1000;
/// How long others may keep our key set, in seconds; far less than [`rotation::OVERLAP_MS`].
pub const KEY_SET_KEPT_S: u32 = 600;

/// Our keys, as the store has them.
pub struct ToolKeys {
    storage: Arc<dyn Storage>,
    clock: Arc<dyn Clock>,
    seal_key: Option<SealKey>,
    ring: RwLock<Arc<Ring>>,
    /// Held while loading, so that one caller loads and makes keys.
    loading: tokio::sync::Mutex<()>,
}

/// Why our keys cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeySetError {
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// A stored key is damaged, or not an RSA key.
    #[error("stored key {kid:?} cannot be read; restore the store from a backup")]
    Unreadable {
        /// The key's name.
        kid: String,
    },
    /// The keys are sealed, and nothing opens them.
    #[error(
        "the signing keys in the store are sealed with the seal key {by}; give it as TENTHS_SEAL_KEY, or its file with \
         --seal-key-file"
    )]
    SealKeyMissing {
        /// The name of the seal key.
        by: String,
    },
    /// The keys are sealed with another key.
    #[error(
        "the signing keys in the store are sealed with the seal key {by}, but {given} was given; look for the right \
         one, for no new keys are made in place of sealed ones"
    )]
    SealKeyWrong {
        /// The name of the seal key.
        by: String,
        /// The name of the one that was given.
        given: String,
    },
    /// The machine could not make a key.
    #[error("a new RSA key could not be made")]
    NotMade,
    /// There is no such registration any more.
    #[error("the registration has no signing key; was it removed?")]
    NoKey,
}

/// The keys that have not left, opened.
struct Ring {
    keys: Vec<OpenKey>,
    loaded_at: Timestamp,
}

#[derive(Clone)]
struct OpenKey {
    record: ToolKey,
    pair: Arc<RsaKeyPair>,
}

/// The key that signs for one registration now.
#[derive(Clone)]
pub struct Signer {
    kid: String,
    pair: Arc<RsaKeyPair>,
}

impl Signer {
    /// `claims` as a signed token.
    pub fn sign<T: Serialize>(&self, claims: &T) -> String {
        key_pair::sign(&self.pair, &self.kid, claims)
    }
}

impl ToolKeys {
    /// Loads our keys; makes those that are missing, and seals those that are not sealed if there is a `seal_key`.
    ///
    /// # Errors
    /// [`KeySetError`] when the store fails or its keys cannot be opened.
    pub async fn load(
        storage: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
        seal_key: Option<SealKey>,
    ) -> Result<Self, KeySetError> {
        let empty = Arc::new(Ring { keys: Vec::new(), loaded_at: Timestamp::MIN });
        let ring = RwLock::new(empty);
        let keys = Self { storage, clock, seal_key, ring, loading: tokio::sync::Mutex::default() };
        keys.reload_unless(|_| false).await?;
        Ok(keys)
    }

    /// Our public keys, as platforms read them. Always as the store has them: another process may have made a first key
    /// just now, and have signed with it.
    pub async fn public_set(&self) -> Value {
        let ring = self.reload_unless(|_| false).await.unwrap_or_else(|error| {
            tracing::error!(%error, "signing keys could not be loaded again; the known ones are told");
            self.present()
        });
        let now = self.clock.now();
        let published = ring.keys.iter().filter(|key| key.record.is_published(now));
        json!({ "keys": published.map(|key| key_pair::public(&key.pair, &key.record.kid)).collect::<Vec<_>>() })
    }

    /// The key that signs for a registration; made if it has none yet.
    ///
    /// # Errors
    /// [`KeySetError`] when it has none and none can be made.
    pub async fn signer(&self, registration: RegistrationId) -> Result<Signer, KeySetError> {
        let known = |ring: &Ring| ring.keys.iter().any(|key| key.record.registration == Some(registration));
        let mut ring = self.fresh().await;
        if !known(&ring) {
            ring = self.reload_unless(known).await?;
        }
        if !known(&ring) {
            return Err(KeySetError::NoKey);
        }
        let key = ring.signing(registration, self.clock.now()).ok_or(KeySetError::NoKey)?;
        Ok(Signer { kid: key.record.kid.clone(), pair: key.pair.clone() })
    }

    /// Makes missing keys and erases the private parts of keys that have left; to be called from time to time.
    ///
    /// # Errors
    /// [`KeySetError`] when the store fails or its keys cannot be opened.
    pub async fn tend(&self) -> Result<(), KeySetError> {
        self.storage.erase_retired_tool_keys(&self.change()).await?;
        self.reload_unless(|_| false).await.map(|_| ())
    }

    /// The keys, loaded anew if it is time to. If that fails, those in memory serve on.
    async fn fresh(&self) -> Arc<Ring> {
        let now = self.clock.now();
        let is_fresh = |ring: &Ring| ring.loaded_at <= now && now < plus_ms(ring.loaded_at, RELOAD_AFTER_MS);
        let ring = self.present();
        if is_fresh(&ring) {
            return ring;
        }
        self.reload_unless(is_fresh).await.unwrap_or_else(|error| {
            tracing::error!(%error, "signing keys could not be loaded again; the known ones are used");
            ring
        })
    }

    fn present(&self) -> Arc<Ring> {
        // A panic elsewhere leaves the ring whole: it is replaced as one value.
        self.ring.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Loads the keys, unless somebody else did so meanwhile and they are as wanted.
    async fn reload_unless(&self, wanted: impl Fn(&Ring) -> bool) -> Result<Arc<Ring>, KeySetError> {
        let _alone = self.loading.lock().await;
        let present = self.present();
        if wanted(&present) {
            return Ok(present);
        }
        let mut stored = self.storage.tool_keys().await?;
        if self.make_missing(&stored).await? | self.seal_plain(&stored).await? {
            stored = self.storage.tool_keys().await?;
        }
        let ring = Arc::new(self.open(&stored)?);
        *self.ring.write().unwrap_or_else(PoisonError::into_inner) = ring.clone();
        Ok(ring)
    }

    /// Makes the first key of each registration that has none. It signs at once, or after the overlap if a shared key
    /// signs until then. Returns whether any was made, here or by another process that was faster.
    async fn make_missing(&self, stored: &[ToolKey]) -> Result<bool, KeySetError> {
        let now = self.clock.now();
        let shared = stored.iter().any(|key| key.registration.is_none() && key.may_sign(now));
        let signs_from = if shared { plus_ms(now, rotation::OVERLAP_MS) } else { now };
        let mut made = false;
        for registration in self.storage.registrations().await? {
            let owner = Some(registration.id);
            if stored.iter().any(|key| key.registration == owner && key.is_published(now)) {
                continue;
            }
            // A wrong seal key is found before it seals anything.
            open_all(stored, self.seal_key.as_ref(), &HashMap::new())?;
            let key = key_pair::make(owner, now, signs_from, self.seal_key.as_ref()).await?;
            self.storage.add_first_tool_key(key, &self.change()).await?;
            made = true;
        }
        Ok(made)
    }

    /// Seals what lies in the store as it is, if there is a key to do so. Returns whether anything was sealed.
    async fn seal_plain(&self, stored: &[ToolKey]) -> Result<bool, KeySetError> {
        let Some(seal_key) = &self.seal_key else { return Ok(false) };
        let resealed: Vec<Resealed> = stored
            .iter()
            .filter_map(|key| match &key.private {
                PrivateKey::Plain(pkcs8) => Some(Resealed {
                    kid: key.kid.clone(),
                    from: key.private.clone(),
                    to: key_pair::seal(seal_key, &key.kid, pkcs8),
                }),
                _ => None,
            })
            .collect();
        if resealed.is_empty() {
            return Ok(false);
        }
        open_all(stored, self.seal_key.as_ref(), &HashMap::new())?;
        // Another process that was faster has sealed them; then they are read as it left them.
        self.storage.reseal_tool_keys(resealed, &self.change()).await?;
        Ok(true)
    }

    fn open(&self, stored: &[ToolKey]) -> Result<Ring, KeySetError> {
        let present = self.present();
        let known: HashMap<&str, &Arc<RsaKeyPair>> =
            present.keys.iter().map(|key| (key.record.kid.as_str(), &key.pair)).collect();
        let keys = open_all(stored, self.seal_key.as_ref(), &known)?;
        Ok(Ring { keys, loaded_at: self.clock.now() })
    }

    fn change(&self) -> Change {
        Change { at: self.clock.now(), by: Actor::Service }
    }
}

/// Opens the keys that are not erased; those known already are not opened again.
fn open_all(
    stored: &[ToolKey],
    seal_key: Option<&SealKey>,
    known: &HashMap<&str, &Arc<RsaKeyPair>>,
) -> Result<Vec<OpenKey>, KeySetError> {
    let mut keys = Vec::with_capacity(stored.len());
    for record in stored.iter().filter(|key| key.private != PrivateKey::Erased) {
        let pair = match known.get(record.kid.as_str()) {
            Some(pair) => Arc::clone(pair),
            None => Arc::new(key_pair::open(record, seal_key)?),
        };
        keys.push(OpenKey { record: record.clone(), pair });
    }
    Ok(keys)
}

impl Ring {
    /// The registration's own key that began to sign last, else the shared one, else whichever is published.
    fn signing(&self, registration: RegistrationId, now: Timestamp) -> Option<&OpenKey> {
        let newest = |owner: Option<RegistrationId>| {
            let keys = self.keys.iter().filter(move |key| key.record.registration == owner);
            keys.filter(|key| key.record.may_sign(now)).max_by_key(|key| rotation::order(&key.record))
        };
        newest(Some(registration)).or_else(|| newest(None)).or_else(|| {
            let mut own = self.keys.iter().filter(|key| key.record.registration == Some(registration));
            own.find(|key| key.record.is_published(now))
        })
    }
}
