//! Marks and plurals of our locales against the Unicode Common Locale Data Repository, as the Python package Babel has
//! it, in `tests/outside/locales.py`.
//!
//! Without python3 or Babel the check is skipped and says so; with `CI=true` it fails.
use std::{
    io::Write,
    path::Path,
    process::{Command, Stdio},
};

use conformance::skip;
use qbank::{decimal::Decimal, locale::Locale};

const CHECK: &str = "locales against Unicode CLDR";

/// What the script exits with where Babel is not installed.
const NOT_INSTALLED: i32 = 3;

/// Whole and not, with places that are written though they are zero.
const NUMERALS: [&str; 14] =
    ["0", "0.0", "0.1", "0.9", "1", "1.0", "1.00", "1.01", "1.5", "2", "11", "21", "1000000", "1000000.0"];

#[test]
fn marks_and_plurals_agree_with_cldr() {
    let asked: Vec<(&str, &str)> =
        Locale::tags().flat_map(|tag| NUMERALS.map(|numeral| (tag, numeral))).collect();
    let lines: String = asked.iter().map(|(tag, numeral)| format!("{tag}\t{numeral}\n")).collect();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("outside/locales.py");
    let started = Command::new("python3").arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let Ok(mut python) = started else { return skip(CHECK, "python3 does not start") };
    // A script that ends at once breaks the pipe; its exit code tells why.
    let written = python.stdin.take().unwrap().write_all(lines.as_bytes());
    let out = python.wait_with_output().unwrap();
    if out.status.code() == Some(NOT_INSTALLED) {
        return skip(CHECK, "Babel is not installed");
    }
    let said = String::from_utf8(out.stdout).unwrap();
    assert!(out.status.success(), "{said}");
    written.unwrap();
    assert_eq!(said.lines().count(), asked.len(), "{said}");
    for ((tag, numeral), answer) in asked.iter().zip(said.lines()) {
        compare(Locale::by_tag(tag).unwrap(), numeral, answer);
    }
}

fn compare(locale: Locale, numeral: &str, answer: &str) {
    let [point, group, category] = answer.split('\t').collect::<Vec<_>>()[..] else { panic!("{answer}") };
    // Releases of the data differ in which apostrophe groups thousands in Switzerland; both are read as one.
    let apostrophe = |mark: &str| mark.replace('\u{2019}', "'");
    let marks = [locale.point.to_string(), apostrophe(&locale.group.to_string())];
    assert_eq!(marks, [point.to_owned(), apostrophe(group)], "{}", locale.tag);
    if let Some(language) = locale.language() {
        let number: Decimal = numeral.parse().unwrap();
        // Spanish has a category of its own for millions, 'many': 'un millón de litros'. It is no singular.
        assert_eq!(
            language.is_singular(&number),
            category == "one",
            "{numeral} in {}: {category}",
            locale.tag
        );
    }
}
