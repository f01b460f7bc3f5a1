//! `tenths examine`: what holds in a package, what does not, and what cannot be judged, before a platform loads it.

use std::fs::File;
use std::io::{BufReader, Write};
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::thread;

use anyhow::{Context, bail};
use exporters::examine::{Examination, Report};

use super::bank::BankArguments;
use super::output;

/// Arguments of `tenths examine`.
#[derive(Debug, clap::Args)]
pub(super) struct ExamineArguments {
    /// The package (.zip)
    package: PathBuf,
    /// Print the whole report as JSON, also what holds
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    bank: BankArguments,
}

pub(super) fn run(arguments: &ExamineArguments) -> anyhow::Result<()> {
    let report = examined(arguments)?;
    let mut out = output::stdout();
    if arguments.json {
        serde_json::to_writer_pretty(&mut out, &report)?;
        writeln!(out)?;
    } else {
        writeln!(out, "{report}")?;
    }
    out.flush()?;
    if report.holds { Ok(()) } else { bail!("{}: something does not hold", arguments.package.display()) }
}

fn examined(arguments: &ExamineArguments) -> anyhow::Result<Report> {
    let path = arguments.package.display();
    let file = File::open(&arguments.package).with_context(|| format!("cannot read {path}"))?;
    let examination = Examination::open(BufReader::new(file)).with_context(|| path.to_string())?;
    let names = examination.families();
    let families = arguments.bank.named(&names.iter().map(String::as_str).collect())?;
    let threads = thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let bar = output::progress(u64::try_from(examination.items())?, "examining");
    let report = examination.run_on(threads, &families, |_| bar.inc(1));
    bar.finish_and_clear();
    Ok(report)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use exporters::qti::{PackageOptions, write_package};
    use qbank::{
        bank,
        pool::{Pool, Section},
        question::Question,
    };

    use super::*;

    fn arguments(package: PathBuf) -> ExamineArguments {
        use clap::Parser;
        #[derive(Parser)]
        struct Line {
            #[command(flatten)]
            arguments: ExamineArguments,
        }
        Line::parse_from(["examine".into(), package.into_os_string()]).arguments
    }

    #[test]
    fn a_package_of_ours_holds_and_half_of_one_is_none() {
        let drawn = bank::family("add-ragged").unwrap().draw("a seed", 0, "en-US").unwrap();
        let item = Question { id: "Q".into(), ..drawn.question().clone() }.sealed().verify().unwrap();
        let section = Section { id: "S".into(), title: "S".into(), pick: 1, items: vec![item] };
        let pool = Pool::new("p".into(), "P".into(), "en-US".into(), vec![section]).unwrap();
        let mut bytes = Cursor::new(Vec::new());
        write_package(&pool, &PackageOptions::default(), &mut bytes).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let (whole, half) = (folder.path().join("whole.zip"), folder.path().join("half.zip"));
        std::fs::write(&whole, bytes.get_ref()).unwrap();
        std::fs::write(&half, &bytes.get_ref()[..bytes.get_ref().len() / 2]).unwrap();
        let report = examined(&arguments(whole)).unwrap();
        assert!(report.holds, "{report}");
        let json = serde_json::to_value(&report).unwrap();
        assert_eq!((&json["counts"]["hold"], &json["items"][0]["verdict"]), (&1.into(), &"holds".into()));
        let error = format!("{:#}", examined(&arguments(half)).unwrap_err());
        assert!(error.contains("half.zip") && error.contains("not a readable zip archive"), "{error}");
    }
}
