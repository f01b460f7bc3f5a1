//! Our own signing keys.

use jiff::Timestamp;

use super::audit;
use super::connection::{Connection, OptionalExtension, Row, SqlResult, ToValue, params};
use super::row::{failed, ms, time};
use crate::storage::{
    Action, Change, PrivateKey, RegistrationId, Resealed, Retired, Rotated, StorageError, Subject, ToolKey,
};

pub(super) fn all(c: &Connection) -> Result<Vec<ToolKey>, StorageError> {
    select(c, "SELECT * FROM tool_keys ORDER BY created_at, kid", params![])
}

pub(super) fn add_first(c: &Connection, key: &ToolKey, change: &Change) -> Result<bool, StorageError> {
    if let Some(registration) = key.registration
        && !exists(c, "SELECT 1 FROM registrations WHERE id = ?1", params![registration.0])?
    {
        return Ok(false);
    }
    if of_owner(c, key.registration)?.iter().any(|known| known.is_published(change.at)) {
        return Ok(false);
    }
    insert(c, key)?;
    note(c, change, Action::KeyMade, key, &format!("signs from {}", key.signs_from))?;
    Ok(true)
}

pub(super) fn rotate(
    c: &Connection,
    key: &ToolKey,
    leave_at: Timestamp,
    change: &Change,
) -> Result<Rotated, StorageError> {
    let waiting = of_owner(c, key.registration)?
        .into_iter()
        .find(|known| known.is_published(change.at) && !known.may_sign(change.at));
    if let Some(waiting) = waiting {
        return Ok(Rotated::UnderWay(waiting));
    }
    insert(c, key)?;
    let key = ToolKey { private: PrivateKey::Erased, ..key.clone() };
    succeed(c, &key, leave_at, change)?;
    Ok(Rotated::Begun)
}

pub(super) fn hasten(
    c: &Connection,
    kid: &str,
    leave_at: Timestamp,
    change: &Change,
) -> Result<bool, StorageError> {
    let Some(waiting) = find(c, kid)?.filter(|key| key.is_published(change.at) && !key.may_sign(change.at))
    else {
        return Ok(false);
    };
    c.execute("UPDATE tool_keys SET signs_from = ?2 WHERE kid = ?1", params![kid, ms(change.at)])
        .map_err(failed)?;
    // The others had a later time to leave, which no longer holds.
    c.execute(
        "UPDATE tool_keys SET retires_at = NULL WHERE registration IS NOT DISTINCT FROM ?1 AND kid <> ?2 AND retires_at > ?3",
        params![waiting.registration.map(|id| id.0), kid, ms(leave_at)],
    )
    .map_err(failed)?;
    succeed(c, &ToolKey { signs_from: change.at, ..waiting }, leave_at, change)?;
    Ok(true)
}

/// Gives the older keys beside `key` a time to leave, and notes that.
fn succeed(c: &Connection, key: &ToolKey, leave_at: Timestamp, change: &Change) -> Result<(), StorageError> {
    c.execute(
        "UPDATE tool_keys SET retires_at = ?3 WHERE registration IS NOT DISTINCT FROM ?1 AND kid <> ?2 AND retires_at IS NULL",
        params![key.registration.map(|id| id.0), key.kid, ms(leave_at)],
    )
    .map_err(failed)?;
    let detail = format!("signs from {}, older keys leave at {leave_at}", key.signs_from);
    note(c, change, Action::KeyRotated, key, &detail)
}

pub(super) fn retire(
    c: &Connection,
    kid: &str,
    at: Timestamp,
    change: &Change,
) -> Result<Retired, StorageError> {
    let Some(key) = find(c, kid)?.filter(|key| key.is_published(change.at)) else {
        return Ok(Retired::Unknown);
    };
    if is_needed(c, &key, at)? {
        return Ok(Retired::Needed);
    }
    c.execute("UPDATE tool_keys SET retires_at = ?2 WHERE kid = ?1", params![kid, ms(at)]).map_err(failed)?;
    note(c, change, Action::KeyRetired, &key, &format!("leaves at {at}"))?;
    Ok(Retired::Planned)
}

/// Whether a registration would be without a key of its own that signs at `at` and has no time to leave.
fn is_needed(c: &Connection, key: &ToolKey, at: Timestamp) -> Result<bool, StorageError> {
    let owners: Vec<Option<RegistrationId>> = match key.registration {
        Some(_) => vec![key.registration],
        // A shared key signs for all that have none.
        None => c
            .prepare_cached("SELECT id FROM registrations")
            .and_then(|mut select| {
                select.query_map([], |row| row.get(0).map(RegistrationId).map(Some))?.collect()
            })
            .map_err(failed)?,
    };
    for owner in owners {
        let others = of_owner(c, owner)?;
        let covered = others
            .iter()
            .any(|other| other.kid != key.kid && other.may_sign(at) && other.retires_at.is_none());
        if !covered {
            return Ok(true);
        }
    }
    Ok(false)
}

pub(super) fn erase_retired(c: &Connection, change: &Change) -> Result<usize, StorageError> {
    let sql = "SELECT * FROM tool_keys WHERE retires_at <= ?1 AND length(pkcs8) > 0";
    let left = select(c, sql, params![ms(change.at)])?;
    for key in &left {
        erase(c, key, change)?;
    }
    Ok(left.len())
}

/// Erases the keys of a registration that is being removed.
pub(super) fn erase_of(
    c: &Connection,
    registration: RegistrationId,
    change: &Change,
) -> Result<(), StorageError> {
    for key in of_owner(c, Some(registration))?.iter().filter(|key| key.private != PrivateKey::Erased) {
        c.execute("UPDATE tool_keys SET retires_at = ?2 WHERE kid = ?1", params![key.kid, ms(change.at)])
            .map_err(failed)?;
        erase(c, key, change)?;
    }
    Ok(())
}

fn erase(c: &Connection, key: &ToolKey, change: &Change) -> Result<(), StorageError> {
    c.execute(
        "UPDATE tool_keys SET pkcs8 = ?2, sealed_by = NULL WHERE kid = ?1",
        params![key.kid, Vec::<u8>::new()],
    )
    .map_err(failed)?;
    note(c, change, Action::KeyErased, key, "private part erased")
}

pub(super) fn reseal(c: &Connection, resealed: &[Resealed], change: &Change) -> Result<bool, StorageError> {
    for Resealed { kid, from, .. } in resealed {
        if find(c, kid)?.is_none_or(|key| key.private != *from) {
            return Ok(false);
        }
    }
    for Resealed { kid, to, .. } in resealed {
        let (sealed_by, bytes) = columns(to);
        c.execute(
            "UPDATE tool_keys SET pkcs8 = ?2, sealed_by = ?3 WHERE kid = ?1",
            params![kid, bytes, sealed_by],
        )
        .map_err(failed)?;
    }
    let names: Vec<&str> = resealed.iter().map(|key| key.kid.as_str()).collect();
    audit::note(c, change, Action::KeysSealed, &Subject::default(), &format!("keys {}", names.join(" ")))?;
    Ok(true)
}

fn insert(c: &Connection, key: &ToolKey) -> Result<(), StorageError> {
    let (sealed_by, bytes) = columns(&key.private);
    c.execute(
        "INSERT INTO tool_keys (kid, registration, pkcs8, sealed_by, created_at, signs_from, retires_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            key.kid,
            key.registration.map(|id| id.0),
            bytes,
            sealed_by,
            ms(key.created_at),
            ms(key.signs_from),
            key.retires_at.map(ms)
        ],
    )
    .map_err(failed)?;
    Ok(())
}

fn columns(private: &PrivateKey) -> (Option<&str>, &[u8]) {
    match private {
        PrivateKey::Plain(bytes) => (None, bytes),
        PrivateKey::Sealed { by, bytes } => (Some(by), bytes),
        PrivateKey::Erased => (None, &[]),
    }
}

fn note(
    c: &Connection,
    change: &Change,
    action: Action,
    key: &ToolKey,
    what: &str,
) -> Result<(), StorageError> {
    let subject = Subject { registration: key.registration, ..Subject::default() };
    audit::note(c, change, action, &subject, &format!("key {}, {what}", key.kid))
}

fn of_owner(c: &Connection, owner: Option<RegistrationId>) -> Result<Vec<ToolKey>, StorageError> {
    let sql = "SELECT * FROM tool_keys WHERE registration IS NOT DISTINCT FROM ?1 ORDER BY created_at, kid";
    select(c, sql, params![owner.map(|id| id.0)])
}

fn find(c: &Connection, kid: &str) -> Result<Option<ToolKey>, StorageError> {
    Ok(select(c, "SELECT * FROM tool_keys WHERE kid = ?1", params![kid])?.pop())
}

fn exists(c: &Connection, sql: &str, parameters: &[&dyn ToValue]) -> Result<bool, StorageError> {
    let found: Option<i64> = c.query_row(sql, parameters, |row| row.get(0)).optional().map_err(failed)?;
    Ok(found.is_some())
}

fn select(c: &Connection, sql: &str, parameters: &[&dyn ToValue]) -> Result<Vec<ToolKey>, StorageError> {
    c.prepare_cached(sql).and_then(|mut select| select.query_map(parameters, read)?.collect()).map_err(failed)
}

fn read(row: &Row<'_>) -> SqlResult<ToolKey> {
    let bytes: Vec<u8> = row.get("pkcs8")?;
    let private = match row.get("sealed_by")? {
        _ if bytes.is_empty() => PrivateKey::Erased,
        Some(by) => PrivateKey::Sealed { by, bytes },
        None => PrivateKey::Plain(bytes),
    };
    Ok(ToolKey {
        kid: row.get("kid")?,
        registration: row.get::<_, Option<i64>>("registration")?.map(RegistrationId),
        private,
        created_at: time(row, "created_at")?,
        signs_from: time(row, "signs_from")?,
        retires_at: row.get::<_, Option<i64>>("retires_at")?.map(crate::clock::whole_milliseconds),
    })
}
