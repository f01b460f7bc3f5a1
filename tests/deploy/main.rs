//! What `deploy/` holds, checked by the programs that will read it, and the service as those see it who run it.
#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod manifests;
mod numbers;
mod proxy;
mod runbook;
mod settings;
mod traces;
mod unit;

use std::path::PathBuf;
use std::process::{Command, Output};

use conformance::tools;

/// A file of `deploy/`.
fn file(name: &str) -> PathBuf {
    tools::root().join("deploy").join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(file(name)).unwrap_or_else(|error| panic!("deploy/{name}: {error}"))
}

/// A command of a program, if it is installed; else the check is skipped by name.
fn tool(program: &str, check: &str, package: &str) -> Option<Command> {
    if tools::installed(program) {
        return Some(Command::new(program));
    }
    conformance::skip(check, &format!("{program} is not installed ({package})"));
    None
}

/// Runs a command that must end well; returns what it wrote, both kinds.
fn run_well(command: &mut Command) -> String {
    let (Output { status, .. }, told) = run(command);
    assert!(status.success(), "{command:?}: {status}\n{told}");
    told
}

fn run(command: &mut Command) -> (Output, String) {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let told =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    (output, told)
}

/// All names in a text that begin with `prefix` and go on with letters, digits and underscores.
fn names(text: &str, prefix: &str) -> std::collections::BTreeSet<String> {
    let is_part = |c: char| c.is_ascii_alphanumeric() || c == '_';
    let words = text.split(|c: char| !is_part(c));
    words.filter(|word| word.starts_with(prefix)).map(ToOwned::to_owned).collect()
}
