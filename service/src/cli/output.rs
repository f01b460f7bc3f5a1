//! What commands say and where: the only place that prints. Data goes to standard output or a file, everything else
//! to standard error.

use std::fs::File;
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Writes one line of data to stdout.
pub(super) fn line(text: &str) -> anyhow::Result<()> {
    Ok(writeln!(io::stdout().lock(), "{text}")?)
}

/// Tells a person why the command failed: exit code 1. A reader that has seen enough, as `head` does, is no failure.
pub(super) fn failure(error: &anyhow::Error) -> ExitCode {
    if reader_is_gone(error) {
        return ExitCode::SUCCESS;
    }
    // Nothing is left to do if even this cannot be written.
    let _ = writeln!(io::stderr().lock(), "tenths: {}", told(error));
    ExitCode::from(1)
}

/// Whether writing failed because nobody reads any more; JSON that is written wraps that error in one of its own.
fn reader_is_gone(error: &anyhow::Error) -> bool {
    let written = error.downcast_ref::<io::Error>().map(io::Error::kind);
    let json = error.downcast_ref::<serde_json::Error>().and_then(serde_json::Error::io_error_kind);
    written.or(json) == Some(ErrorKind::BrokenPipe)
}

/// An error with its causes, each told once: many errors already end with the words of their cause.
fn told(error: &anyhow::Error) -> String {
    error.chain().fold(String::new(), |told, cause| {
        let cause = cause.to_string();
        match told.as_str() {
            "" => cause,
            known if known.ends_with(&cause) => told,
            known => format!("{known}: {cause}"),
        }
    })
}

/// Prints help, version or what is wrong with the arguments: exit code 0 or 2.
pub(super) fn usage(error: &clap::Error) -> ExitCode {
    // As above.
    let _ = error.print();
    ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2))
}

/// A line for the person at the terminal.
pub(super) fn note(line: &str) {
    // Nobody can be told that standard error is gone.
    let _ = writeln!(io::stderr(), "{line}");
}

/// Standard output, buffered.
#[must_use]
pub(super) fn stdout() -> BufWriter<io::StdoutLock<'static>> {
    BufWriter::new(io::stdout().lock())
}

/// The file asked for, or standard output. A file is written beside its name and moved there by [`Target::finish`],
/// so that a failure never leaves half a file or harms the one before.
pub(super) enum Target {
    /// Standard output, not locked, so that threads can take turns.
    Stdout(BufWriter<io::Stdout>),
    /// A file that is not yet at its name.
    File {
        /// Written so far.
        file: BufWriter<File>,
        /// Where it is written.
        partial: PathBuf,
        /// Where it goes.
        path: PathBuf,
    },
}

impl Target {
    /// Opens the target.
    ///
    /// # Errors
    /// If the file cannot be made.
    pub(super) fn open(path: Option<&Path>) -> anyhow::Result<Self> {
        let Some(path) = path else {
            return Ok(Self::Stdout(BufWriter::new(io::stdout())));
        };
        let mut name = path.file_name().context("the output needs a file name")?.to_owned();
        name.push(".partial");
        let partial = path.with_file_name(name);
        let file = File::create(&partial).with_context(|| format!("cannot write {}", path.display()))?;
        Ok(Self::File { file: BufWriter::new(file), partial, path: path.to_owned() })
    }

    /// Flushes, and moves a file to its name.
    ///
    /// # Errors
    /// If writing fails.
    pub(super) fn finish(self) -> anyhow::Result<()> {
        match self {
            Self::Stdout(mut stdout) => stdout.flush()?,
            Self::File { file, partial, path } => {
                file.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
                std::fs::rename(&partial, &path)
                    .with_context(|| format!("cannot write {}", path.display()))?;
            }
        }
        Ok(())
    }
}

impl Write for Target {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Self::Stdout(stdout) => stdout.write(bytes),
            Self::File { file, .. } => file.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Self::Stdout(stdout) => stdout.flush(),
            Self::File { file, .. } => file.flush(),
        }
    }
}

/// A progress bar on standard error when that is a terminal, else nothing.
#[must_use]
pub(super) fn progress(total: u64, what: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr());
    let style = ProgressStyle::with_template("{prefix} {wide_bar} {pos}/{len} {eta}");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar.set_prefix(what);
    bar
}

#[cfg(test)]
mod tests {
    use super::{reader_is_gone, told};
    use std::io;

    #[derive(Debug, thiserror::Error)]
    #[error("section 2: {source}")]
    struct Outer {
        source: std::num::ParseIntError,
    }

    struct Fails(io::ErrorKind);

    impl io::Write for Fails {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(self.0.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_reader_that_is_gone_is_known_through_json() {
        for (kind, gone) in [(io::ErrorKind::BrokenPipe, true), (io::ErrorKind::StorageFull, false)] {
            assert_eq!(reader_is_gone(&io::Error::from(kind).into()), gone);
            assert_eq!(reader_is_gone(&serde_json::to_writer(Fails(kind), "x").unwrap_err().into()), gone);
        }
    }

    #[test]
    fn causes_are_told_once() {
        let source = "x".parse::<u8>().unwrap_err();
        let error = anyhow::Error::new(Outer { source }).context("plan.toml");
        assert_eq!(told(&error), "plan.toml: section 2: invalid digit found in string");
    }
}
