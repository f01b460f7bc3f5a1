//! What is held on people: found for an export, and deleted.
//!
//! Every table with a column `user` must be covered here; a test reads the schema and fails for one that is not.

use super::connection::{Connection, ToValue, params};
use super::row::{failed, ms};
use super::{attempts, audit, launches, outbox, overrides, people, platforms, pools};
use crate::storage::{
    Action, Change, Held, HeldQuiz, HeldSession, PurgeCounts, PurgeScope, Purged, RegistrationId,
    SessionPurpose, StorageError, Subject, UserId, WaitingGrades,
};

/// Tables that hold rows of a person at a quiz, in the order of deletion.
const AT_QUIZZES: [&str; 5] = ["attempts", "outbox", "members", "extra_attempts", "sheets"];

pub(super) fn held(
    c: &Connection,
    issuer: &str,
    user: &UserId,
    change: &Change,
) -> Result<Held, StorageError> {
    let registrations: Vec<RegistrationId> =
        platforms::of_issuer(c, issuer)?.into_iter().map(|registration| registration.id).collect();
    let mut held = Held { quizzes: Vec::new(), sessions: Vec::new(), audit: Vec::new() };
    let mut placements = pools::placements(c)?;
    placements.reverse();
    for placement in placements {
        if !registrations.contains(&placement.quiz.link.registration) {
            continue;
        }
        let quiz = HeldQuiz {
            attempts: attempts::all_of_user(c, &placement.id, user)?,
            member: people::members(c, &placement.id)?.into_iter().find(|member| member.user == *user),
            grade: outbox::of_user(c, &placement.id, user)?,
            extra_attempts: overrides::extra_of(c, &placement.id, user)?,
            placement,
        };
        let extra = quiz.extra_attempts > 0;
        if !quiz.attempts.is_empty() || quiz.member.is_some() || quiz.grade.is_some() || extra {
            held.quizzes.push(quiz);
        }
    }
    for registration in registrations {
        held.sessions.extend(sessions(c, registration, user)?);
        held.audit.extend(audit::naming(c, registration, user)?);
    }
    let registration = platforms::of_issuer(c, issuer)?.first().map(|registration| registration.id);
    let subject = Subject { registration, ..Subject::default() };
    audit::note(c, change, Action::PersonExported, &subject, "one person")?;
    Ok(held)
}

fn sessions(
    c: &Connection,
    registration: RegistrationId,
    user: &UserId,
) -> Result<Vec<HeldSession>, StorageError> {
    let records = launches::sessions_of(c, registration, user)?;
    let session = |record: crate::storage::SessionRecord| {
        let (purpose, placement) = match record.purpose {
            SessionPurpose::Quiz { placement, .. } => ("quiz", Some(placement)),
            SessionPurpose::Class { placement } => ("class", Some(placement)),
            SessionPurpose::Placing { .. } => ("placing", None),
        };
        HeldSession { purpose, placement, registration, expires_at: record.expires_at }
    };
    Ok(records.into_iter().map(session).collect())
}

/// A grade that the gradebook should have and has not. Beginnings and resets are no grades, and a teacher who kept another
/// mark has decided.
const UNSENT: &str = "progress = 'graded' AND state NOT IN ('delivered', 'kept')";

pub(super) fn purge(
    c: &Connection,
    scope: &PurgeScope,
    waiting: WaitingGrades,
    dry_run: bool,
    change: &Change,
) -> Result<Purged, StorageError> {
    // No pupil hands in, and no grade becomes one that waits, between counting and deleting.
    c.take_tables("attempts, outbox").map_err(failed)?;
    let purged = match select_people(c, scope)? {
        Some(problem) => problem,
        None => purge_selected(c, scope, waiting, dry_run, change)?,
    };
    // The list itself names people.
    execute(c, "DROP TABLE purged")?;
    Ok(purged)
}

fn purge_selected(
    c: &Connection,
    scope: &PurgeScope,
    waiting: WaitingGrades,
    dry_run: bool,
    change: &Change,
) -> Result<Purged, StorageError> {
    let unsent =
        count(c, &format!("SELECT count(*) FROM outbox JOIN purged USING (placement, user) WHERE {UNSENT}"))?;
    match waiting {
        WaitingGrades::Refuse if unsent > 0 => return Ok(Purged::GradesWaiting(unsent)),
        WaitingGrades::Keep => {
            execute(
                c,
                &format!(
                    "DELETE FROM purged WHERE EXISTS (SELECT 1 FROM outbox
                        WHERE outbox.placement = purged.placement AND outbox.user = purged.user AND {UNSENT})"
                ),
            )?;
        }
        WaitingGrades::Refuse | WaitingGrades::Delete => {}
    }
    // Deleting inside a savepoint is the one way to count that cannot differ from deleting.
    execute(c, "SAVEPOINT purge")?;
    let counts = delete(c, scope)?;
    if dry_run {
        execute(c, "ROLLBACK TO purge")?;
    }
    execute(c, "RELEASE purge")?;
    if !dry_run && counts != PurgeCounts::default() {
        note(c, scope, counts, change)?;
    }
    Ok(Purged::Done { counts, waiting: unsent })
}

/// Fills the temporary table `purged` with person and quiz, or tells why the scope means nobody.
fn select_people(c: &Connection, scope: &PurgeScope) -> Result<Option<Purged>, StorageError> {
    execute(
        c,
        "DROP TABLE IF EXISTS purged; CREATE TEMP TABLE purged AS SELECT placement, user FROM attempts WHERE 1 = 0",
    )?;
    let at_quizzes = AT_QUIZZES
        .map(|table| format!("SELECT placement, user FROM {table} WHERE user IS NOT NULL"))
        .join(" UNION ");
    let select = |condition: &str| {
        format!(
            "INSERT INTO purged SELECT held.placement, held.user FROM ({at_quizzes}) AS held
             JOIN placements p ON p.id = held.placement JOIN registrations r ON r.id = p.registration
             WHERE {condition}"
        )
    };
    let issuer = match scope {
        PurgeScope::Pupil { issuer, .. }
        | PurgeScope::Course { issuer, .. }
        | PurgeScope::Platform { issuer } => Some(issuer),
        PurgeScope::Before(_) => None,
    };
    if let Some(issuer) = issuer
        && platforms::of_issuer(c, issuer)?.is_empty()
    {
        return Ok(Some(Purged::NoPlatform));
    }
    match scope {
        PurgeScope::Pupil { issuer, user } => {
            c.execute(&select("r.issuer = ?1 AND held.user = ?2"), params![issuer, user.0])
        }
        PurgeScope::Platform { issuer } => c.execute(&select("r.issuer = ?1"), params![issuer]),
        PurgeScope::Course { issuer, deployment, context } => {
            let deployments: u32 = c
                .query_row(
                    "SELECT count(DISTINCT p.registration || ' ' || p.deployment)
                     FROM placements p JOIN registrations r ON r.id = p.registration
                     WHERE r.issuer = ?1 AND p.context = ?2 AND (p.deployment = ?3 OR ?3 IS NULL)",
                    params![issuer, context.0, deployment.as_ref().map(|id| &id.0)],
                    |row| row.get(0),
                )
                .map_err(failed)?;
            if deployments > 1 {
                return Ok(Some(Purged::SeveralCourses));
            }
            c.execute(
                &select("r.issuer = ?1 AND p.context = ?2 AND (p.deployment = ?3 OR ?3 IS NULL)"),
                params![issuer, context.0, deployment.as_ref().map(|id| &id.0)],
            )
        }
        PurgeScope::Before(time) => c.execute(
            &select(
                "?1 > coalesce((SELECT max(coalesce(a.submitted_at, a.started_at)) FROM attempts a
                        WHERE a.placement = held.placement AND a.user = held.user),
                    (SELECT m.seen_at FROM members m WHERE m.placement = held.placement AND m.user = held.user), ?1)",
            ),
            params![ms(*time)],
        ),
    }
    .map_err(failed)?;
    Ok(None)
}

fn delete(c: &Connection, scope: &PurgeScope) -> Result<PurgeCounts, StorageError> {
    let people = count(c, "SELECT count(*) FROM purged")?;
    // Sessions first: which ones are meant may hang on the placements of the people.
    let sessions = delete_sessions(c, scope)?;
    let audit = unname(c, scope)?;
    let mut deleted = [0; AT_QUIZZES.len()];
    for (table, count) in AT_QUIZZES.into_iter().zip(&mut deleted) {
        *count = execute_counted(
            c,
            &format!("DELETE FROM {table} WHERE (placement, user) IN (SELECT placement, user FROM purged)"),
        )?;
    }
    // How many attempts a pupil may have is no more than a setting beside the attempts, and a sheet without its person says
    // nothing of anybody; neither is counted.
    let [attempts, grades, members, _extra, _sheets] = deleted;
    Ok(PurgeCounts { people, attempts, grades, sessions, members, audit })
}

/// Sessions end after some hours and are then forgotten anyway; these are those that are left.
fn delete_sessions(c: &Connection, scope: &PurgeScope) -> Result<usize, StorageError> {
    let of_issuer = "registration IN (SELECT id FROM registrations WHERE issuer = ?1)";
    match scope {
        PurgeScope::Pupil { issuer, user } => c.execute(
            &format!("DELETE FROM sessions WHERE {of_issuer} AND user = ?2"),
            params![issuer, user.0],
        ),
        PurgeScope::Platform { issuer } => {
            c.execute(&format!("DELETE FROM sessions WHERE {of_issuer}"), params![issuer])
        }
        PurgeScope::Course { .. } => c.execute(
            "DELETE FROM sessions WHERE (purpose ->> 'placement', user) IN
                (SELECT placement, user FROM purged)",
            [],
        ),
        PurgeScope::Before(time) => {
            c.execute("DELETE FROM sessions WHERE expires_at < ?1", params![ms(*time)])
        }
    }
    .map_err(failed)
}

/// Takes the names of persons out of the trail; the entries stay.
fn unname(c: &Connection, scope: &PurgeScope) -> Result<usize, StorageError> {
    // A person is meant as the subject of an entry, as its actor, or as both. Entries about a platform are found by its
    // number, entries about a quiz by the quiz's platform.
    let of_issuer = "(entry.registration IN (SELECT id FROM registrations WHERE issuer = ?1)
        OR entry.placement IN (SELECT p.id FROM placements p JOIN registrations r ON r.id = p.registration
                               WHERE r.issuer = ?1)
        OR CAST(entry.actor ->> 'registration' AS BIGINT) IN (SELECT id FROM registrations WHERE issuer = ?1))";
    let condition = |named: &str| match scope {
        PurgeScope::Pupil { .. } => format!("{of_issuer} AND {named} = ?2"),
        PurgeScope::Platform { .. } => of_issuer.to_owned(),
        PurgeScope::Course { .. } => {
            format!("(entry.placement, {named}) IN (SELECT placement, user FROM purged)")
        }
        PurgeScope::Before(_) => "entry.at < ?1".to_owned(),
    };
    let meant = match scope {
        PurgeScope::Pupil { issuer, user } => vec![issuer.to_value(), user.0.to_value()],
        PurgeScope::Platform { issuer } => vec![issuer.to_value()],
        PurgeScope::Course { .. } => Vec::new(),
        PurgeScope::Before(time) => vec![ms(*time).to_value()],
    };
    let subjects = format!(
        "UPDATE audit AS entry SET user = NULL WHERE entry.user IS NOT NULL AND {}",
        condition("entry.user")
    );
    let subjects = c.execute(&subjects, meant.clone()).map_err(failed)?;
    let actors = format!(
        "SELECT entry.id, entry.actor FROM audit AS entry WHERE entry.actor ->> 'user' IS NOT NULL AND {}",
        condition("entry.actor ->> 'user'")
    );
    let actors = c
        .query(&actors, meant, |row| Ok((row.get::<_, i64>("id")?, row.get::<_, String>("actor")?)))
        .map_err(failed)?;
    for (id, actor) in &actors {
        c.execute("UPDATE audit SET actor = ?2 WHERE id = ?1", params![*id, nameless(actor)?])
            .map_err(failed)?;
    }
    Ok(subjects + actors.len())
}

/// An actor as stored, without the person.
fn nameless(actor: &str) -> Result<String, StorageError> {
    let unreadable = |error: serde_json::Error| StorageError::Unreadable {
        table: "audit",
        column: "actor",
        problem: error.to_string(),
    };
    let mut actor: serde_json::Value = serde_json::from_str(actor).map_err(unreadable)?;
    actor["user"] = serde_json::Value::Null;
    Ok(actor.to_string())
}

fn note(
    c: &Connection,
    scope: &PurgeScope,
    counts: PurgeCounts,
    change: &Change,
) -> Result<(), StorageError> {
    let (action, issuer, whose) = match scope {
        PurgeScope::Pupil { issuer, .. } => (Action::PersonPurged, Some(issuer), "one person".to_owned()),
        PurgeScope::Course { issuer, context, .. } => {
            (Action::CoursePurged, Some(issuer), format!("course {}", crate::shorten(context.as_str(), 80)))
        }
        PurgeScope::Platform { issuer } => (Action::PlatformPurged, Some(issuer), "the platform".to_owned()),
        PurgeScope::Before(time) => (Action::OldDataPurged, None, format!("nothing done since {time}")),
    };
    let registration = match issuer {
        Some(issuer) => platforms::of_issuer(c, issuer)?.first().map(|registration| registration.id),
        None => None,
    };
    let PurgeCounts { people, attempts, grades, sessions, members, audit: entries } = counts;
    let detail = format!(
        "{whose}: {people} people at quizzes, {attempts} attempts, {grades} grades, {sessions} sessions, \
         {members} entries of class lists deleted, {entries} entries of the trail name nobody any more"
    );
    audit::note(c, change, action, &Subject { registration, ..Subject::default() }, &detail)
}

fn count(c: &Connection, sql: &str) -> Result<usize, StorageError> {
    let counted: u32 = c.query_row(sql, [], |row| row.get(0)).map_err(failed)?;
    Ok(usize::try_from(counted).unwrap_or(usize::MAX))
}

fn execute(c: &Connection, sql: &str) -> Result<(), StorageError> {
    c.execute_batch(sql).map_err(failed)
}

fn execute_counted(c: &Connection, sql: &str) -> Result<usize, StorageError> {
    c.execute(sql, []).map_err(failed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A table that names people and is not deleted from would keep them for ever.
    #[test]
    fn every_table_that_names_a_person_is_covered() {
        let connection = super::super::sqlite::empty_in_memory();
        super::super::schema::migrate(&connection).unwrap();
        let tables = connection
            .query(
                "SELECT t.name FROM pragma_table_list t JOIN pragma_table_info(t.name) c
                 WHERE t.schema = 'main' AND c.name = 'user' ORDER BY t.name",
                [],
                |row| row.get::<_, String>("name"),
            )
            .unwrap();
        let mut covered: Vec<&str> = AT_QUIZZES.into_iter().chain(["audit", "sessions"]).collect();
        covered.sort_unstable();
        assert_eq!(tables, covered);
    }
}
