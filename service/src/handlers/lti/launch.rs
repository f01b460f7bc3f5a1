//! `POST /lti/launch`: the id_token arrives; if every check passes, a session opens and the browser goes to its page.

use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpRequest, HttpResponse, web};

use super::{Stopped, browser_cookie_name, form, pending};
use crate::app::App;
use crate::lti::FailedCheck;
use crate::lti::launch::{self, Expected, Launch, LinkLaunch, PlacingLaunch, QuizParameters, Role};
use crate::lti::login::Parameters;
use crate::lti::platform_keys::KeyError;
use crate::lti::token::UnverifiedToken;
use crate::session;
use crate::storage::{
    Fingerprint, LoginState, NewPlacement, PlacementId, Registration, RegistrationId, SessionPurpose,
    TakenState,
};

/// A token in an address would end up in logs and histories; it is not even looked at.
pub async fn get(app: web::Data<App>) -> HttpResponse {
    Stopped::Refused(FailedCheck::PostRequired).into_response(&app)
}

/// A launch as the platform's posted form.
pub async fn post(
    app: web::Data<App>,
    request: HttpRequest,
    body: Result<web::Bytes, actix_web::Error>,
) -> HttpResponse {
    let parameters = form(&request, body);
    match receive(&app, &request, parameters).await {
        Ok(response) => response,
        Err(stopped) => stopped.into_response(&app),
    }
}

async fn receive(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let parameters = parameters?;
    let login = take_login(app, request, &parameters).await?;
    if parameters.filled("error").is_some() {
        return Err(FailedCheck::PlatformError.into());
    }
    let token = UnverifiedToken::parse(parameters.filled("id_token").ok_or(FailedCheck::TokenMissing)?)?;
    let registration =
        app.storage.registration(login.registration).await?.ok_or(FailedCheck::IssuerUnknown)?;
    match verify(app, token, &login, &registration).await? {
        Launch::Link(link) => open_link(app, registration.id, link).await,
        Launch::Placing(placing) => open_placing(app, registration.id, placing).await,
    }
}

/// Takes the login that this launch answers. It is used up whatever happens next.
async fn take_login(
    app: &App,
    request: &HttpRequest,
    parameters: &Parameters,
) -> Result<LoginState, Stopped> {
    let state = parameters.filled("state").ok_or(FailedCheck::StateMissing)?;
    let login = match app.storage.take_login_state(&Fingerprint::of(state), app.clock.now()).await? {
        TakenState::Fresh(login) => login,
        TakenState::Used => return Err(FailedCheck::StateUsed.into()),
        TakenState::Expired => return Err(FailedCheck::StateExpired.into()),
        TakenState::Unknown => return Err(FailedCheck::StateUnknown.into()),
    };
    let browser = request.cookie(browser_cookie_name(app)).map(|cookie| Fingerprint::of(cookie.value()));
    if browser.as_ref() == Some(&login.browser) { Ok(login) } else { Err(FailedCheck::Browser.into()) }
}

/// Checks signature and claims.
async fn verify(
    app: &App,
    token: UnverifiedToken<'_>,
    login: &LoginState,
    registration: &Registration,
) -> Result<Launch, Stopped> {
    let key = match app.platform_keys.key(&registration.platform.keys_url, &token.kid).await {
        Ok(key) => key,
        Err(KeyError::Unknown) => return Err(FailedCheck::KeyUnknown.into()),
        Err(KeyError::Unavailable) => return Err(Stopped::KeysUnavailable),
    };
    let claims = token.verify(&key)?;
    let expected = Expected {
        login,
        registration,
        public_url: &app.settings.public_url,
        reach: app.settings.reach,
        now: app.clock.now(),
    };
    match launch::check(&claims, expected) {
        Err(FailedCheck::DeploymentUnknown) => {
            pending::hold(app, registration, &claims).await?;
            Err(FailedCheck::DeploymentUnknown.into())
        }
        checked => Ok(checked?),
    }
}

/// Opens a pupil's quiz or a teacher's view of it.
async fn open_link(
    app: &App,
    registration: RegistrationId,
    launch: LinkLaunch,
) -> Result<HttpResponse, Stopped> {
    let (deployment, user) = (launch.link.deployment.clone(), launch.user.clone());
    let (role, preview) = (launch.role, launch.preview);
    let placement = place(app, launch).await?;
    let purpose = match role {
        Role::Teacher => SessionPurpose::Class { placement },
        Role::Pupil => SessionPurpose::Quiz { placement, preview },
    };
    app.metrics.launched("link");
    enter(app, session::open(app, registration, deployment, Some(user), purpose).await?)
}

/// The link's placement: made at the first launch, refreshed at later ones.
async fn place(app: &App, launch: LinkLaunch) -> Result<PlacementId, Stopped> {
    let known = app.storage.placement_of(&launch.link).await?.map(|placement| placement.quiz);
    let quiz = match (known, launch.quiz) {
        // What pupils began with stays, whatever becomes of the link's parameters.
        (Some(known), _) => QuizParameters {
            pool: known.pool,
            question_count: known.question_count,
            attempts_allowed: known.attempts_allowed,
            policy: known.policy,
        },
        (None, Some(quiz)) => quiz,
        (None, None) => return Err(FailedCheck::CustomParameters.into()),
    };
    let stored = app.storage.pool(&quiz.pool).await?.ok_or(FailedCheck::PoolUnknown)?;
    let placement = NewPlacement {
        link: launch.link,
        context: launch.context,
        title: launch.title.unwrap_or(stored.title),
        pool: quiz.pool,
        question_count: quiz.question_count,
        attempts_allowed: quiz.attempts_allowed,
        policy: quiz.policy,
        grades: launch.grades,
        created_at: app.clock.now(),
    };
    Ok(app.storage.put_placement(placement).await?.id)
}

/// Opens the page where a teacher chooses what to place.
async fn open_placing(
    app: &App,
    registration: RegistrationId,
    launch: PlacingLaunch,
) -> Result<HttpResponse, Stopped> {
    let purpose = SessionPurpose::Placing { request: launch.request };
    app.metrics.launched("deep_linking");
    enter(app, session::open(app, registration, launch.deployment, launch.user, purpose).await?)
}

/// Sends the browser to its page with the session's cookie.
fn enter(
    app: &App,
    (cookie, page): (actix_web::http::header::HeaderValue, String),
) -> Result<HttpResponse, Stopped> {
    Ok(HttpResponse::SeeOther()
        .insert_header((LOCATION, app.settings.public_url.join(&page).as_str()))
        .insert_header((SET_COOKIE, cookie))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish())
}
