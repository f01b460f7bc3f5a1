//! The threads that own the connections.
//!
//! SQLite blocks, so it never runs on the server's own threads. One thread writes, one reads. The writing thread
//! takes everything that waits, up to a limit, into a single commit: many pupils pressing submit share one flush to
//! disk. Each step has a savepoint of its own, so that one failing step takes nobody else's work with it, and nobody
//! hears of success before the commit.

use rusqlite::Connection;
use tokio::sync::{mpsc, oneshot};

use super::row::failed;
use crate::storage::StorageError;

/// How many steps may wait before callers have to.
const QUEUE_LENGTH: usize = 1024;
/// How many steps share a commit at most.
const GROUP_SIZE: usize = 128;

/// One step of work on a connection, or the problem if its transaction could not begin. It returns what to do once
/// the fate of the commit is known.
type Step = Box<dyn FnOnce(Result<&Connection, &str>) -> Reply + Send>;
type Reply = Box<dyn FnOnce(Result<(), &str>) + Send>;

/// Handles to the threads; dropping the last one ends them.
pub(super) struct Connections {
    writer: mpsc::Sender<Step>,
    reader: mpsc::Sender<Step>,
}

impl Connections {
    /// Starts the threads. Without a `reader` (a database in memory has one connection) the writer reads too.
    pub(super) fn spawn(writer: Connection, reader: Option<Connection>) -> Result<Self, StorageError> {
        // Immediate: a transaction that reads before it writes would fail at once when another process (`tenths load`)
        // wrote in between, instead of waiting for it.
        let writer = spawn_thread("tenths-store-write", writer, "BEGIN IMMEDIATE")?;
        let reader = match reader {
            Some(connection) => spawn_thread("tenths-store-read", connection, "BEGIN")?,
            None => writer.clone(),
        };
        Ok(Self { writer, reader })
    }

    /// Runs a step that changes the store; returns after it is on disk.
    pub(super) async fn write<T, F>(&self, step: F) -> Result<T, StorageError>
    where
        T: Send + 'static,
        F: FnOnce(&Connection) -> Result<T, StorageError> + Send + 'static,
    {
        run(&self.writer, step).await
    }

    /// Runs a step that only reads; it sees everything written before.
    pub(super) async fn read<T, F>(&self, step: F) -> Result<T, StorageError>
    where
        T: Send + 'static,
        F: FnOnce(&Connection) -> Result<T, StorageError> + Send + 'static,
    {
        run(&self.reader, step).await
    }
}

fn spawn_thread(
    name: &str,
    connection: Connection,
    begin: &'static str,
) -> Result<mpsc::Sender<Step>, StorageError> {
    let (sender, receiver) = mpsc::channel(QUEUE_LENGTH);
    std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || serve(&connection, begin, receiver))
        .map_err(|error| StorageError::Database(format!("cannot start the store's thread: {error}")))?;
    Ok(sender)
}

/// Takes waiting steps in groups until the last handle is dropped.
fn serve(connection: &Connection, begin: &str, mut steps: mpsc::Receiver<Step>) {
    let mut group = Vec::with_capacity(GROUP_SIZE);
    while steps.blocking_recv_many(&mut group, GROUP_SIZE) > 0 {
        let begun = connection.execute_batch(begin).map_err(|error| error.to_string());
        let replies: Vec<Reply> = group
            .drain(..)
            .map(|step| step(begun.as_ref().map(|()| connection).map_err(String::as_str)))
            .collect();
        let ended =
            begun.and_then(|()| connection.execute_batch("COMMIT").map_err(|error| error.to_string()));
        if ended.is_err() && !connection.is_autocommit() {
            // Nothing is left to try if this fails too; every caller is told of the first failure.
            let _ = connection.execute_batch("ROLLBACK");
        }
        for reply in replies {
            reply(ended.as_ref().copied().map_err(String::as_str));
        }
    }
}

/// Sends one step to a thread and waits for its answer.
async fn run<T, F>(thread: &mpsc::Sender<Step>, step: F) -> Result<T, StorageError>
where
    T: Send + 'static,
    F: FnOnce(&Connection) -> Result<T, StorageError> + Send + 'static,
{
    let (answer, answered) = oneshot::channel();
    let boxed: Step = Box::new(move |connection| {
        let result = match connection {
            Ok(connection) => in_savepoint(connection, step),
            Err(problem) => Err(StorageError::Database(problem.to_owned())),
        };
        Box::new(move |committed| {
            let outcome = match committed {
                Ok(()) => result,
                Err(problem) => Err(StorageError::Database(problem.to_owned())),
            };
            // A caller that has gone away needs no answer.
            let _ = answer.send(outcome);
        })
    });
    thread.send(boxed).await.map_err(|_| StorageError::Closed)?;
    answered.await.map_err(|_| StorageError::Closed)?
}

/// Runs `step` so that its failure undoes its own changes only.
fn in_savepoint<T>(
    connection: &Connection,
    step: impl FnOnce(&Connection) -> Result<T, StorageError>,
) -> Result<T, StorageError> {
    connection.execute_batch("SAVEPOINT step").map_err(failed)?;
    let result = step(connection);
    let end = if result.is_ok() { "RELEASE step" } else { "ROLLBACK TO step; RELEASE step" };
    connection.execute_batch(end).map_err(failed)?;
    result
}
