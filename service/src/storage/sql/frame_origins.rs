//! Further origins whose pages may show ours in a frame.

use std::collections::BTreeSet;

use super::audit;
use super::connection::{Connection, params};
use super::row::failed;
use crate::storage::{Action, Change, RegistrationId, StorageError, Subject};

pub(super) fn set(
    c: &Connection,
    registration: RegistrationId,
    origins: &BTreeSet<String>,
    change: &Change,
) -> Result<(), StorageError> {
    if of(c, registration)? == *origins {
        return Ok(());
    }
    c.execute("DELETE FROM frame_origins WHERE registration = ?1", [registration.0]).map_err(failed)?;
    for origin in origins {
        c.execute(
            "INSERT INTO frame_origins (registration, origin) VALUES (?1, ?2)",
            params![registration.0, origin],
        )
        .map_err(failed)?;
    }
    let subject = Subject { registration: Some(registration), ..Subject::default() };
    let named: Vec<_> = origins.iter().map(String::as_str).collect();
    audit::note(c, change, Action::FrameOriginsChanged, &subject, &named.join(" "))
}

pub(super) fn of(c: &Connection, registration: RegistrationId) -> Result<BTreeSet<String>, StorageError> {
    c.prepare_cached("SELECT origin FROM frame_origins WHERE registration = ?1")
        .and_then(|mut select| select.query_map([registration.0], |row| row.get(0))?.collect())
        .map_err(failed)
}
