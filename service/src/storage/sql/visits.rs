//! What a pupil's request to a quiz reads, in one step.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, params};
use super::row::{failed, parsed};
use super::{attempts, frame_origins, launches, overrides, pools};
use crate::storage::{
    Asked, Attempt, Fingerprint, PlacementId, PlatformFrames, RegistrationId, SessionRecord, StorageError,
    UserId, Visit,
};

pub(super) fn visit(
    c: &Connection,
    session: Option<&Fingerprint>,
    placement: &PlacementId,
    asked: &Asked,
    now: Timestamp,
) -> Result<Visit, StorageError> {
    let session = match session {
        Some(id) => launches::session(c, id, now)?,
        None => None,
    };
    let placement = pools::placement(c, placement)?;
    let of_quiz = || placement.as_ref().map(|placement| placement.quiz.link.registration);
    let platform = session.as_ref().map(|session| session.registration).or_else(of_quiz);
    let mut visit = Visit {
        frames: platform.map(|platform| frames(c, platform)).transpose()?.flatten(),
        ..Visit::default()
    };
    let person = session.as_ref().and_then(|session: &SessionRecord| session.user.as_ref());
    if let (Some(placement), Some(person)) = (&placement, person) {
        visit.extra_attempts = overrides::extra_of(c, &placement.id, person)?;
        visit.attempts = attempts_of(c, &placement.id, person, asked)?;
    }
    Ok(Visit { session, placement, ..visit })
}

fn attempts_of(
    c: &Connection,
    placement: &PlacementId,
    person: &UserId,
    asked: &Asked,
) -> Result<Vec<Attempt>, StorageError> {
    Ok(match asked {
        Asked::All => attempts::of_user(c, placement, person)?,
        Asked::One(id) => {
            let own = |attempt: &Attempt| attempt.placement == *placement && attempt.user == *person;
            attempts::by_id(c, id)?.filter(own).into_iter().collect()
        }
    })
}

/// The pages of a platform.
pub(super) fn frames(
    c: &Connection,
    platform: RegistrationId,
) -> Result<Option<PlatformFrames>, StorageError> {
    let known = c
        .query_row(
            "SELECT issuer, authorization_url FROM registrations WHERE id = ?1",
            params![platform.0],
            |row| Ok((row.get("issuer")?, parsed(row, "authorization_url")?)),
        )
        .optional()
        .map_err(failed)?;
    let Some((issuer, authorization_url)) = known else { return Ok(None) };
    Ok(Some(PlatformFrames { issuer, authorization_url, further: frame_origins::of(c, platform)? }))
}
