//! Assignment and grade services: finding a link's line item and sending scores to it.
//!
//! One call here is one try. What follows from an answer (wait, park, try again) is the delivery worker's decision.

use std::collections::BTreeSet;
use std::time::Duration;

use jiff::Timestamp;
use reqwest::header::{ACCEPT, CONTENT_TYPE, HeaderMap, RETRY_AFTER};
use reqwest::{Method, StatusCode};
use serde::{Deserialize, Serialize};
use serde_json::json;
use url::Url;

use super::access_token::{AccessTokens, TokenError};
use super::link_header;
use super::outgoing::{self, Answer, CallError};
use super::vocabulary as v;
use crate::settings::Reach;
use crate::storage::{LeasedGrade, Placement, Registration};

/// How many pages of a list of line items are read.
const PAGES_MAX: usize = 20;

/// A score as the standard writes it. Points are sent as given, the platform rescales them.
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
    /// Points given.
    pub score_given: u32,
    /// Points possible.
    pub score_maximum: u32,
    /// When the attempt began and ended.
    pub submission: SubmissionTimes,
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
    /// The final score of an automatically marked attempt.
    pub fn of(grade: &LeasedGrade) -> Self {
        Self {
            user_id: grade.user.0.clone(),
            timestamp: with_milliseconds(grade.timestamp),
            activity_progress: "Completed",
            grading_progress: "FullyGraded",
            score_given: grade.points,
            score_maximum: grade.maximum,
            submission: SubmissionTimes {
                started_at: with_milliseconds(grade.started_at),
                submitted_at: with_milliseconds(grade.submitted_at),
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
    },
    /// The platform has a score with a later timestamp.
    OlderThanKnown,
    /// The line item or the learner is gone.
    Gone,
    /// Trying again would not help.
    Permanent {
        /// What happened.
        problem: String,
    },
}

impl GradeError {
    fn permanent(problem: impl Into<String>) -> Self {
        Self::Permanent { problem: problem.into() }
    }

    fn temporary(problem: impl Into<String>) -> Self {
        Self::Temporary { problem: problem.into(), pause: None }
    }
}

impl From<TokenError> for GradeError {
    fn from(error: TokenError) -> Self {
        match error {
            TokenError::Temporary(_) => Self::temporary(error.to_string()),
            TokenError::Refused(_) => Self::permanent(error.to_string()),
        }
    }
}

impl From<CallError> for GradeError {
    fn from(error: CallError) -> Self {
        match error {
            CallError::Address => Self::permanent(error.to_string()),
            _ => Self::temporary(error.to_string()),
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
struct LineItem {
    id: Url,
    resource_link_id: Option<String>,
    resource_id: Option<String>,
    tag: Option<String>,
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

    /// Finds the placement's line item by its link, or makes one where the platform allows it.
    pub(crate) async fn find_line_item(
        &self,
        registration: &Registration,
        placement: &Placement,
        maximum: u32,
        now: Timestamp,
    ) -> Result<Url, GradeError> {
        let grades = placement.quiz.grades.as_ref();
        let container = grades
            .and_then(|grades| grades.line_items.as_ref())
            .ok_or_else(|| GradeError::permanent("the platform takes no grades for this link"))?;
        let may = |scope: &str| grades.is_some_and(|grades| grades.scopes.contains(scope));
        let scope = if may(v::SCOPE_LINE_ITEM) {
            v::SCOPE_LINE_ITEM
        } else if may(v::SCOPE_LINE_ITEM_READ) {
            v::SCOPE_LINE_ITEM_READ
        } else {
            return Err(GradeError::permanent(
                "the platform does not let us look for this link's gradebook column",
            ));
        };
        let listed = self.list_line_items(registration, placement, container, scope, now).await?;
        let (mut ours, others): (Vec<_>, Vec<_>) = listed.into_iter().partition(|item| {
            item.tag.as_deref() == Some("grade")
                || item.resource_id.as_deref() == Some(placement.quiz.resource_id.as_str())
        });
        let found = if ours.is_empty() { others } else { std::mem::take(&mut ours) };
        match (found.len(), scope) {
            (0, v::SCOPE_LINE_ITEM) => {
                self.make_line_item(registration, placement, container, maximum, now).await
            }
            (0, _) => Err(GradeError::permanent("this link has no column in the gradebook")),
            (1, _) | (_, v::SCOPE_LINE_ITEM) => Ok(found.into_iter().next().expect("at least one").id),
            _ => Err(GradeError::permanent("this link has several columns in the gradebook")),
        }
    }

    /// The line items of the placement's link, all pages.
    async fn list_line_items(
        &self,
        registration: &Registration,
        placement: &Placement,
        container: &Url,
        scope: &'static str,
        now: Timestamp,
    ) -> Result<Vec<LineItem>, GradeError> {
        let link = placement.quiz.link.resource_link.as_str();
        let mut page = container.clone();
        page.query_pairs_mut().append_pair("resource_link_id", link);
        let mut found = Vec::new();
        for _ in 0..PAGES_MAX {
            let call = Call {
                method: Method::GET,
                url: page.clone(),
                scope,
                accept: Some(v::MEDIA_LINE_ITEMS),
                content: None,
            };
            let answer = self.call(registration, placement, &call).await?;
            if !answer.status.is_success() {
                return Err(refusal(&answer, now));
            }
            let items: Vec<LineItem> = serde_json::from_slice(&answer.body).map_err(|_| {
                GradeError::permanent("the platform's list of gradebook columns cannot be read")
            })?;
            // Some platforms ignore the filter; a column of another link is never ours.
            found.extend(items.into_iter().filter(|item| item.resource_link_id.as_deref() == Some(link)));
            match link_header::related(&answer.headers, &page, "next").unwrap_or(None) {
                Some(next) if next != page => page = next,
                _ => break,
            }
        }
        Ok(found)
    }

    async fn make_line_item(
        &self,
        registration: &Registration,
        placement: &Placement,
        container: &Url,
        maximum: u32,
        now: Timestamp,
    ) -> Result<Url, GradeError> {
        let quiz = &placement.quiz;
        let call = Call {
            method: Method::POST,
            url: container.clone(),
            scope: v::SCOPE_LINE_ITEM,
            accept: Some(v::MEDIA_LINE_ITEM),
            content: Some((
                v::MEDIA_LINE_ITEM,
                to_json(&json!({
                    "label": quiz.title,
                    "scoreMaximum": maximum,
                    "resourceLinkId": quiz.link.resource_link,
                    "resourceId": quiz.resource_id,
                    "tag": "grade",
                })),
            )),
        };
        let answer = self.call(registration, placement, &call).await?;
        if !answer.status.is_success() {
            return Err(refusal(&answer, now));
        }
        serde_json::from_slice::<LineItem>(&answer.body)
            .map(|made| made.id)
            .map_err(|_| GradeError::permanent("the platform's new gradebook column cannot be read"))
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

/// `line_item` with a segment added to its path; its query stays.
fn below(line_item: &Url, segment: &str) -> Url {
    let mut url = line_item.clone();
    url.set_path(&format!("{}/{segment}", line_item.path().trim_end_matches('/')));
    url
}

/// What a status other than success means.
fn refusal(answer: &Answer, now: Timestamp) -> GradeError {
    match answer.status.as_u16() {
        401 => GradeError::permanent("the platform does not accept our access token (401)"),
        403 => {
            GradeError::permanent("the platform does not allow grades here; the activity may be closed (403)")
        }
        404 => GradeError::Gone,
        409 => GradeError::OlderThanKnown,
        status @ (408 | 429 | 500..=599) => GradeError::Temporary {
            problem: format!("the platform is busy or out of order ({status})"),
            pause: pause(&answer.headers, now),
        },
        status => GradeError::permanent(format!("the platform does not understand our message ({status})")),
    }
}

/// The pause a platform asks for: seconds, or a date.
fn pause(headers: &HeaderMap, now: Timestamp) -> Option<Duration> {
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

    fn headers(name: reqwest::header::HeaderName, value: &str) -> HeaderMap {
        HeaderMap::from_iter([(name, value.parse().unwrap())])
    }

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
        let read = |value| pause(&headers(RETRY_AFTER, value), now);
        assert_eq!(read("120"), Some(Duration::from_secs(120)));
        assert_eq!(read("Tue, 07 Jan 2025 09:31:30 GMT"), Some(Duration::from_secs(90)));
        assert_eq!(read("Tue, 07 Jan 2025 09:00:00 GMT"), None);
        assert_eq!(read("soon"), None);
    }
}
