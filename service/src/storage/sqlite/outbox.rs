//! Grades that wait to be sent. One row for each pupil and placement: a newer grade replaces an unsent one.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::audit;
use super::row::{count, failed, ms, time};
use crate::clock::whole_milliseconds;
use crate::storage::{
    Action, Change, Delivery, DeliveryOutcome, DeliveryQueue, DeliveryState, LeasedGrade, PlacementId,
    StorageError, Subject, UserId,
};

/// Queues the pupil's best submitted attempt. Best is the larger share of points; of equals the first counts.
pub(super) fn queue_best(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    now: Timestamp,
) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO outbox (placement, user, version, points, maximum, started_at, submitted_at,
            state, waiting_since, tries, next_try_at)
         SELECT placement, user, 1, points, maximum, started_at, submitted_at, 'waiting', ?3, 0, ?3
         FROM (SELECT a.* FROM attempts a
               WHERE placement = ?1 AND user = ?2 AND submitted_at IS NOT NULL
                 AND NOT EXISTS (SELECT 1 FROM attempts b
                    WHERE b.placement = a.placement AND b.user = a.user AND b.submitted_at IS NOT NULL
                      AND (b.points * a.maximum > a.points * b.maximum
                        OR (b.points * a.maximum = a.points * b.maximum AND b.number < a.number))))
         WHERE true
         ON CONFLICT (placement, user) DO UPDATE SET
            version = version + 1, points = excluded.points, maximum = excluded.maximum,
            started_at = excluded.started_at, submitted_at = excluded.submitted_at,
            state = 'waiting', tries = 0, next_try_at = excluded.next_try_at, problem = NULL,
            waiting_since = CASE state WHEN 'waiting' THEN waiting_since ELSE excluded.waiting_since END",
    )
    .and_then(|mut insert| insert.execute(params![placement.0, user.0, ms(now)]))
    .map_err(failed)?;
    Ok(())
}

pub(super) fn lease(
    c: &Connection,
    now: Timestamp,
    leased_until: Timestamp,
    limit: usize,
) -> Result<Vec<LeasedGrade>, StorageError> {
    let due: Vec<LeasedGrade> = c
        .prepare_cached(
            "SELECT *, max(?1, coalesce(last_timestamp + 1, ?1)) AS timestamp FROM outbox
             WHERE state = 'waiting' AND next_try_at <= ?1 AND coalesce(leased_until, 0) <= ?1
             ORDER BY next_try_at, placement, user LIMIT ?2",
        )
        .and_then(|mut select| {
            select
                .query_map(params![ms(now), i64::try_from(limit).unwrap_or(i64::MAX)], read_leased)?
                .collect()
        })
        .map_err(failed)?;
    for grade in &due {
        c.prepare_cached(
            "UPDATE outbox SET leased_until = ?3, last_timestamp = ?4 WHERE placement = ?1 AND user = ?2",
        )
        .and_then(|mut update| {
            update.execute(params![grade.placement.0, grade.user.0, ms(leased_until), ms(grade.timestamp)])
        })
        .map_err(failed)?;
    }
    Ok(due)
}

fn read_leased(row: &Row<'_>) -> rusqlite::Result<LeasedGrade> {
    Ok(LeasedGrade {
        placement: PlacementId(row.get("placement")?),
        user: UserId(row.get("user")?),
        version: row.get("version")?,
        points: count(row, "points")?,
        maximum: count(row, "maximum")?,
        started_at: time(row, "started_at")?,
        submitted_at: time(row, "submitted_at")?,
        timestamp: time(row, "timestamp")?,
        tries: count(row, "tries")?,
        waiting_since: time(row, "waiting_since")?,
    })
}

pub(super) fn finish(
    c: &Connection,
    grade: &LeasedGrade,
    outcome: &DeliveryOutcome,
    now: Timestamp,
) -> Result<(), StorageError> {
    // Only the holder of the lease may speak: one that lost it (its lease ran out, another process sent) is ignored.
    let version: Option<u32> = c
        .query_row(
            "SELECT version FROM outbox WHERE placement = ?1 AND user = ?2 AND last_timestamp = ?3",
            params![grade.placement.0, grade.user.0, ms(grade.timestamp)],
            |row| row.get(0),
        )
        .optional()
        .map_err(failed)?;
    let Some(version) = version else { return Ok(()) };
    let superseded = version != grade.version;
    let (state, next_try, problem, failures) = match outcome {
        DeliveryOutcome::Delivered if superseded => ("waiting", now, None, 0),
        DeliveryOutcome::Delivered => ("delivered", now, None, 0),
        DeliveryOutcome::Retry { at, problem } => ("waiting", *at, Some(problem), 1),
        DeliveryOutcome::Parked { .. } if superseded => ("waiting", now, None, 0),
        DeliveryOutcome::Parked { problem } => ("parked", now, Some(problem), 1),
    };
    c.prepare_cached(
        "UPDATE outbox SET state = ?3, next_try_at = ?4, problem = ?5, tries = tries + ?6, leased_until = NULL
         WHERE placement = ?1 AND user = ?2",
    )
    .and_then(|mut update| {
        update.execute(params![grade.placement.0, grade.user.0, state, ms(next_try), problem, failures])
    })
    .map_err(failed)?;
    Ok(())
}

pub(super) fn release_leases(c: &Connection) -> Result<(), StorageError> {
    c.execute("UPDATE outbox SET leased_until = NULL WHERE leased_until IS NOT NULL", []).map_err(failed)?;
    Ok(())
}

pub(super) fn next_due(c: &Connection) -> Result<Option<Timestamp>, StorageError> {
    c.prepare_cached(
        "SELECT min(max(next_try_at, coalesce(leased_until, 0))) FROM outbox WHERE state = 'waiting'",
    )
    .and_then(|mut select| select.query_row([], |row| row.get::<_, Option<i64>>(0)))
    .map(|due| due.map(whole_milliseconds))
    .map_err(failed)
}

pub(super) fn at_placement(c: &Connection, placement: &PlacementId) -> Result<Vec<Delivery>, StorageError> {
    c.prepare_cached("SELECT * FROM outbox WHERE placement = ?1 ORDER BY user")
        .and_then(|mut select| {
            select
                .query_map([&placement.0], |row| {
                    Ok(Delivery {
                        user: UserId(row.get("user")?),
                        points: count(row, "points")?,
                        maximum: count(row, "maximum")?,
                        state: read_state(row)?,
                        tries: count(row, "tries")?,
                        next_try_at: time(row, "next_try_at")?,
                        problem: row.get("problem")?,
                    })
                })?
                .collect()
        })
        .map_err(failed)
}

fn read_state(row: &Row<'_>) -> rusqlite::Result<DeliveryState> {
    Ok(match row.get::<_, String>("state")?.as_str() {
        "delivered" => DeliveryState::Delivered,
        "parked" => DeliveryState::Parked,
        // The table's CHECK leaves only this one.
        _ => DeliveryState::Waiting,
    })
}

pub(super) fn queue(c: &Connection) -> Result<DeliveryQueue, StorageError> {
    c.query_row(
        "SELECT count(*) FILTER (WHERE state = 'waiting'), count(*) FILTER (WHERE state = 'parked'),
                min(waiting_since) FILTER (WHERE state = 'waiting')
         FROM outbox WHERE state <> 'delivered'",
        [],
        |row| {
            Ok(DeliveryQueue {
                waiting: row.get(0)?,
                parked: row.get(1)?,
                oldest: row.get::<_, Option<i64>>(2)?.map(whole_milliseconds),
            })
        },
    )
    .map_err(failed)
}

pub(super) fn send_again(
    c: &Connection,
    placement: &PlacementId,
    change: &Change,
) -> Result<usize, StorageError> {
    let count = c
        .execute(
            "UPDATE outbox
             SET state = 'waiting', tries = 0, next_try_at = ?2, waiting_since = ?2, problem = NULL
             WHERE placement = ?1 AND state = 'parked'",
            params![placement.0, ms(change.at)],
        )
        .map_err(failed)?;
    let subject = Subject { placement: Some(placement.clone()), ..Subject::default() };
    audit::note(c, change, Action::GradesSentAgain, &subject, &format!("{count} grades"))?;
    Ok(count)
}
