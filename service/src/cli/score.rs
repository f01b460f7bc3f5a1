//! `tenths score`: marks for responses in a file, row by row.
use std::{
    collections::{BTreeMap, btree_map::Entry},
    fs::File,
    io::{BufRead, BufReader, Read, Write},
    path::PathBuf,
};

use anyhow::{Context, bail};
use indicatif::ProgressBar;
use qbank::{
    marking::{mark, responses},
    question::Item,
};
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
    #[serde(deserialize_with = "responses")]
    responses: BTreeMap<String, String>,
}

/// One row of a CSV file: a response to one step.
#[derive(Debug)]
struct ResponseRow {
    pupil: String,
    question: String,
    step: String,
    response: String,
}

/// Where the columns of a CSV file are; others, such as `at`, may stand between and behind them.
struct Columns([usize; 4]);

impl Columns {
    const NAMES: [&'static str; 4] = ["pupil", "question", "step", "response"];

    fn find(headers: &csv::StringRecord) -> anyhow::Result<Self> {
        let place = |name: &str| headers.iter().position(|known| known == name);
        let missing: Vec<&str> = Self::NAMES.into_iter().filter(|name| place(name).is_none()).collect();
        if !missing.is_empty() {
            bail!("the header row lacks {}; expected pupil,question,step,response", missing.join(", "));
        }
        Ok(Self(Self::NAMES.map(|name| place(name).unwrap_or_default())))
    }

    fn read(&self, row: &csv::StringRecord) -> Result<ResponseRow, String> {
        let field = |column: usize| {
            let text = row.get(self.0[column]).map(str::to_owned);
            text.ok_or_else(|| format!("the row ends before its {}", Self::NAMES[column]))
        };
        Ok(ResponseRow { pupil: field(0)?, question: field(1)?, step: field(2)?, response: field(3)? })
    }
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
                Err(error) => self.unusable(number, &told(&error)),
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
        let columns = Columns::find(reader.headers().context("the file has no header row")?)?;
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
            match columns.read(&row) {
                Ok(response) => self.gather(&mut gathered, line, response)?,
                Err(problem) => self.unusable(line, &problem),
            }
        }
        match gathered {
            Some((line, complete)) => self.mark(line, &complete),
            None => Ok(()),
        }
    }

    /// Adds a row to the answer it belongs to; the answer before it is complete and marked. A row that cannot be used
    /// takes no other with it.
    fn gather(
        &mut self,
        gathered: &mut Option<(u64, ResponseRecord)>,
        line: u64,
        row: ResponseRow,
    ) -> anyhow::Result<()> {
        if let Some(problem) = self.problem_of(&row.question, std::iter::once(row.step.as_str())) {
            self.unusable(line, &problem);
            return Ok(());
        }
        match gathered {
            Some((_, record)) if record.pupil == row.pupil && record.question == row.question => {
                match record.responses.entry(row.step) {
                    Entry::Vacant(free) => {
                        free.insert(row.response);
                    }
                    Entry::Occupied(taken) => {
                        let step = taken.key();
                        self.unusable(line, &format!("the step '{step}' was answered in an earlier row"));
                    }
                }
            }
            _ => {
                let responses = BTreeMap::from([(row.step, row.response)]);
                let next = ResponseRecord { pupil: row.pupil, question: row.question, responses };
                if let Some((line, complete)) = gathered.replace((line, next)) {
                    self.mark(line, &complete)?;
                }
            }
        }
        Ok(())
    }

    fn mark(&mut self, line: u64, record: &ResponseRecord) -> anyhow::Result<()> {
        let steps = record.responses.keys().map(String::as_str);
        if let Some(problem) = self.problem_of(&record.question, steps) {
            self.unusable(line, &problem);
            return Ok(());
        }
        let item = self.items[record.question.as_str()];
        serde_json::to_writer(&mut self.target, &mark(item, &record.pupil, &record.responses))?;
        writeln!(self.target)?;
        self.marked += 1;
        Ok(())
    }

    /// Why responses to these steps of a question cannot be marked, if so.
    fn problem_of<'s>(&self, question: &str, mut steps: impl Iterator<Item = &'s str>) -> Option<String> {
        let Some(item) = self.items.get(question) else {
            return Some(format!("the pool has no question '{question}'"));
        };
        let strange = steps.find(|id| !item.steps.iter().any(|step| step.id == *id))?;
        Some(format!("the question '{question}' has no step '{strange}'"))
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

/// A JSON error within one line; the reader's own count of lines would always be 1.
fn told(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let problem = text.split(" at line ").next().unwrap_or(&text);
    format!("column {}: {problem}", error.column())
}
