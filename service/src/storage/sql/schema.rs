//! The tables, as a list of migrations. A published migration is never changed; a new one is added.
//!
//! While a service is brought up to date, old and new processes work on one store. So a migration only adds: tables, columns
//! with a default, indexes. What is no longer needed goes in a later version, by a migration that names the oldest version
//! of the tables that a program may still know ([`Migration::works_with`]); older programs refuse the store from then on.
//!
//! Up to version 12 there was SQLite only. Newer migrations are written once, see [`super::dialect`].

use super::connection::{Connection, params};
use super::postgres::SCHEMA_LOCK;
use super::row::failed;
use crate::storage::StorageError;

/// One change of the tables.
struct Migration {
    sql: &'static str,
    /// Programs that know the tables of this version and later ones can go on with the changed tables.
    works_with: i64,
}

/// The first migrations of SQLite.
const FIRST_OF_SQLITE: [&str; 12] = [
    include_str!("migrations/0001_first.sql"),
    include_str!("migrations/0002_api_tokens.sql"),
    include_str!("migrations/0003_policy.sql"),
    include_str!("migrations/0004_audit.sql"),
    include_str!("migrations/0005_delivery.sql"),
    include_str!("migrations/0006_registration.sql"),
    include_str!("migrations/0007_frames.sql"),
    include_str!("migrations/0008_people.sql"),
    include_str!("migrations/0009_layout.sql"),
    include_str!("migrations/0010_overrides.sql"),
    include_str!("migrations/0011_sheets.sql"),
    include_str!("migrations/0012_ahead.sql"),
];

/// The same tables in PostgreSQL.
const FIRST_OF_POSTGRES: &str = include_str!("migrations/0012_postgres.sql");

/// Migrations of both from version 13 on.
const NEXT: [Migration; 4] = [
    Migration { sql: include_str!("migrations/0013_processes.sql"), works_with: 12 },
    Migration { sql: include_str!("migrations/0014_jobs.sql"), works_with: 12 },
    Migration { sql: include_str!("migrations/0015_due_by_platform.sql"), works_with: 12 },
    Migration { sql: include_str!("migrations/0016_stopped.sql"), works_with: 12 },
];

const FIRST_SHARED: i64 = 12;

/// The version of the tables that this program knows.
fn known() -> i64 {
    FIRST_SHARED + i64::try_from(NEXT.len()).expect("a handful of migrations")
}

/// Brings the tables up to date, each migration in a transaction of its own.
pub(super) fn migrate(c: &Connection) -> Result<(), StorageError> {
    let begin = match c {
        // Immediate: of two processes that open a new file, one waits until the other has made the tables.
        Connection::Sqlite(_) => "BEGIN IMMEDIATE",
        Connection::Postgres(_) => "BEGIN",
    };
    loop {
        c.execute_batch(begin).map_err(failed)?;
        let stepped = step(c);
        let end = if stepped.is_ok() { "COMMIT" } else { "ROLLBACK" };
        c.execute_batch(end).map_err(failed)?;
        if stepped? {
            return Ok(());
        }
    }
}

/// Makes the next change; true when there was nothing left to do.
fn step(c: &Connection) -> Result<bool, StorageError> {
    if let Connection::Postgres(_) = c {
        c.query("SELECT pg_advisory_xact_lock(?1) IS NULL", [SCHEMA_LOCK], |_| Ok(())).map_err(failed)?;
    }
    make_tables(
        c,
        "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT;",
    )?;
    let found: i64 = c
        .query_row("SELECT coalesce(max(version), 0) AS version FROM schema_version", [], |row| {
            row.get("version")
        })
        .map_err(failed)?;
    if found >= known() {
        return works_with(c, found).map(|()| true);
    }
    let (sql, version, oldest) = match (c, usize::try_from(found).unwrap_or(0)) {
        (Connection::Sqlite(_), done) if done < FIRST_OF_SQLITE.len() => {
            (FIRST_OF_SQLITE[done], found + 1, 1)
        }
        (Connection::Postgres(_), 0) => (FIRST_OF_POSTGRES, FIRST_SHARED, FIRST_SHARED),
        (_, done) => {
            let next: &Migration = &NEXT[done - FIRST_OF_SQLITE.len()];
            (next.sql, found + 1, next.works_with)
        }
    };
    make_tables(c, sql)?;
    if version < FIRST_SHARED {
        c.execute("INSERT INTO schema_version (version) VALUES (?1)", [version]).map_err(failed)?;
    } else {
        let insert = "INSERT INTO schema_version (version, works_with) VALUES (?1, ?2)";
        c.execute(insert, params![version, oldest]).map_err(failed)?;
    }
    Ok(false)
}

fn make_tables(c: &Connection, sql: &str) -> Result<(), StorageError> {
    match c {
        Connection::Sqlite(_) => c.execute_batch(sql),
        Connection::Postgres(session) => session.borrow_mut().make_tables(sql),
    }
    .map_err(failed)
}

/// Whether this program can work with tables of version `found`, which may be newer than it knows.
fn works_with(c: &Connection, found: i64) -> Result<(), StorageError> {
    let oldest: i64 = c
        .query_row("SELECT max(works_with) AS oldest FROM schema_version", [], |row| row.get("oldest"))
        .map_err(failed)?;
    if oldest > known() { Err(StorageError::TooNew { found, known: known() }) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::sql::sqlite::empty_in_memory;

    #[test]
    fn migrating_twice_changes_nothing() {
        let connection = empty_in_memory();
        migrate(&connection).unwrap();
        migrate(&connection).unwrap();
        let version: i64 =
            connection.query_row("SELECT max(version) FROM schema_version", [], |row| row.get(0)).unwrap();
        assert_eq!(version, known());
    }

    /// Keys and tokens of a store from before registrations had own keys and tokens had names.
    #[test]
    fn keys_and_tokens_of_earlier_versions_stay_usable() {
        use crate::storage::{Fingerprint, PrivateKey};
        let connection = empty_in_memory();
        for migration in &FIRST_OF_SQLITE[..4] {
            connection.execute_batch(migration).unwrap();
        }
        connection
            .execute_batch(
                "CREATE TABLE schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT;
                 INSERT INTO schema_version (version) VALUES (1), (2), (3), (4);
                 INSERT INTO tool_keys (kid, pkcs8, created_at) VALUES ('k', x'0102', 5);
                 INSERT INTO api_tokens (secret, role, created_at) VALUES ('a', 'teacher', 5), ('b', 'auditor', 6)",
            )
            .unwrap();
        migrate(&connection).unwrap();
        let key = super::super::tool_keys::all(&connection).unwrap().remove(0);
        assert_eq!((key.registration, &key.private), (None, &PrivateKey::Plain(vec![1, 2])));
        assert!(key.may_sign(crate::clock::whole_milliseconds(5)));
        let token =
            super::super::api_tokens::find(&connection, &Fingerprint("a".to_owned())).unwrap().unwrap();
        assert!(token.is_valid(crate::clock::whole_milliseconds(i64::MAX)));
        let names: Vec<_> =
            super::super::api_tokens::all(&connection).unwrap().into_iter().map(|token| token.id).collect();
        assert!(names[0] != names[1] && names.iter().all(|name| name.len() == 16), "{names:?}");
    }

    #[test]
    fn attempts_and_waiting_grades_of_an_older_store_are_kept() {
        let connection = empty_in_memory();
        for older in &FIRST_OF_SQLITE[..4] {
            connection.execute_batch(older).unwrap();
        }
        connection
            .execute_batch(
                "CREATE TABLE schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT;
                 INSERT INTO schema_version (version) VALUES (4);
                 INSERT INTO registrations VALUES (1, 'https://p.test', 'c', 'https://p.test', 'https://p.test', 'https://p.test', NULL);
                 INSERT INTO pools VALUES ('pool', 'Pool', 1, '{}');
                 INSERT INTO placements (id, registration, deployment, resource_link, title, pool, question_count,
                    attempts_allowed, created_at) VALUES ('q', 1, 'd', 'l', 'Quiz', 'pool', 1, 1, 0);
                 INSERT INTO attempts VALUES ('a', 'q', 'u', 1, 'seed', 5, '{}', 9, '[]', 7, 10);
                 INSERT INTO outbox VALUES ('q', 'u', 1, 7, 10, 5, 9, 'delivered', 9, 0, 9, NULL, 9, NULL);
                 INSERT INTO outbox VALUES ('q', 'v', 2, 3, 10, 5, 9, 'waiting', 9, 4, 20, NULL, 9, 'busy');",
            )
            .unwrap();
        migrate(&connection).unwrap();
        let text = |sql: &str| -> String { connection.query_row(sql, [], |row| row.get(0)).unwrap() };
        let attempt = "SELECT id || number || points || (voided_at IS NULL) FROM attempts";
        assert_eq!(text(attempt), "a171");
        let row = |user| {
            format!(
                "SELECT state || progress || points || delivered || ours FROM outbox WHERE user = '{user}'"
            )
        };
        let score = r#"{"points":7,"maximum":10}"#;
        assert_eq!(text(&row("u")), format!("deliveredgraded7{score}[{score}]"));
        assert_eq!(
            text(
                "SELECT state || tries || problem || (delivered IS NULL) || ours FROM outbox WHERE user = 'v'"
            ),
            "waiting4busy1[]"
        );
        // A grade that a program of an earlier version queued is sent.
        let now = crate::clock::whole_milliseconds(1_000);
        let room = crate::storage::Room { each: 8, except: std::collections::BTreeSet::new() };
        let next = super::super::outbox::next_due(&connection, &room.except).unwrap();
        assert_eq!(next, Some(crate::clock::whole_milliseconds(20)));
        let leased = super::super::outbox::lease(&connection, now, now, &room, "p1").unwrap();
        assert_eq!(leased.iter().map(|grade| grade.user.as_str()).collect::<Vec<_>>(), ["v"]);
        // What belongs to a placement still goes with it.
        connection.execute("DELETE FROM placements", []).unwrap();
        assert_eq!(text("SELECT (SELECT count(*) FROM outbox) || (SELECT count(*) FROM attempts)"), "00");
    }

    /// A store of the time before grades could be held: attempts and grades on their way are still there.
    #[test]
    fn attempts_and_waiting_grades_of_an_earlier_version_are_kept() {
        let connection = empty_in_memory();
        let earlier = "CREATE TABLE schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT;
             INSERT INTO schema_version VALUES (4);";
        connection.execute_batch(&(earlier.to_owned() + &FIRST_OF_SQLITE[..4].join("\n"))).unwrap();
        connection
            .execute_batch(
                "INSERT INTO registrations VALUES (1, 'https://p.test', 'c', 'https://p.test/a', 'https://p.test/t',
                    'https://p.test/k', NULL);
                 INSERT INTO deployments VALUES (1, 'd');
                 INSERT INTO pools VALUES ('pool', 'Pool', 1, '{}');
                 INSERT INTO placements (id, registration, deployment, resource_link, title, pool, question_count,
                    attempts_allowed, created_at) VALUES ('quiz', 1, 'd', 'link', 'Quiz', 'pool', 1, 2, 1);
                 INSERT INTO attempts VALUES ('a1', 'quiz', 'u', 1, 's', 1, '{}', 2, '[]', 3, 4);
                 INSERT INTO attempts VALUES ('a2', 'quiz', 'u', 2, 's', 5, '{}', NULL, NULL, NULL, NULL);
                 INSERT INTO outbox VALUES ('quiz', 'u', 1, 3, 4, 1, 2, 'waiting', 2, 0, 2, NULL, 7, NULL);
                 INSERT INTO outbox VALUES ('quiz', 'v', 1, 3, 4, 1, 2, 'delivered', 2, 0, 2, NULL, 7, NULL);",
            )
            .unwrap();
        migrate(&connection).unwrap();
        let count = |sql: &str| connection.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(count("SELECT count(*) FROM attempts WHERE voided_at IS NULL"), 2);
        assert_eq!(count("SELECT points FROM attempts WHERE id = 'a1'"), 3);
        assert_eq!(count("SELECT count(*) FROM outbox WHERE state = 'waiting' AND points = 3"), 1);
        assert_eq!(count("SELECT last_timestamp FROM outbox WHERE user = 'u'"), 7);
        assert_eq!(
            count("SELECT json_extract(delivered, '$.points') FROM outbox WHERE user = 'v'"),
            3,
            "what was delivered is known"
        );
        assert_eq!(count("SELECT count(*) FROM pragma_foreign_key_check"), 0);
    }

    /// As while a service is brought up to date: the new processes have changed the tables, the old ones go on.
    #[test]
    fn a_store_of_a_newer_version_is_used_or_refused_as_it_says() {
        let newer = |works_with: i64| {
            let connection = empty_in_memory();
            migrate(&connection).unwrap();
            let insert = "INSERT INTO schema_version (version, works_with) VALUES (999, ?1)";
            connection.execute(insert, [works_with]).unwrap();
            migrate(&connection)
        };
        newer(known()).unwrap();
        assert!(matches!(newer(known() + 1), Err(StorageError::TooNew { found: 999, .. })));
    }
}
