//! Faults on purpose, each with a name and a seed, and a short storm; `tests/storm/run` plays a long one.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod day;
mod faults;
mod restore;
mod short;

use std::io::Write as _;

use conformance::chance::Chance;

/// The seed of this run, new unless `TENTHS_STORM_SEED` names one.
fn seed() -> u64 {
    match std::env::var("TENTHS_STORM_SEED") {
        Ok(seed) => {
            seed.parse().unwrap_or_else(|_| panic!("TENTHS_STORM_SEED is not a whole number: {seed}"))
        }
        Err(_) => Chance::fresh_seed(),
    }
}

/// Straight to standard error, because the test harness swallows what is printed.
fn say(line: &str) {
    // Who closed it needs no words.
    let _ = writeln!(std::io::stderr(), "{line}");
}
