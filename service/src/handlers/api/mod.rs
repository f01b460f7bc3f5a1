//! The programming interface under `/api/v1`, described by `GET /api/openapi.json`.
//!
//! Callers carry a bearer token with a role (`tenths token add`). Failures are JSON: status, a stable code, a
//! sentence and, where there is one, a hint. No cookie is read here, so no form of another site can call it.

pub(crate) mod audit;
mod caller;
pub(crate) mod deliveries;
mod error;
pub(crate) mod judgements;
pub(crate) mod keys;
pub(crate) mod openapi;
pub(crate) mod people;
pub(crate) mod placements;
pub(crate) mod platforms;
pub(crate) mod pools;
mod records;
pub(crate) mod score;

use actix_web::{HttpResponse, web};

use error::ApiError;

/// Largest pool file that is read, in bytes: about 10,000 questions.
pub const POOL_LENGTH_MAX: usize = 64 * 1024 * 1024;

/// How JSON bodies are read, with a JSON answer when one cannot be.
pub fn json_settings() -> web::JsonConfig {
    web::JsonConfig::default().error_handler(|error, _| ApiError::body(&error).into())
}

/// How queries are read, with a JSON answer when one cannot be.
pub fn query_settings() -> web::QueryConfig {
    web::QueryConfig::default().error_handler(|error, _| ApiError::query(&error).into())
}

/// Any other address below `/api/v1`.
pub(crate) async fn no_such_address() -> HttpResponse {
    ApiError::NoSuchAddress.answer()
}
