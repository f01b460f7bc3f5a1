//! Names and role provisioning (NRPS): reading who is in a course.
//!
//! Learners only are asked for, since only they are counted. A list comes in pages; a platform that tells later changes
//! at an address of their own (`rel="differences"`) is asked for those next time. One call of [`RosterService::read`]
//! is one try. Names are dropped here unless the service is set to keep them.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use reqwest::StatusCode;
use reqwest::header::ACCEPT;
use serde::Deserialize;
use serde_json::Value;
use url::Url;

use super::access_token::{AccessTokens, TokenError};
use super::link_header::ForeignOrigin;
use super::outgoing::{self, Answer, CallError};
use super::{is_identifier, link_header, person_name, roles, vocabulary as v};
use crate::settings::Reach;
use crate::storage::{Member, MemberStatus, Part, Placement, Registration, Roster, RosterReading, UserId};

/// How many people a page should have; platforms may give more or fewer.
const PAGE_WANTED: u32 = 200;
/// How many pages are read.
const PAGES_MAX: usize = 100;
/// How many people are taken in.
const MEMBERS_MAX: usize = 20_000;

/// Why a list could not be read, in words for a teacher.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
enum RosterError {
    /// The platform does not take this question; a simpler one may do.
    #[error("the course does not give its class list ({0})")]
    Refused(StatusCode),
    /// Anything else.
    #[error("{0}")]
    Failed(String),
}

impl From<TokenError> for RosterError {
    fn from(error: TokenError) -> Self {
        Self::Failed(error.to_string())
    }
}

impl From<CallError> for RosterError {
    fn from(error: CallError) -> Self {
        Self::Failed(error.to_string())
    }
}

#[derive(Deserialize)]
struct Container {
    members: Vec<Entry>,
}

/// A member as the platform tells it. Only `user_id` and `roles` are relied on (NRPS 2.2).
#[derive(Deserialize)]
struct Entry {
    user_id: String,
    #[serde(default)]
    roles: Vec<String>,
    #[serde(flatten)]
    optional: serde_json::Map<String, Value>,
}

/// People as read, and where later changes are told.
struct Listed {
    members: Vec<Member>,
    differences: Option<Url>,
}

/// Who and what is asked.
#[derive(Clone, Copy)]
struct Asked<'a> {
    registration: &'a Registration,
    placement: &'a Placement,
    /// Whether names are kept.
    names: bool,
    now: Timestamp,
}

/// Calls to platforms' class lists.
pub(crate) struct RosterService {
    client: reqwest::Client,
    reach: Reach,
    tokens: AccessTokens,
}

impl RosterService {
    pub(crate) fn new(client: reqwest::Client, reach: Reach, tokens: AccessTokens) -> Self {
        Self { client, reach, tokens }
    }

    /// Reads what changed where the platform tells that, else the whole list.
    pub(crate) async fn read(
        &self,
        registration: &Registration,
        placement: &Placement,
        roster: &Roster,
        names: bool,
        now: Timestamp,
    ) -> RosterReading {
        let asked = Asked { registration, placement, names, now };
        if let Some(differences) = &roster.differences {
            match self.pages(asked, differences.clone()).await {
                Ok(Listed { members, differences }) => {
                    return RosterReading::Changes { members, differences };
                }
                // The address may have grown too old: the whole list is always there.
                Err(RosterError::Refused(_)) => {}
                Err(error) => return RosterReading::Failed { problem: error.to_string() },
            }
        }
        match self.whole(asked, &roster.url).await {
            Ok(Listed { members, differences }) => RosterReading::Whole { members, differences },
            Err(error) => RosterReading::Failed { problem: error.to_string() },
        }
    }

    /// The learners who can see the link; all learners of the course where the platform does not answer for one link;
    /// everybody where it does not answer for a role.
    async fn whole(&self, asked: Asked<'_>, url: &Url) -> Result<Listed, RosterError> {
        let link = asked.placement.quiz.link.resource_link.as_str();
        let learners: [(&str, &str); 1] = [("role", v::LEARNER_ROLE)];
        let of_link = [learners[0], ("rlid", link)];
        for filters in [&of_link[..], &learners[..]] {
            match self.pages(asked, filtered(url, filters)).await {
                // A class without learners is more likely a filter that the platform does not understand.
                Ok(listed) if listed.members.is_empty() => {}
                Err(RosterError::Refused(_)) => {}
                other => return other,
            }
        }
        self.pages(asked, filtered(url, &[])).await
    }

    /// All pages from `first` on.
    async fn pages(&self, asked: Asked<'_>, first: Url) -> Result<Listed, RosterError> {
        let mut members = BTreeMap::new();
        let mut differences = None;
        let mut seen = BTreeSet::new();
        let mut page = first;
        for _ in 0..PAGES_MAX {
            let answer = self.call(asked, &page).await?;
            let container: Container = serde_json::from_slice(&answer.body)
                .map_err(|_| RosterError::Failed("the course's class list cannot be read".into()))?;
            members.extend(container.members.iter().filter_map(|entry| member(entry, asked)));
            if members.len() > MEMBERS_MAX {
                return Err(RosterError::Failed("the course's class list is too long".into()));
            }
            // The first page's address was issued first, so it misses no change.
            let related = |relation| link_header::related(&answer.headers, &page, relation);
            // One elsewhere is as good as none: then the whole list is read next time, too.
            differences = differences.or_else(|| related("differences").ok().flatten());
            // But a list whose next page is elsewhere is not whole.
            let next = related("next").map_err(|ForeignOrigin| {
                RosterError::Failed("the course's class list goes on at another server".into())
            })?;
            seen.insert(page);
            match next {
                None => return Ok(Listed { members: members.into_values().collect(), differences }),
                Some(next) if seen.contains(&next) => break,
                Some(next) => page = next,
            }
        }
        Err(RosterError::Failed("the course's class list does not come to an end".into()))
    }

    /// One page; a refused token is dropped and the call made once more with a new one.
    async fn call(&self, asked: Asked<'_>, page: &Url) -> Result<Answer, RosterError> {
        let deployment = &asked.placement.quiz.link.deployment;
        let scopes = BTreeSet::from([v::SCOPE_ROSTER.to_owned()]);
        let token = self.tokens.token(asked.registration, deployment, &scopes).await?;
        let mut answer = self.call_once(page, token.as_str()).await?;
        if answer.status == StatusCode::UNAUTHORIZED {
            self.tokens.forget(asked.registration, deployment, &scopes, &token).await;
            let token = self.tokens.token(asked.registration, deployment, &scopes).await?;
            answer = self.call_once(page, token.as_str()).await?;
        }
        match answer.status {
            status if status.is_success() => Ok(answer),
            status @ (StatusCode::UNAUTHORIZED
            | StatusCode::REQUEST_TIMEOUT
            | StatusCode::TOO_MANY_REQUESTS) => {
                Err(RosterError::Failed(format!("the course does not answer just now ({status})")))
            }
            status if status.is_client_error() || status == StatusCode::NOT_IMPLEMENTED => {
                Err(RosterError::Refused(status))
            }
            status => Err(RosterError::Failed(format!("the course does not answer just now ({status})"))),
        }
    }

    async fn call_once(&self, page: &Url, token: &str) -> Result<Answer, CallError> {
        let request = self.client.get(page.clone()).bearer_auth(token).header(ACCEPT, v::MEDIA_MEMBERS);
        outgoing::send(self.reach, page, request).await
    }
}

/// The list's address with these filters and a wish for large pages; its own query stays.
fn filtered(url: &Url, filters: &[(&str, &str)]) -> Url {
    let mut url = url.clone();
    url.query_pairs_mut().extend_pairs(filters).append_pair("limit", &PAGE_WANTED.to_string());
    url
}

/// A member as we keep them; none for an id that launches could not carry.
fn member(entry: &Entry, asked: Asked<'_>) -> Option<(UserId, Member)> {
    if !is_identifier(&entry.user_id) {
        return None;
    }
    let user = UserId(entry.user_id.clone());
    let roles: Vec<&str> = entry.roles.iter().map(String::as_str).collect();
    let part = roles::part(&roles);
    let text = |name: &str| entry.optional.get(name).and_then(Value::as_str);
    let status = match text("status") {
        Some("Inactive") => MemberStatus::Inactive,
        Some("Deleted") => MemberStatus::Deleted,
        _ => MemberStatus::Active,
    };
    let name = (asked.names && part == Part::Pupil).then(|| person_name(text)).flatten();
    Some((user.clone(), Member { user, part, status, name, seen_at: asked.now }))
}
