//! Whole numbers in words against an outside reference: the Python package num2words, in `tests/outside/words.py`.
//!
//! Without python3 or num2words the check is skipped and says so; with `CI=true` it fails.
use std::{
    io::Write,
    path::Path,
    process::{Command, Stdio},
};

use conformance::skip;
use qbank::{decimal::Decimal, locale::Language, words::to_words};

const CHECK: &str = "number words against num2words";

/// What the script exits with where num2words is not installed.
const NOT_INSTALLED: i32 = 3;

/// All numbers to twenty thousand, whole thousands, and every 97th number to a million: all words in all positions.
fn sample() -> impl Iterator<Item = u32> {
    (0..1_000_000).filter(|number| *number < 20_000 || number % 1000 == 0 || number % 97 == 0)
}

#[test]
fn whole_numbers_agree_with_num2words() {
    let mut lines = String::new();
    for number in sample() {
        for (tag, language) in [("en", Language::English), ("es", Language::Spanish)] {
            let words = to_words(&Decimal::from(number), language).unwrap();
            lines += &format!("{number}\t{tag}\t{words}\n");
        }
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("outside/words.py");
    let started = Command::new("python3").arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let Ok(mut python) = started else { return skip(CHECK, "python3 does not start") };
    // A script that ends at once breaks the pipe; its exit code tells why.
    let written = python.stdin.take().unwrap().write_all(lines.as_bytes());
    let out = python.wait_with_output().unwrap();
    if out.status.code() == Some(NOT_INSTALLED) {
        return skip(CHECK, "num2words is not installed");
    }
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{said}");
    written.unwrap();
    assert_eq!(said.trim(), format!("{} compared, 0 different", lines.lines().count()));
}
