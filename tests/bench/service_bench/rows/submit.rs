//! Handing in: session, marking, store and outbox, on disk before the answer; against a bare handler of actix-web with one
//! insert that is on disk before the answer. The platform takes no scores meanwhile, but for the row that says so.

use anyhow::ensure;
use conformance::postgres::Postgres;

use super::at_path;
use crate::bench::Bench;
use crate::client::{Lasting, Load, Requests, expect_onward};
use crate::figures::{Figure, Ratio, Round, say_rounds};
use crate::school::Ready;

/// The share of the limit, and of SQLite on PostgreSQL, that is asked for.
const GOAL: f64 = 0.7;
/// Connections of the crowd, and how many times as long its slowest may take.
const CROWD: usize = 256;
const CROWD_GOAL: f64 = 4.0;

#[derive(Default)]
struct Rounds {
    ours: Vec<Round>,
    limit: Vec<Round>,
    crowd: Vec<Round>,
    delivering: Vec<Round>,
    postgres: Vec<Round>,
}

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let prepared = bench.prepared().await?;
    let (ready, usual) = (&prepared.ready, bench.load());
    let crowd = Load { connections: CROWD, ..usual };
    let inserts = at_path("/insert", &submits(ready));
    let bare = bench.bare().await?;
    let postgres = if bench.arguments.no_postgres { None } else { OnPostgres::prepare(bench).await? };
    let mut rounds = Rounds::default();
    for _ in 0..bench.arguments.rounds {
        let store = || bench.school.copy(&prepared.store, "submit.db");
        rounds.ours.push(hand_in(bench, &store()?, ready, usual, Scores::Wait).await?);
        rounds.limit.push(bench.limit(&bare, &inserts, expect_onward).await?);
        rounds.crowd.push(hand_in(bench, &store()?, ready, crowd, Scores::Wait).await?);
        rounds.delivering.push(hand_in(bench, &store()?, ready, usual, Scores::Delivered).await?);
        if let Some(OnPostgres { server, template, ready }) = &postgres {
            let store = server.copy_of(template);
            rounds.postgres.push(hand_in(bench, &store, ready, usual, Scores::Wait).await?);
        }
    }
    Ok(rounds.figures())
}

/// What becomes of scores while pupils hand in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scores {
    /// The platform takes none; all wait in the outbox.
    Wait,
    /// The platform takes them.
    Delivered,
}

/// The same pupils in a database, which is copied for each round: sessions do not move from store to store.
struct OnPostgres {
    server: Postgres,
    template: String,
    ready: Vec<Ready>,
}

impl OnPostgres {
    async fn prepare(bench: &Bench) -> anyhow::Result<Option<Self>> {
        let Some(server) = Postgres::start() else { return Ok(None) };
        let template = server.database();
        let ready = bench.begin_all(&template, bench.arguments.pupils).await?;
        // As the database's own keeper would do within a minute.
        server.run_at(&template, "ANALYZE");
        Ok(Some(Self { server, template, ready }))
    }
}

fn submits(ready: &[Ready]) -> Requests {
    ready.iter().map(|ready| ready.submit.clone()).collect()
}

/// Every pupil hands in, and all grades wait afterwards unless they are delivered.
async fn hand_in(
    bench: &Bench,
    store: &str,
    ready: &[Ready],
    load: Load,
    scores: Scores,
) -> anyhow::Result<Round> {
    bench.school.platform.take_scores(scores == Scores::Delivered);
    let served = bench.school.serve(store).await;
    bench.warm(ready).await?;
    let round = bench.round(&served, load, &submits(ready), Lasting::Once, expect_onward).await?;
    if scores == Scores::Wait {
        let waiting = bench.school.waiting().await?;
        ensure!(waiting == ready.len() as f64, "{waiting} grades wait after {} submits", ready.len());
    }
    Ok(round)
}

impl Rounds {
    fn figures(&self) -> Vec<Figure> {
        say_rounds(
            "durable submit",
            &[
                ("ours, SQLite", &self.ours),
                ("bare actix-web with a durable insert", &self.limit),
                ("ours, SQLite, 256 connections", &self.crowd),
                ("ours, SQLite, grades delivered", &self.delivering),
                ("ours, PostgreSQL", &self.postgres),
            ],
        );
        let a_second = |round: &Round| round.a_second;
        let share = Ratio::of(&self.ours, &self.limit, a_second);
        let crowd = Ratio::of(&self.crowd, &self.ours, |round| round.p99_ms);
        let of_bare = "durable submit, of a bare durable insert";
        let of_usual = "p99 of 256 connections, of that of 64";
        let mut figures = vec![
            Figure::of(of_bare, "70 % or more", share.percent(), share.median >= GOAL),
            Figure::of(of_usual, "under 4 times", crowd.times(), crowd.median < CROWD_GOAL),
        ];
        if !self.postgres.is_empty() {
            let share = Ratio::of(&self.postgres, &self.ours, a_second);
            let name = "durable submit on PostgreSQL, of SQLite";
            figures.push(Figure::of(name, "70 % or more", share.percent(), share.median >= GOAL));
        }
        let share = Ratio::of(&self.delivering, &self.ours, a_second);
        figures.push(Figure::beside("submit while grades are delivered, of without", share.percent()));
        figures
    }
}
