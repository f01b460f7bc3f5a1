//! To a collector: OpenTelemetry's protocol over HTTP, in binary form.
//!
//! Spans are sent from a thread of the library's, in batches; when the collector is away they are lost, and nothing waits.
//! How many requests are traced, and what the collector asks for as headers, is said by the protocol's own variables
//! (`OTEL_TRACES_SAMPLER`, `OTEL_EXPORTER_OTLP_HEADERS`), which the library reads.

use std::collections::HashMap;
use std::time::Duration;

use actix_web::http::header::HeaderMap;
use opentelemetry::propagation::{Extractor, TextMapPropagator};
use opentelemetry::trace::{TraceContextExt, TracerProvider};
use opentelemetry_otlp::{ExporterBuildError, Protocol, SpanExporter, WithExportConfig};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::propagation::TraceContextPropagator;
use opentelemetry_sdk::trace::SdkTracerProvider;
use reqwest::RequestBuilder;
use tracing::{Span, Subscriber};
use tracing_opentelemetry::OpenTelemetrySpanExt;
use tracing_subscriber::Layer;
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::registry::LookupSpan;
use url::Url;

use super::TARGET;

/// How long the collector may take.
const WITHIN: Duration = Duration::from_secs(5);

/// Sends what is left when it is dropped.
pub struct Exporter(SdkTracerProvider);

/// Why no spans can be sent.
#[derive(Debug, thiserror::Error)]
pub enum TracesError {
    /// Not an address of a collector.
    #[error("--traces {0}: expected http or https, such as http://127.0.0.1:4318/v1/traces")]
    Address(Url),
    /// The library refuses.
    #[error("--traces: {0}")]
    Library(#[from] ExporterBuildError),
}

/// What sends spans to the collector at `url`, and the layer that takes them. Not to be called by asynchronous code.
///
/// # Errors
/// [`TracesError`] when `url` is not http or https, or the library refuses it.
pub fn exporter<S>(url: &Url) -> Result<(Exporter, impl Layer<S> + use<S>), TracesError>
where
    S: Subscriber + for<'span> LookupSpan<'span>,
{
    if !matches!(url.scheme(), "http" | "https") {
        return Err(TracesError::Address(url.clone()));
    }
    let spans = SpanExporter::builder()
        .with_http()
        .with_protocol(Protocol::HttpBinary)
        .with_endpoint(url.as_str())
        .with_timeout(WITHIN)
        .build()?;
    let resource = Resource::builder()
        .with_service_name("tenths")
        .with_attribute(opentelemetry::KeyValue::new("service.version", env!("CARGO_PKG_VERSION")))
        .build();
    let provider = SdkTracerProvider::builder().with_batch_exporter(spans).with_resource(resource).build();
    let layer = tracing_opentelemetry::layer()
        .with_tracer(provider.tracer("tenths"))
        .with_location(false)
        .with_threads(false)
        .with_tracked_inactivity(false)
        .with_target(false)
        .with_filter(Targets::new().with_target(TARGET, LevelFilter::INFO));
    Ok((Exporter(provider), layer))
}

impl Drop for Exporter {
    fn drop(&mut self) {
        if let Err(error) = self.0.shutdown() {
            tracing::warn!(%error, "the last spans could not be sent");
        }
    }
}

struct Headers<'a>(&'a HeaderMap);

impl Extractor for Headers<'_> {
    fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key)?.to_str().ok()
    }

    fn keys(&self) -> Vec<&str> {
        self.0.keys().map(actix_web::http::header::HeaderName::as_str).collect()
    }
}

pub(super) fn go_on(span: &Span, headers: &HeaderMap) {
    if !span.is_disabled() {
        let parent = TraceContextPropagator::new().extract(&Headers(headers));
        // Fails for a span that has begun, which this one has not.
        let _ = span.set_parent(parent);
    }
}

pub(super) fn name(span: &Span, name: &str) {
    span.context().span().update_name(name.to_owned());
}

pub(super) fn onward(request: RequestBuilder, span: &Span) -> RequestBuilder {
    if span.is_disabled() {
        return request;
    }
    let mut carried = HashMap::new();
    TraceContextPropagator::new().inject_context(&span.context(), &mut carried);
    carried.into_iter().fold(request, |request, (name, value)| request.header(name, value))
}

pub(super) fn id(span: &Span) -> Option<String> {
    if span.is_disabled() {
        return None;
    }
    let context = span.context();
    let span = context.span();
    let context = span.span_context();
    context.is_valid().then(|| context.trace_id().to_string())
}

#[cfg(test)]
mod tests {
    use actix_web::http::Method;
    use actix_web::http::header::{HeaderName, HeaderValue};
    use tracing_subscriber::layer::SubscriberExt as _;

    use super::*;
    use crate::traces;

    /// The example of W3C Trace Context, section 3.2.
    const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
    const TRACEPARENT: &str = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";

    /// With a tracer that sends nothing anywhere.
    fn traced(test: impl FnOnce()) {
        let provider = SdkTracerProvider::builder().build();
        let layer = tracing_opentelemetry::layer().with_tracer(provider.tracer("test"));
        tracing::subscriber::with_default(tracing_subscriber::registry().with(layer), test);
    }

    fn sent_on(span: &Span) -> Option<String> {
        let request = reqwest::Client::new().get("https://platform.example.org/");
        let request = traces::onward(request, span).build().unwrap();
        request.headers().get("traceparent").map(|value| value.to_str().unwrap().to_owned())
    }

    fn headers(traceparent: &'static str) -> HeaderMap {
        [(HeaderName::from_static("traceparent"), HeaderValue::from_static(traceparent))]
            .into_iter()
            .collect()
    }

    #[test]
    fn a_trace_goes_on_through_the_service_to_the_platform() {
        traced(|| {
            let request = traces::request(&Method::GET, &headers(TRACEPARENT));
            assert_eq!(traces::id(&request).as_deref(), Some(TRACE));
            let call = request.in_scope(|| traces::call("platform.example.org"));
            let onward = sent_on(&call).unwrap();
            // version "-" trace-id "-" parent-id "-" trace-flags; the parent is our call now.
            let parts: Vec<_> = onward.split('-').collect();
            assert_eq!((parts[0], parts[1], parts[3]), ("00", TRACE, "01"), "{onward}");
            assert!(parts[2].len() == 16 && parts[2] != "00f067aa0ba902b7", "{onward}");
        });
    }

    #[test]
    fn a_header_that_is_none_begins_a_new_trace() {
        traced(|| {
            for none in ["", "00-zz-00-01", "00-00000000000000000000000000000000-00f067aa0ba902b7-01"] {
                let id = traces::id(&traces::request(&Method::GET, &headers(none))).unwrap();
                assert!(
                    id.len() == 32 && id != TRACE && id.bytes().any(|digit| digit != b'0'),
                    "{none}: {id}"
                );
            }
        });
    }

    #[test]
    fn steps_of_the_store_are_told_as_parts_only() {
        traced(|| {
            assert!(traces::store_step("read", "ping").is_disabled());
            let request = traces::request(&Method::GET, &HeaderMap::new());
            request.in_scope(|| assert!(!traces::store_step("read", "ping").is_disabled()));
        });
    }

    #[test]
    fn without_a_collector_there_are_no_spans() {
        let request = traces::request(&Method::GET, &headers(TRACEPARENT));
        assert_eq!((traces::id(&request), sent_on(&request)), (None, None));
    }

    #[test]
    fn an_address_that_is_no_collectors_is_refused() {
        let problem = exporter::<tracing_subscriber::Registry>(&"ftp://collector/".parse().unwrap());
        let problem = problem.err().unwrap().to_string();
        assert!(problem.contains("ftp://collector/: expected http or https"), "{problem}");
    }
}
