//! Grades that wait or need somebody, over all platforms.

use std::collections::BTreeMap;

use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, refused, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::handlers::problem_words;
use crate::pages::board::{Act, Board, Cell, Section, Table};
use crate::pages::marked::Tone;
use crate::storage::{
    Choice, Delivery, DeliveryQuery, DeliveryState, PlacementId, Registration, StorageError, UserId,
};
use crate::texts::Texts;

const PATH: &str = "/district/deliveries";
/// Rows of each state on the page; more are counted.
const SHOWN: usize = 100;

/// GET: what is not in the gradebook.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    shown(&page(&session, &app).await?)
}

async fn page(session: &DistrictSession, app: &App) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let queue = app.storage.delivery_queue().await?;
    let mut sections = vec![Section {
        facts: vec![
            (texts.say("running-delivery-waiting"), texts.number(queue.waiting)),
            (texts.say("running-delivery-parked"), texts.number(queue.parked)),
            (texts.say("running-delivery-held"), texts.number(queue.held)),
            (
                texts.say("running-delivery-oldest"),
                queue.oldest.map_or_else(
                    || texts.say("running-never"),
                    |since| texts.date_time(since, &app.settings.time_zone),
                ),
            ),
        ],
        ..Section::new("queue", texts.say("running-deliveries"))
    }];
    for (state, id, heading) in [
        (DeliveryState::Parked, "parked", "running-parked"),
        (DeliveryState::Held, "held", "running-held"),
        (DeliveryState::Waiting, "waiting", "running-waits"),
    ] {
        let query = DeliveryQuery { state: Some(state), limit: SHOWN, ..DeliveryQuery::default() };
        let rows = app.storage.deliveries(&query).await?;
        sections.push(section(app, id, texts.say(heading), rows, state).await?);
    }
    Ok(board(session, PATH, texts.say("running-page-deliveries"), sections))
}

async fn section(
    app: &App,
    id: &'static str,
    heading: String,
    deliveries: Vec<Delivery>,
    state: DeliveryState,
) -> Result<Section, PageError> {
    let texts = Texts::of_reader();
    let registrations = app.storage.registrations().await?;
    let mut quizzes: BTreeMap<PlacementId, (String, String)> = BTreeMap::new();
    let mut rows = Vec::new();
    for delivery in deliveries {
        if !quizzes.contains_key(&delivery.placement) {
            let quiz = quiz(app, &registrations, &delivery.placement).await?;
            quizzes.insert(delivery.placement.clone(), quiz);
        }
        let (title, issuer) = quizzes[&delivery.placement].clone();
        rows.push(vec![
            Cell::Code(delivery.user.to_string()),
            Cell::Text(title),
            Cell::Text(issuer),
            Cell::Text(texts.date_time(delivery.waiting_since, &app.settings.time_zone)),
            Cell::State(tone(state), why(&delivery, texts)),
            Cell::Acts(acts(&delivery, texts)),
        ]);
    }
    let columns = [
        "running-column-pupil",
        "running-column-quiz",
        "running-column-issuer",
        "running-column-since",
        "running-column-why",
        "running-column-do",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let table = Table::new(heading.clone(), columns, rows, texts.say("running-nothing"));
    Ok(Section::new(id, heading).table(table))
}

/// A quiz's title and platform.
async fn quiz(
    app: &App,
    registrations: &[Registration],
    id: &PlacementId,
) -> Result<(String, String), StorageError> {
    let Some(placement) = app.storage.placement(id).await? else {
        return Ok((id.to_string(), String::new()));
    };
    let platform = registrations.iter().find(|known| known.id == placement.quiz.link.registration);
    let issuer = platform.map_or_else(String::new, |known| known.platform.issuer.clone());
    Ok((placement.quiz.title, issuer))
}

/// Why a grade is not in the gradebook: the last problem, or the two marks of which one is to be chosen.
fn why(delivery: &Delivery, texts: &Texts) -> String {
    let ours = delivery.progress.score().map(|score| score.to_string());
    let theirs = delivery.cell.found.map(|found| found.to_string());
    match (&delivery.problem, ours, theirs) {
        (_, Some(ours), Some(theirs)) if delivery.state == DeliveryState::Held => {
            texts.with("running-held-marks", &[("ours", ours.into()), ("theirs", theirs.into())])
        }
        (Some(problem), _, _) => problem_words::told(texts, problem),
        (None, _, _) => texts.say("running-no-problem"),
    }
}

/// What can be done about a grade.
fn acts(delivery: &Delivery, texts: &Texts) -> Vec<Act> {
    let pupil = delivery.user.as_str();
    let act = |to: &str, choice: Option<&str>, text: &str, label: &str| {
        let named = [("placement", delivery.placement.to_string()), ("pupil", pupil.to_owned())];
        Act {
            action: format!("{PATH}/{to}"),
            values: named.into_iter().chain(choice.map(|choice| ("choice", choice.to_owned()))).collect(),
            text: texts.say(text),
            label: texts.with(label, &[("pupil", pupil.into())]),
        }
    };
    let compare = || act("compare", None, "running-compare", "running-compare-label");
    match delivery.state {
        DeliveryState::Parked => {
            vec![act("send-again", None, "running-send-again", "running-send-again-label"), compare()]
        }
        DeliveryState::Held => vec![
            act("settle", Some("send_ours"), "running-send-ours", "running-send-ours-label"),
            act("settle", Some("keep_theirs"), "running-keep-theirs", "running-keep-theirs-label"),
            compare(),
        ],
        _ => Vec::new(),
    }
}

fn tone(state: DeliveryState) -> Tone {
    match state {
        DeliveryState::Parked => Tone::Wrong,
        DeliveryState::Held => Tone::Form,
        _ => Tone::Quiet,
    }
}

/// POST: a parked grade is sent again.
pub(crate) async fn send_again(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let placement = PlacementId::from(fields.value("placement"));
    let pupil = UserId::from(fields.value("pupil"));
    app.storage.send_again(&placement, Some(&pupil), &session.change(&app)).await?;
    app.waker.wake();
    Ok(answer::see_other(PATH))
}

/// POST: our grade, or the mark in the gradebook. Settled already, perhaps by the teacher: the page shows how it stands.
pub(crate) async fn settle(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let choice = match fields.value("choice") {
        "send_ours" => Choice::SendOurs,
        "keep_theirs" => Choice::KeepTheirs,
        _ => return Err(PageError::Form("the choice is neither send_ours nor keep_theirs".into())),
    };
    let placement = PlacementId::from(fields.value("placement"));
    let pupil = UserId::from(fields.value("pupil"));
    app.storage.settle(&placement, &pupil, choice, &session.change(&app)).await?;
    app.waker.wake();
    Ok(answer::see_other(PATH))
}

/// POST: a quiz's column in the gradebook is read and compared now. Nothing is sent.
pub(crate) async fn compare(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let placement = PlacementId::from(fields.value("placement"));
    let reading = app.deliverer.compare(&placement).await?.ok_or(PageError::NotFound)?;
    match reading.problem {
        None => Ok(answer::see_other(PATH)),
        Some(problem) => {
            let texts = Texts::of_reader();
            let problem = problem_words::told(texts, &problem);
            let told = texts.with("running-compare-fault", &[("problem", problem.into())]);
            refused(page(&session, &app).await?, told)
        }
    }
}
