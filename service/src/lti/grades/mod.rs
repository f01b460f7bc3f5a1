//! Assignment and grade services: finding a link's line item, sending scores to it, reading results back.
//!
//! One call here is one try. What follows from an answer (wait, park, try again) is the delivery worker's decision.

mod line_items;
mod paging;
mod results;

use std::collections::BTreeSet;
use std::time::Duration;

use jiff::Timestamp;
use reqwest::header::{ACCEPT, CONTENT_TYPE, HeaderMap, RETRY_AFTER};
use reqwest::{Method, StatusCode};
use serde::Serialize;
use url::Url;

use super::access_token::{AccessTokens, TokenError};
use super::outgoing::{self, Answer, CallError};
use super::vocabulary as v;
use crate::settings::Reach;
use crate::storage::{LeasedGrade, Placement, Progress, Registration};

pub(crate) use line_items::NewColumn;
pub(crate) use results::Results;

/// A score as the standard writes it (AGS 2.0, 3.4). Points are sent as given, the platform rescales them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct ScoreMessage {
    /// The learner.
    pub user_id: String,
    /// RFC 3339 with milliseconds; later than any sent before for this learner and line item.
    pub timestamp: String,
    /// How far the learner is.
    pub activity_progress: &'static str,
    /// How far grading is.
    pub grading_progress: &'static str,
    /// Points given and possible; without them the platform clears an earlier score.
    #[serde(flatten)]
    pub score: Option<GivenScore>,
    /// When the attempt began and ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub submission: Option<SubmissionTimes>,
}

/// Points of an attempt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct GivenScore {
    /// Points given.
    pub score_given: u32,
    /// Points possible.
    pub score_maximum: u32,
}

/// When an attempt began and ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct SubmissionTimes {
    /// RFC 3339.
    pub started_at: String,
    /// RFC 3339.
    pub submitted_at: String,
}

impl ScoreMessage {
    /// The message as the natural pairs of progress have it: a started quiz, an automatically marked one, a reset one.
    pub fn of(grade: &LeasedGrade) -> Self {
        let message = |activity_progress, grading_progress| Self {
            user_id: grade.user.0.clone(),
            timestamp: with_milliseconds(grade.timestamp),
            activity_progress,
            grading_progress,
            score: None,
            submission: None,
        };
        match &grade.progress {
            Progress::Started => message("Started", "NotReady"),
            Progress::Reset => message("Initialized", "NotReady"),
            Progress::Graded { score, started_at, submitted_at } => Self {
                score: Some(GivenScore { score_given: score.points, score_maximum: score.maximum }),
                submission: Some(SubmissionTimes {
                    started_at: with_milliseconds(*started_at),
                    submitted_at: with_milliseconds(*submitted_at),
                }),
                ..message("Completed", "FullyGraded")
            },
        }
    }
}

/// The standard demands a fraction of a second, also when it is zero.
fn with_milliseconds(time: Timestamp) -> String {
    format!("{time:.3}")
}

/// Why a grade did not reach the gradebook at this try. Texts are for teachers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum GradeError {
    /// Worth trying again, not before the given pause if the platform named one.
    Temporary {
        /// What happened.
        problem: String,
        /// The pause the platform asks for.
        pause: Option<Duration>,
        /// What was answered; none when nothing was.
        status: Option<u16>,
    },
    /// The platform has a score with a later timestamp.
    OlderThanKnown,
    /// The line item or the learner is gone.
    Gone,
    /// Trying again would not help.
    Permanent {
        /// What happened.
        problem: String,
        /// What was answered; none when it did not come to a call.
        status: Option<u16>,
    },
}

impl GradeError {
    fn permanent(problem: impl Into<String>) -> Self {
        Self::Permanent { problem: problem.into(), status: None }
    }

    /// The class of the status for counting: `4xx`, `5xx`, `none` when the platform did not answer, `ours` when it was not
    /// asked.
    pub(crate) fn class(&self) -> &'static str {
        match self {
            Self::OlderThanKnown | Self::Gone => "4xx",
            Self::Temporary { status: None, .. } => "none",
            Self::Permanent { status: None, .. } => "ours",
            Self::Temporary { status: Some(500..), .. } | Self::Permanent { status: Some(500..), .. } => {
                "5xx"
            }
            Self::Temporary { .. } | Self::Permanent { .. } => "4xx",
        }
    }
}

impl From<TokenError> for GradeError {
    fn from(error: TokenError) -> Self {
        let problem = error.to_string();
        match error {
            TokenError::Temporary { status, pause, .. } => Self::Temporary { problem, pause, status },
            TokenError::Refused { status, .. } => Self::Permanent { problem, status },
        }
    }
}

impl From<CallError> for GradeError {
    fn from(error: CallError) -> Self {
        match error {
            CallError::Address => Self::permanent(error.to_string()),
            _ => Self::Temporary { problem: error.to_string(), pause: None, status: None },
        }
    }
}

/// Calls to platforms' grade services.
pub(crate) struct GradeService {
    client: reqwest::Client,
    reach: Reach,
    tokens: AccessTokens,
}

impl GradeService {
    pub(crate) fn new(client: reqwest::Client, reach: Reach, tokens: AccessTokens) -> Self {
        Self { client, reach, tokens }
    }

    /// Sends one score to `line_item`.
    pub(crate) async fn send_score(
        &self,
        registration: &Registration,
        placement: &Placement,
        line_item: &Url,
        score: &ScoreMessage,
        now: Timestamp,
    ) -> Result<(), GradeError> {
        let call = Call {
            method: Method::POST,
            url: below(line_item, "scores"),
            scope: v::SCOPE_SCORE,
            accept: None,
            content: Some((v::MEDIA_SCORE, to_json(score))),
        };
        let answer = self.call(registration, placement, &call).await?;
        if answer.status.is_success() { Ok(()) } else { Err(refusal(&answer, now)) }
    }

    /// Makes one call; a refused token is dropped and the call made once more with a new one.
    async fn call(
        &self,
        registration: &Registration,
        placement: &Placement,
        call: &Call,
    ) -> Result<Answer, GradeError> {
        let deployment = &placement.quiz.link.deployment;
        let scopes = BTreeSet::from([call.scope.to_owned()]);
        let token = self.tokens.token(registration, deployment, &scopes).await?;
        let answer = self.call_once(call, token.as_str()).await?;
        if answer.status != StatusCode::UNAUTHORIZED {
            return Ok(answer);
        }
        self.tokens.forget(registration, deployment, &scopes, &token).await;
        let token = self.tokens.token(registration, deployment, &scopes).await?;
        Ok(self.call_once(call, token.as_str()).await?)
    }

    async fn call_once(&self, call: &Call, token: &str) -> Result<Answer, CallError> {
        let mut request = self.client.request(call.method.clone(), call.url.clone()).bearer_auth(token);
        if let Some(accept) = call.accept {
            request = request.header(ACCEPT, accept);
        }
        if let Some((media_type, body)) = &call.content {
            request = request.header(CONTENT_TYPE, *media_type).body(body.clone());
        }
        outgoing::send(self.reach, &call.url, request).await
    }
}

/// One call to a grade service.
struct Call {
    method: Method,
    url: Url,
    scope: &'static str,
    accept: Option<&'static str>,
    content: Option<(&'static str, Vec<u8>)>,
}

fn to_json<T: Serialize>(value: &T) -> Vec<u8> {
    serde_json::to_vec(value).expect("messages are plain records with text keys")
}

/// `line_item` with a segment added to its path; its query stays (AGS 2.0: `/scores` and `/results` go to the path).
fn below(line_item: &Url, segment: &str) -> Url {
    let mut url = line_item.clone();
    url.set_path(&format!("{}/{segment}", line_item.path().trim_end_matches('/')));
    url
}

/// What a status other than success means.
fn refusal(answer: &Answer, now: Timestamp) -> GradeError {
    let status = answer.status.as_u16();
    let permanent = |problem: &str| GradeError::Permanent { problem: problem.into(), status: Some(status) };
    match status {
        401 => permanent("the platform does not accept our access token (401)"),
        403 => permanent("the platform does not allow grades here; the activity may be closed (403)"),
        404 => GradeError::Gone,
        409 => GradeError::OlderThanKnown,
        408 | 429 | 500..=599 => GradeError::Temporary {
            problem: format!("the platform is busy or out of order ({status})"),
            pause: pause(&answer.headers, now),
            status: Some(status),
        },
        _ => permanent(&format!("the platform does not understand our message ({status})")),
    }
}

/// The pause a platform asks for: seconds, or a date.
pub(super) fn pause(headers: &HeaderMap, now: Timestamp) -> Option<Duration> {
    let text = headers.get(RETRY_AFTER)?.to_str().ok()?.trim();
    if let Ok(seconds) = text.parse::<u64>() {
        return Some(Duration::from_secs(seconds));
    }
    let date = jiff::fmt::rfc2822::parse(text).ok()?.timestamp();
    Duration::try_from(date.duration_since(now)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scores_are_below_the_path_and_the_query_stays() {
        let url = |text: &str| text.parse::<Url>().unwrap();
        assert_eq!(below(&url("https://p.test/li/5?t=1"), "scores"), url("https://p.test/li/5/scores?t=1"));
        assert_eq!(below(&url("https://p.test/li/5/"), "scores"), url("https://p.test/li/5/scores"));
    }

    #[test]
    fn a_timestamp_always_has_milliseconds_and_a_zone() {
        let at = |text: &str| with_milliseconds(text.parse().unwrap());
        assert_eq!(at("2025-01-07T09:30:00Z"), "2025-01-07T09:30:00.000Z");
        assert_eq!(at("2025-01-07T09:30:00.125Z"), "2025-01-07T09:30:00.125Z");
    }

    #[test]
    fn reads_a_pause_in_seconds_or_as_a_date() {
        let now = "2025-01-07T09:30:00Z".parse().unwrap();
        let read = |value: &str| pause(&HeaderMap::from_iter([(RETRY_AFTER, value.parse().unwrap())]), now);
        assert_eq!(read("120"), Some(Duration::from_secs(120)));
        assert_eq!(read("Tue, 07 Jan 2025 09:31:30 GMT"), Some(Duration::from_secs(90)));
        assert_eq!(read("Tue, 07 Jan 2025 09:00:00 GMT"), None);
        assert_eq!(read("soon"), None);
    }
}
