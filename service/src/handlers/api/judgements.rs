//! What the answers at a placement, taken together, are consistent with, and what to ask next.

use std::sync::Arc;

use actix_web::{HttpResponse, web};
use qbank::marking::Mark;
use qbank::pool::Pool;
use serde::Deserialize;
use utoipa::IntoParams;

use super::caller::Caller;
use super::error::ApiError;
use super::placements::{Wanted, wanted};
use super::records::Failure;
use crate::app::App;
use crate::handlers::opened_quiz::marks as stored_marks;
use crate::handlers::proven_pools::ProvenPool;
use crate::judgement::{Judgement, NextQuestion, PupilDiagnosis};
use crate::storage::PlacementId;

/// What each pupil's answers, over all attempts at a placement, are consistent with.
#[utoipa::path(
    get, path = "/api/v1/placements/{placement}/diagnoses", tag = "placements",
    params(("placement" = String, Path, description = "the placement's id")),
    responses(
        (status = 200, description = "by pupil; nothing where the answers bear no name", body = Vec<PupilDiagnosis>),
        (status = 401, description = "no valid token", body = Failure),
        (status = 404, description = "no such placement or pool", body = Failure),
    )
)]
pub(crate) async fn diagnoses(
    _caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, ApiError> {
    let (pool, marks) = answered(&app, PlacementId(path.into_inner())).await?;
    Ok(HttpResponse::Ok().json(judged(&pool, &marks).diagnoses()))
}

/// For whom questions are wanted, and how many.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(crate) struct NextQuery {
    /// The pupil's opaque id; the whole class if not given.
    pupil: Option<String>,
    /// How many questions, 1 to 20; 2 if not given.
    #[serde(default = "two")]
    count: usize,
}

fn two() -> usize {
    2
}

/// Most questions to ask next.
const NEXT_MAX: usize = 20;

/// The questions of the pool whose answers would tell most about what is still open. Only questions that the pupil
/// has not answered; for the class those that the fewest have.
#[utoipa::path(
    get, path = "/api/v1/placements/{placement}/next", tag = "placements",
    params(("placement" = String, Path, description = "the placement's id"), NextQuery),
    responses(
        (status = 200, description = "the most telling question first", body = Vec<NextQuestion>),
        (status = 400, description = "not so many questions", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 404, description = "no such placement or pool", body = Failure),
    )
)]
pub(crate) async fn next(
    _caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
    query: web::Query<NextQuery>,
) -> Result<HttpResponse, ApiError> {
    let NextQuery { pupil, count } = query.into_inner();
    if !(1..=NEXT_MAX).contains(&count) {
        return Err(ApiError::Query(format!("count is {count}; expected 1 to {NEXT_MAX}")));
    }
    let (pool, marks) = answered(&app, PlacementId(path.into_inner())).await?;
    // Some tenths of a second for a large pool and class: not on a thread that answers others.
    let questions = web::block(move || {
        let judgement = judged(&pool, &marks);
        match pupil {
            Some(pupil) => judgement.next_for(&pupil, count),
            None => judgement.next_for_class(count),
        }
    });
    let questions = questions.await.map_err(|_| ApiError::Ours("judging was broken off".into()))?;
    Ok(HttpResponse::Ok().json(questions))
}

/// A placement's pool, and all marks in the order in which they were handed in, so that newer answers count as such.
async fn answered(app: &App, id: PlacementId) -> Result<(Arc<ProvenPool>, Vec<Mark>), ApiError> {
    let placement = app.storage.placement(&id).await?.ok_or_else(|| ApiError::NoPlacement(id.to_string()))?;
    let pool = app.pools.find(app.storage.as_ref(), &placement.quiz.pool).await?;
    let pool = pool.ok_or_else(|| ApiError::NoPool(placement.quiz.pool.to_string()))?;
    let attempts = app.storage.attempts_at(&id).await?;
    let mut marks = Vec::new();
    for result in wanted(&attempts, Wanted::All) {
        marks.extend(stored_marks(result)?);
    }
    Ok((pool, marks))
}

fn judged<'p>(pool: &'p Pool, marks: &[Mark]) -> Judgement<'p> {
    let mut judgement = Judgement::of(pool);
    marks.iter().for_each(|mark| judgement.see(mark));
    judgement
}
