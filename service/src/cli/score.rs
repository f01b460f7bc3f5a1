//! `tenths score`: marks for responses in a file, one after the other, whatever the file's size.
//!
//! Every format gives [`ResponseRecord`]s with their place, see its module. What cannot be used is told with place and
//! reason, and never stops the rest. Memory holds the pool and what a format says it gathers.
mod csv;
mod ndjson;
mod record;
mod results;
mod templates;

use std::{
    collections::{BTreeMap, HashMap},
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
    marking::{Marker, Policy, responses},
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
    let path = arguments.responses.as_path();
    let read = format_of(path)?;
    let file = File::open(path).with_context(|| format!("cannot read {}", path.display()))?;
    let bar = output::progress(file.metadata()?.len(), "marking");
    let target = Target::open(arguments.output.as_deref())?;
    let policy = arguments.policy();
    let mut scoring = Scoring {
        markers: Markers::of(pool.items(), policy),
        templates: Templates::of(&pool, &arguments.bank),
        policy,
        outcome: Outcome { target, marked: 0, unusable: 0, bar },
    };
    read(&mut scoring, file).with_context(|| path.display().to_string())?;
    scoring.outcome.finish()
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
    markers: Markers<'p>,
    templates: Templates<'p>,
    policy: Policy,
    outcome: Outcome,
}

/// The questions of a pool, each made ready for marking once.
struct Markers<'p>(HashMap<&'p str, Marker<'p>>);

/// What has come out so far, in the order of the responses.
struct Outcome {
    target: Target,
    marked: u64,
    unusable: usize,
    bar: ProgressBar,
}

impl<'p> Scoring<'p> {
    /// Marks a record, or tells why it cannot be marked.
    fn mark(&mut self, place: impl Display, record: &ResponseRecord) -> anyhow::Result<()> {
        let steps = record.responses.keys().map(String::as_str);
        match self.markers.of_question(&record.question, steps) {
            Ok(marker) => self.outcome.mark(marker, record)?,
            Err(problem) => self.outcome.unusable(place, &problem),
        }
        Ok(())
    }

    /// Marks a record whose question may be no question of the pool.
    fn mark_by(&mut self, item: &Item, record: &ResponseRecord) -> anyhow::Result<()> {
        self.outcome.mark(&Marker::new(item, self.policy), record)
    }
}

impl<'p> Markers<'p> {
    fn of(items: impl Iterator<Item = &'p Item>, policy: Policy) -> Self {
        Self(items.map(|item| (item.id.as_str(), Marker::new(item, policy))).collect())
    }

    fn get(&self, question: &str) -> Option<&Marker<'p>> {
        self.0.get(question)
    }

    /// The question, if responses to these steps of it can be marked.
    fn of_question<'s>(
        &self,
        question: &str,
        steps: impl Iterator<Item = &'s str>,
    ) -> Result<&Marker<'p>, String> {
        let marker = self.get(question).ok_or_else(|| format!("the pool has no question '{question}'"))?;
        all_steps_of(marker.item(), question, steps).map(|()| marker)
    }
}

impl Outcome {
    /// The mark names the question as the record does.
    fn mark(&mut self, marker: &Marker<'_>, record: &ResponseRecord) -> anyhow::Result<()> {
        let response = |step: &str| record.responses.get(step).map_or("", String::as_str);
        serde_json::to_writer(&mut self.target, &marker.mark(&record.pupil, &record.question, response))?;
        writeln!(self.target)?;
        self.marked += 1;
        Ok(())
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
fn all_steps_of<'s>(item: &Item, question: &str, steps: impl Iterator<Item = &'s str>) -> Result<(), String> {
    // The first by the alphabet, so that it is the same one in whatever order they come.
    match steps.filter(|id| !item.steps.iter().any(|step| step.id == *id)).min() {
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
