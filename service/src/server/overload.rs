//! What happens when there is more to do than can be done: an honest 503 that says when to come again, at once instead of
//! after endless waiting, and for pages of quizzes and classes with everything that was typed.

use std::time::Duration;

use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::header::{ACCEPT, CONTENT_TYPE, HeaderValue, RETRY_AFTER};
use actix_web::http::{ConnectionType, Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::{Error, HttpResponse, web};
use url::form_urlencoded;

use super::limits::is_counted;
use crate::app::App;
use crate::entropy;
use crate::handlers::answer;
use crate::pages::later::{LaterPage, TypedForm};
use crate::session;
use crate::texts;

/// How long finding out who may frame a page may take.
const NOTED_WITHIN: Duration = Duration::from_millis(500);
/// After how many seconds to come again: not everybody at once.
const AGAIN_AFTER_S: (u64, u64) = (3, 10);

/// Takes so many requests at once and no more; health checks, numbers and scripts are always answered.
pub(super) async fn bounded<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App").clone();
    let flight = if is_counted(request.path()) { app.standing.enter().map(Some) } else { Some(None) };
    let Some(_flight) = flight else {
        app.metrics.limited("at_once");
        // A page in a platform's frame shows only if that is noted; where the store is in trouble, it is left at that.
        if is_for_a_person(&request) && !app.storage.queue().is_nearly_full() {
            let noting = session::note_framing(request.request());
            if !matches!(tokio::time::timeout(NOTED_WITHIN, noting).await, Ok(Ok(()))) {
                tracing::debug!("who may frame the page is not known");
            }
        }
        return Ok(request.into_response(busy()).map_into_right_body());
    };
    let mut response = next.call(request).await?;
    if app.standing.is_draining() {
        // The next request of this connection goes to another process.
        response.response_mut().head_mut().set_connection_type(ConnectionType::Close);
    }
    Ok(response.map_into_left_body())
}

/// What programs read.
fn busy() -> HttpResponse {
    HttpResponse::ServiceUnavailable().json(serde_json::json!({
        "status": 503,
        "code": "busy",
        "message": "more is being asked than can be answered now",
        "hint": "ask again after the seconds that Retry-After names",
    }))
}

/// Says with every 503 when to come again. Where a person waits, it becomes a page that tries again by itself and carries
/// what was typed.
pub(super) async fn say_when_to_come_again<B: MessageBody>(
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    let person = is_for_a_person(&request);
    let get = *request.method() == Method::GET;
    let address = request.uri().clone();
    let typed = if person && carries_typing(&request) { Some(keep(&mut request).await?) } else { None };
    let mut response = next.call(request).await?;
    if response.status() != StatusCode::SERVICE_UNAVAILABLE || response.headers().contains_key(RETRY_AFTER) {
        return Ok(response.map_into_left_body());
    }
    let (least, most) = AGAIN_AFTER_S;
    let seconds = least + entropy::jitter_ms(most - least + 1);
    let header = HeaderValue::from(seconds);
    if !person {
        response.headers_mut().insert(RETRY_AFTER, header);
        return Ok(response.map_into_left_body());
    }
    let address = texts::path_and_query(&address);
    let typed = typed.map(|body| {
        let fields =
            form_urlencoded::parse(&body).map(|(name, value)| (name.into_owned(), value.into_owned()));
        TypedForm { action: address.clone(), fields: fields.collect() }
    });
    let page = LaterPage::new(seconds, get.then_some(address), typed);
    let (request, _) = response.into_parts();
    let mut later = answer::page_with_script(StatusCode::SERVICE_UNAVAILABLE, &page)
        .unwrap_or_else(|_| HttpResponse::ServiceUnavailable().finish());
    later.headers_mut().insert(RETRY_AFTER, header);
    Ok(ServiceResponse::new(request, later).map_into_right_body())
}

/// Whether somebody reads the answer, and no script or program.
fn is_for_a_person(request: &ServiceRequest) -> bool {
    let by_script = request.headers().get(ACCEPT).is_some_and(|accept| accept == "application/json");
    is_counted(request.path()) && !request.path().starts_with("/api/") && !by_script
}

/// Forms of pupils and teachers. Those of platforms carry tokens, which stand on no page; those of coordinators may.
fn carries_typing(request: &ServiceRequest) -> bool {
    let form = request.headers().get(CONTENT_TYPE).is_some_and(|kind| {
        kind.as_bytes().to_ascii_lowercase().starts_with(b"application/x-www-form-urlencoded")
    });
    let path = request.path();
    form && *request.method() == Method::POST && (path.starts_with("/quiz/") || path.starts_with("/class/"))
}

/// Reads the form, and puts it back for the handler.
async fn keep(request: &mut ServiceRequest) -> Result<web::Bytes, Error> {
    let body = request.extract::<web::Bytes>().await?;
    request.set_payload(Payload::from(body.clone()));
    Ok(body)
}
