//! The style sheet.

use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};

use crate::pages::STYLESHEET;

/// GET: kept by browsers for ever, because pages name it by its content.
pub(crate) async fn stylesheet() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/css; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(STYLESHEET)
}
