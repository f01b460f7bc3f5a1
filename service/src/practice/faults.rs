//! Switches that make the platform misbehave, so that tests can watch a tool cope: [`Fault`] for the services,
//! [`Forgery`] for launches. Set in-process on [`super::Practice`] or over HTTP under `/admin`.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::clock;

/// One way in which the services can fail. All but [`Fault::Unavailable`] and [`Fault::Outage`] concern incoming scores
/// only.
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
    /// The same for this long from the moment of planning, however many requests come.
    Outage {
        /// How long, in milliseconds.
        for_ms: u64,
    },
    /// Every other score is processed and answered only after this delay, so that of scores sent together the later ones
    /// count first.
    Reordered {
        /// Delay before processing, in milliseconds.
        delay_ms: u64,
    },
    /// The platform's clock runs ahead and it puts scores on record under its own time, so that a later score is answered
    /// 409 until its timestamp has caught up.
    ClockAhead {
        /// How far ahead, in milliseconds.
        ahead_ms: u64,
    },
}

impl Fault {
    fn concerns_all_services(&self) -> bool {
        matches!(self, Self::Unavailable | Self::Outage { .. })
    }
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
    /// When a planned outage is over.
    outage_until: Option<Timestamp>,
    /// How many scores the present plan has met.
    scores: u64,
    forgery: Option<Forgery>,
}

impl Switches {
    pub(super) fn plan(&mut self, planned: Option<PlannedFault>) {
        self.planned = planned.filter(|planned| planned.times != Some(0));
        self.scores = 0;
        self.outage_until = match self.planned.as_ref().map(|planned| &planned.fault) {
            Some(Fault::Outage { for_ms }) => {
                let length = SignedDuration::from_millis(i64::try_from(*for_ms).unwrap_or(i64::MAX));
                Some(clock::now().checked_add(length).unwrap_or(Timestamp::MAX))
            }
            _ => None,
        };
    }

    pub(super) fn forge(&mut self, forgery: Option<Forgery>) {
        self.forgery = forgery;
    }

    pub(super) fn forgery(&self) -> Option<&Forgery> {
        self.forgery.as_ref()
    }

    /// Whether this request to any service meets a platform that is unavailable; counts as one strike.
    pub(super) fn strikes_service(&mut self) -> bool {
        if self.outage_until.is_some_and(|until| until <= clock::now()) {
            self.plan(None);
        }
        self.strike(Fault::concerns_all_services).is_some()
    }

    /// The fault that this score meets; counts as one strike.
    pub(super) fn strikes_score(&mut self) -> Option<Fault> {
        let fault = self.strike(|fault| !fault.concerns_all_services())?;
        self.scores += 1;
        let in_turn = self.scores % 2 == 1;
        (in_turn || !matches!(fault, Fault::Reordered { .. })).then_some(fault)
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
    fn an_outage_ends_by_itself() {
        let mut switches = Switches::default();
        switches.plan(Some(PlannedFault { fault: Fault::Outage { for_ms: 60_000 }, times: None }));
        assert!(switches.strikes_service() && switches.strikes_score().is_none());
        switches.plan(Some(PlannedFault { fault: Fault::Outage { for_ms: 0 }, times: None }));
        assert!(!switches.strikes_service());
    }

    #[test]
    fn of_scores_in_another_order_every_other_one_waits() {
        let mut switches = Switches::default();
        let fault = Fault::Reordered { delay_ms: 5 };
        switches.plan(Some(PlannedFault { fault: fault.clone(), times: None }));
        let struck: Vec<_> = (0..4).map(|_| switches.strikes_score()).collect();
        assert_eq!(struck, [Some(fault.clone()), None, Some(fault), None]);
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
