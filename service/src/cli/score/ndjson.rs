//! Responses as records, one a line. One line at a time is in memory.
use std::{
    fs::File,
    io::{BufRead, BufReader, Read},
};

use super::{ResponseRecord, Scoring, told};

/// Longest line, in bytes.
const MAX_LINE: u64 = 64 * 1024;

/// Marks every line.
///
/// # Errors
/// If reading or writing fails.
pub(super) fn score(scoring: &mut Scoring<'_>, file: File) -> anyhow::Result<()> {
    let mut reader = BufReader::new(file);
    let mut line = Vec::new();
    for number in 1_u64.. {
        line.clear();
        let read = reader.by_ref().take(MAX_LINE).read_until(b'\n', &mut line)? as u64;
        if read == 0 {
            break;
        }
        scoring.bar.inc(read);
        let place = format_args!("line {number}");
        if read == MAX_LINE && !line.ends_with(b"\n") {
            scoring.unusable(place, "the line is longer than 64 KiB");
            reader.skip_until(b'\n')?;
            continue;
        }
        let Ok(text) = std::str::from_utf8(&line) else {
            scoring.unusable(place, "the line is not UTF-8 text");
            continue;
        };
        if text.trim().is_empty() {
            continue;
        }
        match serde_json::from_str::<ResponseRecord>(text) {
            Ok(record) => scoring.mark(place, &record)?,
            Err(error) => scoring.unusable(place, &told(&error)),
        }
    }
    Ok(())
}
