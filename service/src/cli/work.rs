//! `tenths work`: the column working of any expression.
use std::io::Write;

use anyhow::Context;
use qbank::{expression::Expression, working};

use super::output;

/// Arguments of `tenths work`.
#[derive(Debug, clap::Args)]
pub(super) struct WorkArguments {
    /// Decimals with + - * /, parentheses and round(x, places), or a comparison `a ? b`
    expression: String,
    /// A JSON record
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &WorkArguments) -> anyhow::Result<()> {
    let expression: Expression =
        arguments.expression.parse().with_context(|| format!("cannot read '{}'", arguments.expression))?;
    let worked = working::work(&expression).with_context(|| format!("cannot work '{expression}'"))?;
    let mut out = output::stdout();
    if arguments.json {
        serde_json::to_writer(&mut out, &worked)?;
        writeln!(out)?;
        return Ok(out.flush()?);
    }
    for line in &worked.working {
        writeln!(out, "{line}")?;
    }
    writeln!(
        out,
        "\n{} {} {}",
        worked.expression,
        if worked.answer.starts_with(['<', '=', '>']) { "→" } else { "=" },
        worked.answer
    )?;
    for wrong in &worked.predicted {
        writeln!(out, "{:>12}  answers consistent with {}", wrong.answer, wrong.misconception)?;
    }
    Ok(out.flush()?)
}
