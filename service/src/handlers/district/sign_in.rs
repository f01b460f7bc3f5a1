//! Signing in with a token, and out.

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, LOCATION};
use actix_web::{HttpRequest, HttpResponse, web};
use jiff::tz::TimeZone;

use super::session::{self, DistrictSession};
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::pages::board::{Board, Field, FieldKind, Form, Notice, Section};
use crate::pages::{Frame, Place};
use crate::session::SessionError;
use crate::storage::{ApiRole, Fingerprint};
use crate::texts::Texts;

/// GET: asks for a token.
pub(crate) async fn show() -> Result<HttpResponse, PageError> {
    answer::page(StatusCode::OK, &page(None))
}

/// POST: opens a session for the bearer of a coordinator's token. Only from our own page, so that nobody is signed in as
/// somebody else by another site.
pub(crate) async fn sign_in(
    request: HttpRequest,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    if !is_from_here(&app, &request) {
        return Err(SessionError::Csrf.into());
    }
    let secret = posted.iter().find(|(name, _)| name == "token").map_or("", |(_, value)| value.trim());
    let now = app.clock.now();
    let token = app.storage.api_token(&Fingerprint::of(secret)).await?;
    let token = token.filter(|token| token.is_valid(now) && token.role == ApiRole::Coordinator);
    match token {
        Some(token) => {
            tracing::info!(token = token.id, "a coordinator signed in");
            app.storage.api_token_used(&token.id, TimeZone::UTC.to_datetime(now).date()).await?;
            Ok(HttpResponse::SeeOther()
                .cookie(session::cookie(&app, &token))
                .insert_header((LOCATION, "/district"))
                .insert_header((CACHE_CONTROL, "no-store"))
                .finish())
        }
        // Unknown, ended, taken back and of another role are answered alike. 401 counts towards the limit of refusals.
        None => {
            let problem = Texts::of_reader().say("running-sign-in-refused");
            answer::page(StatusCode::UNAUTHORIZED, &page(Some(problem)))
        }
    }
}

/// Whether a post comes from a page of ours. Browsers say so (Fetch Metadata); older ones only name the page's origin,
/// which is `null` for our own pages, too, because they send no referrer (Fetch, 'append a request Origin header', from
/// memory). Programs that say neither have no cookies to lose.
fn is_from_here(app: &App, request: &HttpRequest) -> bool {
    let said = |name: &str| request.headers().get(name).map(|value| value.to_str().unwrap_or_default());
    match said("sec-fetch-site") {
        Some(site) => site == "same-origin",
        None => said("origin").is_none_or(|from| ["null", &app.settings.public_url.origin()].contains(&from)),
    }
}

/// POST: ends the session of this browser.
pub(crate) async fn sign_out(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    Fields::checked(posted, &session.csrf)?;
    Ok(HttpResponse::SeeOther()
        .cookie(session::no_cookie(&app))
        .insert_header((LOCATION, "/district/sign-in"))
        .finish())
}

fn page(problem: Option<String>) -> Board {
    let texts = Texts::of_reader();
    let field =
        Field::line("token", texts.say("running-sign-in-token"), "").hint(texts.say("running-sign-in-hint"));
    let field = Field { kind: FieldKind::Line(String::new(), "password"), ..field };
    let form = Form::post("/district/sign-in", texts.say("running-sign-in-button"), vec![field]);
    let frame = Frame::new(texts, Place::District, texts.say("running-sign-in"));
    Board {
        // A page that refuses was posted to; asking for it again would only lose that.
        frame: if problem.is_none() { frame.with_languages() } else { frame },
        pages: Vec::new(),
        notice: problem.map(|text| Notice { text, problem: true, secret: None }),
        again_after_s: None,
        csrf: String::new(),
        sections: vec![Section::new("sign-in", texts.say("running-sign-in-heading")).form(form)],
    }
}
