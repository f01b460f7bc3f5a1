//! Switches that make the platform misbehave, so that tests can watch a tool cope: [`Fault`] for the services,
//! [`Forgery`] for launches. Set in-process on [`super::Practice`] or over HTTP under `/admin`.

use serde::{Deserialize, Serialize};
use serde_json::Value;

/// One way in which the services can fail. All but [`Fault::Unavailable`] concern incoming scores only.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "fault", rename_all = "snake_case")]
pub enum Fault {
    /// Scores are answered 429 with a `Retry-After` of this many seconds; nothing is recorded.
    TooManyRequests {
        /// Value of the `Retry-After` header.
        retry_after_s: u32,
    },
    /// Scores are answered 500; nothing is recorded.
    ServerError,
    /// Scores are processed and answered as usual, but only after this delay.
    Slow {
        /// Delay before processing, in milliseconds.
        delay_ms: u64,
    },
    /// Scores are processed, then the connection is closed without an answer: the sender cannot know.
    ConnectionCut,
    /// The access token that came with the score is revoked and the score answered 401; nothing is recorded.
    TokenRefused,
    /// The token endpoint and every service answer 503.
    Unavailable,
}

/// A fault and how often it strikes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedFault {
    /// What goes wrong.
    #[serde(flatten)]
    pub fault: Fault,
    /// For how many requests; `None` until told otherwise.
    #[serde(default)]
    pub times: Option<u32>,
}

/// One way in which an id_token can be wrong. Everything about the launch that is not named stays right.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "forgery", rename_all = "snake_case")]
pub enum Forgery {
    /// Signed by a key that is not published, under the `kid` of the one that is.
    WrongKey,
    /// Signed by an unpublished key under its own `kid`.
    UnknownKeyId,
    /// The header names no `kid`.
    MissingKeyId,
    /// One claim was changed after signing.
    ChangedPayload,
    /// `alg` is `none` and there is no signature.
    AlgorithmNone,
    /// `alg` is `HS256`, with the published key (as PEM text) for a secret.
    PublicKeyAsSecret,
    /// `exp` passed an hour ago.
    Expired,
    /// `iat` lies an hour ahead.
    IssuedInFuture,
    /// `iss` is another platform.
    WrongIssuer,
    /// `aud` is another tool.
    WrongAudience,
    /// The deployment is one that was never registered.
    UnknownDeployment,
    /// `nonce` is not the one the tool asked for.
    WrongNonce,
    /// The id_token issued last is sent again with the new `state`. Honest when none was issued before.
    Replayed,
    /// This claim is left out. Claims of the standard by their full name.
    MissingClaim {
        /// Name of the claim.
        claim: String,
    },
    /// This claim has this value instead.
    ReplacedClaim {
        /// Name of the claim.
        claim: String,
        /// Its value, of any type.
        value: Value,
    },
}

/// The switches as they are set now.
#[derive(Debug, Default)]
pub(super) struct Switches {
    planned: Option<PlannedFault>,
    forgery: Option<Forgery>,
}

impl Switches {
    pub(super) fn plan(&mut self, planned: Option<PlannedFault>) {
        self.planned = planned.filter(|planned| planned.times != Some(0));
    }

    pub(super) fn forge(&mut self, forgery: Option<Forgery>) {
        self.forgery = forgery;
    }

    pub(super) fn forgery(&self) -> Option<&Forgery> {
        self.forgery.as_ref()
    }

    /// Whether this request to any service meets a platform that is unavailable; counts as one strike.
    pub(super) fn strikes_service(&mut self) -> bool {
        self.strike(|fault| *fault == Fault::Unavailable).is_some()
    }

    /// The fault that this score meets; counts as one strike.
    pub(super) fn strikes_score(&mut self) -> Option<Fault> {
        self.strike(|fault| *fault != Fault::Unavailable)
    }

    fn strike(&mut self, concerns: impl Fn(&Fault) -> bool) -> Option<Fault> {
        let planned = self.planned.as_mut().filter(|planned| concerns(&planned.fault))?;
        let fault = planned.fault.clone();
        if let Some(times) = &mut planned.times {
            *times -= 1;
            if *times == 0 {
                self.planned = None;
            }
        }
        Some(fault)
    }
}

#[cfg(test)]
mod tests {
    use super::{Fault, PlannedFault, Switches};

    #[test]
    fn a_fault_strikes_as_often_as_planned() {
        let mut switches = Switches::default();
        switches.plan(Some(PlannedFault { fault: Fault::ServerError, times: Some(2) }));
        assert_eq!(switches.strikes_score(), Some(Fault::ServerError));
        assert!(!switches.strikes_service());
        assert_eq!(switches.strikes_score(), Some(Fault::ServerError));
        assert_eq!(switches.strikes_score(), None);
    }

    #[test]
    fn faults_are_read_from_json() {
        let planned: PlannedFault =
            serde_json::from_str(r#"{"fault":"too_many_requests","retry_after_s":2,"times":1}"#).unwrap();
        assert_eq!(
            planned,
            PlannedFault { fault: Fault::TooManyRequests { retry_after_s: 2 }, times: Some(1) }
        );
    }
}
