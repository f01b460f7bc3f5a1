//! For those who run the service: is it alive, is it ready, how is it doing.

use actix_web::http::header::{CACHE_CONTROL, ContentType};
use actix_web::{HttpResponse, web};

use crate::app::App;

/// `GET /health/live`: the process answers.
pub async fn live() -> HttpResponse {
    HttpResponse::Ok().content_type(ContentType::plaintext()).body("alive\n")
}

/// `GET /health/ready`: the store answers too.
pub async fn ready(app: web::Data<App>) -> HttpResponse {
    match app.storage.ping().await {
        Ok(()) => HttpResponse::Ok().content_type(ContentType::plaintext()).body("ready\n"),
        Err(error) => {
            tracing::error!(%error, "the store does not answer");
            HttpResponse::ServiceUnavailable().content_type(ContentType::plaintext()).body("store\n")
        }
    }
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
    HttpResponse::Ok()
        .content_type("application/openmetrics-text; version=1.0.0; charset=utf-8")
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(app.metrics.render(queue, app.clock.as_ref()))
}
