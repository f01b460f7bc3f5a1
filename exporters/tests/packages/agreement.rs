//! Exported items against an independent processor of QTI 2.1, the Python package pyslet, in
//! `tests/outside/processor.py`: whole packages of the starter bank, each item answered in many ways, and for each
//! the same points and the same feedback as the project's own marking.
//!
//! Left out of the responses, because no engine reads them as a float: fractions, percents, words and other units than
//! the one asked for; numbers with an exponent, which engines read and pupils' answers never are. Without python3 or
//! pyslet the check is skipped and says so; with `CI=true` it fails.
use std::{
    collections::BTreeMap,
    fs::File,
    path::{Path, PathBuf},
    process::{Command, Output},
};

use exporters::qti::{PackageOptions, QtiVersion, write_package};
use qbank::{
    bank,
    family::Family,
    marking::{Verdict, mark},
    pool::{Pool, Section},
    question::{Item, Key},
};
use serde_json::{Value, json};

use crate::{
    cases::{Dice, Responses, candidates, expected_feedback, some_pupil},
    schemas::by_hand,
};

const CHECK: &str = "exported items against pyslet";
/// What the script exits with where pyslet is not installed.
const NOT_INSTALLED: i32 = 3;
/// Questions of a family, and made-up pupils for each of those with several steps.
const QUESTIONS: usize = 4;
const PUPILS: usize = 80;
/// What the comparison must not fall below.
const LEAST_FAMILIES: usize = 60;
const LEAST_RESPONSES: usize = 20_000;

/// Each answer that a pupil might give to each step, the other steps right; then pupils who go wrong in several steps.
fn responses(item: &Item) -> Vec<Responses> {
    let right = item.right_responses();
    let mut all = vec![right.clone(), Responses::new()];
    let mut names = item.given_names();
    names.extend(item.steps_proven().filter_map(|(step, proven)| Some((step.id.clone(), proven.value?))));
    for (step, proven) in item.steps_proven() {
        for text in candidates(item, step, proven, &names) {
            let mut given = right.clone();
            given.insert(step.id.to_string(), text);
            all.push(given);
        }
    }
    if item.steps.len() > 1 {
        let mut dice = Dice(7);
        all.extend((0..PUPILS).map(|_| some_pupil(item, &mut dice)));
    }
    all.sort();
    all.dedup();
    all
}

/// What is given to the item, by its response variables, and what its outcomes must be.
fn case(item: &Item, given: &Responses) -> Value {
    let marked = mark(item, "p-01", given);
    let mut outcomes = BTreeMap::from([
        ("SCORE".to_owned(), json!(marked.points)),
        ("MAXSCORE".to_owned(), json!(marked.max)),
    ]);
    for (step, (_, proven)) in marked.steps.iter().zip(item.steps_proven()) {
        outcomes.insert(format!("SCORE_{}", step.id), json!(step.points));
        outcomes.insert(format!("FEEDBACK_{}", step.id), json!(expected_feedback(item, step, proven)));
    }
    // One attempt is the last one, so the solution follows any answer.
    let blank = marked.steps.iter().all(|step| step.verdict == Verdict::Blank);
    outcomes.insert("SOLUTION".to_owned(), if blank { Value::Null } else { json!("WORKED") });
    let answers = item.steps_proven().filter_map(|(step, proven)| {
        let text = given.get(step.id.as_str()).filter(|text| !text.is_empty())?;
        let answer = match &proven.key {
            Key::Order(_) => json!(text.split(", ").collect::<Vec<_>>()),
            Key::Number(_) | Key::Choice(_) => json!(text),
        };
        Some((format!("RESPONSE_{}", step.id), answer))
    });
    json!({ "answers": answers.collect::<BTreeMap<_, _>>(), "outcomes": outcomes })
}

/// English and Spanish, whichever comes.
fn pool(families: &[Family]) -> Pool {
    let section = |family: &Family| {
        let locale = if family.id.len().is_multiple_of(2) { "en-US" } else { "es-US" };
        Section {
            id: format!("section-{}", family.id),
            title: family.id.to_string(),
            pick: 1,
            items: family.draws("agreement", 0, locale).take(QUESTIONS).map(Result::unwrap).collect(),
        }
    };
    let sections = families.iter().map(section).chain(by_hand().sections).collect();
    Pool::new("agreement".into(), "Agreement".into(), "en-US".into(), sections).unwrap()
}

/// The pool in a package of each version, and the cases in a file, in this order of versions.
pub(crate) struct Written {
    pub(crate) cases: PathBuf,
    pub(crate) packages: Vec<PathBuf>,
    pub(crate) responses: usize,
}

fn write(pool: &Pool, folder: &Path, spoil: impl Fn(&mut Value)) -> Written {
    let mut packages = Vec::new();
    let mut paths = Vec::new();
    for version in [QtiVersion::V21, QtiVersion::V22, QtiVersion::V30] {
        let options = PackageOptions { version, ..PackageOptions::default() };
        let package = folder.join(format!("{version:?}.zip"));
        let report = write_package(pool, &options, File::create(&package).unwrap()).unwrap();
        packages.push(package);
        paths = report.items.into_iter().map(|item| item.path).collect();
    }
    let mut responses_written = 0;
    let items = pool.items().zip(&paths).map(|(item, path)| {
        let mut cases: Vec<Value> = responses(item).iter().map(|given| case(item, given)).collect();
        cases.iter_mut().for_each(&spoil);
        responses_written += cases.len();
        json!({ "item": item.id, "family": item.family, "path": path, "cases": cases })
    });
    let items = Value::from(items.collect::<Vec<_>>());
    let cases = folder.join("cases.json");
    std::fs::write(&cases, items.to_string()).unwrap();
    Written { cases, packages, responses: responses_written }
}

/// Runs the script; `None` after saying that it is skipped.
pub(crate) fn compared(written: &Written) -> Option<Output> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/outside/processor.py");
    let out = Command::new("python3").arg(script).arg(&written.cases).args(&written.packages).output();
    let Ok(out) = out else { return skip("python3 does not start") };
    if out.status.code() == Some(NOT_INSTALLED) { skip("pyslet is not installed") } else { Some(out) }
}

#[test]
fn items_score_in_an_independent_processor_as_in_the_projects_own_marking() {
    let families = bank::families().unwrap();
    let pool = pool(&families);
    let folder = tempfile::tempdir().unwrap();
    let written = write(&pool, folder.path(), |_| ());
    assert!(
        families.len() >= LEAST_FAMILIES && written.responses >= LEAST_RESPONSES,
        "{}",
        written.responses
    );
    let Some(out) = compared(&written) else { return };
    let said = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    let items = pool.items().count();
    let same = |version| format!("{version}.zip: {items} of {items} items, renamed, are the same document\n");
    // The items made by hand are a family of their own.
    let all = format!(
        "{items} items of {} families, {} responses, 0 disagreements\n",
        families.len() + 1,
        written.responses
    );
    assert_eq!(said, format!("{}{}{all}", same("V22"), same("V30")));
    tell(&said);
}

/// Points or feedback that an item does not give are seen as disagreements.
#[test]
fn the_independent_processor_is_not_content_with_anything() {
    let pool = pool(&bank::families().unwrap()[..1]);
    let folder = tempfile::tempdir().unwrap();
    let written = write(&pool, folder.path(), |case| {
        case["outcomes"]["MAXSCORE"] = json!(77);
    });
    let Some(out) = compared(&written) else { return };
    let said = String::from_utf8_lossy(&out.stdout);
    assert_eq!(out.status.code(), Some(1), "{said}");
    assert!(said.contains("MAXSCORE is 1.0 and should be 77"), "{said}");
    assert!(
        said.trim_end().ends_with(&format!("{0} responses, {0} disagreements", written.responses)),
        "{said}"
    );
}

#[expect(clippy::print_stderr, reason = "what was compared must be seen in the output of the tests")]
pub(crate) fn tell(said: &str) {
    eprintln!("{said}");
}

#[expect(clippy::print_stderr, reason = "a skipped check must be seen in the output of the tests")]
fn skip(why: &str) -> Option<Output> {
    let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
    assert!(!ci, "{CHECK} cannot be checked: {why}");
    eprintln!("SKIPPED: {CHECK}: {why}");
    None
}
