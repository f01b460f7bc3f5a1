//! Records of work in the background.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Bytes of one piece of a job's file.
pub const JOB_PIECE: usize = 1024 * 1024;
/// Bytes of the largest file that a job may make.
pub const JOB_FILE_MOST: usize = 64 * 1024 * 1024;

/// A job that begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewJob {
    /// Its name.
    pub id: String,
    /// Who asked for it: the name of their token.
    pub owner: String,
    /// What it is, in the words of whoever asked.
    pub title: String,
}

/// Where a job stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobState {
    /// It waits or is worked on: parts that are done, and how many there are; none while that is not known.
    Running {
        /// Done.
        done: u64,
        /// All.
        parts: Option<u64>,
    },
    /// It is done.
    Done(JobOutcome),
    /// It came to nothing; says why, as far as that is known.
    Failed(String),
    /// The process that worked on it is gone.
    Interrupted,
    /// Whoever asked for it stopped it.
    Cancelled,
}

impl JobState {
    /// Whether it is still waiting or being worked on.
    pub fn is_running(&self) -> bool {
        matches!(self, Self::Running { .. })
    }
}

/// What a job came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobOutcome {
    /// Whether everything was as hoped.
    pub holds: bool,
    /// Lines for the person who asked.
    pub lines: Vec<String>,
    /// The file that it made; its content is in pieces.
    pub file: Option<JobFile>,
}

/// A file that a job made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobFile {
    /// Its name.
    pub name: String,
    /// Its length in bytes.
    pub length: usize,
}

/// A job as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// Its name.
    pub id: String,
    /// What it is, in the words of whoever asked.
    pub title: String,
    /// When it began.
    pub started_at: Timestamp,
    /// Where it stands.
    pub state: JobState,
}
