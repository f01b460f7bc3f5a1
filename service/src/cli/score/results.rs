//! Responses as result reports of the open standard: one report, or an archive of many.
//!
//! A pupil's last complete attempt at an item counts: by the time that the reports give, the later one in the file where
//! the times are equal. Attempts before it are counted and passed over; attempts that were not handed in are told. To find
//! the last ones, an archive is read twice, and for each pupil and item a few words are kept between the readings.
//! One report is in memory at a time.
use std::{
    collections::BTreeMap,
    fs::File,
    io::{BufRead, BufReader, Seek, SeekFrom},
};

use exporters::{
    archive::reading::ArchiveReader,
    results::{AssessmentResult, ItemResult, read_results},
};

use super::{ResponseRecord, Scoring, all_steps_of, output, templates::Templates};

/// The package file that platforms put beside reports; it holds none.
const MANIFEST: &str = "imsmanifest.xml";

/// Marks one report.
///
/// # Errors
/// If reading or writing fails.
pub(super) fn score_report(scoring: &mut Scoring<'_>, mut file: File) -> anyhow::Result<()> {
    let mut attempts = LastAttempts::default();
    attempts.note(&scoring.templates, 0, &read_results(BufReader::new(&file))?);
    file.seek(SeekFrom::Start(0))?;
    let mut reports = Reports { scoring, attempts: &attempts };
    reports.score(0, "", BufReader::new(&file))?;
    attempts.tell();
    Ok(())
}

/// Marks all reports of an archive. Members that end in `.xml` are reports.
///
/// # Errors
/// If the archive as a whole cannot be used, or reading or writing fails.
pub(super) fn score_archive(scoring: &mut Scoring<'_>, file: File) -> anyhow::Result<()> {
    let mut archive = ArchiveReader::new(BufReader::new(file))?;
    let mut members = archive.names();
    members.retain(|(_, name)| name.to_ascii_lowercase().ends_with(".xml") && name != MANIFEST);
    anyhow::ensure!(!members.is_empty(), "the archive holds no .xml file");
    scoring.outcome.bar.set_length(2 * members.len() as u64);
    let mut attempts = LastAttempts::default();
    for (index, _) in &members {
        // What cannot be read is told in the second reading.
        if let Ok(Ok(report)) = archive.member(*index).map(|member| read_results(BufReader::new(member))) {
            attempts.note(&scoring.templates, *index, &report);
        }
        scoring.outcome.bar.inc(1);
    }
    let mut reports = Reports { scoring, attempts: &attempts };
    for (index, name) in &members {
        let place = format!("{name}, ");
        match archive.member(*index) {
            Ok(member) => reports.score(*index, &place, BufReader::new(member))?,
            Err(error) => reports.scoring.outcome.unusable(name, &error.to_string()),
        }
        reports.scoring.outcome.bar.inc(1);
    }
    attempts.tell();
    Ok(())
}

/// Which attempt of a pupil at an item is the last complete one.
#[derive(Default)]
struct LastAttempts {
    /// When, in which report, and which item result of it.
    last: BTreeMap<Answered, (jiff::Timestamp, usize, usize)>,
    earlier: u64,
}

/// What a pupil can answer several times.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Answered {
    pupil: String,
    item: String,
    /// An item that a platform varies may come several times in one session, each time as another question.
    sequence: Option<u32>,
}

impl Answered {
    fn of(templates: &Templates<'_>, pupil: &str, item: &ItemResult) -> Self {
        let sequence = item.sequence.filter(|_| templates.has(&item.identifier));
        Self { pupil: pupil.to_owned(), item: item.identifier.clone(), sequence }
    }
}

impl LastAttempts {
    fn note(&mut self, templates: &Templates<'_>, report: usize, result: &AssessmentResult) {
        let Some(pupil) = &result.pupil else { return };
        for (index, item) in result.items.iter().enumerate().filter(|(_, item)| item.status.is_complete()) {
            let attempt = (item.at, report, index);
            let last = self.last.entry(Answered::of(templates, pupil, item)).or_insert(attempt);
            if *last != attempt {
                self.earlier += 1;
                *last = attempt.max(*last);
            }
        }
    }

    fn is_last(&self, answered: &Answered, at: jiff::Timestamp, report: usize, index: usize) -> bool {
        self.last.get(answered) == Some(&(at, report, index))
    }

    fn tell(&self) {
        if self.earlier > 0 {
            output::note(&format!(
                "{} earlier attempts passed over; the last complete one counts",
                self.earlier
            ));
        }
    }
}

/// The second reading.
struct Reports<'s, 'p> {
    scoring: &'s mut Scoring<'p>,
    attempts: &'s LastAttempts,
}

impl Reports<'_, '_> {
    /// Marks a report; `place` stands before the line of whatever is told of it.
    fn score(&mut self, number: usize, place: &str, report: impl BufRead) -> anyhow::Result<()> {
        let report = match read_results(report) {
            Ok(report) => report,
            Err(error) => {
                self.scoring.outcome.unusable(place.trim_end_matches(", "), &error.to_string());
                return Ok(());
            }
        };
        for problem in &report.problems {
            self.scoring.outcome.unusable(format_args!("{place}line {}", problem.line), &problem.reason);
        }
        let Some(pupil) = &report.pupil else {
            let reason = "the context names no pupil; expected a sourcedId, or a session with an identifier";
            self.scoring.outcome.unusable(format_args!("{place}line 1"), reason);
            return Ok(());
        };
        for (index, item) in report.items.iter().enumerate() {
            if item.status.is_complete() {
                let answered = Answered::of(&self.scoring.templates, pupil, item);
                if self.attempts.is_last(&answered, item.at, number, index) {
                    self.mark(place, pupil, item)?;
                }
            } else {
                let reason = format!("the attempt was not handed in, its status is '{}'", item.status.name());
                self.scoring.outcome.unusable(format_args!("{place}line {}", item.line), &reason);
            }
        }
        Ok(())
    }

    fn mark(&mut self, place: &str, pupil: &str, item: &ItemResult) -> anyhow::Result<()> {
        let by_step = item.by_step();
        let varied = self.scoring.templates.has(&item.identifier);
        // Of a question that is not in the pool nothing more needs to be told.
        let known = varied || self.scoring.markers.get(&item.identifier).is_some();
        for strange in by_step.strange.iter().filter(|_| known) {
            self.scoring.outcome.unusable(format_args!("{place}line {}", strange.line), &strange.reason);
        }
        let record = ResponseRecord {
            pupil: pupil.to_owned(),
            question: item.identifier.clone(),
            responses: by_step.responses,
        };
        let place = format_args!("{place}line {}", item.line);
        if !varied {
            return self.scoring.mark(place, &record);
        }
        let drawn = self.scoring.templates.question(item);
        let drawn = drawn.and_then(|drawn| {
            let steps = record.responses.keys().map(String::as_str);
            all_steps_of(&drawn, &record.question, steps).map(|()| drawn)
        });
        match drawn {
            Ok(drawn) => self.scoring.mark_by(&drawn, &record)?,
            Err(problem) => self.scoring.outcome.unusable(place, &problem),
        }
        Ok(())
    }
}
