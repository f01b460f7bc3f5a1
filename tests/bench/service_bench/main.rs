//! The service at load, held against what bare actix-web does on the same machine in the same minute. Run by
//! `tests/bench/service`; it prints a table and judges nothing: its exit code tells only whether it could measure.
//!
//! Client, platform and servers share the machine. The client writes requests that were made beforehand to connections
//! that stay open, and reads answers by their length, so that most of the time goes to the servers. Ours and the limit
//! take turns, round by round; a share is the median of the rounds' shares.

mod bare;
mod bench;
mod client;
mod figures;
mod form;
mod message;
mod platform;
mod process;
mod rows;
mod school;

use std::path::PathBuf;
use std::time::Duration;

use anyhow::Context as _;
use clap::{Parser, Subcommand, ValueEnum};
use conformance::program::{program, use_program};
use tokio::task::LocalSet;

use crate::bench::Bench;
use crate::figures::{Figure, say, table};

/// How large the program may be, in MB.
const SIZE_MB: f64 = 30.0;

/// Measures the service at load
#[derive(Debug, Parser)]
struct Arguments {
    #[command(subcommand)]
    bare: Option<Part>,
    /// Which rows
    #[arg(long, value_enum, value_delimiter = ',', default_value = "page,submit,launch,deliver,start")]
    only: Vec<Row>,
    /// How many rounds each row has
    #[arg(long, default_value_t = 5)]
    rounds: usize,
    /// How many seconds a round lasts where it is not ended by its number of requests
    #[arg(long, default_value_t = 2.0)]
    seconds: f64,
    /// How many pupils have an open attempt
    #[arg(long, default_value_t = 10_000)]
    pupils: usize,
    /// How many pupils launch in a round
    #[arg(long, default_value_t = 3_000)]
    launches: usize,
    /// How many questions a quiz asks
    #[arg(long, default_value_t = 8)]
    questions: u32,
    /// How many connections ask at once
    #[arg(long, default_value_t = 64)]
    connections: usize,
    /// Leaves PostgreSQL out
    #[arg(long)]
    no_postgres: bool,
    /// The released program; built if it is not given
    #[arg(long)]
    program: Option<PathBuf>,
}

/// The other part that this program has.
#[derive(Debug, Subcommand)]
enum Part {
    /// Serves as bare actix-web; started by the measuring itself
    #[command(hide = true)]
    Bare(bare::Arguments),
}

/// A row, or a few that belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Row {
    Page,
    Submit,
    Launch,
    Deliver,
    Start,
}

impl Arguments {
    fn lasting(&self) -> Duration {
        Duration::from_secs_f64(self.seconds)
    }
}

fn main() -> anyhow::Result<()> {
    let mut arguments = Arguments::parse();
    if let Some(Part::Bare(bare)) = &arguments.bare {
        return bare::serve(bare);
    }
    if let Some(file) = arguments.program.take() {
        use_program(file.canonicalize().with_context(|| file.display().to_string())?);
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let figures = LocalSet::new().block_on(&runtime, measure(arguments))?;
    say(&format!("\n{}", table(&figures)));
    Ok(())
}

async fn measure(arguments: Arguments) -> anyhow::Result<Vec<Figure>> {
    let (only, bench) = (arguments.only.clone(), Bench::new(arguments)?);
    let mut figures = Vec::new();
    for row in only {
        figures.extend(match row {
            Row::Page => rows::page::measure(&bench).await?,
            Row::Submit => rows::submit::measure(&bench).await?,
            Row::Launch => rows::launch::measure(&bench).await?,
            Row::Deliver => rows::deliver::measure(&bench).await?,
            Row::Start => rows::start::measure(&bench).await?,
        });
    }
    let mb = std::fs::metadata(program())?.len() as f64 / 1e6;
    figures.push(Figure::of("size of the program", "under 30 MB", format!("{mb:.1} MB"), mb < SIZE_MB));
    Ok(figures)
}
