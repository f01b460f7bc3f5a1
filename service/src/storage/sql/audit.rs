//! The audit trail. Called by the steps that change something, inside their own transaction.

use super::asked::Asked;
use super::connection::{Connection, Row, SqlResult, ToValue, params};
use super::row::{failed, json, ms, parsed, time, to_json};
use crate::storage::{
    Action, AuditEntry, AuditQuery, Change, PlacementId, RegistrationId, StorageError, Subject, UserId,
};

/// Notes what is being changed.
pub(super) fn note(
    c: &Connection,
    change: &Change,
    action: Action,
    subject: &Subject,
    detail: &str,
) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO audit (at, actor, action, registration, placement, user, detail)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            ms(change.at),
            to_json(&change.by),
            action.name(),
            subject.registration.map(|id| id.0),
            subject.placement.as_ref().map(PlacementId::as_str),
            subject.user.as_ref().map(UserId::as_str),
            detail,
        ])
    })
    .map_err(failed)?;
    Ok(())
}

pub(super) fn find(c: &Connection, query: &AuditQuery) -> Result<Vec<AuditEntry>, StorageError> {
    // As for grades: every question finds its index.
    let mut asked = Asked::default();
    if let Some(registration) = query.registration {
        asked.that("registration = ?", [registration.0.to_value()]);
    }
    if let Some(placement) = &query.placement {
        asked.that("placement = ?", [placement.0.to_value()]);
    }
    if let Some(before) = query.before {
        asked.that("id < ?", [before.to_value()]);
    }
    let limit = asked.bind(i64::try_from(query.limit).unwrap_or(i64::MAX).to_value());
    let sql = format!("SELECT * FROM audit {} ORDER BY id DESC LIMIT {limit}", asked.conditions());
    c.query(&sql, asked.values, read).map_err(failed)
}

/// Entries of a platform or its quizzes that name a person, as subject or as actor.
pub(super) fn naming(
    c: &Connection,
    registration: RegistrationId,
    user: &UserId,
) -> Result<Vec<AuditEntry>, StorageError> {
    c.prepare_cached(
        "SELECT * FROM audit
         WHERE (registration = ?1 OR CAST(actor ->> 'registration' AS BIGINT) = ?1
                OR placement IN (SELECT id FROM placements WHERE registration = ?1))
           AND (user = ?2 OR actor ->> 'user' = ?2)
         ORDER BY id",
    )
    .and_then(|mut select| select.query_map(params![registration.0, user.0], read)?.collect())
    .map_err(failed)
}

fn read(row: &Row<'_>) -> SqlResult<AuditEntry> {
    Ok(AuditEntry {
        id: row.get("id")?,
        change: Change { at: time(row, "at")?, by: json(row, "actor")? },
        action: parsed(row, "action")?,
        subject: Subject {
            registration: row.get::<_, Option<i64>>("registration")?.map(RegistrationId),
            placement: row.get::<_, Option<String>>("placement")?.map(PlacementId),
            user: row.get::<_, Option<String>>("user")?.map(UserId),
        },
        detail: row.get("detail")?,
    })
}
