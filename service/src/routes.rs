//! The route table, and nothing else.

use actix_web::web::{self, ServiceConfig};

use crate::handlers::{
    self, api, assets, class, district, form_settings, health, language, lti, quiz, registration,
};

/// Every address the service answers.
pub fn configure(config: &mut ServiceConfig) {
    // Platforms
    config
        .route("/lti/login", web::get().to(lti::login::get))
        .route("/lti/login", web::post().to(lti::login::post))
        .route("/lti/launch", web::get().to(lti::launch::get))
        .route("/lti/launch", web::post().to(lti::launch::post))
        .route("/lti/launch/finish", web::post().to(lti::finish::post))
        .route("/lti/window", web::post().to(lti::window::post))
        .route("/lti/keys", web::get().to(lti::keys::get))
        .route("/lti/register", web::get().to(registration::show))
        .route("/lti/register", web::post().to(registration::confirm))
        .route("/static/close.js", web::get().to(assets::closing_script));

    // Pupils; showing /quiz/{placement}/practice comes before /quiz/{placement}/{attempt}. Each pattern that is tried costs, so
    // else what is asked for most comes first.
    config
        .app_data(form_settings())
        .route("/quiz/{placement}/practice", web::get().to(quiz::practice::show))
        .route("/quiz/{placement}/{attempt}", web::get().to(quiz::attempt::show))
        .route("/quiz/{placement}/{attempt}/save", web::post().to(quiz::save::save))
        .route("/quiz/{placement}/{attempt}/submit", web::post().to(quiz::submit::submit))
        .route("/quiz/{placement}", web::get().to(quiz::start::show))
        .route("/quiz/{placement}", web::post().to(quiz::start::begin))
        .route("/quiz/{placement}/practice", web::post().to(quiz::practice::mark));

    // Teachers; fixed words come before /class/{placement} and /class/{placement}/{attempt}
    config
        .route("/class/place", web::get().to(class::place::show))
        .route("/class/place", web::post().to(class::place::place))
        .route("/class/place/preview", web::post().to(class::preview::show))
        .route("/class/{placement}", web::get().to(class::overview::show))
        .route("/class/{placement}/send-again", web::post().to(class::grades::send_again))
        .route("/class/{placement}/compare", web::post().to(class::grades::compare))
        .route("/class/{placement}/settle", web::post().to(class::grades::settle))
        .route("/class/{placement}/reset", web::post().to(class::grades::reset))
        .route("/class/{placement}/times", web::get().to(class::times::show))
        .route("/class/{placement}/times", web::post().to(class::times::change))
        .route("/class/{placement}/roster", web::post().to(class::roster::read_again))
        .route("/class/{placement}/grades", web::get().to(class::grades_view::show))
        .route("/class/{placement}/marks.csv", web::get().to(class::table::download))
        .route("/class/{placement}/attempts", web::post().to(class::grades::allow))
        .route("/class/{placement}/paper", web::get().to(class::paper::show))
        .route("/class/{placement}/paper", web::post().to(class::paper::make))
        .route("/class/{placement}/paper/print", web::get().to(class::paper::print))
        .route("/class/{placement}/paper/sheets.pdf", web::get().to(class::paper::sheets_pdf))
        .route("/class/{placement}/paper/key.pdf", web::get().to(class::paper::key_pdf))
        .route("/class/{placement}/paper/enter", web::get().to(class::typing_in::show))
        .route("/class/{placement}/paper/enter", web::post().to(class::typing_in::enter))
        .route("/class/{placement}/{attempt}", web::get().to(class::attempt::show))
        .route("/class/{placement}/{attempt}/points", web::post().to(class::points::change));

    // Coordinators
    config.configure(district::configure);

    // The programming interface
    config.route("/api/openapi.json", web::get().to(api::openapi::describe)).service(
        web::scope("/api/v1")
            .app_data(web::PayloadConfig::new(api::POOL_LENGTH_MAX))
            .app_data(api::json_settings())
            .app_data(api::query_settings())
            .route("/pools", web::get().to(api::pools::list))
            .route("/pools", web::post().to(api::pools::load))
            .route("/pools/{pool}", web::get().to(api::pools::show))
            .route("/placements", web::get().to(api::placements::list))
            .route("/placements/{placement}/marks", web::get().to(api::placements::marks))
            .route("/placements/{placement}/diagnoses", web::get().to(api::judgements::diagnoses))
            .route("/placements/{placement}/next", web::get().to(api::judgements::next))
            .route("/placements/{placement}/pupils", web::get().to(api::people::pupils))
            .route("/held", web::post().to(api::people::held))
            .route("/purge", web::post().to(api::people::purge))
            .route("/score", web::post().to(api::score::score))
            .route("/deliveries", web::get().to(api::deliveries::list))
            .route("/deliveries/send-again", web::post().to(api::deliveries::send_again))
            .route("/deliveries/compare", web::post().to(api::deliveries::compare))
            .route("/deliveries/settle", web::post().to(api::deliveries::settle))
            .route("/deliveries/reset", web::post().to(api::deliveries::reset))
            .route("/platforms", web::get().to(api::platforms::list))
            .route("/platforms/{platform}/deployments", web::post().to(api::platforms::approve))
            .route("/keys", web::get().to(api::keys::list))
            .route("/keys/rotate", web::post().to(api::keys::rotate))
            .route("/keys/{kid}/retire", web::post().to(api::keys::retire))
            .route("/audit", web::get().to(api::audit::list))
            .default_service(web::to(api::no_such_address)),
    );

    // The reader's language
    config.route("/language", web::get().to(language::choose));

    // Style sheet and scripts
    config
        .route("/static/tenths.css", web::get().to(assets::stylesheet))
        .route("/static/again.js", web::get().to(assets::again_script))
        .route("/static/quiz.js", web::get().to(assets::quiz_script))
        .route("/static/platform-storage.js", web::get().to(assets::storage_script));

    // Those who run the service
    config
        .route("/health/live", web::get().to(health::live))
        .route("/health/ready", web::get().to(health::ready))
        .route("/metrics", web::get().to(health::metrics))
        .default_service(web::to(handlers::no_such_page));
}
