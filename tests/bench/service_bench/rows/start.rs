//! From start to ready, and memory: idle, and when each of many pupils with a session has opened their page.

use std::time::{Duration, Instant};

use tokio::net::TcpStream;

use crate::bench::Bench;
use crate::client::{Lasting, Requests, expect_page};
use crate::figures::{Figure, median, say};
use crate::message::Messages;
use crate::process::memory_mb;

/// How long the start may take, in milliseconds.
const START_MS: f64 = 100.0;
/// How much memory may be resident idle and with sessions, in MB.
const IDLE_MB: f64 = 30.0;
const SESSIONS_MB: f64 = 120.0;
/// Between two tries to reach the service.
const TRIED_EVERY: Duration = Duration::from_micros(500);
/// How long the service is left alone before its idle memory is read.
const IDLE: Duration = Duration::from_secs(2);

pub(crate) async fn measure(bench: &Bench) -> anyhow::Result<Vec<Figure>> {
    let school = &bench.school;
    let (mut started_ms, mut idle_mb) = (Vec::new(), Vec::new());
    let store = school.store("start.db");
    school.set_up(&store);
    for round in 0..=bench.arguments.rounds {
        let began = Instant::now();
        let served = school.spawn(&store);
        while !is_ready(bench).await {
            tokio::time::sleep(TRIED_EVERY).await;
        }
        let took = began.elapsed();
        // The first start also makes the store's keys.
        if round > 0 {
            started_ms.push(took.as_secs_f64() * 1000.0);
        }
        if round == bench.arguments.rounds {
            tokio::time::sleep(IDLE).await;
            idle_mb.push(memory_mb(served.id())?.0);
        }
        served.end();
    }
    let prepared = bench.prepared().await?;
    let served = school.serve(&school.copy(&prepared.store, "sessions.db")?).await;
    let pages: Requests = prepared.ready.iter().map(|ready| ready.page.clone()).collect();
    bench.load().measure(&pages, Lasting::Once, expect_page).await?;
    let (sessions_mb, most_mb) = memory_mb(served.id())?;
    let (start_ms, idle_mb) = (median(started_ms), median(idle_mb));
    say(&format!("memory after {} sessions: {sessions_mb:.1} MB, at most {most_mb:.1} MB", pages.len()));
    let mb = |mb: f64| format!("{mb:.1} MB");
    Ok(vec![
        Figure::of("start to ready", "under 100 ms", format!("{start_ms:.1} ms"), start_ms < START_MS),
        Figure::of("memory idle", "under 30 MB", mb(idle_mb), idle_mb < IDLE_MB),
        Figure::of(
            &format!("memory at {} open sessions", pages.len()),
            "under 120 MB",
            mb(most_mb),
            most_mb < SESSIONS_MB,
        ),
    ])
}

/// Whether the service says that it is ready.
async fn is_ready(bench: &Bench) -> bool {
    let ask = async || {
        let mut connection = Messages::on(TcpStream::connect(bench.school.address()).await?);
        connection.send(b"GET /health/ready HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n").await?;
        let ready = match connection.next().await? {
            Some(answer) => answer.status()? == 200,
            None => false,
        };
        anyhow::Ok(ready)
    };
    ask().await.unwrap_or(false)
}
