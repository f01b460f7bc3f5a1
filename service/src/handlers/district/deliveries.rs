//! Grades that wait or need somebody, over all platforms.

use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::board::{Act, Cell, Section, Table};
use crate::pages::marked::Tone;
use crate::storage::{Delivery, DeliveryQuery, DeliveryState, PlacementId, UserId};
use crate::texts::Texts;

/// Rows of each state on the page; more are counted.
const SHOWN: usize = 100;

/// GET: what is not in the gradebook.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
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
        sections.push(section(&app, id, texts.say(heading), rows, state).await?);
    }
    shown(&board(&session, "/district/deliveries", texts.say("running-page-deliveries"), sections))
}

async fn section(
    app: &App,
    id: &'static str,
    heading: String,
    deliveries: Vec<Delivery>,
    state: DeliveryState,
) -> Result<Section, PageError> {
    let texts = Texts::of_reader();
    let mut rows = Vec::new();
    for delivery in deliveries {
        let placement = app.storage.placement(&delivery.placement).await?;
        let title =
            placement.map_or_else(|| delivery.placement.to_string(), |placement| placement.quiz.title);
        let again = Act {
            action: "/district/deliveries/send-again".into(),
            values: vec![("placement", delivery.placement.to_string()), ("pupil", delivery.user.to_string())],
            text: texts.say("running-send-again"),
            label: texts.with("running-send-again-label", &[("pupil", delivery.user.as_str().into())]),
        };
        rows.push(vec![
            Cell::Code(delivery.user.to_string()),
            Cell::Text(title),
            Cell::Text(texts.date_time(delivery.waiting_since, &app.settings.time_zone)),
            Cell::State(tone(state), delivery.problem.unwrap_or_else(|| texts.say("running-no-problem"))),
            Cell::Acts(if state == DeliveryState::Parked { vec![again] } else { Vec::new() }),
        ]);
    }
    let columns = [
        "running-column-pupil",
        "running-column-quiz",
        "running-column-since",
        "running-column-why",
        "running-column-do",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let table = Table::new(heading.clone(), columns, rows, texts.say("running-nothing"));
    Ok(Section::new(id, heading).table(table))
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
    Ok(answer::see_other("/district/deliveries"))
}
