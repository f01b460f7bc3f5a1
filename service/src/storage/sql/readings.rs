//! What gradebooks were seen to hold, and which are to be read next.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, Turn, params};
use super::outbox;
use super::row::{failed, ms, time};
use crate::storage::{Finding, PlacementId, Reading, StorageError};

pub(super) fn to_read(
    c: &Connection,
    delivered_after: Timestamp,
    read_before: Timestamp,
    limit: usize,
) -> Result<Vec<PlacementId>, StorageError> {
    c.prepare_cached(
        "SELECT p.id FROM placements p LEFT JOIN readings r ON r.placement = p.id
         WHERE coalesce(r.at, 0) <= ?2
           AND EXISTS (SELECT 1 FROM outbox o
                WHERE o.placement = p.id AND o.delivered IS NOT NULL AND o.last_timestamp > ?1)
         ORDER BY coalesce(r.at, 0), p.id LIMIT ?3",
    )
    .and_then(|mut select| {
        let limit = i64::try_from(limit).unwrap_or(i64::MAX);
        select
            .query_map(params![ms(delivered_after), ms(read_before), limit], |row| {
                row.get(0).map(PlacementId)
            })?
            .collect()
    })
    .map_err(failed)
}

pub(super) fn note(c: &Connection, reading: &Reading, findings: &[Finding]) -> Result<(), StorageError> {
    c.execute(
        "INSERT INTO readings (placement, at, problem) VALUES (?1, ?2, ?3)
         ON CONFLICT (placement) DO UPDATE SET at = excluded.at, problem = excluded.problem",
        params![reading.placement.0, ms(reading.at), reading.problem],
    )
    .map_err(failed)?;
    for finding in findings {
        c.turn(&Turn::Pupil { placement: &reading.placement.0, user: &finding.user.0 }).map_err(failed)?;
        let unchanged: bool = c
            .prepare_cached(
                "SELECT EXISTS (SELECT 1 FROM outbox
                    WHERE placement = ?1 AND user = ?2 AND version = ?3 AND state <> 'waiting')",
            )
            .and_then(|mut select| {
                select.query_row(params![reading.placement.0, finding.user.0, finding.version], |row| {
                    row.get(0)
                })
            })
            .map_err(failed)?;
        if unchanged {
            outbox::note_drift(c, &reading.placement, &finding.user, finding.drift, finding.found)?;
        }
    }
    Ok(())
}

pub(super) fn of(c: &Connection, placement: &PlacementId) -> Result<Option<Reading>, StorageError> {
    c.prepare_cached("SELECT * FROM readings WHERE placement = ?1")
        .and_then(|mut select| {
            select
                .query_row([&placement.0], |row| {
                    Ok(Reading {
                        placement: PlacementId(row.get("placement")?),
                        at: time(row, "at")?,
                        problem: row.get("problem")?,
                    })
                })
                .optional()
        })
        .map_err(failed)
}
