//! Support for the whole-flow tests: the real program, a school on the practice platform, a stage with both, a
//! browser, outside tools, waiting.
//!
//! Nothing here asserts what a flow must come to; that is said in the flows.

pub mod browser;
pub mod program;
pub mod school;
pub mod stage;
pub mod tools;

use std::time::{Duration, Instant};

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
