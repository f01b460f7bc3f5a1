//! The platform's own addresses for tests in another process: see what arrived, make it misbehave.
//! No standard, and no protection: the platform is reachable from this machine only.

use actix_web::HttpResponse;
use actix_web::web::{Data, Json};

use super::faults::{Forgery, PlannedFault};
use super::gradebook;
use super::state::Platform;

/// What a tool has to be told.
pub(super) async fn registration(platform: Data<Platform>) -> HttpResponse {
    HttpResponse::Ok().json(platform.registration())
}

/// The gradebook as of now.
pub(super) async fn gradebook(platform: Data<Platform>) -> HttpResponse {
    HttpResponse::Ok().json(gradebook::snapshot(&platform))
}

/// Every score message so far.
pub(super) async fn journal(platform: Data<Platform>) -> HttpResponse {
    HttpResponse::Ok().json(platform.state().scores.journal())
}

/// Plans a fault, for instance `{"fault": "slow", "delay_ms": 2000, "times": 1}`.
pub(super) async fn plan_fault(platform: Data<Platform>, planned: Json<PlannedFault>) -> HttpResponse {
    platform.state().faults.plan(Some(planned.into_inner()));
    HttpResponse::NoContent().finish()
}

/// Ends all misbehaviour of the services.
pub(super) async fn clear_fault(platform: Data<Platform>) -> HttpResponse {
    platform.state().faults.plan(None);
    HttpResponse::NoContent().finish()
}

/// Forges launches from now on, for instance `{"forgery": "missing_claim", "claim": "sub"}`.
pub(super) async fn forge(platform: Data<Platform>, forgery: Json<Forgery>) -> HttpResponse {
    platform.state().faults.forge(Some(forgery.into_inner()));
    HttpResponse::NoContent().finish()
}

/// Makes launches honest again.
pub(super) async fn stop_forging(platform: Data<Platform>) -> HttpResponse {
    platform.state().faults.forge(None);
    HttpResponse::NoContent().finish()
}
