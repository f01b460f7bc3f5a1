//! What is held on people: exporting it and deleting it.

use jiff::Timestamp;
use serde::Serialize;

use super::{ContextId, DeploymentId, Member, PlacementId, RegistrationId, UserId};

/// Whose data is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PurgeScope {
    /// One person, as an issuer names them.
    Pupil {
        /// The issuer.
        issuer: String,
        /// The person there.
        user: UserId,
    },
    /// Everybody of one course.
    Course {
        /// The platform.
        issuer: String,
        /// The deployment; needed only where several of them have a course with that id.
        deployment: Option<DeploymentId>,
        /// The course.
        context: ContextId,
    },
    /// Everybody of one platform.
    Platform {
        /// The issuer.
        issuer: String,
    },
    /// Everybody at each quiz where they have done nothing since.
    Before(Timestamp),
}

/// What becomes of people whose grade has not reached the gradebook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaitingGrades {
    /// Nothing is deleted at all.
    Refuse,
    /// They are left out: their data stays until the grade is there.
    Keep,
    /// Their grades are deleted, too, and never reach the gradebook.
    Delete,
}

/// How much was deleted, or would be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct PurgeCounts {
    /// People at a quiz: a pupil with two quizzes counts twice.
    pub people: usize,
    /// Attempts with their answers and marks.
    pub attempts: usize,
    /// Grades of the outbox, delivered ones among them.
    pub grades: usize,
    /// Sessions.
    pub sessions: usize,
    /// Entries of class lists, with names where they are kept.
    pub members: usize,
    /// Entries of the audit trail that no longer name a person.
    pub audit: usize,
}

/// What a purge came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purged {
    /// Deleted, or counted where nothing was to be deleted.
    Done {
        /// How much.
        counts: PurgeCounts,
        /// Grades that are not in the gradebook: deleted, or kept with all of their owner.
        waiting: usize,
    },
    /// Nothing was deleted, because so many grades are not in the gradebook yet.
    GradesWaiting(usize),
    /// The issuer has no registration.
    NoPlatform,
    /// Several deployments have such a course; one has to be named.
    SeveralCourses,
}

/// Everything held on one person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// By quiz, the oldest first.
    pub quizzes: Vec<HeldQuiz>,
    /// Sessions that are stored: what they are for, and when they end.
    pub sessions: Vec<HeldSession>,
    /// Entries of the audit trail that name the person.
    pub audit: Vec<super::AuditEntry>,
}

/// What is held on a person at one quiz.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldQuiz {
    /// The quiz.
    pub placement: super::Placement,
    /// The person as one of the course.
    pub member: Option<Member>,
    /// Attempts in order, each with the time when a reset set it aside.
    pub attempts: Vec<(super::Attempt, Option<Timestamp>)>,
    /// The grade on its way to the gradebook.
    pub grade: Option<super::Delivery>,
    /// Attempts allowed beyond those of the quiz.
    pub extra_attempts: u32,
}

/// A stored session, without its secrets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldSession {
    /// `quiz`, `class` or `placing`.
    pub purpose: &'static str,
    /// The quiz, if it is for one.
    pub placement: Option<PlacementId>,
    /// The platform.
    pub registration: RegistrationId,
    /// When it ends.
    pub expires_at: Timestamp,
}
