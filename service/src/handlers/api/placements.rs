//! Placements and the marks of their attempts.

use std::collections::BTreeMap;
use std::ops::Deref;

use actix_web::{HttpResponse, web};
use qbank::marking::Mark;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::caller::Caller;
use super::error::ApiError;
use super::records::{Failure, MarkRecord, PlacementEntry};
use crate::app::App;
use crate::handlers::opened_quiz::{best, recorded_marks};
use crate::storage::{Attempt, AttemptResult, PlacementId, UserId};

/// Which attempts' marks are wanted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Wanted {
    /// Each pupil's best attempt, the one whose grade is sent.
    #[default]
    Best,
    /// All attempts that were handed in.
    All,
}

/// Choices in the address.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(crate) struct MarksQuery {
    /// Which attempts: `best` (default) or `all`.
    #[serde(default)]
    attempts: Wanted,
}

/// Lists the placements.
#[utoipa::path(
    get, path = "/api/v1/placements", tag = "placements",
    responses(
        (status = 200, description = "all placements, newest first", body = Vec<PlacementEntry>),
        (status = 401, description = "no valid token", body = Failure),
    )
)]
pub(crate) async fn list(_caller: Caller, app: web::Data<App>) -> Result<HttpResponse, ApiError> {
    let placements = app.storage.placements().await?.into_iter().map(|placement| PlacementEntry {
        id: placement.id.to_string(),
        title: placement.quiz.title,
        pool: placement.quiz.pool.to_string(),
        questions: placement.quiz.question_count,
        attempts: placement.quiz.attempts_allowed,
        policy: placement.quiz.policy.into(),
        opens_at: placement.quiz.windows.opens_at(),
        closes_at: placement.quiz.windows.closes_at(),
        created_at: placement.quiz.created_at,
    });
    Ok(HttpResponse::Ok().json(placements.collect::<Vec<_>>()))
}

/// The marks of a placement's pupils.
#[utoipa::path(
    get, path = "/api/v1/placements/{placement}/marks", tag = "placements",
    params(("placement" = String, Path, description = "the placement's id"), MarksQuery),
    responses(
        (status = 200, description = "mark records, by pupil and attempt", body = Vec<MarkRecord>),
        (status = 401, description = "no valid token", body = Failure),
        (status = 404, description = "no such placement", body = Failure),
    )
)]
pub(crate) async fn marks(
    _caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
    query: web::Query<MarksQuery>,
) -> Result<HttpResponse, ApiError> {
    let id = PlacementId(path.into_inner());
    let placement = app.storage.placement(&id).await?;
    let placement = placement.ok_or_else(|| ApiError::NoPlacement(id.to_string()))?;
    let pool = app.pools.find(app.storage.as_ref(), &placement.quiz.pool).await?;
    let attempts = app.storage.attempts_at(&id).await?;
    let mut marks: Vec<Mark> = Vec::new();
    for result in wanted(&attempts, query.attempts) {
        marks.extend(recorded_marks(result, pool.as_deref().map(Deref::deref))?);
    }
    Ok(HttpResponse::Ok().json(marks))
}

/// The results that are wanted, of these attempts.
pub(super) fn wanted(attempts: &[Attempt], wanted: Wanted) -> Vec<&AttemptResult> {
    if wanted == Wanted::All {
        return attempts.iter().filter_map(|attempt| attempt.result.as_ref()).collect();
    }
    let mut by_pupil: BTreeMap<&UserId, Vec<&Attempt>> = BTreeMap::new();
    for attempt in attempts {
        by_pupil.entry(&attempt.user).or_default().push(attempt);
    }
    by_pupil.into_values().filter_map(best).collect()
}
