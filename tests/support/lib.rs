//! Support for the whole-flow tests.

pub mod dectest;

/// Says on standard error that a check is skipped for want of a tool.
///
/// # Panics
/// With `CI=true`, where nothing may be skipped.
#[expect(clippy::print_stderr, reason = "a skipped check must be seen in the output of the tests")]
pub fn skip(check: &str, why: &str) {
    let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
    assert!(!ci, "{check}: {why}");
    eprintln!("SKIPPED: {check}: {why}");
}
