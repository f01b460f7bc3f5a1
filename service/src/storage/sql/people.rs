//! The people of a placement's course, and where the platform lists them.

use std::collections::BTreeSet;

use jiff::Timestamp;
use url::Url;

use super::connection::{Connection, OptionalExtension, Row, SqlResult, params};
use super::row::{failed, ms, parsed, parsed_if_any, time};
use crate::clock::whole_milliseconds;
use crate::storage::{
    Member, OverdueAttempt, Part, PersonName, PlacementId, Roster, RosterReading, StorageError, UserId,
};

/// Remembers that a launch named this person, and where the platform lists the course, if it said so.
pub(super) fn note_launch(
    c: &Connection,
    placement: &PlacementId,
    member: &Member,
    roster: Option<&Url>,
) -> Result<(), StorageError> {
    put_member(c, placement, member, false)?;
    if let Some(url) = roster {
        // Differences belong to the list that named them.
        c.prepare_cached(
            "INSERT INTO rosters (placement, url) VALUES (?1, ?2)
             ON CONFLICT (placement) DO UPDATE SET url = excluded.url, differences = NULL
             WHERE rosters.url <> excluded.url",
        )
        .and_then(|mut insert| insert.execute(params![placement.0, url.as_str()]))
        .map_err(failed)?;
    }
    Ok(())
}

/// Of the people that only a list names, no more is kept than needed: the pupils. A preview user stays one whatever the
/// list says, for only launches tell.
fn put_member(
    c: &Connection,
    placement: &PlacementId,
    member: &Member,
    listed: bool,
) -> Result<(), StorageError> {
    c.prepare_cached(
        "INSERT INTO members (placement, user, part, status, name, listed, seen_at)
         SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7
         WHERE ?8 = 1 OR EXISTS (SELECT 1 FROM members WHERE placement = ?1 AND user = ?2)
         ON CONFLICT (placement, user) DO UPDATE SET
            part = CASE WHEN excluded.listed = 1 AND members.part = 'preview' THEN members.part ELSE excluded.part END,
            status = excluded.status, name = coalesce(excluded.name, members.name),
            listed = CASE WHEN members.listed = 1 THEN 1 ELSE excluded.listed END, seen_at = excluded.seen_at",
    )
    .and_then(|mut insert| {
        insert.execute(params![
            placement.0,
            member.user.0,
            member.part.name(),
            member.status.name(),
            member.name.as_ref().map(PersonName::shown),
            listed,
            ms(member.seen_at),
            !listed || member.part == Part::Pupil
        ])
    })
    .map_err(failed)?;
    Ok(())
}

pub(super) fn members(c: &Connection, placement: &PlacementId) -> Result<Vec<Member>, StorageError> {
    c.prepare_cached("SELECT * FROM members WHERE placement = ?1 ORDER BY user")
        .and_then(|mut select| select.query_map([&placement.0], read_member)?.collect())
        .map_err(failed)
}

pub(super) fn read_member(row: &Row<'_>) -> SqlResult<Member> {
    Ok(Member {
        user: UserId(row.get("user")?),
        part: parsed(row, "part")?,
        status: parsed(row, "status")?,
        name: row.get::<_, Option<String>>("name")?.map(PersonName),
        seen_at: time(row, "seen_at")?,
    })
}

pub(super) fn roster(c: &Connection, placement: &PlacementId) -> Result<Option<Roster>, StorageError> {
    c.prepare_cached("SELECT * FROM rosters WHERE placement = ?1")
        .and_then(|mut select| select.query_row([&placement.0], read_roster).optional())
        .map_err(failed)
}

fn read_roster(row: &Row<'_>) -> SqlResult<Roster> {
    Ok(Roster {
        url: parsed(row, "url")?,
        differences: parsed_if_any(row, "differences")?,
        read_at: row.get::<_, Option<i64>>("read_at")?.map(whole_milliseconds),
        problem: row.get("problem")?,
    })
}

pub(super) fn claim_roster(
    c: &Connection,
    placement: &PlacementId,
    asked_before: Timestamp,
    now: Timestamp,
) -> Result<Option<Roster>, StorageError> {
    let claimed = c
        .execute(
            "UPDATE rosters SET asked_at = ?3 WHERE placement = ?1 AND coalesce(asked_at, ?2) <= ?2",
            params![placement.0, ms(asked_before), ms(now)],
        )
        .map_err(failed)?;
    if claimed == 0 { Ok(None) } else { roster(c, placement) }
}

pub(super) fn put_roster(
    c: &Connection,
    placement: &PlacementId,
    reading: &RosterReading,
    now: Timestamp,
) -> Result<(), StorageError> {
    let (members, differences) = match reading {
        RosterReading::Failed { problem } => {
            c.execute(
                "UPDATE rosters SET problem = ?2, differences = NULL WHERE placement = ?1",
                params![placement.0, problem],
            )
            .map_err(failed)?;
            return Ok(());
        }
        RosterReading::Whole { members, differences } | RosterReading::Changes { members, differences } => {
            (members, differences)
        }
    };
    for member in members {
        put_member(c, placement, member, true)?;
    }
    if matches!(reading, RosterReading::Whole { .. }) {
        mark_gone(c, placement, members)?;
    }
    // Who left without having worked on the quiz is of no more concern.
    c.execute(
        "DELETE FROM members WHERE placement = ?1 AND status = 'deleted'
            AND NOT EXISTS (SELECT 1 FROM attempts a WHERE a.placement = ?1 AND a.user = members.user)",
        [&placement.0],
    )
    .map_err(failed)?;
    c.execute(
        "UPDATE rosters SET differences = ?2, read_at = ?3, problem = NULL WHERE placement = ?1",
        params![placement.0, differences.as_ref().map(Url::as_str), ms(now)],
    )
    .map_err(failed)?;
    Ok(())
}

/// A pupil whom a whole list does not name has left. Lists of learners name nobody else.
fn mark_gone(c: &Connection, placement: &PlacementId, listed: &[Member]) -> Result<(), StorageError> {
    let listed: BTreeSet<&UserId> = listed.iter().map(|member| &member.user).collect();
    let known = members(c, placement)?;
    for gone in known.iter().filter(|member| !listed.contains(&member.user)) {
        c.prepare_cached(
            "UPDATE members SET status = 'deleted' WHERE placement = ?1 AND user = ?2 AND part = 'pupil'",
        )
        .and_then(|mut update| update.execute(params![placement.0, gone.user.0]))
        .map_err(failed)?;
    }
    Ok(())
}

pub(super) fn forget_names(c: &Connection) -> Result<usize, StorageError> {
    c.execute("UPDATE members SET name = NULL WHERE name IS NOT NULL", []).map_err(failed)
}

pub(super) fn overdue(
    c: &Connection,
    ended_before: Timestamp,
    limit: usize,
) -> Result<Vec<OverdueAttempt>, StorageError> {
    c.prepare_cached(
        "SELECT a.*, EXISTS (SELECT 1 FROM members m
                WHERE m.placement = a.placement AND m.user = a.user AND m.part = 'preview') AS preview
         FROM placements p JOIN attempts a ON a.placement = p.id
         WHERE p.closes_at <= ?1 AND a.submitted_at IS NULL AND a.voided_at IS NULL
         ORDER BY p.closes_at, a.id LIMIT ?2",
    )
    .and_then(|mut select| {
        select
            .query_map(params![ms(ended_before), i64::try_from(limit).unwrap_or(i64::MAX)], |row| {
                Ok(OverdueAttempt { attempt: super::attempts::read(row)?, preview: row.get("preview")? })
            })?
            .collect()
    })
    .map_err(failed)
}
