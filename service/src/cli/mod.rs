//! The command line: one file for each command. Data goes to stdout, everything else to stderr.
//!
//! Exit codes: 0 done, 1 the input is at fault or a check failed, 2 wrong usage.

mod audit;
mod backup;
mod bank;
mod demo;
mod draw;
mod duration;
mod examine;
pub(crate) mod export;
mod families;
mod held;
mod invite;
mod keys;
mod load;
mod logs;
mod output;
mod platform;
mod platform_frames;
mod pool;
mod pool_file;
mod purge;
mod read;
mod report;
mod score;
mod serve;
mod token;
mod work;
mod worksheet;

use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand};

use crate::clock::{Clock, SystemClock};
use crate::storage::{Actor, Change};

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
    /// Run the whole loop on this machine: pool, quiz, class, grades
    Demo(demo::DemoArguments),
    /// List the question families with alignment, kinds of answer and capacity
    Families(families::FamiliesArguments),
    /// Draw proven questions of a family
    Draw(draw::DrawArguments),
    /// Work an expression in columns and show what each misconception would give
    Work(work::WorkArguments),
    /// Show how a pupil's typed answer is read
    Read(read::ReadArguments),
    /// Make a pool of proven questions from a plan
    Pool(pool::PoolArguments),
    /// Write a pool as a package that platforms load
    Export(export::ExportArguments),
    /// Try out a package before a platform loads it: structure, references, and every item run with right and wrong
    /// responses
    Examine(examine::ExamineArguments),
    /// Mark responses from a file; rows that cannot be used are told and never stop the rest
    Score(score::ScoreArguments),
    /// Tell what marks say about questions, groups and pupils
    Report(report::ReportArguments),
    /// Print a pool: one version a pupil with a code each, and the key
    Worksheet(worksheet::WorksheetArguments),
    /// Run the service
    Serve(crate::settings::ServeArguments),
    /// Manage the platforms that may launch the service
    #[command(subcommand)]
    Platform(platform::PlatformCommand),
    /// Put a pool into the service's store, so that teachers can place it
    Load(load::LoadArguments),
    /// Delete what is held on a pupil, a course, a platform, or everybody who did nothing for long
    Purge(purge::PurgeArguments),
    /// Give out everything that is held on one pupil
    Held(held::HeldArguments),
    /// Invite a platform to register itself: prints the address for its administrator, to be used once
    Invite(invite::InviteArguments),
    /// Manage tokens of the programming interface
    #[command(subcommand)]
    Token(token::TokenCommand),
    /// Manage the keys that sign what platforms get from us
    #[command(subcommand)]
    Keys(keys::KeysCommand),
    /// Write the whole store into one file, while the service goes on
    Backup(backup::BackupArguments),
    /// Fill an empty store from a backup
    Restore(backup::RestoreArguments),
    /// Fill an empty store from another one, such as PostgreSQL from SQLite
    Move(backup::MoveArguments),
    /// Tell who changed what: registrations, keys, tokens, marks
    Audit(audit::AuditArguments),
}

/// Runs the program with the process's arguments.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return output::usage(&error),
    };
    let serves = match &arguments.command {
        Command::Serve(serves) => Some(serves),
        _ => None,
    };
    let _logs = match logs::start(&arguments.logs, serves) {
        Ok(started) => started,
        Err(error) => return output::failure(&error),
    };
    let result = match arguments.command {
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Families(arguments) => families::run(&arguments),
        Command::Draw(arguments) => draw::run(&arguments),
        Command::Work(arguments) => work::run(&arguments),
        Command::Read(arguments) => read::run(&arguments),
        Command::Pool(arguments) => pool::run(&arguments),
        Command::Export(arguments) => export::run(&arguments),
        Command::Examine(arguments) => examine::run(&arguments),
        Command::Score(arguments) => score::run(&arguments),
        Command::Report(arguments) => report::run(&arguments),
        Command::Worksheet(arguments) => worksheet::run(&arguments),
        Command::Serve(arguments) => serve::run(arguments),
        Command::Platform(command) => platform::run(command),
        Command::Invite(arguments) => invite::run(&arguments),
        Command::Load(arguments) => load::run(&arguments),
        Command::Purge(arguments) => purge::run(arguments),
        Command::Held(arguments) => held::run(arguments),
        Command::Token(command) => token::run(&command),
        Command::Keys(command) => keys::run(&command),
        Command::Backup(arguments) => backup::backup(&arguments),
        Command::Restore(arguments) => backup::restore(&arguments),
        Command::Move(arguments) => backup::move_store(&arguments),
        Command::Audit(arguments) => audit::run(&arguments),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => output::failure(&error),
    }
}

/// A change that the person at the command line makes now.
fn by_command_line() -> Change {
    Change { at: SystemClock.now(), by: Actor::CommandLine }
}

/// Runs one asynchronous command on a small runtime of its own.
/// How long work on threads of its own has at the end of the program.
const ENDS_WITHIN: Duration = Duration::from_secs(3);

fn block_on<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let done = runtime.block_on(work);
    // Work that blocks a thread and cannot be stopped is left alone.
    runtime.shutdown_timeout(ENDS_WITHIN);
    done
}
