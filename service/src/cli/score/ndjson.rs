//! Responses as records, one a line.
//!
//! The file is read in blocks of whole lines. Each thread takes the next block, marks it and, when its turn has come, hands
//! its marks on. So marks come in the order of the file, the same bytes whatever the number of threads, and each thread
//! holds one block with its marks.
use std::{
    fs::File,
    io::{self, Read, Write},
    num::NonZero,
    sync::{Condvar, Mutex, MutexGuard, PoisonError},
    thread,
};

use memchr::{memchr, memrchr};

use super::{Markers, Outcome, ResponseRecord, Scoring, TOLD_ROWS, record::LentRecord, told};

/// Longest line, in bytes, its end included.
const MAX_LINE: usize = 64 * 1024;
/// How much is read at once; a line that is not too long fits.
const BLOCK: usize = 256 * 1024;
/// Some programs put it before the first line.
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();
/// More threads than this only wait for each other's turns.
const MOST_THREADS: usize = 8;

/// Marks every line.
///
/// # Errors
/// If reading or writing fails.
pub(super) fn score(scoring: &mut Scoring<'_>, file: File) -> anyhow::Result<()> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get).min(MOST_THREADS);
    score_by(threads, scoring, file)
}

fn score_by(threads: usize, scoring: &mut Scoring<'_>, input: impl Read + Send) -> anyhow::Result<()> {
    let Scoring { markers, outcome, .. } = scoring;
    let blocks = Mutex::new(Blocks { input, carried: Vec::new(), next: 0 });
    let turn = Turn { next: 0, lines: 0, outcome, failed: false };
    let turns = Turns { turn: Mutex::new(turn), changed: Condvar::new() };
    thread::scope(|scope| {
        let work = || turns.failing(work(&blocks, markers, &turns));
        let running: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let ended = running
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        // All are waited for; the first failure is told.
        ended.fold(Ok(()), anyhow::Result::and)
    })
}

/// What one thread does: block after block, until there is none or another thread has failed.
fn work(blocks: &Mutex<Blocks<impl Read>>, markers: &Markers<'_>, turns: &Turns<'_>) -> anyhow::Result<()> {
    let mut block = Vec::with_capacity(BLOCK);
    let mut marked = MarkedBlock::default();
    loop {
        let Some(number) = locked(blocks).next(&mut block)? else { return Ok(()) };
        marked.mark(&block, markers);
        if !turns.hand_on(number, &marked, block.len() as u64)? {
            return Ok(());
        }
    }
}

/// What a thread that panicked has held is whole: the program ends by that panic, not by another one.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file, in blocks of whole lines.
struct Blocks<R> {
    input: R,
    /// The beginning of the line that the last block did not end.
    carried: Vec<u8>,
    next: u64,
}

impl<R: Read> Blocks<R> {
    /// Puts the next block into `block` and gives its number; `None` at the end.
    fn next(&mut self, block: &mut Vec<u8>) -> io::Result<Option<u64>> {
        block.clear();
        block.append(&mut self.carried);
        let room = (BLOCK - block.len()) as u64;
        self.input.by_ref().take(room).read_to_end(block)?;
        if block.len() == BLOCK {
            match memrchr(b'\n', block) {
                Some(end) => self.carried.extend(block.drain(end + 1..)),
                None => {
                    // So much of a line that it still is too long.
                    block.truncate(MAX_LINE);
                    self.pass_over_line()?;
                }
            }
        }
        let number = self.next;
        self.next += 1;
        if number == 0 && block.starts_with(BYTE_ORDER_MARK) {
            block.drain(..BYTE_ORDER_MARK.len());
        }
        Ok((!block.is_empty()).then_some(number))
    }

    /// Reads on to the end of a line; what is behind it is carried.
    fn pass_over_line(&mut self) -> io::Result<()> {
        let piece = (BLOCK / 2) as u64;
        while self.input.by_ref().take(piece).read_to_end(&mut self.carried)? > 0 {
            if let Some(end) = memchr(b'\n', &self.carried) {
                self.carried.drain(..=end);
                break;
            }
            self.carried.clear();
        }
        Ok(())
    }
}

/// What came of a block.
#[derive(Default)]
struct MarkedBlock {
    lines: u64,
    marked: u64,
    /// Lines of JSON.
    marks: String,
    /// Lines that cannot be used, from 0 within the block; only as many as are told.
    unusable: Vec<(u64, String)>,
    /// How many more there are.
    untold: usize,
}

impl MarkedBlock {
    fn mark(&mut self, block: &[u8], markers: &Markers<'_>) {
        (self.lines, self.marked, self.untold) = (0, 0, 0);
        self.marks.clear();
        self.unusable.clear();
        let mut rest = block;
        while !rest.is_empty() {
            let end = memchr(b'\n', rest).unwrap_or(rest.len());
            self.mark_line(&rest[..end], markers);
            self.lines += 1;
            rest = rest.get(end + 1..).unwrap_or_default();
        }
    }

    fn mark_line(&mut self, line: &[u8], markers: &Markers<'_>) {
        if line.len() >= MAX_LINE {
            self.cannot_use("the line is longer than 64 KiB");
            return;
        }
        let Ok(text) = std::str::from_utf8(line) else {
            self.cannot_use("the line is not UTF-8 text");
            return;
        };
        match serde_json::from_str::<LentRecord<'_>>(text) {
            Ok(record) => self.mark_record(&record, markers),
            Err(_) if text.trim().is_empty() => {}
            Err(error) => {
                // The longer way of reading knows best what is wrong.
                let problem = serde_json::from_str::<ResponseRecord>(text).err();
                self.cannot_use(&told(problem.as_ref().unwrap_or(&error)));
            }
        }
    }

    fn mark_record(&mut self, record: &LentRecord<'_>, markers: &Markers<'_>) {
        match markers.of_question(&record.question, record.steps()) {
            Ok(marker) => {
                let mark = marker.mark(&record.pupil, &record.question, |step| record.response(step));
                mark.print(&mut self.marks);
                self.marks.push('\n');
                self.marked += 1;
            }
            Err(problem) => self.cannot_use(&problem),
        }
    }

    fn cannot_use(&mut self, reason: &str) {
        if self.unusable.len() < TOLD_ROWS {
            self.unusable.push((self.lines, reason.to_owned()));
        } else {
            self.untold += 1;
        }
    }
}

/// Lets blocks out in their order.
struct Turns<'o> {
    turn: Mutex<Turn<'o>>,
    changed: Condvar,
}

struct Turn<'o> {
    /// Whose turn it is.
    next: u64,
    /// Lines before that block.
    lines: u64,
    outcome: &'o mut Outcome,
    /// Whether a thread has failed, so that no turn comes any more.
    failed: bool,
}

impl Turns<'_> {
    /// Waits for the turn of a block and hands on what came of it; whether to go on.
    fn hand_on(&self, number: u64, block: &MarkedBlock, bytes: u64) -> io::Result<bool> {
        let waiting = |turn: &mut Turn<'_>| turn.next != number && !turn.failed;
        let turn = self.changed.wait_while(locked(&self.turn), waiting);
        let mut turn = turn.unwrap_or_else(PoisonError::into_inner);
        if turn.failed {
            return Ok(false);
        }
        let before = turn.lines;
        turn.outcome.target.write_all(block.marks.as_bytes())?;
        turn.outcome.marked += block.marked;
        for (line, problem) in &block.unusable {
            turn.outcome.unusable(format_args!("line {}", before + line + 1), problem);
        }
        turn.outcome.unusable += block.untold;
        turn.outcome.bar.inc(bytes);
        turn.lines += block.lines;
        turn.next += 1;
        drop(turn);
        self.changed.notify_all();
        Ok(true)
    }

    /// After a failure nobody is kept waiting.
    fn failing<T>(&self, done: anyhow::Result<T>) -> anyhow::Result<T> {
        if done.is_err() {
            locked(&self.turn).failed = true;
            self.changed.notify_all();
        }
        done
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::{
        bank::BankArguments,
        output::{Target, progress},
        score::templates::Templates,
    };
    use qbank::{
        bank,
        marking::{Policy, mark},
        pool::Pool,
        question::Item,
    };
    use std::{collections::BTreeMap, fs};

    /// Marks a text by so many threads: marks, how many, and how many lines cannot be used.
    fn scored(items: &[Item], threads: usize, responses: &[u8]) -> (String, u64, usize) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("marks.ndjson");
        let pool = Pool { id: "p".into(), title: "P".into(), locale: "en-US".into(), sections: Vec::new() };
        let bank = BankArguments::default();
        let policy = Policy::default();
        let target = Target::open(Some(&path)).unwrap();
        let mut scoring = Scoring {
            markers: Markers::of(items.iter(), policy),
            templates: Templates::of(&pool, &bank),
            policy,
            outcome: Outcome { target, marked: 0, unusable: 0, bar: progress(0, "test") },
        };
        score_by(threads, &mut scoring, responses).unwrap();
        let Outcome { target, marked, unusable, .. } = scoring.outcome;
        target.finish().unwrap();
        (fs::read_to_string(path).unwrap(), marked, unusable)
    }

    #[test]
    fn marks_are_the_same_in_the_same_order_whatever_the_number_of_threads() {
        let families = ["add-ragged", "story-samples", "add-then-subtract", "order-decimals"];
        let drawn = families.iter().filter_map(|name| bank::family(name).ok()).flat_map(|family| {
            (0..5).filter_map(|position| family.draw("blocks", position, "en-US").ok()).collect::<Vec<_>>()
        });
        let items: Vec<Item> = drawn.collect();
        let (mut text, mut expected) = (String::new(), String::new());
        for number in 0..6_000 {
            let item = &items[number % items.len()];
            let given = |wrong: usize| {
                let right = item.right_responses();
                let other = |(index, (step, answer)): (usize, (String, String))| match (number + index) % 5 {
                    0 => (step, "many".to_owned()),
                    1 => (step, String::new()),
                    kind if kind < wrong => (step, "0.5".to_owned()),
                    _ => (step, answer),
                };
                right.into_iter().enumerate().map(other).collect::<BTreeMap<String, String>>()
            };
            let responses = given(2 + number % 2);
            let pupil = format!("p-{number} \"é\\");
            let record =
                serde_json::json!({"question": item.id, "pupil": pupil, "responses": responses, "at": "x"});
            text.push_str(&format!("{record}\n"));
            expected
                .push_str(&format!("{}\n", serde_json::to_string(&mark(item, &pupil, &responses)).unwrap()));
        }
        assert!(text.len() > 2 * BLOCK);
        for threads in [1, 2, 3, 7] {
            assert!(scored(&items, threads, text.as_bytes()) == (expected.clone(), 6_000, 0), "{threads}");
        }
    }

    /// RFC 8259, section 8.1: a reader may pass over a byte order mark.
    #[test]
    fn a_byte_order_mark_is_passed_over_before_the_first_line_alone() {
        let item = bank::family("add-ragged").unwrap().draw("lines", 0, "en-US").unwrap();
        let record = serde_json::json!({"pupil": "p", "question": item.id, "responses": {"total": "1"}});
        let text = format!("\u{feff}{record}\r\n\u{feff}{record}\n");
        let (_, marked, unusable) = scored(&[item], 1, text.as_bytes());
        assert_eq!((marked, unusable), (1, 1));
        assert_eq!(scored(&[], 1, "\u{feff}".as_bytes()), (String::new(), 0, 0));
    }

    #[test]
    fn lines_that_are_too_long_or_no_records_take_no_others_with_them() {
        let item = bank::family("add-ragged").unwrap().draw("lines", 0, "en-US").unwrap();
        let good = |pupil: &str| {
            let record =
                serde_json::json!({"pupil": pupil, "question": item.id, "responses": {"total": "1"}});
            format!("{record}\n").into_bytes()
        };
        let long = |bytes: usize| [vec![b'x'; bytes], vec![b'\n']].concat();
        let padded = |bytes: usize| {
            let mut line = good("fits");
            line.pop();
            line.resize(bytes - 1, b' ');
            line.push(b'\n');
            line
        };
        let text = [
            good("first"),
            long(MAX_LINE),
            good("second"),
            long(BLOCK * 3),
            long(BLOCK - 1),
            padded(MAX_LINE),
            padded(MAX_LINE + 1),
            b"\xff\n\n  \r\n{\"pupil\":1}\n".to_vec(),
            good("last"),
        ];
        let items = [item];
        for threads in [1, 2] {
            let (marks, marked, unusable) = scored(&items, threads, &text.concat());
            let pupils: Vec<String> = marks
                .lines()
                .map(|mark| serde_json::from_str::<qbank::marking::Mark>(mark).unwrap().pupil)
                .collect();
            assert_eq!(pupils, ["first", "second", "fits", "last"]);
            assert_eq!((marked, unusable), (4, 6));
        }
    }

    #[test]
    fn blocks_are_whole_lines_and_together_the_file() {
        let lines: Vec<u8> =
            (0..40_000_u32).flat_map(|number| format!("line {number}\n").into_bytes()).collect();
        for file in [&lines[..], &lines[..lines.len() - 1], b"", b"\n"] {
            let mut blocks = Blocks { input: file, carried: Vec::new(), next: 0 };
            let (mut block, mut all, mut count) = (Vec::new(), Vec::new(), 0);
            while let Some(number) = blocks.next(&mut block).unwrap() {
                assert_eq!(number, count);
                all.extend_from_slice(&block);
                assert!(block.ends_with(b"\n") || all.len() == file.len());
                count += 1;
            }
            assert!(all == file && (file.len() < BLOCK || count > 1));
        }
    }
}
