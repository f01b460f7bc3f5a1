//! Who uses what, and what items tell, over all schools, with small numbers left out as [`crate::usage`] says. The result
//! is kept for a minute, and worked out for one caller while others wait.

use std::collections::BTreeMap;
use std::sync::Arc;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use qbank::misconceptions;
use qbank::statistics::{Figure, LEAST, StepFigures, StepStatistics};
use tokio::sync::Mutex;

use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::handlers::answer::PageError;
use crate::handlers::opened_quiz::marks;
use crate::pages::board::{Cell, Chart, Section, Table};
use crate::pages::drawings::charts::{Bar, Bars, IntervalRow, Intervals, Share};
use crate::storage::{Placement, RegistrationId};
use crate::texts::Texts;
use crate::usage::{Answered, Cells, CourseUse, Usage};

/// How long a result is shown before it is worked out anew.
const FRESH_MS: i64 = 60 * 1000;
/// So many misconceptions are drawn, and named beside a step.
const DRAWN: usize = 10;
const NAMED: usize = 3;

/// What is told, and of which courses.
#[derive(Debug)]
struct Told {
    at: Timestamp,
    courses: Vec<Course>,
    usage: Usage,
}

/// A course in which quizzes are placed.
#[derive(Debug)]
struct Course {
    issuer: String,
    context: String,
    quizzes: u64,
}

/// The last result.
#[derive(Debug, Default)]
pub(crate) struct KeptUse(Mutex<Option<Arc<Told>>>);

async fn told(app: &App) -> Result<Arc<Told>, PageError> {
    let now = app.clock.now();
    let mut kept = app.kept_use.0.lock().await;
    if let Some(kept) = kept.as_ref().filter(|kept| kept.at <= now && now < plus_ms(kept.at, FRESH_MS)) {
        return Ok(kept.clone());
    }
    let made = Arc::new(work_out(app, now).await?);
    *kept = Some(made.clone());
    Ok(made)
}

async fn work_out(app: &App, now: Timestamp) -> Result<Told, PageError> {
    let placements = app.storage.placements().await?;
    let registrations = app.storage.registrations().await?;
    let mut numbers: BTreeMap<(RegistrationId, Option<String>), usize> = BTreeMap::new();
    let mut courses: Vec<Course> = Vec::new();
    let mut placed = Vec::new();
    for placement in &placements {
        let registration = placement.quiz.link.registration;
        let context = placement.quiz.context.as_ref().map(ToString::to_string);
        let course = *numbers.entry((registration, context.clone())).or_insert_with(|| {
            let known = registrations.iter().find(|known| known.id == registration);
            let issuer = known.map_or_else(String::new, |known| known.platform.issuer.clone());
            courses.push(Course { issuer, context: context.unwrap_or_default(), quizzes: 0 });
            courses.len() - 1
        });
        courses[course].quizzes += 1;
        placed.push((course, placement));
    }
    let mut cells = Cells::default();
    read(app, &placed, |answered| cells.add(answered)).await?;
    let mut sums = cells.ended();
    read(app, &placed, |answered| sums.add(answered)).await?;
    let mut tallies = sums.ended();
    read(app, &placed, |answered| tallies.add(answered)).await?;
    Ok(Told { at: now, courses, usage: tallies.ended() })
}

/// Reads the submitted attempts of all quizzes, one quiz at a time.
async fn read(
    app: &App,
    placed: &[(usize, &Placement)],
    mut take: impl FnMut(Answered<'_>),
) -> Result<(), PageError> {
    for (course, placement) in placed {
        for attempt in app.storage.attempts_at(&placement.id).await? {
            let Some(result) = &attempt.result else { continue };
            take(Answered { course: *course, marks: &marks(result)? });
        }
    }
    Ok(())
}

impl Told {
    /// The courses in the order of their platforms, those with figures first.
    fn by_course(&self) -> Vec<(&Course, Option<&CourseUse>)> {
        let mut rows: Vec<_> = self
            .courses
            .iter()
            .enumerate()
            .map(|(number, course)| (course, self.usage.courses.get(&number)))
            .collect();
        rows.sort_by_key(|(course, used)| (used.is_none(), &course.issuer, &course.context));
        rows
    }
}

/// GET: use and item statistics.
pub(crate) async fn show(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let told = told(&app).await?;
    let courses = Section::new("courses", texts.say("running-use-courses"))
        .text(texts.with("running-use-rule", &[("least", LEAST.into())]))
        .table(courses(&told, texts))
        .link("/district/use-courses.csv", texts.say("running-use-courses-csv"));
    let mut families = Section::new("families", texts.say("running-use-families")).table(steps(&told, texts));
    if !told.usage.families.is_empty() {
        families = families.text(texts.say("running-use-families-about"));
        families.charts.push(Chart::Intervals(facilities(&told, texts)));
    }
    if !told.usage.untold.is_empty() {
        let named: Vec<String> =
            told.usage.untold.iter().map(|(family, step)| format!("{family} / {step}")).collect();
        let text =
            texts.with("running-use-untold", &[("steps", named.join(", ").into()), ("least", LEAST.into())]);
        families = families.text(text);
    }
    let families = families.link("/district/use.csv", texts.say("running-use-csv"));
    let mut sections = vec![courses, families];
    let (bars, whole) = patterns(&told.usage, texts);
    if whole > 0 {
        let mut wrong =
            Section::new("wrong", texts.say("running-use-wrong")).text(texts.say("running-use-wrong-about"));
        wrong.charts.push(Chart::Bars(Bars {
            texts,
            id: "patterns",
            title: texts.say("running-use-wrong-chart"),
            label_heading: texts.say("running-column-consistent"),
            count_heading: texts.say("running-column-answers"),
            bars,
            whole,
        }));
        sections.push(wrong);
    }
    shown(&board(&session, "/district/use", texts.say("running-page-use"), sections))
}

fn courses(told: &Told, texts: &Texts) -> Table {
    let row = |(course, used): &(&Course, Option<&CourseUse>)| {
        let mut row = vec![
            Cell::Code(course.context.clone()),
            Cell::Text(course.issuer.clone()),
            Cell::Number(texts.number(course.quizzes)),
        ];
        row.extend(figures(*used, texts));
        row
    };
    let by_course = told.by_course();
    let mut rows: Vec<Vec<Cell>> = by_course.iter().map(row).collect();
    if told.usage.courses.len() > 1 {
        let sum = CourseUse::sum(told.usage.courses.values());
        let quizzes = by_course
            .iter()
            .filter(|(_, used)| used.is_some())
            .map(|(course, _)| course.quizzes)
            .sum::<u64>();
        let mut last = vec![
            Cell::Text(texts.say("running-use-sum")),
            Cell::Text(String::new()),
            Cell::Number(texts.number(quizzes)),
        ];
        last.extend(figures(Some(&sum), texts));
        rows.push(last);
    }
    let columns = [
        "running-column-course",
        "running-column-issuer",
        "running-column-quizzes",
        "running-column-pupils",
        "running-column-attempts",
        "running-column-share",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    Table::new(texts.say("running-use-courses"), columns, rows, texts.say("running-nothing"))
}

/// Pupils, attempts and the share of points, or that they are too few.
fn figures(used: Option<&CourseUse>, texts: &Texts) -> [Cell; 3] {
    let Some(used) = used else {
        return [(); 3].map(|()| Cell::Number(texts.with("running-too-few", &[("least", LEAST.into())])));
    };
    [
        Cell::Number(texts.number(used.pupils)),
        Cell::Number(texts.number(used.attempts)),
        Cell::Number(percent(thousandths(&used.share()), texts)),
    ]
}

/// The steps with figures. All of them have some: what is told is of ten pupils or more.
fn told_steps(usage: &Usage) -> impl Iterator<Item = (&StepStatistics, &StepFigures)> {
    usage.families.iter().filter_map(|step| Some((step, step.figures.given()?)))
}

fn name_of(step: &StepStatistics) -> String {
    format!("{} / {}", step.family.as_deref().unwrap_or_default(), step.step)
}

fn facilities(told: &Told, texts: &'static Texts) -> Intervals {
    let row = |(step, figures): (&StepStatistics, &StepFigures)| IntervalRow {
        label: name_of(step),
        share: Some(Share {
            low: thousandths(&figures.interval_95.0),
            at: thousandths(&figures.facility),
            high: thousandths(&figures.interval_95.1),
        }),
    };
    Intervals {
        texts,
        id: "facility",
        title: texts.say("running-use-chart"),
        label_heading: texts.say("running-column-family"),
        rows: told_steps(&told.usage).map(row).collect(),
    }
}

fn steps(told: &Told, texts: &Texts) -> Table {
    let row = |(step, figures): (&StepStatistics, &StepFigures)| {
        let discrimination = told.usage.discrimination(step).map(|figure| figure.written(2));
        let wrong = figures.distractors.iter().take(NAMED);
        let wrong = wrong
            .map(|wrong| format!("{} ({})", named(&wrong.misconception, texts), texts.number(wrong.count)));
        vec![
            Cell::Code(name_of(step)),
            Cell::Number(texts.number(step.pupils)),
            Cell::Number(texts.number(step.answers)),
            Cell::Number(percent(thousandths(&figures.facility), texts)),
            Cell::Number(discrimination.unwrap_or_else(|| texts.say("running-not-told"))),
            Cell::Text(wrong.collect::<Vec<_>>().join("; ")),
        ]
    };
    let columns = [
        "running-column-family",
        "running-column-pupils",
        "running-column-answers",
        "running-column-facility",
        "running-column-discrimination",
        "running-column-most",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let rows = told_steps(&told.usage).map(row).collect();
    Table::new(texts.say("running-use-families"), columns, rows, texts.say("running-nothing"))
}

/// The most frequent misconceptions that wrong answers are consistent with, over all steps, and how many answers are wrong.
fn patterns(usage: &Usage, texts: &Texts) -> (Vec<Bar>, usize) {
    let mut counts: BTreeMap<&str, u64> = BTreeMap::new();
    let mut whole = 0;
    for (_, figures) in told_steps(usage) {
        whole += figures.otherwise_wrong;
        for wrong in &figures.distractors {
            whole += wrong.count;
            *counts.entry(&wrong.misconception).or_default() += wrong.count;
        }
    }
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by_key(|(name, count)| (std::cmp::Reverse(*count), *name));
    let shown = |count: u64| usize::try_from(count).unwrap_or(usize::MAX);
    let bars = counts.into_iter().take(DRAWN);
    (bars.map(|(name, count)| Bar { label: named(name, texts), count: shown(count) }).collect(), shown(whole))
}

/// A share in thousandths.
fn thousandths(share: &Figure) -> u16 {
    share.written(3).replace('.', "").parse().unwrap_or_default()
}

fn percent(thousandths: u16, texts: &Texts) -> String {
    texts.with("drawings-percent", &[("share", ((u32::from(thousandths) + 5) / 10).into())])
}

/// What answers are consistent with, of misconceptions that were joined by ` | `.
fn named(joined: &str, texts: &Texts) -> String {
    let shown = |id: &str| {
        misconceptions::find(id)
            .map_or_else(|| id.to_owned(), |known| known.shown_as(texts.language()).to_owned())
    };
    joined.split(" | ").map(shown).collect::<Vec<_>>().join(" / ")
}

/// GET: the families' figures as a table for other programs.
pub(crate) async fn csv(_session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let told = told(&app).await?;
    let head = [
        "family",
        "step",
        "pupils",
        "answers",
        "facility",
        "from_95",
        "to_95",
        "discrimination",
        "consistent_with",
    ];
    let row = |(step, figures): (&StepStatistics, &StepFigures)| {
        let discrimination = told.usage.discrimination(step).map(|figure| figure.written(4));
        let wrong =
            figures.distractors.iter().map(|wrong| format!("{}: {}", wrong.misconception, wrong.count));
        vec![
            step.family.clone().unwrap_or_default(),
            step.step.clone(),
            step.pupils.to_string(),
            step.answers.to_string(),
            figures.facility.written(4),
            figures.interval_95.0.written(4),
            figures.interval_95.1.written(4),
            discrimination.unwrap_or_default(),
            wrong.collect::<Vec<_>>().join("; "),
        ]
    };
    table("families.csv", &head, told_steps(&told.usage).map(row))
}

/// GET: the courses' figures, likewise. A course without figures has empty fields.
pub(crate) async fn courses_csv(
    _session: DistrictSession,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let told = told(&app).await?;
    let head = ["platform", "course", "quizzes", "pupils", "attempts", "share_of_points"];
    let row = |(course, used): (&Course, Option<&CourseUse>)| {
        let figure = |told: fn(&CourseUse) -> String| used.map(told).unwrap_or_default();
        vec![
            course.issuer.clone(),
            course.context.clone(),
            course.quizzes.to_string(),
            figure(|used| used.pupils.to_string()),
            figure(|used| used.attempts.to_string()),
            figure(|used| used.share().written(4)),
        ]
    };
    table("courses.csv", &head, told.by_course().into_iter().map(row))
}

/// A table as a file. A spreadsheet program takes some fields for formulas; an apostrophe before them keeps it from that.
fn table(
    name: &str,
    head: &[&str],
    rows: impl Iterator<Item = Vec<String>>,
) -> Result<HttpResponse, PageError> {
    let fault = |error: csv::Error| PageError::Record(error.to_string());
    let mut written = csv::Writer::from_writer(Vec::new());
    written.write_record(head).map_err(fault)?;
    for row in rows {
        let plain = row.into_iter().map(|field| match field.parse::<f64>() {
            Err(_) if field.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{field}"),
            _ => field,
        });
        written.write_record(plain).map_err(fault)?;
    }
    let bytes = written.into_inner().map_err(|error| PageError::Record(error.to_string()))?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/csv; charset=utf-8"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(bytes))
}
