//! Who is asking: the session that a launch opened, as a typed extractor for handlers.
//!
//! A handler that takes a [`PupilSession`] runs only for a pupil launched into the placement that its address names;
//! [`TeacherSession`] and [`PlacingSession`] likewise. The cookie is limited to the path of the page it opens
//! (`/quiz/{placement}`, `/class/{placement}`, `/class/place`), so two quizzes, or a teacher and a pupil, can be open
//! side by side in one browser. Opening sessions is the launch's job, not done by the extractors.
//!
//! Inside a frame cookies may not stick. Whether they do is known from the cookie of the login (`BrowserCookie`): it
//! has the same attributes. Where they do not, the session is opened with a ticket instead of a cookie, and a window of
//! its own takes the session over, once.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, CookieBuilder, SameSite};
use actix_web::dev::Payload;
use actix_web::http::header::HeaderValue;
use actix_web::{FromRequest, HttpRequest, HttpResponse, ResponseError, http::StatusCode, web};

use crate::app::App;
use crate::clock::plus_ms;
use crate::entropy;
use crate::frame_ancestors::FrameAncestors;
use crate::lti::keys::KeySetError;
use crate::pages::refusal::RefusalPage;
use crate::storage::{
    Actor, DeploymentId, Fingerprint, LoginState, Opened, Opening, Opens, PlacementId, PlacingRequest,
    Registration, RegistrationId, SessionPurpose, SessionRecord, SessionTicket, StorageError, UserId,
};

/// How long a session lives: a school day.
const LIFETIME_MS: i64 = 10 * 60 * 60 * 1000;
/// How long one may take to press the button that opens a session in a window of its own.
const TICKET_LIFETIME_MS: i64 = 5 * 60 * 1000;

/// A pupil taking a quiz.
#[derive(Debug, Clone)]
pub struct PupilSession {
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// The pupil.
    pub user: UserId,
    /// The quiz.
    pub placement: PlacementId,
    /// True for a platform's preview user: no grade is sent.
    pub preview: bool,
    /// The value every form must carry.
    pub csrf: Csrf,
}

/// A teacher looking at a quiz.
#[derive(Debug, Clone)]
pub struct TeacherSession {
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// The teacher.
    pub user: UserId,
    /// The quiz.
    pub placement: PlacementId,
    /// The value every form must carry.
    pub csrf: Csrf,
}

impl TeacherSession {
    /// The teacher, as the audit trail names them.
    pub(crate) fn actor(&self) -> Actor {
        Actor::Person { registration: self.registration, user: Some(self.user.clone()) }
    }
}

/// A teacher choosing what to place by deep linking.
#[derive(Debug, Clone)]
pub struct PlacingSession {
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// What the platform asked for.
    pub request: PlacingRequest,
    /// The value every form must carry.
    pub csrf: Csrf,
}

/// Any live session.
#[derive(Debug, Clone)]
pub enum Session {
    /// A pupil taking a quiz.
    Pupil(PupilSession),
    /// A teacher looking at a quiz.
    Teacher(TeacherSession),
    /// A teacher choosing what to place.
    Placing(PlacingSession),
}

/// The value a form must repeat, so that another site cannot post in a person's name.
#[derive(Debug, Clone)]
pub struct Csrf(String);

impl From<String> for Csrf {
    fn from(value: String) -> Self {
        Self(value)
    }
}

impl Csrf {
    /// The value for a hidden form field; `csrf` is the field's usual name.
    pub fn value(&self) -> &str {
        &self.0
    }

    /// Accepts a posted value when it is the session's own.
    ///
    /// # Errors
    /// [`SessionError::Csrf`] otherwise.
    pub fn check(&self, posted: &str) -> Result<(), SessionError> {
        // Fingerprints are compared, so that time tells nothing about the value itself.
        if entropy::fingerprint(posted) == entropy::fingerprint(&self.0) {
            Ok(())
        } else {
            Err(SessionError::Csrf)
        }
    }
}

/// Why a request has no usable session. Answers with a plain page.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// No session cookie, an unknown one, or one that has ended.
    #[error("no live session")]
    Missing,
    /// The session is for another page or another role.
    #[error("session does not cover this page")]
    NotAllowed,
    /// The form did not carry the session's value.
    #[error("form value csrf is missing or wrong")]
    Csrf,
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// Our own keys cannot be used.
    #[error(transparent)]
    Keys(KeySetError),
}

impl ResponseError for SessionError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::Missing => StatusCode::UNAUTHORIZED,
            Self::NotAllowed | Self::Csrf => StatusCode::FORBIDDEN,
            Self::Storage(_) | Self::Keys(_) => StatusCode::SERVICE_UNAVAILABLE,
        }
    }

    fn error_response(&self) -> HttpResponse {
        let check = match self {
            Self::Missing => "session",
            Self::NotAllowed => "session_scope",
            Self::Csrf => "csrf",
            Self::Storage(error) => {
                tracing::error!(%error, "a session could not be read");
                "store"
            }
            Self::Keys(error) => {
                tracing::error!(%error, "an answer could not be signed");
                "keys"
            }
        };
        RefusalPage::of(check).into_response(self.status_code())
    }
}

type Extracted<T> = Pin<Box<dyn Future<Output = Result<T, SessionError>>>>;

impl FromRequest for Session {
    type Error = SessionError;
    type Future = Extracted<Self>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move { load(&request).await })
    }
}

/// Extractors for one kind of session: any other kind is refused.
macro_rules! extract_one_kind {
    ($($kind:ident => $session:ident),+) => {$(
        impl FromRequest for $session {
            type Error = SessionError;
            type Future = Extracted<Self>;

            fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
                let request = request.clone();
                Box::pin(async move {
                    match load(&request).await? {
                        Session::$kind(session) => Ok(session),
                        _ => Err(SessionError::NotAllowed),
                    }
                })
            }
        }
    )+};
}

extract_one_kind!(Pupil => PupilSession, Teacher => TeacherSession, Placing => PlacingSession);

/// Reads the session of a request and holds it against the placement in the request's path, if there is one.
async fn load(request: &HttpRequest) -> Result<Session, SessionError> {
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App");
    let named = request.match_info().get("placement").map(PlacementId::from);
    let record = match fingerprint(app, request) {
        Some(id) => app.storage.session(&id, app.clock.now()).await?,
        None => None,
    };
    note_frame_ancestors(app, request, record.as_ref(), named.as_ref()).await?;
    Session::covering(record, named.as_ref())
}

/// What the store knows the session of a request by, if it brings one.
pub(crate) fn fingerprint(app: &App, request: &HttpRequest) -> Option<Fingerprint> {
    request.cookie(cookie_name(app)).map(|cookie| Fingerprint::of(cookie.value()))
}

/// Permits the platform of a request's session to frame the answer, before anything else is known of the request.
pub(crate) async fn note_framing(request: &HttpRequest) -> Result<(), StorageError> {
    let app = request.app_data::<web::Data<App>>().expect("routes always carry the App");
    let Some(id) = fingerprint(app, request) else { return Ok(()) };
    let record = app.storage.session(&id, app.clock.now()).await?;
    note_frame_ancestors(app, request, record.as_ref(), None).await
}

/// Permits the platform to frame the answer: that of the session or, where it has ended, that of the quiz, so that a
/// person in a frame can read why nothing opens.
async fn note_frame_ancestors(
    app: &App,
    request: &HttpRequest,
    record: Option<&SessionRecord>,
    named: Option<&PlacementId>,
) -> Result<(), StorageError> {
    let registration = match (record, named) {
        (Some(record), _) => Some(record.registration),
        (None, Some(named)) => {
            app.storage.placement(named).await?.map(|placement| placement.quiz.link.registration)
        }
        (None, None) => None,
    };
    let Some(registration) = registration else { return Ok(()) };
    if let Some(frames) = app.storage.platform_frames(registration).await? {
        let return_origin = record.and_then(|record| record.return_origin.as_deref());
        FrameAncestors::note_frames(request, frames, return_origin);
    }
    Ok(())
}

impl Session {
    /// The session of a record, if it is for the placement that the address names.
    ///
    /// # Errors
    /// [`SessionError::Missing`] or [`SessionError::NotAllowed`].
    pub(crate) fn covering(
        record: Option<SessionRecord>,
        named: Option<&PlacementId>,
    ) -> Result<Self, SessionError> {
        let record = record.ok_or(SessionError::Missing)?;
        let covered = match &record.purpose {
            SessionPurpose::Quiz { placement, .. } | SessionPurpose::Class { placement } => Some(placement),
            SessionPurpose::Placing { .. } => None,
        };
        if named.is_some() && named != covered {
            return Err(SessionError::NotAllowed);
        }
        Self::from_record(record).ok_or(SessionError::Missing)
    }

    /// The typed session of a record; none when a pupil's or teacher's record names nobody.
    fn from_record(record: SessionRecord) -> Option<Self> {
        let SessionRecord { registration, deployment, user, purpose, csrf, .. } = record;
        let csrf = Csrf(csrf);
        Some(match purpose {
            SessionPurpose::Quiz { placement, preview } => {
                Self::Pupil(PupilSession { registration, deployment, user: user?, placement, preview, csrf })
            }
            SessionPurpose::Class { placement } => {
                Self::Teacher(TeacherSession { registration, deployment, user: user?, placement, csrf })
            }
            SessionPurpose::Placing { request } => {
                Self::Placing(PlacingSession { registration, deployment, request, csrf })
            }
        })
    }
}

/// Who gets a session.
pub(crate) struct NewSession<'a> {
    /// The platform.
    pub(crate) registration: &'a Registration,
    /// The deployment.
    pub(crate) deployment: DeploymentId,
    /// The person, if the launch names one.
    pub(crate) user: Option<UserId>,
    /// Origin of the address that the launch named for returning to the platform.
    pub(crate) return_origin: Option<String>,
}

/// What came of a launch that was to open a session.
pub(crate) enum Carried {
    /// The cookie that carries the session, and the page to go to.
    Cookie(HeaderValue, String),
    /// The ticket that [`redeem`] takes, for a window that is still to be opened.
    Ticket(String),
    /// It was not opened.
    Not(Box<Opened>),
}

impl NewSession<'_> {
    /// Opens the session of a launch with a cookie.
    pub(crate) async fn open(
        self,
        app: &App,
        login: &LoginState,
        opens: Opens,
    ) -> Result<Carried, StorageError> {
        let secret = entropy::secret();
        let registration = self.registration;
        let session = self.record(app, &secret);
        let opening =
            Opening { login: login.state.clone(), now: app.clock.now(), opens, session, ticket: None };
        Ok(match app.storage.open_launch(opening).await? {
            Opened::Session(record) => {
                let (cookie, page) = carried(app, registration, secret, &record.purpose);
                Carried::Cookie(cookie, page)
            }
            other => Carried::Not(Box::new(other)),
        })
    }

    /// Opens the session of a launch for a window that is still to be opened.
    pub(crate) async fn open_for_window(
        self,
        app: &App,
        login: &LoginState,
        opens: Opens,
    ) -> Result<Carried, StorageError> {
        // Nobody ever gets the session's secret: until the ticket is used, it cannot be.
        let (id, secret) = (entropy::secret(), entropy::secret());
        let ticket = SessionTicket {
            ticket: Fingerprint::of(&secret),
            session: Fingerprint::of(&id),
            expires_at: plus_ms(app.clock.now(), TICKET_LIFETIME_MS),
        };
        let session = self.record(app, &id);
        let (login, now, ticket) = (login.state.clone(), app.clock.now(), Some(ticket));
        Ok(match app.storage.open_launch(Opening { login, now, opens, session, ticket }).await? {
            Opened::Session(_) => Carried::Ticket(secret),
            other => Carried::Not(Box::new(other)),
        })
    }

    /// Opens a session without a launch.
    #[cfg(test)]
    pub(crate) async fn open_unlaunched(self, app: &App, purpose: SessionPurpose) -> (HeaderValue, String) {
        let secret = entropy::secret();
        let registration = self.registration;
        let record = self.record(app, &secret)(purpose);
        let opened = carried(app, registration, secret, &record.purpose);
        crate::storage::test_launch::open_session(app.storage.as_ref(), record, None).await;
        opened
    }

    /// The record, once it is known what the session is for.
    fn record(self, app: &App, secret: &str) -> Arc<dyn Fn(SessionPurpose) -> SessionRecord + Send + Sync> {
        let (id, csrf) = (Fingerprint::of(secret), entropy::secret());
        let expires_at = plus_ms(app.clock.now(), LIFETIME_MS);
        let Self { registration, deployment, user, return_origin } = self;
        let registration = registration.id;
        Arc::new(move |purpose| SessionRecord {
            id: id.clone(),
            registration,
            deployment: deployment.clone(),
            user: user.clone(),
            purpose,
            csrf: csrf.clone(),
            return_origin: return_origin.clone(),
            expires_at,
        })
    }
}

/// Takes a session over by its ticket: the cookie that carries it, and its page. None when the ticket does not count any more.
pub(crate) async fn redeem(app: &App, ticket: &str) -> Result<Option<(HeaderValue, String)>, StorageError> {
    let secret = entropy::secret();
    let redeemed = app
        .storage
        .redeem_session_ticket(&Fingerprint::of(ticket), &Fingerprint::of(&secret), app.clock.now())
        .await?;
    let Some(record) = redeemed else { return Ok(None) };
    let registration = app.storage.registration(record.registration).await?;
    Ok(registration.map(|registration| carried(app, &registration, secret, &record.purpose)))
}

/// The cookie that carries a session, and its page.
fn carried(
    app: &App,
    registration: &Registration,
    secret: String,
    purpose: &SessionPurpose,
) -> (HeaderValue, String) {
    let page = match purpose {
        SessionPurpose::Quiz { placement, .. } => format!("/quiz/{placement}"),
        SessionPurpose::Class { placement } => format!("/class/{placement}"),
        SessionPurpose::Placing { .. } => "/class/place".to_owned(),
    };
    let cookie = Cookie::build(cookie_name(app), secret)
        .path(page.clone())
        .max_age(Duration::milliseconds(LIFETIME_MS));
    (set_cookie(app, registration, cookie), page)
}

/// The session cookie's name; the prefix makes browsers insist on https.
fn cookie_name(app: &App) -> &'static str {
    if app.settings.public_url.is_https() { "__Secure-tenths-session" } else { "tenths-session" }
}

/// The cookie that ties a launch to the browser of its login, and shows whether cookies stick where the launch happens.
pub(crate) struct BrowserCookie(String);

impl BrowserCookie {
    /// The length of [`entropy::secret`].
    const LENGTH: usize = 43;
    const LIFETIME: Duration = Duration::hours(1);

    /// The one that came with a request.
    pub(crate) fn of(app: &App, request: &HttpRequest) -> Option<Self> {
        let value = request.cookie(Self::name(app))?.value().to_owned();
        (value.len() == Self::LENGTH).then_some(Self(value))
    }

    /// A new one.
    pub(crate) fn new() -> Self {
        Self(entropy::secret())
    }

    /// What a login remembers of it.
    pub(crate) fn fingerprint(&self) -> Fingerprint {
        Fingerprint::of(&self.0)
    }

    /// The `Set-Cookie` value that keeps it in the browser while it visits that platform.
    pub(crate) fn kept(&self, app: &App, registration: &Registration) -> HeaderValue {
        let cookie = Cookie::build(Self::name(app), self.0.clone()).path("/").max_age(Self::LIFETIME);
        set_cookie(app, registration, cookie)
    }

    fn name(app: &App) -> &'static str {
        if app.settings.public_url.is_https() { "__Host-tenths-browser" } else { "tenths-browser" }
    }
}

/// A `Set-Cookie` value for a cookie that scripts cannot read and that works inside a frame of the platform.
///
/// `SameSite=None; Secure; Partitioned` is what frames on other sites need; browsers take it from http on loopback, too.
/// Only where service and platform share a loopback host, which is one site whatever the port, `Lax` suffices, and a
/// browser that insists on https for `Secure` can be used for development.
fn set_cookie(app: &App, registration: &Registration, cookie: CookieBuilder<'_>) -> HeaderValue {
    let cookie = cookie.http_only(true);
    let public_url = &app.settings.public_url;
    let same_site =
        !public_url.is_https() && public_url.shares_host(&registration.platform.authorization_url);
    let text = if same_site {
        cookie.same_site(SameSite::Lax).finish().to_string()
    } else {
        // The cookie library does not know the attribute yet.
        format!("{}; Partitioned", cookie.secure(true).same_site(SameSite::None).finish())
    };
    HeaderValue::try_from(text).expect("names, secrets and paths of ours are visible ASCII")
}
