//! Where logs go: stderr, as text for people or as JSON for collectors.

use std::io::IsTerminal;

#[cfg(feature = "traces")]
use tracing::{Dispatch, Subscriber};
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer, fmt};

use crate::settings::ServeArguments;
use crate::traces;

/// How to log; for every command.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct LogArguments {
    /// Form of the logs on standard error.
    #[arg(long, global = true, value_enum, default_value_t = LogFormat::Text, value_name = "FORMAT")]
    log_format: LogFormat,
    /// What to log, such as info, debug or service::delivery=debug; info for serve, else warn.
    #[arg(long, global = true, env = "TENTHS_LOG", value_name = "FILTER")]
    log: Option<String>,
}

/// Form of the logs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum LogFormat {
    /// Lines for people, coloured on terminals.
    Text,
    /// One JSON object a line.
    Json,
}

/// What must be kept until the end of the process.
#[must_use]
pub(super) struct Started {
    #[cfg(feature = "traces")]
    _exporter: Option<traces::Exporter>,
}

/// Starts logging for the whole process, and traces where a service is told to send them. A service tells what it does;
/// other commands have their own output.
pub(super) fn start(arguments: &LogArguments, serves: Option<&ServeArguments>) -> anyhow::Result<Started> {
    let filter = arguments.log.as_deref().unwrap_or(if serves.is_some() { "info" } else { "warn" });
    // Spans of traces are no part of the log.
    let filter = EnvFilter::new(format!("{filter},{}=off", traces::TARGET));
    let logs = fmt::layer().with_writer(std::io::stderr).with_ansi(std::io::stderr().is_terminal());
    let logs = match arguments.log_format {
        LogFormat::Text => logs.boxed(),
        LogFormat::Json => logs.json().flatten_event(true).with_current_span(false).boxed(),
    };
    let registry = tracing_subscriber::registry().with(logs.with_filter(filter));
    #[cfg(feature = "traces")]
    {
        let collector = serves.and_then(|serves| serves.traces.as_ref());
        let exporter = collector.map(traces::exporter).transpose()?;
        let (dispatch, exporter) = with_traces(registry, exporter);
        dispatch.init();
        Ok(Started { _exporter: exporter })
    }
    #[cfg(not(feature = "traces"))]
    {
        registry.init();
        Ok(Started {})
    }
}

/// Logs, and what sends spans where there is a collector. Without one there is not even an empty layer: next to it, spans of
/// traces would be made for nobody.
#[cfg(feature = "traces")]
fn with_traces<S, E>(logs: S, exporter: Option<(E, impl Layer<S> + Send + Sync)>) -> (Dispatch, Option<E>)
where
    S: Subscriber + Send + Sync,
{
    match exporter {
        Some((exporter, layer)) => (logs.with(layer).into(), Some(exporter)),
        None => (logs.into(), None),
    }
}

#[cfg(all(test, feature = "traces"))]
mod tests {
    use actix_web::http::Method;
    use actix_web::http::header::HeaderMap;

    use super::*;

    #[test]
    fn without_a_collector_spans_of_traces_are_not_made() {
        let made = |collector: Option<((), fmt::Layer<_>)>| {
            let filter = EnvFilter::new(format!("info,{}=off", traces::TARGET));
            let logs = tracing_subscriber::registry().with(fmt::layer().with_filter(filter));
            let (dispatch, _) = with_traces(logs, collector);
            let request = || traces::request(&Method::GET, &HeaderMap::new());
            tracing::dispatcher::with_default(&dispatch, || !request().is_disabled())
        };
        assert!(!made(None) && made(Some(((), fmt::layer()))));
    }
}
