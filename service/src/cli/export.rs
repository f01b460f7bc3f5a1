//! `tenths export`: a pool as a package.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::ValueEnum;
use exporters::qti::report::ExportReport;
use exporters::qti::{PackageOptions, QtiVersion, write_package};
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
    /// The time that every file in the package carries [default: always the same, so that equal pools give equal bytes]
    #[arg(long, value_name = "TIME")]
    timestamp: Option<jiff::Timestamp>,
}

/// A standard and its version.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// Question and test interoperability 3.0
    Qti3,
}

pub(super) fn run(arguments: &ExportArguments) -> anyhow::Result<()> {
    let Format::Qti3 = arguments.format;
    let pool = pool::read_file(&arguments.pool)?;
    let unstamped = PackageOptions::default();
    let timestamp = arguments.timestamp.unwrap_or(unstamped.timestamp);
    let options = PackageOptions { version: QtiVersion::V30, timestamp, ..unstamped };
    let report = write(&pool, &options, &arguments.output)?;
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
