//! `tenths draw`: questions of one family.
use std::io::Write;

use anyhow::bail;
use qbank::question::{Item, StepKind};

use super::{bank::BankArguments, output};

/// Arguments of `tenths draw`.
#[derive(Debug, clap::Args)]
pub(super) struct DrawArguments {
    /// The family; `tenths families` lists them
    family: String,
    /// How many questions
    #[arg(long, default_value_t = 1)]
    count: u64,
    /// Any text; the same seed draws the same questions on every machine
    #[arg(long, default_value = "tenths")]
    seed: String,
    /// The first position to draw
    #[arg(long, default_value_t = 0, value_name = "K")]
    from: u64,
    /// Language and region of the texts
    #[arg(long, default_value = "en-US")]
    locale: String,
    #[command(flatten)]
    bank: BankArguments,
    /// One JSON record a line
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &DrawArguments) -> anyhow::Result<()> {
    let family = arguments.bank.family(&arguments.family)?;
    let mut out = output::stdout();
    let mut drawn = 0;
    for item in family
        .draws(&arguments.seed, arguments.from, &arguments.locale)
        .take(usize::try_from(arguments.count)?)
    {
        let item = item?;
        if arguments.json {
            serde_json::to_writer(&mut out, &item)?;
            writeln!(out)?;
        } else {
            print(&mut out, &item)?;
        }
        drawn += 1;
    }
    out.flush()?;
    if drawn < arguments.count {
        bail!(
            "the family '{}' has only {drawn} questions from position {} on",
            arguments.family,
            arguments.from
        );
    }
    Ok(())
}

fn print(out: &mut impl Write, item: &Item) -> std::io::Result<()> {
    writeln!(out, "{} · {}", item.id, item.title)?;
    writeln!(out, "{}", item.stem)?;
    for step in &item.steps {
        let choices: Vec<String> =
            step.choices.iter().map(|choice| format!("{}: {}", choice.id, choice.text)).collect();
        writeln!(out, "  {} {}", step.prompt, choices.join("  "))?;
        let unit = step.unit.as_deref().filter(|_| step.kind == StepKind::Number).unwrap_or_default();
        writeln!(out, "    {}", format!("answer {} {unit}", step.answer).trim_end())?;
        for wrong in &step.predicted {
            writeln!(
                out,
                "    {:>10}  answers consistent with {}",
                wrong.answer.to_string(),
                wrong.misconception
            )?;
        }
        for line in &step.solution {
            writeln!(out, "      {line}")?;
        }
    }
    writeln!(out)
}
