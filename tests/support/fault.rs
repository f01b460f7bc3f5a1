//! Faults on purpose: each has a name and a seed, strikes a storm once, and is over when [`Fault::strike`] returns.

use std::fmt;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use jiff::Timestamp;
use service::practice::{Fault as PlatformFault, PlannedFault};

use crate::chance::Chance;
use crate::postgres::Postgres;
use crate::program::tenths_under;
use crate::storm::Storm;

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A process is killed with SIGKILL and started again at once.
    ProcessKilled,
    /// PostgreSQL stops in good order and starts again.
    DatabaseRestarted,
    /// PostgreSQL stops without any order, is away for a moment, and recovers.
    DatabaseCrashed,
    /// PostgreSQL ends all sessions.
    ConnectionsCut,
    /// The files of an embedded store cannot grow for some seconds. The limit is that of the process on the length of its
    /// files (`RLIMIT_FSIZE`), so writes fail with EFBIG where those of a full disk fail with ENOSPC.
    DiskFull,
    /// Processes stall for 200 ms at random moments (SIGSTOP), as they do while a disk does not answer.
    SlowDisk,
    /// The clock of one process is 20 s slow from now on, as libfaketime shows it to the process.
    ClockSteppedBack,
    /// The platform answers nothing but 503 for some seconds.
    PlatformOut,
    /// All processes end, the tables are taken back to an older version, and all processes start at once, each of which wants
    /// to bring them up to date, while pupils go on asking.
    BroughtUpToDate,
    /// Nothing but several processes that send from one outbox to a slow platform.
    OneOutbox,
}

impl Kind {
    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::ProcessKilled => "process killed",
            Self::DatabaseRestarted => "database restarted",
            Self::DatabaseCrashed => "database crashed",
            Self::ConnectionsCut => "connections cut",
            Self::DiskFull => "disk full",
            Self::SlowDisk => "slow disk",
            Self::ClockSteppedBack => "clock stepped back",
            Self::PlatformOut => "platform out",
            Self::BroughtUpToDate => "brought up to date by several processes at once",
            Self::OneOutbox => "several processes on one outbox",
        }
    }
}

/// A fault with its chance.
#[derive(Debug, Clone, Copy)]
pub struct Fault {
    /// What goes wrong.
    pub kind: Kind,
    /// Which process, when, for how long.
    pub seed: u64,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (seed {})", self.kind.name(), self.seed)
    }
}

/// How long a fault lasts that has a length.
const LASTING: Duration = Duration::from_secs(3);
/// How long a process is stopped.
const STALL: Duration = Duration::from_millis(200);
/// Undoes all migrations after version 12, the first of PostgreSQL. A new migration that is not undone here fails the test.
const OLDER_TABLES: &str = "
    DROP TABLE processes, claims, request_counts, shared_secrets, job_pieces, jobs;
    ALTER TABLE outbox DROP COLUMN leased_by;
    DROP INDEX outbox_due_of_platform, outbox_of_no_platform, outbox_leased, outbox_stopped;
    ALTER TABLE outbox DROP COLUMN registration;
    CREATE INDEX outbox_due ON outbox (next_try_at) WHERE state = 'waiting';
    UPDATE outbox SET leased_until = NULL;
    DELETE FROM schema_version WHERE version > 12";
/// How much a file may still grow before its disk is full.
const ROOM: u64 = 16 * 1024;

impl Fault {
    /// Strikes, and returns when it is over.
    ///
    /// # Panics
    /// If the means are missing, or it strikes a database that is not there.
    pub async fn strike(self, storm: &mut Storm, server: Option<&Postgres>) {
        let mut chance = Chance::seeded(self.seed);
        let database = || server.expect("this fault strikes PostgreSQL");
        match self.kind {
            Kind::ProcessKilled => {
                let index = any(storm, &mut chance);
                let disturbance = storm.cluster.kill(index);
                storm.disturbances.push(disturbance);
                storm.cluster.start(index).await;
            }
            Kind::DatabaseRestarted => storm.strike(self.kind.name(), |_| database().restart()),
            Kind::DatabaseCrashed => storm.strike(self.kind.name(), |_| {
                database().crash();
                std::thread::sleep(chance.within(LASTING));
                database().start_again();
            }),
            Kind::ConnectionsCut => storm.strike(self.kind.name(), |_| database().cut_connections()),
            Kind::DiskFull => disk_full(storm).await,
            Kind::SlowDisk => {
                let until = Instant::now() + LASTING;
                while Instant::now() < until {
                    let index = any(storm, &mut chance);
                    storm.cluster.signal(index, "STOP");
                    tokio::time::sleep(STALL).await;
                    storm.cluster.signal(index, "CONT");
                    tokio::time::sleep(chance.within(STALL)).await;
                }
            }
            Kind::ClockSteppedBack => clock_stepped_back(storm, any(storm, &mut chance)).await,
            Kind::BroughtUpToDate => {
                storm.kill_all();
                database().run_at(storm.store(), OLDER_TABLES);
                storm.cluster.start_all().await;
                let version = database().run_at(storm.store(), "SELECT max(version) FROM schema_version");
                assert!(version.trim().parse::<u32>().expect("a number") > 12, "version {version}");
            }
            Kind::PlatformOut => platform(storm, PlatformFault::Unavailable).await,
            Kind::OneOutbox => platform(storm, PlatformFault::Slow { delay_ms: 100 }).await,
        }
    }
}

fn any(storm: &Storm, chance: &mut Chance) -> usize {
    let count = u64::try_from(storm.cluster.count()).expect("processes are few");
    usize::try_from(chance.below(count)).expect("processes are few")
}

async fn platform(storm: &Storm, fault: PlatformFault) {
    storm.school.practice.set_fault(Some(PlannedFault { fault, times: None }));
    tokio::time::sleep(LASTING).await;
    storm.school.practice.set_fault(None);
}

async fn disk_full(storm: &mut Storm) {
    let path =
        storm.store().strip_prefix("sqlite:").expect("this fault strikes an embedded store").to_owned();
    // Without this the system would end a process that writes beyond its limit.
    restart_under(storm, 0, tenths_under("sh", &["-c", r#"trap '' XFSZ; exec "$@""#, "sh"])).await;
    let length = |path: &str| std::fs::metadata(path).map_or(0, |file| file.len());
    let limit = length(&path).max(length(&format!("{path}-wal"))) + ROOM;
    limit_files(storm.cluster.id(0), &limit.to_string());
    tokio::time::sleep(LASTING).await;
    limit_files(storm.cluster.id(0), "unlimited");
}

/// Sets the soft limit on the length of a process's files.
fn limit_files(process: u32, limit: &str) {
    let set =
        Command::new("prlimit").arg(format!("--pid={process}")).arg(format!("--fsize={limit}:")).status();
    assert!(set.expect("there is a prlimit").success(), "no limit for {process}");
}

/// Where Debian's package `faketime` puts its library.
pub fn faketime_library() -> Option<String> {
    let machines = std::fs::read_dir("/usr/lib").ok()?.flatten();
    let found = machines
        .map(|machine| machine.path().join("faketime/libfaketime.so.1"))
        .find(|path| path.exists())?;
    Some(found.to_str()?.to_owned())
}

async fn clock_stepped_back(storm: &mut Storm, index: usize) {
    let library = faketime_library().expect("libfaketime is installed");
    let offset = storm.file("clock");
    set_clock(&offset, "+0s");
    let mut command = tenths_under("env", &[]);
    // Waiting goes by the other clock, which never steps.
    command.env("FAKETIME_DONT_FAKE_MONOTONIC", "1").env("FAKETIME_NO_CACHE", "1");
    command.env("LD_PRELOAD", library).env("FAKETIME_TIMESTAMP_FILE", &offset);
    restart_under(storm, index, command).await;
    tokio::time::sleep(LASTING / 3).await;
    set_clock(&offset, "-20s");
    let shown = clock_of(&storm.cluster.address(index)).await;
    let slow_s = Timestamp::now().as_second() - shown.as_second();
    assert!((18..=22).contains(&slow_s), "the clock of the process is {slow_s} s slow, not 20");
    tokio::time::sleep(LASTING).await;
}

/// The time that a process tells with its answers.
async fn clock_of(address: &str) -> Timestamp {
    let until = Instant::now() + LASTING;
    loop {
        let client = reqwest::Client::builder().no_proxy().build().expect("a plain client can be made");
        let answer = client.get(format!("{address}/health/live")).send().await.expect("the process answers");
        let date = answer.headers()[reqwest::header::DATE].to_str().expect("dates are ASCII");
        let shown = jiff::fmt::rfc2822::parse(date).expect("HTTP dates are dates of mails").timestamp();
        // The date of answers is renewed every half second.
        if Timestamp::now().as_second() - shown.as_second() > 10 || Instant::now() > until {
            return shown;
        }
        tokio::time::sleep(STALL).await;
    }
}

fn set_clock(file: &Path, offset: &str) {
    // As a whole: a process reads it at any moment.
    let beside = file.with_extension("new");
    std::fs::write(&beside, offset).expect("a file can be written");
    std::fs::rename(&beside, file).expect("a file can be renamed");
}

async fn restart_under(storm: &mut Storm, index: usize, mut command: Command) {
    let disturbance = storm.cluster.kill(index);
    storm.disturbances.push(disturbance);
    command.arg("serve");
    storm.cluster.start_by(index, command).await;
}
