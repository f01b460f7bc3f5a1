//! The only place that prints.

use std::io::Write;
use std::process::ExitCode;

use anyhow::Context;

/// Writes one line of data to stdout. A reader that has gone away (`| head`) is an error like any other.
pub(super) fn line(text: &str) -> anyhow::Result<()> {
    writeln!(std::io::stdout().lock(), "{text}").context("cannot write to standard output")
}

/// Tells a person why the command failed: exit code 1.
pub(super) fn failure(error: &anyhow::Error) -> ExitCode {
    // Nothing is left to do if even this cannot be written.
    let _ = writeln!(std::io::stderr().lock(), "tenths: {error:#}");
    ExitCode::from(1)
}

/// Prints help, version or what is wrong with the arguments: exit code 0 or 2.
pub(super) fn usage(error: &clap::Error) -> ExitCode {
    // As above.
    let _ = error.print();
    ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2))
}
