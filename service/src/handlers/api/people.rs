//! The people of a quiz, and what is held on one person. Persons are named in bodies, never in addresses: those end up in
//! logs and histories.

use std::collections::BTreeMap;

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::caller::Caller;
use super::error::ApiError;
use super::records::Failure;
use crate::app::App;
use crate::holdings::HeldRecord;
use crate::storage::{
    ApiRole, MemberStatus, Part, PersonName, PlacementId, PurgeCounts, PurgeScope, Purged, UserId,
    WaitingGrades,
};

/// A pupil of a quiz's course.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct PupilEntry {
    /// The platform's id.
    pupil: String,
    /// The name, where the service keeps names and the token's role may see them.
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// `active`, `inactive` or `deleted` (left the course).
    status: &'static str,
    /// Attempts begun.
    attempts: usize,
    /// Attempts handed in.
    handed_in: usize,
}

/// Whose data is meant.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct PersonRequest {
    /// The platform's issuer.
    issuer: String,
    /// The platform's id of the person (`sub`).
    pupil: String,
}

/// Whose data is to be deleted.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct PurgeRequest {
    /// The platform's issuer.
    issuer: String,
    /// The platform's id of the person (`sub`).
    pupil: String,
    /// Also delete grades that are not in the gradebook yet.
    #[serde(default)]
    force: bool,
    /// Only count.
    #[serde(default)]
    dry_run: bool,
}

/// What was deleted.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct PurgeAnswer {
    /// Counts: `people`, `attempts`, `grades`, `sessions`, `members`, `audit`.
    #[schema(value_type = Object)]
    deleted: PurgeCounts,
    /// Of the grades, those that had not reached the gradebook.
    unsent: usize,
    /// Whether it was only counted.
    dry_run: bool,
}

/// The pupils of a placement's course, by the class list and by attempts. Auditors see no names.
#[utoipa::path(
    get, path = "/api/v1/placements/{placement}/pupils", tag = "people",
    params(("placement" = String, Path, description = "the placement's id")),
    responses(
        (status = 200, description = "the pupils by id; preview users and teachers are left out", body = Vec<PupilEntry>),
        (status = 401, description = "no valid token", body = Failure),
        (status = 404, description = "no such placement", body = Failure),
    )
)]
pub(crate) async fn pupils(
    caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, ApiError> {
    let id = PlacementId(path.into_inner());
    if app.storage.placement(&id).await?.is_none() {
        return Err(ApiError::NoPlacement(id.to_string()));
    }
    let sees_names = matches!(caller.role, ApiRole::Coordinator | ApiRole::Teacher);
    let (members, attempts) = (app.storage.members_at(&id).await?, app.storage.attempts_at(&id).await?);
    let mut pupils: BTreeMap<&UserId, PupilEntry> = BTreeMap::new();
    let entry = |user: &UserId, status: MemberStatus| PupilEntry {
        pupil: user.to_string(),
        name: None,
        status: status.name(),
        attempts: 0,
        handed_in: 0,
    };
    for member in &members {
        let name = member.name.as_ref().filter(|_| sees_names).map(|name| PersonName::shown(name).to_owned());
        pupils.insert(&member.user, PupilEntry { name, ..entry(&member.user, member.status) });
    }
    for attempt in &attempts {
        let pupil = pupils.entry(&attempt.user).or_insert_with(|| entry(&attempt.user, MemberStatus::Active));
        pupil.attempts += 1;
        pupil.handed_in += usize::from(attempt.result.is_some());
    }
    for member in members.iter().filter(|member| member.part != Part::Pupil) {
        pupils.remove(&member.user);
    }
    Ok(HttpResponse::Ok().json(pupils.into_values().collect::<Vec<_>>()))
}

/// Gives out everything held on one person. Noted in the audit trail.
#[utoipa::path(
    post, path = "/api/v1/held", tag = "people",
    request_body = PersonRequest,
    responses(
        (status = 200, description = "all that is held; empty lists where nothing is", body = HeldRecord),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "not a coordinator", body = Failure),
        (status = 404, description = "no such platform", body = Failure),
    )
)]
pub(crate) async fn held(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<PersonRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    let PersonRequest { issuer, pupil } = request.into_inner();
    if app.storage.registrations_of(&issuer).await?.is_empty() {
        return Err(ApiError::NoIssuer(issuer));
    }
    let (pupil, change) = (UserId(pupil), caller.change(&app));
    let held = app.storage.held(&issuer, &pupil, &change).await?;
    Ok(HttpResponse::Ok().json(HeldRecord::new(&issuer, &pupil, change.at, held)))
}

/// Deletes everything held on one person. Noted in the audit trail, without the person.
#[utoipa::path(
    post, path = "/api/v1/purge", tag = "people",
    request_body = PurgeRequest,
    responses(
        (status = 200, description = "deleted, or counted with dry_run", body = PurgeAnswer),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "not a coordinator", body = Failure),
        (status = 404, description = "no such platform", body = Failure),
        (status = 409, description = "grades are not in the gradebook yet, and force was not set", body = Failure),
    )
)]
pub(crate) async fn purge(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<PurgeRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    let PurgeRequest { issuer, pupil, force, dry_run } = request.into_inner();
    let scope = PurgeScope::Pupil { issuer: issuer.clone(), user: UserId(pupil) };
    let waiting = if force { WaitingGrades::Delete } else { WaitingGrades::Refuse };
    match app.storage.purge(&scope, waiting, dry_run, &caller.change(&app)).await? {
        Purged::Done { counts, waiting } => {
            if !dry_run {
                // The data is gone either way; traces in the store's log are overwritten later at the latest.
                if let Err(error) = app.storage.clear_traces(false).await {
                    tracing::warn!(%error, "the store's log of changes could not be emptied after a purge");
                }
                tracing::info!(attempts = counts.attempts, "what was held on a person was deleted");
            }
            Ok(HttpResponse::Ok().json(PurgeAnswer { deleted: counts, unsent: waiting, dry_run }))
        }
        Purged::GradesWaiting(grades) => Err(ApiError::GradesWaiting(grades)),
        // Only a course can be in several deployments.
        Purged::NoPlatform | Purged::SeveralCourses => Err(ApiError::NoIssuer(issuer)),
    }
}
