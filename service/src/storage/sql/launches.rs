//! Login states and sessions.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, Row, SqlResult, params, values};
use super::row::{failed, json, ms, time, to_json};
use crate::storage::{
    DeploymentId, Fingerprint, LoginState, PlatformStorage, RegistrationId, SessionRecord, SessionTicket,
    StorageError, TakenState, UserId,
};

/// Remembers logins, all or none.
pub(super) fn add_states(c: &Connection, states: &[LoginState]) -> Result<Vec<()>, StorageError> {
    let set = |state: &LoginState| {
        values![
            state.state.0,
            state.nonce,
            state.registration.0,
            state.target_link_uri,
            state.deployment_hint.as_ref().map(DeploymentId::as_str),
            state.browser.0,
            ms(state.expires_at),
            state.storage.as_ref().map(|storage| &storage.target),
            state.storage.as_ref().map(|storage| &storage.secret.0)
        ]
    };
    c.execute_each(
        "INSERT INTO login_states
            (state, nonce, registration, target_link_uri, deployment_hint, browser, expires_at,
             storage_target, storage_secret)
         SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9",
        states.iter().map(set).collect(),
    )
    .map_err(failed)?;
    Ok(states.iter().map(|_| ()).collect())
}

pub(super) fn take_state(
    c: &Connection,
    state: &Fingerprint,
    now: Timestamp,
) -> Result<TakenState, StorageError> {
    let taken = c
        .query_row(
            "UPDATE login_states SET used_at = ?2 WHERE state = ?1 AND used_at IS NULL RETURNING *",
            params![state.0, ms(now)],
            read_state,
        )
        .optional()
        .map_err(failed)?;
    if let Some(login) = taken {
        return Ok(if login.expires_at <= now { TakenState::Expired } else { TakenState::Fresh(login) });
    }
    let known = c.query_row(STATE, [&state.0], |_| Ok(())).optional().map_err(failed)?;
    Ok(if known.is_some() { TakenState::Used } else { TakenState::Unknown })
}

pub(super) const STATE: &str = "SELECT * FROM login_states WHERE state = ?1";

/// A login, and whether it was used up.
pub(super) fn read_used(row: &Row<'_>) -> SqlResult<(bool, LoginState)> {
    let login = read_state(row)?;
    Ok((row.get::<_, Option<i64>>("used_at")?.is_some(), login))
}

fn read_state(row: &Row<'_>) -> SqlResult<LoginState> {
    Ok(LoginState {
        state: Fingerprint(row.get("state")?),
        nonce: row.get("nonce")?,
        registration: RegistrationId(row.get("registration")?),
        target_link_uri: row.get("target_link_uri")?,
        deployment_hint: row.get::<_, Option<String>>("deployment_hint")?.map(DeploymentId),
        browser: Fingerprint(row.get("browser")?),
        expires_at: time(row, "expires_at")?,
        storage: row
            .get::<_, Option<String>>("storage_target")?
            .zip(row.get::<_, Option<String>>("storage_secret")?)
            .map(|(target, secret)| PlatformStorage { target, secret: Fingerprint(secret) }),
    })
}

pub(super) fn add_session(c: &Connection, session: &SessionRecord) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO sessions (id, registration, deployment, user, purpose, csrf, expires_at, return_origin)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            session.id.0,
            session.registration.0,
            session.deployment.0,
            session.user.as_ref().map(UserId::as_str),
            to_json(&session.purpose),
            session.csrf,
            ms(session.expires_at),
            session.return_origin
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
    c.query_row(SESSION, params![id.0, ms(now)], read_session).optional().map_err(failed)
}

/// A session ends with its deployment, however that was taken away; with its registration it is deleted.
pub(super) const SESSION: &str = "SELECT * FROM sessions WHERE id = ?1 AND expires_at > ?2
    AND (registration, deployment) IN (SELECT registration, deployment FROM deployments)";

pub(super) fn add_session_with_ticket(
    c: &Connection,
    new: &SessionRecord,
    ticket: &SessionTicket,
) -> Result<(), StorageError> {
    add_session(c, new)?;
    c.prepare_cached("INSERT INTO session_tickets (ticket, session, expires_at) VALUES (?1, ?2, ?3)")
        .and_then(|mut insert| {
            insert.execute(params![ticket.ticket.0, ticket.session.0, ms(ticket.expires_at)])
        })
        .map_err(failed)?;
    Ok(())
}

pub(super) fn redeem_ticket(
    c: &Connection,
    ticket: &Fingerprint,
    id: &Fingerprint,
    now: Timestamp,
) -> Result<Option<SessionRecord>, StorageError> {
    let found: Option<(String, i64)> = c
        .query_row(
            "DELETE FROM session_tickets WHERE ticket = ?1 RETURNING session, expires_at",
            [&ticket.0],
            |row| Ok((row.get("session")?, row.get("expires_at")?)),
        )
        .optional()
        .map_err(failed)?;
    let Some((of, _)) = found.filter(|(_, expires_at)| *expires_at > ms(now)) else { return Ok(None) };
    c.execute("UPDATE sessions SET id = ?2 WHERE id = ?1", params![of, id.0]).map_err(failed)?;
    session(c, id, now)
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

pub(super) fn read_session(row: &Row<'_>) -> SqlResult<SessionRecord> {
    Ok(SessionRecord {
        id: Fingerprint(row.get("id")?),
        registration: RegistrationId(row.get("registration")?),
        deployment: DeploymentId(row.get("deployment")?),
        user: row.get::<_, Option<String>>("user")?.map(UserId),
        purpose: json(row, "purpose")?,
        csrf: row.get("csrf")?,
        expires_at: time(row, "expires_at")?,
        return_origin: row.get("return_origin")?,
    })
}

pub(super) fn purge(c: &Connection, before: Timestamp) -> Result<usize, StorageError> {
    c.execute("DELETE FROM session_tickets WHERE expires_at < ?1", [ms(before)]).map_err(failed)?;
    let states = c.execute("DELETE FROM login_states WHERE expires_at < ?1", [ms(before)]).map_err(failed)?;
    let sessions = c.execute("DELETE FROM sessions WHERE expires_at < ?1", [ms(before)]).map_err(failed)?;
    Ok(states + sessions)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::SessionPurpose;
    use crate::storage::sql::schema;
    use crate::storage::sql::sqlite::empty_in_memory;

    #[test]
    fn a_session_ends_with_its_deployment() {
        let c = empty_in_memory();
        schema::migrate(&c).unwrap();
        c.execute_batch(
            "INSERT INTO registrations (id, issuer, client_id, authorization_url, token_url, keys_url)
                VALUES (1, 'https://p', 'c', 'https://p/a', 'https://p/t', 'https://p/k');
             INSERT INTO deployments (registration, deployment) VALUES (1, 'd1'), (1, 'd2');",
        )
        .unwrap();
        let now = Timestamp::UNIX_EPOCH;
        let of = |deployment: &str| SessionRecord {
            id: Fingerprint::of(deployment),
            registration: RegistrationId(1),
            deployment: deployment.into(),
            user: None,
            purpose: SessionPurpose::Class { placement: "q1".into() },
            csrf: "csrf".to_owned(),
            return_origin: None,
            expires_at: crate::clock::plus_ms(now, 1_000),
        };
        for deployment in ["d1", "d2"] {
            add_session(&c, &of(deployment)).unwrap();
        }
        c.execute("DELETE FROM deployments WHERE deployment = 'd1'", []).unwrap();
        assert_eq!(session(&c, &Fingerprint::of("d1"), now).unwrap(), None);
        assert_eq!(session(&c, &Fingerprint::of("d2"), now).unwrap(), Some(of("d2")));
    }
}
