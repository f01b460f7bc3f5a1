//! Points by a teacher's word, and attempts beyond those of the quiz.

use std::collections::BTreeMap;

use super::connection::{Connection, OptionalExtension, Row, SqlResult, Turn, params};
use super::row::{count, failed, to_json};
use super::{attempts, audit, outbox};
use crate::storage::{
    Action, Allowed, Attempt, AttemptId, Change, Overridden, Override, PlacementId, Points, StorageError,
    Subject, UserId,
};

pub(super) fn set(
    c: &Connection,
    id: &AttemptId,
    question: &str,
    step: &str,
    points: &Points,
    deliver: bool,
    change: &Change,
) -> Result<Overridden, StorageError> {
    c.turn(&Turn::OfAttempt(&id.0)).map_err(failed)?;
    let Some(attempt) = attempts::by_id(c, id)? else { return Ok(Overridden::NoAttempt) };
    let Some(mut result) = attempt.result.clone() else { return Ok(Overridden::NoAttempt) };
    let judged = result.judged().map_err(unreadable)?;
    let steps = judged.iter().filter(|mark| mark.question == question).flat_map(|mark| &mark.steps);
    let Some(ours) = steps.into_iter().find(|marked| marked.id == step) else {
        return Ok(Overridden::NoStep);
    };
    let place = result.overrides.iter().position(|known| known.is_of(question, step));
    let before = place.map_or(ours.points, |place| result.overrides[place].points);
    let (action, after) = match points {
        Points::Given { points, .. } if *points > ours.max => return Ok(Overridden::NoStep),
        Points::Given { points, .. } => (Action::PointsChanged, *points),
        Points::AsMarked if place.is_none() => return Ok(Overridden::Done(attempt)),
        Points::AsMarked => (Action::PointsRestored, ours.points),
    };
    let most = ours.max;
    if let Some(place) = place {
        result.overrides.remove(place);
    }
    if let Points::Given { points, reason } = points {
        result.overrides.push(Override {
            question: question.to_owned(),
            step: step.to_owned(),
            points: *points,
            reason: reason.clone(),
            at: change.at,
        });
    }
    let total_before = result.points;
    result.points = result.counted().map_err(unreadable)?;
    c.prepare_cached("UPDATE attempts SET overrides = ?2, points = ?3 WHERE id = ?1")
        .and_then(|mut update| update.execute(params![id.0, to_json(&result.overrides), result.points]))
        .map_err(failed)?;
    let detail = format!(
        "attempt {}, question {question}, step {step}: {before} to {after} of {most} points; the attempt {total_before} to {} of {}",
        attempt.number, result.points, result.maximum
    );
    note(c, change, action, &attempt.placement, &attempt.user, &detail)?;
    if deliver {
        outbox::queue_best(c, &attempt.placement, &attempt.user, change.at)?;
    }
    Ok(Overridden::Done(Attempt { result: Some(result), ..attempt }))
}

pub(super) fn allow(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    known_extra: u32,
    change: &Change,
) -> Result<Allowed, StorageError> {
    c.turn(&Turn::Pupil { placement: &placement.0, user: &user.0 }).map_err(failed)?;
    let extra = extra_of(c, placement, user)?;
    if extra != known_extra {
        return Ok(Allowed::Otherwise(extra));
    }
    c.prepare_cached(
        "INSERT INTO extra_attempts (placement, user, extra) VALUES (?1, ?2, 1)
         ON CONFLICT (placement, user) DO UPDATE SET extra = extra_attempts.extra + 1",
    )
    .and_then(|mut insert| insert.execute(params![placement.0, user.0]))
    .map_err(failed)?;
    let detail = format!("{extra} to {} attempts beyond those of the quiz", extra + 1);
    note(c, change, Action::AttemptAllowed, placement, user, &detail)?;
    Ok(Allowed::Extra(extra + 1))
}

pub(super) fn extra_of(c: &Connection, placement: &PlacementId, user: &UserId) -> Result<u32, StorageError> {
    let extra = c.query_row(EXTRA, params![placement.0, user.0], read_extra).optional();
    extra.map(Option::unwrap_or_default).map_err(failed)
}

pub(super) const EXTRA: &str = "SELECT extra FROM extra_attempts WHERE placement = ?1 AND user = ?2";

pub(super) fn read_extra(row: &Row<'_>) -> SqlResult<u32> {
    count(row, "extra")
}

pub(super) fn extra_at(
    c: &Connection,
    placement: &PlacementId,
) -> Result<BTreeMap<UserId, u32>, StorageError> {
    c.prepare_cached("SELECT user, extra FROM extra_attempts WHERE placement = ?1")
        .and_then(|mut select| {
            let each = |row: &Row<'_>| Ok((UserId(row.get("user")?), count(row, "extra")?));
            select.query_map([&placement.0], each)?.collect()
        })
        .map_err(failed)
}

/// Whoever begins anew has all attempts of the quiz again, and no more.
pub(super) fn forget_extra(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
) -> Result<(), StorageError> {
    c.execute("DELETE FROM extra_attempts WHERE placement = ?1 AND user = ?2", params![placement.0, user.0])
        .map_err(failed)?;
    Ok(())
}

fn note(
    c: &Connection,
    change: &Change,
    action: Action,
    placement: &PlacementId,
    user: &UserId,
    detail: &str,
) -> Result<(), StorageError> {
    let subject =
        Subject { placement: Some(placement.clone()), user: Some(user.clone()), ..Subject::default() };
    audit::note(c, change, action, &subject, detail)
}

#[expect(clippy::needless_pass_by_value, reason = "the shape that map_err asks for")]
fn unreadable(error: serde_json::Error) -> StorageError {
    StorageError::Unreadable { table: "attempts", column: "marks", problem: error.to_string() }
}
