//! The command line: one file for each command. Data goes to stdout, everything else to stderr.
//!
//! Exit codes: 0 done, 1 the input is at fault or a check failed, 2 wrong usage.

mod load;
mod logs;
mod output;
mod platform;
mod serve;
mod token;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Decimal questions, proven and different for every pupil, with grades in the gradebook.
#[derive(Debug, Parser)]
#[command(name = "tenths", version, propagate_version = true)]
struct Arguments {
    #[command(flatten)]
    logs: logs::LogArguments,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the service
    Serve(crate::settings::ServeArguments),
    /// Manage the platforms that may launch the service
    #[command(subcommand)]
    Platform(platform::PlatformCommand),
    /// Put a pool into the service's store, so that teachers can place it
    Load(load::LoadArguments),
    /// Manage tokens of the programming interface
    #[command(subcommand)]
    Token(token::TokenCommand),
}

/// Runs the program with the process's arguments.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return output::usage(&error),
    };
    logs::start(&arguments.logs);
    let result = match arguments.command {
        Command::Serve(arguments) => serve::run(arguments),
        Command::Platform(command) => platform::run(command),
        Command::Load(arguments) => load::run(&arguments),
        Command::Token(command) => token::run(&command),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => output::failure(&error),
    }
}

/// Runs one asynchronous command on a small runtime of its own.
fn block_on<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    tokio::runtime::Builder::new_multi_thread().enable_all().build()?.block_on(work)
}
