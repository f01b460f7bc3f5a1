//! What pupils' requests to quizzes read: for all who ask together, one statement a table.

use std::collections::{BTreeMap, BTreeSet};

use url::Url;

use super::connection::{Connection, values};
use super::row::{failed, ms, parsed};
use super::{attempts, launches, overrides, pools};
use crate::storage::{
    Asked, Attempt, Placement, PlacementId, PlatformFrames, RegistrationId, SessionRecord, StorageError,
    UserId, Visit, VisitAsked,
};

/// Makes a visit for each who asks.
pub(super) fn visit(c: &Connection, all: &[VisitAsked]) -> Result<Vec<Visit>, StorageError> {
    let sessions = sessions(c, all)?;
    let quizzes = placements(c, all.iter().map(|asked| &asked.placement).collect())?;
    let begun = all.iter().zip(sessions).map(|(asked, session)| {
        let placement = quizzes.get(&asked.placement).cloned();
        Visit { session, placement, ..Visit::default() }
    });
    let mut visits: Vec<Visit> = begun.collect();
    let frames = frames_of(c, visits.iter().filter_map(platform).collect())?;
    for visit in &mut visits {
        visit.frames = platform(visit).and_then(|platform| frames.get(&platform).cloned());
    }
    let pupils: Vec<Pupil<'_>> = visits.iter().zip(all).enumerate().filter_map(Pupil::of).collect();
    let extra = extra_attempts(c, &pupils)?;
    let attempts = attempts_of(c, &pupils)?;
    let places: Vec<usize> = pupils.iter().map(|pupil| pupil.place).collect();
    for ((place, extra), attempts) in places.into_iter().zip(extra).zip(attempts) {
        visits[place].extra_attempts = extra;
        visits[place].attempts = attempts;
    }
    Ok(visits)
}

fn sessions(c: &Connection, all: &[VisitAsked]) -> Result<Vec<Option<SessionRecord>>, StorageError> {
    let id = |asked: &VisitAsked| asked.session.as_ref().map(|id| id.0.clone());
    let sets = all.iter().map(|asked| values![id(asked), ms(asked.now)]).collect();
    let found = c.query_each(launches::SESSION, sets, launches::read_session).map_err(failed)?;
    Ok(found.into_iter().map(|rows| rows.into_iter().next()).collect())
}

/// A class asks for one quiz.
fn placements(
    c: &Connection,
    ids: BTreeSet<&PlacementId>,
) -> Result<BTreeMap<PlacementId, Placement>, StorageError> {
    let sets = ids.into_iter().map(|id| values![id.0]).collect();
    let found = c.query_each(pools::PLACEMENT, sets, pools::read).map_err(failed)?;
    Ok(found.into_iter().flatten().map(|placement| (placement.id.clone(), placement)).collect())
}

/// The platform whose pages may show the answer: that of the session or, without one, that of the quiz.
fn platform(visit: &Visit) -> Option<RegistrationId> {
    let of_quiz = || visit.placement.as_ref().map(|placement| placement.quiz.link.registration);
    visit.session.as_ref().map(|session| session.registration).or_else(of_quiz)
}

/// The pages of these platforms.
pub(super) fn frames_of(
    c: &Connection,
    platforms: BTreeSet<RegistrationId>,
) -> Result<BTreeMap<RegistrationId, PlatformFrames>, StorageError> {
    let sets = platforms.iter().map(|platform| values![platform.0]).collect();
    let known = c
        .query_each(
            "SELECT r.issuer, r.authorization_url, o.origin
             FROM registrations r LEFT JOIN frame_origins o ON o.registration = r.id WHERE r.id = ?1",
            sets,
            |row| {
                let (issuer, authorization_url) = (row.get("issuer")?, parsed(row, "authorization_url")?);
                Ok((issuer, authorization_url, row.get("origin")?))
            },
        )
        .map_err(failed)?;
    // A row for each further origin; one without if there is none.
    let frames = |rows: Vec<(String, Url, Option<String>)>| {
        let further = rows.iter().filter_map(|(.., origin)| origin.clone()).collect();
        let (issuer, authorization_url, _) = rows.into_iter().next()?;
        Some(PlatformFrames::new(&issuer, &authorization_url, further))
    };
    let known = platforms.into_iter().zip(known);
    Ok(known.filter_map(|(platform, rows)| Some((platform, frames(rows)?))).collect())
}

/// A visit with a quiz and a person, who may have attempts at it.
struct Pupil<'a> {
    place: usize,
    placement: PlacementId,
    user: UserId,
    asked: &'a Asked,
}

impl<'a> Pupil<'a> {
    fn of((place, (visit, asked)): (usize, (&Visit, &'a VisitAsked))) -> Option<Self> {
        let placement = visit.placement.as_ref()?.id.clone();
        let user = visit.session.as_ref()?.user.clone()?;
        Some(Self { place, placement, user, asked: &asked.attempts })
    }
}

fn extra_attempts(c: &Connection, pupils: &[Pupil<'_>]) -> Result<Vec<u32>, StorageError> {
    let sets = pupils.iter().map(|pupil| values![pupil.placement.0, pupil.user.0]).collect();
    let found = c.query_each(overrides::EXTRA, sets, overrides::read_extra).map_err(failed)?;
    Ok(found.into_iter().map(|rows| rows.into_iter().next().unwrap_or_default()).collect())
}

fn attempts_of(c: &Connection, pupils: &[Pupil<'_>]) -> Result<Vec<Vec<Attempt>>, StorageError> {
    let (mut one, mut all) = (Vec::new(), Vec::new());
    for pupil in pupils {
        match pupil.asked {
            Asked::One(id) => one.push(values![id.0]),
            Asked::All => all.push(values![pupil.placement.0, pupil.user.0]),
        }
    }
    let mut one = c.query_each(attempts::ONE, one, attempts::read).map_err(failed)?.into_iter();
    let mut all = c.query_each(attempts::OF_USER, all, attempts::read).map_err(failed)?.into_iter();
    let attempts = pupils.iter().map(|pupil| {
        let found = match pupil.asked {
            Asked::One(_) => one.next(),
            Asked::All => all.next(),
        };
        let own = |attempt: &Attempt| attempt.placement == pupil.placement && attempt.user == pupil.user;
        found.into_iter().flatten().filter(own).collect()
    });
    Ok(attempts.collect())
}
