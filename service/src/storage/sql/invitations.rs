//! Invitations to register a platform, and deployments that wait for approval.

use jiff::Timestamp;

use super::connection::{Connection, Row, SqlError, SqlResult, params};
use super::row::{failed, ms, time};
use super::{audit, platforms};
use crate::clock::whole_milliseconds;
use crate::storage::{
    Action, Change, DeploymentId, Fingerprint, Invitation, InvitationState, NewRegistration,
    PendingDeployment, Registered, RegistrationId, StorageError, Subject,
};

/// How many deployments of one platform are held at most.
const PENDING_MAX: i64 = 50;

pub(super) fn add(c: &Connection, invitation: &Invitation, change: &Change) -> Result<(), StorageError> {
    c.execute(
        "INSERT INTO invitations (id, secret, note, created_at, expires_at) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![
            invitation.id,
            invitation.secret.0,
            invitation.note,
            ms(invitation.created_at),
            ms(invitation.expires_at)
        ],
    )
    .map_err(failed)?;
    let detail = format!("invitation {}, ends at {}", invitation.id, invitation.expires_at);
    audit::note(c, change, Action::InvitationMade, &Subject::default(), &detail)
}

pub(super) fn all(c: &Connection) -> Result<Vec<Invitation>, StorageError> {
    c.prepare_cached("SELECT * FROM invitations ORDER BY created_at DESC, id")
        .and_then(|mut select| select.query_map([], read)?.collect())
        .map_err(failed)
}

pub(super) fn state(
    c: &Connection,
    secret: &Fingerprint,
    now: Timestamp,
) -> Result<InvitationState, StorageError> {
    find(c, "SELECT * FROM invitations WHERE secret = ?1", &secret.0, now)
}

pub(super) fn hold(
    c: &Connection,
    secret: &Fingerprint,
    now: Timestamp,
    until: Timestamp,
) -> Result<InvitationState, StorageError> {
    let found = state(c, secret, now)?;
    if let InvitationState::Open(invitation) = &found {
        c.execute("UPDATE invitations SET held_until = ?2 WHERE id = ?1", params![invitation.id, ms(until)])
            .map_err(failed)?;
    }
    Ok(found)
}

pub(super) fn release(c: &Connection, id: &str) -> Result<(), StorageError> {
    c.execute("UPDATE invitations SET held_until = NULL WHERE id = ?1", params![id]).map_err(failed)?;
    Ok(())
}

pub(super) fn revoke(c: &Connection, id: &str, change: &Change) -> Result<bool, StorageError> {
    let revoked = c
        .execute(
            "UPDATE invitations SET revoked_at = ?2
             WHERE id = ?1 AND revoked_at IS NULL AND used_at IS NULL AND expires_at > ?2",
            params![id, ms(change.at)],
        )
        .map_err(failed)?;
    if revoked > 0 {
        let detail = format!("invitation {id}");
        audit::note(c, change, Action::InvitationRevoked, &Subject::default(), &detail)?;
    }
    Ok(revoked > 0)
}

pub(super) fn register(
    c: &Connection,
    id: &str,
    new: &NewRegistration,
    change: &Change,
) -> Result<Registered, StorageError> {
    // Held by the caller, so only taken back or ended can have come in between; the latter is no reason to stop.
    let unused = c
        .execute(
            "UPDATE invitations SET used_at = ?2, held_until = NULL
             WHERE id = ?1 AND used_at IS NULL AND revoked_at IS NULL",
            params![id, ms(change.at)],
        )
        .map_err(failed)?;
    if unused == 0 {
        return Ok(Registered::NotInvited);
    }
    if platforms::find(c, &new.issuer, &new.client_id)?.is_some() {
        c.execute("UPDATE invitations SET used_at = NULL WHERE id = ?1", params![id]).map_err(failed)?;
        return Ok(Registered::Known);
    }
    let stored = platforms::put(c, new, change)?;
    c.execute("UPDATE invitations SET registration = ?2 WHERE id = ?1", params![id, stored.id.0])
        .map_err(failed)?;
    let subject = Subject { registration: Some(stored.id), ..Subject::default() };
    audit::note(c, change, Action::InvitationUsed, &subject, &format!("invitation {id}"))?;
    Ok(Registered::Stored(stored.id))
}

pub(super) fn hold_deployment(
    c: &Connection,
    registration: RegistrationId,
    deployment: &DeploymentId,
    change: &Change,
) -> Result<(), StorageError> {
    let seen = c
        .execute(
            "UPDATE pending_deployments SET last_seen_at = ?3 WHERE registration = ?1 AND deployment = ?2",
            params![registration.0, deployment.0, ms(change.at)],
        )
        .map_err(failed)?;
    if seen > 0 {
        return Ok(());
    }
    let held = c
        .execute(
            "INSERT INTO pending_deployments (registration, deployment, first_seen_at, last_seen_at)
             SELECT ?1, ?2, ?3, ?3
             WHERE (SELECT count(*) FROM pending_deployments WHERE registration = ?1) < ?4",
            params![registration.0, deployment.0, ms(change.at), PENDING_MAX],
        )
        .map_err(failed)?;
    if held > 0 {
        note_deployment(c, change, Action::DeploymentHeld, registration, deployment)
    } else {
        Ok(())
    }
}

pub(super) fn pending(c: &Connection) -> Result<Vec<PendingDeployment>, StorageError> {
    c.prepare_cached("SELECT * FROM pending_deployments ORDER BY first_seen_at, registration, deployment")
        .and_then(|mut select| {
            select
                .query_map([], |row| {
                    Ok(PendingDeployment {
                        registration: RegistrationId(row.get("registration")?),
                        deployment: DeploymentId(row.get("deployment")?),
                        first_seen_at: time(row, "first_seen_at")?,
                        last_seen_at: time(row, "last_seen_at")?,
                    })
                })?
                .collect()
        })
        .map_err(failed)
}

pub(super) fn approve(
    c: &Connection,
    registration: RegistrationId,
    deployment: &DeploymentId,
    change: &Change,
) -> Result<bool, StorageError> {
    let waited = c
        .execute(
            "DELETE FROM pending_deployments WHERE registration = ?1 AND deployment = ?2",
            params![registration.0, deployment.0],
        )
        .map_err(failed)?;
    if waited == 0 {
        return Ok(false);
    }
    c.execute(
        "INSERT INTO deployments (registration, deployment) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        params![registration.0, deployment.0],
    )
    .map_err(failed)?;
    note_deployment(c, change, Action::DeploymentApproved, registration, deployment)?;
    Ok(true)
}

fn note_deployment(
    c: &Connection,
    change: &Change,
    action: Action,
    registration: RegistrationId,
    deployment: &DeploymentId,
) -> Result<(), StorageError> {
    let subject = Subject { registration: Some(registration), ..Subject::default() };
    audit::note(c, change, action, &subject, &format!("deployment {deployment}"))
}

fn find(c: &Connection, sql: &str, by: &str, now: Timestamp) -> Result<InvitationState, StorageError> {
    use super::connection::OptionalExtension as _;
    let found: Option<(Invitation, Option<i64>)> = c
        .prepare_cached(sql)
        .and_then(|mut select| {
            select.query_row([by], |row| Ok((read(row)?, row.get("held_until")?))).optional()
        })
        .map_err(failed)?;
    let Some((invitation, held_until)) = found else { return Ok(InvitationState::Unknown) };
    Ok(if invitation.used_at.is_some() {
        InvitationState::Used
    } else if invitation.revoked_at.is_some() {
        InvitationState::Revoked
    } else if invitation.expires_at <= now {
        InvitationState::Expired
    } else if held_until.is_some_and(|until| ms(now) < until) {
        InvitationState::Held
    } else {
        InvitationState::Open(invitation)
    })
}

fn read(row: &Row<'_>) -> SqlResult<Invitation> {
    let maybe = |column| Ok::<_, SqlError>(row.get::<_, Option<i64>>(column)?.map(whole_milliseconds));
    Ok(Invitation {
        id: row.get("id")?,
        secret: Fingerprint(row.get("secret")?),
        note: row.get("note")?,
        created_at: time(row, "created_at")?,
        expires_at: time(row, "expires_at")?,
        revoked_at: maybe("revoked_at")?,
        used_at: maybe("used_at")?,
        registration: row.get::<_, Option<i64>>("registration")?.map(RegistrationId),
    })
}
