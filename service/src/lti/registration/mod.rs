//! Dynamic registration: a platform's administrator opens the address of an invitation, confirms what is shown, and the
//! two sides exchange what else is typed in by hand (LTI Dynamic Registration 1.0, RFC 7591).
//!
//! ```text
//! invitation --> GET /lti/register (openid_configuration, registration_token)
//!            --> fetch and check the platform's configuration     [`configuration`]
//!            --> page that says what will be registered; its form carries the rest, sealed     [`Offer`]
//!            --> POST: our record goes to the platform     [`request`]
//!            --> its reply is checked and stored, and the invitation is used up     [`reply`]
//! ```
//!
//! The address in `openid_configuration` comes from outside, so nothing is fetched without an open invitation, and only
//! public addresses are.

mod configuration;
mod problem;
mod reply;
mod request;

#[cfg(test)]
mod tests;

use std::time::Duration;

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use jiff::Timestamp;
use reqwest::header::{ACCEPT, CONTENT_TYPE};
use serde::{Deserialize, Serialize};
use url::Url;

pub use configuration::PlatformConfiguration;
pub use problem::RegistrationProblem;

use super::outgoing;
use crate::clock::plus_ms;
use crate::seal::SealKey;
use crate::settings::{PublicUrl, Reach};
use crate::storage::NewRegistration;

/// How long the page that asks for confirmation is good for.
const OFFER_LIFETIME_MS: i64 = 30 * 60 * 1000;
/// How long a platform may take to answer: a person waits.
const ANSWER_WITHIN: Duration = Duration::from_secs(5);
/// The longest registration token that is passed on.
const TOKEN_LENGTH_MAX: usize = 8 * 1024;
/// What an offer is sealed for.
const PURPOSE: &str = "offer to register a platform";

/// What a person is asked to confirm. It goes through the browser sealed, so nothing is stored before, and what is
/// confirmed is what was checked.
#[derive(Debug, Serialize, Deserialize)]
pub struct Offer {
    /// The secret of the invitation.
    pub invitation: String,
    /// What the platform says of itself.
    pub platform: PlatformConfiguration,
    /// What the platform wants to see with our record.
    registration_token: Option<String>,
    expires_at: Timestamp,
}

impl Offer {
    /// Fetches and checks a platform's configuration.
    ///
    /// # Errors
    /// The first [`RegistrationProblem`].
    pub async fn make(
        calls: &Calls,
        invitation: &str,
        configuration_url: &str,
        registration_token: Option<&str>,
        now: Timestamp,
    ) -> Result<Self, RegistrationProblem> {
        if registration_token.is_some_and(|token| token.len() > TOKEN_LENGTH_MAX || !is_visible_ascii(token))
        {
            return Err(RegistrationProblem::Token);
        }
        Ok(Self {
            invitation: invitation.to_owned(),
            platform: calls.configuration(configuration_url).await?,
            registration_token: registration_token.map(str::to_owned),
            expires_at: plus_ms(now, OFFER_LIFETIME_MS),
        })
    }

    /// The offer as a form field.
    pub fn sealed(&self, seal_key: &SealKey) -> String {
        let record = serde_json::to_vec(self).expect("offers are plain records with text keys");
        URL_SAFE_NO_PAD.encode(seal_key.seal(PURPOSE, &record))
    }

    /// The offer from the form field of a page of ours.
    ///
    /// # Errors
    /// [`RegistrationProblem::Offer`] for anything else, or too late.
    pub fn open(field: &str, seal_key: &SealKey, now: Timestamp) -> Result<Self, RegistrationProblem> {
        let sealed = URL_SAFE_NO_PAD.decode(field).map_err(|_| RegistrationProblem::Offer)?;
        let record = seal_key.open(PURPOSE, &sealed).ok_or(RegistrationProblem::Offer)?;
        let offer: Self = serde_json::from_slice(&record).map_err(|_| RegistrationProblem::Offer)?;
        if now < offer.expires_at { Ok(offer) } else { Err(RegistrationProblem::Offer) }
    }

    /// Sends our record to the platform and reads from its reply what to store.
    ///
    /// # Errors
    /// The first [`RegistrationProblem`].
    pub async fn register(
        &self,
        calls: &Calls,
        public_url: &PublicUrl,
    ) -> Result<NewRegistration, RegistrationProblem> {
        let record = request::record(&self.platform, public_url);
        let answer = calls.register(&self.platform, &record, self.registration_token.as_deref()).await?;
        reply::read(&answer, &self.platform, &record)
    }
}

fn is_visible_ascii(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_graphic())
}

/// Calls to platforms that are not registered yet.
pub struct Calls {
    client: reqwest::Client,
    reach: Reach,
}

impl Calls {
    /// Calls within `reach`.
    pub(crate) fn new(client: reqwest::Client, reach: Reach) -> Self {
        Self { client, reach }
    }

    async fn configuration(&self, text: &str) -> Result<PlatformConfiguration, RegistrationProblem> {
        let url: Url = text.parse().map_err(|_| RegistrationProblem::ConfigurationUrl)?;
        self.reach
            .check("openid_configuration", &url)
            .map_err(|error| RegistrationProblem::Address(error.to_string()))?;
        let request = self.client.get(url.clone()).header(ACCEPT, "application/json").timeout(ANSWER_WITHIN);
        let answer = outgoing::send(self.reach, &url, request)
            .await
            .map_err(|error| RegistrationProblem::Unreachable(error.to_string()))?;
        if answer.status.as_u16() != 200 {
            return Err(RegistrationProblem::Status(answer.status.as_u16()));
        }
        configuration::read(&answer.body, &url, self.reach)
    }

    async fn register(
        &self,
        platform: &PlatformConfiguration,
        record: &serde_json::Value,
        token: Option<&str>,
    ) -> Result<Vec<u8>, RegistrationProblem> {
        let url = &platform.registration_endpoint;
        let mut request = self
            .client
            .post(url.clone())
            .header(ACCEPT, "application/json")
            .header(CONTENT_TYPE, "application/json")
            .timeout(ANSWER_WITHIN)
            .body(record.to_string());
        if let Some(token) = token {
            request = request.bearer_auth(token);
        }
        let answer = outgoing::send(self.reach, url, request)
            .await
            .map_err(|error| RegistrationProblem::Unreachable(error.to_string()))?;
        match answer.status.as_u16() {
            200 | 201 => Ok(answer.body),
            status => Err(RegistrationProblem::Declined(reply::refusal(status, &answer.body))),
        }
    }
}
