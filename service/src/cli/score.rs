//! `tenths score`: marks for responses in a file, one after the other, whatever the file's size.
//!
//! Every format gives [`ResponseRecord`]s with their place, see its module. What cannot be used is told with place and
//! reason, and never stops the rest. Memory holds the pool and what a format says it gathers.
mod csv;
mod ndjson;
mod results;
mod templates;

use std::{
    collections::BTreeMap,
    fmt::Display,
    fs::File,
    io::Write,
    path::{Path, PathBuf},
};

use anyhow::{Context, bail};
use clap::ValueEnum;
use indicatif::ProgressBar;
use qbank::{
    accept::Credit,
    marking::{Policy, mark_with, responses},
    question::Item,
};
use serde::Deserialize;

use self::templates::Templates;
use super::{
    bank::BankArguments,
    output::{self, Target},
    pool,
};

/// How many rows that cannot be used are told one by one.
const TOLD_ROWS: usize = 20;

/// Arguments of `tenths score`.
#[derive(Debug, clap::Args)]
pub(super) struct ScoreArguments {
    /// The pool file that the questions come from
    pool: PathBuf,
    /// Responses: .ndjson (one record a line), .csv (columns pupil, question, step, response), or QTI result reports:
    /// one .xml or a .zip of several
    responses: PathBuf,
    /// Where the marks go; standard output if not given
    #[arg(short, long, value_name = "MARKS")]
    output: Option<PathBuf>,
    /// Give no points for a step that is right from the pupil's own earlier value only
    #[arg(long)]
    no_follow_through: bool,
    /// What the right value in another form than asked for earns [default: what each question says]
    #[arg(long, value_name = "CREDIT")]
    form_credit: Option<FormCredit>,
    #[command(flatten)]
    bank: BankArguments,
}

/// What the right value in another form earns.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum FormCredit {
    /// Nothing
    None,
    /// Half the points, rounded down
    Part,
    /// All points, with a note
    Full,
}

impl ScoreArguments {
    fn policy(&self) -> Policy {
        let form_credit = self.form_credit.map(|credit| match credit {
            FormCredit::None => Credit::None,
            FormCredit::Part => Credit::Part,
            FormCredit::Full => Credit::Full,
        });
        Policy { follow_through: !self.no_follow_through, form_credit }
    }
}

/// One pupil's responses to one question.
#[derive(Debug, Deserialize)]
struct ResponseRecord {
    pupil: String,
    question: String,
    #[serde(deserialize_with = "responses")]
    responses: BTreeMap<String, String>,
}

pub(super) fn run(arguments: &ScoreArguments) -> anyhow::Result<()> {
    let pool = pool::read_file(&arguments.pool)?;
    let items = pool.items().map(|item| (item.id.as_str(), item)).collect();
    let path = arguments.responses.as_path();
    let read = format_of(path)?;
    let file = File::open(path).with_context(|| format!("cannot read {}", path.display()))?;
    let bar = output::progress(file.metadata()?.len(), "marking");
    let target = Target::open(arguments.output.as_deref())?;
    let mut scoring = Scoring {
        items,
        templates: Templates::of(&pool, &arguments.bank),
        policy: arguments.policy(),
        target,
        marked: 0,
        unusable: 0,
        bar,
    };
    read(&mut scoring, file).with_context(|| path.display().to_string())?;
    scoring.finish()
}

/// How a file is read, by the ending of its name.
fn format_of(path: &Path) -> anyhow::Result<fn(&mut Scoring<'_>, File) -> anyhow::Result<()>> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    Ok(match ending.to_ascii_lowercase().as_str() {
        "ndjson" | "jsonl" => ndjson::score,
        "csv" => csv::score,
        "xml" => results::score_report,
        "zip" => results::score_archive,
        _ => bail!("{}: expected a file that ends in .ndjson, .csv, .xml or .zip", path.display()),
    })
}

/// What all formats do with responses.
struct Scoring<'p> {
    items: BTreeMap<&'p str, &'p Item>,
    templates: Templates<'p>,
    policy: Policy,
    target: Target,
    marked: u64,
    unusable: usize,
    bar: ProgressBar,
}

impl<'p> Scoring<'p> {
    /// Marks a record, or tells why it cannot be marked.
    fn mark(&mut self, place: impl Display, record: &ResponseRecord) -> anyhow::Result<()> {
        match self.item_of(&record.question, record.responses.keys().map(String::as_str)) {
            Ok(item) => self.mark_by(item, record)?,
            Err(problem) => self.unusable(place, &problem),
        }
        Ok(())
    }

    /// Marks a record whose question may be no question of the pool. The mark names the question as the record does.
    fn mark_by(&mut self, item: &Item, record: &ResponseRecord) -> anyhow::Result<()> {
        let mut marked = mark_with(item, &record.pupil, &record.responses, self.policy);
        marked.question.clone_from(&record.question);
        serde_json::to_writer(&mut self.target, &marked)?;
        writeln!(self.target)?;
        self.marked += 1;
        Ok(())
    }

    /// The question, if responses to these steps of it can be marked.
    fn item_of<'s>(&self, question: &str, steps: impl Iterator<Item = &'s str>) -> Result<&'p Item, String> {
        let item =
            self.items.get(question).ok_or_else(|| format!("the pool has no question '{question}'"))?;
        all_steps_of(item, question, steps).map(|()| *item)
    }

    fn unusable(&mut self, place: impl Display, reason: &str) {
        self.unusable += 1;
        if self.unusable <= TOLD_ROWS {
            self.bar.suspend(|| output::note(&format!("{place}: {reason}")));
        }
    }

    fn finish(self) -> anyhow::Result<()> {
        self.bar.finish_and_clear();
        self.target.finish()?;
        if self.unusable > TOLD_ROWS {
            output::note(&format!("… and {} more", self.unusable - TOLD_ROWS));
        }
        output::note(&format!("{} answers marked, {} rows not usable", self.marked, self.unusable));
        if self.unusable > 0 { bail!("some rows could not be used") } else { Ok(()) }
    }
}

/// Refuses a step that the question does not have.
fn all_steps_of<'s>(
    item: &Item,
    question: &str,
    mut steps: impl Iterator<Item = &'s str>,
) -> Result<(), String> {
    match steps.find(|id| !item.steps.iter().any(|step| step.id == *id)) {
        Some(strange) => Err(format!("the question '{question}' has no step '{strange}'")),
        None => Ok(()),
    }
}

/// A JSON error within one line; the reader's own count of lines would always be 1.
pub(super) fn told(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let problem = text.split(" at line ").next().unwrap_or(&text);
    format!("column {}: {problem}", error.column())
}
