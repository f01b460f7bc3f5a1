//! Pools: loading, listing, showing.

use actix_web::http::header::{ContentType, LOCATION};
use actix_web::{HttpResponse, web};
use qbank::pool::Pool;
use qbank::question::Item;

use super::caller::Caller;
use super::error::ApiError;
use super::records::{Failure, PoolEntry, PoolFile, PoolLoaded, PoolOutline, QuestionOutline};
use crate::app::App;
use crate::storage::{ApiRole, PoolId, PutPool, StoredPool};

/// Loads a pool file after proving every question in it.
///
/// A pool with the same id is replaced, unless it is placed in courses and holds other questions.
#[utoipa::path(
    post, path = "/api/v1/pools", tag = "pools",
    request_body(content = PoolFile, description = "a pool file"),
    responses(
        (status = 201, description = "every question is proven, the pool can be placed", body = PoolLoaded),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role is not coordinator", body = Failure),
        (status = 409, description = "the pool is in use", body = Failure),
        (status = 422, description = "no pool, or a question is not proven; names it", body = Failure),
    )
)]
pub(crate) async fn load(
    caller: Caller,
    app: web::Data<App>,
    body: web::Bytes,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(&[ApiRole::Coordinator])?;
    // Proving takes seconds for a large pool, so not on the thread that serves others.
    let pool = web::block(move || prove(&body))
        .await
        .map_err(|_| ApiError::Ours("proving a pool was interrupted".into()))??;
    let stored = StoredPool::of(&pool);
    let loaded = PoolLoaded {
        id: pool.id.clone(),
        title: pool.title.clone(),
        questions: stored.item_count,
        receipt: pool.receipt(),
    };
    if app.storage.put_pool(stored).await? == PutPool::InUse {
        return Err(ApiError::PoolInUse(loaded.id));
    }
    tracing::info!(pool.id = loaded.id, questions = loaded.questions, "pool loaded");
    Ok(HttpResponse::Created().insert_header((LOCATION, format!("/api/v1/pools/{}", loaded.id))).json(loaded))
}

fn prove(body: &[u8]) -> Result<Pool, ApiError> {
    let text = std::str::from_utf8(body)
        .map_err(|error| ApiError::Pool(format!("the file is not UTF-8: {error}")))?;
    Pool::from_json(text).map_err(|error| ApiError::Pool(error.to_string()))
}

/// Lists the pools.
#[utoipa::path(
    get, path = "/api/v1/pools", tag = "pools",
    responses(
        (status = 200, description = "all pools by title", body = Vec<PoolEntry>),
        (status = 401, description = "no valid token", body = Failure),
    )
)]
pub(crate) async fn list(_caller: Caller, app: web::Data<App>) -> Result<HttpResponse, ApiError> {
    let pools = app.storage.pools().await?.into_iter().map(|pool| PoolEntry {
        id: pool.id.to_string(),
        title: pool.title,
        questions: pool.item_count,
    });
    Ok(HttpResponse::Ok().json(pools.collect::<Vec<_>>()))
}

/// Shows a pool: the whole file to a coordinator, an outline without answers to others.
#[utoipa::path(
    get, path = "/api/v1/pools/{pool}", tag = "pools",
    params(("pool" = String, Path, description = "the pool's id")),
    responses(
        (status = 200, description = "a PoolFile for a coordinator, else a PoolOutline", body = PoolOutline),
        (status = 401, description = "no valid token", body = Failure),
        (status = 404, description = "no such pool", body = Failure),
    )
)]
pub(crate) async fn show(
    caller: Caller,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, ApiError> {
    let id = PoolId(path.into_inner());
    if caller.role == ApiRole::Coordinator {
        let stored = app.storage.pool(&id).await?.ok_or_else(|| ApiError::NoPool(id.to_string()))?;
        return Ok(HttpResponse::Ok().content_type(ContentType::json()).body(stored.json));
    }
    let pool =
        app.pools.find(app.storage.as_ref(), &id).await?.ok_or_else(|| ApiError::NoPool(id.to_string()))?;
    Ok(HttpResponse::Ok().json(PoolOutline {
        id: pool.id.clone(),
        title: pool.title.clone(),
        locale: pool.locale.clone(),
        questions: pool.items().map(outline).collect(),
    }))
}

fn outline(item: &Item) -> QuestionOutline {
    QuestionOutline {
        id: item.id.to_string(),
        title: item.title.to_string(),
        standards: item.standards.iter().map(ToString::to_string).collect(),
        difficulty: item.difficulty,
        stem: item.stem.clone(),
        prompts: item.steps.iter().map(|step| step.prompt.to_string()).collect(),
        max: item.max_points(),
    }
}
