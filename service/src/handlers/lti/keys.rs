//! `GET /lti/keys`: our public keys.

use actix_web::http::header::CACHE_CONTROL;
use actix_web::{HttpResponse, web};

use crate::app::App;

/// Answers with our key set.
pub async fn get(app: web::Data<App>) -> HttpResponse {
    HttpResponse::Ok().insert_header((CACHE_CONTROL, "public, max-age=3600")).json(app.tool_keys.public_set())
}
