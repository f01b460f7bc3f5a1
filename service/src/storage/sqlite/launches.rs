//! Login states and sessions.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::row::{failed, json, ms, time, to_json};
use crate::storage::{
    DeploymentId, Fingerprint, LoginState, RegistrationId, SessionRecord, StorageError, TakenState, UserId,
};

pub(super) fn add_state(c: &Connection, state: &LoginState) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO login_states
            (state, nonce, registration, target_link_uri, deployment_hint, browser, expires_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            state.state.0,
            state.nonce,
            state.registration.0,
            state.target_link_uri,
            state.deployment_hint.as_ref().map(DeploymentId::as_str),
            state.browser.0,
            ms(state.expires_at)
        ])
    })
    .map_err(failed)?;
    Ok(())
}

pub(super) fn take_state(
    c: &Connection,
    state: &Fingerprint,
    now: Timestamp,
) -> Result<TakenState, StorageError> {
    let found: Option<(Option<i64>, LoginState)> = c
        .prepare_cached("SELECT * FROM login_states WHERE state = ?1")
        .and_then(|mut select| {
            select.query_row([&state.0], |row| Ok((row.get("used_at")?, read_state(row)?))).optional()
        })
        .map_err(failed)?;
    let Some((used_at, login)) = found else { return Ok(TakenState::Unknown) };
    if used_at.is_some() {
        return Ok(TakenState::Used);
    }
    c.execute("UPDATE login_states SET used_at = ?2 WHERE state = ?1", params![state.0, ms(now)])
        .map_err(failed)?;
    Ok(if login.expires_at <= now { TakenState::Expired } else { TakenState::Fresh(login) })
}

fn read_state(row: &Row<'_>) -> rusqlite::Result<LoginState> {
    Ok(LoginState {
        state: Fingerprint(row.get("state")?),
        nonce: row.get("nonce")?,
        registration: RegistrationId(row.get("registration")?),
        target_link_uri: row.get("target_link_uri")?,
        deployment_hint: row.get::<_, Option<String>>("deployment_hint")?.map(DeploymentId),
        browser: Fingerprint(row.get("browser")?),
        expires_at: time(row, "expires_at")?,
    })
}

pub(super) fn add_session(c: &Connection, session: &SessionRecord) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO sessions (id, registration, deployment, user, purpose, csrf, expires_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            session.id.0,
            session.registration.0,
            session.deployment.0,
            session.user.as_ref().map(UserId::as_str),
            to_json(&session.purpose),
            session.csrf,
            ms(session.expires_at)
        ])
    })
    .map_err(failed)?;
    Ok(())
}

pub(super) fn session(
    c: &Connection,
    id: &Fingerprint,
    now: Timestamp,
) -> Result<Option<SessionRecord>, StorageError> {
    c.prepare_cached("SELECT * FROM sessions WHERE id = ?1 AND expires_at > ?2")
        .and_then(|mut select| select.query_row(params![id.0, ms(now)], read_session).optional())
        .map_err(failed)
}

/// The stored sessions of a person, ended ones too.
pub(super) fn sessions_of(
    c: &Connection,
    registration: RegistrationId,
    user: &UserId,
) -> Result<Vec<SessionRecord>, StorageError> {
    c.prepare_cached("SELECT * FROM sessions WHERE registration = ?1 AND user = ?2 ORDER BY expires_at")
        .and_then(|mut select| select.query_map(params![registration.0, user.0], read_session)?.collect())
        .map_err(failed)
}

fn read_session(row: &Row<'_>) -> rusqlite::Result<SessionRecord> {
    Ok(SessionRecord {
        id: Fingerprint(row.get("id")?),
        registration: RegistrationId(row.get("registration")?),
        deployment: DeploymentId(row.get("deployment")?),
        user: row.get::<_, Option<String>>("user")?.map(UserId),
        purpose: json(row, "purpose")?,
        csrf: row.get("csrf")?,
        expires_at: time(row, "expires_at")?,
    })
}

pub(super) fn purge(c: &Connection, before: Timestamp) -> Result<usize, StorageError> {
    let states = c.execute("DELETE FROM login_states WHERE expires_at < ?1", [ms(before)]).map_err(failed)?;
    let sessions = c.execute("DELETE FROM sessions WHERE expires_at < ?1", [ms(before)]).map_err(failed)?;
    Ok(states + sessions)
}
