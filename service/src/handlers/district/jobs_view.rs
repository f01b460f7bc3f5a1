//! Work in the background: all of it, how far one job is, its result and its file. Any process shows it.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, shown, shown_again};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::board::{Act, Board, Cell, Form, Progress, Section, Table};
use crate::pages::marked::Tone;
use crate::storage::{Job, JobOutcome, JobState};
use crate::texts::Texts;

/// How often a page of a running job asks for itself again, in seconds.
const AGAIN_AFTER_S: u32 = 2;
/// The list of jobs.
const PATH: &str = "/district/jobs";

/// GET: what this coordinator asked for.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let jobs = app.storage.jobs(&session.token).await?;
    let runs = jobs.iter().any(|job| job.state.is_running());
    let columns = [
        "content-jobs-column-what",
        "content-jobs-column-when",
        "content-jobs-column-state",
        "content-jobs-column-do",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let rows = jobs.into_iter().map(|job| row(&app, texts, job)).collect();
    let table = Table::new(texts.say("running-page-jobs"), columns, rows, texts.say("content-jobs-none"));
    let section = Section::new("jobs", texts.say("content-jobs-heading"))
        .text(texts.say("content-jobs-about"))
        .table(table);
    answered(board(&session, PATH, texts.say("running-page-jobs"), vec![section]), runs)
}

fn row(app: &App, texts: &Texts, job: Job) -> Vec<Cell> {
    let (tone, told) = match &job.state {
        JobState::Running { done, parts } => (Tone::Form, progress(texts, *done, *parts).text),
        JobState::Done(outcome) if outcome.holds => (Tone::Right, texts.say("content-job-done")),
        JobState::Done(_) => (Tone::Wrong, texts.say("content-job-doubts-short")),
        JobState::Failed(_) => (Tone::Wrong, texts.say("content-job-failed-short")),
        JobState::Interrupted => (Tone::Wrong, texts.say("content-job-interrupted")),
        JobState::Cancelled => (Tone::Quiet, texts.say("content-job-cancelled")),
    };
    let word = if job.state.is_running() { "cancel" } else { "drop" };
    let act = Act {
        action: format!("{PATH}/{}/{word}", job.id),
        values: Vec::new(),
        text: texts.say(&format!("content-job-{word}")),
        label: texts.with(&format!("content-job-{word}-label"), &[("title", job.title.as_str().into())]),
    };
    vec![
        Cell::Link(format!("{PATH}/{}", job.id), job.title),
        Cell::Text(texts.date_time(job.started_at, &app.settings.time_zone)),
        Cell::State(tone, told),
        Cell::Acts(vec![act]),
    ]
}

/// GET: how the job stands.
pub(crate) async fn show(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let job = app.storage.job(&session.token, &path).await?.ok_or(PageError::NotFound)?;
    let runs = job.state.is_running();
    let mut section = Section::new("job", texts.say("content-job"));
    match job.state {
        JobState::Running { done, parts } => {
            section.progress = Some(progress(texts, done, parts));
            section = section.link(format!("{PATH}/{path}"), texts.say("content-job-again"));
        }
        JobState::Failed(problem) => {
            section = section.text(texts.say("content-job-failed"));
            section.file = (!problem.is_empty()).then_some(problem);
        }
        JobState::Done(JobOutcome { holds, lines, file }) => {
            section = section.text(texts.say(if holds { "content-job-done" } else { "content-job-doubts" }));
            section.file = (!lines.is_empty()).then(|| lines.join("\n"));
            if let Some(file) = file {
                let told = [("name", file.name.into()), ("bytes", file.length.into())];
                section = section.link(format!("{PATH}/{path}/file"), texts.with("content-job-file", &told));
            }
        }
        JobState::Interrupted => section = section.text(texts.say("content-job-interrupted")),
        JobState::Cancelled => section = section.text(texts.say("content-job-cancelled")),
    }
    let word = if runs { "cancel" } else { "drop" };
    let act = texts.say(&format!("content-job-{word}"));
    section = section
        .form(Form::post(format!("{PATH}/{path}/{word}"), act, Vec::new()))
        .link(PATH, texts.say("content-jobs-all"));
    answered(board(&session, PATH, job.title, vec![section]), runs)
}

/// How far a job is, in hundredths where the number of its parts is known.
fn progress(texts: &Texts, done: u64, parts: Option<u64>) -> Progress {
    let percent = parts.map(|parts| done.min(parts) * 100 / parts.max(1));
    let text = match percent {
        Some(percent) => texts.with("content-job-percent", &[("percent", percent.into())]),
        None => texts.say("content-job-waits"),
    };
    Progress { percent, text }
}

/// A page that looks again by itself while something runs.
fn answered(mut board: Board, runs: bool) -> Result<HttpResponse, PageError> {
    if !runs {
        return shown(&board);
    }
    board.again_after_s = Some(AGAIN_AFTER_S);
    shown_again(&board)
}

/// GET: the file that a job made.
pub(crate) async fn file(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let job = app.storage.job(&session.token, &path).await?.ok_or(PageError::NotFound)?;
    let JobState::Done(JobOutcome { file: Some(file), .. }) = job.state else {
        return Err(PageError::NotFound);
    };
    let mut content = Vec::with_capacity(file.length);
    while content.len() < file.length {
        let place = content.len().div_ceil(crate::storage::JOB_PIECE);
        let piece = app.storage.job_piece(&session.token, &path, place).await?;
        content.extend(piece.filter(|piece| !piece.is_empty()).ok_or(PageError::NotFound)?);
    }
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/zip"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", file.name)))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(content))
}

/// POST: the job is stopped.
pub(crate) async fn cancel(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    app.jobs.cancel(&session.token, &path, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: the job is forgotten.
pub(crate) async fn drop_job(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    app.storage.forget_job(&session.token, &path, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}
