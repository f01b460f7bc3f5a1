//! For those who run the service: is it alive, is it ready, how is it doing.

use actix_web::http::header::{CACHE_CONTROL, ContentType};
use actix_web::{HttpResponse, web};

use serde_json::json;

use crate::app::App;
use crate::server::standing;

/// `GET /health/live`: the process answers.
pub async fn live() -> HttpResponse {
    HttpResponse::Ok().content_type(ContentType::plaintext()).body("alive\n")
}

/// `GET /health/ready`: it should get requests; if not, `reason` says why: `draining`, `requests`, `queue`, `disk` or `store`.
pub async fn ready(app: web::Data<App>) -> HttpResponse {
    let Some(why) = standing::not_ready(&app).await else {
        return HttpResponse::Ok().insert_header((CACHE_CONTROL, "no-store")).json(json!({ "ready": true }));
    };
    let (reason, explanation) = why.told();
    HttpResponse::ServiceUnavailable()
        .insert_header((CACHE_CONTROL, "no-store"))
        .json(json!({ "ready": false, "reason": reason, "explanation": explanation }))
}

/// `GET /metrics`, also while the store does not answer.
pub async fn metrics(app: web::Data<App>) -> HttpResponse {
    let queue = match app.storage.delivery_queue().await {
        Ok(queue) => Some(queue),
        Err(error) => {
            tracing::error!(%error, "the delivery queue could not be read");
            None
        }
    };
    let ready = standing::not_ready(&app).await.is_none();
    HttpResponse::Ok()
        .content_type("application/openmetrics-text; version=1.0.0; charset=utf-8")
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(app.metrics.render(queue, ready, app.clock.as_ref()))
}
