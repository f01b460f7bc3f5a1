//! Where logs go: stderr, as text for people or as JSON for collectors.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

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

/// Starts logging for the whole process. A service tells what it does; other commands have their own output.
pub(super) fn start(arguments: &LogArguments, serves: bool) {
    let filter = arguments.log.as_deref().unwrap_or(if serves { "info" } else { "warn" });
    let logs = tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::new(filter))
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    match arguments.log_format {
        LogFormat::Text => logs.init(),
        LogFormat::Json => logs.json().flatten_event(true).init(),
    }
}
