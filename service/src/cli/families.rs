//! `tenths families`: what can be drawn.
use std::{collections::BTreeSet, fmt, io::Write};

use qbank::family::{Counted, Family};
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
    standards: Vec<&'f str>,
    difficulty: Levels,
    kinds: BTreeSet<&'static str>,
    locales: Vec<&'f str>,
    misconceptions: Vec<&'static str>,
    /// Pairs that a sample of questions tells apart by different wrong answers.
    tells_apart: Vec<(&'static str, &'static str)>,
    never_apart: Vec<(&'static str, &'static str)>,
    capacity: Capacity,
}

/// The levels of difficulty in a sample of questions.
#[derive(Serialize)]
struct Levels {
    from: u8,
    to: u8,
}

/// How many different questions a family holds. Numbers as text: they can outgrow what JSON readers keep exact.
#[derive(Serialize)]
struct Capacity {
    /// Positions that can be drawn from one seed, no two with the same numbers.
    positions: String,
    /// What they count: `questions` (each position holds one), `numbers` (exactly those that satisfy the family, some
    /// passed over because misconceptions would lead to the same wrong answer), or `bound`.
    counts: &'static str,
    /// Whether they are questions, each of them.
    exact: bool,
    /// Positions looked at in a sample, and how many of them held no question.
    sampled: u64,
    void: u64,
}

pub(super) fn run(arguments: &FamiliesArguments) -> anyhow::Result<()> {
    let families = arguments.bank.families()?;
    let mut out = output::stdout();
    if !arguments.json {
        writeln!(
            out,
            "{:<24} {:>2} {:<7} {:>12} {:<9}  {:<24} title",
            "family", "v", "level", "positions", "count", "standards"
        )?;
    }
    for family in &families {
        let record = record(family)?;
        if arguments.json {
            serde_json::to_writer(&mut out, &record)?;
            writeln!(out)?;
        } else {
            print(&mut out, &record)?;
        }
    }
    Ok(out.flush()?)
}

fn print(out: &mut impl Write, record: &FamilyRecord<'_>) -> std::io::Result<()> {
    writeln!(
        out,
        "{:<24} {:>2} {:<7} {:>12} {:<9}  {:<24} {}",
        record.family,
        record.version,
        record.difficulty.to_string(),
        record.capacity.positions,
        record.capacity.counts,
        record.standards.join(" "),
        record.title
    )?;
    let (apart, never) = (record.tells_apart.len(), &record.never_apart);
    if apart + never.len() > 0 {
        let not: String = never.iter().map(|(one, other)| format!("; not {one} from {other}")).collect();
        writeln!(
            out,
            "{:>27} tells apart {apart} of {} pairs of misconceptions{not}",
            "",
            apart + never.len()
        )?;
    }
    Ok(())
}

fn record(family: &Family) -> anyhow::Result<FamilyRecord<'_>> {
    let telling = family.telling()?;
    Ok(FamilyRecord {
        family: &family.id,
        version: family.version,
        title: family.texts.values().next().map_or("", |texts| texts.title.as_str()),
        standards: family.standards.iter().map(AsRef::as_ref).collect(),
        difficulty: Levels { from: telling.levels.0, to: telling.levels.1 },
        kinds: family.steps.iter().map(|step| step.kind.name()).collect(),
        locales: family.texts.keys().map(String::as_str).collect(),
        misconceptions: family.all_misconceptions(),
        tells_apart: telling.apart,
        never_apart: telling.never_apart,
        capacity: Capacity {
            positions: family.capacity().to_string(),
            counts: family.counted().name(),
            exact: family.counted() == Counted::Questions,
            sampled: telling.positions.0,
            void: telling.positions.1,
        },
    })
}

impl fmt::Display for Levels {
    /// `3`, or `2-4`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.from == self.to { write!(f, "{}", self.from) } else { write!(f, "{}-{}", self.from, self.to) }
    }
}
