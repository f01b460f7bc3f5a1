//! The faults that strike during a storm, on a schedule of chance: kills of random processes, restarts of the database.

use std::fmt;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::chance::Chance;
use crate::fault::{Fault, Kind};
use crate::history::Verdict;
use crate::postgres::Postgres;
use crate::storm::{ATTEMPTS, Class, Storm};

/// How long a storm lasts, for whom, and what strikes how often.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// How long faults strike; pupils come during most of it.
    pub lasting: Duration,
    /// How many pupils.
    pub pupils: u64,
    /// How many processes.
    pub processes: usize,
    /// A process chosen at random is killed so often, and started again at once.
    pub kill_every: Duration,
    /// The database is restarted so often.
    pub restart_every: Duration,
    /// What pupils and faults do at random.
    pub seed: u64,
}

/// What a storm came to.
pub struct Aftermath {
    /// The comparison of history, store and gradebook.
    pub verdict: Verdict,
    /// Kills by process.
    pub kills: Vec<usize>,
    /// Restarts of the database.
    pub restarts: usize,
    /// How long faults struck.
    pub lasted: Duration,
    /// How long grades took after the last pupil.
    pub drained: Duration,
    forecast: Forecast,
}

impl Aftermath {
    /// Whether every pupil did everything, and nothing was lost, doubled or out of order.
    pub fn holds(&self) -> bool {
        let pupils = usize::try_from(self.forecast.pupils).unwrap_or(usize::MAX);
        let attempts = usize::try_from(ATTEMPTS).unwrap_or(usize::MAX);
        let verdict = &self.verdict;
        verdict.holds()
            && verdict.submits_acknowledged == pupils * attempts
            && verdict.marks_stored == verdict.submits_acknowledged
            && verdict.grades_delivered == pupils
    }
}

impl fmt::Display for Aftermath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Forecast { pupils, processes, seed, .. } = self.forecast;
        writeln!(
            f,
            "storm: {processes} processes, {pupils} pupils with {ATTEMPTS} attempts each, {:.0} s, seed {seed}",
            self.lasted.as_secs_f64()
        )?;
        writeln!(
            f,
            "kills {} (by process {:?}), database restarts {}; grades drained in {:.1} s after the last pupil",
            self.kills.iter().sum::<usize>(),
            self.kills,
            self.restarts,
            self.drained.as_secs_f64()
        )?;
        self.verdict.fmt(f)
    }
}

/// Plays a storm over PostgreSQL; tells `say` how it goes about every half minute.
///
/// # Panics
/// If pupils get no answer for too long, or grades do not arrive in time.
pub async fn play(forecast: Forecast, server: &Postgres, say: impl Fn(String)) -> Aftermath {
    let class = Class {
        pupils: forecast.pupils,
        arriving: forecast.lasting.mul_f64(0.85),
        thinking: (forecast.lasting / 20).min(Duration::from_secs(8)),
        seed: forecast.seed,
    };
    let mut storm = Storm::prepare(class, forecast.processes, Some(server.database())).await;
    let playing = storm.begin();
    let mut chance = Chance::of(forecast.seed, 0);
    let began = Instant::now();
    let (mut next_kill, mut next_restart, mut next_word) =
        (forecast.kill_every, forecast.restart_every, Duration::from_secs(30));
    let mut restarts = 0;
    let pupils = usize::try_from(forecast.pupils).unwrap_or(usize::MAX);
    while began.elapsed() < forecast.lasting && storm.done.load(Ordering::Relaxed) < pupils {
        let until = next_kill.min(next_restart).min(next_word).min(forecast.lasting);
        tokio::time::sleep(until.saturating_sub(began.elapsed())).await;
        if began.elapsed() >= next_kill {
            next_kill += forecast.kill_every;
            let fault = Fault { kind: Kind::ProcessKilled, seed: chance.below(u64::MAX) };
            fault.strike(&mut storm, Some(server)).await;
        }
        if began.elapsed() >= next_restart {
            next_restart += forecast.restart_every;
            let fault = Fault { kind: Kind::DatabaseRestarted, seed: chance.below(u64::MAX) };
            fault.strike(&mut storm, Some(server)).await;
            restarts += 1;
        }
        if began.elapsed() >= next_word {
            next_word += Duration::from_secs(30);
            say(format!(
                "{:.0} s: {} pupils are done",
                began.elapsed().as_secs_f64(),
                storm.done.load(Ordering::Relaxed)
            ));
        }
    }
    let lasted = began.elapsed();
    storm.ended(playing).await;
    let done = Instant::now();
    storm.delivered().await;
    let drained = done.elapsed();
    Aftermath {
        verdict: storm.verdict().await,
        kills: storm.cluster.kills.clone(),
        restarts,
        lasted,
        drained,
        forecast,
    }
}
