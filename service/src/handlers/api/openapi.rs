//! The description of the programming interface for other programs.

use actix_web::HttpResponse;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi};

use super::{audit, deliveries, judgements, keys, people, placements, platforms, pools, score};

/// The document, derived from the handlers' own types.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "tenths",
        description = "Pools of proven questions, marks, and what runs the service. Bearer tokens are made by 'tenths token add'."
    ),
    paths(
        pools::load,
        pools::list,
        pools::show,
        placements::list,
        placements::marks,
        judgements::diagnoses,
        judgements::next,
        people::pupils,
        people::held,
        people::purge,
        score::score,
        deliveries::list,
        deliveries::send_again,
        deliveries::compare,
        deliveries::settle,
        deliveries::reset,
        platforms::list,
        platforms::approve,
        keys::list,
        keys::rotate,
        keys::retire,
        audit::list,
    ),
    security(("token" = [])),
    modifiers(&BearerToken)
)]
struct Description;

struct BearerToken;

impl Modify for BearerToken {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let scheme = SecurityScheme::Http(HttpBuilder::new().scheme(HttpAuthScheme::Bearer).build());
        document.components.get_or_insert_with(Default::default).add_security_scheme("token", scheme);
    }
}

/// GET: open to all, since it holds nothing secret.
pub(crate) async fn describe() -> HttpResponse {
    HttpResponse::Ok().json(Description::openapi())
}
