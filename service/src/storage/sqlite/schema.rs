//! The tables, as a list of migrations. A published migration is never changed; a new one is added.

use rusqlite::Connection;

use super::row::failed;
use crate::storage::StorageError;

/// Migrations in order; the first has version 1.
const MIGRATIONS: &[&str] = &[
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

/// Brings the tables up to date, each migration in a transaction of its own.
pub(super) fn migrate(connection: &mut Connection) -> Result<(), StorageError> {
    connection
        .execute_batch(
            "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT",
        )
        .map_err(failed)?;
    let known = i64::try_from(MIGRATIONS.len()).expect("a handful of migrations");
    loop {
        // Immediate: of two processes that open a new file, one waits until the other has made the tables.
        let step =
            connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(failed)?;
        let found: i64 = step
            .query_row("SELECT coalesce(max(version), 0) FROM schema_version", [], |row| row.get(0))
            .map_err(failed)?;
        if found > known {
            return Err(StorageError::TooNew { found, known });
        }
        let Some(next) = usize::try_from(found).ok().and_then(|done| MIGRATIONS.get(done)) else {
            return Ok(());
        };
        step.execute_batch(next).map_err(failed)?;
        step.execute("INSERT INTO schema_version (version) VALUES (?1)", [found + 1]).map_err(failed)?;
        step.commit().map_err(failed)?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn migrating_twice_changes_nothing() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection).unwrap();
        migrate(&mut connection).unwrap();
        let version: i64 =
            connection.query_row("SELECT max(version) FROM schema_version", [], |row| row.get(0)).unwrap();
        assert_eq!(version, i64::try_from(MIGRATIONS.len()).unwrap());
    }

    /// Keys and tokens of a store from before registrations had own keys and tokens had names.
    #[test]
    fn keys_and_tokens_of_earlier_versions_stay_usable() {
        use crate::storage::{Fingerprint, PrivateKey};
        let mut connection = Connection::open_in_memory().unwrap();
        for migration in &MIGRATIONS[..4] {
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
        migrate(&mut connection).unwrap();
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
        let mut connection = Connection::open_in_memory().unwrap();
        connection.pragma_update(None, "foreign_keys", true).unwrap();
        for older in &MIGRATIONS[..4] {
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
        migrate(&mut connection).unwrap();
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
        // What belongs to a placement still goes with it.
        connection.execute("DELETE FROM placements", []).unwrap();
        assert_eq!(text("SELECT (SELECT count(*) FROM outbox) || (SELECT count(*) FROM attempts)"), "00");
    }

    /// A store of the time before grades could be held: attempts and grades on their way are still there.
    #[test]
    fn attempts_and_waiting_grades_of_an_earlier_version_are_kept() {
        let mut connection = Connection::open_in_memory().unwrap();
        connection.pragma_update(None, "foreign_keys", true).unwrap();
        let earlier = "CREATE TABLE schema_version (version INTEGER NOT NULL PRIMARY KEY) STRICT;
             INSERT INTO schema_version VALUES (4);";
        connection.execute_batch(&(earlier.to_owned() + &MIGRATIONS[..4].join("\n"))).unwrap();
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
        migrate(&mut connection).unwrap();
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

    #[test]
    fn refuses_a_store_of_a_newer_version() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection).unwrap();
        connection.execute("INSERT INTO schema_version (version) VALUES (999)", []).unwrap();
        assert!(matches!(migrate(&mut connection), Err(StorageError::TooNew { found: 999, .. })));
    }
}
