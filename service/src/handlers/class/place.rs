//! Placing quizzes by deep linking: the teacher chooses pools and settings, the choice goes back to the platform.
//!
//! Nothing is stored: a platform may drop what is returned, so a placement begins at its first launch. Where the
//! platform takes several links, "Add another quiz" shows the form again with one more; all that was typed travels in
//! the form. Fields of the second quiz are named `2.pool` and so on, those of the first have no prefix.

use std::ops::Deref;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};
use qbank::accept::Credit;
use qbank::pool::Pool;

use super::draft::{Draft, Drafts, chosen, prefix};
use super::window_fields;
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::marking_words;
use crate::lti::deep_linking::{ATTEMPTS_MAX, Choice, QUESTIONS_MAX, QUIZZES_MAX};
use crate::pages::class::{CreditChoice, PlacePage, PoolChoice, QuizForm};
use crate::pages::{Frame, Place};
use crate::placing;
use crate::session::PlacingSession;
use crate::storage::{Layout, PoolSummary};
use crate::texts::{ReaderTexts, Texts};

/// Most curriculum codes named beside a pool.
const STANDARDS_SHOWN: usize = 6;

/// GET: pools and settings to choose from.
pub(crate) async fn show(
    session: PlacingSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let drafts = Drafts {
        quizzes: vec![Draft::suggested(session.request.title.as_deref())],
        zone: app.settings.time_zone.to_string(),
    };
    answer::page(StatusCode::OK, &page(texts, &app, &session, drafts, None).await?)
}

/// POST: the chosen quizzes, or nothing, go back to the platform by way of the browser; or the form comes again with
/// one more quiz.
pub(crate) async fn place(
    session: PlacingSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    if fields.value("cancel") == "yes" {
        return Ok(placing::answer(&app, &session, &nothing(texts, &app).await?).await?.into_response());
    }
    let mut drafts = drafts(&session, &fields);
    if fields.value("edit") == "yes" {
        return answer::page(StatusCode::OK, &page(texts, &app, &session, drafts, None).await?);
    }
    if fields.value("more") == "yes" && may_add(&session, &drafts) {
        let last = drafts.quizzes.last().cloned();
        let next = Draft { title: String::new(), ..last.unwrap_or_else(|| Draft::suggested(None)) };
        drafts.quizzes.push(next);
        return answer::page(StatusCode::OK, &page(texts, &app, &session, drafts, None).await?);
    }
    match chosen(texts, &app, &drafts).await? {
        Ok(choice) => Ok(placing::answer(&app, &session, &choice).await?.into_response()),
        Err(problem) => {
            let page = page(texts, &app, &session, drafts, Some(problem)).await?;
            answer::page(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

/// Going back without a quiz; where there was nothing to choose from, the platform is told why.
async fn nothing(texts: &Texts, app: &App) -> Result<Choice, PageError> {
    let none = app.storage.pools().await?.is_empty();
    let problem = none.then(|| texts.say("class-place-nothing"));
    Ok(Choice { problem, ..Choice::default() })
}

/// The drafts of a posted form, as many as the platform takes.
pub(super) fn drafts(session: &PlacingSession, fields: &Fields) -> Drafts {
    let mut drafts = Drafts::read(fields);
    if !session.request.accept_multiple {
        drafts.quizzes.truncate(1);
    }
    drafts
}

fn may_add(session: &PlacingSession, drafts: &Drafts) -> bool {
    session.request.accept_multiple && drafts.quizzes.len() < QUIZZES_MAX
}

pub(super) async fn page(
    texts: &'static Texts,
    app: &App,
    session: &PlacingSession,
    drafts: Drafts,
    problem: Option<String>,
) -> Result<PlacePage, PageError> {
    let mut pools = Vec::new();
    for summary in app.storage.pools().await? {
        pools.push(choice(texts, app, summary).await?);
    }
    let count = drafts.quizzes.len();
    let may_add = may_add(session, &drafts);
    let quiz_form = |(index, draft)| quiz_form(texts, index, draft, &pools);
    Ok(PlacePage {
        frame: Frame::new(texts, Place::Class, texts.say("class-place")),
        problem,
        warning: (session.request.accept_line_item == Some(false))
            .then(|| texts.say("class-place-no-column")),
        action: "/class/place",
        csrf: session.csrf.value().to_owned(),
        count,
        quizzes: drafts.quizzes.into_iter().enumerate().map(quiz_form).collect(),
        any_pool: !pools.is_empty(),
        questions_max: QUESTIONS_MAX,
        attempts_max: ATTEMPTS_MAX,
        zones: window_fields::zones(&drafts.zone),
        may_add,
        place_text: place_text(texts, count),
    })
}

fn quiz_form(texts: &Texts, index: usize, draft: Draft, pools: &[PoolChoice]) -> QuizForm {
    let only_one = pools.len() == 1;
    let mark = |pool: &PoolChoice| PoolChoice { chosen: only_one || pool.id == draft.pool, ..pool.clone() };
    let suggested = Draft::suggested(None);
    let typed = draft.edges.iter().any(|typed| !typed.is_empty())
        || draft.follow_through != suggested.follow_through
        || draft.form_credit != suggested.form_credit
        || draft.released != suggested.released;
    QuizForm {
        number: index + 1,
        prefix: prefix(index),
        pools: pools.iter().map(mark).collect(),
        title: draft.title,
        questions: draft.questions,
        attempts: draft.attempts,
        follow_through: draft.follow_through == "yes",
        form_credits: form_credits(texts, &draft.form_credit),
        one_at_a_time: Layout::named(&draft.layout) == Some(Layout::One),
        released: draft.released == "yes",
        details_open: typed,
        windows: window_fields::fields(texts, &prefix(index), draft.edges),
    }
}

/// What can be said of the right value in another form, the present choice marked.
fn form_credits(texts: &Texts, chosen: &str) -> Vec<CreditChoice> {
    let choice = |credit: Option<Credit>| {
        let value = credit.map_or("", Credit::name);
        CreditChoice { value, text: texts.say(marking_words::form_credit(credit)), chosen: value == chosen }
    };
    [None].into_iter().chain(Credit::ALL.map(Some)).map(choice).collect()
}

/// "Place this quiz".
pub(super) fn place_text(texts: &Texts, count: usize) -> String {
    texts.with("class-place-button", &[("count", count.into())])
}

async fn choice(texts: &Texts, app: &App, summary: PoolSummary) -> Result<PoolChoice, PageError> {
    let pool = app.pools.find(app.storage.as_ref(), &summary.id).await?;
    Ok(PoolChoice {
        id: summary.id.to_string(),
        summary: pool_words(texts, summary.item_count, pool.as_deref().map(Deref::deref)),
        title: summary.title,
        chosen: false,
    })
}

/// How many questions, and the first few curriculum codes.
fn pool_words(texts: &Texts, count: u32, pool: Option<&Pool>) -> String {
    let items = pool.into_iter().flat_map(Pool::items);
    let codes: std::collections::BTreeSet<&str> =
        items.flat_map(|item| item.standards.iter().map(AsRef::as_ref)).collect();
    let shown: Vec<&str> = codes.iter().take(STANDARDS_SHOWN).copied().collect();
    let (count, shown) = (("count", count.into()), ("codes", shown.join(", ").into()));
    match codes.len() {
        0 => texts.with("class-place-pool-questions", &[count]),
        1..=STANDARDS_SHOWN => texts.with("class-place-pool-aligned", &[count, shown]),
        all => {
            let more = ("more", (all - STANDARDS_SHOWN).into());
            texts.with("class-place-pool-aligned-more", &[count, shown, more])
        }
    }
}
