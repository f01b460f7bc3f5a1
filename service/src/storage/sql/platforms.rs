//! Registrations and their deployments.

use std::collections::BTreeSet;

use super::connection::{Connection, Row, SqlResult, ToValue, params};
use super::row::{failed, parsed};
use super::{audit, tool_keys};
use crate::storage::{
    Action, Change, ClientId, DeploymentId, NewRegistration, Registration, RegistrationId, StorageError,
    Subject,
};

pub(super) fn put(
    c: &Connection,
    new: &NewRegistration,
    change: &Change,
) -> Result<Registration, StorageError> {
    let known = find(c, &new.issuer, &new.client_id)?;
    let id: i64 = c
        .query_row(
            "INSERT INTO registrations (issuer, client_id, authorization_url, token_url, keys_url, audience)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (issuer, client_id) DO UPDATE SET
                authorization_url = excluded.authorization_url, token_url = excluded.token_url,
                keys_url = excluded.keys_url, audience = excluded.audience
             RETURNING id",
            params![
                new.issuer,
                new.client_id.0,
                new.authorization_url.as_str(),
                new.token_url.as_str(),
                new.keys_url.as_str(),
                new.audience
            ],
            |row| row.get(0),
        )
        .map_err(failed)?;
    for deployment in &new.deployments {
        c.execute(
            "INSERT INTO deployments (registration, deployment) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            params![id, deployment.0],
        )
        .map_err(failed)?;
        c.execute(
            "DELETE FROM pending_deployments WHERE registration = ?1 AND deployment = ?2",
            params![id, deployment.0],
        )
        .map_err(failed)?;
    }
    let stored = by_id(c, RegistrationId(id))?
        .ok_or_else(|| StorageError::Database("registration vanished".into()))?;
    if known.as_ref() != Some(&stored) {
        let action = if known.is_none() { Action::RegistrationAdded } else { Action::RegistrationChanged };
        note(c, change, action, &stored)?;
    }
    Ok(stored)
}

pub(super) fn all(c: &Connection) -> Result<Vec<Registration>, StorageError> {
    select(c, "SELECT * FROM registrations ORDER BY issuer, client_id", params![])
}

pub(super) fn of_issuer(c: &Connection, issuer: &str) -> Result<Vec<Registration>, StorageError> {
    select(c, "SELECT * FROM registrations WHERE issuer = ?1 ORDER BY client_id", params![issuer])
}

pub(super) fn by_id(c: &Connection, id: RegistrationId) -> Result<Option<Registration>, StorageError> {
    Ok(select(c, "SELECT * FROM registrations WHERE id = ?1", params![id.0])?.pop())
}

pub(super) fn remove(
    c: &Connection,
    issuer: &str,
    client_id: &ClientId,
    change: &Change,
) -> Result<bool, StorageError> {
    let Some(known) = find(c, issuer, client_id)? else { return Ok(false) };
    c.execute("DELETE FROM registrations WHERE id = ?1", [known.id.0]).map_err(failed)?;
    tool_keys::erase_of(c, known.id, change)?;
    note(c, change, Action::RegistrationRemoved, &known)?;
    Ok(true)
}

/// Notes what was done to a registration, with all it says.
fn note(
    c: &Connection,
    change: &Change,
    action: Action,
    registration: &Registration,
) -> Result<(), StorageError> {
    let platform = &registration.platform;
    let deployments: Vec<&str> = platform.deployments.iter().map(DeploymentId::as_str).collect();
    let detail = format!(
        "issuer {}, client id {}, authorization {}, tokens {}, keys {}, audience {}, deployments {}",
        platform.issuer,
        platform.client_id,
        platform.authorization_url,
        platform.token_url,
        platform.keys_url,
        platform.audience.as_deref().unwrap_or("as tokens"),
        deployments.join(" "),
    );
    let subject = Subject { registration: Some(registration.id), ..Subject::default() };
    audit::note(c, change, action, &subject, &detail)
}

pub(super) fn find(
    c: &Connection,
    issuer: &str,
    client_id: &ClientId,
) -> Result<Option<Registration>, StorageError> {
    let sql = "SELECT * FROM registrations WHERE issuer = ?1 AND client_id = ?2";
    Ok(select(c, sql, params![issuer, client_id.0])?.pop())
}

fn select(c: &Connection, sql: &str, parameters: &[&dyn ToValue]) -> Result<Vec<Registration>, StorageError> {
    let mut statement = c.prepare_cached(sql).map_err(failed)?;
    let rows: Result<Vec<_>, _> = statement.query_map(parameters, read).map_err(failed)?.collect();
    let mut registrations = rows.map_err(failed)?;
    for registration in &mut registrations {
        registration.platform.deployments = deployments(c, registration.id)?;
    }
    Ok(registrations)
}

/// A row without its deployments, which are in a table of their own.
fn read(row: &Row<'_>) -> SqlResult<Registration> {
    Ok(Registration {
        id: RegistrationId(row.get("id")?),
        platform: NewRegistration {
            issuer: row.get("issuer")?,
            client_id: ClientId(row.get("client_id")?),
            authorization_url: parsed(row, "authorization_url")?,
            token_url: parsed(row, "token_url")?,
            keys_url: parsed(row, "keys_url")?,
            audience: row.get("audience")?,
            deployments: BTreeSet::new(),
        },
    })
}

fn deployments(c: &Connection, id: RegistrationId) -> Result<BTreeSet<DeploymentId>, StorageError> {
    let mut statement =
        c.prepare_cached("SELECT deployment FROM deployments WHERE registration = ?1").map_err(failed)?;
    let rows = statement.query_map([id.0], |row| row.get(0).map(DeploymentId)).map_err(failed)?;
    rows.collect::<Result<_, _>>().map_err(failed)
}
