//! Messages to gradebooks that wait to be sent. One row for each pupil and placement: a newer message replaces an unsent
//! one.

use std::collections::BTreeSet;

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::asked::Asked;
use super::audit;
use super::connection::{
    Connection, OptionalExtension, Row, SqlResult, ToValue, Value, params, unreadable, values,
};
use super::row::{count, failed, json, ms, parsed, time, to_json};
use crate::clock::whole_milliseconds;
use crate::storage::{
    Action, CellState, Change, Choice, Delivery, DeliveryOutcome, DeliveryQuery, DeliveryQueue,
    DeliveryState, Drift, GradebookMark, LeasedGrade, PlacementId, Progress, RegistrationId, Room, Score,
    StorageError, Subject, UserId,
};

/// Announces a first attempt. After a grade nothing is announced: a gradebook takes a message without a score for one
/// that takes the score back.
pub(super) fn queue_beginning(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    maximum: u32,
    now: Timestamp,
) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO outbox (placement, user, version, progress, maximum, state, waiting_since, tries, next_try_at,
            registration)
         SELECT ?1, ?2, 1, 'started', ?3, 'waiting', ?4, 0, ?4, p.registration FROM placements p WHERE p.id = ?1
         ON CONFLICT (placement, user) DO UPDATE SET
            version = outbox.version + 1, progress = 'started', state = 'waiting', tries = 0,
            next_try_at = excluded.next_try_at, waiting_since = excluded.waiting_since, problem = NULL
         WHERE outbox.progress = 'reset'",
    )
    .and_then(|mut insert| insert.execute(params![placement.0, user.0, maximum, ms(now)]))
    .map_err(failed)?;
    Ok(())
}

/// Queues the pupil's best submitted attempt. Best is the larger share of points; of equals the first counts. A grade that
/// is queued or delivered already is not queued again.
pub(super) fn queue_best(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    now: Timestamp,
) -> Result<(), StorageError> {
    c.execute(QUEUE_BEST, best_of(placement, user, now)).map_err(failed)?;
    Ok(())
}

/// The parameters of [`QUEUE_BEST`].
pub(super) fn best_of(placement: &PlacementId, user: &UserId, now: Timestamp) -> Vec<Value> {
    values![placement.0, user.0, ms(now)]
}

/// What [`queue_best`] runs.
pub(super) const QUEUE_BEST: &str =
"INSERT INTO outbox (placement, user, version, progress, points, maximum, started_at, submitted_at,
            state, waiting_since, tries, next_try_at, registration)
         SELECT placement, user, 1, 'graded', points, maximum, started_at, submitted_at, 'waiting', ?3, 0, ?3,
            (SELECT p.registration FROM placements p WHERE p.id = ?1)
         FROM (SELECT a.* FROM attempts a
               WHERE placement = ?1 AND user = ?2 AND submitted_at IS NOT NULL AND voided_at IS NULL
                 AND NOT EXISTS (SELECT 1 FROM attempts b
                    WHERE b.placement = a.placement AND b.user = a.user
                      AND b.submitted_at IS NOT NULL AND b.voided_at IS NULL
                      AND (b.points * a.maximum > a.points * b.maximum
                        OR (b.points * a.maximum = a.points * b.maximum AND b.number < a.number)))) AS best
         WHERE true
         ON CONFLICT (placement, user) DO UPDATE SET
            version = outbox.version + 1, progress = 'graded', points = excluded.points, maximum = excluded.maximum,
            started_at = excluded.started_at, submitted_at = excluded.submitted_at,
            state = 'waiting', tries = 0, next_try_at = excluded.next_try_at, problem = NULL,
            waiting_since = CASE outbox.state WHEN 'waiting' THEN outbox.waiting_since ELSE excluded.waiting_since END
         WHERE outbox.state = 'parked' OR outbox.progress <> 'graded' OR outbox.points <> excluded.points
            OR outbox.maximum <> excluded.maximum OR outbox.submitted_at <> excluded.submitted_at";

/// Takes back what the gradebook was told of a pupil; where it was told nothing, nothing is sent.
pub(super) fn queue_reset(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    now: Timestamp,
) -> Result<(), StorageError> {
    let unsent = "DELETE FROM outbox WHERE placement = ?1 AND user = ?2 AND last_timestamp IS NULL";
    c.execute(unsent, params![placement.0, user.0]).map_err(failed)?;
    c.prepare_cached(
        "UPDATE outbox SET version = version + 1, progress = 'reset', points = NULL, started_at = NULL,
            submitted_at = NULL, state = 'waiting', tries = 0, next_try_at = ?3, waiting_since = ?3, problem = NULL
         WHERE placement = ?1 AND user = ?2",
    )
    .and_then(|mut update| update.execute(params![placement.0, user.0, ms(now)]))
    .map_err(failed)?;
    Ok(())
}

pub(super) fn lease(
    c: &Connection,
    now: Timestamp,
    leased_until: Timestamp,
    room: &Room,
    process: &str,
) -> Result<Vec<LeasedGrade>, StorageError> {
    name_platforms(c)?;
    let mut due = Vec::new();
    for platform in platforms_with_due(c, now)? {
        if !room.except.contains(&platform) {
            due.extend(oldest_of(c, platform, now, room.each)?);
        }
    }
    for grade in &mut due {
        if let Some(score) = grade.progress.score().filter(|score| !grade.cell.ours.contains(score)) {
            grade.cell.ours.push(score);
        }
        c.prepare_cached(
            "UPDATE outbox SET leased_until = ?3, last_timestamp = ?4, ours = ?5, leased_by = ?6
             WHERE placement = ?1 AND user = ?2",
        )
        .and_then(|mut update| {
            update.execute(params![
                grade.placement.0,
                grade.user.0,
                ms(leased_until),
                ms(grade.timestamp),
                to_json(&grade.cell.ours),
                process
            ])
        })
        .map_err(failed)?;
    }
    Ok(due)
}

/// Fills in the platform of rows that were queued without it.
fn name_platforms(c: &Connection) -> Result<(), StorageError> {
    c.prepare_cached(
        "UPDATE outbox SET registration = (SELECT p.registration FROM placements p WHERE p.id = outbox.placement)
         WHERE registration IS NULL",
    )
    .and_then(|mut update| update.execute([]))
    .map_err(failed)?;
    Ok(())
}

fn platforms_with_due(c: &Connection, now: Timestamp) -> Result<Vec<RegistrationId>, StorageError> {
    c.prepare_cached(
        // Asked for each by itself: to join what is due with the platforms would read all of it.
        "SELECT id FROM registrations r
         WHERE (SELECT 1 FROM outbox o
            WHERE o.registration = r.id AND o.state = 'waiting' AND o.next_try_at <= ?1 LIMIT 1) IS NOT NULL
         ORDER BY id",
    )
    .and_then(|mut select| select.query_map([ms(now)], |row| row.get("id").map(RegistrationId))?.collect())
    .map_err(failed)
}

/// What has been due longest at a platform and nobody has leased or is about to.
fn oldest_of(
    c: &Connection,
    platform: RegistrationId,
    now: Timestamp,
    most: usize,
) -> Result<Vec<LeasedGrade>, StorageError> {
    let sql = format!(
        "SELECT o.*,
            CASE WHEN o.last_timestamp >= ?2 + o.ahead_ms THEN o.last_timestamp + 1 ELSE ?2 + o.ahead_ms END
                AS timestamp
         FROM outbox o
         WHERE o.registration = ?1 AND o.state = 'waiting' AND o.next_try_at <= ?2
           AND coalesce(o.leased_until, 0) <= ?2
         ORDER BY o.next_try_at, o.placement, o.user LIMIT ?3 {}",
        c.skip_taken("o")
    );
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    c.prepare_cached(&sql)
        .and_then(|mut select| select.query_map(params![platform.0, ms(now), most], read_leased)?.collect())
        .map_err(failed)
}

fn read_leased(row: &Row<'_>) -> SqlResult<LeasedGrade> {
    Ok(LeasedGrade {
        registration: RegistrationId(row.get("registration")?),
        placement: PlacementId(row.get("placement")?),
        user: UserId(row.get("user")?),
        version: row.get("version")?,
        progress: read_progress(row)?,
        maximum: count(row, "maximum")?,
        timestamp: time(row, "timestamp")?,
        ahead_ms: row.get("ahead_ms")?,
        tries: count(row, "tries")?,
        waiting_since: time(row, "waiting_since")?,
        cell: read_cell(row)?,
    })
}

fn read_progress(row: &Row<'_>) -> SqlResult<Progress> {
    Ok(match row.get::<_, String>("progress")?.as_str() {
        "graded" => Progress::Graded {
            score: Score { points: count(row, "points")?, maximum: count(row, "maximum")? },
            started_at: time(row, "started_at")?,
            submitted_at: time(row, "submitted_at")?,
        },
        "started" => Progress::Started,
        // The table's CHECK leaves only this one.
        _ => Progress::Reset,
    })
}

fn read_cell(row: &Row<'_>) -> SqlResult<CellState> {
    let optional = |column: &'static str| row.get::<_, Option<String>>(column);
    Ok(CellState {
        delivered: if optional("delivered")?.is_some() { Some(json(row, "delivered")?) } else { None },
        ours: json(row, "ours")?,
        drift: match optional("drift")?.as_deref() {
            Some("missing") => Some(Drift::Missing),
            Some("different") => Some(Drift::Different),
            Some(_) => Some(Drift::Own),
            None => None,
        },
        found: if optional("found_points")?.is_some() {
            Some(GradebookMark {
                points: decimal(row, "found_points")?,
                maximum: decimal(row, "found_maximum")?,
            })
        } else {
            None
        },
        overwrite: row.get("overwrite")?,
    })
}

/// A stored decimal.
fn decimal(row: &Row<'_>, column: &'static str) -> SqlResult<Decimal> {
    let text: String = row.get(column)?;
    text.parse().map_err(|error| unreadable(&column, error))
}

/// What a row becomes after a try.
struct Next<'a> {
    state: DeliveryState,
    try_at: Timestamp,
    problem: Option<&'a str>,
    failures: u32,
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
            &format!(
                "SELECT version FROM outbox WHERE placement = ?1 AND user = ?2 AND last_timestamp = ?3 {}",
                c.take("outbox")
            ),
            params![grade.placement.0, grade.user.0, ms(grade.timestamp)],
            |row| row.get(0),
        )
        .optional()
        .map_err(failed)?;
    let Some(version) = version else { return Ok(()) };
    let superseded = version != grade.version;
    let next = |state, try_at, problem, failures| Next { state, try_at, problem, failures };
    let next = match outcome {
        DeliveryOutcome::Postponed { at } => {
            c.prepare_cached(
                "UPDATE outbox SET next_try_at = ?3, leased_until = NULL WHERE placement = ?1 AND user = ?2",
            )
            .and_then(|mut update| update.execute(params![grade.placement.0, grade.user.0, ms(*at)]))
            .map_err(failed)?;
            return Ok(());
        }
        DeliveryOutcome::Retry { at, problem, .. } => {
            next(DeliveryState::Waiting, *at, Some(problem.as_str()), 1)
        }
        _ if superseded => next(DeliveryState::Waiting, now, None, 0),
        DeliveryOutcome::Delivered => next(DeliveryState::Delivered, now, None, 0),
        DeliveryOutcome::Held { .. } => next(DeliveryState::Held, now, None, 0),
        DeliveryOutcome::Parked { problem } => next(DeliveryState::Parked, now, Some(problem.as_str()), 1),
    };
    write_next(c, grade, &next)?;
    match outcome {
        DeliveryOutcome::Delivered => note_delivered(c, grade),
        DeliveryOutcome::Held { drift, found } => {
            note_drift(c, &grade.placement, &grade.user, Some(*drift), Some(*found))
        }
        DeliveryOutcome::Retry { ahead_ms: Some(ahead_ms), .. } => date_ahead(c, grade, *ahead_ms),
        _ => Ok(()),
    }
}

fn write_next(c: &Connection, grade: &LeasedGrade, next: &Next<'_>) -> Result<(), StorageError> {
    c.prepare_cached(
        "UPDATE outbox SET state = ?3, next_try_at = ?4, problem = ?5, tries = tries + ?6, leased_until = NULL
         WHERE placement = ?1 AND user = ?2",
    )
    .and_then(|mut update| {
        update.execute(params![
            grade.placement.0,
            grade.user.0,
            next.state.name(),
            ms(next.try_at),
            next.problem,
            next.failures
        ])
    })
    .map_err(failed)?;
    Ok(())
}

/// What the platform has confirmed is the one thing that stands in the cell now.
fn note_delivered(c: &Connection, grade: &LeasedGrade) -> Result<(), StorageError> {
    let score = match grade.progress {
        // Says nothing about the score, and is only sent where none of ours stands.
        Progress::Started => return Ok(()),
        Progress::Graded { score, .. } => Some(score),
        Progress::Reset => None,
    };
    let ours: Vec<Score> = score.into_iter().collect();
    c.prepare_cached(
        "UPDATE outbox SET delivered = ?3, ours = ?4, drift = NULL, found_points = NULL, found_maximum = NULL,
            overwrite = 0
         WHERE placement = ?1 AND user = ?2",
    )
    .and_then(|mut update| {
        update.execute(params![
            grade.placement.0,
            grade.user.0,
            score.map(|score| to_json(&score)),
            to_json(&ours)
        ])
    })
    .map_err(failed)?;
    Ok(())
}

/// What the cell was seen to hold; a permission to overwrite was for what was seen before.
pub(super) fn note_drift(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    drift: Option<Drift>,
    found: Option<GradebookMark>,
) -> Result<(), StorageError> {
    c.prepare_cached(
        "UPDATE outbox SET drift = ?3, found_points = ?4, found_maximum = ?5, overwrite = 0
         WHERE placement = ?1 AND user = ?2",
    )
    .and_then(|mut update| {
        update.execute(params![
            placement.0,
            user.0,
            drift.map(Drift::name),
            found.map(|found| found.points.to_string()),
            found.map(|found| found.maximum.to_string())
        ])
    })
    .map_err(failed)?;
    Ok(())
}

fn date_ahead(c: &Connection, grade: &LeasedGrade, ahead_ms: i64) -> Result<(), StorageError> {
    c.prepare_cached("UPDATE outbox SET ahead_ms = ?3 WHERE placement = ?1 AND user = ?2")
        .and_then(|mut update| update.execute(params![grade.placement.0, grade.user.0, ahead_ms]))
        .map_err(failed)?;
    Ok(())
}

pub(super) fn next_due(
    c: &Connection,
    except: &BTreeSet<RegistrationId>,
) -> Result<Option<Timestamp>, StorageError> {
    let dues: Vec<(RegistrationId, Option<i64>)> = c
        .prepare_cached(
            "SELECT r.id,
                (SELECT min(o.next_try_at) FROM outbox o
                 WHERE o.registration = r.id AND o.state = 'waiting' AND o.leased_until IS NULL) AS due
             FROM registrations r
             UNION ALL
             SELECT o.registration, CASE WHEN o.state <> 'waiting' THEN NULL
                    WHEN o.leased_until > o.next_try_at THEN o.leased_until ELSE o.next_try_at END
             FROM outbox o
             WHERE o.leased_until IS NOT NULL AND o.registration IS NOT NULL
             UNION ALL
             SELECT p.registration, o.next_try_at FROM outbox o JOIN placements p ON p.id = o.placement
             WHERE o.registration IS NULL AND o.state = 'waiting'",
        )
        .and_then(|mut select| {
            select.query_map([], |row| Ok((RegistrationId(row.get(0)?), row.get(1)?)))?.collect()
        })
        .map_err(failed)?;
    let dues = dues.into_iter().filter(|(platform, _)| !except.contains(platform)).filter_map(|(_, due)| due);
    Ok(dues.min().map(whole_milliseconds))
}

pub(super) fn find(c: &Connection, query: &DeliveryQuery) -> Result<Vec<Delivery>, StorageError> {
    // Only what is asked for, so that every question finds its index.
    let mut asked = Asked::default();
    if let Some(placement) = &query.placement {
        asked.that("placement = ?", [placement.0.to_value()]);
    }
    if let Some(state) = query.state {
        asked.that("state = ?", [state.name().to_value()]);
    }
    if let Some((placement, user)) = &query.after {
        asked.that("(placement, user) > (?, ?)", [placement.0.to_value(), user.0.to_value()]);
    }
    let limit = asked.bind(i64::try_from(query.limit).unwrap_or(i64::MAX).to_value());
    let sql = format!("SELECT * FROM outbox {} ORDER BY placement, user LIMIT {limit}", asked.conditions());
    c.query(&sql, asked.values, read_delivery).map_err(failed)
}

pub(super) fn of_user(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
) -> Result<Option<Delivery>, StorageError> {
    c.prepare_cached("SELECT * FROM outbox WHERE placement = ?1 AND user = ?2")
        .and_then(|mut select| select.query_row(params![placement.0, user.0], read_delivery).optional())
        .map_err(failed)
}

fn read_delivery(row: &Row<'_>) -> SqlResult<Delivery> {
    Ok(Delivery {
        placement: PlacementId(row.get("placement")?),
        user: UserId(row.get("user")?),
        version: row.get("version")?,
        progress: read_progress(row)?,
        state: parsed(row, "state")?,
        tries: count(row, "tries")?,
        waiting_since: time(row, "waiting_since")?,
        next_try_at: time(row, "next_try_at")?,
        problem: row.get("problem")?,
        cell: read_cell(row)?,
    })
}

pub(super) fn queue(c: &Connection) -> Result<DeliveryQueue, StorageError> {
    c.query_row(
        "SELECT waiting, parked, held, oldest
         FROM (SELECT count(*) AS waiting, min(waiting_since) AS oldest FROM outbox WHERE state = 'waiting') AS w,
              (SELECT count(*) FILTER (WHERE state = 'parked') AS parked,
                      count(*) FILTER (WHERE state = 'held') AS held
               FROM outbox WHERE state IN ('parked', 'held')) AS s",
        [],
        |row| {
            Ok(DeliveryQueue {
                waiting: row.get(0)?,
                parked: row.get(1)?,
                held: row.get(2)?,
                oldest: row.get::<_, Option<i64>>(3)?.map(whole_milliseconds),
            })
        },
    )
    .map_err(failed)
}

pub(super) fn send_again(
    c: &Connection,
    placement: &PlacementId,
    user: Option<&UserId>,
    change: &Change,
) -> Result<usize, StorageError> {
    let count = c
        .execute(
            "UPDATE outbox
             SET state = 'waiting', tries = 0, next_try_at = ?3, waiting_since = ?3, problem = NULL
             WHERE placement = ?1 AND (user = ?2 OR ?2 IS NULL) AND state = 'parked'",
            params![placement.0, user.map(UserId::as_str), ms(change.at)],
        )
        .map_err(failed)?;
    let subject = Subject { placement: Some(placement.clone()), user: user.cloned(), ..Subject::default() };
    audit::note(c, change, Action::GradesSentAgain, &subject, &format!("{count} grades"))?;
    Ok(count)
}

pub(super) fn settle(
    c: &Connection,
    placement: &PlacementId,
    user: &UserId,
    choice: Choice,
    change: &Change,
) -> Result<bool, StorageError> {
    let held: Option<Delivery> = c
        .query_row(
            &format!(
                "SELECT * FROM outbox
                 WHERE placement = ?1 AND user = ?2 AND (state = 'held' OR (state = 'kept' AND ?3 = 1)) {}",
                c.take("outbox")
            ),
            params![placement.0, user.0, choice == Choice::SendOurs],
            read_delivery,
        )
        .optional()
        .map_err(failed)?;
    let Some(held) = held else { return Ok(false) };
    let (state, overwrite, action) = match choice {
        Choice::SendOurs => (DeliveryState::Waiting, true, Action::OwnGradeSent),
        Choice::KeepTheirs => (DeliveryState::Kept, false, Action::OtherMarkKept),
    };
    c.execute(
        "UPDATE outbox SET state = ?3, overwrite = ?4, tries = 0, next_try_at = ?5, waiting_since = ?5
         WHERE placement = ?1 AND user = ?2",
        params![placement.0, user.0, state.name(), overwrite, ms(change.at)],
    )
    .map_err(failed)?;
    let subject =
        Subject { placement: Some(placement.clone()), user: Some(user.clone()), ..Subject::default() };
    let ours = held.progress.score().map(|score| score.to_string()).unwrap_or_default();
    let theirs = held.cell.found.map(|found| found.to_string()).unwrap_or_default();
    audit::note(c, change, action, &subject, &format!("ours {ours}, in the gradebook {theirs}"))?;
    Ok(true)
}
