//! What needs somebody, at a glance.

use std::cmp::Reverse;

use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::handlers::answer::PageError;
use crate::lti::keys::rotation::{self, Stage};
use crate::pages::board::{Form, Section};
use crate::texts::Texts;

/// How long before the end of a token somebody is told.
const SOON_MS: i64 = 14 * 24 * 60 * 60 * 1000;

/// GET: the overview.
pub(crate) async fn show(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let now = app.clock.now();
    let queue = app.storage.delivery_queue().await?;
    let pending = app.storage.pending_deployments().await?.len();
    let tokens = app.storage.api_tokens().await?;
    let ending = tokens.iter().filter(|token| {
        token.is_valid(now) && token.expires_at.is_some_and(|end| end < plus_ms(now, SOON_MS))
    });
    let keys = app.storage.tool_keys().await?;
    let leaving = keys.iter().filter(|key| rotation::stage(key, &keys, now) == Stage::Leaving).count();
    let mut needs = Vec::new();
    for (count, message, url) in [
        (queue.parked as usize, "running-need-parked", "/district/deliveries"),
        (queue.held as usize, "running-need-held", "/district/deliveries"),
        (pending, "running-need-approval", "/district/platforms"),
        (ending.count(), "running-need-token", "/district/tokens"),
        (leaving, "running-need-key", "/district/platforms"),
    ] {
        if count > 0 {
            needs.push((url.to_owned(), texts.with(message, &[("count", count.into())])));
        }
    }
    let mut attention = Section::new("attention", texts.say("running-attention"));
    if needs.is_empty() {
        attention = attention.text(texts.say("running-attention-none"));
    }
    attention.links = needs;
    let mut placements = app.storage.placements().await?;
    placements.sort_by_key(|placement| Reverse(placement.quiz.created_at));
    let counts = Section {
        facts: vec![
            (
                texts.say("running-count-platforms"),
                texts.number(app.storage.registrations().await?.len() as u64),
            ),
            (texts.say("running-count-pools"), texts.number(app.storage.pools().await?.len() as u64)),
            (texts.say("running-count-quizzes"), texts.number(placements.len() as u64)),
            (texts.say("running-count-waiting"), texts.number(queue.waiting)),
        ],
        ..Section::new("counts", texts.say("running-counts"))
    };
    let sign_out = Section::new("signed-in", texts.say("running-signed-in"))
        .text(texts.with("running-signed-in-as", &[("token", session.token.as_str().into())]))
        .form(Form::post("/district/sign-out", texts.say("running-sign-out"), Vec::new()));
    let title = texts.say("running-page-overview");
    shown(&board(&session, "/district", title, vec![attention, counts, sign_out]))
}
