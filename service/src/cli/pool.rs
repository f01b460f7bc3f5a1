//! `tenths pool`: a pool from a plan; and reading pool files for other commands.
use std::{
    fs,
    io::Write,
    path::{Path, PathBuf},
};

use anyhow::Context;
use qbank::{form, plan::Plan, pool::Pool};

use super::{
    bank::BankArguments,
    output::{self, Target},
};

/// Over how many forms the spread of difficulty is told.
const FORMS: u32 = 1_000;

/// Arguments of `tenths pool`.
#[derive(Debug, clap::Args)]
pub(super) struct PoolArguments {
    /// The plan file
    #[arg(value_name = "PLAN.toml")]
    plan: PathBuf,
    /// A seed in place of the plan's
    #[arg(long)]
    seed: Option<String>,
    /// Where the pool goes; standard output if not given
    #[arg(short, long, value_name = "POOL")]
    output: Option<PathBuf>,
    #[command(flatten)]
    bank: BankArguments,
}

pub(super) fn run(arguments: &PoolArguments) -> anyhow::Result<()> {
    let name = arguments.plan.display();
    let text = fs::read_to_string(&arguments.plan).with_context(|| format!("cannot read {name}"))?;
    let plan = Plan::from_toml(&text).with_context(|| format!("{name} is no plan"))?;
    let families = match plan.families() {
        Some(names) => arguments.bank.named(&names)?,
        None => arguments.bank.families()?,
    };
    let pool = plan.make(&families, arguments.seed.as_deref()).with_context(|| format!("{name}"))?;
    let mut target = Target::open(arguments.output.as_deref())?;
    target.write_all(pool.to_json().as_bytes())?;
    target.finish()?;
    output::note(&format!(
        "{}: {} questions in {} sections, {}",
        pool.id,
        pool.items().count(),
        pool.sections.len(),
        pool.receipt()
    ));
    let picked: usize = pool.sections.iter().map(|section| section.pick as usize).sum();
    output::note(&form::spread(&pool, picked, FORMS).to_string());
    Ok(())
}

/// Reads a pool file and proves it.
///
/// # Errors
/// If the file cannot be read or a question in it cannot be proven.
pub(super) fn read_file(path: &Path) -> anyhow::Result<Pool> {
    let text = fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    Pool::from_json(&text).with_context(|| path.display().to_string())
}
