//! Our own keys: signing what we send, and the public set that platforms read.

use aws_lc_rs::encoding::AsDer;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::rsa::KeySize;
use aws_lc_rs::signature::{RSA_PKCS1_SHA256, RsaKeyPair, RsaPublicKeyComponents};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value, json};

use crate::entropy;
use crate::storage::{Storage, StorageError, ToolKey};

/// Our key set. The newest key signs.
pub struct ToolKeys {
    signing: SigningKey,
    public: Value,
}

/// Why our keys cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeySetError {
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// A stored key is not an RSA key.
    #[error("stored key {kid:?} cannot be read; restore the store from a backup")]
    Unreadable {
        /// The key's name.
        kid: String,
    },
    /// The machine could not make a key.
    #[error("a new RSA key could not be made")]
    NotMade,
}

struct SigningKey {
    kid: String,
    pair: RsaKeyPair,
}

impl ToolKeys {
    /// Loads our keys; makes and stores the first one when there is none.
    ///
    /// # Errors
    /// [`KeySetError`] when the store fails or holds something else.
    pub async fn load(storage: &dyn Storage, now: Timestamp) -> Result<Self, KeySetError> {
        let mut stored = storage.tool_keys().await?;
        if stored.is_empty() {
            stored = storage.add_first_tool_key(make_key(now)?).await?;
        }
        let mut keys = stored.into_iter().map(SigningKey::read).collect::<Result<Vec<_>, _>>()?;
        let public = json!({ "keys": keys.iter().map(SigningKey::public).collect::<Vec<_>>() });
        let signing = keys.pop().ok_or(KeySetError::NotMade)?;
        Ok(Self { signing, public })
    }

    /// Our public keys, as platforms read them.
    pub fn public_set(&self) -> &Value {
        &self.public
    }

    /// `claims` as a signed token.
    pub fn sign<T: Serialize>(&self, claims: &T) -> String {
        let header = json!({ "alg": "RS256", "typ": "JWT", "kid": self.signing.kid });
        let claims = serde_json::to_vec(claims).expect("claims are plain records with text keys");
        let signed =
            format!("{}.{}", URL_SAFE_NO_PAD.encode(header.to_string()), URL_SAFE_NO_PAD.encode(claims));
        let mut signature = vec![0; self.signing.pair.public_modulus_len()];
        self.signing
            .pair
            .sign(&RSA_PKCS1_SHA256, &SystemRandom::new(), signed.as_bytes(), &mut signature)
            .expect("a key that was read can sign, and the buffer has the length of its modulus");
        format!("{signed}.{}", URL_SAFE_NO_PAD.encode(signature))
    }
}

impl SigningKey {
    fn read(stored: ToolKey) -> Result<Self, KeySetError> {
        match RsaKeyPair::from_pkcs8(&stored.pkcs8) {
            Ok(pair) => Ok(Self { kid: stored.kid, pair }),
            Err(_) => Err(KeySetError::Unreadable { kid: stored.kid }),
        }
    }

    fn public(&self) -> Value {
        use aws_lc_rs::signature::KeyPair;
        let numbers = RsaPublicKeyComponents::<Vec<u8>>::from(self.pair.public_key());
        json!({
            "kty": "RSA",
            "use": "sig",
            "alg": "RS256",
            "kid": self.kid,
            "n": URL_SAFE_NO_PAD.encode(numbers.n),
            "e": URL_SAFE_NO_PAD.encode(numbers.e),
        })
    }
}

fn make_key(now: Timestamp) -> Result<ToolKey, KeySetError> {
    let pair = RsaKeyPair::generate(KeySize::Rsa2048).map_err(|_| KeySetError::NotMade)?;
    let pkcs8 = pair.as_der().map_err(|_| KeySetError::NotMade)?;
    Ok(ToolKey { kid: entropy::identifier(), pkcs8: pkcs8.as_ref().to_vec(), created_at: now })
}
