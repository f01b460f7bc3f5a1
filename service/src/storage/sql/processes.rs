//! The processes that serve one store: who lives, who may do what alone, what all of them know alike.

use std::collections::HashMap;

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, params};
use super::jobs;
use super::row::{failed, ms};
use crate::storage::{Beat, GONE_AFTER_SIGNS, StorageError};

/// The last sign of life of a process: a time by its own clock, which nobody compares with another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Sign {
    process: String,
    given_at_ms: i64,
}

/// What a process has heard of the others.
#[derive(Debug, Default)]
pub(super) struct Heard(HashMap<String, LastHeard>);

#[derive(Debug, Clone, Copy)]
struct LastHeard {
    given_at_ms: i64,
    /// Own signs since then, the one that heard it included.
    own_signs: u32,
}

impl Heard {
    /// Takes in the signs of all others that stood there at a sign of its own; returns those that are too old.
    pub(super) fn silent(&mut self, signs: Vec<Sign>) -> Vec<Sign> {
        let before = std::mem::take(&mut self.0);
        let mut silent = Vec::new();
        for sign in signs {
            let last = before.get(&sign.process).filter(|last| last.given_at_ms == sign.given_at_ms);
            let own_signs = last.map_or(0, |last| last.own_signs) + 1;
            self.0.insert(sign.process.clone(), LastHeard { given_at_ms: sign.given_at_ms, own_signs });
            if own_signs > GONE_AFTER_SIGNS {
                silent.push(sign);
            }
        }
        silent
    }
}

/// Gives a sign of life of `process`; returns the last ones of the others.
pub(super) fn give_sign(c: &Connection, process: &str, now: Timestamp) -> Result<Vec<Sign>, StorageError> {
    c.execute(
        "INSERT INTO processes (id, seen_at) VALUES (?1, ?2)
         ON CONFLICT (id) DO UPDATE SET seen_at = excluded.seen_at",
        params![process, ms(now)],
    )
    .map_err(failed)?;
    c.query("SELECT id, seen_at FROM processes WHERE id <> ?1 ORDER BY id", [process], |row| {
        Ok(Sign { process: row.get("id")?, given_at_ms: row.get("seen_at")? })
    })
    .map_err(failed)
}

/// Forgets those who have given no other sign meanwhile. What they held is free again.
pub(super) fn forget_silent(c: &Connection, silent: &[Sign], now: Timestamp) -> Result<Beat, StorageError> {
    let mut found = Beat::default();
    for Sign { process, given_at_ms } in silent {
        let still =
            format!("SELECT id FROM processes WHERE id = ?1 AND seen_at = ?2 {}", c.skip_taken("processes"));
        let gone: Vec<String> =
            c.query(&still, params![process, given_at_ms], |row| row.get("id")).map_err(failed)?;
        for process in gone {
            let (released, interrupted) = forget(c, &process, now)?;
            found.gone += 1;
            found.released += released;
            found.interrupted += interrupted;
        }
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
