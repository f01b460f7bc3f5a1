//! Everything held on one person, as a record to give out. It holds no secrets: no session's key, no seed of questions
//! that are still open.

use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

use crate::storage::{
    Attempt, AuditEntry, Delivery, DeliveryState, Held, HeldQuiz, HeldSession, Member, Override, PersonName,
    Responses, UserId,
};

/// Everything held on one person.
#[derive(Debug, Serialize, ToSchema)]
pub struct HeldRecord {
    /// The platform.
    issuer: String,
    /// The person, as the platform names them.
    pupil: String,
    /// When this was put together.
    #[schema(value_type = String, format = DateTime)]
    at: Timestamp,
    /// What is held at each quiz.
    quizzes: Vec<QuizRecord>,
    /// Sessions that are stored.
    sessions: Vec<SessionEntry>,
    /// Entries of the audit trail that name the person.
    audit: Vec<AuditRecord>,
}

/// What is held at one quiz.
#[derive(Debug, Serialize, ToSchema)]
struct QuizRecord {
    placement: String,
    title: String,
    pool: String,
    /// The course, as the platform names it.
    course: Option<String>,
    /// The person in the class list.
    member: Option<MemberRecord>,
    attempts: Vec<AttemptRecord>,
    /// The grade for the gradebook.
    grade: Option<GradeRecord>,
    /// Attempts that a teacher allowed beyond those of the quiz.
    extra_attempts: u32,
}

/// A person in a class list.
#[derive(Debug, Serialize, ToSchema)]
struct MemberRecord {
    /// `pupil`, `teacher`, `other` or `preview`.
    part: &'static str,
    /// `active`, `inactive` or `deleted`.
    status: &'static str,
    /// Where names are kept.
    name: Option<String>,
    #[schema(value_type = String, format = DateTime)]
    seen_at: Timestamp,
}

/// One attempt.
#[derive(Debug, Serialize, ToSchema)]
struct AttemptRecord {
    number: u32,
    #[schema(value_type = String, format = DateTime)]
    started_at: Timestamp,
    /// Texts as typed: question, then step.
    #[schema(value_type = Object)]
    responses: Responses,
    #[schema(value_type = Option<String>, format = DateTime)]
    submitted_at: Option<Timestamp>,
    /// Present when a reset set the attempt aside: it counts for nothing since.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    set_aside_at: Option<Timestamp>,
    points: Option<u32>,
    maximum: Option<u32>,
    /// Mark records, once handed in.
    #[schema(value_type = Option<Vec<Object>>)]
    marks: Option<serde_json::Value>,
    /// What the teacher changed of them, with the reasons.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(value_type = Vec<Object>)]
    overrides: Vec<Override>,
}

/// A grade for the gradebook.
#[derive(Debug, Serialize, ToSchema)]
struct GradeRecord {
    /// `graded`; or `started` or `reset`, without points.
    progress: &'static str,
    points: Option<u32>,
    maximum: Option<u32>,
    #[schema(value_type = String)]
    state: DeliveryState,
}

/// A stored session.
#[derive(Debug, Serialize, ToSchema)]
struct SessionEntry {
    /// `quiz`, `class` or `placing`.
    purpose: &'static str,
    placement: Option<String>,
    #[schema(value_type = String, format = DateTime)]
    expires_at: Timestamp,
}

/// An entry of the audit trail.
#[derive(Debug, Serialize, ToSchema)]
struct AuditRecord {
    #[schema(value_type = String, format = DateTime)]
    at: Timestamp,
    action: &'static str,
    by: String,
    detail: String,
}

impl HeldRecord {
    /// The record of what the store gave.
    pub fn new(issuer: &str, pupil: &UserId, at: Timestamp, held: Held) -> Self {
        Self {
            issuer: issuer.to_owned(),
            pupil: pupil.to_string(),
            at,
            quizzes: held.quizzes.into_iter().map(quiz).collect(),
            sessions: held.sessions.into_iter().map(session).collect(),
            audit: held.audit.into_iter().map(entry).collect(),
        }
    }
}

fn quiz(held: HeldQuiz) -> QuizRecord {
    let quiz = held.placement.quiz;
    QuizRecord {
        placement: held.placement.id.to_string(),
        title: quiz.title,
        pool: quiz.pool.to_string(),
        course: quiz.context.map(|context| context.to_string()),
        member: held.member.as_ref().map(member),
        attempts: held.attempts.into_iter().map(attempt).collect(),
        grade: held.grade.as_ref().map(grade),
        extra_attempts: held.extra_attempts,
    }
}

fn member(member: &Member) -> MemberRecord {
    MemberRecord {
        part: member.part.name(),
        status: member.status.name(),
        name: member.name.as_ref().map(|name| PersonName::shown(name).to_owned()),
        seen_at: member.seen_at,
    }
}

fn attempt((attempt, set_aside_at): (Attempt, Option<Timestamp>)) -> AttemptRecord {
    let result = attempt.result;
    AttemptRecord {
        number: attempt.number,
        started_at: attempt.started_at,
        responses: attempt.responses,
        submitted_at: result.as_ref().map(|result| result.submitted_at),
        set_aside_at,
        points: result.as_ref().map(|result| result.points),
        maximum: result.as_ref().map(|result| result.maximum),
        overrides: result.as_ref().map(|result| result.overrides.clone()).unwrap_or_default(),
        // Stored as JSON; what cannot be read is given out as the text it is.
        marks: result.map(|result| serde_json::from_str(&result.marks).unwrap_or(result.marks.into())),
    }
}

fn grade(grade: &Delivery) -> GradeRecord {
    let score = grade.progress.score();
    GradeRecord {
        progress: grade.progress.name(),
        points: score.map(|score| score.points),
        maximum: score.map(|score| score.maximum),
        state: grade.state,
    }
}

fn session(session: HeldSession) -> SessionEntry {
    SessionEntry {
        purpose: session.purpose,
        placement: session.placement.map(|placement| placement.to_string()),
        expires_at: session.expires_at,
    }
}

fn entry(entry: AuditEntry) -> AuditRecord {
    AuditRecord {
        at: entry.change.at,
        action: entry.action.name(),
        by: entry.change.by.to_string(),
        detail: entry.detail,
    }
}
