//! `tenths read`: how a pupil's text is read.
use std::io::Write;

use anyhow::{Context, bail};
use qbank::{
    locale::{Language, Locale},
    reading::{self, Reading},
    units::{self, Unit},
};
use serde::Serialize;

use super::output;

/// Arguments of `tenths read`.
#[derive(Debug, clap::Args)]
pub(super) struct ReadArguments {
    /// The text as typed
    #[arg(allow_hyphen_values = true)]
    text: String,
    /// Language and region, which decide about point and comma
    #[arg(long, default_value = "en-US")]
    locale: String,
    /// The unit that the question asks for, by its symbol
    #[arg(long)]
    unit: Option<String>,
    /// A JSON record
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct ReadRecord {
    value: Option<String>,
    unit: Option<&'static str>,
    form: Option<&'static str>,
    problem: Option<String>,
}

pub(super) fn run(arguments: &ReadArguments) -> anyhow::Result<()> {
    let Some(locale) = Locale::by_tag(&arguments.locale) else {
        bail!(
            "'{}' is no known locale; there are {}",
            arguments.locale,
            Locale::tags().collect::<Vec<_>>().join(", ")
        );
    };
    let unit = match &arguments.unit {
        Some(symbol) => {
            Some(units::by_symbol(symbol).with_context(|| format!("'{symbol}' is no known unit"))?)
        }
        None => None,
    };
    let reading = reading::read(&arguments.text, locale, unit);
    let record = record(reading, unit, locale.language().unwrap_or_default());
    let mut out = output::stdout();
    if arguments.json {
        serde_json::to_writer(&mut out, &record)?;
        writeln!(out)?;
    } else {
        match (&record.value, &record.problem) {
            (Some(value), _) => writeln!(
                out,
                "{value} {} ({})",
                record.unit.unwrap_or_default(),
                record.form.unwrap_or_default()
            )?,
            (None, problem) => writeln!(out, "not read: {}", problem.as_deref().unwrap_or_default())?,
        }
    }
    Ok(out.flush()?)
}

/// What was read, in the unit that was asked for if a unit was written.
fn record(reading: Reading, asked: Option<&'static Unit>, language: Language) -> ReadRecord {
    let unread = |problem: String| ReadRecord { value: None, unit: None, form: None, problem: Some(problem) };
    match reading {
        Reading::Blank => unread("there is nothing but blanks".into()),
        Reading::Unreadable(problem) => unread(problem.told(language)),
        Reading::Read(number) => ReadRecord {
            value: Some(
                number.decimal().map_or_else(|| number.value.to_string(), |decimal| decimal.to_string()),
            ),
            unit: number.unit.map(|written| asked.unwrap_or(written).symbol),
            form: Some(number.form.name()),
            problem: None,
        },
    }
}
