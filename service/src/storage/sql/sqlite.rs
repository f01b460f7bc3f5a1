//! The embedded store: one SQLite file in WAL mode with `synchronous=FULL`, so that what was answered is on disk.

use std::path::Path;
use std::time::{Duration, Instant};

use super::connection::{Connection, SqlError, SqlResult};
use super::row::failed;
use super::schema;
use super::threads::{Lane, Threads};
use crate::storage::StorageError;

/// How long clearing traces waits for others who read or write.
const TRACES_WITHIN: Duration = Duration::from_secs(30);
/// Another process (`tenths load`, a backup) may hold the file for a moment.
const BUSY_WITHIN: Duration = Duration::from_secs(10);
const OPEN_AGAIN_AFTER: Duration = Duration::from_millis(20);
/// With less left on its disk the store counts as full: the log of changes grows to some megabytes.
const ROOM_LEAST: u64 = 16 * 1024 * 1024;
const STATEMENTS_KEPT: usize = 128;
/// Pages that a connection keeps in memory; a class at work fits in.
const CACHE_KIB: i64 = 16 * 1024;

/// Opens or creates the file at `path`.
pub(super) fn open(path: &Path) -> Result<Threads, StorageError> {
    keep_private(path)?;
    let writer = Connection::Sqlite(connect(path).map_err(failed)?);
    schema::migrate(&writer)?;
    let reader = connect(path).map_err(failed)?;
    reader.pragma_update(None, "query_only", true).map_err(|error| failed(error.into()))?;
    // Immediate: a transaction that reads before it writes would fail at once when another process wrote in between,
    // instead of waiting for it.
    Threads::spawn(
        vec![File { connection: writer, begin: "BEGIN IMMEDIATE" }],
        vec![File { connection: Connection::Sqlite(reader), begin: "BEGIN" }],
    )
}

/// One connection of its own.
pub(super) fn with_connection<T>(
    path: &Path,
    work: impl FnOnce(&Connection) -> Result<T, StorageError>,
) -> Result<T, StorageError> {
    keep_private(path)?;
    let connection = Connection::Sqlite(connect(path).map_err(failed)?);
    schema::migrate(&connection)?;
    work(&connection)
}

/// Opens a file. Of two who turn a new file to a log of changes at the same moment SQLite refuses one at once, whatever time
/// it is given; that one tries again.
fn connect(path: &Path) -> SqlResult<rusqlite::Connection> {
    let until = Instant::now() + BUSY_WITHIN;
    loop {
        let connection = rusqlite::Connection::open(path)?;
        match prepare(&connection) {
            Err(error) if is_busy(&error) && Instant::now() < until => std::thread::sleep(OPEN_AGAIN_AFTER),
            prepared => return prepared.map(|()| connection),
        }
    }
}

fn is_busy(error: &SqlError) -> bool {
    let SqlError::Sqlite(error) = error else { return false };
    error.sqlite_error_code() == Some(rusqlite::ErrorCode::DatabaseBusy)
}

/// A store that lives in memory only.
pub(super) fn open_in_memory() -> Result<Threads, StorageError> {
    let connection = rusqlite::Connection::open_in_memory().map_err(|error| failed(error.into()))?;
    prepare(&connection).map_err(failed)?;
    let connection = Connection::Sqlite(connection);
    schema::migrate(&connection)?;
    Threads::spawn(vec![File { connection, begin: "BEGIN IMMEDIATE" }], Vec::new())
}

/// A connection to a file, which does not break.
struct File {
    connection: Connection,
    begin: &'static str,
}

impl Lane for File {
    fn connection(&mut self) -> Result<&Connection, StorageError> {
        Ok(&self.connection)
    }

    fn begin(&self) -> &'static str {
        self.begin
    }
}

/// Whether there is no room left.
pub(super) fn is_full(error: &SqlError) -> bool {
    let SqlError::Sqlite(error) = error else { return false };
    error.sqlite_error_code() == Some(rusqlite::ErrorCode::DiskFull)
}

/// Checks that there is some room on the disk of the file at `path`.
///
/// # Errors
/// [`StorageError::Full`] when there is not.
pub(super) fn has_room(path: &Path) -> Result<(), StorageError> {
    // Where that cannot be asked, writing will tell.
    let Ok(disk) = rustix::fs::statvfs(path) else { return Ok(()) };
    let free = disk.f_bavail.saturating_mul(disk.f_frsize);
    if free < ROOM_LEAST {
        return Err(StorageError::Full(format!("{free} bytes are left, {ROOM_LEAST} are needed")));
    }
    Ok(())
}

/// Creates a missing file readable by its owner only: it will hold our private key. SQLite gives its side files the
/// same rights. A file that exists keeps the rights somebody gave it.
fn keep_private(path: &Path) -> Result<(), StorageError> {
    use std::os::unix::fs::OpenOptionsExt;
    match std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        Err(error) => Err(StorageError::Address {
            address: format!("sqlite:{}", path.display()),
            problem: format!("cannot be created: {error}"),
        }),
    }
}

/// Sets what each connection needs.
fn prepare(connection: &rusqlite::Connection) -> SqlResult<()> {
    connection.pragma_update(None, "journal_mode", "wal")?;
    connection.pragma_update(None, "synchronous", "full")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    // A statement is compiled once, whatever values it is run with (SQLite, 'Query Planner Stability Guarantee').
    connection.set_db_config(rusqlite::config::DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    // What is erased (private keys, and what is held on people) is overwritten, not only forgotten.
    connection.pragma_update(None, "secure_delete", true)?;
    // Temporary tables of a purge name people, and must not become files.
    connection.pragma_update(None, "temp_store", "memory")?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB)?;
    connection.busy_timeout(BUSY_WITHIN)?;
    connection.set_prepared_statement_cache_capacity(STATEMENTS_KEPT);
    Ok(())
}

/// Leaves no trace of what was deleted in the files. On a connection of its own: neither statement works inside a
/// transaction, and the writer always is in one.
pub(super) fn clear_traces(path: &Path, whole: bool) -> Result<(), StorageError> {
    let clear = || -> SqlResult<i64> {
        let connection = connect(path)?;
        connection.busy_timeout(TRACES_WITHIN)?;
        if whole {
            connection.execute_batch("VACUUM")?;
        }
        Ok(connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?)
    };
    if clear().map_err(failed)? != 0 {
        return Err(StorageError::Database(
            "others were reading the store all the time, so its log of changes could not be emptied".into(),
        ));
    }
    Ok(())
}

/// A database in memory without tables.
#[cfg(test)]
pub(super) fn empty_in_memory() -> Connection {
    let connection = rusqlite::Connection::open_in_memory().unwrap();
    prepare(&connection).unwrap();
    Connection::Sqlite(connection)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::sql::row::failed;

    #[test]
    fn a_full_disk_has_its_own_error_and_nothing_else_is_lost() {
        let connection = empty_in_memory();
        connection.execute_batch("CREATE TABLE t (b BLOB); INSERT INTO t VALUES (x'01')").unwrap();
        // SQLite says the same when its own limit is reached as when the disk is full (SQLITE_FULL).
        connection.execute_batch("PRAGMA max_page_count = 10").unwrap();
        let error =
            connection.execute_batch("INSERT INTO t VALUES (zeroblob(1000000))").map_err(failed).unwrap_err();
        assert!(matches!(error, StorageError::Full(_)), "{error:?}");
        let count: i64 = connection.query_row("SELECT count(*) AS n FROM t", [], |row| row.get("n")).unwrap();
        assert_eq!(count, 1);
    }

    #[test]
    fn a_disk_with_room_has_room() {
        let folder = tempfile::tempdir().unwrap();
        has_room(folder.path()).unwrap();
        // What cannot be asked is left to writing.
        has_room(Path::new("/no/such/file")).unwrap();
    }
}
