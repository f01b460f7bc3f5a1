//! Support for the whole-flow tests: the real program, a school on the practice platform, a stage with both, outside
//! tools, a browser and how pages look in it, published test cases, waiting. For faults on purpose: several processes, a
//! PostgreSQL server, a class in a storm, and the check of its history.
//!
//! Nothing here asserts what a flow must come to; that is said in the flows.

pub mod browser;
pub mod chance;
pub mod cluster;
pub mod dectest;
pub mod fault;
pub mod history;
pub mod looks;
pub mod page_list;
pub mod pictures;
pub mod postgres;
pub mod program;
pub mod proxy;
pub mod school;
pub mod stage;
pub mod storm;
pub mod tools;
pub mod weather;

use std::io::Write as _;
use std::time::{Duration, Instant};

/// Says that a check is skipped for want of a tool: straight to standard error, because the test harness swallows what
/// is printed.
///
/// # Panics
/// With `CI=true`, where nothing may be skipped.
pub fn skip(check: &str, why: &str) {
    let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
    assert!(!ci, "{check}: {why}");
    // A harness whose standard error is gone has nobody to tell.
    let _ = writeln!(std::io::stderr(), "SKIPPED: {check}: {why}");
}

/// Waits until `look` sees what it looks for, and returns that.
///
/// # Panics
/// If it has not been seen `within` that time; the message names `what`.
pub async fn wait_for<T>(what: &str, within: Duration, mut look: impl AsyncFnMut() -> Option<T>) -> T {
    let until = Instant::now() + within;
    loop {
        if let Some(seen) = look().await {
            return seen;
        }
        assert!(Instant::now() < until, "waited {within:?} for {what}, in vain");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}
