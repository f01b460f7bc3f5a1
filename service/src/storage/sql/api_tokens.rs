//! Tokens of the programming interface.

use jiff::civil::Date;

use super::audit;
use super::connection::{Connection, OptionalExtension, Row, SqlError, SqlResult, params};
use super::row::{failed, ms, parsed, parsed_if_any, time};
use crate::clock::whole_milliseconds;
use crate::storage::{Action, ApiToken, Change, Fingerprint, StorageError, Subject};

pub(super) fn add(c: &Connection, token: &ApiToken, change: &Change) -> Result<(), StorageError> {
    c.execute(
        "INSERT INTO api_tokens (id, secret, role, note, created_at, expires_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            token.id,
            token.secret.0,
            token.role.name(),
            token.note,
            ms(token.created_at),
            token.expires_at.map(ms)
        ],
    )
    .map_err(failed)?;
    let end = token.expires_at.map_or_else(|| "never".to_owned(), |end| format!("at {end}"));
    let detail = format!("token {}, role {}, ends {end}", token.id, token.role);
    audit::note(c, change, Action::TokenMade, &Subject::default(), &detail)
}

pub(super) fn find(c: &Connection, secret: &Fingerprint) -> Result<Option<ApiToken>, StorageError> {
    c.prepare_cached("SELECT * FROM api_tokens WHERE secret = ?1")
        .and_then(|mut select| select.query_row([&secret.0], read).optional())
        .map_err(failed)
}

pub(super) fn all(c: &Connection) -> Result<Vec<ApiToken>, StorageError> {
    c.prepare_cached("SELECT * FROM api_tokens ORDER BY created_at DESC, id")
        .and_then(|mut select| select.query_map([], read)?.collect())
        .map_err(failed)
}

pub(super) fn used(c: &Connection, id: &str, on: Date) -> Result<(), StorageError> {
    c.execute("UPDATE api_tokens SET last_used_on = ?2 WHERE id = ?1", params![id, on.to_string()])
        .map_err(failed)?;
    Ok(())
}

pub(super) fn revoke(c: &Connection, id: &str, change: &Change) -> Result<bool, StorageError> {
    let revoked = c
        .execute(
            "UPDATE api_tokens SET revoked_at = ?2 WHERE id = ?1 AND revoked_at IS NULL",
            params![id, ms(change.at)],
        )
        .map_err(failed)?;
    if revoked > 0 {
        audit::note(c, change, Action::TokenRevoked, &Subject::default(), &format!("token {id}"))?;
    }
    Ok(revoked > 0)
}

fn read(row: &Row<'_>) -> SqlResult<ApiToken> {
    let maybe = |column| Ok::<_, SqlError>(row.get::<_, Option<i64>>(column)?.map(whole_milliseconds));
    Ok(ApiToken {
        id: row.get("id")?,
        secret: Fingerprint(row.get("secret")?),
        role: parsed(row, "role")?,
        note: row.get("note")?,
        created_at: time(row, "created_at")?,
        expires_at: maybe("expires_at")?,
        revoked_at: maybe("revoked_at")?,
        last_used_on: parsed_if_any(row, "last_used_on")?,
    })
}
