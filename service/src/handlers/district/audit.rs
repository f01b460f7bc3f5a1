//! The audit trail.

use actix_web::{HttpResponse, web};
use serde::Deserialize;

use super::families::options;
use super::{DistrictSession, board, shown};
use crate::app::App;
use crate::handlers::answer::PageError;
use crate::pages::board::{Cell, Field, Form, Section, Table};
use crate::storage::{AuditEntry, AuditQuery, RegistrationId};
use crate::texts::Texts;

/// Entries on a page.
const SHOWN: usize = 50;

/// Which entries are wanted.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    /// A platform's number.
    #[serde(default)]
    platform: String,
    /// Only those before this entry.
    before: Option<i64>,
}

/// GET: a part of the trail, newest first.
pub(crate) async fn list(
    session: DistrictSession,
    app: web::Data<App>,
    wanted: web::Query<Wanted>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let registrations = app.storage.registrations().await?;
    // One more than shown tells whether there are older ones.
    let query = AuditQuery {
        registration: wanted.platform.parse().ok().map(RegistrationId),
        placement: None,
        before: wanted.before,
        limit: SHOWN + 1,
    };
    let mut entries = app.storage.audit(&query).await?;
    let more = entries.len() > SHOWN;
    entries.truncate(SHOWN);
    let next = entries.last().filter(|_| more).map(|entry| entry.id);
    let row = |entry: AuditEntry| {
        let platform = registrations.iter().find(|known| Some(known.id) == entry.subject.registration);
        let about = platform.map_or_else(String::new, |known| known.platform.issuer.clone());
        vec![
            Cell::Text(texts.date_time(entry.change.at, &app.settings.time_zone)),
            Cell::Code(entry.action.name().to_owned()),
            Cell::Text(entry.change.by.to_string()),
            Cell::Text(about),
            Cell::Text(entry.detail),
        ]
    };
    let columns = [
        "running-column-when",
        "running-column-what",
        "running-column-who",
        "running-column-issuer",
        "running-column-detail",
    ];
    let columns = columns.map(|name| texts.say(name)).to_vec();
    let rows = entries.into_iter().map(row).collect();
    let table = Table::new(texts.say("running-page-audit"), columns, rows, texts.say("running-nothing"));
    let numbers: Vec<String> = registrations.iter().map(|known| known.id.0.to_string()).collect();
    let mut platforms = options(texts.say("running-all-platforms"), &numbers, &wanted.platform);
    for (option, known) in platforms.iter_mut().skip(1).zip(&registrations) {
        option.1.clone_from(&known.platform.issuer);
    }
    let form = Form::get(
        "/district/audit",
        texts.say("running-show"),
        vec![Field::choice("platform", texts.say("running-column-issuer"), platforms)],
    );
    let mut trail = Section::new("trail", texts.say("running-audit-heading")).table(table);
    if let Some(next) = next {
        let address = format!(
            "/district/audit?platform={}&before={next}",
            wanted.platform.parse::<i64>().map_or_else(|_| String::new(), |id| id.to_string())
        );
        trail = trail.link(address, texts.say("running-older"));
    }
    let sections = vec![Section::new("filter", texts.say("running-filter")).form(form), trail];
    shown(&board(&session, "/district/audit", texts.say("running-page-audit"), sections))
}
