//! `tenths export`: a pool as a package.

use std::fs::{self, File};
use std::num::{NonZeroU16, NonZeroU32};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::ValueEnum;
use exporters::qti::report::ExportReport;
use exporters::qti::{Ordering, PackageOptions, QtiVersion, Solution, TimeLimit, write_package};
use qbank::pool::Pool;

use super::{output, pool};

/// Arguments of `tenths export`.
#[derive(Debug, clap::Args)]
pub(super) struct ExportArguments {
    /// The pool file
    pool: PathBuf,
    /// The standard and version
    #[arg(long = "as", value_enum, value_name = "FORMAT")]
    format: Format,
    /// Where the package goes
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Who sees the worked solution, and when
    #[arg(long, value_enum, value_name = "POLICY", default_value = "after-last-attempt")]
    solution: SolutionPolicy,
    /// How often a pupil may answer a question; 0 is without limit
    #[arg(long, value_name = "N", default_value = "1")]
    attempts: u32,
    /// How long a pupil may work on the whole test [default: without limit]
    #[arg(long, value_name = "MINUTES")]
    minutes: Option<NonZeroU16>,
    /// Keep the pool's order of questions within a section
    #[arg(long)]
    in_order: bool,
    /// The time that every file in the package carries [default: always the same, so that equal pools give equal bytes]
    #[arg(long, value_name = "TIME")]
    timestamp: Option<jiff::Timestamp>,
}

/// A standard and its version.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// Question and test interoperability 3.0
    Qti3,
    /// Question and test interoperability 2.2
    Qti22,
    /// Question and test interoperability 2.1
    Qti21,
}

/// The command line's names of [`Solution`].
#[derive(Debug, Clone, Copy, ValueEnum)]
enum SolutionPolicy {
    /// Nobody; it is not in the package
    Withheld,
    /// Pupils, once nothing can be gained any more
    AfterLastAttempt,
    /// Those who score
    ForScorers,
}

impl ExportArguments {
    fn options(&self) -> PackageOptions {
        let unstamped = PackageOptions::default();
        let limit = |minutes: NonZeroU16| TimeLimit {
            seconds: NonZeroU32::from(minutes).saturating_mul(SECONDS_A_MINUTE),
            late_submission: false,
        };
        PackageOptions {
            version: match self.format {
                Format::Qti3 => QtiVersion::V30,
                Format::Qti22 => QtiVersion::V22,
                Format::Qti21 => QtiVersion::V21,
            },
            solution: match self.solution {
                SolutionPolicy::Withheld => Solution::Withheld,
                SolutionPolicy::AfterLastAttempt => Solution::AfterLastAttempt,
                SolutionPolicy::ForScorers => Solution::ForScorers,
            },
            attempts: self.attempts,
            time_limit: self.minutes.map(limit),
            ordering: if self.in_order { Ordering::AsInPool } else { Ordering::Shuffled },
            timestamp: self.timestamp.unwrap_or(unstamped.timestamp),
            ..unstamped
        }
    }
}

const SECONDS_A_MINUTE: NonZeroU32 = NonZeroU32::new(60).expect("60 is not zero");

pub(super) fn run(arguments: &ExportArguments) -> anyhow::Result<()> {
    let pool = pool::read_file(&arguments.pool)?;
    let report = write(&pool, &arguments.options(), &arguments.output)?;
    for left_out in &report.left_out {
        output::note(&left_out.to_string());
    }
    output::note(&format!(
        "{}: {} items, {} bytes",
        arguments.output.display(),
        report.items.len(),
        report.bytes
    ));
    Ok(())
}

/// Writes a package beside its name first, so that a failure leaves no half package there.
pub(super) fn write(pool: &Pool, options: &PackageOptions, path: &Path) -> anyhow::Result<ExportReport> {
    let mut partial = path.as_os_str().to_owned();
    partial.push(".partial");
    let partial = PathBuf::from(partial);
    let file = File::create(&partial).with_context(|| format!("cannot write {}", partial.display()))?;
    let written = write_package(pool, options, std::io::BufWriter::new(file));
    if written.is_err() {
        // The error tells more than a left-over that could not be removed.
        let _ = fs::remove_file(&partial);
    }
    let report = written.with_context(|| format!("cannot export '{}'", pool.id))?;
    fs::rename(&partial, path).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(report)
}
