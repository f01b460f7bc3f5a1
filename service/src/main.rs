//! The `tenths` program.

use std::process::ExitCode;

fn main() -> ExitCode {
    service::cli::run()
}
