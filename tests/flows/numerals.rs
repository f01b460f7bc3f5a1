//! Plain numbers as pupils type them against Python's decimal, in `tests/outside/numerals.py`: every short text of the
//! signs of numerals, in every locale, is read as the same value or refused by both.
//!
//! Without python3 the check is skipped and says so; with `CI=true` it fails.
use std::{
    io::Write,
    path::Path,
    process::{Command, Stdio},
};

use conformance::skip;
use qbank::{
    locale::Locale,
    reading::{Reading, read},
};

const CHECK: &str = "plain numbers against Python's decimal";

/// What short texts are made of; one that stands for three makes groups.
const SIGNS: [&str; 9] = ["0", "5", "050", "123", ".", ",", " ", "\u{2019}", "-"];

/// Longest text of these, in signs.
const LENGTH: u32 = 5;

/// All texts of up to [`LENGTH`] signs, and some that are longer.
fn texts() -> impl Iterator<Item = String> {
    let short =
        (1..=LENGTH).flat_map(|length| (0..SIGNS.len().pow(length)).map(move |index| spelled(index, length)));
    let long =
        ["1234567890123456789012345678", "12345678901234567890123456789", "0.00000000000000000000000000001"];
    let zeros =
        ["0".repeat(150) + "7.50", String::from("1,234,567,890.12"), String::from("\u{2212}1\u{202f}234,50")];
    short.chain(long.map(String::from)).chain(zeros)
}

fn spelled(index: usize, length: u32) -> String {
    (0..length).map(|place| SIGNS[index / SIGNS.len().pow(place) % SIGNS.len()]).collect()
}

#[test]
fn plain_numbers_agree_with_pythons_decimal() {
    let mut lines = String::new();
    let mut texts_read = 0;
    for locale in Locale::tags().filter_map(Locale::by_tag) {
        for text in texts() {
            let value = match read(&text, locale, None) {
                Reading::Read(number) => number.written.unwrap().to_string(),
                Reading::Blank | Reading::Unreadable(_) => "-".to_owned(),
            };
            texts_read += usize::from(value != "-");
            lines += &format!("{}\t{}\t{text}\t{value}\n", locale.point, locale.group);
        }
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("outside/numerals.py");
    let started = Command::new("python3").arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let Ok(mut python) = started else { return skip(CHECK, "python3 does not start") };
    // A script that ends at once breaks the pipe; its exit code tells why.
    let written = python.stdin.take().unwrap().write_all(lines.as_bytes());
    let out = python.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{said}");
    written.unwrap();
    let compared = lines.lines().count();
    assert_eq!(said.trim(), format!("{compared} compared, {texts_read} read, 0 different"));
}
