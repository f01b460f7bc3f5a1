//! `POST /lti/launch`: the id_token arrives; if every check passes, a session opens and the browser goes to its page.

use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpRequest, HttpResponse, web};

use super::{PostedForm, Stopped, answer, pending};
use crate::app::App;
use crate::frame_ancestors::{self, FrameAncestors};
use crate::lti::FailedCheck;
use crate::lti::launch::{self, Expected, Launch, LinkLaunch, PlacingLaunch, QuizParameters, Role};
use crate::lti::login::{Parameters, nonce_key, state_key};
use crate::lti::platform_keys::KeyError;
use crate::lti::token::UnverifiedToken;
use crate::pages::frames::{AskPage, Posted, WindowPage};
use crate::session::{BrowserCookie, NewSession};
use crate::storage::{
    Fingerprint, LoginState, Member, MemberStatus, NewPlacement, Part, PlacementId, Registration, SeenLogin,
    SessionPurpose, TakenState,
};

/// A token in an address would end up in logs and histories; it is not even looked at.
pub async fn get(app: web::Data<App>) -> HttpResponse {
    Stopped::Refused(FailedCheck::PostRequired).into_response(&app)
}

/// A launch as the platform's posted form.
pub async fn post(app: web::Data<App>, request: HttpRequest, posted: PostedForm) -> HttpResponse {
    answer(&app, receive(&app, &request, posted.0).await)
}

/// How the session of a launch reaches the browser.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Carrier {
    /// By a cookie: one has come back here.
    Cookie,
    /// By a ticket for a window of its own: no cookie sticks here.
    Ticket,
}

async fn receive(
    app: &App,
    request: &HttpRequest,
    parameters: Result<Parameters, FailedCheck>,
) -> Result<HttpResponse, Stopped> {
    let parameters = parameters?;
    if let Some(page) = ask_platform(app, request, &parameters).await? {
        return Ok(page);
    }
    let login = take_login(app, request, &parameters).await?;
    if !has_cookie_of(app, request, &login) {
        return Err(FailedCheck::Browser.into());
    }
    complete(app, &parameters, &login, Carrier::Cookie).await
}

fn has_cookie_of(app: &App, request: &HttpRequest, login: &LoginState) -> bool {
    BrowserCookie::of(app, request).is_some_and(|cookie| cookie.fingerprint() == login.browser)
}

/// The page that asks the platform's window for what it keeps, if the login's cookie is missing but the login has left
/// something there. The login is not used up by it.
async fn ask_platform(
    app: &App,
    request: &HttpRequest,
    parameters: &Parameters,
) -> Result<Option<HttpResponse>, Stopped> {
    let (Some(state), Some(token)) = (parameters.filled("state"), parameters.filled("id_token")) else {
        return Ok(None);
    };
    let seen = app.storage.seen_login(&Fingerprint::of(state), app.clock.now()).await?;
    let Some(SeenLogin { login, open: true }) = seen else { return Ok(None) };
    if has_cookie_of(app, request, &login) {
        return Ok(None);
    }
    let cookie = BrowserCookie::of(app, request).unwrap_or_else(BrowserCookie::new);
    let Some(storage) = &login.storage else { return Ok(None) };
    let registration =
        app.storage.registration(login.registration).await?.ok_or(FailedCheck::IssuerUnknown)?;
    FrameAncestors::note(app, request, &registration, None).await?;
    // The page names the nonce, which nobody learns who only knows a state.
    verify(app, UnverifiedToken::parse(token)?, &login, &registration).await?;
    let page = AskPage::new(
        &registration.platform.authorization_url,
        storage.target.clone(),
        (state_key(state), nonce_key(&login.nonce)),
        Posted { token: token.to_owned(), state: state.to_owned() },
    );
    let mut response = page.into_response();
    // Whether it comes back with the answer tells whether the session can have one.
    response.headers_mut().insert(SET_COOKIE, cookie.kept(app, &registration));
    Ok(Some(response))
}

/// Takes the login that this launch answers. It is used up whatever happens next.
pub(super) async fn take_login(
    app: &App,
    request: &HttpRequest,
    parameters: &Parameters,
) -> Result<LoginState, Stopped> {
    let state = Fingerprint::of(parameters.filled("state").ok_or(FailedCheck::StateMissing)?);
    if let Some(seen) = app.storage.seen_login(&state, app.clock.now()).await?
        && let Some(registration) = app.storage.registration(seen.login.registration).await?
    {
        FrameAncestors::note(app, request, &registration, None).await?;
    }
    match app.storage.take_login_state(&state, app.clock.now()).await? {
        TakenState::Fresh(login) => Ok(login),
        TakenState::Used => Err(FailedCheck::StateUsed.into()),
        TakenState::Expired => Err(FailedCheck::StateExpired.into()),
        TakenState::Unknown => Err(FailedCheck::StateUnknown.into()),
    }
}

/// Checks the token of a launch that comes from the browser of its login, and opens what it is for.
pub(super) async fn complete(
    app: &App,
    parameters: &Parameters,
    login: &LoginState,
    carrier: Carrier,
) -> Result<HttpResponse, Stopped> {
    if parameters.filled("error").is_some() {
        return Err(FailedCheck::PlatformError.into());
    }
    let token = UnverifiedToken::parse(parameters.filled("id_token").ok_or(FailedCheck::TokenMissing)?)?;
    let registration =
        app.storage.registration(login.registration).await?.ok_or(FailedCheck::IssuerUnknown)?;
    let session = match verify(app, token, login, &registration).await? {
        Launch::Link(link) => for_link(app, &registration, *link).await?,
        Launch::Placing(placing) => for_placing(app, &registration, *placing),
    };
    enter(app, session, carrier).await
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
        names: app.settings.privacy.names,
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

/// A session for a pupil's quiz or a teacher's view of it.
async fn for_link<'a>(
    app: &App,
    registration: &'a Registration,
    launch: LinkLaunch,
) -> Result<NewSession<'a>, Stopped> {
    let (deployment, user) = (launch.link.deployment.clone(), Some(launch.user.clone()));
    let (role, preview) = (launch.role, launch.preview);
    let return_origin = launch.return_origin.clone();
    let (member, roster) = (member(app, &launch), launch.roster.clone());
    let placement = place(app, launch).await?;
    app.storage.note_launch(&placement, &member, roster.as_ref()).await?;
    let purpose = match role {
        Role::Teacher => SessionPurpose::Class { placement },
        Role::Pupil => SessionPurpose::Quiz { placement, preview },
    };
    app.metrics.launched("link");
    Ok(NewSession { registration, deployment, user, purpose, return_origin })
}

/// The person of a launch, as one of the link's course. Names of teachers are not needed.
fn member(app: &App, launch: &LinkLaunch) -> Member {
    let part = match launch.role {
        Role::Teacher => Part::Teacher,
        Role::Pupil if launch.preview => Part::Preview,
        Role::Pupil => Part::Pupil,
    };
    Member {
        user: launch.user.clone(),
        part,
        status: MemberStatus::Active,
        name: launch.name.clone().filter(|_| part == Part::Pupil),
        seen_at: app.clock.now(),
    }
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
            layout: known.layout,
            resource_id: known.resource_id,
            windows: known.windows,
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
        layout: quiz.layout,
        resource_id: quiz.resource_id,
        windows: quiz.windows,
        grades: launch.grades,
        created_at: app.clock.now(),
    };
    let id = app.storage.put_placement(placement).await?.id;
    app.storage.refresh_windows(&id, &launch.windows).await?;
    Ok(id)
}

/// A session for the page where a teacher chooses what to place.
fn for_placing<'a>(app: &App, registration: &'a Registration, launch: PlacingLaunch) -> NewSession<'a> {
    let PlacingLaunch { deployment, user, request } = launch;
    let return_origin = frame_ancestors::origin(&request.return_url);
    app.metrics.launched("deep_linking");
    NewSession { registration, deployment, user, purpose: SessionPurpose::Placing { request }, return_origin }
}

/// Opens the session and sends the browser to its page, or offers a window where the session can be kept.
async fn enter(app: &App, session: NewSession<'_>, carrier: Carrier) -> Result<HttpResponse, Stopped> {
    if carrier == Carrier::Ticket {
        let ticket = session.open_for_window(app).await?;
        return Ok(WindowPage::to_take_over(ticket).into_response());
    }
    let (cookie, page) = session.open(app).await?;
    let mut response = go_to(app, &page);
    response.headers_mut().insert(SET_COOKIE, cookie);
    Ok(response)
}

/// Sends the browser to one of our pages.
pub(super) fn go_to(app: &App, page: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, app.settings.public_url.join(page).as_str()))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish()
}
