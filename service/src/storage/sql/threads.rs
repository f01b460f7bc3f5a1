//! The threads that own the connections.
//!
//! Databases block, so they never run on the server's own threads. A thread takes everything that waits, up to a limit,
//! into a single transaction: many pupils pressing submit share one flush to disk, and nobody hears of success before it.
//! Steps rarely fail. If one does, the whole transaction is undone and each of its steps is run again by itself, so that
//! nobody's failure takes anybody else's work with it.
//!
//! SQLite has one thread that writes and one that reads. PostgreSQL has several of both, which take turns at one queue; a
//! connection that broke is opened again, and steps of which nothing was kept are run again until their time is up.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{mpsc, oneshot};
use tracing::Instrument as _;

use super::connection::Connection;
use super::gathering::{Gathering, Joined};
use super::row::failed;
use crate::storage::{Queue, StorageError, StoreNumbers};
use crate::traces;

/// How many steps may wait.
pub(super) const QUEUE_LENGTH: usize = 1024;
/// How many steps share a transaction at most.
const GROUP_SIZE: usize = 128;
/// How long a caller waits for a place in the queue; then it is answered with [`StorageError::Busy`].
const PLACE_WITHIN: Duration = Duration::from_secs(2);
/// A step that has not been run by then is answered with [`StorageError::Unavailable`].
const WITHIN: Duration = Duration::from_secs(10);
/// Between two tries to reach a database that is away.
const PAUSE: Duration = Duration::from_millis(200);

/// A step of one caller, or of several who go together. It may be run several times; its callers hear of the last.
pub(super) trait Task: Send {
    /// Takes along all who wait to, before it is run.
    fn gather(&mut self) {}
    /// How many callers it has.
    fn size(&self) -> usize {
        1
    }
    /// The same, each caller by itself.
    fn split(self: Box<Self>) -> Vec<Box<dyn Task>>;
    fn run(&mut self, connection: &Connection) -> Result<(), StorageError>;
    fn answer(self: Box<Self>, outcome: Result<(), StorageError>);
    fn entered(&self) -> Instant;
}

struct Step<T, F> {
    step: F,
    result: Option<T>,
    caller: oneshot::Sender<Result<T, StorageError>>,
    entered: Instant,
}

impl<T, F> Task for Step<T, F>
where
    T: Send + 'static,
    F: Fn(&Connection) -> Result<T, StorageError> + Send + 'static,
{
    fn run(&mut self, connection: &Connection) -> Result<(), StorageError> {
        self.result = Some((self.step)(connection)?);
        Ok(())
    }

    fn answer(self: Box<Self>, outcome: Result<(), StorageError>) {
        let Self { result, caller, .. } = *self;
        // A caller that has gone away needs no answer.
        let _ = caller.send(outcome.and_then(|()| result.ok_or(StorageError::Closed)));
    }

    fn entered(&self) -> Instant {
        self.entered
    }

    fn split(self: Box<Self>) -> Vec<Box<dyn Task>> {
        vec![self]
    }
}

/// What a thread does between transactions, by kind of database.
pub(super) trait Lane: Send + 'static {
    /// The connection, opened again where it broke.
    fn connection(&mut self) -> Result<&Connection, StorageError>;
    /// Begins a transaction.
    fn begin(&self) -> &'static str;
}

/// Handles to the threads; dropping the last one ends them.
pub(super) struct Threads {
    writers: mpsc::Sender<Box<dyn Task>>,
    readers: mpsc::Sender<Box<dyn Task>>,
    numbers: StoreNumbers,
}

/// The lanes' names among the numbers of the service.
const WRITE: &str = "write";
const READ: &str = "read";

impl Threads {
    /// Starts a thread for each lane. Without `readers` (a database in memory has one connection) the writer reads too.
    pub(super) fn spawn<L: Lane>(writers: Vec<L>, readers: Vec<L>) -> Result<Self, StorageError> {
        let numbers = StoreNumbers::default();
        let writers = spawn(WRITE, writers, &numbers)?;
        let readers = if readers.is_empty() { writers.clone() } else { spawn(READ, readers, &numbers)? };
        Ok(Self { writers, readers, numbers })
    }

    /// What has come of all steps.
    pub(super) fn numbers(&self) -> StoreNumbers {
        self.numbers.clone()
    }

    /// How much waits, in the fuller of both queues.
    pub(super) fn queue(&self) -> Queue {
        let queue = |steps: &mpsc::Sender<_>| Queue {
            waiting: steps.max_capacity() - steps.capacity(),
            room: steps.max_capacity(),
        };
        let (writers, readers) = (queue(&self.writers), queue(&self.readers));
        if readers.waiting > writers.waiting { readers } else { writers }
    }

    /// Runs a step that changes the store; returns after it is on disk.
    pub(super) async fn write<T, F>(&self, step: F) -> Result<T, StorageError>
    where
        T: Send + 'static,
        F: Fn(&Connection) -> Result<T, StorageError> + Send + 'static,
    {
        self.run(WRITE, step).await
    }

    /// Runs a step that only reads; it sees everything written before.
    pub(super) async fn read<T, F>(&self, step: F) -> Result<T, StorageError>
    where
        T: Send + 'static,
        F: Fn(&Connection) -> Result<T, StorageError> + Send + 'static,
    {
        self.run(READ, step).await
    }

    /// As [`Threads::write`], for a step of which many go together.
    pub(super) async fn write_gathered<A: Send + 'static, T: Send + 'static>(
        &self,
        gathering: &Arc<Gathering<A, T>>,
        asked: A,
    ) -> Result<T, StorageError> {
        self.run_gathered(WRITE, gathering, asked).await
    }

    /// As [`Threads::read`], for a step of which many go together.
    pub(super) async fn read_gathered<A: Send + 'static, T: Send + 'static>(
        &self,
        gathering: &Arc<Gathering<A, T>>,
        asked: A,
    ) -> Result<T, StorageError> {
        self.run_gathered(READ, gathering, asked).await
    }

    async fn run_gathered<A: Send + 'static, T: Send + 'static>(
        &self,
        lane: &'static str,
        gathering: &Arc<Gathering<A, T>>,
        asked: A,
    ) -> Result<T, StorageError> {
        let threads = self.lane(lane);
        let _entered = self.numbers.enter(lane);
        let span = traces::store_step(lane, gathering.name);
        let going = async {
            let Joined { answered, party } = gathering.join(asked)?;
            if let Some(party) = party {
                send_for_thread(threads, party, gathering);
            }
            answered.await.map_err(|_| StorageError::Closed)?
        };
        going.instrument(span).await.inspect_err(|error| self.numbers.failed(error))
    }

    fn lane(&self, lane: &'static str) -> &mpsc::Sender<Box<dyn Task>> {
        if lane == WRITE { &self.writers } else { &self.readers }
    }

    /// Has a step run, counted and traced.
    async fn run<T, F>(&self, lane: &'static str, step: F) -> Result<T, StorageError>
    where
        T: Send + 'static,
        F: Fn(&Connection) -> Result<T, StorageError> + Send + 'static,
    {
        let threads = self.lane(lane);
        let _entered = self.numbers.enter(lane);
        let span = traces::store_step(lane, step_name(std::any::type_name::<F>()));
        let outcome = run(threads, step).instrument(span).await;
        outcome.inspect_err(|error| self.numbers.failed(error))
    }
}

/// What a step is called, from the name of its closure: the function of [`crate::storage::Storage`] that made it.
fn step_name(closure: &'static str) -> &'static str {
    let function = closure.split("::{{closure}}").next().unwrap_or(closure);
    function.rsplit("::").next().unwrap_or(function)
}

fn spawn<L: Lane>(
    lane_name: &'static str,
    lanes: Vec<L>,
    numbers: &StoreNumbers,
) -> Result<mpsc::Sender<Box<dyn Task>>, StorageError> {
    let (sender, receiver) = mpsc::channel(QUEUE_LENGTH);
    let receiver = Arc::new(Mutex::new(receiver));
    for lane in lanes {
        let (receiver, numbers) = (receiver.clone(), numbers.clone());
        std::thread::Builder::new()
            .name(format!("tenths-store-{lane_name}"))
            .spawn(move || serve(lane, &receiver, |waited| numbers.waited(lane_name, waited)))
            .map_err(|error| StorageError::Database(format!("cannot start the store's thread: {error}")))?;
    }
    Ok(sender)
}

/// Takes waiting steps in groups until the last handle is dropped.
fn serve(mut lane: impl Lane, steps: &Mutex<mpsc::Receiver<Box<dyn Task>>>, note_wait: impl Fn(Duration)) {
    let mut group = Vec::with_capacity(GROUP_SIZE);
    loop {
        // One thread waits for steps, the others for their turn to wait.
        let taken =
            steps.lock().unwrap_or_else(PoisonError::into_inner).blocking_recv_many(&mut group, GROUP_SIZE);
        if taken == 0 {
            return;
        }
        for task in &mut group {
            task.gather();
            note_wait(task.entered().elapsed());
        }
        if group.iter().map(|task| task.size()).sum::<usize>() > 1 {
            match together(&mut lane, &mut group) {
                Ok(()) => group.drain(..).for_each(|task| task.answer(Ok(()))),
                Err(Undone::Unsure(error)) => {
                    group.drain(..).for_each(|task| task.answer(Err(error.clone())));
                }
                Err(Undone::Surely(_)) => {}
            }
        }
        for mut task in group.drain(..).flat_map(Task::split) {
            let outcome = alone(&mut lane, &mut task);
            task.answer(outcome);
        }
    }
}

/// Why a transaction came to nothing.
enum Undone {
    /// Nothing of it was kept.
    Surely(StorageError),
    /// The connection broke while it was to be kept; nobody knows whether it was. It is not run again, but told.
    Unsure(StorageError),
}

/// Runs steps in one transaction, all or nothing.
fn together(lane: &mut impl Lane, group: &mut [Box<dyn Task>]) -> Result<(), Undone> {
    let begin = lane.begin();
    let connection = lane.connection().map_err(Undone::Surely)?;
    connection.begin(begin).map_err(|error| Undone::Surely(failed(error)))?;
    let done = group.iter_mut().try_for_each(|task| task.run(connection));
    let ended = match done {
        Ok(()) => connection.execute_batch("COMMIT").map_err(|error| not_kept(failed(error))),
        Err(error) => Err(Undone::Surely(error)),
    };
    if ended.is_err() {
        // Fails where the connection broke or the database has undone it already; then nothing is left to undo.
        let _ = connection.execute_batch("ROLLBACK");
    }
    ended
}

/// What a failed commit means: a database that answers has undone it.
fn not_kept(error: StorageError) -> Undone {
    match error {
        StorageError::Unavailable(problem) => Undone::Unsure(StorageError::Unavailable(format!(
            "{problem}; whether it was stored is not known"
        ))),
        other => Undone::Surely(other),
    }
}

/// Runs a step by itself, again where nothing of it was kept, until its time is up.
fn alone(lane: &mut impl Lane, task: &mut Box<dyn Task>) -> Result<(), StorageError> {
    let mut problem = "its turn did not come in time".to_owned();
    while task.entered().elapsed() < WITHIN {
        match together(lane, std::slice::from_mut(task)) {
            Ok(()) => return Ok(()),
            Err(Undone::Surely(StorageError::Unavailable(why))) => problem = why,
            Err(Undone::Surely(error) | Undone::Unsure(error)) => return Err(error),
        }
        std::thread::sleep(PAUSE);
    }
    Err(StorageError::Unavailable(problem))
}

/// Sends one step to a thread and waits for its answer.
async fn run<T, F>(threads: &mpsc::Sender<Box<dyn Task>>, step: F) -> Result<T, StorageError>
where
    T: Send + 'static,
    F: Fn(&Connection) -> Result<T, StorageError> + Send + 'static,
{
    let (caller, answered) = oneshot::channel();
    let step = Step { step, result: None, caller, entered: Instant::now() };
    send(threads, Box::new(step)).await?;
    answered.await.map_err(|_| StorageError::Closed)?
}

/// Sends those who wait to a thread. Never waits itself: a caller who goes away meanwhile must not leave the others behind.
fn send_for_thread<A: Send + 'static, T: Send + 'static>(
    threads: &mpsc::Sender<Box<dyn Task>>,
    party: Box<dyn Task>,
    gathering: &Arc<Gathering<A, T>>,
) {
    let party = match threads.try_send(party) {
        Ok(()) => return,
        Err(mpsc::error::TrySendError::Closed(_)) => return gathering.turn_away(&StorageError::Closed),
        Err(mpsc::error::TrySendError::Full(party)) => party,
    };
    let (threads, gathering) = (threads.clone(), gathering.clone());
    tokio::spawn(async move {
        if let Err(error) = send(&threads, party).await {
            gathering.turn_away(&error);
        }
    });
}

async fn send(threads: &mpsc::Sender<Box<dyn Task>>, task: Box<dyn Task>) -> Result<(), StorageError> {
    let place = tokio::time::timeout(PLACE_WITHIN, threads.reserve()).await;
    place.map_err(|_| StorageError::Busy)?.map_err(|_| StorageError::Closed)?.send(task);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_called_as_the_function_that_made_it() {
        let names = [
            (
                "<service::storage::sql::SqlStore as service::storage::Storage>::ping::{{closure}}::{{closure}}",
                "ping",
            ),
            ("service::storage::sql::outbox::lease", "lease"),
            (
                "service::storage::sql::SqlStore::change<(), <service::storage::sql::SqlStore as \
                 service::storage::Storage>::put_registration::{{closure}}::{{closure}}>::{{closure}}::{{closure}}",
                "put_registration",
            ),
        ];
        for (closure, step) in names {
            assert_eq!(step_name(closure), step, "{closure}");
        }
    }
}
