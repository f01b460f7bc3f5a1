//! Checking what the tool has signed: its deep-linking responses and its assertions for access tokens.
//!
//! The tool's key set is fetched anew each time, so that a rotated key counts at once.

use jsonwebtoken::jwk::JwkSet;
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode, decode_header};
use serde_json::{Map, Value};

use super::clock;
use super::state::{CLIENT_ID, Platform};

/// Both sides run on one machine, so clocks may differ by rounding only.
const LEEWAY_S: u64 = 5;
/// A key set larger than this is not read.
const KEY_SET_LIMIT_BYTES: usize = 64 * 1024;

/// The first check that a token of the tool failed.
#[derive(Debug, thiserror::Error)]
pub(super) enum ToolTokenError {
    #[error("the token cannot be read, or its algorithm is not RS256")]
    Unreadable,
    #[error("the token's header names no kid")]
    NoKeyId,
    #[error("the tool's key set cannot be fetched")]
    KeySetUnreachable,
    #[error("the tool's key set is not a JSON key set of reasonable size")]
    KeySetUnreadable,
    #[error("kid `{0}` is not in the tool's key set")]
    UnknownKeyId(String),
    #[error("the token fails its check: {0}")]
    Check(#[from] jsonwebtoken::errors::Error),
    #[error("iat is missing, not a number, or in the future")]
    IssuedAt,
    #[error("{0} is missing or not text")]
    MissingText(&'static str),
    #[error("{0} `{1}` was used before")]
    UsedBefore(&'static str, String),
}

/// Claims of a token that passed every check common to all tokens of the tool.
pub(super) struct VerifiedClaims(Map<String, Value>);

impl VerifiedClaims {
    pub(super) fn find(&self, name: &str) -> Option<&Value> {
        self.0.get(name)
    }

    pub(super) fn text(&self, name: &'static str) -> Result<&str, ToolTokenError> {
        self.find(name).and_then(Value::as_str).ok_or(ToolTokenError::MissingText(name))
    }
}

/// Checks signature (RS256, by a key of the tool's set), `iss`, `aud`, `exp` and `iat`, and that the claim
/// `once` (`nonce` or `jti`) is present and new.
pub(super) async fn verify(
    platform: &Platform,
    token: &str,
    audience: &str,
    once: &'static str,
) -> Result<VerifiedClaims, ToolTokenError> {
    let header = decode_header(token).map_err(|_| ToolTokenError::Unreadable)?;
    if header.alg != Algorithm::RS256 {
        return Err(ToolTokenError::Unreadable);
    }
    let key_id = header.kid.ok_or(ToolTokenError::NoKeyId)?;
    let keys = fetch_keys(platform).await?;
    let Some(key) = keys.find(&key_id) else {
        return Err(ToolTokenError::UnknownKeyId(key_id));
    };

    let mut validation = Validation::new(Algorithm::RS256);
    validation.leeway = LEEWAY_S;
    validation.set_issuer(&[CLIENT_ID]);
    validation.set_audience(&[audience]);
    validation.set_required_spec_claims(&["iss", "aud", "exp"]);
    validation.validate_nbf = true;
    let claims = decode::<Map<String, Value>>(token, &DecodingKey::from_jwk(key)?, &validation)?.claims;
    let claims = VerifiedClaims(claims);

    let latest = clock::now().as_second() + LEEWAY_S as i64;
    let issued = claims.find("iat").and_then(Value::as_f64);
    if !issued.is_some_and(|issued| issued >= 0.0 && issued <= latest as f64) {
        return Err(ToolTokenError::IssuedAt);
    }
    let value = claims.text(once)?.to_owned();
    if !platform.state().seen_tool_tokens.insert(format!("{once}:{value}")) {
        return Err(ToolTokenError::UsedBefore(once, value));
    }
    Ok(claims)
}

async fn fetch_keys(platform: &Platform) -> Result<JwkSet, ToolTokenError> {
    let unreachable = |_| ToolTokenError::KeySetUnreachable;
    let request = platform.client.get(platform.tool().keys_url).send();
    let mut response = request.await.and_then(reqwest::Response::error_for_status).map_err(unreachable)?;
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await.map_err(unreachable)? {
        body.extend_from_slice(&chunk);
        if body.len() > KEY_SET_LIMIT_BYTES {
            return Err(ToolTokenError::KeySetUnreadable);
        }
    }
    serde_json::from_slice(&body).map_err(|_| ToolTokenError::KeySetUnreadable)
}
