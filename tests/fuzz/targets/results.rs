//! Any bytes as a result report: refused with a line, or read without a panic; what is read names lines of the document.
#![no_main]

use exporters::results::{ResultsError, read_results};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let lines = bytes.iter().filter(|byte| **byte == b'\n').count() as u64 + 1;
    let within = |line: u64| assert!((1..=lines).contains(&line), "line {line} of {lines}");
    match read_results(bytes) {
        Err(ResultsError::Xml(error)) => within(error.line),
        Err(ResultsError::Root { line, .. }) => within(line),
        Err(_) => {}
        Ok(report) => {
            for item in &report.items {
                within(item.line);
                let _ = item.by_step();
            }
            report.problems.iter().for_each(|problem| within(problem.line));
        }
    }
});
