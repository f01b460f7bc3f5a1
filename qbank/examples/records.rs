//! The limit of `tests/bench/score`: serde_json alone parses a file of responses into typed records, by one thread or two:
//! `cargo run --release -p qbank --example records 1|2 FILE`.
use std::{collections::BTreeMap, error::Error, hint::black_box, thread};

use serde::Deserialize;

/// A line of responses, as a program of its own would read it.
#[derive(Deserialize)]
struct Record {
    pupil: String,
    question: String,
    responses: BTreeMap<String, String>,
    at: Option<String>,
}

fn parse(lines: &[u8]) {
    for line in lines.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        let Record { pupil, question, responses, at } = serde_json::from_slice(line).expect("a record");
        black_box((pupil, question, responses, at));
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (threads, path) = arguments.next().zip(arguments.next()).ok_or("expected 1 or 2, and a file")?;
    let file = std::fs::read(&path)?;
    if threads == "1" {
        parse(&file);
        return Ok(());
    }
    let middle = file.len() / 2;
    let end = file[middle..].iter().position(|byte| *byte == b'\n').map_or(file.len(), |at| middle + at);
    let (first, second) = file.split_at(end);
    thread::scope(|scope| {
        scope.spawn(|| parse(first));
        parse(second);
    });
    Ok(())
}
