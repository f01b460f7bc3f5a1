//! Copies a whole store into an empty one, whatever database either is in: backup, restore and move are this.
//!
//! The source is read in one transaction that sees one moment, while others go on writing; the target is filled in one
//! transaction, so that it is whole or empty. Both are read once more and compared row by row before the target counts.

use sha2::{Digest as _, Sha256};

use super::connection::{Connection, Row, SqlResult, Value};
use super::row::{failed, ms};
use crate::clock::plus_ms;
use crate::storage::{Copied, Source, StorageError};

/// All tables but the one of versions; those that others refer to come before them.
const TABLES: [&str; 19] = [
    "registrations",
    "deployments",
    "pending_deployments",
    "frame_origins",
    "tool_keys",
    "invitations",
    "api_tokens",
    "pools",
    "placements",
    "attempts",
    "extra_attempts",
    "outbox",
    "readings",
    "rosters",
    "members",
    "sheets",
    "audit",
    "login_states",
    "shared_secrets",
];
/// What is not copied, as a test knows: people launch anew, processes and what they are about to do stay where they are.
#[cfg(test)]
const LEFT_BEHIND: [&str; 7] =
    ["sessions", "session_tickets", "processes", "claims", "request_counts", "jobs", "job_pieces"];
/// A process whose last sign of life is no older than this serves the store.
const LIVED_WITHIN_MS: i64 = 10 * 1000;
/// Tables whose numbers the database gives out, and must go on behind those that are there.
const NUMBERED: [&str; 2] = ["registrations", "audit"];
/// How many values go over in one statement; PostgreSQL takes 65,535, SQLite 32,766.
const VALUES_AT_ONCE: usize = 8_000;

/// Copies all rows of `from` into `to`, whose tables are of the same version and empty.
pub(super) fn copy(from: &Connection, to: &Connection, source: Source) -> Result<Copied, StorageError> {
    from.execute_batch(match from {
        Connection::Sqlite(_) => "BEGIN",
        Connection::Postgres(_) => {
            "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY; SET LOCAL statement_timeout = 0"
        }
    })
    .map_err(failed)?;
    to.execute_batch(match to {
        Connection::Sqlite(_) => "BEGIN IMMEDIATE",
        Connection::Postgres(_) => "BEGIN; SET LOCAL statement_timeout = 0",
    })
    .map_err(failed)?;
    let copied = is_as_wanted(from, source).and_then(|()| copy_tables(from, to));
    to.execute_batch(if copied.is_ok() { "COMMIT" } else { "ROLLBACK" }).map_err(failed)?;
    from.execute_batch("COMMIT").map_err(failed)?;
    copied
}

fn is_as_wanted(from: &Connection, source: Source) -> Result<(), StorageError> {
    let Source::AtRest(now) = source else { return Ok(()) };
    let lives_since = [ms(plus_ms(now, -LIVED_WITHIN_MS))];
    let sql = "SELECT count(*) AS processes FROM processes WHERE seen_at >= ?1";
    match from.query_row(sql, lives_since, |row| row.get("processes")).map_err(failed)? {
        0 => Ok(()),
        processes => Err(StorageError::InUse { processes }),
    }
}

fn copy_tables(from: &Connection, to: &Connection) -> Result<Copied, StorageError> {
    for table in TABLES {
        if count(to, table)? > 0 {
            return Err(StorageError::NotEmpty { table });
        }
    }
    let mut rows = Vec::new();
    for table in TABLES {
        let sent = copy_table(from, to, table).map_err(failed)?;
        let arrived = fingerprint(to, table).map_err(failed)?;
        if sent != arrived {
            return Err(StorageError::Database(format!("table {table} did not arrive as it was")));
        }
        rows.push((table, sent.rows));
    }
    if let Connection::Postgres(_) = to {
        for table in NUMBERED {
            let sql = format!(
                "SELECT setval(pg_get_serial_sequence('{table}', 'id'), max(id)) AS last FROM {table} HAVING max(id) > 0"
            );
            to.query(&sql, [], |_| Ok(())).map_err(failed)?;
        }
    }
    // The processes that were sending stayed behind; what they had not noted as sent is sent again.
    to.execute("UPDATE outbox SET leased_until = NULL, leased_by = NULL WHERE leased_until IS NOT NULL", [])
        .map_err(failed)?;
    Ok(Copied { rows })
}

fn count(c: &Connection, table: &str) -> Result<i64, StorageError> {
    c.query_row(&format!("SELECT count(*) AS rows FROM {table}"), [], |row| row.get("rows")).map_err(failed)
}

/// Rows of a table regardless of their order: how many, and the sum of their hashes.
#[derive(Debug, Default, PartialEq, Eq)]
struct Rows {
    rows: u64,
    sum: u128,
}

impl Rows {
    fn add(&mut self, columns: &[String], values: &[Value]) {
        let mut named: Vec<_> = columns.iter().zip(values).collect();
        // The databases may have their columns in another order.
        named.sort_by_key(|(column, _)| *column);
        let mut hash = Sha256::new();
        for (column, value) in named {
            // With the kind and the length, so that no two rows are written alike.
            hash.update(format!("{column}={value:?};"));
        }
        let hash: [u8; 32] = hash.finalize().into();
        let half = hash.first_chunk().expect("32 bytes begin with 16");
        self.rows += 1;
        self.sum = self.sum.wrapping_add(u128::from_be_bytes(*half));
    }
}

fn copy_table(from: &Connection, to: &Connection, table: &str) -> SqlResult<Rows> {
    let mut seen = Rows::default();
    let mut columns = Vec::new();
    let mut waiting = Vec::new();
    from.each(&select(table), |row| {
        let values = values(row, &mut columns)?;
        seen.add(&columns, &values);
        waiting.extend(values);
        if waiting.len() + columns.len() > VALUES_AT_ONCE {
            insert(to, table, &columns, std::mem::take(&mut waiting))?;
        }
        Ok(())
    })?;
    insert(to, table, &columns, waiting)?;
    Ok(seen)
}

fn fingerprint(c: &Connection, table: &str) -> SqlResult<Rows> {
    let mut seen = Rows::default();
    let mut columns = Vec::new();
    c.each(&select(table), |row| {
        let values = values(row, &mut columns)?;
        seen.add(&columns, &values);
        Ok(())
    })?;
    Ok(seen)
}

fn select(table: &str) -> String {
    format!("SELECT * FROM {table}")
}

fn values(row: &Row<'_>, columns: &mut Vec<String>) -> SqlResult<Vec<Value>> {
    if columns.is_empty() {
        *columns = row.columns();
    }
    (0..columns.len()).map(|place| row.get(place)).collect()
}

fn insert(to: &Connection, table: &str, columns: &[String], values: Vec<Value>) -> SqlResult<()> {
    if values.is_empty() {
        return Ok(());
    }
    let mut place = 0;
    let mut sql = format!("INSERT INTO {table} ({}) VALUES ", columns.join(", "));
    for row in 0..values.len() / columns.len() {
        sql.push_str(if row == 0 { "(" } else { ", (" });
        for column in 0..columns.len() {
            place += 1;
            sql.push_str(&format!("{}?{place}", if column == 0 { "" } else { ", " }));
        }
        sql.push(')');
    }
    to.execute(&sql, values).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::sql::{schema, sqlite::empty_in_memory};

    /// A table that is not copied would be lost by every move.
    #[test]
    fn every_table_is_copied_or_left_behind_on_purpose() {
        let c = empty_in_memory();
        schema::migrate(&c).unwrap();
        let sql =
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name";
        let tables = c.query(sql, [], |row| row.get::<_, String>("name")).unwrap();
        let mut known: Vec<&str> = TABLES.into_iter().chain(LEFT_BEHIND).chain(["schema_version"]).collect();
        known.sort_unstable();
        assert_eq!(tables, known);
    }
}
