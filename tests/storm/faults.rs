//! Each fault strikes a class at work; afterwards nothing that was acknowledged is lost, doubled or out of order.

use std::time::Duration;

use conformance::fault::{Fault, Kind, faketime_library};
use conformance::postgres::Postgres;
use conformance::storm::{ATTEMPTS, Class, Storm};

use crate::{say, seed};

const PUPILS: u64 = 24;
/// When the fault strikes: pupils are at work, and others still come.
const AFTER: Duration = Duration::from_secs(2);

async fn holds_under(kind: Kind, processes: usize, server: Option<&Postgres>) {
    let fault = Fault { kind, seed: seed() };
    let class = Class {
        pupils: PUPILS,
        arriving: Duration::from_secs(5),
        thinking: Duration::from_millis(1500),
        seed: fault.seed,
    };
    let mut storm = Storm::prepare(class, processes, server.map(Postgres::database)).await;
    let playing = storm.begin();
    tokio::time::sleep(AFTER).await;
    fault.strike(&mut storm, server).await;
    storm.ended(playing).await;
    storm.delivered().await;
    let verdict = storm.verdict().await;
    say(&format!("{fault}, TENTHS_STORM_SEED={}: {verdict}", fault.seed));
    assert!(verdict.holds(), "{fault}: {verdict}");
    let submits = usize::try_from(PUPILS).unwrap() * usize::try_from(ATTEMPTS).unwrap();
    assert_eq!((verdict.submits_acknowledged, verdict.marks_stored), (submits, submits), "{fault}");
    assert_eq!(verdict.grades_delivered, usize::try_from(PUPILS).unwrap(), "{fault}");
}

async fn holds_over_postgres_under(kind: Kind, processes: usize) {
    if let Some(server) = Postgres::start() {
        holds_under(kind, processes, Some(&server)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_killed_process_loses_nothing() {
    holds_over_postgres_under(Kind::ProcessKilled, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_killed_process_loses_nothing_of_an_embedded_store() {
    holds_under(Kind::ProcessKilled, 1, None).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restarted_database_loses_nothing() {
    holds_over_postgres_under(Kind::DatabaseRestarted, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_crashed_database_loses_nothing() {
    holds_over_postgres_under(Kind::DatabaseCrashed, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn cut_connections_lose_nothing() {
    holds_over_postgres_under(Kind::ConnectionsCut, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_loses_nothing_that_was_acknowledged() {
    holds_under(Kind::DiskFull, 1, None).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_slow_disk_doubles_nothing() {
    holds_over_postgres_under(Kind::SlowDisk, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_steps_back_brings_nothing_out_of_order() {
    if faketime_library().is_none() {
        return conformance::skip(
            "a clock that steps back",
            "libfaketime is not installed (Debian: faketime)",
        );
    }
    holds_over_postgres_under(Kind::ClockSteppedBack, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_platform_that_is_out_gets_every_grade_afterwards() {
    holds_over_postgres_under(Kind::PlatformOut, 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn processes_that_bring_a_store_up_to_date_at_once_lose_nothing() {
    holds_over_postgres_under(Kind::BroughtUpToDate, 3).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn several_processes_send_each_grade_once() {
    holds_over_postgres_under(Kind::OneOutbox, 3).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_processes_on_one_file_send_each_grade_once() {
    holds_under(Kind::OneOutbox, 2, None).await;
}
