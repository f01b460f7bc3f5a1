//! Tokens of the programming interface.

use rusqlite::{Connection, OptionalExtension, params};

use super::row::{failed, ms, parsed, time};
use crate::storage::{ApiToken, Fingerprint, StorageError};

pub(super) fn add(c: &Connection, token: &ApiToken) -> Result<(), StorageError> {
    c.execute(
        "INSERT INTO api_tokens (secret, role, created_at) VALUES (?1, ?2, ?3)",
        params![token.secret.0, token.role.name(), ms(token.created_at)],
    )
    .map_err(failed)?;
    Ok(())
}

pub(super) fn find(c: &Connection, secret: &Fingerprint) -> Result<Option<ApiToken>, StorageError> {
    c.prepare_cached("SELECT * FROM api_tokens WHERE secret = ?1")
        .and_then(|mut select| {
            select
                .query_row([&secret.0], |row| {
                    Ok(ApiToken {
                        secret: Fingerprint(row.get("secret")?),
                        role: parsed(row, "role")?,
                        created_at: time(row, "created_at")?,
                    })
                })
                .optional()
        })
        .map_err(failed)
}
