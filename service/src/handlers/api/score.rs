//! Marking responses to a question of a stored pool, without an attempt.

use actix_web::{HttpResponse, web};
use qbank::marking::mark_with;

use super::caller::Caller;
use super::error::ApiError;
use super::records::{Failure, MarkRecord, ScoreRequest};
use crate::app::App;
use crate::storage::{ApiRole, PoolId};

/// Marks one pupil's responses to one question. Nothing is stored.
#[utoipa::path(
    post, path = "/api/v1/score", tag = "marking",
    request_body = ScoreRequest,
    responses(
        (status = 200, description = "the mark", body = MarkRecord),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role may not mark", body = Failure),
        (status = 404, description = "no such pool or question", body = Failure),
    )
)]
pub(crate) async fn score(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<ScoreRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator, ApiRole::Teacher])?;
    let ScoreRequest { pool, question, pupil, responses, policy } = request.into_inner();
    let found = app.pools.find(app.storage.as_ref(), &PoolId(pool.clone())).await?;
    let found = found.ok_or(ApiError::NoPool(pool))?;
    let item = found.item(&question).ok_or(ApiError::NoQuestion(question))?;
    Ok(HttpResponse::Ok().json(mark_with(item, &pupil, &responses, policy.into())))
}
