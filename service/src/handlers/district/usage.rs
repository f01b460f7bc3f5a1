//! Who uses what, and what items tell, over all schools, with small numbers left out.
//!
//! No figure about fewer than ten pupils is told ([`LEAST`], the rule of `tenths report`). So that such a figure cannot be
//! computed from others, the sums are those of the told rows only, and what a whole family comes to is never given by
//! course. Marks are read quiz by quiz, twice, and never held all at once; the result is kept for a minute.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use qbank::marking::Mark;
use qbank::misconceptions;
use qbank::statistics::{Census, Figure, LEAST, StepStatistics, Tally};

use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::handlers::answer::PageError;
use crate::handlers::opened_quiz::marks;
use crate::pages::board::{Cell, Section, Table};
use crate::storage::{Placement, UserId};
use crate::texts::Texts;

/// How long a result is shown before it is worked out anew.
const FRESH_MS: i64 = 60 * 1000;

/// One course's use.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Use {
    quizzes: u64,
    pupils: u64,
    attempts: u64,
    points: u64,
    maximum: u64,
}

/// What is told.
#[derive(Debug, Clone)]
struct Told {
    at: Timestamp,
    /// By platform and course.
    courses: Vec<((String, String), Use)>,
    families: Vec<StepStatistics>,
}

/// The last result, for a minute.
#[derive(Debug, Default)]
pub(crate) struct KeptUse(Mutex<Option<Arc<Told>>>);

async fn told(app: &App) -> Result<Arc<Told>, PageError> {
    let now = app.clock.now();
    let kept = app.kept_use.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
    if let Some(kept) = kept.filter(|kept| kept.at <= now && now < plus_ms(kept.at, FRESH_MS)) {
        return Ok(kept);
    }
    let made = Arc::new(work_out(app, now).await?);
    *app.kept_use.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(made.clone());
    Ok(made)
}

async fn work_out(app: &App, now: Timestamp) -> Result<Told, PageError> {
    let registrations = app.storage.registrations().await?;
    let issuer = |placement: &Placement| {
        let known = registrations.iter().find(|known| known.id == placement.quiz.link.registration);
        known.map_or_else(String::new, |known| known.platform.issuer.clone())
    };
    let placements = app.storage.placements().await?;
    let mut uses: BTreeMap<(String, String), (Use, BTreeSet<UserId>)> = BTreeMap::new();
    let mut census = Census::new(None);
    for placement in &placements {
        let course = placement.quiz.context.as_ref().map_or_else(String::new, ToString::to_string);
        let (used, pupils) = uses.entry((issuer(placement), course)).or_default();
        used.quizzes += 1;
        for attempt in app.storage.attempts_at(&placement.id).await? {
            let Some(result) = &attempt.result else { continue };
            used.attempts += 1;
            used.points += u64::from(result.points);
            used.maximum += u64::from(result.maximum);
            pupils.insert(attempt.user.clone());
            marks(result)?.iter().for_each(|mark| census.add(&apart(mark, placement)));
        }
    }
    let mut tally = Tally::new(census, None);
    for placement in &placements {
        for attempt in app.storage.attempts_at(&placement.id).await? {
            let Some(result) = &attempt.result else { continue };
            marks(result)?.iter().for_each(|mark| tally.add(&apart(mark, placement)));
        }
    }
    let course = |(course, (used, pupils)): ((String, String), (Use, BTreeSet<UserId>))| {
        (course, Use { pupils: pupils.len() as u64, ..used })
    };
    Ok(Told { at: now, courses: uses.into_iter().map(course).collect(), families: tally.finish().families })
}

/// The mark of a pupil who is not taken for one of the same id on another platform.
fn apart(mark: &Mark, placement: &Placement) -> Mark {
    Mark { pupil: format!("{}/{}", placement.quiz.link.registration.0, mark.pupil), ..mark.clone() }
}

/// Whether figures of that many pupils are told.
fn enough(pupils: u64) -> bool {
    pupils >= LEAST
}

/// The sum of the told rows: with all rows in it, a single untold one could be computed.
fn sum<'u>(courses: impl Iterator<Item = &'u Use>) -> Use {
    courses.filter(|used| enough(used.pupils)).fold(Use::default(), |sum, used| Use {
        quizzes: sum.quizzes + used.quizzes,
        pupils: sum.pupils + used.pupils,
        attempts: sum.attempts + used.attempts,
        points: sum.points + used.points,
        maximum: sum.maximum + used.maximum,
    })
}

/// GET: use and item statistics.
pub(crate) async fn show(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let told = told(&app).await?;
    let row = |(course, used): &((String, String), Use)| {
        let mut row = vec![Cell::Code(course.1.clone()), Cell::Text(course.0.clone())];
        row.push(Cell::Number(texts.number(used.quizzes)));
        row.extend(figures(used, texts));
        row
    };
    let mut rows: Vec<Vec<Cell>> = told.courses.iter().map(row).collect();
    if !rows.is_empty() {
        let all = sum(told.courses.iter().map(|(_, used)| used));
        let mut last = vec![Cell::Text(texts.say("running-use-sum")), Cell::Text(String::new())];
        last.push(Cell::Number(texts.number(all.quizzes)));
        last.extend(figures(&all, texts));
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
    let courses = Table::new(texts.say("running-use-courses"), columns, rows, texts.say("running-nothing"));
    let least = [("least", LEAST.into())];
    let sections = vec![
        Section::new("courses", texts.say("running-use-courses"))
            .text(texts.with("running-use-rule", &least))
            .table(courses)
            .link("/district/use.csv", texts.say("running-use-csv")),
        Section::new("families", texts.say("running-use-families")).table(families(&told, texts)),
    ];
    shown(&board(&session, "/district/use", texts.say("running-page-use"), sections))
}

/// Pupils, attempts and the share of points, or that they are too few.
fn figures(used: &Use, texts: &Texts) -> Vec<Cell> {
    if !enough(used.pupils) {
        return (0..3)
            .map(|_| Cell::Number(texts.with("running-too-few", &[("least", LEAST.into())])))
            .collect();
    }
    let share = Figure::ratio(i128::from(used.points), i128::from(used.maximum.max(1)));
    vec![
        Cell::Number(texts.number(used.pupils)),
        Cell::Number(texts.number(used.attempts)),
        Cell::Number(share.written(2)),
    ]
}

fn families(told: &Told, texts: &Texts) -> Table {
    let row = |step: &StepStatistics| {
        let name = step.family.clone().unwrap_or_default();
        let mut row = vec![Cell::Code(format!("{name} / {}", step.step))];
        match step.figures.given() {
            None => {
                row.extend(
                    (0..4).map(|_| Cell::Text(texts.with("running-too-few", &[("least", LEAST.into())]))),
                );
            }
            Some(figures) => {
                let (low, high) = &figures.interval_95;
                row.push(Cell::Number(texts.number(step.pupils)));
                row.push(Cell::Number(figures.facility.written(2)));
                row.push(Cell::Number(format!("{}\u{2013}{}", low.written(2), high.written(2))));
                let most = figures.distractors.first().map(|most| named(&most.misconception, texts));
                row.push(Cell::Text(most.unwrap_or_default()));
            }
        }
        row
    };
    let columns = [
        "running-column-family",
        "running-column-pupils",
        "running-column-facility",
        "running-column-interval",
        "running-column-most",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    Table::new(
        texts.say("running-use-families"),
        columns,
        told.families.iter().map(row).collect(),
        texts.say("running-nothing"),
    )
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
    let fault = |error: csv::Error| PageError::Record(error.to_string());
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(["family", "step", "pupils", "facility", "from_95", "to_95", "most_frequent"])
        .map_err(fault)?;
    for step in &told.families {
        let family = step.family.as_deref().unwrap_or_default();
        let record = match step.figures.given() {
            None => [family, &step.step, "", "", "", "", ""].map(str::to_owned),
            Some(figures) => [
                family.to_owned(),
                step.step.clone(),
                step.pupils.to_string(),
                figures.facility.written(4),
                figures.interval_95.0.written(4),
                figures.interval_95.1.written(4),
                figures.distractors.first().map(|most| most.misconception.clone()).unwrap_or_default(),
            ],
        };
        rows.write_record(record).map_err(fault)?;
    }
    let bytes = rows.into_inner().map_err(|error| PageError::Record(error.to_string()))?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "text/csv; charset=utf-8"))
        .insert_header((CONTENT_DISPOSITION, "attachment; filename=\"families.csv\""))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the courses are, what is told of them never lets a small one be computed.
    #[test]
    fn a_small_course_is_told_nowhere() {
        let course =
            |pupils: u64| Use { quizzes: 1, pupils, attempts: pupils, points: pupils, maximum: 2 * pupils };
        for small in 1..LEAST {
            for large in [LEAST, 11, 500] {
                let courses = [course(small), course(large), course(large + 1)];
                let all = sum(courses.iter());
                assert_eq!(all.pupils, 2 * large + 1, "the sum is that of the told rows");
                let told: Vec<bool> = courses.iter().map(|used| enough(used.pupils)).collect();
                assert_eq!(told, [false, true, true]);
            }
        }
        assert_eq!(sum([course(3), course(4)].iter()).pupils, 0, "two small ones are none together");
    }
}
