//! Typing in a sheet: its code leads to its questions, and what is typed becomes an attempt like any other.
//!
//! ```text
//! GET  /class/{placement}/paper/enter?code=…   the sheet's questions, with fields
//! POST /class/{placement}/paper/enter          an attempt of the pupil, marked and on its way to the gradebook
//! ```

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::question::{Item, Step, StepKind};
use serde::Deserialize;

use super::paper::{self, OnPaper};
use crate::app::App;
use crate::attempts;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::paper::{EnterPage, PupilChoice, TypedQuestion, TypedStep};
use crate::pages::quiz::ANSWER_LENGTH_MAX;
use crate::pages::{Frame, Place};
use crate::paper::{NoCode, SheetCode};
use crate::session::TeacherSession;
use crate::storage::{Attempt, Change, Responses, SheetBegun, StoredSheet, Submitted, UserId};
use crate::texts::Texts;

/// The sheet that is asked for.
#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    /// As typed.
    code: String,
}

/// GET: the questions of a sheet.
pub(crate) async fn show(
    session: TeacherSession,
    app: web::Data<App>,
    asked: web::Query<Asked>,
) -> Result<HttpResponse, PageError> {
    let on_paper = OnPaper::find(&app, &session).await?;
    let sheet = match find(&app, &session, &asked.code).await? {
        Ok(sheet) => sheet,
        Err(problem) => return refused(&on_paper, &session, problem),
    };
    if let Some(attempt) = typed_before(&on_paper, &sheet) {
        return Ok(answer::see_other(&format!("/class/{}/{}", session.placement, attempt.id)));
    }
    answer::page(StatusCode::OK, &page(&on_paper, &session, &sheet, &Typed::default(), None))
}

/// POST: what stands on the sheet.
pub(crate) async fn enter(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let on_paper = OnPaper::find(&app, &session).await?;
    let sheet = match find(&app, &session, fields.value("code")).await? {
        Ok(sheet) => sheet,
        Err(problem) => return refused(&on_paper, &session, problem),
    };
    let typed = Typed::read(&fields, &on_paper, &sheet);
    let done = match &typed.pupil {
        None => Err("paper-choose-pupil"),
        Some(_) if typed.too_long => Err("paper-too-long"),
        Some(pupil) => hand_in(&app, &session, &on_paper, &sheet, pupil, typed.responses.clone()).await?,
    };
    match done {
        Ok(attempt) => Ok(answer::see_other(&format!("/class/{}/{}", session.placement, attempt.id))),
        Err(problem) => {
            let problem = Texts::of_reader().say(problem);
            let page = page(&on_paper, &session, &sheet, &typed, Some(problem));
            answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

/// The sheet of this quiz with that code, or the message that says why there is none.
async fn find(
    app: &App,
    session: &TeacherSession,
    typed: &str,
) -> Result<Result<StoredSheet, &'static str>, PageError> {
    let code = match typed.parse::<SheetCode>() {
        Ok(code) => code,
        Err(NoCode::Form) => return Ok(Err("paper-no-code")),
        Err(NoCode::Check) => return Ok(Err("paper-mistyped")),
    };
    Ok(match app.storage.sheet(code).await? {
        Some(sheet) if sheet.placement == session.placement => Ok(sheet),
        Some(_) => Err("paper-other-quiz"),
        None => Err("paper-unknown"),
    })
}

fn refused(
    on_paper: &OnPaper,
    session: &TeacherSession,
    problem: &'static str,
) -> Result<HttpResponse, PageError> {
    let problem = Texts::of_reader().say(problem);
    answer::page(StatusCode::UNPROCESSABLE_ENTITY, &paper::page(on_paper, session, Some(problem)))
}

fn typed_before<'p>(on_paper: &'p OnPaper, sheet: &StoredSheet) -> Option<&'p Attempt> {
    on_paper.attempt_of(sheet.code).filter(|attempt| attempt.result.is_some())
}

/// Makes the pupil's attempt from the sheet and closes it. An interruption in between loses nothing: typing the sheet in
/// again goes on with the same attempt.
async fn hand_in(
    app: &App,
    session: &TeacherSession,
    on_paper: &OnPaper,
    sheet: &StoredSheet,
    pupil: &UserId,
    responses: Responses,
) -> Result<Result<Attempt, &'static str>, PageError> {
    if let Some(attempt) = typed_before(on_paper, sheet) {
        return Ok(Ok(attempt.clone()));
    }
    let now = app.clock.now();
    let change = Change { at: now, by: session.actor() };
    let attempt = match app.storage.begin_sheet(&session.placement, sheet.code, pupil, &change).await? {
        SheetBegun::Open(attempt) => attempt,
        SheetBegun::Anothers => return Ok(Err("paper-anothers")),
        SheetBegun::AnotherAttempt => return Ok(Err("paper-open-attempt")),
        SheetBegun::UsedUp => return Ok(Err("paper-used-up")),
        SheetBegun::NoSheet => return Ok(Err("paper-unknown")),
    };
    let questions = on_paper.quiz.questions(&attempt.seed);
    let result = on_paper.quiz.result(&questions, &attempt, &responses, now);
    match attempts::close(app, &attempt, responses, result, questions.len(), true).await? {
        Submitted::Closed(attempt) | Submitted::AlreadyClosed(attempt) => Ok(Ok(attempt)),
        Submitted::NoAttempt => Err(PageError::NotFound),
    }
}

/// What was typed in so far.
#[derive(Debug, Default)]
struct Typed {
    pupil: Option<UserId>,
    responses: Responses,
    too_long: bool,
}

impl Typed {
    fn read(fields: &Fields, on_paper: &OnPaper, sheet: &StoredSheet) -> Self {
        let chosen = fields.value("pupil");
        let known = on_paper.pupils().into_iter().find(|(user, _)| user.as_str() == chosen);
        let pupil = sheet.user.clone().or_else(|| known.map(|(user, _)| user.clone()));
        let mut typed = Self { pupil, ..Self::default() };
        for (item, number) in on_paper.quiz.questions(&sheet.code.seed()).into_iter().zip(1..) {
            let mut steps = BTreeMap::new();
            for step in &item.steps {
                let text = as_marking_reads(step, fields.value(&field(number, step)));
                typed.too_long |= text.chars().count() > ANSWER_LENGTH_MAX;
                if !text.is_empty() {
                    steps.insert(step.id.to_string(), text);
                }
            }
            typed.responses.insert(item.id.to_string(), steps);
        }
        typed
    }

    fn of<'t>(&'t self, item: &Item, step: &Step) -> &'t str {
        self.responses
            .get(item.id.as_str())
            .and_then(|steps| steps.get(step.id.as_str()))
            .map_or("", String::as_str)
    }
}

/// Orders are typed as letters, with or without commas; everything else as it stands on the sheet.
fn as_marking_reads(step: &Step, text: &str) -> String {
    if step.kind != StepKind::Order {
        return text.trim().to_owned();
    }
    let letters = text.to_uppercase();
    let places: Vec<String> =
        letters.chars().filter(|letter| letter.is_alphanumeric()).map(String::from).collect();
    places.join(",")
}

/// The name of a step's field: never the question's own id, which tells its family.
fn field(number: usize, step: &Step) -> String {
    format!("q{number}.{}", step.id)
}

fn page(
    on_paper: &OnPaper,
    session: &TeacherSession,
    sheet: &StoredSheet,
    typed: &Typed,
    problem: Option<String>,
) -> EnterPage {
    let texts = Texts::of_reader();
    let code = sheet.code.to_string();
    let questions = on_paper.quiz.questions(&sheet.code.seed());
    let pupil = |(user, name): (&UserId, String)| PupilChoice {
        id: user.to_string(),
        name,
        chosen: typed.pupil.as_ref() == Some(user),
    };
    EnterPage {
        frame: Frame::new(
            texts,
            Place::Class,
            texts.with("paper-enter-heading", &[("code", code.as_str().into())]),
        ),
        problem,
        url: format!("{}/enter", paper::address(session)),
        back: paper::address(session),
        csrf: session.csrf.value().to_owned(),
        code,
        pupil: sheet.user.as_ref().map(|user| on_paper.called(user)),
        pupils: on_paper.pupils().into_iter().map(pupil).collect(),
        questions: questions
            .into_iter()
            .zip(1..)
            .map(|(item, number)| question(item, number, typed))
            .collect(),
    }
}

fn question(item: &Item, number: usize, typed: &Typed) -> TypedQuestion {
    let several = item.steps.len() > 1;
    let step = |(step, letter): (&Step, char)| TypedStep {
        name: field(number, step),
        anchor: format!("q{number}-{}", step.id),
        letter: several.then_some(letter),
        prompt: step.prompt.to_string(),
        typed: typed.of(item, step).to_owned(),
        choices: match step.kind {
            StepKind::Choice => {
                step.choices.iter().map(|choice| (choice.id.to_string(), choice.text.to_string())).collect()
            }
            _ => Vec::new(),
        },
        order: (step.kind == StepKind::Order).then(|| {
            let listed = step.choices.iter().map(|choice| format!("{}: {}", choice.id, choice.text));
            listed.collect::<Vec<_>>().join(" · ")
        }),
        words: step.kind == StepKind::Words,
    };
    TypedQuestion { number, steps: item.steps.iter().zip('a'..).map(step).collect() }
}
