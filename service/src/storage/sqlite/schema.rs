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
    include_str!("migrations/0006_registration.sql"),
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
    fn refuses_a_store_of_a_newer_version() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection).unwrap();
        connection.execute("INSERT INTO schema_version (version) VALUES (999)", []).unwrap();
        assert!(matches!(migrate(&mut connection), Err(StorageError::TooNew { found: 999, .. })));
    }
}
