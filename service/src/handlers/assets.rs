//! The style sheet, and scripts that pages name.

use actix_web::HttpResponse;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};

use crate::pages::STYLESHEET;
use crate::pages::frames::STORAGE_SCRIPT;
use crate::pages::quiz;
use crate::pages::registration::CLOSING_SCRIPT;

/// GET: kept by browsers for ever, because pages name it by its content.
pub(crate) async fn stylesheet() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/css; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(STYLESHEET)
}

/// GET: as the style sheet.
pub(crate) async fn storage_script() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/javascript; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(STORAGE_SCRIPT)
}

/// GET: as the style sheet.
pub(crate) async fn quiz_script() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/javascript; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(quiz::SCRIPT)
}

/// GET: what closes the window of a registration; asked for once in the life of a platform.
pub(crate) async fn closing_script() -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/javascript; charset=utf-8"))
        .insert_header((CACHE_CONTROL, "public, max-age=3600"))
        .body(CLOSING_SCRIPT)
}
