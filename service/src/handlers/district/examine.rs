//! Trying out a package: anyone's, before a platform loads it.

use std::io::Cursor;

use actix_multipart::form::MultipartForm;
use actix_multipart::form::bytes::Bytes;
use actix_multipart::form::text::Text;
use actix_web::{HttpResponse, web};
use exporters::examine::Examination;
use qbank::bank;

use super::{DistrictSession, board, refused, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::jobs::{Outcome, Progress};
use crate::pages::board::{Board, Field, FieldKind, Form, Section};
use crate::texts::Texts;

/// A package and the session's value.
#[derive(MultipartForm)]
pub(crate) struct Upload {
    csrf: Text<String>,
    #[multipart(limit = "64MB")]
    package: Bytes,
}

/// GET: asks for a package.
pub(crate) async fn show(session: DistrictSession) -> Result<HttpResponse, PageError> {
    shown(&page(&session))
}

fn page(session: &DistrictSession) -> Board {
    let texts = Texts::of_reader();
    let file = Field {
        kind: FieldKind::File(".zip,.imscc"),
        ..Field::line("package", texts.say("content-examine-file"), "")
    };
    let form = Form {
        carries_file: true,
        ..Form::post("/district/examine", texts.say("content-examine-button"), vec![file])
    };
    let section = Section::new("package", texts.say("content-examine-heading"))
        .text(texts.say("content-examine-about"))
        .form(form);
    board(session, "/district/examine", texts.say("content-examine"), vec![section])
}

/// POST: begins a job that tries the package out.
pub(crate) async fn examine(
    session: DistrictSession,
    app: web::Data<App>,
    upload: MultipartForm<Upload>,
) -> Result<HttpResponse, PageError> {
    let upload = upload.into_inner();
    session.csrf.check(&upload.csrf)?;
    let texts = Texts::of_reader();
    if upload.package.data.is_empty() {
        return refused(page(&session), texts.say("content-examine-nothing"));
    }
    // What the browser calls the file is shown, shortened, and never used as a path.
    let name = crate::shorten(upload.package.file_name.as_deref().unwrap_or("package"), 80);
    let title = texts.with("content-examining", &[("name", name.into())]);
    let bytes = upload.package.data;
    let work = move |progress: &Progress| examined(bytes.to_vec(), progress);
    match app.jobs.begin(&session.token, title, &session.change(&app), work).await? {
        Some(job) => Ok(answer::see_other(&format!("/district/jobs/{job}"))),
        None => refused(page(&session), texts.say("content-too-many-jobs")),
    }
}

fn examined(bytes: Vec<u8>, progress: &Progress) -> Result<Outcome, String> {
    let examination = Examination::open(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    progress.expect(examination.items() as u64);
    let names = examination.families();
    let known = bank::FILES.iter().filter(|(name, _)| names.contains(*name));
    let families: Result<Vec<_>, _> = known.map(|(name, _)| bank::family(name)).collect();
    let families = families.map_err(|error| error.to_string())?;
    let report = examination.run(&families, |_| progress.step());
    Ok(Outcome {
        holds: report.holds,
        lines: report.to_string().lines().map(str::to_owned).collect(),
        file: None,
    })
}
