//! Steps of one kind that come by the thousand and go together.
//!
//! Whoever comes first sends for a thread; all who come until it begins go along, in one step that asks the database for
//! everybody at once. Nobody waits for others to come: alone, one goes alone.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use tokio::sync::oneshot;

use super::connection::Connection;
use super::threads::{QUEUE_LENGTH, Task};
use crate::storage::StorageError;

/// What is done for several at once: an outcome for each, in their order. If it fails, it is done for each alone.
pub(super) type ForAll<A, T> = fn(&Connection, &[A]) -> Result<Vec<T>, StorageError>;

/// What one gets who joins.
pub(super) struct Joined<T> {
    /// Comes once the step is done.
    pub(super) answered: oneshot::Receiver<Result<T, StorageError>>,
    /// What to send for a thread with, unless somebody has done so already.
    pub(super) party: Option<Box<dyn Task>>,
}

/// Those who wait to go along.
pub(super) struct Gathering<A, T> {
    /// What the step is called.
    pub(super) name: &'static str,
    for_all: ForAll<A, T>,
    waiting: Mutex<Vec<Waiting<A, T>>>,
}

struct Waiting<A, T> {
    asked: A,
    caller: oneshot::Sender<Result<T, StorageError>>,
    entered: Instant,
}

impl<A: Send + 'static, T: Send + 'static> Gathering<A, T> {
    pub(super) fn new(name: &'static str, for_all: ForAll<A, T>) -> Arc<Self> {
        Arc::new(Self { name, for_all, waiting: Mutex::default() })
    }

    /// Joins those who wait.
    ///
    /// # Errors
    /// [`StorageError::Busy`] when too many do.
    pub(super) fn join(self: &Arc<Self>, asked: A) -> Result<Joined<T>, StorageError> {
        let (caller, answered) = oneshot::channel();
        let mut waiting = self.waiting();
        if waiting.len() >= QUEUE_LENGTH {
            return Err(StorageError::Busy);
        }
        waiting.push(Waiting { asked, caller, entered: Instant::now() });
        let first = waiting.len() == 1;
        drop(waiting);
        let party = || Box::new(Party::new(self.clone(), Vec::new())) as Box<dyn Task>;
        Ok(Joined { answered, party: first.then(party) })
    }

    /// Answers those who wait, because no thread could be sent for.
    pub(super) fn turn_away(&self, error: &StorageError) {
        for Waiting { caller, .. } in self.take() {
            let _ = caller.send(Err(error.clone()));
        }
    }

    fn take(&self) -> Vec<Waiting<A, T>> {
        std::mem::take(&mut *self.waiting())
    }

    fn waiting(&self) -> MutexGuard<'_, Vec<Waiting<A, T>>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Those who go together.
struct Party<A, T> {
    gathering: Arc<Gathering<A, T>>,
    asked: Vec<A>,
    callers: Vec<oneshot::Sender<Result<T, StorageError>>>,
    outcomes: Vec<T>,
    entered: Instant,
}

impl<A, T> Party<A, T> {
    fn new(gathering: Arc<Gathering<A, T>>, of: Vec<Waiting<A, T>>) -> Self {
        let entered = of.first().map_or_else(Instant::now, |first| first.entered);
        let (asked, callers) = of.into_iter().map(|one| (one.asked, one.caller)).unzip();
        Self { gathering, asked, callers, outcomes: Vec::new(), entered }
    }
}

impl<A: Send + 'static, T: Send + 'static> Task for Party<A, T> {
    fn gather(&mut self) {
        if self.asked.is_empty() {
            *self = Self::new(self.gathering.clone(), self.gathering.take());
        }
    }

    fn size(&self) -> usize {
        self.asked.len()
    }

    fn split(self: Box<Self>) -> Vec<Box<dyn Task>> {
        let Self { gathering, asked, callers, entered, .. } = *self;
        let alone = |(asked, caller)| {
            let waiting = vec![Waiting { asked, caller, entered }];
            Box::new(Self::new(gathering.clone(), waiting)) as Box<dyn Task>
        };
        asked.into_iter().zip(callers).map(alone).collect()
    }

    fn run(&mut self, connection: &Connection) -> Result<(), StorageError> {
        self.outcomes = (self.gathering.for_all)(connection, &self.asked)?;
        Ok(())
    }

    fn answer(self: Box<Self>, outcome: Result<(), StorageError>) {
        let mut outcomes = self.outcomes.into_iter();
        for caller in self.callers {
            let own = outcomes.next().ok_or(StorageError::Closed);
            // A caller that has gone away needs no answer.
            let _ = caller.send(outcome.clone().and(own));
        }
    }

    fn entered(&self) -> Instant {
        self.entered
    }
}
