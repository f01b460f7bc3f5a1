//! What a teacher can do about grades: send them again, compare them with the gradebook, choose between two marks, allow
//! a pupil one more attempt, and reset a pupil's work.

use actix_web::{HttpResponse, web};

use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::session::TeacherSession;
use crate::storage::{Change, Choice, UserId};
use crate::texts::Texts;

/// Most attempts that one pupil can be allowed.
const ATTEMPTS_OF_A_PUPIL_MAX: u32 = 100;

/// POST: grades that could not be delivered wait again: of the pupil that the form names, or of all.
pub(crate) async fn send_again(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let pupil = Some(fields.value("pupil")).filter(|pupil| !pupil.is_empty()).map(UserId::from);
    let change = change(&session, &app);
    let count = app.storage.send_again(&session.placement, pupil.as_ref(), &change).await?;
    app.waker.wake();
    tracing::info!(placement.id = %session.placement, grades = count, "a teacher asked to send grades again");
    Ok(back(&session))
}

/// POST: the gradebook is read and compared now.
pub(crate) async fn compare(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    app.deliverer.compare(&session.placement).await?.ok_or(PageError::NotFound)?;
    Ok(back(&session))
}

/// POST: our grade, or the mark in the gradebook.
pub(crate) async fn settle(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let choice = match fields.value("choice") {
        "send_ours" => Choice::SendOurs,
        "keep_theirs" => Choice::KeepTheirs,
        _ => return Err(PageError::Form(Texts::of_reader().say("class-no-such-choice"))),
    };
    let pupil = pupil(&fields)?;
    // Settled already, perhaps by a second press of the button: the page shows how.
    app.storage.settle(&session.placement, &pupil, choice, &change(&session, &app)).await?;
    app.waker.wake();
    Ok(back(&session))
}

/// POST: a pupil's attempts are set aside.
pub(crate) async fn reset(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let pupil = pupil(&fields)?;
    let count = app.storage.reset_pupil(&session.placement, &pupil, &change(&session, &app)).await?;
    app.waker.wake();
    tracing::info!(placement.id = %session.placement, attempts = count, "a teacher reset a pupil's work");
    Ok(back(&session))
}

/// POST: a pupil may have one more attempt than now.
pub(crate) async fn allow(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let pupil = pupil(&fields)?;
    let placement = app.storage.placement(&session.placement).await?.ok_or(PageError::NotFound)?;
    // The form says how many the page showed, so a second press of the button allows nothing more.
    let known: u32 = fields.value("extra").parse().unwrap_or_default();
    if placement.quiz.attempts_allowed.saturating_add(known) >= ATTEMPTS_OF_A_PUPIL_MAX {
        let most = ("most", ATTEMPTS_OF_A_PUPIL_MAX.into());
        return Err(PageError::Form(Texts::of_reader().with("class-too-many-attempts", &[most])));
    }
    app.storage.allow_attempt(&session.placement, &pupil, known, &change(&session, &app)).await?;
    Ok(back(&session))
}

fn pupil(fields: &Fields) -> Result<UserId, PageError> {
    match fields.value("pupil") {
        "" => Err(PageError::Form(Texts::of_reader().say("class-no-pupil-named"))),
        pupil => Ok(UserId::from(pupil)),
    }
}

fn change(session: &TeacherSession, app: &App) -> Change {
    Change { at: app.clock.now(), by: session.actor() }
}

fn back(session: &TeacherSession) -> HttpResponse {
    answer::see_other(&format!("/class/{}/grades", session.placement))
}
