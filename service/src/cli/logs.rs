//! Where logs go: stderr, as text for people or as JSON for collectors.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

/// How to log; for every command.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct LogArguments {
    /// Form of the logs on standard error.
    #[arg(long, global = true, value_enum, default_value_t = LogFormat::Text, value_name = "FORMAT")]
    log_format: LogFormat,
    /// What to log, such as info, debug or service::delivery=debug.
    #[arg(long, global = true, env = "TENTHS_LOG", default_value = "info", value_name = "FILTER")]
    log: String,
}

/// Form of the logs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum LogFormat {
    /// Lines for people, coloured on terminals.
    Text,
    /// One JSON object a line.
    Json,
}

/// Starts logging for the whole process.
pub(super) fn start(arguments: &LogArguments) {
    let logs = tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::new(&arguments.log))
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    match arguments.log_format {
        LogFormat::Text => logs.init(),
        LogFormat::Json => logs.json().flatten_event(true).init(),
    }
}
