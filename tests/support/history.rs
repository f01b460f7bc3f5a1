//! The history of a test under faults: what pupils sent and what they were told, held against what was kept.
//!
//! Every pupil writes each step down before it is sent and after it was acknowledged, in memory and as a line of JSON.
//! Afterwards [`check`] compares that with the store and with the platform's journal and gradebook:
//!
//! - a submit that was acknowledged is a closed attempt with the marks that its answers earn; none is closed that nobody sent;
//! - an answer that was acknowledged, or a later one, is stored;
//! - each pupil's best marks are the last word in the gradebook, heard once and in order.
//!
//! A grade may be recorded again only if its sender cannot have noted the platform's answer: nobody answered (the platform's
//! fault), or a [`Disturbance`] hit a sender or the database at that moment.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::Write as _;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use jiff::Timestamp;
use serde::Serialize;
use service::entropy;
use service::practice::{Outcome, Points, Practice};
use service::storage::{Responses, Storage, StorageError};

/// What a pupil asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Asked {
    /// To keep what was typed.
    Save,
    /// To close the attempt with it.
    Submit,
}

/// How far it has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// It is about to be sent.
    Sent,
    /// The pupil was told that it is done.
    Acknowledged,
    /// No answer came, or one that says 'not now'.
    Unanswered,
}

/// One line of the history.
#[derive(Debug, Clone)]
pub struct Line {
    /// When.
    pub at: Timestamp,
    /// The platform's id of the pupil.
    pub pupil: String,
    /// The attempt, as in its address.
    pub attempt: String,
    /// What was asked for.
    pub asked: Asked,
    /// How far it has come.
    pub stage: Stage,
    /// All answers of the pupil, as they are stored.
    pub answers: Responses,
    /// What they earn.
    pub points: u32,
    /// The port of the process that was asked or that answered.
    pub process: u16,
}

/// A line as it is written: of answers a fingerprint only.
#[derive(Serialize)]
struct Written<'a> {
    at: Timestamp,
    pupil: &'a str,
    attempt: &'a str,
    asked: Asked,
    stage: Stage,
    answers: String,
    process: u16,
}

/// What all pupils wrote down, in order. It only grows.
pub struct History {
    lines: Mutex<(Vec<Line>, Option<File>)>,
}

impl Default for History {
    fn default() -> Self {
        Self::new()
    }
}

impl History {
    /// An empty one, in memory only.
    pub fn new() -> Self {
        Self { lines: Mutex::new((Vec::new(), None)) }
    }

    /// An empty one that is also written to a file.
    ///
    /// # Panics
    /// If the file cannot be made.
    pub fn at(path: &Path) -> Self {
        let file = File::create(path).expect("a history can be written");
        Self { lines: Mutex::new((Vec::new(), Some(file))) }
    }

    /// Adds a line.
    ///
    /// # Panics
    /// If it cannot be written.
    pub fn note(&self, line: Line) {
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(file) = &mut lines.1 {
            let answers = serde_json::to_string(&line.answers).expect("texts can be written as JSON");
            let written = Written {
                at: line.at,
                pupil: &line.pupil,
                attempt: &line.attempt,
                asked: line.asked,
                stage: line.stage,
                answers: entropy::fingerprint(&answers),
                process: line.process,
            };
            let mut text = serde_json::to_string(&written).expect("texts can be written as JSON");
            text.push('\n');
            file.write_all(text.as_bytes()).expect("a history can be written");
        }
        lines.0.push(line);
    }

    /// The same without acknowledgements after `at`: what a copy of the store that was begun then has to hold.
    #[must_use]
    pub fn acknowledged_until(&self, at: Timestamp) -> Self {
        let lines = self.lines().into_iter();
        let lines = lines.filter(|line| line.stage != Stage::Acknowledged || line.at <= at).collect();
        Self { lines: Mutex::new((lines, None)) }
    }

    /// All lines so far.
    pub fn lines(&self) -> Vec<Line> {
        self.lines.lock().unwrap_or_else(PoisonError::into_inner).0.clone()
    }
}

/// A time in which a sender or the database was hit.
#[derive(Debug, Clone)]
pub struct Disturbance {
    /// What happened.
    pub what: String,
    /// From when a sender may not have noted what it was told.
    pub from: Timestamp,
    /// Until when.
    pub until: Timestamp,
}

/// An attempt as it is stored.
#[derive(Debug, Clone)]
pub struct KeptAttempt {
    /// Its id.
    pub id: String,
    /// Whose it is.
    pub pupil: String,
    /// Its answers.
    pub answers: Responses,
    /// Points, once it is closed with marks.
    pub points: Option<u32>,
}

/// A score that the platform put on record.
#[derive(Debug, Clone)]
pub struct Heard {
    /// Whose.
    pub pupil: String,
    /// When it arrived.
    pub at: Timestamp,
    /// When it was made, as its sender says.
    pub timestamp: Timestamp,
    /// The points; none for a beginning.
    pub points: Option<Points>,
    /// Whether the platform answered its sender.
    pub answered: bool,
}

/// What was kept of it all.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// The store's attempts.
    pub attempts: Vec<KeptAttempt>,
    /// What the platform put on record, in order of arrival.
    pub heard: Vec<Heard>,
    /// The points in each pupil's cells.
    pub cells: BTreeMap<String, Vec<Points>>,
}

impl Kept {
    /// Reads the whole store and the whole platform.
    ///
    /// # Errors
    /// What reading the store met.
    pub async fn read(store: &dyn Storage, platform: &Practice) -> Result<Self, StorageError> {
        let mut kept = Self::default();
        for placement in store.placements().await? {
            kept.attempts.extend(store.attempts_at(&placement.id).await?.into_iter().map(|attempt| {
                KeptAttempt {
                    id: attempt.id.0,
                    pupil: attempt.user.0,
                    answers: attempt.responses,
                    points: attempt.result.filter(|result| result.marks != "[]").map(|result| result.points),
                }
            }));
        }
        let on_record = |outcome| matches!(outcome, Outcome::Recorded | Outcome::RecordedUnanswered);
        let journal = platform.journal().into_iter().filter(|entry| on_record(entry.outcome));
        kept.heard = journal
            .map(|entry| Heard {
                at: entry.received,
                timestamp: entry.message.timestamp,
                points: entry.message.score_given,
                answered: entry.outcome == Outcome::Recorded,
                pupil: entry.message.user_id,
            })
            .collect();
        for row in platform.gradebook().rows {
            let cells = row.cells.into_iter().flatten().filter_map(|cell| cell.points);
            kept.cells.insert(row.pupil.id, cells.collect());
        }
        Ok(kept)
    }
}

/// What the comparison came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Submits that their pupils know to be done.
    pub submits_acknowledged: usize,
    /// Saves of which that is true.
    pub saves_acknowledged: usize,
    /// Steps that were sent and not answered, and therefore sent again.
    pub unanswered: usize,
    /// Attempts that are closed with marks.
    pub marks_stored: usize,
    /// Pupils with a closed attempt.
    pub grades_due: usize,
    /// Of these, whose best marks stand in the gradebook, and nothing else.
    pub grades_delivered: usize,
    /// Submits and answers that were acknowledged and are not there, grades that are due and not there.
    pub lost: usize,
    /// Grades that were recorded again although their sender had been told, and second cells.
    pub doubled: usize,
    /// Grades whose time does not grow, or that take back what a later attempt earned.
    pub out_of_order: usize,
    /// What is there and was never sent.
    pub invented: usize,
    /// Grades recorded again because their sender cannot have noted the answer: not counted as doubled.
    pub sent_again: usize,
    /// The first contradictions, in words.
    pub contradictions: Vec<String>,
}

/// How many contradictions are told in words.
const TOLD: usize = 12;

impl Verdict {
    /// Whether nothing contradicts what pupils were told.
    pub fn holds(&self) -> bool {
        self.contradictions.is_empty()
            && (self.lost, self.doubled, self.out_of_order, self.invented) == (0, 0, 0, 0)
    }

    fn tell(&mut self, contradiction: String) {
        if self.contradictions.len() < TOLD {
            self.contradictions.push(contradiction);
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "submits acknowledged {} = marks stored {}; grades due {} = in the gradebook {}; saves acknowledged {}; \
             lost {}, doubled {}, out of order {}, invented {}; unanswered and sent again by pupils {}, grades sent again \
             after a lost answer {}",
            self.submits_acknowledged,
            self.marks_stored,
            self.grades_due,
            self.grades_delivered,
            self.saves_acknowledged,
            self.lost,
            self.doubled,
            self.out_of_order,
            self.invented,
            self.unanswered,
            self.sent_again
        )?;
        self.contradictions.iter().try_for_each(|contradiction| write!(f, "\n- {contradiction}"))
    }
}

/// Compares a history with what was kept, see the module.
pub fn check(history: &History, kept: &Kept, disturbances: &[Disturbance]) -> Verdict {
    let lines = history.lines();
    let mut verdict = Verdict::default();
    let mut of_attempt: BTreeMap<&str, Vec<&Line>> = BTreeMap::new();
    for line in &lines {
        of_attempt.entry(&line.attempt).or_default().push(line);
        verdict.unanswered += usize::from(line.stage == Stage::Unanswered);
    }
    let stored: BTreeMap<&str, &KeptAttempt> =
        kept.attempts.iter().map(|attempt| (attempt.id.as_str(), attempt)).collect();
    for (attempt, lines) in &of_attempt {
        check_attempt(attempt, lines, stored.get(attempt).copied(), &mut verdict);
    }
    let mut best: BTreeMap<&str, u32> = BTreeMap::new();
    for attempt in &kept.attempts {
        let Some(points) = attempt.points else { continue };
        verdict.marks_stored += 1;
        let pupil = best.entry(&attempt.pupil).or_insert(points);
        *pupil = points.max(*pupil);
        let sent = of_attempt.get(attempt.id.as_str()).is_some_and(|lines| {
            lines.iter().any(|line| line.asked == Asked::Submit && line.stage == Stage::Sent)
        });
        if !sent {
            verdict.invented += 1;
            verdict.tell(format!(
                "attempt {} of {} is closed, and nobody submitted it",
                attempt.id, attempt.pupil
            ));
        }
    }
    let mut heard: BTreeMap<&str, Vec<&Heard>> = BTreeMap::new();
    for entry in &kept.heard {
        heard.entry(&entry.pupil).or_default().push(entry);
    }
    verdict.grades_due = best.len();
    for (pupil, points) in best {
        let heard = heard.remove(pupil).unwrap_or_default();
        check_grade(pupil, points, &heard, kept.cells.get(pupil).map_or(&[], Vec::as_slice), &mut verdict);
        check_order(pupil, &heard, disturbances, &mut verdict);
    }
    for (pupil, heard) in heard {
        if heard.iter().any(|entry| entry.points.is_some()) {
            verdict.invented += 1;
            verdict.tell(format!("{pupil} has a grade without a closed attempt"));
        }
        check_order(pupil, &heard, disturbances, &mut verdict);
    }
    verdict
}

/// One attempt: what its pupil was told, and what is stored of it.
fn check_attempt(attempt: &str, lines: &[&Line], stored: Option<&KeptAttempt>, verdict: &mut Verdict) {
    let acknowledged =
        |asked| lines.iter().filter(move |line| line.asked == asked && line.stage == Stage::Acknowledged);
    verdict.saves_acknowledged += acknowledged(Asked::Save).count();
    let submit = acknowledged(Asked::Submit).next();
    verdict.submits_acknowledged += usize::from(submit.is_some());
    let Some(first) = lines.first() else { return };
    if let Some(submit) = submit {
        let points = stored.and_then(|attempt| attempt.points);
        if points != Some(submit.points) {
            verdict.lost += 1;
            verdict.tell(format!(
                "{} was told at {} by {} that attempt {attempt} is submitted with {} points; stored is {}",
                submit.pupil,
                submit.at,
                submit.process,
                submit.points,
                points.map_or("no mark".to_owned(), |points| format!("{points} points"))
            ));
        }
    }
    let Some(last) = lines.iter().rposition(|line| line.stage == Stage::Acknowledged) else { return };
    for (question, steps) in &lines[last].answers {
        for (step, text) in steps {
            let found = stored.and_then(|attempt| attempt.answers.get(question)?.get(step));
            // What was sent later, and perhaps stored without a word, is as good.
            let later = lines[last..].iter().filter_map(|line| line.answers.get(question)?.get(step));
            if !later.chain([text]).any(|text| Some(text) == found) {
                verdict.lost += 1;
                verdict.tell(format!(
                    "an answer of {} in attempt {attempt} was acknowledged at {} and is not stored",
                    first.pupil, lines[last].at
                ));
            }
        }
    }
}

fn check_grade(pupil: &str, points: u32, heard: &[&Heard], cells: &[Points], verdict: &mut Verdict) {
    let due = Points::from(points);
    let last = heard.iter().rev().find_map(|entry| entry.points);
    if cells.len() > 1 {
        verdict.doubled += cells.len() - 1;
        verdict.tell(format!("{pupil} has {} cells in the gradebook", cells.len()));
    }
    if last == Some(due) && cells == [due] {
        verdict.grades_delivered += 1;
    } else {
        verdict.lost += 1;
        let told = |points: Option<Points>| points.map_or("none".to_owned(), |points| points.to_string());
        verdict.tell(format!(
            "{pupil} earned {points}; the last grade heard is {}, the gradebook shows {}",
            told(last),
            told(cells.first().copied())
        ));
    }
}

fn check_order(pupil: &str, heard: &[&Heard], disturbances: &[Disturbance], verdict: &mut Verdict) {
    for pair in heard.windows(2) {
        let (before, after) = (pair[0], pair[1]);
        if after.timestamp <= before.timestamp || after.points < before.points {
            verdict.out_of_order += 1;
            verdict.tell(format!(
                "{pupil}: what was made at {} came after what was made at {}, or takes points back",
                after.timestamp, before.timestamp
            ));
        } else if after.points == before.points {
            let unnoted = disturbances.iter().any(|hit| hit.from <= before.at && before.at <= hit.until);
            if before.answered && !unnoted {
                verdict.doubled += 1;
                verdict.tell(format!(
                    "{pupil}: the grade that was recorded at {} was recorded again at {}, and its sender had been told",
                    before.at, after.at
                ));
            } else {
                verdict.sent_again += 1;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + second).unwrap()
    }

    fn answers(text: &str) -> Responses {
        [("q".to_owned(), [("total".to_owned(), text.to_owned())].into())].into()
    }

    fn line(second: i64, asked: Asked, stage: Stage, text: &str) -> Line {
        Line {
            at: at(second),
            pupil: "p-1".into(),
            attempt: "a".into(),
            asked,
            stage,
            answers: answers(text),
            points: 2,
            process: 1,
        }
    }

    fn heard(second: i64, points: Option<u32>) -> Heard {
        Heard {
            pupil: "p-1".into(),
            at: at(second),
            timestamp: at(second),
            points: points.map(Points::from),
            answered: true,
        }
    }

    /// A pupil who saved and submitted, was told so, and has the grade.
    fn sound() -> (History, Kept) {
        let history = History::new();
        for (second, asked, stage) in [
            (1, Asked::Save, Stage::Sent),
            (2, Asked::Save, Stage::Acknowledged),
            (3, Asked::Submit, Stage::Sent),
            (4, Asked::Submit, Stage::Unanswered),
            (5, Asked::Submit, Stage::Sent),
            (6, Asked::Submit, Stage::Acknowledged),
        ] {
            history.note(line(second, asked, stage, "1.5"));
        }
        let attempt =
            KeptAttempt { id: "a".into(), pupil: "p-1".into(), answers: answers("1.5"), points: Some(2) };
        let kept = Kept {
            attempts: vec![attempt],
            heard: vec![heard(1, None), heard(7, Some(2))],
            cells: [("p-1".to_owned(), vec![Points::from(2)])].into(),
        };
        (history, kept)
    }

    #[test]
    fn a_sound_history_holds_and_is_counted() {
        let (history, kept) = sound();
        let verdict = check(&history, &kept, &[]);
        assert!(verdict.holds(), "{verdict}");
        let counts = (verdict.submits_acknowledged, verdict.marks_stored, verdict.saves_acknowledged);
        assert_eq!((counts, verdict.unanswered), ((1, 1, 1), 1));
        assert_eq!((verdict.grades_due, verdict.grades_delivered), (1, 1));
    }

    #[test]
    fn finds_a_submit_that_was_acknowledged_and_is_not_closed_or_not_there_at_all() {
        let (history, mut kept) = sound();
        kept.attempts[0].points = None;
        let verdict = check(&history, &kept, &[]);
        // The grade is now one that nobody earned.
        assert_eq!((verdict.lost, verdict.invented), (1, 1), "{verdict}");
        assert!(verdict.contradictions[0].contains("stored is no mark"), "{verdict}");
        kept.attempts.clear();
        assert!(!check(&history, &kept, &[]).holds());
    }

    #[test]
    fn finds_other_marks_and_an_attempt_that_nobody_submitted() {
        let (history, mut kept) = sound();
        kept.attempts[0].points = Some(1);
        assert!(check(&history, &kept, &[]).contradictions[0].contains("stored is 1 points"));
        let (_, kept) = sound();
        assert_eq!(check(&History::new(), &kept, &[]).invented, 1);
    }

    #[test]
    fn finds_an_answer_that_was_acknowledged_and_lost_but_takes_a_later_one() {
        let (_, mut kept) = sound();
        (kept.attempts[0].points, kept.attempts[0].answers) = (None, Responses::new());
        (kept.heard, kept.cells) = Default::default();
        let history = History::new();
        history.note(line(1, Asked::Save, Stage::Sent, "1.5"));
        history.note(line(2, Asked::Save, Stage::Acknowledged, "1.5"));
        assert_eq!(check(&history, &kept, &[]).lost, 1);
        kept.attempts[0].answers = answers("1.7");
        assert_eq!(check(&history, &kept, &[]).lost, 1, "another text is not the answer");
        history.note(line(3, Asked::Save, Stage::Sent, "1.7"));
        assert!(check(&history, &kept, &[]).holds(), "sent later, and stored without a word");
    }

    #[test]
    fn finds_a_lost_grade_and_a_wrong_one() {
        let (history, mut kept) = sound();
        kept.heard.pop();
        kept.cells.clear();
        assert_eq!(check(&history, &kept, &[]).lost, 1);
        let (history, mut kept) = sound();
        kept.cells = [("p-1".to_owned(), vec![Points::from(1)])].into();
        assert!(check(&history, &kept, &[]).contradictions[0].contains("the gradebook shows 1"));
    }

    #[test]
    fn finds_a_doubled_grade_unless_its_sender_cannot_have_noted_the_answer() {
        let (history, mut kept) = sound();
        kept.heard.push(heard(9, Some(2)));
        let verdict = check(&history, &kept, &[]);
        assert_eq!((verdict.doubled, verdict.sent_again), (1, 0), "{verdict}");
        let hit = |from, until| Disturbance { what: "killed".into(), from: at(from), until: at(until) };
        let verdict = check(&history, &kept, &[hit(6, 8)]);
        assert_eq!((verdict.doubled, verdict.sent_again), (0, 1), "{verdict}");
        assert_eq!(check(&history, &kept, &[hit(8, 10)]).doubled, 1, "a hit later on is no reason");
        kept.heard[1].answered = false;
        assert_eq!(check(&history, &kept, &[]).sent_again, 1);
        kept.cells.get_mut("p-1").unwrap().push(Points::from(2));
        assert_eq!(check(&history, &kept, &[]).doubled, 1, "a second cell");
    }

    #[test]
    fn finds_grades_in_wrong_order() {
        let (history, mut kept) = sound();
        kept.heard.insert(1, heard(8, Some(1)));
        assert_eq!(check(&history, &kept, &[]).out_of_order, 1, "times do not grow");
        let (history, mut kept) = sound();
        kept.heard.insert(1, heard(5, Some(3)));
        assert_eq!(check(&history, &kept, &[]).out_of_order, 1, "points are taken back");
        let (history, mut kept) = sound();
        kept.heard.push(heard(9, None));
        assert!(check(&history, &kept, &[]).out_of_order == 1, "a beginning after a grade clears it");
    }
}
