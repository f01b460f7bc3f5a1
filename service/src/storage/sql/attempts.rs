//! Attempts, and the one step that closes an attempt and queues its grade.
//!
//! An attempt that was set aside by a reset is as good as none here; it stays in the table for what is held on a person.

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, Row, SqlResult, Turn, Value, params, values};
use super::row::{count, failed, json, ms, time, to_json};
use super::{audit, outbox, overrides};
use crate::clock::whole_milliseconds;
use crate::entropy;
use crate::storage::{
    Action, Announce, Attempt, AttemptId, AttemptResult, Change, HandIn, HandedIn, PlacementId, Responses,
    Started, StorageError, Subject, Submission, Submitted, UserId,
};
use crate::typing::{Kept, Stamps, Typing};

pub(super) fn start(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    seed: &str,
    announce: Announce,
    now: Timestamp,
) -> Result<Started, StorageError> {
    c.turn(&Turn::Pupil { placement: &placement.0, user: &user.0 }).map_err(failed)?;
    let Some(found) = super::pools::placement(c, placement)? else { return Ok(Started::NoPlacement) };
    let earlier = of_user(c, placement, user)?;
    if let Some(open) = earlier.iter().find(|attempt| attempt.result.is_none()) {
        return Ok(Started::Open(open.clone()));
    }
    let number = earlier.last().map_or(1, |attempt| attempt.number + 1);
    if number > found.quiz.attempts_allowed.saturating_add(overrides::extra_of(c, placement, user)?) {
        return Ok(Started::UsedUp);
    }
    let attempt = Attempt {
        id: AttemptId(entropy::identifier()),
        placement: placement.clone(),
        user: user.clone(),
        number,
        seed: seed.to_owned(),
        started_at: now,
        responses: Responses::new(),
        revision: 0,
        result: None,
    };
    c.execute(
        "INSERT INTO attempts (id, placement, user, number, seed, started_at, responses)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![attempt.id.0, placement.0, user.0, number, seed, ms(now), to_json(&attempt.responses)],
    )
    .map_err(failed)?;
    if let (1, Announce::Begun { maximum }) = (number, announce) {
        outbox::queue_beginning(c, placement, user, maximum, now)?;
    }
    Ok(Started::Open(attempt))
}

pub(super) fn by_id(c: &Connection, id: &AttemptId) -> Result<Option<Attempt>, StorageError> {
    c.query_row(ONE, [&id.0], read).optional().map_err(failed)
}

pub(super) const ONE: &str = "SELECT * FROM attempts WHERE id = ?1 AND voided_at IS NULL";

pub(super) fn of_user(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
) -> Result<Vec<Attempt>, StorageError> {
    c.query(OF_USER, params![placement.0, user.0], read).map_err(failed)
}

pub(super) const OF_USER: &str =
    "SELECT * FROM attempts WHERE placement = ?1 AND user = ?2 AND voided_at IS NULL ORDER BY number";

/// All that is stored of a pupil's attempts, in order of time, each with the time when a reset set it aside.
pub(super) fn all_of_user(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
) -> Result<Vec<(Attempt, Option<Timestamp>)>, StorageError> {
    c.prepare_cached("SELECT * FROM attempts WHERE placement = ?1 AND user = ?2 ORDER BY started_at, number")
        .and_then(|mut select| {
            select
                .query_map(params![placement.0, user.0], |row| {
                    let set_aside = row.get::<_, Option<i64>>("voided_at")?;
                    Ok((read(row)?, set_aside.map(whole_milliseconds)))
                })?
                .collect()
        })
        .map_err(failed)
}

pub(super) fn at_placement(c: &Connection, placement: &PlacementId) -> Result<Vec<Attempt>, StorageError> {
    c.prepare_cached(
        "SELECT * FROM attempts WHERE placement = ?1 AND voided_at IS NULL ORDER BY user, number",
    )
    .and_then(|mut select| select.query_map([&placement.0], read)?.collect())
    .map_err(failed)
}

pub(super) fn keep_typing(
    c: &Connection,
    id: &AttemptId,
    typing: &Typing,
) -> Result<Option<Kept>, StorageError> {
    c.turn(&Turn::OfAttempt(&id.0)).map_err(failed)?;
    let opened = c.query_row(OPEN, [&id.0], Opened::read).optional().map_err(failed)?;
    let Some(Opened { attempt, mut stamps }) = opened else { return Ok(None) };
    let before = attempt.revision;
    let kept = kept(&attempt).with(&mut stamps, typing);
    if kept.revision != before {
        c.execute(KEEP, keeping(id, &kept, &stamps)).map_err(failed)?;
    }
    Ok(Some(kept))
}

/// Hands in for many pupils at once; each attempt at most once in a round.
pub(super) fn hand_in(c: &Connection, all: &[HandIn]) -> Result<Vec<HandedIn>, StorageError> {
    let pupils = all.iter().map(|one| (one.placement.as_str(), one.user.as_str())).collect();
    c.turns_of_pupils(&pupils).map_err(failed)?;
    let mut outcomes: Vec<Option<HandedIn>> = all.iter().map(|_| None).collect();
    while outcomes.iter().any(Option::is_none) {
        let mut attempts = BTreeSet::new();
        let open = (0..all.len()).filter(|place| outcomes[*place].is_none());
        let round: Vec<usize> = open.filter(|place| attempts.insert(&all[*place].attempt)).collect();
        let hand_ins: Vec<&HandIn> = round.iter().map(|place| &all[*place]).collect();
        for (place, outcome) in round.iter().zip(hand_in_each(c, &hand_ins)?) {
            outcomes[*place] = Some(outcome);
        }
    }
    Ok(outcomes.into_iter().flatten().collect())
}

/// Hands in different attempts.
fn hand_in_each(c: &Connection, all: &[&HandIn]) -> Result<Vec<HandedIn>, StorageError> {
    let asked = all.iter().map(|one| values![one.attempt.0]).collect();
    let opened = c.query_each(OPEN, asked, Opened::read).map_err(failed)?;
    let mut writes = Writes::default();
    let outcomes = all.iter().zip(opened).map(|(one, opened)| match opened.into_iter().next() {
        None => HandedIn::NotOpen,
        Some(opened) => writes.hand_in(one, opened),
    });
    let outcomes = outcomes.collect();
    writes.run(c)?;
    Ok(outcomes)
}

/// What handing in has to write, statement by statement.
#[derive(Default)]
struct Writes {
    keep: Vec<Vec<Value>>,
    close: Vec<Vec<Value>>,
    queue: Vec<Vec<Value>>,
}

impl Writes {
    fn hand_in(&mut self, one: &HandIn, Opened { attempt, mut stamps }: Opened) -> HandedIn {
        let before = attempt.revision;
        let kept = kept(&attempt).with(&mut stamps, &one.typing);
        let Some(result) = (one.judge)(&attempt, &kept) else {
            if kept.revision != before {
                self.keep.push(keeping(&attempt.id, &kept, &stamps));
            }
            return HandedIn::Kept(kept);
        };
        let closed = Attempt { responses: kept.responses, revision: kept.revision, ..attempt };
        self.close.push(closing(&closed, &result));
        if one.deliver {
            self.queue.push(outbox::best_of(&closed.placement, &closed.user, one.at));
        }
        HandedIn::Closed(Attempt { result: Some(result), ..closed })
    }

    fn run(self, c: &Connection) -> Result<(), StorageError> {
        for (sql, sets) in [(KEEP, self.keep), (CLOSE, self.close), (outbox::QUEUE_BEST, self.queue)] {
            c.execute_each(sql, sets).map_err(failed)?;
        }
        Ok(())
    }
}

/// An open attempt, and who wrote its answers.
struct Opened {
    attempt: Attempt,
    stamps: Stamps,
}

impl Opened {
    fn read(row: &Row<'_>) -> SqlResult<Self> {
        Ok(Self { attempt: read(row)?, stamps: json(row, "stamps")? })
    }
}

const OPEN: &str = "SELECT * FROM attempts WHERE id = ?1 AND voided_at IS NULL AND submitted_at IS NULL";
const KEEP: &str = "UPDATE attempts SET responses = ?2, revision = ?3, stamps = ?4 WHERE id = ?1";
/// Who wrote the answers matters only as long as they change.
const CLOSE: &str =
    "UPDATE attempts SET responses = ?2, submitted_at = ?3, marks = ?4, points = ?5, maximum = ?6,
        revision = ?7, stamps = '{}'
     WHERE id = ?1";

/// What is stored of an attempt before a page brings anything.
fn kept(attempt: &Attempt) -> Kept {
    Kept { responses: attempt.responses.clone(), revision: attempt.revision, refused: Responses::new() }
}

/// The parameters of [`KEEP`].
fn keeping(id: &AttemptId, kept: &Kept, stamps: &Stamps) -> Vec<Value> {
    values![id.0, to_json(&kept.responses), revision(kept.revision), to_json(stamps)]
}

/// The parameters of [`CLOSE`].
fn closing(attempt: &Attempt, result: &AttemptResult) -> Vec<Value> {
    values![
        attempt.id.0,
        to_json(&attempt.responses),
        ms(result.submitted_at),
        result.marks,
        result.points,
        result.maximum,
        revision(attempt.revision)
    ]
}

fn revision(number: u64) -> i64 {
    i64::try_from(number).expect("nobody changes answers so often")
}

pub(super) fn submit(c: &Connection, submission: &Submission) -> Result<Submitted, StorageError> {
    c.turn(&Turn::OfAttempt(&submission.attempt.0)).map_err(failed)?;
    let Some(attempt) = by_id(c, &submission.attempt)? else { return Ok(Submitted::NoAttempt) };
    if attempt.result.is_some() {
        return Ok(Submitted::AlreadyClosed(attempt));
    }
    let attempt = Attempt { responses: submission.responses.clone(), ..attempt };
    c.execute(CLOSE, closing(&attempt, &submission.result)).map_err(failed)?;
    if submission.deliver {
        outbox::queue_best(c, &attempt.placement, &attempt.user, submission.at)?;
    }
    Ok(Submitted::Closed(Attempt { result: Some(submission.result.clone()), ..attempt }))
}

pub(super) fn reset(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    change: &Change,
) -> Result<usize, StorageError> {
    c.turn(&Turn::Pupil { placement: &placement.0, user: &user.0 }).map_err(failed)?;
    let before = of_user(c, placement, user)?;
    if before.is_empty() {
        return Ok(0);
    }
    c.execute(
        "UPDATE attempts SET voided_at = ?3 WHERE placement = ?1 AND user = ?2 AND voided_at IS NULL",
        params![placement.0, user.0, ms(change.at)],
    )
    .map_err(failed)?;
    overrides::forget_extra(c, placement, user)?;
    outbox::queue_reset(c, placement, user, change.at)?;
    let subject =
        Subject { placement: Some(placement.clone()), user: Some(user.clone()), ..Subject::default() };
    let told = before.iter().map(|attempt| match &attempt.result {
        Some(result) => format!("attempt {}: {} of {}", attempt.number, result.points, result.maximum),
        None => format!("attempt {}: open", attempt.number),
    });
    audit::note(c, change, Action::WorkReset, &subject, &told.collect::<Vec<_>>().join("; "))?;
    Ok(before.len())
}

pub(super) fn read(row: &Row<'_>) -> SqlResult<Attempt> {
    Ok(Attempt {
        id: AttemptId(row.get("id")?),
        placement: PlacementId(row.get("placement")?),
        user: UserId(row.get("user")?),
        number: count(row, "number")?,
        seed: row.get("seed")?,
        started_at: time(row, "started_at")?,
        responses: json(row, "responses")?,
        result: read_result(row)?,
        revision: count(row, "revision")?.into(),
    })
}

fn read_result(row: &Row<'_>) -> SqlResult<Option<AttemptResult>> {
    let Some(submitted_at) = row.get::<_, Option<i64>>("submitted_at")? else { return Ok(None) };
    Ok(Some(AttemptResult {
        submitted_at: whole_milliseconds(submitted_at),
        marks: row.get("marks")?,
        points: count(row, "points")?,
        maximum: count(row, "maximum")?,
        overrides: json(row, "overrides")?,
    }))
}
