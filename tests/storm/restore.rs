//! The restore drill: a backup is made while a class is at work, everything is destroyed, the backup is restored into an
//! empty store. What was acknowledged before the backup began is there, and what waited is delivered.

use std::time::Duration;

use conformance::postgres::Postgres;
use conformance::program::run_well;
use conformance::storm::{Class, Storm};
use jiff::Timestamp;
use service::practice::{Fault, PlannedFault};

use crate::{say, seed};

/// When the platform goes out, so that grades wait; what is on its way then has arrived when the backup begins.
const OUT_AFTER: Duration = Duration::from_secs(4);
const BACKED_UP_AFTER: Duration = Duration::from_secs(4);

async fn drill(processes: usize, server: Option<&Postgres>) {
    let seed = seed();
    let class =
        Class { pupils: 30, arriving: Duration::from_secs(8), thinking: Duration::from_millis(1500), seed };
    let mut storm = Storm::prepare(class, processes, server.map(Postgres::database)).await;
    let mut playing = storm.begin();
    tokio::time::sleep(OUT_AFTER).await;
    storm.school.practice.set_fault(Some(PlannedFault { fault: Fault::Unavailable, times: None }));
    tokio::time::sleep(BACKED_UP_AFTER).await;

    let began = Timestamp::now();
    let (file, store) = (storm.file("backup.db"), storm.store().to_owned());
    let to = file.to_str().unwrap().to_owned();
    tokio::task::spawn_blocking(move || run_well(["backup", &to, "--store", &store])).await.unwrap();
    storm.kill_all();
    playing.shutdown().await;

    let empty = match server {
        Some(server) => server.database(),
        None => {
            std::fs::remove_file(storm.file("tenths.db")).unwrap();
            format!("sqlite:{}", storm.file("restored.db").display())
        }
    };
    run_well(["restore", file.to_str().unwrap(), "--store", &empty]);
    let heard_before = storm.school.practice.journal().len();
    storm.school.practice.set_fault(None);
    storm.go_on_from(empty).await;
    storm.delivered().await;
    let verdict = storm.verdict_on(&storm.history().acknowledged_until(began)).await;
    say(&format!("restored, TENTHS_STORM_SEED={seed}: {verdict}"));
    assert!(verdict.holds(), "{verdict}");
    assert!(verdict.submits_acknowledged > 0, "the drill begins after somebody has handed in: {verdict}");
    assert!(storm.school.practice.journal().len() > heard_before, "grades waited in the backup");
    assert_eq!(verdict.grades_delivered, verdict.grades_due, "{verdict}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_under_load_restores_all_it_covers_to_an_embedded_store() {
    drill(1, None).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_under_load_restores_all_it_covers_to_postgres() {
    if let Some(server) = Postgres::start() {
        drill(2, Some(&server)).await;
    }
}
