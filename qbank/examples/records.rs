//! The limit of `tests/bench/score`: how long serde_json alone takes to parse a file of responses into typed records, by
//! one thread and by two: `cargo run --release -p qbank --example records FILE`. Prints both in seconds.
#![allow(clippy::print_stdout, reason = "an example talks to the person who runs it")]
use std::{collections::BTreeMap, error::Error, hint::black_box, thread, time::Instant};

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
    let path = std::env::args().nth(1).ok_or("expected a file")?;
    let begun = Instant::now();
    let file = std::fs::read(&path)?;
    parse(&file);
    let by_one = begun.elapsed();
    drop(file);
    let begun = Instant::now();
    let file = std::fs::read(&path)?;
    let middle = file.len() / 2;
    let end = file[middle..].iter().position(|byte| *byte == b'\n').map_or(file.len(), |at| middle + at);
    let (first, second) = file.split_at(end);
    thread::scope(|scope| {
        scope.spawn(|| parse(first));
        parse(second);
    });
    println!("{:.4} {:.4}", by_one.as_secs_f64(), begun.elapsed().as_secs_f64());
    Ok(())
}
