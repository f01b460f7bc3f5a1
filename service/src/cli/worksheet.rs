//! `tenths worksheet`: print-ready sheets, one version a pupil, and their key.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, ensure};
use qbank::marking::Policy;

use super::output::{self, Target};
use super::pool;
use crate::paper::{self, Paper, PrintSettings, Sheet, SheetCode};
use crate::texts::Texts;

/// Most sheets in one run: a whole grade.
const PUPILS_MOST: u32 = 1_000;

/// Arguments of `tenths worksheet`.
#[derive(Debug, clap::Args)]
pub(super) struct WorksheetArguments {
    /// The pool file, as `tenths pool` writes it
    pool: PathBuf,
    /// How many sheets, each with its own numbers
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(PUPILS_MOST)))]
    pupils: u32,
    /// The folder for sheets.pdf, key.pdf and sheets.csv
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Questions on each sheet; as many as the pool's sections pick if not given
    #[arg(long, value_name = "K", value_parser = clap::value_parser!(u32).range(1..=100))]
    questions: Option<u32>,
    /// Draws the sheets: the same text, the same sheets
    #[arg(long, default_value = "1", value_name = "TEXT")]
    seed: String,
    /// Put squares to work in beside each number
    #[arg(long)]
    grid: bool,
    /// Put the workings into the key
    #[arg(long)]
    workings: bool,
    /// Begin each sheet on a leaf of its own, for printing on both sides
    #[arg(long)]
    two_sided: bool,
    /// The paper: letter or a4
    #[arg(long, default_value = "letter")]
    paper: Paper,
}

pub(super) fn run(arguments: &WorksheetArguments) -> anyhow::Result<()> {
    let pool = pool::read_file(&arguments.pool)?;
    let picked: u32 = pool.sections.iter().map(|section| section.pick).sum();
    let count = usize::try_from(arguments.questions.unwrap_or(picked)).unwrap_or(usize::MAX);
    let held = pool.items().count();
    ensure!(
        count <= held,
        "{} has {held} questions, too few for {count} on a sheet",
        arguments.pool.display()
    );
    let code = |number: u32| SheetCode::of(&format!("{}/{}/{number}", pool.id, arguments.seed));
    let sheets: Vec<Sheet> = (1..=arguments.pupils)
        .map(|number| Sheet::of(&pool, count, code(number), Policy::default()))
        .collect();
    let settings = PrintSettings {
        paper: arguments.paper,
        squares: arguments.grid,
        workings: arguments.workings,
        two_sided: arguments.two_sided,
        title: pool.title.clone(),
        texts: Texts::of(&pool.locale),
    };
    let folder = &arguments.output;
    fs::create_dir_all(folder).with_context(|| format!("cannot make the folder {}", folder.display()))?;
    write(&folder.join("sheets.pdf"), &paper::sheets(&sheets, &settings)?)?;
    write(&folder.join("key.pdf"), &paper::key(&sheets, &settings)?)?;
    write(&folder.join("sheets.csv"), &list(&sheets)?)?;
    output::note(&format!(
        "{} sheets with {count} questions each: {}",
        sheets.len(),
        ["sheets.pdf", "key.pdf", "sheets.csv"]
            .map(|name| folder.join(name).display().to_string())
            .join(", ")
    ));
    Ok(())
}

fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let mut target = Target::open(Some(path))?;
    target.write_all(bytes)?;
    target.finish()
}

/// Which question of the pool has which number on which sheet.
fn list(sheets: &[Sheet]) -> anyhow::Result<Vec<u8>> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(["sheet", "number", "question"])?;
    for sheet in sheets {
        for question in &sheet.questions {
            rows.write_record([&sheet.code.to_string(), &question.number.to_string(), &question.id])?;
        }
    }
    Ok(rows.into_inner()?)
}
