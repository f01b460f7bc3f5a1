//! Third-party login: a platform names itself and a person it calls by a hint; we send the browser to the platform's
//! registered authorization address with a fresh state and nonce.
//!
//! Nothing in the request is signed. It chooses a registration and is otherwise handed back.

use std::collections::BTreeMap;

use jiff::Timestamp;
use url::Url;

use super::FailedCheck;
use crate::clock::plus_ms;
use crate::entropy;
use crate::settings::PublicUrl;
use crate::storage::{ClientId, DeploymentId, Fingerprint, LoginState, Registration};

/// How long a login may take.
pub const LIFETIME_MS: i64 = 10 * 60 * 1000;
/// Longer values are refused; they would not fit into a redirect.
const VALUE_LENGTH_MAX: usize = 4096;

/// Parameters of a form or query, each with one value.
#[derive(Debug, Default)]
pub struct Parameters(BTreeMap<String, String>);

impl Parameters {
    /// Reads `name=value&…`.
    ///
    /// # Errors
    /// [`FailedCheck::RepeatedParameter`] when a name comes again with another value.
    pub fn parse(encoded: &[u8]) -> Result<Self, FailedCheck> {
        let mut values = BTreeMap::new();
        for (name, value) in url::form_urlencoded::parse(encoded) {
            let (name, value) = (name.into_owned(), value.into_owned());
            if values.get(&name).is_some_and(|earlier| *earlier != value) {
                return Err(FailedCheck::RepeatedParameter);
            }
            values.insert(name, value);
        }
        Ok(Self(values))
    }

    /// A value that is there and not empty.
    pub fn filled(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str).filter(|value| !value.is_empty())
    }
}

/// A login request whose form has been checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoginRequest {
    issuer: String,
    login_hint: String,
    target_link_uri: String,
    message_hint: Option<String>,
    deployment_hint: Option<DeploymentId>,
    client_id: Option<ClientId>,
}

impl LoginRequest {
    /// Reads a login request.
    ///
    /// # Errors
    /// The check that failed.
    pub fn read(parameters: &Parameters, public_url: &PublicUrl) -> Result<Self, FailedCheck> {
        let value = |name| match parameters.filled(name) {
            Some(value) if value.len() > VALUE_LENGTH_MAX => Err(FailedCheck::RequestForm),
            value => Ok(value.map(str::to_owned)),
        };
        let request = Self {
            issuer: value("iss")?.ok_or(FailedCheck::LoginIssuer)?,
            login_hint: value("login_hint")?.ok_or(FailedCheck::LoginHint)?,
            target_link_uri: value("target_link_uri")?.ok_or(FailedCheck::LoginTarget)?,
            message_hint: value("lti_message_hint")?,
            deployment_hint: value("lti_deployment_id")?.map(DeploymentId),
            client_id: value("client_id")?.map(ClientId),
        };
        match Url::parse(&request.target_link_uri) {
            Ok(target) if public_url.owns(&target) => Ok(request),
            _ => Err(FailedCheck::LoginTarget),
        }
    }

    /// The platform's name for itself, by which registrations are looked up.
    pub fn issuer(&self) -> &str {
        &self.issuer
    }

    /// Picks the registration that is meant among those of the issuer.
    ///
    /// # Errors
    /// The check that failed.
    pub fn choose(&self, of_issuer: Vec<Registration>) -> Result<Registration, FailedCheck> {
        if of_issuer.is_empty() {
            return Err(FailedCheck::IssuerUnknown);
        }
        let mut of_issuer = of_issuer.into_iter();
        match &self.client_id {
            Some(client_id) => of_issuer
                .find(|registration| registration.platform.client_id == *client_id)
                .ok_or(FailedCheck::ClientUnknown),
            None => match (of_issuer.next(), of_issuer.next()) {
                (Some(only), None) => Ok(only),
                _ => Err(FailedCheck::ClientAmbiguous),
            },
        }
    }

    /// Starts a login: what to remember, and where to send the browser whose cookie holds `browser`.
    pub fn begin(
        self,
        registration: &Registration,
        public_url: &PublicUrl,
        browser: &str,
        now: Timestamp,
    ) -> (LoginState, Url) {
        let (state, nonce) = (entropy::secret(), entropy::secret());
        let mut redirect = registration.platform.authorization_url.clone();
        redirect
            .query_pairs_mut()
            .append_pair("scope", "openid")
            .append_pair("response_type", "id_token")
            .append_pair("response_mode", "form_post")
            .append_pair("prompt", "none")
            .append_pair("client_id", registration.platform.client_id.as_str())
            .append_pair("redirect_uri", public_url.join("/lti/launch").as_str())
            .append_pair("login_hint", &self.login_hint)
            .append_pair("state", &state)
            .append_pair("nonce", &nonce);
        if let Some(hint) = &self.message_hint {
            redirect.query_pairs_mut().append_pair("lti_message_hint", hint);
        }
        let remembered = LoginState {
            state: Fingerprint::of(&state),
            nonce,
            registration: registration.id,
            target_link_uri: self.target_link_uri,
            deployment_hint: self.deployment_hint,
            browser: Fingerprint::of(browser),
            expires_at: plus_ms(now, LIFETIME_MS),
        };
        (remembered, redirect)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parameter_may_come_twice_only_with_the_same_value() {
        assert!(Parameters::parse(b"iss=a&iss=a").is_ok());
        assert_eq!(Parameters::parse(b"iss=a&iss=b").unwrap_err(), FailedCheck::RepeatedParameter);
    }
}
