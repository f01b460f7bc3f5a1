//! Placing a quiz by deep linking: the teacher chooses a pool and settings, the choice goes back to the platform.
//!
//! Nothing is stored: a platform may drop what is returned, so a placement begins at its first launch.

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::accept::Credit;
use qbank::form;
use qbank::marking::Policy;
use qbank::pool::Pool;

use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::marking_words;
use crate::handlers::opened_quiz::counted;
use crate::lti::deep_linking::{ATTEMPTS_MAX, PlacedQuiz, QUESTIONS_MAX};
use crate::pages::Frame;
use crate::pages::class::{CreditChoice, PlacePage, PoolChoice, TITLE_LENGTH_MAX};
use crate::placing;
use crate::session::PlacingSession;
use crate::storage::{PoolId, PoolSummary};

/// What the form suggests at first.
const QUESTIONS_SUGGESTED: u32 = 5;
const ATTEMPTS_SUGGESTED: u32 = 3;
/// Most curriculum codes named beside a pool.
const STANDARDS_SHOWN: usize = 6;

/// What the teacher chose so far, as typed.
struct Draft {
    pool: String,
    title: String,
    questions: String,
    attempts: String,
    /// `yes`, or anything else for no.
    follow_through: String,
    /// A [`Credit`] by name, or empty where each question says so itself.
    form_credit: String,
}

/// GET: pools and settings to choose from.
pub(crate) async fn show(session: PlacingSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let draft = Draft {
        pool: String::new(),
        title: session.request.title.clone().unwrap_or_default(),
        questions: QUESTIONS_SUGGESTED.to_string(),
        attempts: ATTEMPTS_SUGGESTED.to_string(),
        follow_through: "yes".into(),
        form_credit: String::new(),
    };
    answer::page(StatusCode::OK, &page(&app, &session, draft, None).await?)
}

/// POST: the chosen quiz, or nothing, goes back to the platform by way of the browser.
pub(crate) async fn place(
    session: PlacingSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    if fields.value("cancel") == "yes" {
        return Ok(placing::answer(&app, &session, None).await?.into_response());
    }
    let draft = Draft {
        pool: fields.value("pool").to_owned(),
        title: fields.value("title").trim().to_owned(),
        questions: fields.value("questions").trim().to_owned(),
        attempts: fields.value("attempts").trim().to_owned(),
        follow_through: fields.value("follow_through").to_owned(),
        form_credit: fields.value("form_credit").to_owned(),
    };
    match chosen(&app, &draft).await? {
        Ok(quiz) => Ok(placing::answer(&app, &session, Some(&quiz)).await?.into_response()),
        Err(problem) => {
            let page = page(&app, &session, draft, Some(problem)).await?;
            answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

/// The quiz that a draft describes, or what is wrong with it in a sentence.
async fn chosen(app: &App, draft: &Draft) -> Result<Result<PlacedQuiz, String>, PageError> {
    let id = PoolId::from(draft.pool.as_str());
    let pool = app.pools.find(app.storage.as_ref(), &id).await?;
    Ok(pool.ok_or_else(|| "Please choose a question pool.".to_owned()).and_then(|pool| quiz(&pool, draft)))
}

fn quiz(pool: &Pool, draft: &Draft) -> Result<PlacedQuiz, String> {
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
        score_maximum: sample.iter().map(|item| item.max_points()).sum(),
    })
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
    draft: Draft,
    problem: Option<String>,
) -> Result<PlacePage, PageError> {
    let summaries = app.storage.pools().await?;
    let only_one = summaries.len() == 1;
    let mut pools = Vec::with_capacity(summaries.len());
    for summary in summaries {
        let chosen = only_one || summary.id.as_str() == draft.pool;
        pools.push(choice(app, summary, chosen).await?);
    }
    Ok(PlacePage {
        frame: Frame {
            language: "en-US".into(),
            title: "Place a quiz in your course".into(),
            place: "Class",
            wide: false,
        },
        problem,
        action: "/class/place",
        csrf: session.csrf.value().to_owned(),
        pools,
        quiz_title: draft.title,
        questions: draft.questions,
        questions_max: QUESTIONS_MAX,
        attempts: draft.attempts,
        follow_through: draft.follow_through == "yes",
        form_credits: form_credits(&draft.form_credit),
        attempts_max: ATTEMPTS_MAX,
    })
}

/// What can be said of the right value in another form, the present choice marked.
fn form_credits(chosen: &str) -> Vec<CreditChoice> {
    let choice = |credit: Option<Credit>| {
        let value = credit.map_or("", Credit::name);
        CreditChoice { value, text: marking_words::form_credit(credit), chosen: value == chosen }
    };
    [None].into_iter().chain(Credit::ALL.map(Some)).map(choice).collect()
}

async fn choice(app: &App, summary: PoolSummary, chosen: bool) -> Result<PoolChoice, PageError> {
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
        chosen,
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
