//! Our signing keys: where they stand, rotation.

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::caller::Caller;
use super::error::ApiError;
use super::records::Failure;
use crate::app::App;
use crate::clock::plus_ms;
use crate::lti::keys::rotation::{self, OVERLAP_MS, Stage};
use crate::storage::{ApiRole, RegistrationId};

/// A signing key. Its private part is never told.
#[derive(Debug, Serialize, ToSchema)]
struct KeyEntry {
    /// Its name in the key set.
    kid: String,
    /// The number of the platform that it signs for; absent for a key that several share.
    #[serde(skip_serializing_if = "Option::is_none")]
    platform: Option<i64>,
    /// Where it stands.
    stage: Stage,
    /// When it was made and published, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    created_at: jiff::Timestamp,
    /// From when it signs, RFC 3339.
    #[schema(value_type = String, format = DateTime)]
    signs_from: jiff::Timestamp,
    /// When it leaves the key set, if that is known, RFC 3339.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    retires_at: Option<jiff::Timestamp>,
}

/// Lists our signing keys, oldest first, retired ones among them.
#[utoipa::path(
    get, path = "/api/v1/keys", tag = "keys",
    responses(
        (status = 200, description = "all keys", body = Vec<KeyEntry>),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is neither coordinator nor auditor", body = Failure),
    )
)]
pub(crate) async fn list(caller: Caller, app: web::Data<App>) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator, ApiRole::Auditor])?;
    let (keys, now) = (app.storage.tool_keys().await?, app.clock.now());
    let entries = keys.iter().map(|key| KeyEntry {
        kid: key.kid.clone(),
        platform: key.registration.map(|id| id.0),
        stage: rotation::stage(key, &keys, now),
        created_at: key.created_at,
        signs_from: key.signs_from,
        retires_at: key.retires_at,
    });
    Ok(HttpResponse::Ok().json(entries.collect::<Vec<_>>()))
}

/// Which platform's key is rotated, and how fast.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Rotation {
    /// The platform's number.
    platform: i64,
    /// Whether the new key signs at once, instead of after a day in which platforms can learn of it.
    #[serde(default)]
    now: bool,
}

/// The new key.
#[derive(Debug, Serialize, ToSchema)]
struct NewKey {
    /// Its name in the key set.
    kid: String,
}

/// Gives a platform a new signing key. Older keys leave the key set by themselves.
#[utoipa::path(
    post, path = "/api/v1/keys/rotate", tag = "keys",
    request_body = Rotation,
    responses(
        (status = 201, description = "the new key is published", body = NewKey),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is not coordinator", body = Failure),
        (status = 404, description = "no such platform", body = Failure),
        (status = 409, description = "a new key waits already", body = Failure),
    )
)]
pub(crate) async fn rotate(
    caller: Caller,
    app: web::Data<App>,
    body: web::Json<Rotation>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    let Rotation { platform, now } = body.into_inner();
    let owner = RegistrationId(platform);
    if app.storage.registration(owner).await?.is_none() {
        return Err(ApiError::NoPlatform(platform));
    }
    let overlap_ms = if now { 0 } else { OVERLAP_MS };
    let (store, seal_key) = (app.storage.as_ref(), app.settings.seal_key.as_ref());
    let kid = rotation::rotate(store, seal_key, Some(owner), overlap_ms, &caller.change(&app)).await?;
    app.tool_keys.tend().await.map_err(rotation::RotationError::from)?;
    Ok(HttpResponse::Created().json(NewKey { kid }))
}

/// How fast a key leaves.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Retirement {
    /// Whether it leaves at once: platforms then refuse what it signed. Else it leaves in a day.
    #[serde(default)]
    now: bool,
}

/// Makes a key leave the key set, when another one signs in its place.
#[utoipa::path(
    post, path = "/api/v1/keys/{kid}/retire", tag = "keys",
    params(("kid" = String, Path, description = "the key's name")),
    request_body = Retirement,
    responses(
        (status = 204, description = "the key has a time to leave"),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is not coordinator", body = Failure),
        (status = 404, description = "the key set has no such key", body = Failure),
        (status = 409, description = "no other key would sign in its place", body = Failure),
    )
)]
pub(crate) async fn retire(
    caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
    body: web::Json<Retirement>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    let change = caller.change(&app);
    let at = if body.now { change.at } else { plus_ms(change.at, OVERLAP_MS) };
    rotation::retire(app.storage.as_ref(), &path, at, &change).await?;
    app.tool_keys.tend().await.map_err(rotation::RotationError::from)?;
    Ok(HttpResponse::NoContent().finish())
}
