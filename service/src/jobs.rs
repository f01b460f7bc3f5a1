//! Work that takes longer than a page may: done in the background, a few at a time, with progress and a result that is
//! kept for a while.
//!
//! Jobs live in this process. What they make can be made again, so a restart loses nothing but time.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use tokio::sync::Semaphore;

use crate::clock::plus_ms;
use crate::entropy;

/// Jobs that are worked on at once; others wait.
const AT_ONCE: usize = 2;
/// Jobs of one person that are kept or waiting.
const EACH_MOST: usize = 10;
/// How long a job is kept.
const KEPT_MS: i64 = 60 * 60 * 1000;
/// Bytes of all results together; the oldest go first.
const BYTES_MOST: usize = 200 * 1024 * 1024;

/// How far a job is, told by whoever works on it.
#[derive(Debug, Default)]
pub struct Progress {
    done: AtomicU64,
    total: AtomicU64,
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

    /// In hundredths; none while the number of parts is not known.
    fn percent(&self) -> Option<u64> {
        let total = self.total.load(Ordering::Relaxed);
        let done = self.done.load(Ordering::Relaxed).min(total);
        (total > 0).then(|| done * 100 / total)
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
    pub file: Option<(String, Arc<Vec<u8>>)>,
}

/// Where a job stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobState {
    /// It waits or is worked on; hundredths, where they are known.
    Running(Option<u64>),
    /// It is done.
    Done(Outcome),
    /// It came to nothing; says why.
    Failed(String),
}

/// A job as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobView {
    /// What it is, in the words of the person who asked.
    pub title: String,
    /// Where it stands.
    pub state: JobState,
}

#[derive(Debug)]
struct Job {
    owner: String,
    title: String,
    started_at: Timestamp,
    progress: Arc<Progress>,
    result: Option<Result<Outcome, String>>,
}

/// All jobs of this process.
#[derive(Debug)]
pub struct Jobs {
    known: Arc<Mutex<BTreeMap<String, Job>>>,
    slots: Arc<Semaphore>,
}

impl Default for Jobs {
    fn default() -> Self {
        Self { known: Arc::default(), slots: Arc::new(Semaphore::new(AT_ONCE)) }
    }
}

/// Nothing was begun, because too many jobs of this person are kept or waiting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooMany;

impl Jobs {
    /// Begins a job and returns its name. A panic of `work` ends the job, not the service.
    ///
    /// # Errors
    /// [`TooMany`].
    pub fn begin(
        &self,
        owner: &str,
        title: String,
        now: Timestamp,
        work: impl FnOnce(&Progress) -> Result<Outcome, String> + Send + 'static,
    ) -> Result<String, TooMany> {
        let id = entropy::identifier();
        let progress = Arc::new(Progress::default());
        self.forget_old(now);
        {
            let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
            let theirs = known.iter().filter(|(_, job)| job.owner == owner);
            if theirs.clone().filter(|(_, job)| job.result.is_none()).count() >= EACH_MOST {
                return Err(TooMany);
            }
            // Of those that are done the oldest makes room.
            let oldest =
                theirs.clone().filter(|(_, job)| job.result.is_some()).min_by_key(|(_, job)| job.started_at);
            if theirs.count() >= EACH_MOST
                && let Some(oldest) = oldest.map(|(id, _)| id.clone())
            {
                known.remove(&oldest);
            }
            let job = Job {
                owner: owner.to_owned(),
                title,
                started_at: now,
                progress: progress.clone(),
                result: None,
            };
            known.insert(id.clone(), job);
        }
        let (known, slots, name) = (self.known.clone(), self.slots.clone(), id.clone());
        tokio::spawn(async move {
            let slot = slots.acquire_owned().await;
            let worked = tokio::task::spawn_blocking(move || work(&progress)).await;
            drop(slot);
            let result = worked.unwrap_or_else(|error| {
                tracing::error!(%error, "a job ended badly");
                Err(String::new())
            });
            keep(&known, &name, result);
        });
        Ok(id)
    }

    /// Forgets what was kept for long enough.
    pub fn forget_old(&self, now: Timestamp) {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        known.retain(|_, job| job.result.is_none() || now < plus_ms(job.started_at, KEPT_MS));
    }

    /// A job of that person.
    pub fn view(&self, owner: &str, id: &str) -> Option<JobView> {
        let known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let job = known.get(id).filter(|job| job.owner == owner)?;
        let state = match &job.result {
            None => JobState::Running(job.progress.percent()),
            Some(Ok(outcome)) => JobState::Done(outcome.clone()),
            Some(Err(problem)) => JobState::Failed(problem.clone()),
        };
        Some(JobView { title: job.title.clone(), state })
    }

    /// Forgets a job of that person that is done. One that waits or is worked on stays, since it still takes its room.
    pub fn forget(&self, owner: &str, id: &str) {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.get(id).is_some_and(|job| job.owner == owner && job.result.is_some()) {
            known.remove(id);
        }
    }
}

fn keep(known: &Mutex<BTreeMap<String, Job>>, id: &str, result: Result<Outcome, String>) {
    let mut known = known.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(job) = known.get_mut(id) else { return };
    job.result = Some(result);
    while known.values().map(bytes).sum::<usize>() > BYTES_MOST {
        let done = known.iter().filter(|(other, job)| bytes(job) > 0 && *other != id);
        let Some(oldest) = done.min_by_key(|(_, job)| job.started_at).map(|(id, _)| id.clone()) else {
            return;
        };
        known.remove(&oldest);
    }
}

fn bytes(job: &Job) -> usize {
    let file = job.result.as_ref().and_then(|result| result.as_ref().ok()?.file.as_ref());
    file.map_or(0, |(_, content)| content.len())
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    fn now() -> Timestamp {
        "2026-03-02T08:05:00Z".parse().unwrap()
    }

    fn outcome() -> Outcome {
        Outcome { holds: true, lines: vec!["done".into()], file: None }
    }

    async fn ended(jobs: &Jobs, id: &str) -> JobState {
        for _ in 0..500 {
            match jobs.view("k", id).unwrap().state {
                JobState::Running(_) => tokio::time::sleep(Duration::from_millis(10)).await,
                state => return state,
            }
        }
        panic!("the job does not end")
    }

    #[tokio::test]
    async fn a_job_tells_how_far_it_is_and_what_it_came_to() {
        let jobs = Jobs::default();
        let (go_on, may_go_on) = std::sync::mpsc::channel::<()>();
        let work = move |progress: &Progress| {
            progress.expect(4);
            progress.step();
            may_go_on.recv().map_err(|error| error.to_string())?;
            Ok(outcome())
        };
        let id = jobs.begin("k", "export".into(), now(), work).unwrap();
        for _ in 0..500 {
            if jobs.view("k", &id).unwrap().state == JobState::Running(Some(25)) {
                break;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        assert_eq!(jobs.view("k", &id).unwrap().state, JobState::Running(Some(25)));
        assert!(jobs.view("another", &id).is_none(), "it is nobody else's business");
        go_on.send(()).unwrap();
        assert_eq!(ended(&jobs, &id).await, JobState::Done(outcome()));
        jobs.forget("another", &id);
        assert!(jobs.view("k", &id).is_some());
        jobs.forget("k", &id);
        assert!(jobs.view("k", &id).is_none());
    }

    #[tokio::test]
    async fn a_job_that_fails_or_panics_says_so_and_the_next_one_runs() {
        let jobs = Jobs::default();
        let failed = jobs.begin("k", "a".into(), now(), |_| Err("no room".into())).unwrap();
        assert_eq!(ended(&jobs, &failed).await, JobState::Failed("no room".into()));
        for _ in 0..3 {
            let panicked = jobs.begin("k", "b".into(), now(), |_| panic!("on purpose")).unwrap();
            assert_eq!(ended(&jobs, &panicked).await, JobState::Failed(String::new()));
        }
        let next = jobs.begin("k", "c".into(), now(), |_| Ok(outcome())).unwrap();
        assert_eq!(ended(&jobs, &next).await, JobState::Done(outcome()));
    }

    #[tokio::test]
    async fn one_person_cannot_fill_the_memory() {
        let jobs = Jobs::default();
        let (go_on, may_go_on) = std::sync::mpsc::channel::<()>();
        let may_go_on = Arc::new(Mutex::new(may_go_on));
        for _ in 0..EACH_MOST {
            let may_go_on = may_go_on.clone();
            let work = move |_: &Progress| {
                may_go_on.lock().unwrap().recv().map_err(|error| error.to_string())?;
                Ok(outcome())
            };
            jobs.begin("k", "x".into(), now(), work).unwrap();
        }
        assert_eq!(jobs.begin("k", "y".into(), now(), |_| Ok(outcome())), Err(TooMany));
        assert!(jobs.begin("another", "y".into(), now(), |_| Ok(outcome())).is_ok());
        for _ in 0..EACH_MOST {
            go_on.send(()).unwrap();
        }
    }
}
