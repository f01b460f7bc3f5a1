//! Responses as rows, one a step, in any order. A pupil's rows for one question are gathered into one answer.
//!
//! The file is never held as a whole: up to [`WINDOW`] answers are open at a time, and the one begun first is marked when
//! another is begun. So a class, or a district sorted by pupil, can be in any order. A row that comes for an answer
//! which was marked before all its steps were there is told and not used: it would make a second mark. To know it, 8 bytes
//! are kept for each answer that was marked incomplete.
use std::{
    collections::{BTreeMap, HashMap, HashSet, VecDeque, btree_map::Entry},
    fs::File,
    hash::{BuildHasher, RandomState},
    io::{self, BufReader, Read},
};

use anyhow::{Context, bail};
use csv::{ReaderBuilder, StringRecord, Trim};

use super::{ResponseRecord, Scoring};

/// How many answers are open at a time.
const WINDOW: usize = 10_000;

/// Marks every answer.
///
/// # Errors
/// If there is no proper header row, or reading or writing fails.
pub(super) fn score(scoring: &mut Scoring<'_>, file: File) -> anyhow::Result<()> {
    let lines = LineStarts::of(BufReader::new(file));
    let mut reader = ReaderBuilder::new().flexible(true).trim(Trim::Headers).from_reader(lines);
    let columns = Columns::find(reader.headers().context("the file has no header row")?)?;
    let mut open = OpenAnswers::new(WINDOW);
    let mut row = StringRecord::new();
    loop {
        let begun = reader.position().byte();
        scoring.outcome.bar.set_position(begun);
        let read = reader.read_record(&mut row);
        let line = reader.get_mut().line_from(begun);
        match read {
            Ok(false) => break,
            Ok(true) => match columns.read(&row) {
                Ok(response) => open.gather(scoring, line, response)?,
                Err(problem) => scoring.outcome.unusable(format_args!("line {line}"), &problem),
            },
            Err(error) if error.is_io_error() => return Err(error.into()),
            Err(error) => scoring.outcome.unusable(format_args!("line {line}"), &told(&error)),
        }
    }
    open.mark_all(scoring)
}

/// An error of one row, without the place that is told beside it.
fn told(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Utf8 { .. } => "the row is not UTF-8 text".to_owned(),
        _ => error.to_string(),
    }
}

/// One row: a response to one step.
#[derive(Debug)]
struct ResponseRow {
    pupil: String,
    question: String,
    step: String,
    response: String,
}

/// Where the columns are; others, such as `at`, may stand between and behind them.
#[derive(Debug)]
struct Columns {
    places: [usize; 4],
    /// How many there are, with the others.
    all: usize,
}

impl Columns {
    const NAMES: [&'static str; 4] = ["pupil", "question", "step", "response"];

    fn find(headers: &StringRecord) -> anyhow::Result<Self> {
        let place = |name: &str| headers.iter().position(|known| known == name);
        let missing: Vec<&str> = Self::NAMES.into_iter().filter(|name| place(name).is_none()).collect();
        if !missing.is_empty() {
            bail!("the header row lacks {}; expected pupil,question,step,response", missing.join(", "));
        }
        let twice = |name: &&str| headers.iter().filter(|known| known == name).count() > 1;
        if let Some(name) = Self::NAMES.iter().find(|name| twice(name)) {
            bail!("the header row has {name} more than once");
        }
        Ok(Self { places: Self::NAMES.map(|name| place(name).unwrap_or_default()), all: headers.len() })
    }

    fn read(&self, row: &StringRecord) -> Result<ResponseRow, String> {
        // A comma of a response without quotes, as in 1,234.5, would leave the response cut short.
        if row.iter().skip(self.all).any(|field| !field.is_empty()) {
            return Err("the row has more fields than the header row; put a response with a comma in quotes"
                .to_owned());
        }
        let field = |column: usize| {
            let text = row.get(self.places[column]).map(str::to_owned);
            text.ok_or_else(|| format!("the row ends before its {}", Self::NAMES[column]))
        };
        Ok(ResponseRow { pupil: field(0)?, question: field(1)?, step: field(2)?, response: field(3)? })
    }
}

/// Knows in which line a row stands. The CSV reader's own place is where it stopped before: it does not know how many
/// blank lines it then passes over.
struct LineStarts<R> {
    input: R,
    /// Bytes and lines read so far.
    byte: u64,
    line: u64,
    /// Whether the line has nothing in it yet.
    blank: bool,
    /// First byte and number of lines that are not blank, as far as they were read and not asked for.
    starts: VecDeque<(u64, u64)>,
}

impl<R> LineStarts<R> {
    fn of(input: R) -> Self {
        Self { input, byte: 0, line: 1, blank: true, starts: VecDeque::new() }
    }

    /// The first line with something in it, from that byte on.
    fn line_from(&mut self, byte: u64) -> u64 {
        while self.starts.front().is_some_and(|(start, _)| *start < byte) {
            self.starts.pop_front();
        }
        self.starts.front().map_or(self.line, |(_, line)| *line)
    }
}

impl<R: Read> Read for LineStarts<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.input.read(into)?;
        for byte in &into[..read] {
            match byte {
                b'\n' => {
                    self.line += 1;
                    self.blank = true;
                }
                b'\r' => {}
                _ if self.blank => {
                    self.starts.push_back((self.byte, self.line));
                    self.blank = false;
                }
                _ => {}
            }
            self.byte += 1;
        }
        Ok(read)
    }
}

/// A pupil and a question.
type Key = (String, String);

/// Answers that more rows can still belong to.
struct OpenAnswers {
    most: usize,
    /// In the order in which they were begun.
    order: VecDeque<Key>,
    /// The line of the first row, and the responses so far.
    answers: HashMap<Key, (u64, BTreeMap<String, String>)>,
    /// Answers that were marked without all their steps, as hashes: in so many answers as a file can hold two never
    /// have the same by chance.
    incomplete: HashSet<u64>,
    hasher: RandomState,
}

impl OpenAnswers {
    fn new(most: usize) -> Self {
        Self {
            most,
            order: VecDeque::new(),
            answers: HashMap::new(),
            incomplete: HashSet::new(),
            hasher: RandomState::new(),
        }
    }

    /// Adds a row to the answer it belongs to. A row that cannot be used takes no other with it.
    fn gather(&mut self, scoring: &mut Scoring<'_>, line: u64, row: ResponseRow) -> anyhow::Result<()> {
        let place = format_args!("line {line}");
        if let Err(problem) = scoring.markers.of_question(&row.question, std::iter::once(row.step.as_str())) {
            scoring.outcome.unusable(place, &problem);
            return Ok(());
        }
        let key = (row.pupil, row.question);
        if let Some((_, responses)) = self.answers.get_mut(&key) {
            match responses.entry(row.step) {
                Entry::Vacant(free) => {
                    free.insert(row.response);
                }
                Entry::Occupied(taken) => {
                    let step = taken.key();
                    scoring
                        .outcome
                        .unusable(place, &format!("the step '{step}' was answered in an earlier row"));
                }
            }
            return Ok(());
        }
        if !self.incomplete.is_empty() && self.incomplete.contains(&self.hasher.hash_one(&key)) {
            let most = self.most;
            scoring.outcome.unusable(
                place,
                &format!(
                    "the other steps of this answer came more than {most} answers before, and are marked; \
                     sort the rows by pupil and question"
                ),
            );
            return Ok(());
        }
        if self.order.len() == self.most {
            self.mark_first(scoring)?;
        }
        self.order.push_back(key.clone());
        self.answers.insert(key, (line, BTreeMap::from([(row.step, row.response)])));
        Ok(())
    }

    fn mark_all(&mut self, scoring: &mut Scoring<'_>) -> anyhow::Result<()> {
        while !self.order.is_empty() {
            self.mark_first(scoring)?;
        }
        Ok(())
    }

    fn mark_first(&mut self, scoring: &mut Scoring<'_>) -> anyhow::Result<()> {
        let Some(key) = self.order.pop_front() else { return Ok(()) };
        let Some((line, responses)) = self.answers.remove(&key) else { return Ok(()) };
        let steps = scoring.markers.get(&key.1).map_or(0, |marker| marker.item().steps.len());
        if responses.len() < steps {
            self.incomplete.insert(self.hasher.hash_one(&key));
        }
        let (pupil, question) = key;
        scoring.mark(format_args!("line {line}"), &ResponseRecord { pupil, question, responses })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::{
        bank::BankArguments,
        output::{Target, progress},
        score::{Markers, Outcome, templates::Templates},
    };
    use qbank::{bank, marking::Policy, pool::Pool, question::Item};
    use std::{fs, path::Path};

    fn scored(
        items: &[Item],
        most: usize,
        rows: &[(&str, &str, &str)],
        output: &Path,
    ) -> (u64, usize, String) {
        let bank = BankArguments::default();
        let pool = Pool { id: "p".into(), title: "P".into(), locale: "en-US".into(), sections: Vec::new() };
        let policy = Policy::default();
        let target = Target::open(Some(output)).unwrap();
        let mut scoring = Scoring {
            templates: Templates::of(&pool, &bank),
            markers: Markers::of(items.iter(), policy),
            policy,
            outcome: Outcome { target, marked: 0, unusable: 0, bar: progress(0, "test") },
        };
        let mut open = OpenAnswers::new(most);
        for (line, (pupil, question, step)) in (2..).zip(rows) {
            let [pupil, question, step] = [pupil, question, step].map(ToString::to_string);
            open.gather(&mut scoring, line, ResponseRow { pupil, question, step, response: "1".into() })
                .unwrap();
        }
        open.mark_all(&mut scoring).unwrap();
        let Outcome { target, marked, unusable, .. } = scoring.outcome;
        target.finish().unwrap();
        (marked, unusable, fs::read_to_string(output).unwrap())
    }

    /// RFC 4180, section 2, rules 4 and 6: as many fields in each line, and a field with a comma in quotes.
    #[test]
    fn a_response_is_never_cut_at_its_comma() {
        let columns = Columns::find(&vec!["pupil", "question", "step", "response"].into()).unwrap();
        let read = |fields: &[&str]| columns.read(&fields.to_vec().into()).map(|row| row.response);
        assert_eq!(read(&["p", "q", "s", "1,234.5"]), Ok("1,234.5".to_owned()));
        assert_eq!(read(&["p", "q", "s", "3", "", ""]), Ok("3".to_owned()), "cells that a table left empty");
        assert!(
            read(&["p", "q", "s", "1", "234.5"]).unwrap_err().contains("more fields than the header row")
        );
        assert!(read(&["p", "q", "s"]).unwrap_err().contains("ends before its response"));
        let twice = Columns::find(&vec!["pupil", "question", "step", "response", "response"].into());
        assert_eq!(twice.unwrap_err().to_string(), "the header row has response more than once");
    }

    #[test]
    fn an_answer_outside_the_window_never_becomes_two_marks() {
        let item = bank::family("story-samples").unwrap().draw("window", 0, "en-US").unwrap();
        let (id, steps) = (item.id.clone(), item.steps.len());
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("marks.ndjson");
        let rows = [
            ("p-1", "water"),
            ("p-2", "water"),
            ("p-1", "sand"),
            ("p-3", "water"),
            ("p-1", "total"),
            ("p-3", "sand"),
        ];
        let rows = rows.map(|(pupil, step)| (pupil, id.as_str(), step));
        assert!(steps > 2);
        let items = [item];
        let (marked, unusable, marks) = scored(&items, 2, &rows, &output);
        assert_eq!((marked, unusable), (3, 1), "the total of p-1 comes when p-1 is marked");
        let pupils: Vec<String> = marks
            .lines()
            .map(|line| {
                serde_json::from_str::<serde_json::Value>(line).unwrap()["pupil"].as_str().unwrap().into()
            })
            .collect();
        assert_eq!(pupils, ["p-1", "p-2", "p-3"]);
        let (marked, unusable, _) = scored(&items, 3, &rows, &output);
        assert_eq!((marked, unusable), (3, 0));
    }
}
