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
    Action, Announce, Attempt, AttemptId, AttemptResult, Change, PlacementId, Responses, Started,
    StorageError, Subject, Submission, Submitted, UserId,
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
    c.turn(&Turn::OfAttempt(&id.0)).map_err(failed)?;
    let Some(attempt) = by_id(c, id)?.filter(|attempt| attempt.result.is_none()) else { return Ok(None) };
    let mut stamps: Stamps = c
        .prepare_cached("SELECT stamps FROM attempts WHERE id = ?1")
        .and_then(|mut select| select.query_row([&id.0], |row| json(row, "stamps")))
        .map_err(failed)?;
    let before = attempt.revision;
    let stored = Kept { responses: attempt.responses, revision: before, refused: Responses::new() };
    let kept = stored.with(&mut stamps, typing);
    if kept.revision != before {
        let revision = i64::try_from(kept.revision).expect("nobody changes answers so often");
        c.prepare_cached("UPDATE attempts SET responses = ?2, revision = ?3, stamps = ?4 WHERE id = ?1")
            .and_then(|mut update| {
                update.execute(params![id.0, to_json(&kept.responses), revision, to_json(&stamps)])
            })
            .map_err(failed)?;
    }
    Ok(Some(kept))
}

pub(super) fn submit(c: &Connection, submission: &Submission) -> Result<Submitted, StorageError> {
    c.turn(&Turn::OfAttempt(&submission.attempt.0)).map_err(failed)?;
    let Some(attempt) = by_id(c, &submission.attempt)? else { return Ok(Submitted::NoAttempt) };
    if attempt.result.is_some() {
        return Ok(Submitted::AlreadyClosed(attempt));
    }
    let result = &submission.result;
    c.prepare_cached(
        "UPDATE attempts SET responses = ?2, submitted_at = ?3, marks = ?4, points = ?5, maximum = ?6
         WHERE id = ?1",
    )
    .and_then(|mut update| {
        update.execute(params![
            attempt.id.0,
            to_json(&submission.responses),
            ms(result.submitted_at),
            result.marks,
            result.points,
            result.maximum
        ])
    })
    .map_err(failed)?;
    if submission.deliver {
        outbox::queue_best(c, &attempt.placement, &attempt.user, submission.at)?;
    }
    Ok(Submitted::Closed(Attempt {
        responses: submission.responses.clone(),
        result: Some(result.clone()),
        ..attempt
    }))
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
