//! `tenths demo`: the whole loop on this machine.

use std::path::PathBuf;

use anyhow::bail;

use super::{block_on, output};
use crate::demo::{Demo, DemoSettings};

/// Arguments of `tenths demo`.
#[derive(Debug, clap::Args)]
pub(super) struct DemoArguments {
    /// Port of the practice platform; the service takes the next one [default: 8700, or any with --once]
    #[arg(long, value_name = "P")]
    port: Option<u16>,
    /// How many pupils the class has
    #[arg(long, value_name = "N", default_value_t = 24, value_parser = clap::value_parser!(u16).range(1..=500))]
    pupils: u16,
    /// Play a scripted class, print a summary and stop; exit 0 only if every grade is the expected one
    #[arg(long)]
    once: bool,
    /// Where store and package go [default: a folder for temporary files]
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
}

pub(super) fn run(arguments: &DemoArguments) -> anyhow::Result<()> {
    let settings = DemoSettings {
        port: arguments.port.unwrap_or(if arguments.once { 0 } else { 8700 }),
        pupils: usize::from(arguments.pupils),
        folder: arguments
            .folder
            .clone()
            .unwrap_or_else(|| std::env::temp_dir().join(format!("tenths-demo-{}", std::process::id()))),
    };
    block_on(async {
        let demo = Demo::start(&settings).await?;
        if arguments.once { play(demo, u64::from(arguments.pupils)).await } else { stay(demo).await }
    })
}

async fn play(demo: Demo, pupils: u64) -> anyhow::Result<()> {
    let bar = output::progress(pupils, "pupils");
    let summary = demo.play(|| bar.inc(1)).await?;
    bar.finish_and_clear();
    demo.stop().await?;
    output::line(&serde_json::to_string(&summary)?)?;
    if summary.mismatches > 0 {
        bail!("{} of {} grades are not the expected ones", summary.mismatches, summary.grades_expected);
    }
    Ok(())
}

async fn stay(demo: Demo) -> anyhow::Result<()> {
    output::note(&format!(
        "\nOpen {} in a browser.\n\
         1. Enter as the teacher, choose 'Add an activity', place a quiz.\n\
         2. Change person, enter as a pupil, open the quiz, answer, hand in.\n\
         3. Enter as the teacher again: the grade is in the gradebook.\n\n\
         A coordinator signs in at {} with the token {}.\n\
         The pool's package: {}\nCtrl-C stops the demonstration.",
        demo.front_page(),
        demo.coordinator().0,
        demo.coordinator().1,
        demo.package().display()
    ));
    tokio::signal::ctrl_c().await?;
    demo.stop().await
}
