//! Every address of the practice platform, and nothing else.

use std::sync::Arc;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::middleware::{Next, from_fn};
use actix_web::web::{self, Data, ServiceConfig, get, post};

use super::problems::ServiceProblem;
use super::state::Platform;
use super::{
    access_tokens, admin, deep_linking, id_tokens, line_items, login, message_storage, pages, registration,
    results, roster, scores,
};

/// Largest body that is read; a deep-linking response with many items fits.
const BODY_LIMIT_BYTES: usize = 256 * 1024;

/// The route table.
pub(super) fn table(platform: &Arc<Platform>) -> impl FnOnce(&mut ServiceConfig) + use<> {
    let platform = Arc::clone(platform);
    move |config| {
        config
            .app_data(Data::from(platform))
            .app_data(web::PayloadConfig::new(BODY_LIMIT_BYTES))
            // for people
            .route("/", get().to(pages::front))
            .route("/enter", post().to(pages::enter))
            .route("/leave", post().to(pages::leave))
            .route("/course", get().to(pages::course))
            .route("/gradebook", get().to(pages::gradebook))
            .route("/frame/links/{link}", get().to(pages::frame))
            .route("/message-storage.js", get().to(message_storage::script))
            .route("/message-storage/frame", get().to(message_storage::frame))
            .route("/message-storage/impostor", get().to(message_storage::impostor))
            // launches
            .route("/links/{link}/open", get().to(login::open_link))
            .route("/activities/add", get().to(login::add_activity))
            .service(
                web::resource("/authorize")
                    .route(get().to(login::authorize))
                    .route(post().to(login::authorize)),
            )
            .route("/deep-linking/return/{request}", post().to(deep_linking::receive))
            .route("/keys", get().to(id_tokens::key_set))
            // registration
            .route("/registrations", get().to(registration::page))
            .route("/registrations", post().to(registration::start))
            .route("/.well-known/openid-configuration", get().to(registration::configuration))
            .route("/register", post().to(registration::register))
            // services
            .service(
                web::resource("/token")
                    .wrap(from_fn(unless_unavailable))
                    .route(post().to(access_tokens::issue)),
            )
            .service(services())
            .service(admin_scope());
    }
}

fn services() -> impl actix_web::dev::HttpServiceFactory {
    web::scope("/services")
        .wrap(from_fn(unless_unavailable))
        .service(
            web::resource("/lineitems")
                .route(get().to(line_items::list))
                .route(post().to(line_items::create)),
        )
        .service(
            web::resource("/lineitems/{id}")
                .route(get().to(line_items::read))
                .route(web::put().to(line_items::replace))
                .route(web::delete().to(line_items::delete)),
        )
        .service(web::resource("/lineitems/{id}/scores").route(post().to(scores::receive)))
        .service(web::resource("/lineitems/{id}/results").route(get().to(results::list)))
        .service(web::resource("/roster").route(get().to(roster::list)))
}

fn admin_scope() -> impl actix_web::dev::HttpServiceFactory {
    web::scope("/admin")
        .route("/registration", get().to(admin::registration))
        .route("/gradebook", get().to(admin::gradebook))
        .route("/journal", get().to(admin::journal))
        .route("/message-storage", web::put().to(message_storage::set))
        .route("/placing", web::put().to(admin::set_placing))
        .route("/people/{person}/status", web::put().to(admin::set_status))
        .route("/links/{link}/times", web::put().to(admin::set_times))
        .service(
            web::resource("/fault")
                .route(web::put().to(admin::plan_fault))
                .route(web::delete().to(admin::clear_fault)),
        )
        .service(
            web::resource("/marks")
                .route(web::put().to(admin::mark))
                .route(web::delete().to(admin::clear_mark)),
        )
        .service(
            web::resource("/forgery")
                .route(web::put().to(admin::forge))
                .route(web::delete().to(admin::stop_forging)),
        )
}

/// Answers 503 in place of any service while [`super::Fault::Unavailable`] strikes.
async fn unless_unavailable(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let platform = request.app_data::<Data<Platform>>().expect("the route table provides the platform");
    if platform.state().faults.strikes_service() {
        return Err(ServiceProblem::new(StatusCode::SERVICE_UNAVAILABLE, "planned outage").into());
    }
    next.call(request).await
}
