//! RSA key pairs: made, sealed, opened, published, and signing by RS256.

use aws_lc_rs::encoding::AsDer;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::rsa::KeySize;
use aws_lc_rs::signature::{KeyPair as _, RSA_PKCS1_SHA256, RsaKeyPair, RsaPublicKeyComponents};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value, json};

use super::KeySetError;
use crate::entropy;
use crate::seal::SealKey;
use crate::storage::{PrivateKey, RegistrationId, ToolKey};

/// Makes a key. That takes a noticeable part of a second, so not on a thread that serves others.
pub(super) async fn make(
    registration: Option<RegistrationId>,
    now: Timestamp,
    signs_from: Timestamp,
    seal_key: Option<&SealKey>,
) -> Result<ToolKey, KeySetError> {
    let pkcs8 = tokio::task::spawn_blocking(generate).await.map_err(|_| KeySetError::NotMade)??;
    let kid = entropy::identifier();
    let private = match seal_key {
        Some(seal_key) => seal(seal_key, &kid, &pkcs8),
        None => PrivateKey::Plain(pkcs8),
    };
    Ok(ToolKey { kid, registration, private, created_at: now, signs_from, retires_at: None })
}

fn generate() -> Result<Vec<u8>, KeySetError> {
    let pair = RsaKeyPair::generate(KeySize::Rsa2048).map_err(|_| KeySetError::NotMade)?;
    let pkcs8 = pair.as_der().map_err(|_| KeySetError::NotMade)?;
    Ok(pkcs8.as_ref().to_vec())
}

/// What a key's private part is sealed for: another key's cannot be put in its place.
fn purpose(kid: &str) -> String {
    format!("private part of the signing key {kid}")
}

pub(super) fn seal(seal_key: &SealKey, kid: &str, pkcs8: &[u8]) -> PrivateKey {
    PrivateKey::Sealed { by: seal_key.name().to_owned(), bytes: seal_key.seal(&purpose(kid), pkcs8) }
}

/// The private part of a key that is not erased, PKCS#8 DER.
pub(super) fn unsealed(key: &ToolKey, seal_key: Option<&SealKey>) -> Result<Vec<u8>, KeySetError> {
    let unreadable = || KeySetError::Unreadable { kid: key.kid.clone() };
    match (&key.private, seal_key) {
        (PrivateKey::Plain(pkcs8), _) => Ok(pkcs8.clone()),
        (PrivateKey::Sealed { by, .. }, None) => Err(KeySetError::SealKeyMissing { by: by.clone() }),
        (PrivateKey::Sealed { by, .. }, Some(given)) if by != given.name() => {
            Err(KeySetError::SealKeyWrong { by: by.clone(), given: given.name().to_owned() })
        }
        (PrivateKey::Sealed { bytes, .. }, Some(given)) => {
            given.open(&purpose(&key.kid), bytes).ok_or_else(unreadable)
        }
        (PrivateKey::Erased, _) => Err(unreadable()),
    }
}

pub(super) fn open(key: &ToolKey, seal_key: Option<&SealKey>) -> Result<RsaKeyPair, KeySetError> {
    let pkcs8 = unsealed(key, seal_key)?;
    RsaKeyPair::from_pkcs8(&pkcs8).map_err(|_| KeySetError::Unreadable { kid: key.kid.clone() })
}

/// The public half as a member of a key set (RFC 7517).
pub(super) fn public(pair: &RsaKeyPair, kid: &str) -> Value {
    let numbers = RsaPublicKeyComponents::<Vec<u8>>::from(pair.public_key());
    json!({
        "kty": "RSA",
        "use": "sig",
        "alg": "RS256",
        "kid": kid,
        "n": URL_SAFE_NO_PAD.encode(numbers.n),
        "e": URL_SAFE_NO_PAD.encode(numbers.e),
    })
}

/// `claims` as a token in the compact form (RFC 7515).
pub(super) fn sign<T: Serialize>(pair: &RsaKeyPair, kid: &str, claims: &T) -> String {
    let header = json!({ "alg": "RS256", "typ": "JWT", "kid": kid });
    let claims = serde_json::to_vec(claims).expect("claims are plain records with text keys");
    let signed = format!("{}.{}", URL_SAFE_NO_PAD.encode(header.to_string()), URL_SAFE_NO_PAD.encode(claims));
    let mut signature = vec![0; pair.public_modulus_len()];
    pair.sign(&RSA_PKCS1_SHA256, &SystemRandom::new(), signed.as_bytes(), &mut signature)
        .expect("a key that was read can sign, and the buffer has the length of its modulus");
    format!("{signed}.{}", URL_SAFE_NO_PAD.encode(signature))
}
