//! Making a pool from a plan: choosing what its sections hold and how much there is to choose from, the plan as a file,
//! the pool to look at, and loading it for teachers.

use actix_multipart::form::MultipartForm;
use actix_multipart::form::bytes::Bytes;
use actix_multipart::form::text::Text;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use qbank::bank;
use qbank::family::Family;
use qbank::plan::Plan;
use qbank::pool::Pool;
use qbank::question::StepKind;

use super::families::{self, KINDS, Shelved, codes, levels, options};
use super::plan_fault::{PlanFault, QUESTIONS_MOST};
use super::pools::preview;
use super::{DistrictSession, board, done, refused, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::board::{Board, Cell, Field, FieldKind, Form, Section, Table};
use crate::storage::{PutPool, StoredPool};
use crate::texts::Texts;

/// Questions of a family that are drawn to see how many are of the levels asked for.
const SAMPLE: usize = 40;
/// Where everything of a plan goes.
const PATH: &str = "/district/pools/plan";

/// What is typed about a section that is not in the plan yet.
struct Choice {
    title: String,
    locale: String,
    section: String,
    code: String,
    level_from: String,
    level_to: String,
    kind: String,
    count: String,
    pick: String,
}

impl Choice {
    fn empty(locale: &str) -> Self {
        let none = String::new;
        Self {
            title: none(),
            locale: locale.to_owned(),
            section: none(),
            code: none(),
            level_from: none(),
            level_to: none(),
            kind: none(),
            count: "24".into(),
            pick: "2".into(),
        }
    }

    /// As it was typed; a plan that has begun knows its language.
    fn of(fields: &Fields, plan: &str) -> Self {
        let value = |name: &str| fields.value(name).trim().to_owned();
        let begun = Plan::from_toml(plan).ok().map(|plan| plan.locale);
        Self {
            title: value("title"),
            locale: begun.unwrap_or_else(|| value("locale")),
            section: value("section"),
            code: value("code"),
            level_from: value("level_from"),
            level_to: value("level_to"),
            kind: value("kind"),
            count: value("count"),
            pick: value("pick"),
        }
    }

    /// The levels, if any are chosen.
    fn levels(&self) -> Result<Option<(u8, u8)>, &'static str> {
        if self.level_from.is_empty() && self.level_to.is_empty() {
            return Ok(None);
        }
        let level = |text: &str, other: u8| text.parse::<u8>().unwrap_or(other);
        let (from, to) = (level(&self.level_from, 1), level(&self.level_to, 5));
        if from > to { Err("content-plan-levels") } else { Ok(Some((from, to))) }
    }

    fn kind(&self) -> Option<StepKind> {
        KINDS.into_iter().find(|kind| kind.name() == self.kind)
    }

    /// Whether a family has questions for it, whatever their levels: as making the pool chooses.
    fn fits(&self, shelved: &Shelved) -> bool {
        let family = &shelved.family;
        family.standards.iter().any(|code| *code == self.code)
            && family.texts.contains_key(&self.locale)
            && self.kind().is_none_or(|kind| family.steps.iter().any(|step| step.kind == kind))
    }
}

/// GET: an empty plan.
pub(crate) async fn show(session: DistrictSession) -> Result<HttpResponse, PageError> {
    let choice = Choice::empty(Texts::of_reader().tag());
    shown(&page(&session, "", &choice).await?)
}

/// The page of a plan, as far as it is.
async fn page(session: &DistrictSession, plan: &str, choice: &Choice) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let shelf = families::shelf().await?;
    let sections = vec![
        Section::new("add", texts.say("content-plan-add-heading")).form(adding(texts, shelf, plan, choice)),
        Section::new("plan", texts.say("content-plan-heading")).form(making(texts, plan)),
        Section::new("file", texts.say("content-plan-upload-heading")).form(uploading(texts)),
    ];
    Ok(board(session, "/district/pools", texts.say("content-new-pool"), sections))
}

/// The form of one more section.
fn adding(texts: &Texts, shelf: &[Shelved], plan: &str, choice: &Choice) -> Form {
    let mut fields = vec![Field::hidden("plan", plan)];
    if plan.is_empty() {
        fields.push(Field::line("title", texts.say("content-plan-title"), choice.title.as_str()));
        let locales = [("en-US", "English"), ("es-US", "Español")];
        let locales = locales.map(|(tag, name)| (tag.to_owned(), name.to_owned(), tag == choice.locale));
        fields.push(Field::choice("locale", texts.say("content-plan-language"), locales.to_vec()));
    }
    let any = || texts.say("content-any");
    let mut kinds = vec![(String::new(), any(), choice.kind().is_none())];
    kinds.extend(KINDS.map(|kind| {
        (kind.name().to_owned(), texts.say(families::kind_message(kind)), choice.kind() == Some(kind))
    }));
    let codes = options(texts.say("content-choose-one"), &codes(shelf), &choice.code);
    fields.extend([
        Field::line("section", texts.say("content-plan-section"), choice.section.as_str()),
        Field::choice("code", texts.say("content-code"), codes),
        Field::choice(
            "level_from",
            texts.say("content-level-from"),
            options(any(), &levels(), &choice.level_from),
        ),
        Field::choice("level_to", texts.say("content-level-to"), options(any(), &levels(), &choice.level_to)),
        Field::choice("kind", texts.say("content-plan-kind"), kinds)
            .hint(texts.say("content-plan-kind-hint")),
        Field::number("count", texts.say("content-plan-count"), choice.count.as_str())
            .hint(texts.say("content-plan-count-hint")),
        Field::number("pick", texts.say("content-plan-pick"), choice.pick.as_str())
            .hint(texts.say("content-plan-pick-hint")),
    ]);
    let mut form = Form::post(PATH, String::new(), fields);
    form.buttons = vec![
        ("do", "add".into(), texts.say("content-plan-add")),
        ("do", "look".into(), texts.say("content-plan-look")),
    ];
    form
}

/// The form of the plan itself.
fn making(texts: &Texts, plan: &str) -> Form {
    let text = Field {
        kind: FieldKind::Lines(plan.to_owned()),
        ..Field::line("plan", texts.say("content-plan-text"), "")
    };
    let mut form = Form::post(PATH, String::new(), vec![text.hint(texts.say("content-plan-text-hint"))]);
    form.buttons = vec![
        ("do", "make".into(), texts.say("content-plan-make")),
        ("do", "load".into(), texts.say("content-plan-load")),
        ("do", "download".into(), texts.say("content-plan-download")),
    ];
    form
}

/// The form that brings a plan file.
fn uploading(texts: &Texts) -> Form {
    let file = Field {
        kind: FieldKind::File(".toml,text/plain"),
        ..Field::line("plan", texts.say("content-plan-upload"), "")
    };
    let hint = texts.say("content-plan-upload-hint");
    let button = texts.say("content-plan-upload-button");
    Form { carries_file: true, ..Form::post(format!("{PATH}/upload"), button, vec![file.hint(hint)]) }
}

/// A plan file and the session's value.
#[derive(MultipartForm)]
pub(crate) struct Upload {
    csrf: Text<String>,
    #[multipart(limit = "256KB")]
    plan: Bytes,
}

/// POST: a plan file, as `tenths pool` takes it, becomes the page's plan.
pub(crate) async fn upload(
    session: DistrictSession,
    upload: MultipartForm<Upload>,
) -> Result<HttpResponse, PageError> {
    let upload = upload.into_inner();
    session.csrf.check(&upload.csrf)?;
    let texts = Texts::of_reader();
    let Ok(plan) = String::from_utf8(upload.plan.data.to_vec()) else {
        let empty = page(&session, "", &Choice::empty(texts.tag())).await?;
        return refused(empty, texts.say("content-plan-no-text"));
    };
    let plan = plan.replace("\r\n", "\n");
    match Plan::from_toml(&plan) {
        Ok(read) => {
            let told = [("title", read.title.as_str().into()), ("sections", read.section.len().into())];
            let board = page(&session, &plan, &Choice::empty(&read.locale)).await?;
            done(board, texts.with("content-plan-read", &told), None)
        }
        // Shown as it is, so that it can be mended here.
        Err(error) => {
            let board = page(&session, &plan, &Choice::empty(texts.tag())).await?;
            refused(board, PlanFault::Plan(error).told(texts))
        }
    }
}

/// POST: adds a section or tells what there is for it; makes the pool to look at it, or makes and loads it; hands the plan
/// out as a file.
pub(crate) async fn work(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    // Browsers end the lines of a form by CR LF (HTML, from memory).
    let plan = fields.value("plan").replace("\r\n", "\n");
    let choice = Choice::of(&fields, &plan);
    match fields.value("do") {
        "add" => add(&session, &plan, choice).await,
        "look" => look(&session, &plan, choice).await,
        "download" => download(&session, &plan, &choice).await,
        then => made(&session, &app, &plan, &choice, then == "load").await,
    }
}

async fn add(session: &DistrictSession, plan: &str, choice: Choice) -> Result<HttpResponse, PageError> {
    match with_section(plan, &choice) {
        Ok(plan) => shown(&page(session, &plan, &Choice::empty(&choice.locale)).await?),
        Err(message) => refused(page(session, plan, &choice).await?, Texts::of_reader().say(message)),
    }
}

/// Tells how many questions there are to choose from, family by family.
async fn look(session: &DistrictSession, plan: &str, choice: Choice) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let mut board = page(session, plan, &choice).await?;
    let levels = match choice.levels() {
        Ok(levels) if !choice.code.is_empty() => levels,
        Ok(_) => return refused(board, texts.say("content-plan-look-lacks")),
        Err(message) => return refused(board, texts.say(message)),
    };
    let shelf = families::shelf().await?;
    let fitting: Vec<&'static Shelved> = shelf.iter().filter(|shelved| choice.fits(shelved)).collect();
    let supplies = web::block(move || {
        let supply = |shelved: &&'static Shelved| Supply::of(shelved, &choice.locale, levels);
        fitting.iter().map(supply).collect::<Vec<_>>()
    });
    let supplies = supplies.await.map_err(|error| PageError::Record(error.to_string()))?;
    board.sections.insert(1, supply_section(texts, &supplies, levels.is_some()));
    board.frame.again_in_another_language = None;
    shown(&board)
}

/// What a family has for a choice.
struct Supply {
    shelved: &'static Shelved,
    /// How many of how many drawn questions are of the levels asked for; none where any level will do.
    sampled: Option<(u32, u32)>,
}

impl Supply {
    fn of(shelved: &'static Shelved, locale: &str, levels: Option<(u8, u8)>) -> Self {
        let sampled = levels.map(|(from, to)| {
            let drawn = shelved.family.draws("sample", 0, locale).take(SAMPLE).filter_map(Result::ok);
            let fits = |item: &qbank::question::Item| (from..=to).contains(&item.difficulty);
            drawn.fold((0, 0), |(hits, all), item| (hits + u32::from(fits(&item)), all + 1))
        });
        Self { shelved, sampled }
    }

    /// The questions to be expected: of a sample's share where levels are asked for.
    fn questions(&self) -> u128 {
        let all = self.shelved.family.capacity();
        match self.sampled {
            None => all,
            Some((_, 0)) => 0,
            Some((hits, drawn)) => all.saturating_mul(u128::from(hits)) / u128::from(drawn),
        }
    }
}

fn supply_section(texts: &Texts, supplies: &[Supply], by_level: bool) -> Section {
    let heading = texts.say("content-supply");
    if supplies.is_empty() {
        return Section::new("supply", heading).text(texts.say("content-supply-none"));
    }
    let sum = supplies.iter().fold(0_u128, |sum, supply| sum.saturating_add(supply.questions()));
    let sum = u64::try_from(sum).unwrap_or(u64::MAX);
    let count = texts.number(if by_level { two_figures(sum) } else { sum });
    let mut told = vec![texts.with(
        if by_level { "content-supply-about" } else { "content-supply-most" },
        &[("count", count.into())],
    )];
    if by_level {
        told.push(texts.say("content-supply-sampled"));
    }
    let mut columns =
        vec!["content-column-family", "content-column-kinds", "content-column-level", "content-column-holds"];
    if by_level {
        columns.push("content-column-of-levels");
    }
    let row = |supply: &Supply| {
        let shelved = supply.shelved;
        let mut row = shelved.cells(texts);
        row.extend(supply.sampled.map(|(hits, drawn)| {
            let of = [("hits", hits.into()), ("drawn", drawn.into())];
            Cell::Text(texts.with("content-of-levels", &of))
        }));
        row
    };
    let table = Table::new(
        heading.clone(),
        columns.into_iter().map(|column| texts.say(column)).collect(),
        supplies.iter().map(row).collect(),
        String::new(),
    );
    Section { texts: told, ..Section::new("supply", heading).table(table) }
}

/// An estimate as exact as a sample is: its first two figures.
fn two_figures(count: u64) -> u64 {
    let step = 10_u64.pow(count.checked_ilog10().unwrap_or(0).saturating_sub(1));
    count / step * step
}

/// The plan as a file, if it is one.
async fn download(session: &DistrictSession, plan: &str, choice: &Choice) -> Result<HttpResponse, PageError> {
    let name = match Plan::from_toml(plan) {
        Ok(read) => name_of(&read.pool),
        Err(error) => {
            let told = PlanFault::Plan(error).told(Texts::of_reader());
            return refused(page(session, plan, choice).await?, told);
        }
    };
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/toml; charset=utf-8"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.toml\"")))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(plan.to_owned()))
}

/// The pool of the plan, shown or loaded.
async fn made(
    session: &DistrictSession,
    app: &App,
    plan: &str,
    choice: &Choice,
    load: bool,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let making = {
        let plan = plan.to_owned();
        web::block(move || make(&plan)).await.map_err(|error| PageError::Record(error.to_string()))?
    };
    let mut board = page(session, plan, choice).await?;
    let pool = match making {
        Ok(pool) => pool,
        Err(problem) => return refused(board, problem.told(texts)),
    };
    if load {
        return match app.storage.put_pool(StoredPool::of(&pool)).await? {
            PutPool::New | PutPool::Replaced => {
                Ok(answer::see_other(&format!("/district/pools/{}", pool.id)))
            }
            PutPool::InUse => refused(board, texts.say("content-pool-in-use")),
        };
    }
    board.sections.extend(preview(&pool, texts));
    let told = [("questions", pool.items().count().into()), ("sections", pool.sections.len().into())];
    done(board, texts.with("content-plan-made", &told), None)
}

/// The plan with one section more, as TOML.
fn with_section(plan: &str, choice: &Choice) -> Result<String, &'static str> {
    let number = |text: &str| text.parse::<u64>().ok().filter(|number| *number > 0);
    if choice.section.is_empty() || choice.code.is_empty() || (plan.is_empty() && choice.title.is_empty()) {
        return Err("content-plan-lacks");
    }
    let count = number(&choice.count).ok_or("content-plan-numbers")?;
    let pick = number(&choice.pick).ok_or("content-plan-numbers")?;
    if pick > count {
        return Err("content-plan-numbers");
    }
    // TOML's basic strings escape as JSON's do.
    let quoted = |text: &str| serde_json::Value::from(text).to_string();
    let mut text = plan.trim_end().to_owned();
    if text.is_empty() {
        text = format!(
            "pool = {}\ntitle = {}\nseed = \"1\"\nlocale = {}",
            quoted(&name_of(&choice.title)),
            quoted(&choice.title),
            quoted(&choice.locale)
        );
    }
    text += &format!(
        "\n\n[[section]]\ntitle = {}\nstandards = [{}]",
        quoted(&choice.section),
        quoted(&choice.code)
    );
    if let Some((from, to)) = choice.levels()? {
        text += &format!("\ndifficulty = [{from}, {to}]");
    }
    if let Some(kind) = choice.kind() {
        text += &format!("\nkind = {}", quoted(kind.name()));
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
    let plan = Plan::from_toml(plan).map_err(PlanFault::Plan)?;
    let asked = plan.section.iter().fold(0_u64, |sum, section| sum.saturating_add(section.count));
    if asked > QUESTIONS_MOST {
        return Err(PlanFault::TooLarge);
    }
    let families = match plan.families() {
        // One that the bank lacks is told by the plan, with its section.
        Some(names) => {
            let files = bank::FILES.iter().filter(|(name, _)| names.contains(name));
            files.map(|(name, text)| Family::from_toml(name, text)).collect::<Result<Vec<_>, _>>()
        }
        None => bank::families(),
    };
    let families = families.map_err(PlanFault::Bank)?;
    plan.make(&families, None).map_err(PlanFault::Plan)
}

#[cfg(test)]
mod tests {
    use qbank::plan::PlanError;

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
            ("kind", "number"),
            ("count", "6"),
            ("pick", "2"),
        ];
        let posted = posted.map(|(name, value)| (name.to_owned(), value.to_owned())).to_vec();
        let fields = Fields::checked(web::Form(posted), &crate::session::Csrf::from("c".to_owned())).unwrap();
        let once = with_section("", &Choice::of(&fields, "")).unwrap();
        let twice = with_section(&once, &Choice::of(&fields, &once)).unwrap();
        let plan = Plan::from_toml(&twice).unwrap();
        assert_eq!((plan.title.as_str(), plan.section.len()), ("A \"quoted\" day\\", 2));
        assert_eq!((*plan.section[1].levels.start(), *plan.section[1].levels.end()), (1, 3));
        assert_eq!(plan.section[1].kind, Some(StepKind::Number));
        assert_eq!(make(&once).unwrap().items().count(), 6);
    }

    #[test]
    fn estimates_have_two_figures() {
        let counts = [0, 7, 40, 99, 843, 84_739, u64::MAX];
        assert_eq!(counts.map(two_figures), [0, 7, 40, 99, 840, 84_000, 18_000_000_000_000_000_000]);
    }

    #[test]
    fn a_plan_at_fault_or_too_large_is_told() {
        assert!(matches!(make("pool = "), Err(PlanFault::Plan(PlanError::Malformed { line: 1, .. }))));
        let large = "pool = \"p\"\ntitle = \"P\"\nseed = \"1\"\n[[section]]\ntitle = \"A\"\nfamily = \"add-ragged\"\ncount = 5001\npick = 1\n";
        assert!(matches!(make(large), Err(PlanFault::TooLarge)));
        let huge = large.replace("5001", "9223372036854775807");
        assert!(matches!(make(&huge), Err(PlanFault::TooLarge)));
    }
}
