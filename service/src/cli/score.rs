//! `tenths score`: marks for responses in a file, row by row.
use std::{
    collections::BTreeMap,
    fs::File,
    io::{BufRead, BufReader, Read, Write},
    path::PathBuf,
};

use anyhow::{Context, bail};
use indicatif::ProgressBar;
use qbank::{marking::mark, question::Item};
use serde::Deserialize;

use super::{
    output::{self, Target},
    pool,
};

/// Longest line of a response file, in bytes.
const MAX_LINE: u64 = 64 * 1024;
/// How many rows that cannot be used are told one by one.
const TOLD_ROWS: usize = 20;

/// Arguments of `tenths score`.
#[derive(Debug, clap::Args)]
pub(super) struct ScoreArguments {
    /// The pool file that the questions come from
    pool: PathBuf,
    /// Responses: .ndjson (one record a line) or .csv (columns pupil, question, step, response)
    responses: PathBuf,
    /// Where the marks go; standard output if not given
    #[arg(short, long, value_name = "MARKS")]
    output: Option<PathBuf>,
}

/// One pupil's responses to one question.
#[derive(Debug, Deserialize)]
struct ResponseRecord {
    pupil: String,
    question: String,
    responses: BTreeMap<String, String>,
}

/// One row of a CSV file: a response to one step.
#[derive(Debug, Deserialize)]
struct ResponseRow {
    pupil: String,
    question: String,
    step: String,
    response: String,
}

pub(super) fn run(arguments: &ScoreArguments) -> anyhow::Result<()> {
    let pool = pool::read_file(&arguments.pool)?;
    let items = pool.items().map(|item| (item.id.as_str(), item)).collect();
    let file = File::open(&arguments.responses)
        .with_context(|| format!("cannot read {}", arguments.responses.display()))?;
    let bar = output::progress(file.metadata()?.len(), "marking");
    let target = Target::open(arguments.output.as_deref())?;
    let mut scoring = Scoring { items, target, marked: 0, unusable: 0, bar };
    let ending = arguments.responses.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    match ending {
        "ndjson" | "jsonl" => scoring.ndjson(file)?,
        "csv" => scoring.csv(file)?,
        _ => bail!("{}: expected a file that ends in .ndjson or .csv", arguments.responses.display()),
    }
    scoring.finish()
}

struct Scoring<'p> {
    items: BTreeMap<&'p str, &'p Item>,
    target: Target,
    marked: u64,
    unusable: usize,
    bar: ProgressBar,
}

impl Scoring<'_> {
    fn ndjson(&mut self, file: File) -> anyhow::Result<()> {
        let mut reader = BufReader::new(file);
        let mut line = String::new();
        for number in 1_u64.. {
            line.clear();
            let read = match reader.by_ref().take(MAX_LINE).read_line(&mut line) {
                Ok(0) => break,
                Ok(read) => read as u64,
                Err(error) if error.kind() == std::io::ErrorKind::InvalidData => {
                    self.unusable(number, "the line is not UTF-8 text");
                    continue;
                }
                Err(error) => return Err(error.into()),
            };
            self.bar.inc(read);
            if read == MAX_LINE && !line.ends_with('\n') {
                self.unusable(number, "the line is longer than 64 KiB");
                reader.skip_until(b'\n')?;
                continue;
            }
            if line.trim().is_empty() {
                continue;
            }
            match serde_json::from_str::<ResponseRecord>(&line) {
                Ok(record) => self.mark(number, &record)?,
                Err(error) => self.unusable(number, &format!("column {}: {error}", error.column())),
            }
        }
        Ok(())
    }

    /// Rows of one pupil and question that follow each other are one answer; the file is never held as a whole.
    fn csv(&mut self, file: File) -> anyhow::Result<()> {
        let mut reader = csv::ReaderBuilder::new()
            .flexible(true)
            .trim(csv::Trim::Headers)
            .from_reader(BufReader::new(file));
        let headers = reader.headers().context("the file has no header row")?.clone();
        let missing: Vec<&str> = ["pupil", "question", "step", "response"]
            .into_iter()
            .filter(|name| !headers.iter().any(|known| known == *name))
            .collect();
        if !missing.is_empty() {
            bail!("the header row lacks {}; expected pupil,question,step,response", missing.join(", "));
        }
        let mut gathered: Option<(u64, ResponseRecord)> = None;
        let mut row = csv::StringRecord::new();
        loop {
            let line = reader.position().line();
            self.bar.set_position(reader.position().byte());
            match reader.read_record(&mut row) {
                Ok(false) => break,
                Ok(true) => {}
                Err(error) if error.is_io_error() => return Err(error.into()),
                Err(error) => {
                    self.unusable(line, &error.to_string());
                    continue;
                }
            }
            let parsed: ResponseRow = match row.deserialize(Some(&headers)) {
                Ok(parsed) => parsed,
                Err(error) => {
                    self.unusable(line, &error.to_string());
                    continue;
                }
            };
            match &mut gathered {
                Some((_, record)) if record.pupil == parsed.pupil && record.question == parsed.question => {
                    record.responses.insert(parsed.step, parsed.response);
                }
                _ => {
                    let responses = BTreeMap::from([(parsed.step, parsed.response)]);
                    let next = ResponseRecord { pupil: parsed.pupil, question: parsed.question, responses };
                    if let Some((line, complete)) = gathered.replace((line, next)) {
                        self.mark(line, &complete)?;
                    }
                }
            }
        }
        if let Some((line, complete)) = gathered {
            self.mark(line, &complete)?;
        }
        Ok(())
    }

    fn mark(&mut self, line: u64, record: &ResponseRecord) -> anyhow::Result<()> {
        let Some(item) = self.items.get(record.question.as_str()) else {
            self.unusable(line, &format!("the pool has no question '{}'", record.question));
            return Ok(());
        };
        if let Some(step) = record.responses.keys().find(|id| !item.steps.iter().any(|step| step.id == **id))
        {
            self.unusable(line, &format!("the question '{}' has no step '{step}'", record.question));
            return Ok(());
        }
        serde_json::to_writer(&mut self.target, &mark(item, &record.pupil, &record.responses))?;
        writeln!(self.target)?;
        self.marked += 1;
        Ok(())
    }

    fn unusable(&mut self, line: u64, reason: &str) {
        self.unusable += 1;
        if self.unusable <= TOLD_ROWS {
            self.bar.suspend(|| output::note(&format!("line {line}: {reason}")));
        }
    }

    fn finish(self) -> anyhow::Result<()> {
        self.bar.finish_and_clear();
        self.target.finish()?;
        output::note(&format!("{} answers marked, {} rows not usable", self.marked, self.unusable));
        if self.unusable > 0 { bail!("some rows could not be used") } else { Ok(()) }
    }
}
