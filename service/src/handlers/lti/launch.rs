//! `POST /lti/launch`: the id_token arrives; if every check passes, a session opens and the browser goes to its page.

use std::sync::Arc;

use actix_web::http::header::{CACHE_CONTROL, LOCATION, SET_COOKIE};
use actix_web::{HttpRequest, HttpResponse, web};
use jiff::Timestamp;

use super::{PostedForm, Stopped, answer, pending};
use crate::app::App;
use crate::frame_ancestors::{self, FrameAncestors};
use crate::lti::FailedCheck;
use crate::lti::launch::{self, Expected, Launch, LinkLaunch, PlacingLaunch, QuizParameters, Role};
use crate::lti::login::{Parameters, nonce_key, state_key};
use crate::lti::platform_keys::KeyError;
use crate::lti::token::UnverifiedToken;
use crate::pages::frames::{AskPage, Posted, WindowPage};
use crate::session::{BrowserCookie, Carried, NewSession};
use crate::storage::{
    AnsweredLogin, Fingerprint, LinkOpening, LoginState, Member, MemberStatus, NewPlacement, Opened, Opens,
    Part, Registration, SeenLogin, TakenState,
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
    let answered = answered(app, request, &parameters).await?;
    if let Some(page) = ask_platform(app, request, &parameters, &answered).await? {
        return Ok(page);
    }
    let opened = async {
        if !has_cookie_of(app, request, &answered.seen.login) {
            return Err(FailedCheck::Browser.into());
        }
        complete(app, &parameters, &answered, Carrier::Cookie).await
    };
    used_up(app, &answered, opened.await).await
}

fn has_cookie_of(app: &App, request: &HttpRequest, login: &LoginState) -> bool {
    BrowserCookie::of(app, request).is_some_and(|cookie| cookie.fingerprint() == login.browser)
}

/// The login that this launch answers, if it can still be answered, and its platform, whose pages may frame what follows.
pub(super) async fn answered(
    app: &App,
    request: &HttpRequest,
    parameters: &Parameters,
) -> Result<AnsweredLogin, Stopped> {
    let state = Fingerprint::of(parameters.filled("state").ok_or(FailedCheck::StateMissing)?);
    let answered = app.storage.answered_login(&state, app.clock.now()).await?;
    let answered = answered.ok_or(FailedCheck::StateUnknown)?;
    FrameAncestors::note_frames(request, answered.frames.clone(), None);
    if answered.seen.open {
        return Ok(answered);
    }
    Err(not_fresh(&app.storage.take_login_state(&state, app.clock.now()).await?).into())
}

/// Why a login cannot be answered.
fn not_fresh(taken: &TakenState) -> FailedCheck {
    match taken {
        TakenState::Used => FailedCheck::StateUsed,
        // One that was fresh a moment before its end is past it now.
        TakenState::Expired | TakenState::Fresh(_) => FailedCheck::StateExpired,
        TakenState::Unknown => FailedCheck::StateUnknown,
    }
}

/// A login is used up whatever comes of the launch: by opening what it is for, or else here.
pub(super) async fn used_up(
    app: &App,
    answered: &AnsweredLogin,
    outcome: Result<HttpResponse, Stopped>,
) -> Result<HttpResponse, Stopped> {
    if outcome.is_err() {
        app.storage.take_login_state(&answered.seen.login.state, app.clock.now()).await?;
    }
    outcome
}

/// The page that asks the platform's window for what it keeps, if the login's cookie is missing but the login has left
/// something there. The login is not used up by it.
async fn ask_platform(
    app: &App,
    request: &HttpRequest,
    parameters: &Parameters,
    answered: &AnsweredLogin,
) -> Result<Option<HttpResponse>, Stopped> {
    let (Some(state), Some(token)) = (parameters.filled("state"), parameters.filled("id_token")) else {
        return Ok(None);
    };
    let AnsweredLogin { seen: SeenLogin { login, .. }, registration, .. } = answered;
    if has_cookie_of(app, request, login) {
        return Ok(None);
    }
    let cookie = BrowserCookie::of(app, request).unwrap_or_else(BrowserCookie::new);
    let Some(storage) = &login.storage else { return Ok(None) };
    // The page names the nonce, which nobody learns who only knows a state.
    verify(app, UnverifiedToken::parse(token)?, login, registration).await?;
    let page = AskPage::new(
        &registration.platform.authorization_url,
        storage.target.clone(),
        (state_key(state), nonce_key(&login.nonce)),
        Posted { token: token.to_owned(), state: state.to_owned() },
    );
    let mut response = page.into_response();
    // Whether it comes back with the answer tells whether the session can have one.
    response.headers_mut().insert(SET_COOKIE, cookie.kept(app, registration));
    Ok(Some(response))
}

/// Checks the token of a launch that comes from the browser of its login, and opens what it is for.
pub(super) async fn complete(
    app: &App,
    parameters: &Parameters,
    answered: &AnsweredLogin,
    carrier: Carrier,
) -> Result<HttpResponse, Stopped> {
    if parameters.filled("error").is_some() {
        return Err(FailedCheck::PlatformError.into());
    }
    let token = UnverifiedToken::parse(parameters.filled("id_token").ok_or(FailedCheck::TokenMissing)?)?;
    let AnsweredLogin { seen: SeenLogin { login, .. }, registration, .. } = answered;
    let (session, opens, kind) = match verify(app, token, login, registration).await? {
        Launch::Link(link) => for_link(app, registration, *link),
        Launch::Placing(placing) => for_placing(registration, *placing),
    };
    let carried = match carrier {
        Carrier::Cookie => session.open(app, login, opens).await?,
        Carrier::Ticket => session.open_for_window(app, login, opens).await?,
    };
    let response = match carried {
        Carried::Cookie(cookie, page) => {
            let mut response = go_to(app, &page);
            response.headers_mut().insert(SET_COOKIE, cookie);
            response
        }
        Carried::Ticket(ticket) => WindowPage::to_take_over(ticket).into_response(),
        Carried::Not(why) => return Err(not_opened(&why).into()),
    };
    app.metrics.launched(kind);
    Ok(response)
}

/// Why a launch that passed every check opened nothing.
fn not_opened(why: &Opened) -> FailedCheck {
    match why {
        Opened::Not(taken) => not_fresh(taken),
        Opened::NoPool => FailedCheck::PoolUnknown,
        Opened::NoQuiz | Opened::Session(_) => FailedCheck::CustomParameters,
    }
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
fn for_link<'a>(
    app: &App,
    registration: &'a Registration,
    launch: LinkLaunch,
) -> (NewSession<'a>, Opens, &'static str) {
    let (deployment, user) = (launch.link.deployment.clone(), Some(launch.user.clone()));
    let session = NewSession { registration, deployment, user, return_origin: launch.return_origin.clone() };
    let opening = LinkOpening {
        link: launch.link.clone(),
        member: member(app, &launch),
        windows: launch.windows.clone(),
        roster: launch.roster.clone(),
        quiz: quiz(launch, app.clock.now()),
    };
    (session, Opens::Link(Box::new(opening)), "link")
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

/// The link's quiz as the launch describes it.
fn quiz(
    launch: LinkLaunch,
    now: Timestamp,
) -> Arc<dyn Fn(Option<NewPlacement>) -> Option<NewPlacement> + Send + Sync> {
    Arc::new(move |known| {
        let quiz = match (known, launch.quiz.clone()) {
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
            (None, quiz) => quiz?,
        };
        Some(NewPlacement {
            link: launch.link.clone(),
            context: launch.context.clone(),
            title: launch.title.clone().unwrap_or_default(),
            pool: quiz.pool,
            question_count: quiz.question_count,
            attempts_allowed: quiz.attempts_allowed,
            policy: quiz.policy,
            layout: quiz.layout,
            resource_id: quiz.resource_id,
            windows: quiz.windows,
            grades: launch.grades.clone(),
            created_at: now,
        })
    })
}

/// A session for the page where a teacher chooses what to place.
fn for_placing(registration: &Registration, launch: PlacingLaunch) -> (NewSession<'_>, Opens, &'static str) {
    let PlacingLaunch { deployment, user, request } = launch;
    let return_origin = frame_ancestors::origin(&request.return_url);
    (NewSession { registration, deployment, user, return_origin }, Opens::Placing(request), "deep_linking")
}

/// Sends the browser to one of our pages.
pub(super) fn go_to(app: &App, page: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, app.settings.public_url.join(page).as_str()))
        .insert_header((CACHE_CONTROL, "no-store"))
        .finish()
}
