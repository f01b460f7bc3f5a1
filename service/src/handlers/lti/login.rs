//! `GET` and `POST /lti/login`: a platform announces a person; the browser is sent to the platform to sign in.

use actix_web::cookie::time::Duration;
use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpRequest, HttpResponse, web};

use super::{Stopped, browser_cookie_name, form};
use crate::app::App;
use crate::entropy;
use crate::lti::FailedCheck;
use crate::lti::login::{LoginRequest, Parameters};
use crate::session::browser_cookie;

/// The length of [`entropy::secret`].
const SECRET_LENGTH: usize = 43;

/// A login request in the query.
pub async fn get(app: web::Data<App>, request: HttpRequest) -> HttpResponse {
    let parameters = Parameters::parse(request.query_string().as_bytes());
    answer(&app, &request, parameters).await
}

/// A login request as a posted form.
pub async fn post(
    app: web::Data<App>,
    request: HttpRequest,
    body: Result<web::Bytes, actix_web::Error>,
) -> HttpResponse {
    let parameters = form(&request, body);
    answer(&app, &request, parameters).await
}

async fn answer(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> HttpResponse {
    match begin(app, request, parameters).await {
        Ok(response) => response,
        Err(stopped) => stopped.into_response(app),
    }
}

async fn begin(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let public_url = &app.settings.public_url;
    let login = LoginRequest::read(&parameters?, public_url)?;
    let registration = login.choose(app.storage.registrations_of(login.issuer()).await?)?;
    // One secret for each browser, so that logins in several tabs do not undo each other.
    let browser = request
        .cookie(browser_cookie_name(app))
        .map(|cookie| cookie.value().to_owned())
        .filter(|value| value.len() == SECRET_LENGTH)
        .unwrap_or_else(entropy::secret);
    let (state, redirect) = login.begin(&registration, public_url, &browser, app.clock.now());
    app.storage.add_login_state(state).await?;
    let cookie = browser_cookie(app, browser_cookie_name(app), browser, "/", Duration::hours(1));
    Ok(HttpResponse::Found()
        .insert_header((LOCATION, redirect.as_str()))
        .insert_header((SET_COOKIE, cookie))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish())
}
