//! The storm, short: three processes over one PostgreSQL, pupils who take the quiz twice, a kill every five seconds and a
//! restart of the database.
//!
//! `TENTHS_STORM_SEED` repeats what pupils and faults did at random in an earlier run.

use std::time::Duration;

use conformance::postgres::Postgres;
use conformance::weather::{self, Forecast};

use crate::{say, seed};

#[tokio::test(flavor = "multi_thread")]
async fn nothing_acknowledged_is_lost_or_doubled_while_processes_are_killed_and_the_database_restarts() {
    let Some(server) = Postgres::start() else { return };
    let forecast = Forecast {
        lasting: Duration::from_secs(40),
        pupils: 200,
        processes: 3,
        kill_every: Duration::from_secs(5),
        restart_every: Duration::from_secs(18),
        seed: seed(),
    };
    say(&format!("storm: TENTHS_STORM_SEED={}", forecast.seed));
    let aftermath = weather::play(forecast, &server, |line| say(&line)).await;
    say(&aftermath.to_string());
    assert!(aftermath.holds(), "{aftermath}");
}
