//! What every answer gets: protecting headers, an id, a number, and a line in the log without addresses' queries, names or
//! tokens.

use std::time::Instant;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{
    CONTENT_SECURITY_POLICY, HeaderName, HeaderValue, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage as _, web};
use tracing::{Instrument as _, Span};

use super::request_id::{self, RequestId};
use crate::app::App;
use crate::frame_ancestors::FrameAncestors;
use crate::texts::Texts;
use crate::traces;

/// Our own style sheet, pictures and scripts; forms go to ourselves. Pages that need more set their own policy.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self' data:; script-src 'self'; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'";

const PROTECTION: [(HeaderName, &str); 2] =
    [(REFERRER_POLICY, "no-referrer"), (X_CONTENT_TYPE_OPTIONS, "nosniff")];

/// Adds the protecting headers that a handler did not set itself, and to each policy who may frame the answer.
pub(super) async fn protect<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let mut response = next.call(request).await?;
    for (name, value) in PROTECTION {
        if !response.headers().contains_key(&name) {
            response.headers_mut().insert(name, HeaderValue::from_static(value));
        }
    }
    let own = response.headers().get(CONTENT_SECURITY_POLICY).and_then(|policy| policy.to_str().ok());
    let policy = own.unwrap_or(POLICY);
    if !policy.contains("frame-ancestors") {
        let framing = FrameAncestors::directive(response.request().extensions().get());
        let policy = HeaderValue::try_from(format!("{policy}; {framing}"))
            .expect("policies and origins are visible ASCII");
        response.headers_mut().insert(CONTENT_SECURITY_POLICY, policy);
    }
    Ok(response)
}

/// Answers in the language of whoever asks, refusals and errors too.
pub(super) async fn in_readers_language<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let address = request.uri().clone();
    Texts::for_reader(Texts::asked_by(request.request()), address, next.call(request)).await
}

/// Notes each request in the log, the numbers and the trace: its route, status and duration.
pub(super) async fn note<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let started = Instant::now();
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App").clone();
    let method = request.method().clone();
    let by_machine = is_asked_by_machines(request.path());
    let id = RequestId::of(request.headers(), app.settings.behind_proxy);
    let span = if by_machine { Span::none() } else { traces::request(&method, request.headers()) };
    let log = tracing::info_span!("request", id = %id, trace_id = traces::id(&span));
    let mut result = id.during(next.call(request)).instrument(span.clone()).instrument(log.clone()).await;
    let took = started.elapsed();
    let duration_ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
    let _within = log.enter();
    match &mut result {
        Ok(response) => {
            // The pattern, not the address: identifiers in addresses belong to somebody.
            let route = response.request().match_pattern().unwrap_or_else(|| "(no such address)".to_owned());
            let status = response.status();
            app.metrics.answered(&route, &method, status, took);
            traces::answered(&span, &method, &route, status);
            response.headers_mut().insert(request_id::HEADER, id.as_header());
            if by_machine {
                tracing::debug!(%method, route, status = status.as_u16(), duration_ms, "answered");
            } else {
                tracing::info!(%method, route, status = status.as_u16(), duration_ms, "answered");
            }
        }
        Err(error) => {
            let status = error.as_response_error().status_code();
            app.metrics.answered("(none)", &method, status, took);
            traces::answered(&span, &method, "(none)", status);
            tracing::error!(%method, %error, duration_ms, "a request failed");
        }
    }
    result
}

/// Health checks and numbers, which are asked for every few seconds.
fn is_asked_by_machines(path: &str) -> bool {
    path.starts_with("/health/") || path == "/metrics"
}
