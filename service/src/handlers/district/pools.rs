//! Pools: what each holds, where it is placed, and exporting it as a package. Making one: `plan`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::sync::Arc;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use exporters::cartridge::{CartridgeOptions, write_cartridge_telling};
use exporters::qti::{PackageOptions, QtiVersion, write_package_telling, write_template_package_telling};
use qbank::bank;
use qbank::form;
use qbank::pool::Pool;
use serde::Deserialize;

use super::families::question;
use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::proven_pools::ProvenPool;
use crate::jobs::{Outcome, Progress};
use crate::pages::board::{Cell, Field, Form, Section, Table};
use crate::storage::{Placement, PoolId, PoolSummary, Registration};
use crate::texts::Texts;

/// Forms over which the spread of difficulty is told.
const FORMS: u32 = 200;
/// Questions of a pool that are shown on a page.
const SHOWN: usize = 20;

/// Pools on a page of the list.
const ON_A_PAGE: usize = 50;

/// Which part of the list is shown.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Leaf {
    /// From 1; the first if it is none.
    #[serde(default)]
    page: String,
}

/// GET: the pools, each with the courses where it is placed.
pub(crate) async fn list(
    session: DistrictSession,
    app: web::Data<App>,
    leaf: web::Query<Leaf>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let pools = app.storage.pools().await?;
    let leaves = pools.len().div_ceil(ON_A_PAGE).max(1);
    let page = leaf.page.parse::<usize>().unwrap_or(1).clamp(1, leaves);
    let placements = app.storage.placements().await?;
    let registrations = app.storage.registrations().await?;
    let row = |pool: PoolSummary| {
        let placed = placements.iter().filter(|placement| placement.quiz.pool == pool.id);
        let placed: Vec<&Placement> = placed.collect();
        vec![
            Cell::Link(format!("/district/pools/{}", pool.id), pool.title),
            Cell::Code(pool.id.to_string()),
            Cell::Number(texts.number(pool.item_count)),
            Cell::Text(placed_where(&placed, &registrations, texts)),
        ]
    };
    let rows = pools.into_iter().skip((page - 1) * ON_A_PAGE).take(ON_A_PAGE).map(row).collect();
    let columns =
        ["content-column-pool", "content-column-id", "content-column-questions", "content-column-placed"];
    let columns = columns.map(|column| texts.say(column)).to_vec();
    let table = Table::new(texts.say("content-pools"), columns, rows, texts.say("content-pools-none"));
    let mut section = Section::new("pools", texts.say("content-pools-loaded")).table(table);
    if leaves > 1 {
        let told = [("page", page.into()), ("pages", leaves.into())];
        section = section.text(texts.with("content-pools-page", &told));
    }
    let turn = |page: usize| format!("/district/pools?page={page}");
    if page > 1 {
        section = section.link(turn(page - 1), texts.say("content-pools-earlier"));
    }
    if page < leaves {
        section = section.link(turn(page + 1), texts.say("content-pools-later"));
    }
    let section = section.link("/district/pools/plan", texts.say("content-new-pool"));
    shown(&board(&session, "/district/pools", texts.say("content-pools"), vec![section]))
}

/// How often a pool is placed, and in how many courses of which platforms.
fn placed_where(placed: &[&Placement], registrations: &[Registration], texts: &Texts) -> String {
    if placed.is_empty() {
        return texts.say("content-placed-nowhere");
    }
    let mut by_platform: BTreeMap<&str, (usize, BTreeSet<String>)> = BTreeMap::new();
    for placement in placed {
        let quiz = &placement.quiz;
        let known = registrations.iter().find(|known| known.id == quiz.link.registration);
        let (times, courses) =
            by_platform.entry(known.map_or("", |known| known.platform.issuer.as_str())).or_default();
        *times += 1;
        courses.insert(quiz.context.as_ref().map(ToString::to_string).unwrap_or_default());
    }
    let told = by_platform.into_iter().map(|(issuer, (times, courses))| {
        let parts = [("times", times.into()), ("courses", courses.len().into()), ("issuer", issuer.into())];
        texts.with("content-placed-at", &parts)
    });
    told.collect::<Vec<_>>().join("; ")
}

/// The placed quizzes of a pool: title, course and platform of each.
fn placings(placed: &[&Placement], registrations: &[Registration], texts: &Texts) -> Table {
    let row = |placement: &&Placement| {
        let quiz = &placement.quiz;
        let known = registrations.iter().find(|known| known.id == quiz.link.registration);
        vec![
            Cell::Text(quiz.title.clone()),
            Cell::Code(quiz.context.as_ref().map(ToString::to_string).unwrap_or_default()),
            Cell::Text(known.map_or_else(String::new, |known| known.platform.issuer.clone())),
        ]
    };
    let columns = ["running-column-quiz", "running-column-course", "running-column-issuer"];
    Table::new(
        texts.say("content-placed"),
        columns.map(|column| texts.say(column)).to_vec(),
        placed.iter().map(row).collect(),
        texts.say("content-placed-nowhere"),
    )
}

/// What a pool holds: sections, the spread of difficulty, and first questions.
pub(super) fn preview(pool: &Pool, texts: &Texts) -> Vec<Section> {
    let columns = ["content-plan-section", "content-column-questions", "content-plan-pick"];
    let row = |section: &qbank::pool::Section| {
        vec![
            Cell::Text(section.title.clone()),
            Cell::Number(texts.number(section.items.len() as u64)),
            Cell::Number(texts.number(section.pick)),
        ]
    };
    let table = Table::new(
        texts.say("content-sections"),
        columns.map(|column| texts.say(column)).to_vec(),
        pool.sections.iter().map(row).collect(),
        String::new(),
    );
    let picked: usize = pool.sections.iter().map(|section| section.pick as usize).sum();
    let spread = form::spread(pool, picked, FORMS);
    let told = [
        ("least", spread.score.least.into()),
        ("greatest", spread.score.greatest.into()),
        ("count", picked.into()),
    ];
    let sections = Section::new("sections", texts.say("content-sections"))
        .text(texts.with("content-spread", &told))
        .table(table);
    vec![sections]
}

/// A stored pool, proven.
async fn find(app: &App, id: &str) -> Result<Arc<ProvenPool>, PageError> {
    let id = PoolId(id.to_owned());
    app.pools.find(app.storage.as_ref(), &id).await?.ok_or(PageError::NotFound)
}

/// GET: what a pool holds.
pub(crate) async fn show(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let pool = find(&app, &path).await?;
    let mut sections = preview(&pool, texts);
    let formats = [
        ("qti3", "QTI 3.0"),
        ("qti22", "QTI 2.2"),
        ("qti21", "QTI 2.1"),
        ("cartridge", "Common Cartridge 1.3"),
    ];
    let formats = formats.map(|(value, name)| (value.to_owned(), name.to_owned(), value == "qti22")).to_vec();
    let export = Form::post(
        format!("/district/pools/{}/export", pool.id),
        texts.say("content-export-button"),
        vec![
            Field::choice("as", texts.say("content-export-as"), formats),
            Field::tick("templates", texts.say("content-export-templates")),
        ],
    );
    sections.push(
        Section::new("export", texts.say("content-export"))
            .text(texts.say("content-export-about"))
            .form(export)
            .link(format!("/district/pools/{}/file", pool.id), texts.say("content-pool-file")),
    );
    let all = app.storage.placements().await?;
    let placed: Vec<&Placement> = all.iter().filter(|placement| placement.quiz.pool.0 == pool.id).collect();
    let registrations = app.storage.registrations().await?;
    let placed = placings(&placed, &registrations, texts);
    sections.push(Section::new("placed", texts.say("content-placed")).table(placed));
    let ids = QUESTION_IDS.into_iter();
    let items = pool.items().take(SHOWN).zip(ids).zip(1_u32..);
    let questions = items.map(|((item, id), number)| {
        question(id, texts.with("content-question", &[("number", number.into())]), item, texts)
    });
    sections.extend(questions.collect::<Vec<_>>());
    shown(&board(&session, "/district/pools", pool.title.clone(), sections))
}

const QUESTION_IDS: [&str; SHOWN] = [
    "q1", "q2", "q3", "q4", "q5", "q6", "q7", "q8", "q9", "q10", "q11", "q12", "q13", "q14", "q15", "q16",
    "q17", "q18", "q19", "q20",
];

/// GET: the pool as a file, as `tenths pool` writes it.
pub(crate) async fn file(
    _session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
) -> Result<HttpResponse, PageError> {
    let id = PoolId(path.into_inner());
    let stored = app.storage.pool(&id).await?.ok_or(PageError::NotFound)?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/json"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{id}.json\"")))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(stored.json))
}

/// A package to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Package {
    Fixed(QtiVersion),
    Templates(QtiVersion),
    Cartridge,
}

impl Package {
    fn of(fields: &Fields) -> Option<Self> {
        let version = match fields.value("as") {
            "cartridge" => return Some(Self::Cartridge),
            "qti3" => QtiVersion::V30,
            "qti22" => QtiVersion::V22,
            "qti21" => QtiVersion::V21,
            _ => return None,
        };
        Some(if fields.value("templates") == "yes" { Self::Templates(version) } else { Self::Fixed(version) })
    }

    /// Writes the package and tells what had to be left out.
    fn write(self, pool: &Pool, progress: &Progress) -> Result<(Vec<u8>, Vec<String>), String> {
        progress.expect(match self {
            // Each section is looked at, then written.
            Self::Templates(_) => 2 * pool.sections.len() as u64,
            _ => pool.items().count() as u64,
        });
        let (mut out, mut lines) = (progress.stopping(Cursor::new(Vec::new())), Vec::new());
        match self {
            Self::Fixed(version) => {
                let options = PackageOptions { version, ..PackageOptions::default() };
                write_package_telling(pool, &options, &mut out, &mut |_, left_out| {
                    progress.step();
                    lines.extend(left_out.iter().map(ToString::to_string));
                })
                .map_err(|error| error.to_string())?;
            }
            Self::Templates(version) => {
                let options = PackageOptions { version, ..PackageOptions::default() };
                let families = bank::families().map_err(|error| error.to_string())?;
                let mut step = || progress.step();
                let report = write_template_package_telling(pool, &families, &options, &mut out, &mut step)
                    .map_err(|error| error.to_string())?;
                lines.extend(report.stays_fixed.iter().map(ToString::to_string));
                lines.extend(report.left_out.iter().map(ToString::to_string));
            }
            Self::Cartridge => {
                write_cartridge_telling(
                    pool,
                    &CartridgeOptions::default(),
                    &mut out,
                    &mut |written, left_out| {
                        for _ in 0..written {
                            progress.step();
                        }
                        lines.extend(left_out.iter().map(ToString::to_string));
                    },
                )
                .map_err(|error| error.to_string())?;
            }
        }
        Ok((out.into_inner().into_inner(), lines))
    }
}

/// POST: begins a job that writes the package.
pub(crate) async fn export(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<String>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let texts = Texts::of_reader();
    let pool = find(&app, &path).await?;
    let package = Package::of(&fields).ok_or_else(|| PageError::Form(texts.say("content-no-format")))?;
    let ending = if package == Package::Cartridge { "imscc" } else { "zip" };
    let kind = if matches!(package, Package::Templates(_)) { "-templates" } else { "" };
    let name = format!("{}-{}{kind}.{ending}", pool.id, fields.value("as"));
    let title = texts.with("content-exporting", &[("title", pool.title.as_str().into())]);
    let work = move |progress: &Progress| {
        let (bytes, lines) = package.write(&pool, progress)?;
        Ok(Outcome { holds: true, lines, file: Some((name, bytes)) })
    };
    match app.jobs.begin(&session.token, title, &session.change(&app), work).await? {
        Some(job) => Ok(answer::see_other(&format!("/district/jobs/{job}"))),
        None => Err(PageError::Form(texts.say("content-too-many-jobs"))),
    }
}
