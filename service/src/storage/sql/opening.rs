//! A launch: what it is checked against, and all that it writes.

use jiff::Timestamp;

use super::connection::{Connection, OptionalExtension};
use super::row::failed;
use super::{launches, people, platforms, pools, visits};
use crate::storage::{
    AnsweredLogin, Fingerprint, GradeEndpoint, LinkOpening, NewPlacement, Opened, Opening, Opens,
    PlacementId, PoolId, SessionPurpose, StorageError, TakenState,
};

pub(super) fn answered_login(
    c: &Connection,
    state: &Fingerprint,
    now: Timestamp,
) -> Result<Option<AnsweredLogin>, StorageError> {
    let Some(seen) = launches::seen_login(c, state, now)? else { return Ok(None) };
    let platform = seen.login.registration;
    let frames = visits::frames_of(c, [platform].into())?.remove(&platform);
    let registration = platforms::by_id(c, platform)?;
    Ok(registration.zip(frames).map(|(registration, frames)| AnsweredLogin { seen, registration, frames }))
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
                people::note_launch(c, &placement, &link.member, link.roster.as_ref())?;
                link.purpose(placement)
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
    At(PlacementId),
    None,
    WithoutPool,
}

/// Makes the link's placement at the first launch; later ones refresh it where they say something new.
fn put_quiz(c: &Connection, link: &LinkOpening) -> Result<Quiz, StorageError> {
    let known = pools::placement_of(c, &link.link)?;
    let Some(new) = (link.quiz)(known.as_ref().map(|known| known.quiz.clone())) else {
        return Ok(Quiz::None);
    };
    let Some(pool_title) = title_of(c, &new.pool)? else { return Ok(Quiz::WithoutPool) };
    let title = if new.title.is_empty() { pool_title } else { new.title.clone() };
    let new = NewPlacement { title, ..new };
    match known {
        Some(known) if says_nothing_new(&known.quiz, &new) => Ok(Quiz::At(known.id)),
        _ => Ok(Quiz::At(pools::put_placement(c, &new)?.id)),
    }
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
