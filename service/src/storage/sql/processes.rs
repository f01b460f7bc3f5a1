//! The processes that serve one store: who lives, who may do what alone, what all of them know alike.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, params};
use super::jobs;
use super::row::{failed, ms};
use crate::clock::plus_ms;
use crate::storage::{Beat, GONE_AFTER_MS, StorageError};

/// A sign of life of `process`. What processes held that are gone is free again. One whose last sign lies in the future
/// counts as gone too: a clock was set back, and whoever lives gives a new sign at once.
pub(super) fn beat(c: &Connection, process: &str, now: Timestamp) -> Result<Beat, StorageError> {
    c.execute(
        "INSERT INTO processes (id, seen_at) VALUES (?1, ?2)
         ON CONFLICT (id) DO UPDATE SET seen_at = excluded.seen_at",
        params![process, ms(now)],
    )
    .map_err(failed)?;
    let span = params![ms(plus_ms(now, -GONE_AFTER_MS)), ms(plus_ms(now, GONE_AFTER_MS))];
    let gone: Vec<String> = c
        .query(
            &format!(
                "SELECT id FROM processes WHERE seen_at < ?1 OR seen_at > ?2 ORDER BY id {}",
                c.skip_taken("processes")
            ),
            span,
            |row| row.get("id"),
        )
        .map_err(failed)?;
    let mut found = Beat { gone: gone.len(), ..Beat::default() };
    for process in gone {
        let (released, interrupted) = forget(c, &process, now)?;
        found.released += released;
        found.interrupted += interrupted;
    }
    Ok(found)
}

/// Forgets a process: the messages that it was sending are free, its jobs interrupted. Returns how many of each.
pub(super) fn forget(c: &Connection, process: &str, now: Timestamp) -> Result<(usize, usize), StorageError> {
    let released = c
        .execute(
            "UPDATE outbox SET leased_until = NULL, leased_by = NULL
             WHERE state = 'waiting' AND leased_until IS NOT NULL AND leased_by = ?1",
            [process],
        )
        .map_err(failed)?;
    c.execute("DELETE FROM claims WHERE process = ?1", [process]).map_err(failed)?;
    let interrupted = jobs::interrupt(c, process, now)?;
    c.execute("DELETE FROM processes WHERE id = ?1", [process]).map_err(failed)?;
    Ok((released, interrupted))
}

/// Whether `process` may do `name` alone until then: nobody has claimed it, or the claim has run out.
pub(super) fn claim(
    c: &Connection,
    process: &str,
    name: &str,
    now: Timestamp,
    until: Timestamp,
) -> Result<bool, StorageError> {
    let claimed = c
        .execute(
            "INSERT INTO claims (name, process, until) VALUES (?1, ?2, ?3)
             ON CONFLICT (name) DO UPDATE SET process = excluded.process, until = excluded.until
             WHERE claims.until <= ?4",
            params![name, process, ms(until), ms(now)],
        )
        .map_err(failed)?;
    Ok(claimed > 0)
}

pub(super) fn give_up(c: &Connection, process: &str, name: &str) -> Result<(), StorageError> {
    c.execute("DELETE FROM claims WHERE name = ?1 AND process = ?2", params![name, process])
        .map_err(failed)?;
    Ok(())
}

/// The secret of that name: the one that was stored first.
pub(super) fn shared_secret(c: &Connection, name: &str, fresh: &str) -> Result<String, StorageError> {
    c.execute(
        "INSERT INTO shared_secrets (name, secret) VALUES (?1, ?2) ON CONFLICT (name) DO NOTHING",
        params![name, fresh],
    )
    .map_err(failed)?;
    c.query_row("SELECT secret FROM shared_secrets WHERE name = ?1", [name], |row| row.get("secret"))
        .optional()
        .map_err(failed)?
        .ok_or_else(|| StorageError::Database(format!("the shared secret {name:?} was not kept")))
}
