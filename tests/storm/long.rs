//! The storm by hand, see `tests/storm/run --help`.

use std::io::Write as _;
use std::process::ExitCode;
use std::time::Duration;

use clap::Parser;
use conformance::chance::Chance;
use conformance::postgres::Postgres;
use conformance::weather::{self, Forecast};

/// Pupils take a quiz at several processes over one PostgreSQL while processes are killed and the database restarts; then
/// what pupils were told is held against the store and the gradebook
#[derive(Parser)]
struct Arguments {
    /// How long faults strike
    #[arg(long, default_value_t = 10.0)]
    minutes: f64,
    /// How many pupils take the quiz, twice each
    #[arg(long, default_value_t = 2000)]
    pupils: u64,
    /// How many processes serve
    #[arg(long, default_value_t = 3)]
    processes: usize,
    /// Seconds between kills of a process chosen at random
    #[arg(long, default_value_t = 5)]
    kill_every: u64,
    /// Seconds between restarts of the database
    #[arg(long, default_value_t = 60)]
    restart_every: u64,
    /// What pupils and faults do at random, as an earlier run told it
    #[arg(long)]
    seed: Option<u64>,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let forecast = Forecast {
        lasting: Duration::from_secs_f64(arguments.minutes * 60.0),
        pupils: arguments.pupils,
        processes: arguments.processes,
        kill_every: Duration::from_secs(arguments.kill_every.max(1)),
        restart_every: Duration::from_secs(arguments.restart_every.max(1)),
        seed: arguments.seed.unwrap_or_else(Chance::fresh_seed),
    };
    let Some(server) = Postgres::start() else { return ExitCode::FAILURE };
    let say = |line: String| drop(writeln!(std::io::stderr(), "{line}"));
    say(format!("seed {}", forecast.seed));
    let runtime = tokio::runtime::Runtime::new().expect("threads can be started");
    let aftermath = runtime.block_on(weather::play(forecast, &server, say));
    // A reader who has gone away needs no figures.
    let _ = writeln!(std::io::stdout(), "{aftermath}");
    if aftermath.holds() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
