//! What gradebooks are told: what waits, what failed and why, and what can be done about it.

use actix_web::{HttpResponse, web};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::caller::Caller;
use super::error::ApiError;
use super::records::Failure;
use crate::app::App;
use crate::storage::{ApiRole, Choice, Delivery, DeliveryQuery, DeliveryState, Drift, PlacementId, UserId};

/// How many are listed at once unless asked otherwise, and at most.
const LISTED: usize = 200;
const LISTED_MAX: usize = 1_000;
/// Who may change what is delivered.
const MAY_CHANGE: &[ApiRole] = &[ApiRole::Coordinator, ApiRole::Teacher];

/// Choices in the address.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(crate) struct DeliveriesQuery {
    /// Only those of this placement.
    placement: Option<String>,
    /// Only those that stand so: `waiting`, `delivered`, `parked`, `held` or `kept`.
    #[param(value_type = Option<String>)]
    state: Option<DeliveryState>,
    /// At most so many, 1 to 1000; 200 by default.
    limit: Option<usize>,
    /// `next` of the list before.
    after: Option<String>,
}

/// Messages to gradebooks, by placement and pupil.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct DeliveryList {
    deliveries: Vec<DeliveryEntry>,
    /// Where the list goes on: the parameter `after` of the next call; none at its end.
    next: Option<String>,
}

/// What the gradebook is told of one pupil, and how that stands.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct DeliveryEntry {
    /// The placement's id.
    placement: String,
    /// The pupil, by the platform's own opaque id.
    pupil: String,
    /// `started`, `graded` or `reset`.
    message: &'static str,
    /// Points of a grade.
    #[serde(skip_serializing_if = "Option::is_none")]
    points: Option<u32>,
    /// Points possible.
    #[serde(skip_serializing_if = "Option::is_none")]
    max: Option<u32>,
    /// `waiting`, `delivered`, `parked` (needs a person), `held` (needs a choice) or `kept`.
    state: &'static str,
    /// Why the last try failed.
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<String>,
    /// How often sending failed.
    tries: u32,
    /// Since when it waits, or waited.
    #[schema(value_type = String, format = DateTime)]
    since: Timestamp,
    /// When it is tried next, while it waits.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    next_try_at: Option<Timestamp>,
    /// How the gradebook was last seen to differ: `missing`, `different` or `own` (a mark where none was delivered).
    #[serde(skip_serializing_if = "Option::is_none")]
    differs: Option<&'static str>,
    /// The mark seen there.
    #[serde(skip_serializing_if = "Option::is_none")]
    in_gradebook: Option<MarkSeen>,
}

/// A mark seen in a gradebook, as decimals.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct MarkSeen {
    points: String,
    max: String,
}

impl DeliveryEntry {
    fn of(delivery: Delivery) -> Self {
        let score = delivery.progress.score();
        let waits = delivery.state == DeliveryState::Waiting;
        Self {
            placement: delivery.placement.to_string(),
            pupil: delivery.user.to_string(),
            message: delivery.progress.name(),
            points: score.map(|score| score.points),
            max: score.map(|score| score.maximum),
            state: delivery.state.name(),
            problem: delivery.problem,
            tries: delivery.tries,
            since: delivery.waiting_since,
            next_try_at: waits.then_some(delivery.next_try_at),
            differs: delivery.cell.drift.map(Drift::name),
            in_gradebook: delivery.cell.found.map(|found| MarkSeen {
                points: found.points.normalize().to_string(),
                max: found.maximum.normalize().to_string(),
            }),
        }
    }
}

/// Lists what gradebooks are told, without names.
#[utoipa::path(
    get, path = "/api/v1/deliveries", tag = "deliveries",
    params(DeliveriesQuery),
    responses(
        (status = 200, description = "messages by placement and pupil", body = DeliveryList),
        (status = 400, description = "the address cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
    )
)]
pub(crate) async fn list(
    _caller: Caller,
    app: web::Data<App>,
    query: web::Query<DeliveriesQuery>,
) -> Result<HttpResponse, ApiError> {
    let query = query.into_inner();
    let limit = query.limit.unwrap_or(LISTED);
    if !(1..=LISTED_MAX).contains(&limit) {
        return Err(ApiError::query(&format!("limit must be from 1 to {LISTED_MAX}")));
    }
    let after = query.after.as_deref().map(read_cursor).transpose()?;
    let query = DeliveryQuery {
        placement: query.placement.map(PlacementId),
        state: query.state,
        after,
        // One more tells whether there is more.
        limit: limit + 1,
    };
    let mut found = app.storage.deliveries(&query).await?;
    let more = found.len() > limit;
    found.truncate(limit);
    let next = found.last().filter(|_| more).map(cursor);
    let deliveries = found.into_iter().map(DeliveryEntry::of).collect();
    Ok(HttpResponse::Ok().json(DeliveryList { deliveries, next }))
}

fn cursor(last: &Delivery) -> String {
    let place = serde_json::to_vec(&(&last.placement, &last.user)).expect("two texts can be written");
    URL_SAFE_NO_PAD.encode(place)
}

fn read_cursor(text: &str) -> Result<(PlacementId, UserId), ApiError> {
    let place = URL_SAFE_NO_PAD.decode(text).ok().and_then(|json| serde_json::from_slice(&json).ok());
    place.ok_or_else(|| ApiError::query(&"after must be 'next' of the list before"))
}

/// Which grades to send again.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct SendAgainRequest {
    /// The placement's id.
    placement: String,
    /// Only this pupil's; without it, all that could not be delivered.
    pupil: Option<String>,
}

/// How many messages wait again.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct SentAgain {
    sent_again: usize,
}

/// Sends grades again that could not be delivered.
#[utoipa::path(
    post, path = "/api/v1/deliveries/send-again", tag = "deliveries",
    request_body = SendAgainRequest,
    responses(
        (status = 200, description = "how many messages wait again", body = SentAgain),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role may not do this", body = Failure),
        (status = 404, description = "no such placement", body = Failure),
    )
)]
pub(crate) async fn send_again(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<SendAgainRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(MAY_CHANGE)?;
    let request = request.into_inner();
    let placement = placement(&app, request.placement).await?;
    let pupil = request.pupil.map(UserId);
    let sent_again = app.storage.send_again(&placement, pupil.as_ref(), &caller.change(&app)).await?;
    app.waker.wake();
    Ok(HttpResponse::Ok().json(SentAgain { sent_again }))
}

/// Which gradebook column to compare.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct CompareRequest {
    /// The placement's id.
    placement: String,
}

/// What comparing gave.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Compared {
    /// Pupils whose mark differs from what was delivered; `GET /api/v1/deliveries` tells how.
    differ: usize,
    /// Why the gradebook could not be read, if it could not.
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<String>,
}

/// Reads a placement's column in the gradebook and compares it with what was delivered. Nothing is sent.
#[utoipa::path(
    post, path = "/api/v1/deliveries/compare", tag = "deliveries",
    request_body = CompareRequest,
    responses(
        (status = 200, description = "what differs", body = Compared),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role may not do this", body = Failure),
        (status = 404, description = "no such placement", body = Failure),
    )
)]
pub(crate) async fn compare(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<CompareRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(MAY_CHANGE)?;
    let placement = placement(&app, request.into_inner().placement).await?;
    let reading = app.deliverer.compare(&placement).await?;
    let reading = reading.ok_or_else(|| ApiError::NoPlacement(placement.to_string()))?;
    let deliveries = app.storage.deliveries_at(&placement).await?;
    let differ = deliveries.iter().filter(|delivery| delivery.cell.drift.is_some()).count();
    Ok(HttpResponse::Ok().json(Compared { differ, problem: reading.problem }))
}

/// Whose grade is settled, and how.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct SettleRequest {
    /// The placement's id.
    placement: String,
    /// The pupil, by the platform's own opaque id.
    pupil: String,
    /// What happens.
    choice: SettleChoice,
}

/// What happens with a held grade.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum SettleChoice {
    /// Our grade replaces the gradebook's mark.
    SendOurs,
    /// The gradebook's mark stays.
    KeepTheirs,
}

/// Settles a grade that is held because the gradebook has another mark.
#[utoipa::path(
    post, path = "/api/v1/deliveries/settle", tag = "deliveries",
    request_body = SettleRequest,
    responses(
        (status = 204, description = "settled"),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role may not do this", body = Failure),
        (status = 404, description = "no such placement, or no grade of that pupil is held", body = Failure),
    )
)]
pub(crate) async fn settle(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<SettleRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(MAY_CHANGE)?;
    let SettleRequest { placement: id, pupil, choice } = request.into_inner();
    let placement = placement(&app, id).await?;
    let choice = match choice {
        SettleChoice::SendOurs => Choice::SendOurs,
        SettleChoice::KeepTheirs => Choice::KeepTheirs,
    };
    if !app.storage.settle(&placement, &UserId(pupil), choice, &caller.change(&app)).await? {
        return Err(ApiError::NothingHeld);
    }
    app.waker.wake();
    Ok(HttpResponse::NoContent().finish())
}

/// Whose work is reset.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ResetRequest {
    /// The placement's id.
    placement: String,
    /// The pupil, by the platform's own opaque id.
    pupil: String,
}

/// What a reset came to.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ResetDone {
    /// How many attempts were set aside; 0 when there were none.
    attempts: usize,
}

/// Sets a pupil's attempts aside: they stay on record, no longer count, and the grade is taken back.
#[utoipa::path(
    post, path = "/api/v1/deliveries/reset", tag = "deliveries",
    request_body = ResetRequest,
    responses(
        (status = 200, description = "how many attempts were set aside", body = ResetDone),
        (status = 400, description = "the body cannot be read", body = Failure),
        (status = 401, description = "no valid token", body = Failure),
        (status = 403, description = "the role may not do this", body = Failure),
        (status = 404, description = "no such placement", body = Failure),
    )
)]
pub(crate) async fn reset(
    caller: Caller,
    app: web::Data<App>,
    request: web::Json<ResetRequest>,
) -> Result<HttpResponse, ApiError> {
    caller.must_be(MAY_CHANGE)?;
    let ResetRequest { placement: id, pupil } = request.into_inner();
    let placement = placement(&app, id).await?;
    let attempts = app.storage.reset_pupil(&placement, &UserId(pupil), &caller.change(&app)).await?;
    app.waker.wake();
    Ok(HttpResponse::Ok().json(ResetDone { attempts }))
}

async fn placement(app: &App, id: String) -> Result<PlacementId, ApiError> {
    let id = PlacementId(id);
    match app.storage.placement(&id).await? {
        Some(_) => Ok(id),
        None => Err(ApiError::NoPlacement(id.to_string())),
    }
}
