//! The route table, and nothing else.

use actix_web::web::{self, ServiceConfig};

use crate::handlers::{health, lti};

/// Every address the service answers.
pub fn configure(config: &mut ServiceConfig) {
    // Platforms
    config
        .route("/lti/login", web::get().to(lti::login::get))
        .route("/lti/login", web::post().to(lti::login::post))
        .route("/lti/launch", web::get().to(lti::launch::get))
        .route("/lti/launch", web::post().to(lti::launch::post))
        .route("/lti/keys", web::get().to(lti::keys::get));

    // Pupils: /quiz/{placement}

    // Teachers: /class/place before /class/{placement}

    // Coordinators: /district

    // The programming interface: /api/v1, /api/openapi.json

    // Style sheet: /static

    // Those who run the service
    config
        .route("/health/live", web::get().to(health::live))
        .route("/health/ready", web::get().to(health::ready))
        .route("/metrics", web::get().to(health::metrics));
}
