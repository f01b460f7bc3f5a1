//! Platforms' public keys, fetched when needed and kept for a while.
//!
//! A key that is not in the kept set is looked for once more, but a set is fetched at most once a minute, so that
//! tokens with invented key names cannot make us flood a platform. A set that fails to load leaves the kept one usable.

use std::collections::HashMap;
use std::sync::Arc;

use aws_lc_rs::signature::{ParsedPublicKey, RSA_PKCS1_2048_8192_SHA256, RsaPublicKeyComponents};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use jiff::Timestamp;
use reqwest::header::{CACHE_CONTROL, HeaderMap};
use serde_json::{Map, Value};
use tokio::sync::Mutex;
use url::Url;

use super::{outgoing, strict_json};
use crate::clock::{Clock, plus_ms};
use crate::settings::Reach;

/// How long a set is kept when the platform does not say, and at most.
const KEPT_MS: i64 = 60 * 60 * 1000;
const KEPT_MAX_MS: i64 = 24 * KEPT_MS;
/// The pause between two fetches of one set, and between two tries when nothing could be loaded yet.
const PAUSE_MS: i64 = 60 * 1000;
const PAUSE_WHEN_EMPTY_MS: i64 = 2 * 1000;

/// An RSA public key of at least 2048 bits, read once for all signatures that it checks; none where its numbers make no key.
#[derive(Debug, Clone)]
pub struct PublicKey(Option<Arc<ParsedPublicKey>>);

impl PublicKey {
    /// Reads one key of a set with its name; none when it is not an RSA key for RS256 signatures. Whether its numbers make
    /// one matters when a signature is checked: a key of less than 2048 bits verifies nothing.
    pub fn from_jwk(key: &Map<String, Value>) -> Option<(String, Self)> {
        let text = |name: &str| key.get(name).and_then(Value::as_str);
        let number = |name: &str| URL_SAFE_NO_PAD.decode(text(name)?).ok();
        if text("kty") != Some("RSA") || text("use").is_some_and(|r#use| r#use != "sig") {
            return None;
        }
        if text("alg").is_some_and(|alg| alg != "RS256") {
            return None;
        }
        let public = RsaPublicKeyComponents { n: number("n")?, e: number("e")? };
        let parsed = public.to_parsed_public_key(&RSA_PKCS1_2048_8192_SHA256).ok();
        Some((text("kid")?.to_owned(), Self(parsed.map(Arc::new))))
    }

    /// Whether this key made an RS256 `signature` over `message`.
    pub fn verifies(&self, message: &[u8], signature: &[u8]) -> bool {
        self.0.as_ref().is_some_and(|key| key.verify_sig(message, signature).is_ok())
    }
}

/// Why a key cannot be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyError {
    /// The platform does not publish it.
    Unknown,
    /// The platform's set cannot be loaded just now.
    Unavailable,
}

/// Keys of all platforms.
pub struct PlatformKeys {
    client: reqwest::Client,
    reach: Reach,
    clock: Arc<dyn Clock>,
    sets: Mutex<HashMap<Url, Arc<Mutex<KeySet>>>>,
}

/// One platform's keys. Its lock is held while fetching, so many launches at once fetch once.
#[derive(Default)]
struct KeySet {
    keys: HashMap<String, PublicKey>,
    loaded: bool,
    last_try_failed: bool,
    fresh_until: Option<Timestamp>,
    tried_at: Option<Timestamp>,
}

impl PlatformKeys {
    /// An empty cache that fetches within `reach`.
    pub fn new(client: reqwest::Client, reach: Reach, clock: Arc<dyn Clock>) -> Self {
        Self { client, reach, clock, sets: Mutex::default() }
    }

    /// The key `kid` of the set at `url`.
    ///
    /// # Errors
    /// [`KeyError::Unknown`] if the set does not have it, [`KeyError::Unavailable`] if that cannot be told.
    pub async fn key(&self, url: &Url, kid: &str) -> Result<PublicKey, KeyError> {
        let set = self.sets.lock().await.entry(url.clone()).or_default().clone();
        let mut set = set.lock().await;
        let now = self.clock.now();
        let fresh = set.fresh_until.is_some_and(|until| now < until);
        if !(fresh && set.keys.contains_key(kid)) && set.may_fetch(now) {
            set.tried_at = Some(now);
            match self.fetch(url).await {
                Ok((keys, kept_ms)) => {
                    set.keys = keys;
                    set.loaded = true;
                    set.last_try_failed = false;
                    set.fresh_until = Some(plus_ms(now, kept_ms));
                }
                Err(problem) => {
                    set.last_try_failed = true;
                    tracing::warn!(%problem, host = url.host_str(), "a platform's keys could not be loaded");
                }
            }
        }
        match set.keys.get(kid) {
            Some(key) => Ok(key.clone()),
            None if !set.loaded || set.last_try_failed => Err(KeyError::Unavailable),
            None => Err(KeyError::Unknown),
        }
    }

    async fn fetch(&self, url: &Url) -> Result<(HashMap<String, PublicKey>, i64), String> {
        let answer = outgoing::send(self.reach, url, self.client.get(url.clone()))
            .await
            .map_err(|error| error.to_string())?;
        if !answer.status.is_success() {
            return Err(format!("status {}", answer.status.as_u16()));
        }
        let set = strict_json::object(&answer.body).map_err(|_| "not a JSON object".to_owned())?;
        let keys = set.get("keys").and_then(Value::as_array).ok_or("no member keys")?;
        let usable = keys.iter().filter_map(Value::as_object).filter_map(PublicKey::from_jwk).collect();
        Ok((usable, kept_ms(&answer.headers)))
    }
}

impl KeySet {
    fn may_fetch(&self, now: Timestamp) -> bool {
        let pause = if self.loaded { PAUSE_MS } else { PAUSE_WHEN_EMPTY_MS };
        // A clock that was set back must not block fetching.
        self.tried_at.is_none_or(|tried| now < tried || now >= plus_ms(tried, pause))
    }
}

/// How long a set may be kept, from `Cache-Control`.
fn kept_ms(headers: &HeaderMap) -> i64 {
    let max_age = headers
        .get(CACHE_CONTROL)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split(',').find_map(|part| part.trim().strip_prefix("max-age=")))
        .and_then(|seconds| seconds.parse::<i64>().ok());
    max_age.map_or(KEPT_MS, |seconds| seconds.saturating_mul(1000).clamp(0, KEPT_MAX_MS))
}
