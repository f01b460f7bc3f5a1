//! Attempts, and the one step that closes an attempt and queues its grade.
//!
//! An attempt that was set aside by a reset is as good as none here; it stays in the table for what is held on a person.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, Row, SqlResult, Turn, params};
use super::row::{count, failed, json, ms, time, to_json};
use super::{audit, outbox, overrides};
use crate::clock::whole_milliseconds;
use crate::entropy;
use crate::storage::{
    Action, Announce, Attempt, AttemptId, AttemptResult, Change, HandIn, HandedIn, PlacementId, Responses,
    Started, StorageError, Subject, Submission, Submitted, UserId,
};
use crate::typing::{Kept, Stamps, Typing};

const CHANGES_FIT: &str = "nobody changes answers so often";

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
    c.prepare_cached("SELECT * FROM attempts WHERE id = ?1 AND voided_at IS NULL")
        .and_then(|mut select| select.query_row([&id.0], read).optional())
        .map_err(failed)
}

pub(super) fn of_user(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
) -> Result<Vec<Attempt>, StorageError> {
    c.prepare_cached(
        "SELECT * FROM attempts WHERE placement = ?1 AND user = ?2 AND voided_at IS NULL ORDER BY number",
    )
    .and_then(|mut select| select.query_map(params![placement.0, user.0], read)?.collect())
    .map_err(failed)
}

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
    let Some((attempt, mut stamps)) = open_to_typing(c, id)? else { return Ok(None) };
    let before = attempt.revision;
    let kept = kept(attempt).with(&mut stamps, typing);
    if kept.revision != before {
        keep(c, id, &kept, &stamps)?;
    }
    Ok(Some(kept))
}

pub(super) fn hand_in(c: &Connection, hand_in: &HandIn) -> Result<HandedIn, StorageError> {
    let Some((attempt, mut stamps)) = open_to_typing(c, &hand_in.attempt)? else {
        return Ok(HandedIn::NotOpen);
    };
    let before = attempt.revision;
    let kept = kept(attempt.clone()).with(&mut stamps, &hand_in.typing);
    let Some(result) = (hand_in.judge)(&attempt, &kept) else {
        if kept.revision != before {
            keep(c, &attempt.id, &kept, &stamps)?;
        }
        return Ok(HandedIn::Kept(kept));
    };
    let closed = Attempt { responses: kept.responses, revision: kept.revision, ..attempt };
    close(c, &closed, Some(&stamps), &result, hand_in.deliver.then_some(hand_in.at))?;
    Ok(HandedIn::Closed(Attempt { result: Some(result), ..closed }))
}

/// An open attempt and who wrote its answers; nobody else changes them until the transaction ends.
fn open_to_typing(c: &Connection, id: &AttemptId) -> Result<Option<(Attempt, Stamps)>, StorageError> {
    c.turn(&Turn::OfAttempt(&id.0)).map_err(failed)?;
    let select = "SELECT * FROM attempts WHERE id = ?1 AND voided_at IS NULL AND submitted_at IS NULL";
    c.query_row(select, [&id.0], |row| Ok((read(row)?, json(row, "stamps")?))).optional().map_err(failed)
}

/// What is stored of an attempt before a page brings anything.
fn kept(attempt: Attempt) -> Kept {
    Kept { responses: attempt.responses, revision: attempt.revision, refused: Responses::new() }
}

fn keep(c: &Connection, id: &AttemptId, kept: &Kept, stamps: &Stamps) -> Result<(), StorageError> {
    let revision = i64::try_from(kept.revision).expect(CHANGES_FIT);
    let update = "UPDATE attempts SET responses = ?2, revision = ?3, stamps = ?4 WHERE id = ?1";
    let values = params![id.0, to_json(&kept.responses), revision, to_json(stamps)];
    c.execute(update, values).map_err(failed)?;
    Ok(())
}

pub(super) fn submit(c: &Connection, submission: &Submission) -> Result<Submitted, StorageError> {
    c.turn(&Turn::OfAttempt(&submission.attempt.0)).map_err(failed)?;
    let Some(attempt) = by_id(c, &submission.attempt)? else { return Ok(Submitted::NoAttempt) };
    if attempt.result.is_some() {
        return Ok(Submitted::AlreadyClosed(attempt));
    }
    let attempt = Attempt { responses: submission.responses.clone(), ..attempt };
    close(c, &attempt, None, &submission.result, submission.deliver.then_some(submission.at))?;
    Ok(Submitted::Closed(Attempt { result: Some(submission.result.clone()), ..attempt }))
}

/// Closes an attempt with its last answers, and who wrote them where that changed; its pupil's best grade is queued from
/// that time on, where it is told.
fn close(
    c: &Connection,
    attempt: &Attempt,
    stamps: Option<&Stamps>,
    result: &AttemptResult,
    deliver_at: Option<Timestamp>,
) -> Result<(), StorageError> {
    c.execute(
        "UPDATE attempts SET responses = ?2, submitted_at = ?3, marks = ?4, points = ?5, maximum = ?6, revision = ?7,
            stamps = coalesce(?8, stamps)
         WHERE id = ?1",
        params![
            attempt.id.0,
            to_json(&attempt.responses),
            ms(result.submitted_at),
            result.marks,
            result.points,
            result.maximum,
            i64::try_from(attempt.revision).expect(CHANGES_FIT),
            stamps.map(to_json)
        ],
    )
    .map_err(failed)?;
    match deliver_at {
        Some(at) => outbox::queue_best(c, &attempt.placement, &attempt.user, at),
        None => Ok(()),
    }
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
    let result = match row.get::<_, Option<i64>>("submitted_at")? {
        None => None,
        Some(_) => Some(AttemptResult {
            submitted_at: time(row, "submitted_at")?,
            marks: row.get("marks")?,
            points: count(row, "points")?,
            maximum: count(row, "maximum")?,
            overrides: json(row, "overrides")?,
        }),
    };
    Ok(Attempt {
        id: AttemptId(row.get("id")?),
        placement: PlacementId(row.get("placement")?),
        user: UserId(row.get("user")?),
        number: count(row, "number")?,
        seed: row.get("seed")?,
        started_at: time(row, "started_at")?,
        responses: json(row, "responses")?,
        revision: count(row, "revision")?.into(),
        result,
    })
}
