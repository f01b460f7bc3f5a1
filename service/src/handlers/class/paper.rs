//! The paper route of a quiz: sheets are made, printed, and typed in again.
//!
//! ```text
//! GET  /class/{placement}/paper              the sheets, and what can be done with them
//! POST /class/{placement}/paper              make sheets: for the class list, or so many without a name
//! GET  /class/{placement}/paper/print        sheets as a page to print
//! GET  /class/{placement}/paper/sheets.pdf   the same as PDF
//! GET  /class/{placement}/paper/key.pdf      their key
//! ```
//!
//! Only sheets that were not typed in yet are printed.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use serde::Deserialize;

use super::people::name_or_label;
use super::roster::{ClassList, class_list};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::opened_quiz::OpenedQuiz;
use crate::pages::paper::{PaperPage, PrintPage, SheetRow};
use crate::pages::{Frame, Place};
use crate::paper::{self, Paper, PrintSettings, Sheet, SheetCode};
use crate::session::TeacherSession;
use crate::storage::{Attempt, Change, Member, MemberStatus, Part, StoredSheet, UserId};
use crate::texts::Texts;

/// Most sheets that are made at once.
const SHEETS_MOST: usize = 200;

/// A quiz with its sheets and people.
pub(super) struct OnPaper {
    pub(super) quiz: OpenedQuiz,
    sheets: Vec<StoredSheet>,
    class: ClassList,
    attempts: Vec<Attempt>,
}

impl OnPaper {
    pub(super) async fn find(app: &web::Data<App>, session: &TeacherSession) -> Result<Self, PageError> {
        let quiz = OpenedQuiz::find(app, &session.placement).await?;
        let sheets = app.storage.sheets_at(&session.placement).await?;
        let class = class_list(app, &quiz.placement).await?;
        let attempts = app.storage.attempts_at(&session.placement).await?;
        Ok(Self { quiz, sheets, class, attempts })
    }

    /// The pupil's name where names are kept, else the label.
    pub(super) fn called(&self, user: &UserId) -> String {
        let member = self.class.members.iter().find(|member| member.user == *user);
        name_or_label(Texts::of_reader(), member, user)
    }

    /// The pupils of the course, by name or label.
    pub(super) fn pupils(&self) -> Vec<(&UserId, String)> {
        let pupil = |member: &&Member| member.part == Part::Pupil && member.status == MemberStatus::Active;
        let pupils = self.class.members.iter().filter(pupil);
        let mut pupils: Vec<_> = pupils.map(|member| (&member.user, self.called(&member.user))).collect();
        pupils.sort_by(|one, other| one.1.cmp(&other.1));
        pupils
    }

    /// The attempt that was typed in from a sheet.
    pub(super) fn attempt_of(&self, code: SheetCode) -> Option<&Attempt> {
        let seed = code.seed();
        self.attempts.iter().find(|attempt| attempt.seed == seed)
    }

    /// Sheets that were not typed in yet.
    fn waiting(&self) -> impl Iterator<Item = &StoredSheet> {
        let typed: BTreeSet<&str> = self
            .attempts
            .iter()
            .filter(|attempt| attempt.result.is_some())
            .map(|attempt| attempt.seed.as_str())
            .collect();
        self.sheets.iter().filter(move |sheet| !typed.contains(sheet.code.seed().as_str()))
    }

    /// What stands on the sheets that wait.
    fn printed(&self) -> Vec<Sheet> {
        let quiz = &self.quiz.placement.quiz;
        let count = usize::try_from(quiz.question_count).unwrap_or(usize::MAX);
        let sheet = |stored: &StoredSheet| {
            let sheet = Sheet::of(&self.quiz.pool, count, stored.code, quiz.policy);
            match &stored.user {
                Some(user) => sheet.for_pupil(self.called(user)),
                None => sheet,
            }
        };
        self.waiting().map(sheet).collect()
    }
}

/// How sheets are printed, by the address.
#[derive(Debug, Deserialize)]
pub(crate) struct Wishes {
    /// Present for squares to work in.
    squares: Option<String>,
    /// Present for workings in the key.
    workings: Option<String>,
    /// Present for leaves that are printed on both sides.
    two_sided: Option<String>,
    /// `letter` or `a4`.
    paper: Option<String>,
}

impl Wishes {
    fn settings(&self, quiz: &OpenedQuiz) -> PrintSettings {
        PrintSettings {
            paper: self.paper.as_deref().and_then(|name| name.parse().ok()).unwrap_or(Paper::Letter),
            squares: self.squares.is_some(),
            workings: self.workings.is_some(),
            two_sided: self.two_sided.is_some(),
            title: quiz.title(),
            texts: Texts::of(&quiz.pool.locale),
        }
    }
}

/// GET: the sheets.
pub(crate) async fn show(session: TeacherSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let on_paper = OnPaper::find(&app, &session).await?;
    answer::page(StatusCode::OK, &page(&on_paper, &session, None))
}

/// POST: sheets are made, each with a code of its own.
pub(crate) async fn make(
    session: TeacherSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let on_paper = OnPaper::find(&app, &session).await?;
    let made = match wanted(&fields, &on_paper) {
        Ok(wanted) => wanted,
        Err(problem) => {
            let problem = Texts::of_reader().with(problem, &[("most", SHEETS_MOST.into())]);
            let page = page(&on_paper, &session, Some(problem));
            return answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page);
        }
    };
    let now = app.clock.now();
    let sheet = |user: Option<UserId>| StoredSheet {
        // Random: a pupil who knows other codes of the class learns nothing of another's questions.
        code: SheetCode::of(&entropy::secret()),
        placement: session.placement.clone(),
        user,
        made_at: now,
    };
    let change = Change { at: now, by: session.actor() };
    app.storage.add_sheets(made.into_iter().map(sheet).collect(), &change).await?;
    Ok(answer::see_other(&address(&session)))
}

/// For whom sheets are made: pupils of the course who have none that waits, or so many unnamed ones.
fn wanted(fields: &Fields, on_paper: &OnPaper) -> Result<Vec<Option<UserId>>, &'static str> {
    if fields.value("for") == "class" {
        let have: BTreeSet<&UserId> = on_paper.waiting().filter_map(|sheet| sheet.user.as_ref()).collect();
        let lack = on_paper.pupils().into_iter().filter(|(user, _)| !have.contains(user));
        let lack: Vec<_> = lack.map(|(user, _)| Some(user.clone())).take(SHEETS_MOST).collect();
        return if lack.is_empty() { Err("paper-nobody") } else { Ok(lack) };
    }
    match fields.value("count").trim().parse::<usize>() {
        Ok(count) if (1..=SHEETS_MOST).contains(&count) => Ok(vec![None; count]),
        _ => Err("paper-count"),
    }
}

/// GET: sheets as a page to print.
pub(crate) async fn print(
    session: TeacherSession,
    app: web::Data<App>,
    wishes: web::Query<Wishes>,
) -> Result<HttpResponse, PageError> {
    let on_paper = OnPaper::find(&app, &session).await?;
    let locale = &on_paper.quiz.pool.locale;
    let page = PrintPage {
        frame: Frame::new(Texts::of_reader(), Place::Class, on_paper.quiz.title()),
        sheets: on_paper.printed(),
        language: locale.clone(),
        sheet_texts: Texts::of(locale),
        squares: wishes.squares.is_some(),
        back: address(&session),
    };
    answer::page(StatusCode::OK, &page)
}

/// GET: sheets as PDF.
pub(crate) async fn sheets_pdf(
    session: TeacherSession,
    app: web::Data<App>,
    wishes: web::Query<Wishes>,
) -> Result<HttpResponse, PageError> {
    pdf(session, app, wishes, "sheets.pdf", paper::sheets).await
}

/// GET: the key as PDF.
pub(crate) async fn key_pdf(
    session: TeacherSession,
    app: web::Data<App>,
    wishes: web::Query<Wishes>,
) -> Result<HttpResponse, PageError> {
    pdf(session, app, wishes, "key.pdf", paper::key).await
}

/// Writes sheets as a file.
type Write = fn(&[Sheet], &PrintSettings) -> Result<Vec<u8>, paper::PdfError>;

async fn pdf(
    session: TeacherSession,
    app: web::Data<App>,
    wishes: web::Query<Wishes>,
    name: &'static str,
    write: Write,
) -> Result<HttpResponse, PageError> {
    let on_paper = OnPaper::find(&app, &session).await?;
    let settings = wishes.settings(&on_paper.quiz);
    // Setting a class takes long enough to keep others waiting.
    let written = web::block(move || write(&on_paper.printed(), &settings)).await;
    let bytes = written
        .map_err(|error| PageError::Record(error.to_string()))?
        .map_err(|error| PageError::Record(error.to_string()))?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "application/pdf"))
        .insert_header((CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")))
        .insert_header((CACHE_CONTROL, "no-store"))
        .body(bytes))
}

pub(super) fn address(session: &TeacherSession) -> String {
    format!("/class/{}/paper", session.placement)
}

pub(super) fn page(on_paper: &OnPaper, session: &TeacherSession, problem: Option<String>) -> PaperPage {
    let texts = Texts::of_reader();
    let results: BTreeMap<String, &Attempt> =
        on_paper.attempts.iter().map(|attempt| (attempt.seed.clone(), attempt)).collect();
    let row = |sheet: &StoredSheet| {
        let attempt = results.get(&sheet.code.seed());
        let result = attempt.and_then(|attempt| attempt.result.as_ref().map(|result| (attempt, result)));
        SheetRow {
            code: sheet.code.to_string(),
            pupil: sheet.user.as_ref().map(|user| on_paper.called(user)),
            typed: result.map(|(attempt, result)| {
                let points = [("points", result.points.into()), ("maximum", result.maximum.into())];
                (format!("/class/{}/{}", session.placement, attempt.id), texts.with("paper-typed", &points))
            }),
        }
    };
    let waiting = on_paper.waiting().count();
    PaperPage {
        frame: Frame::new(
            texts,
            Place::Class,
            texts.with("paper-heading", &[("title", on_paper.quiz.title().into())]),
        )
        .with_languages(),
        problem,
        class_url: format!("/class/{}", session.placement),
        url: address(session),
        csrf: session.csrf.value().to_owned(),
        pupils: on_paper.pupils().len(),
        waiting,
        sheets: on_paper.sheets.iter().map(row).collect(),
    }
}
