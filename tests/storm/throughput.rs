//! How many submits a second, and how long one takes: by number of processes, and by number of attempts that the store
//! already holds. Run by `tests/bench/throughput`; it prints a table and judges nothing.
//!
//! Pupils, practice platform, database and processes share this machine, so figures of several processes tell what sharing
//! costs, not what more machines give. A submit is the whole way of a form by HTTP: kept, marked, closed with its grade
//! queued, flushed to disk, and the result page drawn.

use std::io::Write as _;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use clap::Parser;
use conformance::postgres::Postgres;
use conformance::storm::{Class, Storm};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

/// Measures submits
#[derive(Parser)]
struct Arguments {
    /// How many submits each row measures
    #[arg(long, default_value_t = 600)]
    submits: u64,
    /// How many pupils hand in at once
    #[arg(long, default_value_t = 32)]
    at_once: usize,
    /// Attempts held already, for the rows by size
    #[arg(long, value_delimiter = ',', default_value = "10000,100000,1000000")]
    rows: Vec<u64>,
    /// The greatest number of processes
    #[arg(long, default_value_t = 3)]
    processes: usize,
}

fn main() {
    let arguments = Arguments::parse();
    let runtime = tokio::runtime::Runtime::new().expect("threads can be started");
    let Some(server) = Postgres::start() else { return };
    say(&format!(
        "{} submits a row, {} at once\n{:<11}{:>10} {:>14} {:>10} {:>9} {:>9}",
        arguments.submits,
        arguments.at_once,
        "store",
        "processes",
        "attempts held",
        "submits/s",
        "p50 ms",
        "p99 ms"
    ));
    runtime.block_on(async {
        measure("SQLite", &arguments, 1, None, &[0]).await;
        for processes in 1..=arguments.processes {
            measure("PostgreSQL", &arguments, processes, Some(&server), &[0]).await;
        }
        measure("SQLite", &arguments, 1, None, &arguments.rows).await;
        measure("PostgreSQL", &arguments, 1, Some(&server), &arguments.rows).await;
    });
}

/// A row for each size, which grow: the store is filled up between them.
async fn measure(
    name: &str,
    arguments: &Arguments,
    processes: usize,
    server: Option<&Postgres>,
    sizes: &[u64],
) {
    let rounds = u64::try_from(sizes.len()).expect("a handful");
    let class = Class {
        pupils: arguments.submits * rounds + 1,
        arriving: Duration::ZERO,
        thinking: Duration::ZERO,
        seed: 1,
    };
    let storm = Storm::prepare(class, processes, server.map(Postgres::database)).await;
    // One attempt whose answers and marks are copied.
    for first in storm.ready(1, 1).await {
        first.hand_in().await.expect("the first pupil hands in");
    }
    let (mut held, mut pupil) = (0, 2);
    for &size in sizes {
        if size > held {
            fill(&storm, server, held, size);
            held = size;
        }
        let ready = storm.ready(pupil, arguments.submits).await;
        pupil += arguments.submits;
        storm.delivered().await;
        let turns = Arc::new(Semaphore::new(arguments.at_once));
        let mut handing_in = JoinSet::new();
        let began = Instant::now();
        for pupil in ready {
            let turns = turns.clone();
            handing_in.spawn(async move {
                let _turn = turns.acquire().await;
                pupil.hand_in().await.expect("each pupil hands in")
            });
        }
        let mut took = handing_in.join_all().await;
        let rate =
            f64::from(u32::try_from(took.len()).expect("a few thousand")) / began.elapsed().as_secs_f64();
        took.sort();
        let ms = |percent: usize| took[(took.len() - 1) * percent / 100].as_secs_f64() * 1000.0;
        say(&format!("{name:<11}{processes:>10} {held:>14} {rate:>10.0} {:>9.1} {:>9.1}", ms(50), ms(99)));
    }
}

/// Fills the store with closed attempts whose grades are delivered, a hundred pupils a quiz, up to `to` of them.
fn fill(storm: &Storm, server: Option<&Postgres>, from: u64, to: u64) {
    const PUPILS_A_QUIZ: u64 = 100;
    let series = |from: u64, to: u64| {
        format!(
            "WITH RECURSIVE series(g) AS (SELECT {} UNION ALL SELECT g + 1 FROM series WHERE g < {to})",
            from + 1
        )
    };
    let bulk = format!(
        r#"INSERT INTO placements (id, registration, deployment, resource_link, title, pool, question_count,
                attempts_allowed, created_at)
            {} SELECT 'bulk-' || g, p.registration, p.deployment, 'bulk-' || g, p.title, p.pool, 2, 2, p.created_at
            FROM series CROSS JOIN (SELECT * FROM placements WHERE id NOT LIKE 'bulk-%' LIMIT 1) p;
        INSERT INTO attempts (id, placement, "user", number, seed, started_at, responses, submitted_at, marks, points, maximum)
            {} SELECT 'bulk-' || g, 'bulk-' || ((g - 1) / {PUPILS_A_QUIZ} + 1), 'pupil-' || g, 1, 'seed', a.started_at,
                a.responses, a.submitted_at, a.marks, a.points, a.maximum
            FROM series CROSS JOIN (SELECT * FROM attempts WHERE submitted_at IS NOT NULL AND id NOT LIKE 'bulk-%' LIMIT 1) a;
        INSERT INTO outbox (placement, "user", version, progress, points, maximum, started_at, submitted_at, state,
                waiting_since, tries, next_try_at, last_timestamp, registration)
            {} SELECT 'bulk-' || ((g - 1) / {PUPILS_A_QUIZ} + 1), 'pupil-' || g, 1, 'graded', a.points, a.maximum, a.started_at,
                a.submitted_at, 'delivered', a.submitted_at, 0, a.submitted_at, a.submitted_at, p.registration
            FROM series CROSS JOIN (SELECT * FROM attempts WHERE id = 'bulk-1') a
                JOIN placements p ON p.id = 'bulk-1';"#,
        series(from / PUPILS_A_QUIZ, to / PUPILS_A_QUIZ),
        series(from, to),
        series(from, to)
    );
    match server {
        Some(server) => drop(server.run_at(storm.store(), &bulk)),
        None => {
            let script = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1], 60); c.executescript(sys.argv[2]); c.commit()";
            let file = storm.store().trim_start_matches("sqlite:");
            let filled = Command::new("python3").args(["-c", script, file, &bulk]).status();
            assert!(filled.expect("python3 is installed").success(), "the store can be filled");
        }
    }
}

fn say(line: &str) {
    // A reader who has gone away needs no figures.
    let _ = writeln!(std::io::stdout(), "{line}");
}
