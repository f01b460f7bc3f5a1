//! Signing keys of the platform: RS256 over RSA 2048, and the key set that publishes the public half.
//!
//! Tokens are put together by hand from header, payload and signature, because a platform that must also send
//! broken ones needs a say in every part. Checking what the tool signed is [`super::tool_tokens`].

use aws_lc_rs::encoding::{AsDer, PublicKeyX509Der};
use aws_lc_rs::hmac;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::rsa::{KeyPair, KeySize};
use aws_lc_rs::signature::{KeyPair as _, RSA_PKCS1_SHA256};
use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use serde_json::{Value, json};

use super::clock;

/// An RSA key pair and the id under which its public half is published.
pub(super) struct SigningKey {
    key_id: String,
    pair: KeyPair,
}

impl SigningKey {
    /// A new key of 2048 bits; `None` when the library cannot make one.
    pub(super) fn generate() -> Option<SigningKey> {
        let pair = KeyPair::generate(KeySize::Rsa2048).ok()?;
        Some(SigningKey { key_id: clock::unguessable(), pair })
    }

    pub(super) fn key_id(&self) -> &str {
        &self.key_id
    }

    /// The header of an honest token.
    pub(super) fn header(&self) -> Value {
        json!({ "typ": "JWT", "alg": "RS256", "kid": self.key_id })
    }

    /// Header and payload, signed with RS256 whatever the header says.
    pub(super) fn sign(&self, header: &Value, payload: &Value) -> String {
        let input = signing_input(header, payload);
        let mut signature = vec![0; self.pair.public_modulus_len()];
        self.pair
            .sign(&RSA_PKCS1_SHA256, &SystemRandom::new(), input.as_bytes(), &mut signature)
            .expect("a valid RSA key signs any message when the buffer is as long as its modulus");
        format!("{input}.{}", URL_SAFE_NO_PAD.encode(signature))
    }

    /// The public half as a key set of one.
    pub(super) fn key_set(&self) -> Value {
        let public = self.pair.public_key();
        json!({ "keys": [{
            "kty": "RSA",
            "use": "sig",
            "alg": "RS256",
            "kid": self.key_id,
            "n": URL_SAFE_NO_PAD.encode(public.modulus().big_endian_without_leading_zero()),
            "e": URL_SAFE_NO_PAD.encode(public.exponent().big_endian_without_leading_zero()),
        }]})
    }

    /// The public half as PEM text, which is what an attacker uses as an HMAC secret.
    fn public_pem(&self) -> String {
        let der: PublicKeyX509Der<'_> =
            self.pair.public_key().as_der().expect("the public half of a valid RSA key has a DER form");
        let base64 = STANDARD.encode(der.as_ref());
        let lines: Vec<&str> = base64
            .as_bytes()
            .chunks(64)
            .map(|line| std::str::from_utf8(line).expect("base64 is ASCII"))
            .collect();
        format!("-----BEGIN PUBLIC KEY-----\n{}\n-----END PUBLIC KEY-----\n", lines.join("\n"))
    }

    /// A token "signed" by HMAC with the published key as the secret: passes a checker that lets the token choose
    /// the algorithm.
    pub(super) fn sign_with_public_half(&self, payload: &Value) -> String {
        let header = json!({ "typ": "JWT", "alg": "HS256", "kid": self.key_id });
        let input = signing_input(&header, payload);
        let secret = hmac::Key::new(hmac::HMAC_SHA256, self.public_pem().as_bytes());
        format!("{input}.{}", URL_SAFE_NO_PAD.encode(hmac::sign(&secret, input.as_bytes())))
    }
}

/// A token that claims to need no signature.
pub(super) fn unsigned(key_id: &str, payload: &Value) -> String {
    let header = json!({ "typ": "JWT", "alg": "none", "kid": key_id });
    format!("{}.", signing_input(&header, payload))
}

fn signing_input(header: &Value, payload: &Value) -> String {
    format!("{}.{}", encode_part(header), encode_part(payload))
}

/// One part of a token: JSON in URL-safe base64.
pub(super) fn encode_part(part: &Value) -> String {
    URL_SAFE_NO_PAD.encode(part.to_string())
}

#[cfg(test)]
mod tests {
    use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode};
    use serde_json::{Value, json};

    use super::SigningKey;

    #[test]
    fn a_checker_that_lets_the_token_choose_the_algorithm_would_be_fooled() {
        let key = SigningKey::generate().unwrap();
        let token = key.sign_with_public_half(&json!({ "exp": 9_999_999_999_u64 }));
        let secret = DecodingKey::from_secret(key.public_pem().as_bytes());
        assert!(decode::<Value>(&token, &secret, &Validation::new(Algorithm::HS256)).is_ok());
    }

    #[test]
    fn the_key_set_holds_public_members_only() {
        let key = SigningKey::generate().unwrap();
        let set = key.key_set();
        let mut members: Vec<&String> = set["keys"][0].as_object().unwrap().keys().collect();
        members.sort();
        assert_eq!(members, ["alg", "e", "kid", "kty", "n", "use"]);
    }
}
