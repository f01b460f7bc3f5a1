//! Who is asking: the session that a launch opened, as a typed extractor for handlers.
//!
//! A handler that takes a [`PupilSession`] runs only for a pupil launched into the placement that its address names;
//! [`TeacherSession`] and [`PlacingSession`] likewise. The cookie is limited to the path of the page it opens
//! (`/quiz/{placement}`, `/class/{placement}`, `/class/place`), so two quizzes, or a teacher and a pupil, can be open
//! side by side in one browser. Opening sessions is the launch's job, not done by the extractors.

use std::future::Future;
use std::pin::Pin;

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::dev::Payload;
use actix_web::http::header::HeaderValue;
use actix_web::{FromRequest, HttpRequest, HttpResponse, ResponseError, http::StatusCode, web};

use crate::app::App;
use crate::clock::plus_ms;
use crate::entropy;
use crate::lti::keys::KeySetError;
use crate::pages::refusal::RefusalPage;
use crate::storage::{
    Actor, DeploymentId, Fingerprint, PlacementId, PlacingRequest, RegistrationId, SessionPurpose,
    SessionRecord, StorageError, UserId,
};

/// How long a session lives: a school day.
const LIFETIME_MS: i64 = 10 * 60 * 60 * 1000;

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
        let (check, sentence) = match self {
            Self::Missing => {
                ("session", "This page was open for too long, or was opened without your course.")
            }
            Self::NotAllowed => {
                ("session_scope", "This page does not belong to what you opened in your course.")
            }
            Self::Csrf => ("csrf", "This form is too old to be sent."),
            Self::Storage(error) => {
                tracing::error!(%error, "a session could not be read");
                ("store", "The service cannot reach its store just now. Wait a minute and try again.")
            }
            Self::Keys(error) => {
                tracing::error!(%error, "an answer could not be signed");
                ("keys", "The service cannot sign its answer just now. Wait a minute and try again.")
            }
        };
        RefusalPage { check, sentence, hint: "Go back to your course and open the quiz from there again." }
            .into_response(self.status_code())
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
    let cookie = request.cookie(cookie_name(app)).ok_or(SessionError::Missing)?;
    let record = app
        .storage
        .session(&Fingerprint::of(cookie.value()), app.clock.now())
        .await?
        .ok_or(SessionError::Missing)?;
    let named = request.match_info().get("placement").map(PlacementId::from);
    let covered = match &record.purpose {
        SessionPurpose::Quiz { placement, .. } | SessionPurpose::Class { placement } => Some(placement),
        SessionPurpose::Placing { .. } => None,
    };
    if named.is_some() && named.as_ref() != covered {
        return Err(SessionError::NotAllowed);
    }
    Session::from_record(record).ok_or(SessionError::Missing)
}

impl Session {
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

/// Opens a session and returns the cookie that carries it and the page to go to.
pub(crate) async fn open(
    app: &App,
    registration: RegistrationId,
    deployment: DeploymentId,
    user: Option<UserId>,
    purpose: SessionPurpose,
) -> Result<(HeaderValue, String), StorageError> {
    let page = match &purpose {
        SessionPurpose::Quiz { placement, .. } => format!("/quiz/{placement}"),
        SessionPurpose::Class { placement } => format!("/class/{placement}"),
        SessionPurpose::Placing { .. } => "/class/place".to_owned(),
    };
    let secret = entropy::secret();
    let record = SessionRecord {
        id: Fingerprint::of(&secret),
        registration,
        deployment,
        user,
        purpose,
        csrf: entropy::secret(),
        expires_at: plus_ms(app.clock.now(), LIFETIME_MS),
    };
    app.storage.add_session(record).await?;
    let cookie = browser_cookie(app, cookie_name(app), secret, &page, Duration::milliseconds(LIFETIME_MS));
    Ok((cookie, page))
}

/// The session cookie's name; the prefix makes browsers insist on https.
fn cookie_name(app: &App) -> &'static str {
    if app.settings.public_url.is_https() { "__Secure-tenths-session" } else { "tenths-session" }
}

/// A `Set-Cookie` value for a cookie that scripts cannot read and that works inside a platform's frame.
///
/// On https it is `SameSite=None; Secure; Partitioned`, as frames on other sites need. Plain http exists only on
/// loopback, where another port is the same site and `Lax` suffices.
pub(crate) fn browser_cookie(
    app: &App,
    name: &'static str,
    secret: String,
    path: &str,
    lifetime: Duration,
) -> HeaderValue {
    let cookie = Cookie::build(name, secret).path(path.to_owned()).http_only(true).max_age(lifetime);
    let text = if app.settings.public_url.is_https() {
        // The cookie library does not know the attribute yet.
        format!("{}; Partitioned", cookie.secure(true).same_site(SameSite::None).finish())
    } else {
        cookie.same_site(SameSite::Lax).finish().to_string()
    };
    HeaderValue::try_from(text).expect("names, secrets and paths of ours are visible ASCII")
}
