//! The class list of a quiz's course: read again when it is some minutes old, or when the teacher asks.

use std::time::Duration;

use actix_web::{HttpResponse, web};
use jiff::Timestamp;

use crate::app::App;
use crate::clock::plus_ms;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::handlers::problem_words;
use crate::session::TeacherSession;
use crate::storage::{Member, Placement, PlacementId, Roster, RosterReading, StorageError};
use crate::texts::Texts;

/// How old a list may be before the page has it read again.
const FRESH_MS: i64 = 5 * 60 * 1000;
/// How long the button rests after a reading, so that pressing it does no harm to the platform.
const REST_MS: i64 = 5 * 1000;
/// How long the page waits for a reading; it goes on by itself after that.
const WAIT: Duration = Duration::from_secs(3);

/// Who is in the course, and how we know.
pub(super) struct ClassList {
    /// The people, by launches and by the platform's list.
    pub(super) members: Vec<Member>,
    /// The platform's list, if there is one.
    pub(super) roster: Option<Roster>,
}

/// POST: the list is read again.
pub(crate) async fn read_again(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    freshen(&app, &quiz.placement, REST_MS).await;
    Ok(answer::see_other(&format!("/class/{}", session.placement)))
}

/// The class list, read again first if it is too old.
pub(super) async fn class_list(
    app: &web::Data<App>,
    placement: &Placement,
) -> Result<ClassList, StorageError> {
    freshen(app, placement, FRESH_MS).await;
    Ok(ClassList {
        members: app.storage.members_at(&placement.id).await?,
        roster: app.storage.roster(&placement.id).await?,
    })
}

/// Starts a reading unless one began within the last `rest_ms`, and waits for it a little.
async fn freshen(app: &web::Data<App>, placement: &Placement, rest_ms: i64) {
    let reading = tokio::spawn(read(app.clone(), placement.clone(), rest_ms));
    match tokio::time::timeout(WAIT, reading).await {
        Ok(Ok(Ok(()))) => {}
        Ok(Ok(Err(error))) => tracing::error!(%error, "a class list could not be stored"),
        Ok(Err(error)) => tracing::error!(%error, "reading a class list ended badly"),
        Err(_) => tracing::info!(placement.id = %placement.id, "a class list takes long; the page goes on"),
    }
}

async fn read(app: web::Data<App>, placement: Placement, rest_ms: i64) -> Result<(), StorageError> {
    let now = app.clock.now();
    let claimed = app.storage.claim_roster(&placement.id, plus_ms(now, -rest_ms), now).await?;
    let Some(roster) = claimed else { return Ok(()) };
    let registration = app.storage.registration(placement.quiz.link.registration).await?;
    let Some(registration) = registration else { return Ok(()) };
    let names = app.settings.privacy.names;
    let reading = app.rosters.read(&registration, &placement, &roster, names, now).await;
    app.metrics.class_list_read(&reading);
    log(&placement.id, &reading);
    app.storage.put_roster(&placement.id, reading, now).await
}

fn log(placement: &PlacementId, reading: &RosterReading) {
    match reading {
        RosterReading::Whole { members, .. } => {
            tracing::info!(placement.id = %placement, members = members.len(), "a class list was read");
        }
        RosterReading::Changes { members, .. } => {
            tracing::info!(placement.id = %placement, changes = members.len(), "changes of a class list were read");
        }
        RosterReading::Failed { problem } => {
            tracing::warn!(placement.id = %placement, problem, "a class list could not be read");
        }
    }
}

impl ClassList {
    /// What the page says about the list; `told` puts a time into words.
    pub(super) fn words(&self, texts: &Texts, told: impl Fn(Timestamp) -> String) -> String {
        let Some(roster) = &self.roster else { return texts.say("class-list-none") };
        let problem = roster.problem.as_deref().map(|problem| problem_words::told(texts, problem));
        let problem = problem.unwrap_or_default();
        match (&roster.read_at, &roster.problem) {
            (Some(read), None) => texts.with("class-list-read", &[("time", told(*read).into())]),
            (Some(read), Some(_)) => {
                texts.with("class-list-stale", &[("problem", problem.into()), ("time", told(*read).into())])
            }
            (None, Some(_)) => texts.with("class-list-failed", &[("problem", problem.into())]),
            (None, None) => texts.say("class-list-soon"),
        }
    }
}
