//! Access tokens for a platform's services, asked for with a signed assertion and kept until shortly before they end.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use reqwest::header::ACCEPT;
use serde::Deserialize;
use serde_json::json;
use tokio::sync::Mutex;

use super::keys::ToolKeys;
use super::outgoing::{self, Answer, CallError};
use super::vocabulary as v;
use crate::clock::{Clock, plus_ms};
use crate::entropy;
use crate::settings::Reach;
use crate::storage::{DeploymentId, Registration, RegistrationId};

/// How long an assertion is valid.
const ASSERTION_LIFETIME_S: i64 = 300;
/// A token is not used in its last minute.
const RENEW_BEFORE_MS: i64 = 60 * 1000;
/// What is assumed when the platform does not say.
const DEFAULT_LIFETIME_S: i64 = 3600;

/// A bearer token. Its text is never shown or logged.
#[derive(Clone)]
pub(crate) struct AccessToken(String);

impl AccessToken {
    /// The text for the `Authorization` header.
    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

/// Why there is no token.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum TokenError {
    /// Nothing was answered, or that the platform is busy: worth another try later.
    #[error("no access token: {problem}")]
    Temporary {
        /// What happened.
        problem: String,
        /// What was answered, if anything was.
        status: Option<u16>,
        /// The pause the platform asks for.
        pause: Option<Duration>,
    },
    /// The platform refuses: a person must look at the registration.
    #[error("the platform refuses an access token: {problem}")]
    Refused {
        /// What happened.
        problem: String,
        /// What was answered, if anything was.
        status: Option<u16>,
    },
}

impl TokenError {
    fn refused(problem: impl Into<String>) -> Self {
        Self::Refused { problem: problem.into(), status: None }
    }
}

impl From<CallError> for TokenError {
    fn from(error: CallError) -> Self {
        match error {
            CallError::Address => Self::refused(error.to_string()),
            _ => Self::Temporary { problem: error.to_string(), status: None, pause: None },
        }
    }
}

/// Tokens by registration, deployment and scopes.
pub(crate) struct AccessTokens {
    client: reqwest::Client,
    reach: Reach,
    clock: Arc<dyn Clock>,
    keys: Arc<ToolKeys>,
    kept: Mutex<HashMap<TokenKey, Arc<Mutex<Option<KeptToken>>>>>,
}

type TokenKey = (RegistrationId, DeploymentId, BTreeSet<String>);

struct KeptToken {
    token: AccessToken,
    usable_until: Timestamp,
}

#[derive(Deserialize)]
struct TokenAnswer {
    access_token: String,
    token_type: String,
    /// Some write seconds with a point.
    expires_in: Option<f64>,
    scope: Option<String>,
}

#[derive(Deserialize)]
struct TokenRefusal {
    error: String,
}

impl AccessTokens {
    pub(crate) fn new(
        client: reqwest::Client,
        reach: Reach,
        clock: Arc<dyn Clock>,
        keys: Arc<ToolKeys>,
    ) -> Self {
        Self { client, reach, clock, keys, kept: Mutex::default() }
    }

    /// A token for `scopes`, kept or new. Of many callers at once, one asks and the others wait for it.
    pub(crate) async fn token(
        &self,
        registration: &Registration,
        deployment: &DeploymentId,
        scopes: &BTreeSet<String>,
    ) -> Result<AccessToken, TokenError> {
        let place = self.place(registration, deployment, scopes).await;
        let mut kept = place.lock().await;
        let now = self.clock.now();
        if let Some(kept) = kept.as_ref().filter(|kept| now < kept.usable_until) {
            return Ok(kept.token.clone());
        }
        let (token, lifetime_s) = self.ask(registration, deployment, scopes, now).await?;
        let usable_until = plus_ms(now, lifetime_s.saturating_mul(1000) - RENEW_BEFORE_MS);
        *kept = Some(KeptToken { token: token.clone(), usable_until });
        Ok(token)
    }

    /// Forgets a kept token that the platform no longer takes. A newer one, got by somebody else meanwhile, stays.
    pub(crate) async fn forget(
        &self,
        registration: &Registration,
        deployment: &DeploymentId,
        scopes: &BTreeSet<String>,
        refused: &AccessToken,
    ) {
        let place = self.place(registration, deployment, scopes).await;
        let mut kept = place.lock().await;
        if kept.as_ref().is_some_and(|kept| kept.token.0 == refused.0) {
            *kept = None;
        }
    }

    async fn place(
        &self,
        registration: &Registration,
        deployment: &DeploymentId,
        scopes: &BTreeSet<String>,
    ) -> Arc<Mutex<Option<KeptToken>>> {
        let key = (registration.id, deployment.clone(), scopes.clone());
        self.kept.lock().await.entry(key).or_default().clone()
    }

    async fn ask(
        &self,
        registration: &Registration,
        deployment: &DeploymentId,
        scopes: &BTreeSet<String>,
        now: Timestamp,
    ) -> Result<(AccessToken, i64), TokenError> {
        let scope = scopes.iter().map(String::as_str).collect::<Vec<_>>().join(" ");
        let assertion = self.assertion(registration, deployment, now).await?;
        let url = &registration.platform.token_url;
        let request = self.client.post(url.clone()).header(ACCEPT, "application/json").form(&[
            ("grant_type", "client_credentials"),
            ("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"),
            ("client_assertion", &assertion),
            ("scope", &scope),
        ]);
        let answer = outgoing::send(self.reach, url, request).await?;
        if !answer.status.is_success() {
            return Err(refusal(&answer, now));
        }
        read_token(&answer.body, scopes)
    }

    /// The signed statement that we are who we say.
    async fn assertion(
        &self,
        registration: &Registration,
        deployment: &DeploymentId,
        now: Timestamp,
    ) -> Result<String, TokenError> {
        let signer = self.keys.signer(registration.id).await.map_err(|error| {
            tracing::error!(%error, "an access token could not be asked for");
            TokenError::Temporary {
                problem: "the service's own keys cannot be used just now".into(),
                status: None,
                pause: None,
            }
        })?;
        let platform = &registration.platform;
        let issued_at = now.as_second();
        Ok(signer.sign(&json!({
            "iss": platform.client_id,
            "sub": platform.client_id,
            "aud": platform.audience.as_deref().unwrap_or(platform.token_url.as_str()),
            "iat": issued_at,
            "exp": issued_at + ASSERTION_LIFETIME_S,
            "jti": entropy::secret(),
            (v::DEPLOYMENT_ID): deployment,
        })))
    }
}

fn read_token(body: &[u8], asked: &BTreeSet<String>) -> Result<(AccessToken, i64), TokenError> {
    let answer: TokenAnswer = serde_json::from_slice(body).map_err(|_| TokenError::Temporary {
        problem: "the platform's answer is not a token".into(),
        status: None,
        pause: None,
    })?;
    if !answer.token_type.eq_ignore_ascii_case("bearer") || answer.access_token.is_empty() {
        return Err(TokenError::refused("the token is not a bearer token"));
    }
    if let Some(granted) = &answer.scope {
        let granted: BTreeSet<&str> = granted.split_whitespace().collect();
        if !asked.iter().all(|scope| granted.contains(scope.as_str())) {
            return Err(TokenError::refused("the platform grants less than the launch said"));
        }
    }
    let lifetime_s = answer.expires_in.map_or(DEFAULT_LIFETIME_S, whole_seconds);
    Ok((AccessToken(answer.access_token), lifetime_s))
}

/// What is left of a lifetime; none of one below zero.
fn whole_seconds(lifetime_s: f64) -> i64 {
    let lifetime = Duration::try_from_secs_f64(lifetime_s).unwrap_or_default();
    i64::try_from(lifetime.as_secs()).unwrap_or(i64::MAX)
}

fn refusal(answer: &Answer, now: Timestamp) -> TokenError {
    let status = answer.status.as_u16();
    // The code is the standard's; anything longer is the platform's prose and stays out of our pages.
    let code = serde_json::from_slice::<TokenRefusal>(&answer.body)
        .map(|refusal| crate::shorten(&refusal.error, 40));
    let problem = match code {
        Ok(code) if code.bytes().all(|b| b.is_ascii_lowercase() || b == b'_') => format!("{code} ({status})"),
        _ => format!("status {status}"),
    };
    match status {
        408 | 429 | 500..=599 => TokenError::Temporary {
            problem,
            status: Some(status),
            pause: super::grades::pause(&answer.headers, now),
        },
        _ => TokenError::Refused { problem, status: Some(status) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6749, 5.1: the lifetime is a number of seconds, and optional.
    #[test]
    fn lifetimes_are_numbers_of_seconds_however_they_are_written() {
        let read = |lifetime: &str| {
            let body = format!(r#"{{"access_token": "t", "token_type": "Bearer"{lifetime}}}"#);
            read_token(body.as_bytes(), &BTreeSet::new()).map(|(_, lifetime_s)| lifetime_s).ok()
        };
        assert_eq!(read(r#", "expires_in": 600"#), Some(600));
        assert_eq!(read(r#", "expires_in": 600.0"#), Some(600));
        assert_eq!(read(r#", "expires_in": 599.9"#), Some(599));
        assert_eq!(read(r#", "expires_in": -5"#), Some(0));
        assert_eq!(read(""), Some(DEFAULT_LIFETIME_S));
        assert_eq!(read(r#", "expires_in": "soon""#), None);
    }
}
