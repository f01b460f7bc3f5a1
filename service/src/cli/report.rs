//! `tenths report`: what marks say about questions, groups and pupils; with the pool also what each pupil's answers,
//! taken together, are consistent with ([`qbank::diagnosis`]). Marks stand in the order of time.
//!
//! The marks are read twice, one line at a time (see [`qbank::statistics`] for what is kept and why), so they must be a
//! file. JSON is one object, the kernel's [`Statistics`] with what stands around it; text is the same for people.
mod text;

use std::{
    collections::BTreeMap,
    fs::File,
    io::{BufRead, BufReader, Read, Write},
    path::{Path, PathBuf},
};

use anyhow::{Context, bail};
use indicatif::ProgressBar;
use qbank::{
    marking::Mark,
    pool::Pool,
    statistics::{Census, Statistics, Tally},
};
use serde::Serialize;

use super::{output, pool, score};
use crate::judgement::{Judgement, NextQuestion, PupilDiagnosis};

/// Longest line of a marks file, in bytes: a mark is longer than the responses it is of.
const MAX_LINE: u64 = 1024 * 1024;
/// How many lines that are no marks are told one by one.
const TOLD_LINES: usize = 20;

/// Arguments of `tenths report`.
#[derive(Debug, clap::Args)]
pub(super) struct ReportArguments {
    /// Marks as `tenths score` writes them
    marks: PathBuf,
    /// The pool that was answered: adds its titles, predicted answers and choices
    #[arg(long, value_name = "POOL")]
    pool: Option<PathBuf>,
    /// Also tell so many questions to ask next, for each pupil and for the class; only with --pool
    #[arg(long, value_name = "COUNT", requires = "pool", value_parser = clap::value_parser!(u8).range(1..=20))]
    next: Option<u8>,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// The report as JSON.
#[derive(Serialize)]
struct Report<'r> {
    /// The pool's id and title.
    #[serde(skip_serializing_if = "Option::is_none")]
    pool: Option<PoolName<'r>>,
    /// Lines that are no marks.
    unusable: usize,
    #[serde(flatten)]
    statistics: &'r Statistics,
    /// What may be said of pupils; none without the pool.
    #[serde(skip_serializing_if = "Option::is_none")]
    diagnoses: Option<&'r [PupilDiagnosis]>,
    /// What to ask next, if that was wanted.
    #[serde(skip_serializing_if = "Option::is_none")]
    next: Option<&'r NextQuestions>,
}

/// The questions of the pool whose answers would tell most about what is still open.
#[derive(Serialize)]
struct NextQuestions {
    /// For all together.
    class: Vec<NextQuestion>,
    /// For each pupil.
    pupils: BTreeMap<String, Vec<NextQuestion>>,
}

impl NextQuestions {
    fn of(judgement: &Judgement<'_>, count: usize) -> Self {
        let pupils = judgement.pupils().map(|pupil| (pupil.to_owned(), judgement.next_for(pupil, count)));
        Self { class: judgement.next_for_class(count), pupils: pupils.collect() }
    }
}

#[derive(Serialize)]
struct PoolName<'r> {
    id: &'r str,
    title: &'r str,
}

pub(super) fn run(arguments: &ReportArguments) -> anyhow::Result<()> {
    let pool = arguments.pool.as_deref().map(pool::read_file).transpose()?;
    let (statistics, judgement, unusable) = statistics(&arguments.marks, pool.as_ref())?;
    let diagnoses = judgement.as_ref().map(Judgement::diagnoses);
    let diagnoses = diagnoses.as_deref();
    let next = judgement.as_ref().zip(arguments.next);
    let next = next.map(|(judgement, count)| NextQuestions::of(judgement, count.into()));
    let next = next.as_ref();
    let mut out = output::stdout();
    if arguments.json {
        let pool = pool.as_ref().map(|pool| PoolName { id: &pool.id, title: &pool.title });
        serde_json::to_writer(
            &mut out,
            &Report { pool, unusable, statistics: &statistics, diagnoses, next },
        )?;
        writeln!(out)?;
    } else {
        text::write(&mut out, &statistics, diagnoses, next, pool.as_ref())?;
    }
    out.flush()?;
    if unusable > 0 { bail!("{unusable} lines are no marks") } else { Ok(()) }
}

/// What a file of marks comes to: statistics, what is believed of pupils if the pool is there, lines that are no marks.
type MarksRead<'p> = (Statistics, Option<Judgement<'p>>, usize);

fn statistics<'p>(path: &Path, pool: Option<&'p Pool>) -> anyhow::Result<MarksRead<'p>> {
    let bytes = path.metadata().with_context(|| format!("cannot read {}", path.display()))?.len();
    let bar = output::progress(2 * bytes, "reading");
    let mut census = Census::new(pool);
    let unusable = each_mark(path, &bar, &mut |mark| census.add(&mark))?;
    let mut tally = Tally::new(census, pool);
    let mut judgement = pool.map(Judgement::of);
    each_mark(path, &bar, &mut |mark| {
        tally.add(&mark);
        if let Some(judgement) = &mut judgement {
            judgement.see(&mark);
        }
    })?;
    bar.finish_and_clear();
    unusable.iter().take(TOLD_LINES).for_each(|problem| output::note(problem));
    Ok((tally.finish(), judgement, unusable.len()))
}

/// Reads every mark of the file; tells why lines are none.
fn each_mark(path: &Path, bar: &ProgressBar, each: &mut dyn FnMut(Mark)) -> anyhow::Result<Vec<String>> {
    let file = File::open(path).with_context(|| format!("cannot read {}", path.display()))?;
    let mut reader = BufReader::new(file);
    let (mut line, mut unusable) = (Vec::new(), Vec::new());
    for number in 1_u64.. {
        line.clear();
        let read = reader.by_ref().take(MAX_LINE).read_until(b'\n', &mut line)? as u64;
        if read == 0 {
            break;
        }
        bar.inc(read);
        if read == MAX_LINE && !line.ends_with(b"\n") {
            unusable.push(format!("line {number}: the line is longer than 1 MiB"));
            reader.skip_until(b'\n')?;
            continue;
        }
        if line.trim_ascii().is_empty() {
            continue;
        }
        match serde_json::from_slice::<Mark>(&line) {
            Ok(mark) => each(mark),
            Err(error) => unusable.push(format!("line {number}: {}", score::told(&error))),
        }
    }
    Ok(unusable)
}
