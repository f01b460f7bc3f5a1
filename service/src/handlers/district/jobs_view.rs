//! How far a job is, its result, and its file.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, shown, shown_again};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::jobs::{JobState, JobView, Outcome};
use crate::pages::board::{Form, Progress, Section};
use crate::texts::Texts;

/// How often a page of a running job asks for itself again, in seconds.
const AGAIN_AFTER_S: u32 = 2;

/// GET: how the job stands.
pub(crate) async fn show(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let JobView { title, state } = app.jobs.view(&session.token, &path).ok_or(PageError::NotFound)?;
    let mut section = Section::new("job", texts.say("content-job"));
    let drop = Form::post(format!("/district/jobs/{path}/drop"), texts.say("content-job-drop"), Vec::new());
    let mut again = None;
    match state {
        JobState::Running(percent) => {
            let text = match percent {
                Some(percent) => texts.with("content-job-percent", &[("percent", percent.into())]),
                None => texts.say("content-job-waits"),
            };
            section.progress = Some(Progress { percent, text });
            section = section.link(format!("/district/jobs/{path}"), texts.say("content-job-again"));
            again = Some(AGAIN_AFTER_S);
        }
        JobState::Failed(problem) => {
            section = section.text(texts.say("content-job-failed"));
            section.file = (!problem.is_empty()).then_some(problem);
            section = section.form(drop);
        }
        JobState::Done(Outcome { holds, lines, file }) => {
            section = section.text(texts.say(if holds { "content-job-done" } else { "content-job-doubts" }));
            section.file = (!lines.is_empty()).then(|| lines.join("\n"));
            if let Some((name, content)) = file {
                let text =
                    texts.with("content-job-file", &[("name", name.into()), ("bytes", content.len().into())]);
                section = section.link(format!("/district/jobs/{path}/file"), text);
            }
            section = section.form(drop);
        }
    }
    let mut board = board(&session, "", title, vec![section]);
    board.again_after_s = again;
    if again.is_some() { shown_again(&board) } else { shown(&board) }
}

/// GET: the file that a job made.
pub(crate) async fn file(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let job = app.jobs.view(&session.token, &path).ok_or(PageError::NotFound)?;
    let JobState::Done(Outcome { file: Some((name, content)), .. }) = job.state else {
        return Err(PageError::NotFound);
    };
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/zip"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(content.to_vec()))
}

/// POST: the job is forgotten.
pub(crate) async fn drop_job(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    app.jobs.forget(&session.token, &path);
    Ok(answer::see_other("/district/pools"))
}
