//! Third-party login: a platform names itself and a person it calls by a hint; we send the browser to the platform's
//! registered authorization address with a fresh state and nonce.
//!
//! Nothing in the request is signed. It chooses a registration and is otherwise handed back.
//!
//! A launch must come from the browser of its login. Two things can show that: a cookie, and, where the platform offers
//! it, a secret that the platform's window keeps for our pages (postMessage storage). Both are set up here; whoever only
//! knows a `state` has neither.

use std::collections::BTreeMap;

use jiff::Timestamp;
use url::Url;

use super::FailedCheck;
use crate::clock::plus_ms;
use crate::entropy;
use crate::settings::PublicUrl;
use crate::storage::{
    ClientId, DeploymentId, Fingerprint, KnownPlatform, LoginState, PlatformStorage, Registration,
};

/// How long a login may take.
pub const LIFETIME_MS: i64 = 10 * 60 * 1000;
/// Longer values are refused; they would not fit into a redirect.
const VALUE_LENGTH_MAX: usize = 4096;
/// Our own parameter, which says that a cookie was set before this request and should have come with it.
const COOKIE_WAS_SET: &str = "tenths_cookie_set";

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
    /// The platform's window that keeps values for us: `_parent`, or the name of a frame of the platform.
    storage_target: Option<String>,
    /// Whether a cookie should have come with this request.
    cookie_was_set: bool,
}

/// A login that has begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Begun {
    /// What to remember.
    pub remembered: LoginState,
    /// Where to send the browser.
    pub onward: Url,
    /// What the platform's window is to keep, if the request names one.
    pub keepsakes: Option<Keepsakes>,
}

/// Values for the platform's window to keep, under the names of the standard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Keepsakes {
    /// `_parent`, or the name of a frame of the platform.
    pub target: String,
    /// `lti_state_…` and a secret. Not the state itself: that is known to the platform and to whoever began the login.
    pub state: (String, String),
    /// `lti_nonce_…` and the nonce.
    pub nonce: (String, String),
}

/// The name under which the platform's window keeps the secret of a state.
pub fn state_key(state: &str) -> String {
    format!("lti_state_{state}")
}

/// The name under which the platform's window keeps a nonce.
pub fn nonce_key(nonce: &str) -> String {
    format!("lti_nonce_{nonce}")
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
            storage_target: value("lti_storage_target")?,
            cookie_was_set: parameters.filled(COOKIE_WAS_SET).is_some(),
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

    /// The platform's window that keeps values for us, if the platform names one.
    pub fn storage_target(&self) -> Option<&str> {
        self.storage_target.as_deref()
    }

    /// Whether a cookie was set before this request and should have come with it.
    pub fn cookie_was_set(&self) -> bool {
        self.cookie_was_set
    }

    /// The address of the same request without the platform's window: for a window of its own.
    pub fn address(&self, public_url: &PublicUrl) -> Url {
        let mut address = public_url.join("/lti/login");
        let optional = [
            ("lti_message_hint", self.message_hint.as_deref()),
            ("lti_deployment_id", self.deployment_hint.as_ref().map(DeploymentId::as_str)),
            ("client_id", self.client_id.as_ref().map(ClientId::as_str)),
        ];
        address
            .query_pairs_mut()
            .append_pair("iss", &self.issuer)
            .append_pair("login_hint", &self.login_hint)
            .append_pair("target_link_uri", &self.target_link_uri)
            .extend_pairs(optional.into_iter().filter_map(|(name, value)| Some((name, value?))));
        address
    }

    /// As [`LoginRequest::address`], to see whether the cookie comes back that goes with this answer.
    pub fn address_with_cookie(&self, public_url: &PublicUrl) -> Url {
        let mut address = self.address(public_url);
        address.query_pairs_mut().append_pair(COOKIE_WAS_SET, "1");
        address
    }

    /// Picks the platform that is meant among those of the issuer.
    ///
    /// # Errors
    /// The check that failed.
    pub fn choose(&self, of_issuer: Vec<KnownPlatform>) -> Result<KnownPlatform, FailedCheck> {
        if of_issuer.is_empty() {
            return Err(FailedCheck::IssuerUnknown);
        }
        let mut of_issuer = of_issuer.into_iter();
        match &self.client_id {
            Some(client_id) => of_issuer
                .find(|known| known.registration.platform.client_id == *client_id)
                .ok_or(FailedCheck::ClientUnknown),
            None => match (of_issuer.next(), of_issuer.next()) {
                (Some(only), None) => Ok(only),
                _ => Err(FailedCheck::ClientAmbiguous),
            },
        }
    }

    /// Starts a login in the browser whose cookie has that fingerprint.
    pub fn begin(
        &self,
        registration: &Registration,
        public_url: &PublicUrl,
        browser: Fingerprint,
        now: Timestamp,
    ) -> Begun {
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
        let keepsakes = self.storage_target.as_ref().map(|target| Keepsakes {
            target: target.clone(),
            state: (state_key(&state), entropy::secret()),
            nonce: (nonce_key(&nonce), nonce.clone()),
        });
        let remembered = LoginState {
            state: Fingerprint::of(&state),
            nonce,
            registration: registration.id,
            target_link_uri: self.target_link_uri.clone(),
            deployment_hint: self.deployment_hint.clone(),
            browser,
            storage: keepsakes.as_ref().map(|keepsakes| PlatformStorage {
                target: keepsakes.target.clone(),
                secret: Fingerprint::of(&keepsakes.state.1),
            }),
            expires_at: plus_ms(now, LIFETIME_MS),
        };
        Begun { remembered, onward: redirect, keepsakes }
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
