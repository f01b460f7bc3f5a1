//! Handing in: session, marking, store and outbox, on disk before the answer; against a bare handler of actix-web with one
//! insert that is on disk before the answer. The platform takes no scores meanwhile, but for the row that says so.

use conformance::postgres::Postgres;

use super::{at_path, percent};
use crate::bench::Bench;
use crate::client::{Lasting, Load, Requests, expect_status};
use crate::figures::{Figure, Round, Watch, ratio, say_rounds};
use crate::school::Ready;

/// The share of the limit, and of SQLite on PostgreSQL, that is asked for.
const GOAL: f64 = 0.7;
/// PostgreSQL gets one of so many pupils: they cost more there, and none of the figures depends on their number.
const SHARE: usize = 4;
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
    let submits = submits(&prepared.ready);
    let inserts = at_path("/insert", &submits);
    let bare = bench.bare().await?;
    let postgres = if bench.arguments.no_postgres { None } else { OnPostgres::prepare(bench).await? };
    let mut rounds = Rounds::default();
    for _ in 0..bench.arguments.rounds {
        let store = |name: &str| bench.school.copy(&prepared.store, name);
        rounds.ours.push(hand_in(bench, &store("submit.db")?, &submits, bench.load(), false).await?);
        let watch = Watch::over(bare.id(), 0.0)?;
        let (load, lasting) = (Load { to: bare.address, ..bench.load() }, bench.arguments.lasting());
        let measured =
            load.measure(&inserts, Lasting::For(lasting), |answer| expect_status(answer, 303)).await?;
        rounds.limit.push(watch.ended(&measured, measured.answers as f64)?);
        let crowd = Load { connections: CROWD, ..bench.load() };
        rounds.crowd.push(hand_in(bench, &store("submit.db")?, &submits, crowd, false).await?);
        rounds.delivering.push(hand_in(bench, &store("submit.db")?, &submits, bench.load(), true).await?);
        if let Some(OnPostgres { server, template, submits }) = &postgres {
            let store = server.copy_of(template);
            rounds.postgres.push(hand_in(bench, &store, submits, bench.load(), false).await?);
        }
    }
    Ok(rounds.figures())
}

/// The same pupils in a database, which is copied for each round: sessions do not move from store to store.
struct OnPostgres {
    server: Postgres,
    template: String,
    submits: Requests,
}

impl OnPostgres {
    async fn prepare(bench: &Bench) -> anyhow::Result<Option<Self>> {
        let Some(server) = Postgres::start() else { return Ok(None) };
        let template = server.database();
        let ready = bench.begin_all(&template, bench.arguments.pupils.div_ceil(SHARE)).await?;
        // As the database's own keeper would do within a minute.
        server.run_at(&template, "ANALYZE");
        Ok(Some(Self { server, template, submits: submits(&ready) }))
    }
}

fn submits(ready: &[Ready]) -> Requests {
    ready.iter().map(|ready| ready.submit.clone()).collect()
}

/// Every pupil hands in, and all grades are waiting afterwards, or on their way.
async fn hand_in(
    bench: &Bench,
    store: &str,
    submits: &Requests,
    load: Load,
    delivering: bool,
) -> anyhow::Result<Round> {
    bench.school.platform.take_scores(delivering);
    let served = bench.school.serve(store).await;
    let watch = Watch::over(served.id(), bench.school.steps().await?)?;
    let measured = load.measure(submits, Lasting::Once, |answer| expect_status(answer, 303)).await?;
    let round = watch.ended(&measured, bench.school.steps().await?)?;
    if !delivering {
        let waiting = bench.school.waiting().await?;
        anyhow::ensure!(
            waiting == submits.len() as f64,
            "{waiting} grades wait after {} submits",
            submits.len()
        );
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
        let share = ratio(&self.ours, &self.limit, a_second);
        let crowd = ratio(&self.crowd, &self.ours, |round| round.p99_ms);
        let mut figures = vec![
            Figure::of(
                "durable submit, of a bare durable insert",
                "70 % or more",
                percent(share),
                share >= GOAL,
            ),
            Figure::of(
                "p99 of 256 connections, of that of 64",
                "under 4 times",
                format!("{crowd:.1} times"),
                crowd < CROWD_GOAL,
            ),
        ];
        if !self.postgres.is_empty() {
            let share = ratio(&self.postgres, &self.ours, a_second);
            let name = "durable submit on PostgreSQL, of SQLite";
            figures.push(Figure::of(name, "70 % or more", percent(share), share >= GOAL));
        }
        let share = ratio(&self.delivering, &self.ours, a_second);
        figures.push(Figure::beside("submit while grades are delivered, of without", percent(share)));
        figures
    }
}
