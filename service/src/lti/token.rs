//! An id_token from text to verified claims. Nothing in it is believed before its signature holds.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use serde_json::{Map, Value};

use super::FailedCheck;
use super::platform_keys::PublicKey;
use super::strict_json::{self, StrictJsonError};

/// The largest id_token that is looked at, in bytes.
pub const SIZE_MAX: usize = 64 * 1024;

/// A token whose form has been checked and whose signature has not.
#[derive(Debug)]
pub struct UnverifiedToken<'a> {
    /// The key it says it was signed with.
    pub kid: String,
    signed: &'a str,
    signature: Vec<u8>,
    claims: Map<String, Value>,
}

impl<'a> UnverifiedToken<'a> {
    /// Checks size, form and header: exactly RS256, a `kid`, no demanded extensions. Keys offered in the header
    /// (`jwk`, `jku`, `x5c`, `x5u`) are never looked at.
    ///
    /// # Errors
    /// The check that failed.
    pub fn parse(text: &'a str) -> Result<Self, FailedCheck> {
        if text.len() > SIZE_MAX {
            return Err(FailedCheck::TokenSize);
        }
        let (signed, signature) = text.rsplit_once('.').ok_or(FailedCheck::TokenForm)?;
        let (header, claims) = signed.split_once('.').ok_or(FailedCheck::TokenForm)?;
        let [header, claims, signature] =
            [header, claims, signature].map(|part| URL_SAFE_NO_PAD.decode(part));
        let header = header.map_err(|_| FailedCheck::TokenForm)?;
        let claims = claims.map_err(|_| FailedCheck::TokenForm)?;
        let signature = signature.map_err(|_| FailedCheck::TokenForm)?;
        let header = object(&header)?;
        let claims = object(&claims)?;
        if header.get("alg").and_then(Value::as_str) != Some("RS256") {
            return Err(FailedCheck::Algorithm);
        }
        if header.contains_key("crit") {
            return Err(FailedCheck::CriticalHeader);
        }
        let kid = match header.get("kid") {
            Some(Value::String(kid)) if !kid.is_empty() => kid.clone(),
            _ => return Err(FailedCheck::KeyIdMissing),
        };
        Ok(Self { kid, signed, signature, claims })
    }

    /// Gives out the claims if `key` made the signature.
    ///
    /// # Errors
    /// [`FailedCheck::Signature`] otherwise.
    pub fn verify(self, key: &PublicKey) -> Result<Map<String, Value>, FailedCheck> {
        if key.verifies(self.signed.as_bytes(), &self.signature) {
            Ok(self.claims)
        } else {
            Err(FailedCheck::Signature)
        }
    }
}

fn object(bytes: &[u8]) -> Result<Map<String, Value>, FailedCheck> {
    strict_json::object(bytes).map_err(|error| match error {
        StrictJsonError::NotAnObject => FailedCheck::TokenJson,
        StrictJsonError::DuplicateMember => FailedCheck::DuplicateMember,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn token(header: &str, claims: &str) -> String {
        format!("{}.{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(claims), "c2ln")
    }

    fn failure(text: &str) -> FailedCheck {
        UnverifiedToken::parse(text).unwrap_err()
    }

    #[test]
    fn refuses_what_is_not_three_base64url_parts() {
        let padded = "eyJhbGciOiJSUzI1NiIsImtpZCI6ImsifQ==.e30.c2ln";
        for text in ["", "a", "a.b", "a.b.c.d", "e30.e30.!", "e30 .e30.c2ln", padded] {
            assert_eq!(failure(text), FailedCheck::TokenForm, "{text}");
        }
        assert_eq!(failure(&"a".repeat(SIZE_MAX + 1)), FailedCheck::TokenSize);
    }

    #[test]
    fn refuses_headers_that_choose_their_own_rules() {
        assert_eq!(failure(&token(r#"{"alg":"rs256","kid":"k"}"#, "{}")), FailedCheck::Algorithm);
        assert_eq!(failure(&token(r#"{"alg":["RS256"],"kid":"k"}"#, "{}")), FailedCheck::Algorithm);
        assert_eq!(failure(&token(r#"{"kid":"k"}"#, "{}")), FailedCheck::Algorithm);
        assert_eq!(
            failure(&token(r#"{"alg":"RS256","kid":"k","crit":["exp"]}"#, "{}")),
            FailedCheck::CriticalHeader
        );
        assert_eq!(failure(&token(r#"{"alg":"RS256","kid":7}"#, "{}")), FailedCheck::KeyIdMissing);
        assert_eq!(
            failure(&token(r#"{"alg":"none","alg":"RS256","kid":"k"}"#, "{}")),
            FailedCheck::DuplicateMember
        );
    }
}
