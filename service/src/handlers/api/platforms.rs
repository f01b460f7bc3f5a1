//! Registered platforms and their deployments.

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::caller::Caller;
use super::error::ApiError;
use super::records::Failure;
use crate::app::App;
use crate::storage::{ApiRole, DeploymentId, RegistrationId};

/// A registered platform.
#[derive(Debug, Serialize, ToSchema)]
struct PlatformEntry {
    /// Its number here.
    id: i64,
    /// Its name for itself.
    issuer: String,
    /// Our name on it.
    client_id: String,
    /// Deployments that may launch.
    deployments: Vec<String>,
    /// Deployments that launched and wait for approval.
    pending: Vec<PendingEntry>,
}

/// A deployment that waits for approval.
#[derive(Debug, Serialize, ToSchema)]
struct PendingEntry {
    /// The platform's id of the deployment.
    deployment: String,
    /// When it launched first, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    first_seen_at: jiff::Timestamp,
    /// When it launched last, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    last_seen_at: jiff::Timestamp,
}

/// Lists the registered platforms with their deployments, and those that wait for approval.
#[utoipa::path(
    get, path = "/api/v1/platforms", tag = "platforms",
    responses(
        (status = 200, description = "all platforms", body = Vec<PlatformEntry>),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is neither coordinator nor auditor", body = Failure),
    )
)]
pub(crate) async fn list(caller: Caller, app: web::Data<App>) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator, ApiRole::Auditor])?;
    let pending = app.storage.pending_deployments().await?;
    let platforms = app.storage.registrations().await?.into_iter().map(|known| PlatformEntry {
        id: known.id.0,
        issuer: known.platform.issuer,
        client_id: known.platform.client_id.0,
        deployments: known.platform.deployments.into_iter().map(|id| id.0).collect(),
        pending: pending
            .iter()
            .filter(|waiting| waiting.registration == known.id)
            .map(|waiting| PendingEntry {
                deployment: waiting.deployment.0.clone(),
                first_seen_at: waiting.first_seen_at,
                last_seen_at: waiting.last_seen_at,
            })
            .collect(),
    });
    Ok(HttpResponse::Ok().json(platforms.collect::<Vec<_>>()))
}

/// A deployment to approve.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Approval {
    /// The platform's id of the deployment.
    deployment: String,
}

/// Lets a deployment launch that has launched before and waits for approval.
#[utoipa::path(
    post, path = "/api/v1/platforms/{platform}/deployments", tag = "platforms",
    params(("platform" = i64, Path, description = "the platform's number")),
    request_body = Approval,
    responses(
        (status = 204, description = "the deployment may launch from now on"),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is not coordinator", body = Failure),
        (status = 404, description = "no such platform, or the deployment does not wait", body = Failure),
    )
)]
pub(crate) async fn approve(
    caller: Caller,
    app: web::Data<App>,
    path: web::Path<i64>,
    body: web::Json<Approval>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    let platform = RegistrationId(path.into_inner());
    if app.storage.registration(platform).await?.is_none() {
        return Err(ApiError::NoPlatform(platform.0));
    }
    let deployment = DeploymentId(body.into_inner().deployment);
    if !app.storage.approve_deployment(platform, &deployment, &caller.change(&app)).await? {
        return Err(ApiError::NotPending(crate::shorten(deployment.as_str(), 64)));
    }
    Ok(HttpResponse::NoContent().finish())
}
