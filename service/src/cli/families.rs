//! `tenths families`: what can be drawn.
use std::{collections::BTreeSet, io::Write};

use qbank::family::Family;
use serde::Serialize;

use super::{bank::BankArguments, output};

/// Arguments of `tenths families`.
#[derive(Debug, clap::Args)]
pub(super) struct FamiliesArguments {
    #[command(flatten)]
    bank: BankArguments,
    /// One JSON record a line
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct FamilyRecord<'f> {
    family: &'f str,
    version: u32,
    title: &'f str,
    standards: &'f [String],
    difficulty: u8,
    kinds: BTreeSet<&'static str>,
    locales: Vec<&'f str>,
    misconceptions: Vec<&'static str>,
    capacity: Capacity,
}

/// How many different questions a family holds. Numbers as text: they can outgrow what JSON readers keep exact.
#[derive(Serialize)]
struct Capacity {
    /// Positions that can be drawn from one seed, no two with the same numbers.
    positions: String,
    /// Whether each position holds a question; else the number is an upper bound, and some positions are void.
    exact: bool,
}

pub(super) fn run(arguments: &FamiliesArguments) -> anyhow::Result<()> {
    let families = arguments.bank.families()?;
    let mut out = output::stdout();
    if !arguments.json {
        writeln!(
            out,
            "{:<22} {:>2} {:<7} {:>12}  {:<24} title",
            "family", "v", "level", "positions", "standards"
        )?;
    }
    for family in &families {
        let record = record(family);
        if arguments.json {
            serde_json::to_writer(&mut out, &record)?;
            writeln!(out)?;
        } else {
            writeln!(
                out,
                "{:<22} {:>2} {:<7} {:>12}  {:<24} {}",
                record.family,
                record.version,
                record.difficulty,
                record.capacity.positions,
                record.standards.join(" "),
                record.title
            )?;
        }
    }
    Ok(out.flush()?)
}

fn record(family: &Family) -> FamilyRecord<'_> {
    FamilyRecord {
        family: &family.id,
        version: family.version,
        title: family.texts.values().next().map_or("", |texts| texts.title.as_str()),
        standards: &family.standards,
        difficulty: family.difficulty,
        kinds: family.steps.iter().map(|step| step.kind.name()).collect(),
        locales: family.texts.keys().map(String::as_str).collect(),
        misconceptions: family.misconceptions.iter().map(|misconception| misconception.id).collect(),
        capacity: Capacity { positions: family.capacity().to_string(), exact: family.is_exact() },
    }
}
