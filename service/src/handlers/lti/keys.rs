//! `GET /lti/keys`: our public keys.

use actix_web::http::header::CACHE_CONTROL;
use actix_web::{HttpResponse, web};

use crate::app::App;
use crate::lti::keys::KEY_SET_KEPT_S;

/// Answers with our key set.
pub async fn get(app: web::Data<App>) -> HttpResponse {
    let kept = format!("public, max-age={KEY_SET_KEPT_S}");
    HttpResponse::Ok().insert_header((CACHE_CONTROL, kept)).json(app.tool_keys.public_set().await)
}
