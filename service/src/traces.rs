//! Spans for those who run the service: a request, its steps at the store, calls to platforms, deliveries of grades.
//!
//! They go to a collector where `--traces` names one (`exporter`), and cost next to nothing else. A trace goes on across
//! services by W3C Trace Context (`traceparent`). No span holds an address, a name, an id of a person or a token: routes are
//! patterns, platforms are told by their host. Logs are apart: what a span says is in no log, and the other way round.

#[cfg(feature = "traces")]
mod exporter;

use actix_web::http::{Method, StatusCode, header::HeaderMap};
use reqwest::RequestBuilder;
use tracing::{Level, Span, field};

#[cfg(feature = "traces")]
pub use exporter::{Exporter, TracesError, exporter};

/// Whose spans these are, for filters.
pub(crate) const TARGET: &str = "tenths::trace";

/// A request that we answer; part of the trace that its headers name, if any.
pub(crate) fn request(method: &Method, headers: &HeaderMap) -> Span {
    let span = tracing::info_span!(
        target: TARGET,
        "request",
        otel.kind = "server",
        http.request.method = method.as_str(),
        http.route = field::Empty,
        http.response.status_code = field::Empty,
    );
    go_on(&span, headers);
    span
}

/// What a request came to.
pub(crate) fn answered(span: &Span, method: &Method, route: &str, status: StatusCode) {
    if !span.is_disabled() {
        name(span, &format!("{method} {route}"));
        span.record("http.route", route);
        span.record("http.response.status_code", i64::from(status.as_u16()));
    }
}

/// A step at the store, as part of something else: steps on their own are housekeeping.
pub(crate) fn store_step(lane: &'static str, step: &'static str) -> Span {
    if within_a_trace() {
        tracing::info_span!(target: TARGET, "store", otel.kind = "client", lane, step)
    } else {
        Span::none()
    }
}

/// A call to a platform.
pub(crate) fn call(host: &str) -> Span {
    tracing::info_span!(
        target: TARGET,
        "call",
        otel.kind = "client",
        server.address = host,
        http.response.status_code = field::Empty,
    )
}

/// Sending one grade.
pub(crate) fn delivery(tries: u32) -> Span {
    tracing::info_span!(target: TARGET, "deliver", tries)
}

fn within_a_trace() -> bool {
    // Where nobody takes spans, which is known at once, there is none to look for.
    tracing::enabled!(target: TARGET, Level::INFO)
        && Span::current().metadata().is_some_and(|span| span.target() == TARGET)
}

/// Makes a span part of the trace that headers name.
#[cfg_attr(not(feature = "traces"), expect(unused_variables, reason = "no spans leave this program"))]
fn go_on(span: &Span, headers: &HeaderMap) {
    #[cfg(feature = "traces")]
    exporter::go_on(span, headers);
}

/// Names a span after what is known of it only at its end.
#[cfg_attr(not(feature = "traces"), expect(unused_variables, reason = "no spans leave this program"))]
fn name(span: &Span, name: &str) {
    #[cfg(feature = "traces")]
    exporter::name(span, name);
}

/// A request of ours with the trace that it is part of.
#[cfg_attr(not(feature = "traces"), expect(unused_variables, reason = "no spans leave this program"))]
pub(crate) fn onward(request: RequestBuilder, span: &Span) -> RequestBuilder {
    #[cfg(feature = "traces")]
    let request = exporter::onward(request, span);
    request
}

/// The id of the trace that a span is part of, 32 hexadecimal digits; none without a collector.
#[cfg_attr(not(feature = "traces"), expect(unused_variables, reason = "no spans leave this program"))]
pub(crate) fn id(span: &Span) -> Option<String> {
    #[cfg(feature = "traces")]
    let id = exporter::id(span);
    #[cfg(not(feature = "traces"))]
    let id = None;
    id
}
