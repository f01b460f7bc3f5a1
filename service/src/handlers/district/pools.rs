//! Pools: making one from a plan, what it holds, loading it for teachers, and exporting it as a package.

use std::io::Cursor;
use std::sync::Arc;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use exporters::cartridge::{CartridgeOptions, write_cartridge_telling};
use exporters::qti::{PackageOptions, QtiVersion, write_package_telling, write_template_package_telling};
use qbank::bank;
use qbank::form;
use qbank::plan::Plan;
use qbank::pool::Pool;

use super::families::{self, codes, levels, options, question};
use super::{DistrictSession, board, done, refused, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::jobs::{Outcome, Progress};
use crate::pages::board::{Board, Cell, Field, FieldKind, Form, Section, Table};
use crate::storage::{PoolId, PutPool, StoredPool};
use crate::texts::Texts;

/// Questions that a plan made on a page may ask for; larger pools are made at the command line.
const QUESTIONS_MOST: u64 = 5_000;
/// Forms over which the spread of difficulty is told.
const FORMS: u32 = 200;
/// Questions of a pool that are shown on a page.
const SHOWN: usize = 20;

/// GET: the pools.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let placements = app.storage.placements().await?;
    let row = |pool: crate::storage::PoolSummary| {
        let placed = placements.iter().filter(|placement| placement.quiz.pool == pool.id).count();
        vec![
            Cell::Link(format!("/district/pools/{}", pool.id), pool.title),
            Cell::Code(pool.id.to_string()),
            Cell::Number(texts.number(pool.item_count)),
            Cell::Number(texts.number(placed as u64)),
        ]
    };
    let rows = app.storage.pools().await?.into_iter().map(row).collect();
    let columns =
        ["content-column-pool", "content-column-id", "content-column-questions", "content-column-placed"];
    let columns = columns.map(|column| texts.say(column)).to_vec();
    let table = Table::new(texts.say("content-pools"), columns, rows, texts.say("content-pools-none"));
    let section = Section::new("pools", texts.say("content-pools-loaded"))
        .table(table)
        .link("/district/pools/plan", texts.say("content-new-pool"));
    shown(&board(&session, "/district/pools", texts.say("content-pools"), vec![section]))
}

/// GET: an empty plan.
pub(crate) async fn plan(session: DistrictSession) -> Result<HttpResponse, PageError> {
    shown(&plan_page(&session, "").await?)
}

/// The page of a plan, as far as it is.
async fn plan_page(session: &DistrictSession, plan: &str) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let shelf = families::shelf().await?;
    let carried = || Field::hidden("plan", plan);
    let mut adding = vec![carried()];
    if plan.is_empty() {
        adding.push(Field::line("title", texts.say("content-plan-title"), ""));
        let locales = [("en-US", "English"), ("es-US", "Español")];
        let locales = locales.map(|(tag, name)| (tag.to_owned(), name.to_owned(), tag == texts.tag()));
        adding.push(Field::choice("locale", texts.say("content-plan-language"), locales.to_vec()));
    }
    adding.extend([
        Field::line("section", texts.say("content-plan-section"), ""),
        Field::choice(
            "code",
            texts.say("content-code"),
            options(texts.say("content-choose-one"), &codes(shelf), ""),
        ),
        Field::choice(
            "level_from",
            texts.say("content-level-from"),
            options(texts.say("content-any"), &levels(), ""),
        ),
        Field::choice(
            "level_to",
            texts.say("content-level-to"),
            options(texts.say("content-any"), &levels(), ""),
        ),
        Field::number("count", texts.say("content-plan-count"), "24")
            .hint(texts.say("content-plan-count-hint")),
        Field::number("pick", texts.say("content-plan-pick"), "2").hint(texts.say("content-plan-pick-hint")),
    ]);
    let mut add = Form::post("/district/pools/plan", texts.say("content-plan-add"), adding);
    add.buttons = vec![("do", "add".into(), texts.say("content-plan-add"))];
    let mut sections = vec![Section::new("add", texts.say("content-plan-add-heading")).form(add)];
    let text = Field {
        kind: FieldKind::Lines(plan.to_owned()),
        ..Field::line("plan", texts.say("content-plan-text"), "")
    };
    let mut make = Form::post(
        "/district/pools/plan",
        String::new(),
        vec![text.hint(texts.say("content-plan-text-hint"))],
    );
    make.buttons = vec![
        ("do", "make".into(), texts.say("content-plan-make")),
        ("do", "load".into(), texts.say("content-plan-load")),
    ];
    sections.push(Section::new("plan", texts.say("content-plan-heading")).form(make));
    Ok(board(session, "/district/pools", texts.say("content-new-pool"), sections))
}

/// POST: adds a section, makes the pool to look at it, or makes and loads it.
pub(crate) async fn work_on_plan(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let texts = Texts::of_reader();
    // Browsers end the lines of a form by CR LF (HTML, from memory).
    let plan = fields.value("plan").replace("\r\n", "\n");
    if fields.value("do") == "add" {
        return match with_section(&plan, &fields) {
            Ok(plan) => shown(&plan_page(&session, &plan).await?),
            Err(message) => refused(plan_page(&session, &plan).await?, texts.say(message)),
        };
    }
    let made = {
        let plan = plan.clone();
        web::block(move || make(&plan)).await.map_err(|error| PageError::Record(error.to_string()))?
    };
    let pool = match made {
        Ok(pool) => pool,
        Err(problem) => {
            return refused(plan_page(&session, &plan).await?, problem.told(texts));
        }
    };
    if fields.value("do") == "load" {
        let id = pool.id.clone();
        return match app.storage.put_pool(StoredPool::of(&pool)).await? {
            PutPool::New | PutPool::Replaced => Ok(answer::see_other(&format!("/district/pools/{id}"))),
            PutPool::InUse => refused(plan_page(&session, &plan).await?, texts.say("content-pool-in-use")),
        };
    }
    let mut board = plan_page(&session, &plan).await?;
    board.sections.extend(preview(&pool, texts));
    let told = [("questions", pool.items().count().into()), ("sections", pool.sections.len().into())];
    done(board, texts.with("content-plan-made", &told), None)
}

/// The plan with one section more, as TOML.
fn with_section(plan: &str, fields: &Fields) -> Result<String, &'static str> {
    let value = |name: &str| fields.value(name).trim();
    let number = |name: &str| value(name).parse::<u64>().ok().filter(|number| *number > 0);
    if value("section").is_empty()
        || value("code").is_empty()
        || (plan.is_empty() && value("title").is_empty())
    {
        return Err("content-plan-lacks");
    }
    let (count, pick) =
        (number("count").ok_or("content-plan-numbers")?, number("pick").ok_or("content-plan-numbers")?);
    if pick > count {
        return Err("content-plan-numbers");
    }
    // TOML's basic strings escape as JSON's do.
    let quoted = |text: &str| serde_json::Value::from(text).to_string();
    let mut text = plan.trim_end().to_owned();
    if text.is_empty() {
        let title = value("title");
        text = format!(
            "pool = {}\ntitle = {}\nseed = \"1\"\nlocale = {}",
            quoted(&name_of(title)),
            quoted(title),
            quoted(value("locale"))
        );
    }
    text += &format!(
        "\n\n[[section]]\ntitle = {}\nstandards = [{}]",
        quoted(value("section")),
        quoted(value("code"))
    );
    if let (from, to) = (value("level_from"), value("level_to"))
        && !(from.is_empty() && to.is_empty())
    {
        let level = |text: &str, other: u8| text.parse::<u8>().unwrap_or(other);
        let (from, to) = (level(from, 1), level(to, 5));
        if from > to {
            return Err("content-plan-levels");
        }
        text += &format!("\ndifficulty = [{from}, {to}]");
    }
    text += &format!("\ncount = {count}\npick = {pick}\n");
    Ok(text)
}

/// An id from a title: letters, digits and hyphens, beginning with a letter.
fn name_of(title: &str) -> String {
    let plain = title.to_lowercase();
    let signs = plain.chars().map(|sign| if sign.is_ascii_alphanumeric() { sign } else { '-' });
    let words: String = signs.collect();
    let words: Vec<&str> = words.split('-').filter(|word| !word.is_empty()).collect();
    let name = crate::shorten_plain(&words.join("-"), 40).trim_end_matches('-').to_owned();
    if name.starts_with(|first: char| first.is_ascii_alphabetic()) { name } else { format!("pool-{name}") }
}

/// The pool of a plan; or why there is none.
fn make(plan: &str) -> Result<Pool, PlanFault> {
    let plan = Plan::from_toml(plan).map_err(|error| PlanFault::Other(error.to_string()))?;
    let asked = plan.section.iter().fold(0_u64, |sum, section| sum.saturating_add(section.count));
    if asked > QUESTIONS_MOST {
        return Err(PlanFault::TooLarge);
    }
    let families = match plan.families() {
        Some(names) => names.iter().map(|name| bank::family(name)).collect::<Result<Vec<_>, _>>(),
        None => bank::families(),
    };
    let families = families.map_err(|error| PlanFault::Other(error.to_string()))?;
    plan.make(&families, None).map_err(|error| PlanFault::Other(error.to_string()))
}

/// Why a plan makes no pool.
#[derive(Debug, PartialEq, Eq)]
enum PlanFault {
    /// It asks for more than [`QUESTIONS_MOST`].
    TooLarge,
    /// In the words of whoever read it, which are English.
    Other(String),
}

impl PlanFault {
    fn told(self, texts: &Texts) -> String {
        match self {
            Self::TooLarge => texts.with("content-plan-too-large", &[("most", QUESTIONS_MOST.into())]),
            Self::Other(problem) => texts.with("content-plan-fault", &[("problem", problem.into())]),
        }
    }
}

/// What a pool holds: sections, the spread of difficulty, and first questions.
fn preview(pool: &Pool, texts: &Texts) -> Vec<Section> {
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
async fn find(app: &App, id: &str) -> Result<Arc<Pool>, PageError> {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_becomes_an_id_and_a_plan_that_is_read_back() {
        for (title, name) in [
            ("River day: decimals", "river-day-decimals"),
            ("5. Klasse", "pool-5-klasse"),
            ("¡Décimas!", "d-cimas"),
            ("\u{4e00}", "pool-"),
        ] {
            assert_eq!(name_of(title), name);
        }
        let posted = [
            ("csrf", "c"),
            ("title", "A \"quoted\" day\\"),
            ("locale", "en-US"),
            ("section", "Adding"),
            ("code", "5.NBT.B.7"),
            ("level_to", "3"),
            ("count", "6"),
            ("pick", "2"),
        ];
        let posted = posted.map(|(name, value)| (name.to_owned(), value.to_owned())).to_vec();
        let fields = Fields::checked(web::Form(posted), &crate::session::Csrf::from("c".to_owned())).unwrap();
        let once = with_section("", &fields).unwrap();
        let twice = with_section(&once, &fields).unwrap();
        let plan = Plan::from_toml(&twice).unwrap();
        assert_eq!((plan.title.as_str(), plan.section.len()), ("A \"quoted\" day\\", 2));
        assert_eq!((*plan.section[1].levels.start(), *plan.section[1].levels.end()), (1, 3));
        assert_eq!(make(&once).unwrap().items().count(), 6);
    }

    #[test]
    fn a_plan_at_fault_or_too_large_is_told() {
        assert!(matches!(make("pool = "), Err(PlanFault::Other(told)) if told.contains("line 1")));
        let large = "pool = \"p\"\ntitle = \"P\"\nseed = \"1\"\n[[section]]\ntitle = \"A\"\nfamily = \"add-ragged\"\ncount = 5001\npick = 1\n";
        assert_eq!(make(large), Err(PlanFault::TooLarge));
        assert_eq!(make(&large.replace("5001", "9223372036854775807")), Err(PlanFault::TooLarge));
    }
}
