//! Scores: what the tool reports about a pupil and a line item, and the journal of everything it ever reported.
//!
//! A score counts only if its timestamp is strictly later than that of the one on record for the same line item and
//! person; otherwise it is answered 409 and changes nothing.

use std::collections::BTreeMap;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use actix_web::body::{BodySize, MessageBody};
use actix_web::http::StatusCode;
use actix_web::http::header::RETRY_AFTER;
use actix_web::web::{Bytes, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use jiff::{SignedDuration, Timestamp};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};

use super::access_tokens::Scope;
use super::clock;
use super::faults::Fault;
use super::line_items::{self, LineItemId};
use super::people::Role;
use super::points::Points;
use super::problems::ServiceProblem;
use super::service_request::{authorize, bearer, require_content_type};
use super::state::Platform;

const YEAR_MS: i64 = 365 * 24 * 60 * 60 * 1_000;
const SCORE_TYPE: &str = "application/vnd.ims.lis.v1.score+json";

/// How far the pupil has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ActivityProgress {
    /// Not begun, or reset.
    Initialized,
    /// Begun.
    Started,
    /// Being worked on.
    InProgress,
    /// Handed in, but may be changed.
    Submitted,
    /// Handed in for good.
    Completed,
}

/// How far the grading has come; only `FullyGraded` scores become results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum GradingProgress {
    /// Final.
    FullyGraded,
    /// Still to be graded by the tool.
    Pending,
    /// Still to be graded by a person.
    PendingManual,
    /// Could not be graded.
    Failed,
    /// Nothing to grade yet.
    NotReady,
}

/// A score as the tool sent it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "camelCase")]
pub struct ScoreMessage {
    /// Whose score; the `sub` of their launches.
    pub user_id: String,
    /// When the score changed at the tool.
    #[serde(deserialize_with = "strict_timestamp")]
    pub timestamp: Timestamp,
    /// How far the pupil has come.
    pub activity_progress: ActivityProgress,
    /// How far the grading has come.
    pub grading_progress: GradingProgress,
    /// Points; without them an earlier score is cleared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub score_given: Option<Points>,
    /// The scale of `score_given`, which need not be the line item's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub score_maximum: Option<Points>,
    /// Plain text for pupil and teacher.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
}

/// ISO 8601 with a fraction of a second and a zone, as the standard asks; RFC 3339 alone would be laxer.
fn strict_timestamp<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Timestamp, D::Error> {
    let text = String::deserialize(deserializer)?;
    let bytes = text.as_bytes();
    let has_fraction = bytes.get(10) == Some(&b'T') && bytes.get(19) == Some(&b'.');
    let parsed = text.parse().ok().filter(|_| has_fraction && !text.contains('['));
    parsed.ok_or_else(|| {
        D::Error::custom(format!(
            "timestamp `{text}` is not ISO 8601 with a fraction of a second and a zone, like 2025-01-07T09:30:00.125Z"
        ))
    })
}

impl ScoreMessage {
    fn check(&self) -> Result<(), String> {
        match (self.score_given, self.score_maximum) {
            (Some(_), None) => Err("scoreMaximum is missing beside scoreGiven".to_owned()),
            (_, Some(maximum)) if maximum == Points::ZERO => {
                Err("scoreMaximum must be greater than 0".to_owned())
            }
            _ => Ok(()),
        }
    }

    /// The points on the scale of the line item, if this is a final score.
    pub(super) fn result(&self, line_item_maximum: Points) -> Option<Points> {
        if self.grading_progress != GradingProgress::FullyGraded {
            return None;
        }
        self.score_given?.rescaled(self.score_maximum?, line_item_maximum)
    }
}

/// What became of a score message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// On record, and the sender was told so.
    Recorded,
    /// On record, but the connection was cut before the sender was told.
    RecordedUnanswered,
    /// Not later than the one on record: 409, nothing changed.
    OutOfOrder,
    /// Refused by a planned fault with this status; nothing changed.
    Refused(u16),
}

/// One well-formed score message for an existing line item and a pupil of the course.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JournalEntry {
    /// When it arrived here.
    pub received: Timestamp,
    /// Address of the line item.
    pub line_item: String,
    /// What it said.
    pub message: ScoreMessage,
    /// What became of it.
    pub outcome: Outcome,
}

/// The score on record for a line item and a person.
#[derive(Debug, Clone)]
pub(super) struct Recorded {
    pub(super) message: ScoreMessage,
    pub(super) received: Timestamp,
    /// What a later message has to be later than: its timestamp, unless the platform's clock runs ahead.
    stands_at: Timestamp,
}

/// A mark that the teacher put over whatever the tool sent.
#[derive(Debug, Clone, Copy)]
pub(super) struct TeachersMark {
    /// On the scale of the line item.
    pub(super) points: Points,
    pub(super) at: Timestamp,
}

/// Scores on record, and the journal.
#[derive(Debug, Default)]
pub(super) struct Scores {
    on_record: BTreeMap<(LineItemId, String), Recorded>,
    teachers_marks: BTreeMap<(LineItemId, String), TeachersMark>,
    journal: Vec<JournalEntry>,
}

impl Scores {
    pub(super) fn find(&self, line_item: LineItemId, user_id: &str) -> Option<&Recorded> {
        self.on_record.get(&(line_item, user_id.to_owned()))
    }

    pub(super) fn teachers_mark(&self, line_item: LineItemId, user_id: &str) -> Option<TeachersMark> {
        self.teachers_marks.get(&(line_item, user_id.to_owned())).copied()
    }

    /// The teacher gives a mark. It stands until the tool's next score: a tool that does not look overwrites it.
    pub(super) fn mark(&mut self, line_item: LineItemId, user_id: &str, points: Points) {
        let mark = TeachersMark { points, at: clock::now() };
        self.teachers_marks.insert((line_item, user_id.to_owned()), mark);
    }

    /// The teacher empties a cell: mark and score are gone.
    pub(super) fn clear(&mut self, line_item: LineItemId, user_id: &str) {
        let key = (line_item, user_id.to_owned());
        self.teachers_marks.remove(&key);
        self.on_record.remove(&key);
    }

    pub(super) fn journal(&self) -> &[JournalEntry] {
        &self.journal
    }

    /// Removes the scores of a deleted line item; the journal stays.
    pub(super) fn forget(&mut self, line_item: LineItemId) {
        self.on_record.retain(|(id, _), _| *id != line_item);
        self.teachers_marks.retain(|(id, _), _| *id != line_item);
    }

    /// Puts a message on record unless it is out of order. With a clock that runs ahead it stands under the time that
    /// clock shows.
    fn record(
        &mut self,
        line_item: LineItemId,
        message: &ScoreMessage,
        received: Timestamp,
        ahead: SignedDuration,
    ) -> bool {
        let key = (line_item, message.user_id.clone());
        if self.on_record.get(&key).is_some_and(|before| message.timestamp <= before.stands_at) {
            return false;
        }
        let own_time = if ahead.is_zero() { message.timestamp } else { received + ahead };
        let stands_at = message.timestamp.max(own_time);
        self.teachers_marks.remove(&key);
        self.on_record.insert(key, Recorded { message: message.clone(), received, stands_at });
        true
    }
}

/// `POST` on a line item's scores.
pub(super) async fn receive(
    platform: Data<Platform>,
    request: HttpRequest,
    id: Path<LineItemId>,
    bytes: Bytes,
) -> Result<HttpResponse, ServiceProblem> {
    authorize(&platform, &request, &[Scope::Score])?;
    line_items::existing(&platform.state(), *id)?;
    require_content_type(&request, SCORE_TYPE)?;
    let message: ScoreMessage = serde_json::from_slice(&bytes)
        .map_err(|error| ServiceProblem::bad_request(format!("not a score: {error}")))?;
    message.check().map_err(ServiceProblem::bad_request)?;
    require_pupil(&platform, &message.user_id)?;

    let fault = platform.state().faults.strikes_score();
    if let Some(Fault::Slow { delay_ms } | Fault::Reordered { delay_ms }) = fault {
        tokio::time::sleep(Duration::from_millis(delay_ms)).await;
    }
    let outcome = process(&platform, *id, message, fault.as_ref());
    if let (Outcome::Refused(401), Some(token)) = (outcome, bearer(&request)) {
        platform.state().access_tokens.revoke(token);
    }
    answer(outcome, fault.as_ref())
}

fn require_pupil(platform: &Platform, user_id: &str) -> Result<(), ServiceProblem> {
    match platform.members.find(user_id).map(|member| member.role) {
        Some(Role::Pupil) => Ok(()),
        Some(Role::Teacher) => {
            Err(ServiceProblem::new(StatusCode::FORBIDDEN, format!("`{user_id}` is not a learner here")))
        }
        None => Err(ServiceProblem::not_found(format!("there is no person `{user_id}` in this course"))),
    }
}

/// Records a message, or does not, and writes the journal.
fn process(platform: &Platform, id: LineItemId, message: ScoreMessage, fault: Option<&Fault>) -> Outcome {
    let received = clock::now();
    let mut state = platform.state();
    let ahead = match fault {
        // A year is far enough ahead for any test, and near enough for any timestamp.
        Some(Fault::ClockAhead { ahead_ms }) => {
            SignedDuration::from_millis(i64::try_from(*ahead_ms).unwrap_or(i64::MAX).min(YEAR_MS))
        }
        _ => SignedDuration::ZERO,
    };
    let outcome = match fault {
        Some(Fault::TooManyRequests { .. }) => Outcome::Refused(429),
        Some(Fault::ServerError) => Outcome::Refused(500),
        Some(Fault::TokenRefused) => Outcome::Refused(401),
        _ if !state.scores.record(id, &message, received, ahead) => Outcome::OutOfOrder,
        Some(Fault::ConnectionCut) => Outcome::RecordedUnanswered,
        _ => Outcome::Recorded,
    };
    let line_item = line_items::url(platform, id);
    state.scores.journal.push(JournalEntry { received, line_item, message, outcome });
    outcome
}

fn answer(outcome: Outcome, fault: Option<&Fault>) -> Result<HttpResponse, ServiceProblem> {
    if fault == Some(&Fault::ConnectionCut) {
        return Ok(HttpResponse::Ok().body(CutConnection));
    }
    match (outcome, fault) {
        (_, Some(Fault::TooManyRequests { retry_after_s })) => Ok(HttpResponse::TooManyRequests()
            .insert_header((RETRY_AFTER, retry_after_s.to_string()))
            .content_type("application/problem+json")
            .body(r#"{"title":"Too Many Requests","status":429}"#)),
        (Outcome::Refused(401), _) => {
            Err(ServiceProblem::new(StatusCode::UNAUTHORIZED, "the bearer token was revoked"))
        }
        (Outcome::Refused(_), _) => {
            Err(ServiceProblem::new(StatusCode::INTERNAL_SERVER_ERROR, "planned failure"))
        }
        (Outcome::OutOfOrder, _) => Err(ServiceProblem::new(
            StatusCode::CONFLICT,
            "timestamp is not later than that of the score on record; nothing was changed",
        )),
        (Outcome::Recorded | Outcome::RecordedUnanswered, _) => Ok(HttpResponse::NoContent().finish()),
    }
}

/// A body that fails at once, before the head of the response has left, so that the connection closes without
/// any answer.
struct CutConnection;

impl MessageBody for CutConnection {
    type Error = io::Error;

    fn size(&self) -> BodySize {
        BodySize::Stream
    }

    fn poll_next(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<Bytes, io::Error>>> {
        Poll::Ready(Some(Err(io::Error::other("planned: the connection is cut without an answer"))))
    }
}
