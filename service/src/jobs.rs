//! Work that takes longer than a page may: done in the background, a few at a time, with progress and a result that is
//! kept for a while.
//!
//! Jobs are in the store, so that any process shows them; the process that began one works on it, and tells the store
//! every two seconds how far it is. If that process ends, the others see its jobs as interrupted, see
//! [`crate::storage::Storage::beat`]; what they make can be made again. A job that was cancelled, here or at another
//! process, hears of it when it tells of its progress, and stops at its next step.

use std::collections::BTreeMap;
use std::io::{self, Seek, SeekFrom, Write};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Semaphore;

use crate::clock::Clock;
use crate::entropy;
use crate::storage::{Change, JOB_FILE_MOST, JOB_PIECE, JobFile, JobOutcome, NewJob, Storage, StorageError};

/// Jobs that one process works on at once; others wait.
const AT_ONCE: usize = 2;
/// Jobs of one person that are waiting or worked on; as many are kept.
const EACH_MOST: usize = 10;
/// How often the store is told how far a job is.
const TELL_EVERY: Duration = Duration::from_secs(2);

/// How far a job is, told by whoever works on it.
#[derive(Debug, Default)]
pub struct Progress {
    done: AtomicU64,
    total: AtomicU64,
    stopped: AtomicBool,
}

impl Progress {
    /// Says how many parts there are.
    pub fn expect(&self, parts: u64) {
        self.total.store(parts, Ordering::Relaxed);
    }

    /// Says that one more part is done.
    pub fn step(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// A file that takes nothing more once the job is stopped: whoever writes a long file stops by that.
    pub fn stopping<W>(&self, file: W) -> Stopping<'_, W> {
        Stopping { progress: self, file }
    }

    fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }

    fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }

    /// Parts that are done, and all.
    fn parts(&self) -> (u64, u64) {
        let total = self.total.load(Ordering::Relaxed);
        (self.done.load(Ordering::Relaxed).min(total), total)
    }
}

/// See [`Progress::stopping`].
#[derive(Debug)]
pub struct Stopping<'p, W> {
    progress: &'p Progress,
    file: W,
}

impl<W> Stopping<'_, W> {
    /// The file.
    pub fn into_inner(self) -> W {
        self.file
    }
}

impl<W: Write> Write for Stopping<'_, W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.progress.is_stopped() {
            return Err(io::Error::other("the job was stopped"));
        }
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl<W: Seek> Seek for Stopping<'_, W> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

/// What a job came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Whether everything was as hoped.
    pub holds: bool,
    /// Lines for the person who asked.
    pub lines: Vec<String>,
    /// A file to download: its name and content.
    pub file: Option<(String, Vec<u8>)>,
}

/// The jobs of this process.
#[derive(Clone)]
pub struct Jobs {
    storage: Arc<dyn Storage>,
    clock: Arc<dyn Clock>,
    slots: Arc<Semaphore>,
    /// Those that wait or are worked on here, by name.
    here: Arc<Mutex<BTreeMap<String, Arc<Progress>>>>,
}

impl Jobs {
    /// No jobs yet.
    pub(crate) fn new(storage: Arc<dyn Storage>, clock: Arc<dyn Clock>) -> Self {
        Self { storage, clock, slots: Arc::new(Semaphore::new(AT_ONCE)), here: Arc::default() }
    }

    /// Begins a job and returns its name; none if too many of that person are waiting or worked on. A panic of `work` ends
    /// the job, not the service.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn begin(
        &self,
        owner: &str,
        title: String,
        change: &Change,
        work: impl FnOnce(&Progress) -> Result<Outcome, String> + Send + 'static,
    ) -> Result<Option<String>, StorageError> {
        let id = entropy::identifier();
        let job = NewJob { id: id.clone(), owner: owner.to_owned(), title };
        if !self.storage.begin_job(&job, EACH_MOST, change).await? {
            return Ok(None);
        }
        let progress = Arc::new(Progress::default());
        self.here().insert(id.clone(), progress.clone());
        let (jobs, name) = (self.clone(), id.clone());
        tokio::spawn(async move {
            jobs.work_on(&name, progress, work).await;
            jobs.here().remove(&name);
        });
        Ok(Some(id))
    }

    /// Stops a job of that person, wherever it is worked on. False when there is none that runs.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn cancel(&self, owner: &str, id: &str, change: &Change) -> Result<bool, StorageError> {
        let cancelled = self.storage.cancel_job(owner, id, change).await?;
        if cancelled && let Some(progress) = self.here().get(id) {
            progress.stop();
        }
        Ok(cancelled)
    }

    /// Stops all jobs of this process, which is about to end.
    pub(crate) fn stop(&self) {
        self.here().values().for_each(|progress| progress.stop());
    }

    async fn work_on(
        &self,
        id: &str,
        progress: Arc<Progress>,
        work: impl FnOnce(&Progress) -> Result<Outcome, String> + Send + 'static,
    ) {
        let worked = {
            let (slots, progress) = (self.slots.clone(), progress.clone());
            async move {
                let slot = slots.acquire_owned().await;
                if progress.is_stopped() {
                    return Ok(Err(String::new()));
                }
                let worked = tokio::task::spawn_blocking(move || work(&progress)).await;
                drop(slot);
                worked
            }
        };
        tokio::pin!(worked);
        let result = loop {
            tokio::select! {
                worked = &mut worked => break worked,
                () = tokio::time::sleep(TELL_EVERY) => self.tell(id, &progress).await,
            }
        };
        let result = result.unwrap_or_else(|error| {
            tracing::error!(%error, "a job ended badly");
            Err(String::new())
        });
        while !progress.is_stopped() {
            match self.keep(id, &result).await {
                Ok(()) => return,
                Err(error) => tracing::error!(%error, "what a job came to could not be stored yet"),
            }
            tokio::time::sleep(TELL_EVERY).await;
        }
    }

    /// Tells how far a job is; stops it if it is to go no further.
    async fn tell(&self, id: &str, progress: &Progress) {
        let (done, total) = progress.parts();
        match self.storage.note_job_progress(id, done, total).await {
            Ok(true) => {}
            Ok(false) => progress.stop(),
            Err(error) => tracing::warn!(%error, "the progress of a job could not be stored"),
        }
    }

    /// Stores what a job came to.
    async fn keep(&self, id: &str, result: &Result<Outcome, String>) -> Result<(), StorageError> {
        let result = match result {
            Err(problem) => Err(problem.clone()),
            Ok(Outcome { file: Some((_, content)), .. }) if content.len() > JOB_FILE_MOST => {
                Err(format!("the file has {} bytes, and at most {JOB_FILE_MOST} are kept", content.len()))
            }
            Ok(Outcome { holds, lines, file }) => {
                let mut kept = None;
                if let Some((name, content)) = file {
                    for (place, piece) in content.chunks(JOB_PIECE).enumerate() {
                        if !self.storage.add_job_piece(id, place, piece.to_vec()).await? {
                            return Ok(());
                        }
                    }
                    kept = Some(JobFile { name: name.clone(), length: content.len() });
                }
                Ok(JobOutcome { holds: *holds, lines: lines.clone(), file: kept })
            }
        };
        // It may have been cancelled at the last moment; then nothing is kept.
        self.storage.end_job(id, &result, self.clock.now()).await.map(|_| ())
    }

    fn here(&self) -> MutexGuard<'_, BTreeMap<String, Arc<Progress>>> {
        // A panic elsewhere leaves the list whole: entries are only put in and taken out.
        self.here.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc;

    use super::*;
    use crate::clock::SettableClock;
    use crate::storage::{Actor, Job, JobState};

    fn change() -> Change {
        Change { at: "2026-03-02T08:05:00Z".parse().unwrap(), by: Actor::CommandLine }
    }

    /// Two processes with one store.
    fn two() -> (tempfile::TempDir, [Jobs; 2]) {
        let folder = tempfile::tempdir().unwrap();
        let address = format!("sqlite:{}", folder.path().join("tenths.db").display());
        let clock = Arc::new(SettableClock::at(change().at));
        (folder, [(), ()].map(|()| Jobs::new(crate::storage::open(&address).unwrap(), clock.clone())))
    }

    fn outcome(file: Option<Vec<u8>>) -> Outcome {
        let file = file.map(|content| ("package.zip".to_owned(), content));
        Outcome { holds: true, lines: vec!["done".into()], file }
    }

    async fn seen(jobs: &Jobs, id: &str, wanted: impl Fn(&JobState) -> bool) -> Job {
        for _ in 0..1_000 {
            let job = jobs.storage.job("k", id).await.unwrap().unwrap();
            if wanted(&job.state) {
                return job;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("the job does not get there: {:?}", jobs.storage.job("k", id).await)
    }

    async fn ended(jobs: &Jobs, id: &str) -> JobState {
        seen(jobs, id, |state| !state.is_running()).await.state
    }

    #[tokio::test]
    async fn another_process_sees_how_far_a_job_is_and_what_it_came_to() {
        let (_folder, [here, there]) = two();
        let (go_on, may_go_on) = mpsc::channel::<()>();
        let content: Vec<u8> = (0..JOB_PIECE + 7).map(|number| u8::try_from(number % 251).unwrap()).collect();
        let made = content.clone();
        let work = move |progress: &Progress| {
            progress.expect(4);
            progress.step();
            may_go_on.recv().map_err(|error| error.to_string())?;
            Ok(outcome(Some(made)))
        };
        let id = here.begin("k", "export".into(), &change(), work).await.unwrap().unwrap();
        seen(&there, &id, |state| *state == JobState::Running { done: 1, parts: Some(4) }).await;
        go_on.send(()).unwrap();
        let JobState::Done(outcome) = ended(&there, &id).await else { panic!("it is done") };
        assert_eq!(outcome.file, Some(JobFile { name: "package.zip".to_owned(), length: content.len() }));
        let mut kept = Vec::new();
        for place in 0..2 {
            kept.extend(there.storage.job_piece("k", &id, place).await.unwrap().unwrap());
        }
        assert_eq!(kept, content);
    }

    #[tokio::test]
    async fn a_job_that_is_cancelled_elsewhere_stops_writing() {
        let (_folder, [here, there]) = two();
        let (told, stopped) = mpsc::channel::<String>();
        let work = move |progress: &Progress| {
            let mut file = progress.stopping(io::sink());
            loop {
                if let Err(error) = file.write_all(b"more") {
                    told.send(error.to_string()).unwrap();
                    return Err(error.to_string());
                }
                std::thread::sleep(Duration::from_millis(1));
            }
        };
        let id = here.begin("k", "export".into(), &change(), work).await.unwrap().unwrap();
        assert!(!there.cancel("another", &id, &change()).await.unwrap());
        assert!(there.cancel("k", &id, &change()).await.unwrap());
        let stopped = tokio::task::spawn_blocking(move || stopped.recv_timeout(Duration::from_secs(30)));
        assert_eq!(stopped.await.unwrap().unwrap(), "the job was stopped");
        assert_eq!(ended(&here, &id).await, JobState::Cancelled);
    }

    #[tokio::test]
    async fn a_job_that_fails_or_panics_says_so_and_the_next_one_runs() {
        let (_folder, [jobs, _]) = two();
        let failed =
            jobs.begin("k", "a".into(), &change(), |_| Err("no room".into())).await.unwrap().unwrap();
        assert_eq!(ended(&jobs, &failed).await, JobState::Failed("no room".into()));
        for _ in 0..3 {
            let work = |_: &Progress| panic!("on purpose");
            let panicked = jobs.begin("k", "b".into(), &change(), work).await.unwrap().unwrap();
            assert_eq!(ended(&jobs, &panicked).await, JobState::Failed(String::new()));
        }
        let large = vec![0; JOB_FILE_MOST + 1];
        let work = |_: &Progress| Ok(outcome(Some(large)));
        let large = jobs.begin("k", "c".into(), &change(), work).await.unwrap().unwrap();
        assert!(
            matches!(ended(&jobs, &large).await, JobState::Failed(why) if why.contains("at most 67108864"))
        );
        let next = jobs.begin("k", "d".into(), &change(), |_| Ok(outcome(None))).await.unwrap().unwrap();
        assert!(matches!(ended(&jobs, &next).await, JobState::Done(_)));
    }

    #[tokio::test]
    async fn one_person_cannot_keep_all_busy() {
        let (_folder, [jobs, there]) = two();
        let (go_on, may_go_on) = mpsc::channel::<()>();
        let may_go_on = Arc::new(Mutex::new(may_go_on));
        for number in 0..EACH_MOST {
            let may_go_on = may_go_on.clone();
            let work = move |_: &Progress| {
                may_go_on.lock().unwrap().recv().map_err(|error| error.to_string())?;
                Ok(outcome(None))
            };
            let jobs = if number % 2 == 0 { &jobs } else { &there };
            assert!(jobs.begin("k", "x".into(), &change(), work).await.unwrap().is_some());
        }
        let quick = |_: &Progress| Ok(outcome(None));
        assert_eq!(there.begin("k", "y".into(), &change(), quick).await.unwrap(), None);
        assert!(jobs.begin("another", "y".into(), &change(), quick).await.unwrap().is_some());
        for _ in 0..EACH_MOST {
            go_on.send(()).unwrap();
        }
    }
}
