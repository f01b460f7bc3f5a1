//! A launch: what it is checked against, and all that it writes.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension, values};
use super::row::failed;
use super::{frame_origins, launches, people, platforms, pools};
use crate::storage::{
    AnsweredLogin, Fingerprint, GradeEndpoint, KnownPlatform, LinkOpening, NewPlacement, Opened, Opening,
    Opens, Placement, PlatformFrames, PoolId, Registration, SeenLogin, SessionPurpose, StorageError,
    TakenState,
};

/// The platforms of each issuer. A class comes from one, which is read once.
pub(super) fn known_platforms(
    c: &Connection,
    issuers: &[String],
) -> Result<Vec<Vec<KnownPlatform>>, StorageError> {
    let mut known = BTreeMap::new();
    for issuer in issuers {
        if !known.contains_key(issuer) {
            known.insert(issuer, with_frames(c, platforms::of_issuer(c, issuer)?)?);
        }
    }
    Ok(issuers.iter().map(|issuer| known[issuer].clone()).collect())
}

/// What each launch with a state is checked against.
pub(super) fn answered_logins(
    c: &Connection,
    asked: &[(Fingerprint, Timestamp)],
) -> Result<Vec<Option<AnsweredLogin>>, StorageError> {
    let sets = asked.iter().map(|(state, _)| values![state.0]).collect();
    let logins = c.query_each(launches::STATE, sets, launches::read_used).map_err(failed)?;
    let mut known = BTreeMap::new();
    let answered = asked.iter().zip(logins).map(|((_, now), found)| {
        let Some((used, login)) = found.into_iter().next() else { return Ok(None) };
        let seen = SeenLogin { open: !used && login.expires_at > *now, login };
        let platform = match known.entry(seen.login.registration) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => {
                let registration = platforms::by_id(c, *new.key())?;
                new.insert(with_frames(c, registration.into_iter().collect())?.pop())
            }
        };
        Ok(platform.clone().map(|KnownPlatform { registration, frames }| AnsweredLogin {
            seen,
            registration,
            frames,
        }))
    });
    answered.collect()
}

fn with_frames(c: &Connection, registrations: Vec<Registration>) -> Result<Vec<KnownPlatform>, StorageError> {
    let with_frames = |registration: Registration| {
        let platform = &registration.platform;
        let further = frame_origins::of(c, registration.id)?;
        let frames = PlatformFrames::new(&platform.issuer, &platform.authorization_url, further);
        Ok(KnownPlatform { registration, frames })
    };
    registrations.into_iter().map(with_frames).collect()
}

pub(super) fn open(c: &Connection, opening: &Opening) -> Result<Opened, StorageError> {
    match launches::take_state(c, &opening.login, opening.now)? {
        TakenState::Fresh(_) => {}
        taken => return Ok(Opened::Not(taken)),
    }
    let purpose = match &opening.opens {
        Opens::Placing(request) => SessionPurpose::Placing { request: request.clone() },
        Opens::Link(link) => match put_quiz(c, link)? {
            Quiz::At(placement) => {
                pools::refresh_windows(c, &placement, &link.windows)?;
                people::note_launch(c, &placement.id, &link.member, link.roster.as_ref())?;
                link.purpose(placement.id)
            }
            Quiz::None => return Ok(Opened::NoQuiz),
            Quiz::WithoutPool => return Ok(Opened::NoPool),
        },
    };
    let session = (opening.session)(purpose);
    match &opening.ticket {
        Some(ticket) => launches::add_session_with_ticket(c, &session, ticket)?,
        None => launches::add_session(c, &session)?,
    }
    Ok(Opened::Session(session))
}

/// The quiz of a link.
enum Quiz {
    At(Box<Placement>),
    None,
    WithoutPool,
}

/// Makes the link's placement at the first launch; later ones refresh it where they say something new.
fn put_quiz(c: &Connection, link: &LinkOpening) -> Result<Quiz, StorageError> {
    let known = pools::placement_of(c, &link.link)?;
    let Some(new) = (link.quiz)(known.as_ref().map(|known| known.quiz.clone())) else {
        return Ok(Quiz::None);
    };
    // The pool of a quiz that is placed stays.
    let new = if known.is_some() && !new.title.is_empty() {
        new
    } else {
        let Some(pool_title) = title_of(c, &new.pool)? else { return Ok(Quiz::WithoutPool) };
        let title = if new.title.is_empty() { pool_title } else { new.title.clone() };
        NewPlacement { title, ..new }
    };
    let placement = match known {
        Some(known) if says_nothing_new(&known.quiz, &new) => known,
        _ => pools::put_placement(c, &new)?,
    };
    Ok(Quiz::At(Box::new(placement)))
}

fn title_of(c: &Connection, pool: &PoolId) -> Result<Option<String>, StorageError> {
    c.query_row("SELECT title FROM pools WHERE id = ?1", [&pool.0], |row| row.get("title"))
        .optional()
        .map_err(failed)
}

/// Whether a later launch leaves a placement as it is; see [`pools::put_placement`].
fn says_nothing_new(known: &NewPlacement, new: &NewPlacement) -> bool {
    let item = |quiz: &NewPlacement| quiz.grades.as_ref().and_then(|grades| grades.line_item.clone());
    let rest =
        |quiz: &NewPlacement| quiz.grades.clone().map(|grades| GradeEndpoint { line_item: None, ..grades });
    known.title == new.title
        && known.context == new.context
        && rest(known) == rest(new)
        && (item(new).is_none() || item(new) == item(known))
}
