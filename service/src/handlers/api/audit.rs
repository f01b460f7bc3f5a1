//! The audit trail, for coordinators and auditors.

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::caller::Caller;
use super::error::ApiError;
use super::records::Failure;
use crate::app::App;
use crate::storage::{ApiRole, AuditEntry, AuditQuery, PlacementId, RegistrationId};

/// How many entries one answer holds if the address does not say, and at most.
const ENTRIES: usize = 100;
const ENTRIES_MAX: usize = 1000;

/// Which entries are wanted.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(crate) struct TrailQuery {
    /// Only those about this platform, by its number.
    platform: Option<i64>,
    /// Only those about this placement.
    placement: Option<String>,
    /// Only those before this entry: `next` of the answer before.
    before: Option<i64>,
    /// At most so many, 1 to 1000; 100 if not given.
    limit: Option<usize>,
}

/// A part of the trail, newest first.
#[derive(Debug, Serialize, ToSchema)]
struct Trail {
    /// The entries.
    entries: Vec<TrailEntry>,
    /// Asks for older entries as `before`; absent where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<i64>,
}

/// What was changed, when and by whom.
#[derive(Debug, Serialize, ToSchema)]
struct TrailEntry {
    /// Grows with every entry.
    id: i64,
    /// When, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    at: jiff::Timestamp,
    /// Who, in words.
    by: String,
    /// What was done: a stable name such as `registration_changed`.
    action: &'static str,
    /// The number of the platform concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    platform: Option<i64>,
    /// The placement concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    placement: Option<String>,
    /// The platform's opaque id of the pupil concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pupil: Option<String>,
    /// The rest, in words.
    detail: String,
}

impl From<AuditEntry> for TrailEntry {
    fn from(entry: AuditEntry) -> Self {
        Self {
            id: entry.id,
            at: entry.change.at,
            by: entry.change.by.to_string(),
            action: entry.action.name(),
            platform: entry.subject.registration.map(|id| id.0),
            placement: entry.subject.placement.map(|id| id.0),
            pupil: entry.subject.user.map(|id| id.0),
            detail: entry.detail,
        }
    }
}

/// Lists the audit trail, newest first.
#[utoipa::path(
    get, path = "/api/v1/audit", tag = "audit",
    params(TrailQuery),
    responses(
        (status = 200, description = "entries, and where older ones begin", body = Trail),
        (status = 400, description = "a choice in the address cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is neither coordinator nor auditor", body = Failure),
    )
)]
pub(crate) async fn list(
    caller: Caller,
    app: web::Data<App>,
    query: web::Query<TrailQuery>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator, ApiRole::Auditor])?;
    let TrailQuery { platform, placement, before, limit } = query.into_inner();
    let limit = limit.unwrap_or(ENTRIES);
    if !(1..=ENTRIES_MAX).contains(&limit) {
        return Err(ApiError::Query(format!("limit must be from 1 to {ENTRIES_MAX}")));
    }
    // One more than wanted tells whether there are older ones.
    let query = AuditQuery {
        registration: platform.map(RegistrationId),
        placement: placement.map(PlacementId),
        before,
        limit: limit + 1,
    };
    let mut entries: Vec<TrailEntry> =
        app.storage.audit(&query).await?.into_iter().map(TrailEntry::from).collect();
    let more = entries.len() > limit;
    entries.truncate(limit);
    let next = entries.last().filter(|_| more).map(|entry| entry.id);
    Ok(HttpResponse::Ok().json(Trail { entries, next }))
}
