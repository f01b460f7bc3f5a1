//! Tokens of the programming interface, which also sign coordinators in.

use actix_web::{HttpResponse, web};

use super::{DistrictSession, board, done, refused, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::board::{Act, Board, Cell, Field, Form, Section, Table};
use crate::pages::marked::Tone;
use crate::storage::{ApiRole, ApiToken};
use crate::texts::Texts;

const PATH: &str = "/district/tokens";
const DAY_MS: i64 = 24 * 60 * 60 * 1000;

/// GET: the tokens.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    shown(&page(&session, &app).await?)
}

async fn page(session: &DistrictSession, app: &App) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let now = app.clock.now();
    let row = |token: ApiToken| {
        let (tone, state) = match token.revoked_at {
            Some(_) => (Tone::Quiet, "running-state-revoked"),
            None if token.is_valid(now) => (Tone::Right, "running-state-valid"),
            None => (Tone::Quiet, "running-state-ended"),
        };
        let ends = token.expires_at.map(|end| texts.date_time(end, &app.settings.time_zone));
        let used = token.last_used_on.map_or_else(|| texts.say("running-never"), |day| day.to_string());
        let revoke = Act {
            action: format!("{PATH}/revoke"),
            values: vec![("id", token.id.clone())],
            text: texts.say("running-revoke"),
            label: texts.with("running-revoke-label", &[("name", token.id.as_str().into())]),
        };
        let ours = token.id == session.token;
        vec![
            Cell::Code(token.id),
            Cell::Text(if ours {
                texts.with("running-token-yours", &[("note", token.note.into())])
            } else {
                token.note
            }),
            Cell::Text(texts.say(role(token.role))),
            Cell::State(tone, texts.say(state)),
            Cell::Text(ends.unwrap_or_else(|| texts.say("running-never"))),
            Cell::Text(used),
            Cell::Acts(if tone == Tone::Right { vec![revoke] } else { Vec::new() }),
        ]
    };
    let rows = app.storage.api_tokens().await?.into_iter().map(row).collect();
    let columns = [
        "running-column-name",
        "running-column-for",
        "running-column-role",
        "running-column-state",
        "running-column-ends",
        "running-column-used",
        "running-column-do",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let table = Table::new(texts.say("running-page-tokens"), columns, rows, String::new());
    let roles = ApiRole::ALL
        .map(|known| (known.name().to_owned(), texts.say(role(known)), known == ApiRole::Auditor));
    let form = Form::post(
        PATH,
        texts.say("running-make-token"),
        vec![
            Field::line("note", texts.say("running-token-for"), ""),
            Field::choice("role", texts.say("running-column-role"), roles.to_vec()),
            Field::number("days", texts.say("running-token-days"), "90"),
        ],
    );
    let section = Section::new("tokens", texts.say("running-page-tokens"))
        .text(texts.say("running-tokens-about"))
        .table(table)
        .form(form);
    Ok(board(session, PATH, texts.say("running-page-tokens"), vec![section]))
}

fn role(role: ApiRole) -> &'static str {
    match role {
        ApiRole::Coordinator => "running-role-coordinator",
        ApiRole::Teacher => "running-role-teacher",
        ApiRole::Auditor => "running-role-auditor",
    }
}

/// POST: makes a token; it is shown this once.
pub(crate) async fn make(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let texts = Texts::of_reader();
    let days = fields.value("days").trim().parse::<i64>().ok().filter(|days| (1..=400).contains(days));
    let (Ok(role), Some(days)) = (fields.value("role").parse::<ApiRole>(), days) else {
        return refused(page(&session, &app).await?, texts.say("running-token-fault"));
    };
    let change = session.change(&app);
    let note = crate::shorten(fields.value("note").trim(), 200);
    let (token, secret) = ApiToken::new(role, &note, change.at, Some(plus_ms(change.at, days * DAY_MS)));
    app.storage.add_api_token(token, &change).await?;
    done(page(&session, &app).await?, texts.say("running-token-made"), Some(secret))
}

/// POST: takes a token back. Whoever takes back their own is signed out by that.
pub(crate) async fn revoke(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    app.storage.revoke_api_token(fields.value("id"), &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}
