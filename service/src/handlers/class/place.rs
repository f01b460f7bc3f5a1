//! Placing quizzes by deep linking: the teacher chooses pools and settings, the choice goes back to the platform.
//!
//! Nothing is stored: a platform may drop what is returned, so a placement begins at its first launch. Where the
//! platform takes several links, "Add another quiz" shows the form again with one more; all that was typed travels in
//! the form. Fields of the second quiz are named `2.pool` and so on, those of the first have no prefix.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use qbank::accept::Credit;
use qbank::form;
use qbank::marking::Policy;
use qbank::pool::Pool;

use super::window_fields::{self, Typed};
use crate::app::App;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::marking_words;
use crate::handlers::opened_quiz::counted;
use crate::lti::deep_linking::{ATTEMPTS_MAX, Choice, PlacedQuiz, QUESTIONS_MAX, QUIZZES_MAX};
use crate::pages::class::{CreditChoice, PlacePage, PoolChoice, QuizForm, TITLE_LENGTH_MAX};
use crate::pages::{Frame, Place};
use crate::placing;
use crate::session::PlacingSession;
use crate::storage::{Layout, PoolId, PoolSummary};
use crate::windows::{Edge, Windows, Zone};

/// What the form suggests at first.
const QUESTIONS_SUGGESTED: u32 = 5;
const ATTEMPTS_SUGGESTED: u32 = 3;
/// Most curriculum codes named beside a pool.
const STANDARDS_SHOWN: usize = 6;

/// What the teacher chose so far for one quiz, as typed.
#[derive(Debug, Clone)]
struct Draft {
    pool: String,
    title: String,
    questions: String,
    attempts: String,
    /// `yes`, or anything else for no.
    follow_through: String,
    /// A [`Credit`] by name, or empty where each question says so itself.
    form_credit: String,
    layout: String,
    /// `yes`, or anything else for no.
    released: String,
    /// The ends of the windows, in the order of [`Edge::ALL`].
    edges: Typed,
}

/// The whole form as typed.
#[derive(Debug, Clone)]
struct Drafts {
    quizzes: Vec<Draft>,
    zone: String,
}

/// Prefix of the fields of a quiz, counted from 0.
fn prefix(index: usize) -> String {
    if index == 0 { String::new() } else { format!("{}.", index + 1) }
}

impl Draft {
    fn suggested(title: Option<&str>) -> Self {
        Self {
            pool: String::new(),
            title: title.unwrap_or_default().to_owned(),
            questions: QUESTIONS_SUGGESTED.to_string(),
            attempts: ATTEMPTS_SUGGESTED.to_string(),
            follow_through: "yes".into(),
            form_credit: String::new(),
            layout: String::new(),
            released: "yes".into(),
            edges: Default::default(),
        }
    }

    fn read(fields: &Fields, prefix: &str) -> Self {
        let typed = |name: &str| fields.value(&format!("{prefix}{name}")).trim().to_owned();
        Self {
            pool: typed("pool"),
            title: typed("title"),
            questions: typed("questions"),
            attempts: typed("attempts"),
            follow_through: typed("follow_through"),
            form_credit: typed("form_credit"),
            layout: typed("layout"),
            released: typed("released"),
            edges: Edge::ALL.map(|edge| typed(edge.name())),
        }
    }
}

impl Drafts {
    /// All quizzes of a posted form but those marked to be left out; the first always stays.
    fn read(fields: &Fields) -> Self {
        let count = fields.value("quizzes").parse::<usize>().unwrap_or(1).clamp(1, QUIZZES_MAX);
        let prefixes = (0..count).map(prefix);
        let kept = prefixes.filter(|prefix| fields.value(&format!("{prefix}leave_out")) != "yes");
        Self {
            quizzes: kept.map(|prefix| Draft::read(fields, &prefix)).collect(),
            zone: fields.value("time_zone").to_owned(),
        }
    }
}

/// GET: pools and settings to choose from.
pub(crate) async fn show(session: PlacingSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let drafts = Drafts {
        quizzes: vec![Draft::suggested(session.request.title.as_deref())],
        zone: app.settings.time_zone.to_string(),
    };
    answer::page(StatusCode::OK, &page(&app, &session, drafts, None).await?)
}

/// POST: the chosen quizzes, or nothing, go back to the platform by way of the browser; or the form comes again with
/// one more quiz.
pub(crate) async fn place(
    session: PlacingSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    if fields.value("cancel") == "yes" {
        return Ok(placing::answer(&app, &session, &nothing(&app).await?).await?.into_response());
    }
    let mut drafts = Drafts::read(&fields);
    if !session.request.accept_multiple {
        drafts.quizzes.truncate(1);
    }
    if fields.value("more") == "yes" && may_add(&session, &drafts) {
        let last = drafts.quizzes.last().cloned();
        let next = Draft { title: String::new(), ..last.unwrap_or_else(|| Draft::suggested(None)) };
        drafts.quizzes.push(next);
        return answer::page(StatusCode::OK, &page(&app, &session, drafts, None).await?);
    }
    match chosen(&app, &drafts).await? {
        Ok(choice) => Ok(placing::answer(&app, &session, &choice).await?.into_response()),
        Err(problem) => {
            let page = page(&app, &session, drafts, Some(problem)).await?;
            answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

/// Going back without a quiz; where there was nothing to choose from, the platform is told why.
async fn nothing(app: &App) -> Result<Choice, PageError> {
    let problem = app.storage.pools().await?.is_empty().then(|| {
        "No question pool is loaded yet, so no quiz was placed. Ask the person who looks after tenths."
            .to_owned()
    });
    Ok(Choice { problem, ..Choice::default() })
}

fn may_add(session: &PlacingSession, drafts: &Drafts) -> bool {
    session.request.accept_multiple && drafts.quizzes.len() < QUIZZES_MAX
}

/// The quizzes that the drafts describe, or what is wrong with one in a sentence.
async fn chosen(app: &App, drafts: &Drafts) -> Result<Result<Choice, String>, PageError> {
    let zone = if drafts.zone.is_empty() { Ok(app.settings.time_zone.clone()) } else { drafts.zone.parse() };
    let Ok(zone) = zone else {
        return Ok(Err("Please choose a time zone from the list.".into()));
    };
    let mut quizzes = Vec::with_capacity(drafts.quizzes.len());
    for (draft, number) in drafts.quizzes.iter().zip(1..) {
        let id = PoolId::from(draft.pool.as_str());
        let pool = app.pools.find(app.storage.as_ref(), &id).await?;
        let quiz = pool
            .ok_or_else(|| "Please choose a question pool.".to_owned())
            .and_then(|pool| quiz(&pool, draft, &zone, app.clock.now()));
        match quiz {
            Ok(quiz) => quizzes.push(quiz),
            Err(problem) if drafts.quizzes.len() == 1 => return Ok(Err(problem)),
            Err(problem) => return Ok(Err(format!("Quiz {number}: {problem}"))),
        }
    }
    let message = (quizzes.len() > 1).then(|| format!("{} quizzes were placed.", quizzes.len()));
    Ok(Ok(Choice { quizzes, message, problem: None }))
}

fn quiz(pool: &Pool, draft: &Draft, zone: &Zone, now: Timestamp) -> Result<PlacedQuiz, String> {
    let held = u32::try_from(pool.items().count()).unwrap_or(u32::MAX);
    let question_count = whole(&draft.questions, "questions for each pupil", QUESTIONS_MAX.min(held))?;
    let attempts_allowed = whole(&draft.attempts, "attempts for each pupil", ATTEMPTS_MAX)?;
    if draft.title.chars().count() > TITLE_LENGTH_MAX {
        return Err(format!("The title may have up to {TITLE_LENGTH_MAX} characters."));
    }
    // Forms of one pool may be worth different points; platforms rescale, so one of them stands for all.
    let sample = form::draw(pool, usize::try_from(question_count).unwrap_or(usize::MAX), "");
    Ok(PlacedQuiz {
        title: if draft.title.is_empty() { pool.title.clone() } else { draft.title.clone() },
        pool: PoolId::from(pool.id.as_str()),
        question_count,
        attempts_allowed,
        policy: Policy {
            follow_through: draft.follow_through == "yes",
            form_credit: Credit::named(&draft.form_credit),
        },
        layout: Layout::named(&draft.layout).unwrap_or_default(),
        score_maximum: sample.iter().map(|item| item.max_points()).sum(),
        resource_id: entropy::identifier(),
        windows: windows(draft, zone, now)?,
        grades_released: draft.released == "yes",
    })
}

/// The windows as typed, if they leave any time to work in.
fn windows(draft: &Draft, zone: &Zone, now: Timestamp) -> Result<Windows, String> {
    let windows = window_fields::read(&draft.edges, zone)?;
    match windows.closes_at() {
        Some(closes) if closes <= now => Err("The end lies in the past, so no pupil could start.".into()),
        _ => Ok(windows),
    }
}

/// A whole number from 1 to `most`.
fn whole(typed: &str, what: &str, most: u32) -> Result<u32, String> {
    typed
        .parse()
        .ok()
        .filter(|number| (1..=most).contains(number))
        .ok_or_else(|| format!("The number of {what} must be a whole number from 1 to {most}."))
}

async fn page(
    app: &App,
    session: &PlacingSession,
    drafts: Drafts,
    problem: Option<String>,
) -> Result<PlacePage, PageError> {
    let mut pools = Vec::new();
    for summary in app.storage.pools().await? {
        pools.push(choice(app, summary).await?);
    }
    let count = drafts.quizzes.len();
    let may_add = may_add(session, &drafts);
    let quiz_form = |(index, draft)| quiz_form(index, draft, &pools);
    Ok(PlacePage {
        frame: Frame::of_locale("en-US", Place::Class, "Place a quiz in your course"),
        problem,
        warning: (session.request.accept_line_item == Some(false)).then_some(
            "Your course takes no gradebook column from this page. Pupils can work and you see their points here; \
             grades are sent only if the course makes a column by itself.",
        ),
        action: "/class/place",
        csrf: session.csrf.value().to_owned(),
        count,
        quizzes: drafts.quizzes.into_iter().enumerate().map(quiz_form).collect(),
        any_pool: !pools.is_empty(),
        questions_max: QUESTIONS_MAX,
        attempts_max: ATTEMPTS_MAX,
        zones: window_fields::zones(&drafts.zone),
        may_add,
        place_text: if count == 1 { "Place this quiz".into() } else { format!("Place these {count} quizzes") },
    })
}

fn quiz_form(index: usize, draft: Draft, pools: &[PoolChoice]) -> QuizForm {
    let only_one = pools.len() == 1;
    let mark = |pool: &PoolChoice| PoolChoice { chosen: only_one || pool.id == draft.pool, ..pool.clone() };
    let typed = draft.edges.iter().any(|typed| !typed.is_empty());
    QuizForm {
        number: index + 1,
        prefix: prefix(index),
        pools: pools.iter().map(mark).collect(),
        title: draft.title,
        questions: draft.questions,
        attempts: draft.attempts,
        follow_through: draft.follow_through == "yes",
        form_credits: form_credits(&draft.form_credit),
        one_at_a_time: Layout::named(&draft.layout) == Some(Layout::One),
        released: draft.released == "yes",
        windows_open: typed,
        windows: window_fields::fields(&prefix(index), draft.edges),
    }
}

/// What can be said of the right value in another form, the present choice marked.
fn form_credits(chosen: &str) -> Vec<CreditChoice> {
    let choice = |credit: Option<Credit>| {
        let value = credit.map_or("", Credit::name);
        CreditChoice { value, text: marking_words::form_credit(credit), chosen: value == chosen }
    };
    [None].into_iter().chain(Credit::ALL.map(Some)).map(choice).collect()
}

async fn choice(app: &App, summary: PoolSummary) -> Result<PoolChoice, PageError> {
    let pool = app.pools.find(app.storage.as_ref(), &summary.id).await?;
    let questions = counted(summary.item_count, "question");
    let standards = pool.map(|pool| standards(&pool)).unwrap_or_default();
    Ok(PoolChoice {
        id: summary.id.to_string(),
        title: summary.title,
        summary: if standards.is_empty() {
            questions
        } else {
            format!("{questions}, aligned to {standards}")
        },
        chosen: false,
    })
}

/// The pool's curriculum codes, the first few of them.
fn standards(pool: &Pool) -> String {
    let codes: std::collections::BTreeSet<&str> =
        pool.items().flat_map(|item| item.standards.iter().map(String::as_str)).collect();
    let shown: Vec<&str> = codes.iter().take(STANDARDS_SHOWN).copied().collect();
    let more = codes.len().saturating_sub(STANDARDS_SHOWN);
    if more == 0 { shown.join(", ") } else { format!("{} and {more} more", shown.join(", ")) }
}
