//! Changing the points of a step by the teacher's word, and taking that back.

use actix_web::{HttpResponse, web};

use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::session::TeacherSession;
use crate::storage::{AttemptId, Change, Overridden, Part, Points, REASON_LENGTH_MAX};
use crate::texts::{ReaderTexts, Texts};

/// POST: other points with a reason, or those of our own mark again. The grade follows by itself.
pub(crate) async fn change(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
    path: web::Path<(String, String)>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let placement = app.storage.placement(&session.placement).await?.ok_or(PageError::NotFound)?;
    let id = AttemptId::from(path.1.as_str());
    let attempt = app.storage.attempt(&id).await?.filter(|attempt| attempt.placement == placement.id);
    let result = attempt.as_ref().and_then(|attempt| attempt.result.as_ref());
    let (Some(attempt), Some(result)) = (&attempt, result) else { return Err(PageError::NotFound) };
    let (question, step) = (fields.value("question"), fields.value("step"));
    let judged = result.judged().map_err(|error| PageError::Record(format!("marks: {error}")))?;
    let marks = judged.iter().zip(1..).find(|(mark, _)| mark.question == question);
    let marked =
        marks.and_then(|(mark, number)| Some((mark.steps.iter().find(|marked| marked.id == step)?, number)));
    let no_step = || PageError::Form(texts.say("class-points-no-step"));
    let (marked, number): (_, usize) = marked.ok_or_else(no_step)?;
    let points = wanted(texts, &fields, marked.max)?;
    // A preview's points go to no gradebook.
    let members = app.storage.members_at(&placement.id).await?;
    let preview = members.iter().any(|member| member.user == attempt.user && member.part == Part::Preview);
    let by = Change { at: app.clock.now(), by: session.actor() };
    match app.storage.override_points(&id, question, step, points, !preview, &by).await? {
        Overridden::Done(_) => {
            app.waker.wake();
            tracing::info!(attempt = %id, placement.id = %placement.id, "a teacher changed points");
            Ok(answer::see_other(&format!("/class/{}/{id}#q{number}", placement.id)))
        }
        Overridden::NoAttempt => Err(PageError::NotFound),
        Overridden::NoStep => Err(no_step()),
    }
}

/// What the form asks for, if it can be done.
fn wanted(texts: &Texts, fields: &Fields, most: u32) -> Result<Points, PageError> {
    if fields.value("restore") == "yes" {
        return Ok(Points::AsMarked);
    }
    let points = fields.value("points").trim().parse().ok().filter(|points| *points <= most);
    let points = points
        .ok_or_else(|| PageError::Form(texts.with("class-points-not-so-many", &[("most", most.into())])))?;
    let reason = fields.value("reason").split_whitespace().collect::<Vec<_>>().join(" ");
    if reason.is_empty() || reason.chars().count() > REASON_LENGTH_MAX {
        let most = ("most", REASON_LENGTH_MAX.into());
        return Err(PageError::Form(texts.with("class-points-no-reason", &[most])));
    }
    Ok(Points::Given { points, reason })
}
