//! `tenths export`: a pool as a package.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::ValueEnum;
use exporters::qti::report::ExportReport;
use exporters::qti::{PackageOptions, QtiVersion, write_package, write_template_package};
use qbank::{bank, family::Family, pool::Pool};

use super::{output, pool};

/// Arguments of `tenths export`.
#[derive(Debug, clap::Args)]
pub(super) struct ExportArguments {
    /// The pool file
    pool: PathBuf,
    /// The standard and version
    #[arg(long = "as", value_enum, value_name = "FORMAT")]
    format: Format,
    /// One item for each section that the platform varies itself, where the standard can express the section's family
    #[arg(long)]
    templates: bool,
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
    let families = if arguments.templates { Some(bank::families()?) } else { None };
    let report = write(&pool, families.as_deref(), &options, &arguments.output)?;
    for stays_fixed in &report.stays_fixed {
        output::note(&stays_fixed.to_string());
    }
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

/// Writes a package beside its name first, so that a failure leaves no half package there. With families, sections of
/// theirs become templates.
fn write(
    pool: &Pool,
    families: Option<&[Family]>,
    options: &PackageOptions,
    path: &Path,
) -> anyhow::Result<ExportReport> {
    let mut partial = path.as_os_str().to_owned();
    partial.push(".partial");
    let partial = PathBuf::from(partial);
    let file = File::create(&partial).with_context(|| format!("cannot write {}", partial.display()))?;
    let out = std::io::BufWriter::new(file);
    let written = match families {
        Some(families) => write_template_package(pool, families, options, out),
        None => write_package(pool, options, out),
    };
    if written.is_err() {
        // The error tells more than a left-over that could not be removed.
        let _ = fs::remove_file(&partial);
    }
    let report = written.with_context(|| format!("cannot export '{}'", pool.id))?;
    fs::rename(&partial, path).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(report)
}
