//! The platform's own addresses for tests in another process: see what arrived, make it misbehave.
//! No standard, and no protection: the platform is reachable from this machine only.

use actix_web::HttpResponse;
use actix_web::web::{Data, Json, Path};
use serde::Deserialize;

use super::deep_linking::Placing;
use super::faults::{Forgery, PlannedFault};
use super::gradebook;
use super::links::LinkTimes;
use super::points::Points;
use super::roster::MemberStatus;
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

/// A mark that the teacher gives, or a cell that they empty.
#[derive(Debug, Deserialize)]
pub(super) struct Marked {
    pupil: String,
    /// On the scale of the columns; not needed to empty a cell.
    points: Option<Points>,
}

/// The teacher gives a mark in every column, for instance `{"pupil": "p-01", "points": 8}`.
pub(super) async fn mark(platform: Data<Platform>, marked: Json<Marked>) -> HttpResponse {
    match &*marked {
        Marked { pupil, points: Some(points) } => gradebook::set_mark(&platform, pupil, Some(*points)),
        Marked { points: None, .. } => return HttpResponse::BadRequest().body("points are missing"),
    }
    HttpResponse::NoContent().finish()
}

/// The teacher empties a pupil's cells.
pub(super) async fn clear_mark(platform: Data<Platform>, marked: Json<Marked>) -> HttpResponse {
    gradebook::set_mark(&platform, &marked.pupil, None);
    HttpResponse::NoContent().finish()
}

/// Changes what deep linking asks for.
pub(super) async fn set_placing(platform: Data<Platform>, placing: Json<Placing>) -> HttpResponse {
    platform.state().deep_linking.placing = placing.into_inner();
    HttpResponse::NoContent().finish()
}

/// Changes somebody's place in the course.
pub(super) async fn set_status(
    platform: Data<Platform>,
    person: Path<String>,
    status: Json<MemberStatus>,
) -> HttpResponse {
    if platform.members.find(&person).is_none() {
        return HttpResponse::NotFound().finish();
    }
    platform.state().enrolment.set(&person, status.into_inner());
    HttpResponse::NoContent().finish()
}

/// Gives an activity new times.
pub(super) async fn set_times(
    platform: Data<Platform>,
    link: Path<String>,
    times: Json<LinkTimes>,
) -> HttpResponse {
    if platform.state().links.set_times(&link, times.into_inner()) {
        HttpResponse::NoContent().finish()
    } else {
        HttpResponse::NotFound().finish()
    }
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
