//! `tenths export`: a pool as a package, whatever the pool's size.
//!
//! The pool file ([`PoolFile`]) is gone through once to see to its form and once to write, and never held; its questions are read,
//! proven and written on all processors.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::BufWriter;
use std::num::{NonZeroU16, NonZeroU32};
use std::path::{Path, PathBuf};
use std::thread;

use anyhow::{Context, bail};
use clap::ValueEnum;
use exporters::archive::scratch::Scratch;
use exporters::cartridge::{CartridgeOptions, LiveQuiz, write_cartridge_telling};
use exporters::qti::{
    Ordering, PackageOptions, QtiVersion, Solution, TimeLimit, write_package_telling, write_template_package,
};
use exporters::source::ItemSource;
use indicatif::ProgressBar;
use qbank::bank;
use url::Url;

use super::output;
use super::pool_file::PoolFile;
use crate::lti::deep_linking::QUESTIONS_MAX;

/// How often a pupil may take the live quiz that a cartridge links to.
const LIVE_ATTEMPTS: u32 = 1;

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
    /// The service's launch address: the cartridge links to the live quiz there
    #[arg(long, value_name = "URL", value_parser = launch_url)]
    launch_url: Option<Url>,
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
    /// Common Cartridge 1.3
    Cartridge,
}

/// How often the pool file is gone through, once more to find templates.
const READINGS: u64 = 2;

fn launch_url(text: &str) -> Result<Url, String> {
    let url: Url = text.parse().map_err(|error| format!("{error}; expected an address with https://"))?;
    let here = url.host_str().is_some_and(|host| matches!(host, "localhost" | "127.0.0.1" | "[::1]"));
    if url.scheme() == "https" || (url.scheme() == "http" && here) {
        Ok(url)
    } else {
        Err("expected an address with https://, or one with http:// on this machine".to_owned())
    }
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
    fn options(&self, version: QtiVersion) -> PackageOptions {
        let unstamped = PackageOptions::default();
        let limit = |minutes: NonZeroU16| TimeLimit {
            seconds: NonZeroU32::from(minutes).saturating_mul(SECONDS_A_MINUTE),
            late_submission: false,
        };
        PackageOptions {
            version,
            solution: match self.solution {
                SolutionPolicy::Withheld => Solution::Withheld,
                SolutionPolicy::AfterLastAttempt => Solution::AfterLastAttempt,
                SolutionPolicy::ForScorers => Solution::ForScorers,
            },
            attempts: self.attempts,
            time_limit: self.minutes.map(limit),
            ordering: if self.in_order { Ordering::AsInPool } else { Ordering::Shuffled },
            timestamp: self.timestamp.unwrap_or(unstamped.timestamp),
            threads: thread::available_parallelism().unwrap_or(unstamped.threads),
            // Memory does not grow with the pool: a file without a name, gone when the program ends in whichever way.
            scratch: Scratch::new(|| Ok(Box::new(tempfile::tempfile()?))),
            ..unstamped
        }
    }
}

const SECONDS_A_MINUTE: NonZeroU32 = NonZeroU32::new(60).expect("60 is not zero");

pub(super) fn run(arguments: &ExportArguments) -> anyhow::Result<()> {
    if arguments.launch_url.is_some() && !matches!(arguments.format, Format::Cartridge) {
        bail!("--launch-url is for cartridges; the other formats have no links to live quizzes");
    }
    if arguments.templates && matches!(arguments.format, Format::Cartridge) {
        bail!("--templates is for qti3, qti22 and qti21; a cartridge has no items that vary themselves");
    }
    let size = fs::metadata(&arguments.pool)
        .with_context(|| format!("cannot read {}", arguments.pool.display()))?
        .len();
    let readings = READINGS + u64::from(arguments.templates);
    let bar = output::progress(size * readings, "exporting");
    let pool = PoolFile::open(&arguments.pool, bar.clone())?;
    let export = Export { arguments, pool: &pool, bar: &bar };
    let (items, bytes) = match arguments.format {
        Format::Qti3 => export.qti(QtiVersion::V30)?,
        Format::Qti22 => export.qti(QtiVersion::V22)?,
        Format::Qti21 => export.qti(QtiVersion::V21)?,
        Format::Cartridge => export.cartridge()?,
    };
    bar.finish_and_clear();
    output::note(&format!("{}: {items} items, {bytes} bytes", arguments.output.display()));
    Ok(())
}

/// An export on its way; each of its ways out gives the number of items and bytes.
struct Export<'e> {
    arguments: &'e ExportArguments,
    pool: &'e PoolFile,
    bar: &'e ProgressBar,
}

impl Export<'_> {
    fn qti(&self, version: QtiVersion) -> anyhow::Result<(u64, u64)> {
        let options = self.arguments.options(version);
        if self.arguments.templates {
            return self.templates(&options);
        }
        let bytes = self.write(|out| {
            Ok(write_package_telling(self.pool, &options, out, &mut |_, left_out| self.tell(&left_out))?)
        })?;
        Ok((self.pool.items(), bytes))
    }

    /// Items that the platform varies itself, and by name the sections that stay fixed.
    fn templates(&self, options: &PackageOptions) -> anyhow::Result<(u64, u64)> {
        let families = bank::families()?;
        let report = write_file(&self.arguments.output, |out| {
            Ok(write_template_package(self.pool, &families, options, out)?)
        });
        let report = report.with_context(|| self.failed())?;
        self.tell(&report.stays_fixed);
        self.tell(&report.left_out);
        Ok((report.items.len() as u64, report.bytes))
    }

    fn cartridge(&self) -> anyhow::Result<(u64, u64)> {
        let unstamped = CartridgeOptions::default();
        let options = CartridgeOptions {
            timestamp: self.arguments.timestamp.unwrap_or(unstamped.timestamp),
            live_quiz: self.arguments.launch_url.as_ref().map(|url| self.live_quiz(url)),
            ..unstamped
        };
        let mut items = 0;
        let bytes = self.write(|out| {
            Ok(write_cartridge_telling(self.pool, &options, out, &mut |written, left_out| {
                items += written as u64;
                self.tell(&left_out);
            })?)
        })?;
        Ok((items, bytes))
    }

    fn write(&self, write: impl FnOnce(BufWriter<File>) -> anyhow::Result<u64>) -> anyhow::Result<u64> {
        write_file(&self.arguments.output, write).with_context(|| self.failed())
    }

    fn failed(&self) -> String {
        format!("cannot export '{}' of {}", self.pool.id(), self.arguments.pool.display())
    }

    /// A quiz of the whole pool, with the parameters that a placed quiz has.
    fn live_quiz(&self, launch_url: &Url) -> LiveQuiz {
        let picked: u32 = self.pool.sections().iter().map(|section| section.pick).sum();
        let custom = [
            ("pool", self.pool.id().to_owned()),
            ("questions", picked.min(QUESTIONS_MAX).to_string()),
            ("attempts", LIVE_ATTEMPTS.to_string()),
        ];
        let custom: BTreeMap<String, String> =
            custom.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        LiveQuiz { launch_url: launch_url.to_string(), custom }
    }

    fn tell(&self, left_out: &[impl ToString]) {
        for left_out in left_out {
            self.bar.suspend(|| output::note(&left_out.to_string()));
        }
    }
}

/// Writes a file beside its name first, so that a failure leaves no half package there.
pub(crate) fn write_file<T>(
    path: &Path,
    write: impl FnOnce(BufWriter<File>) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    let mut partial = path.as_os_str().to_owned();
    partial.push(".partial");
    let partial = PathBuf::from(partial);
    let file = File::create(&partial).with_context(|| format!("cannot write {}", path.display()))?;
    let written = write(BufWriter::new(file));
    if written.is_err() {
        // The error tells more than a left-over that could not be removed.
        let _ = fs::remove_file(&partial);
    }
    let written = written?;
    fs::rename(&partial, path).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(written)
}
