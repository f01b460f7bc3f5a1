//! `/lti/register`: a platform registers itself with an invitation.
//!
//! No cookie takes part: the page may be inside a frame where browsers drop them. What protects the form is the offer in
//! it, which only this service can make, and only for somebody with an open invitation.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};

use super::form::Posted;
use crate::app::App;
use crate::clock::plus_ms;
use crate::lti::login::Parameters;
use crate::lti::registration::{Offer, PlatformConfiguration, RegistrationProblem};
use crate::pages::registration::{self as pages, ConfirmPage, DonePage, RefusedPage};
use crate::pages::{Frame, Place};
use crate::storage::{
    Actor, Change, Fingerprint, InvitationState, NewRegistration, Registered, RegistrationId, StorageError,
};
use crate::texts::Texts;

/// How long nobody else can use an invitation while one registers: longer than a platform may take to answer.
const HOLD_MS: i64 = 60 * 1000;

/// Why a registration got no further.
enum Stopped {
    /// It cannot be done.
    Problem(RegistrationProblem),
    /// The store failed.
    Storage(StorageError),
}

impl From<RegistrationProblem> for Stopped {
    fn from(problem: RegistrationProblem) -> Self {
        Self::Problem(problem)
    }
}

impl From<StorageError> for Stopped {
    fn from(error: StorageError) -> Self {
        Self::Storage(error)
    }
}

impl Stopped {
    fn into_response(self) -> HttpResponse {
        let texts = Texts::of_reader();
        let (status, page) = match self {
            Self::Problem(problem) => {
                tracing::warn!(problem = problem.name(), "a platform was not registered");
                let status = StatusCode::from_u16(problem.status()).unwrap_or(StatusCode::BAD_REQUEST);
                let page = RefusedPage {
                    frame: frame("frame-refused"),
                    problem: problem.name(),
                    sentence: texts.with(&told(&problem), &[("detail", detail(&problem).into())]),
                    hint: texts.say(hint(&problem)),
                };
                (status, page)
            }
            Self::Storage(error) => {
                tracing::error!(%error, "a registration could not be stored");
                let (sentence, hint) = (texts.say("frame-refused-store"), texts.say("frame-refused-wait"));
                let frame = frame("frame-refused");
                (StatusCode::SERVICE_UNAVAILABLE, RefusedPage { frame, problem: "store", sentence, hint })
            }
        };
        pages::answer(status, &page, None)
    }
}

/// GET: what will be registered, to be confirmed.
pub(crate) async fn show(app: web::Data<App>, request: HttpRequest) -> HttpResponse {
    match offer(&app, request.query_string()).await {
        Ok(offer) => {
            let sealed = offer.sealed(&app.form_key);
            pages::answer(
                StatusCode::OK,
                &confirm_page(&offer.platform, sealed),
                Some(&offer.platform.issuer),
            )
        }
        Err(stopped) => stopped.into_response(),
    }
}

async fn offer(app: &App, query: &str) -> Result<Offer, Stopped> {
    let parameters = Parameters::parse(query.as_bytes()).map_err(|_| RegistrationProblem::Request)?;
    let invitation = parameters.filled("invitation").ok_or(RegistrationProblem::InvitationMissing)?;
    let now = app.clock.now();
    let state = app.storage.invitation(&Fingerprint::of(invitation), now).await?;
    // Without an open invitation nothing is fetched.
    if let Some(problem) = RegistrationProblem::of(&state) {
        return Err(problem.into());
    }
    let configuration =
        parameters.filled("openid_configuration").ok_or(RegistrationProblem::ConfigurationUrl)?;
    let token = parameters.filled("registration_token");
    Ok(Offer::make(&app.registration_calls, invitation, configuration, token, now).await?)
}

fn confirm_page(platform: &PlatformConfiguration, offer: String) -> ConfirmPage {
    let texts = Texts::of_reader();
    let mut permissions = vec!["frame-register-opens"];
    if platform.deep_linking {
        permissions.push("frame-register-places");
    }
    for (scope, permission) in [
        ("lti-ags/scope/score", "frame-register-scores"),
        ("lti-ags/scope/lineitem", "frame-register-columns"),
        ("lti-ags/scope/result.readonly", "frame-register-results"),
        ("lti-nrps/scope/contextmembership.readonly", "frame-register-people"),
    ] {
        if platform.scopes.iter().any(|offered| offered.ends_with(scope)) {
            permissions.push(permission);
        }
    }
    ConfirmPage {
        frame: frame("frame-register"),
        issuer: platform.issuer.clone(),
        product: platform.product.clone(),
        permissions: permissions.into_iter().map(|permission| texts.say(permission)).collect(),
        addresses: vec![
            (texts.say("frame-register-sign-in"), platform.authorization_endpoint.to_string()),
            (texts.say("frame-register-tokens"), platform.token_endpoint.to_string()),
            (texts.say("frame-register-keys"), platform.jwks_uri.to_string()),
            (texts.say("frame-register-address"), platform.registration_endpoint.to_string()),
        ],
        offer,
    }
}

/// The frame of a page with that title.
fn frame(title: &str) -> Frame {
    let texts = Texts::of_reader();
    Frame::new(texts, Place::Registration, texts.say(title))
}

/// The message that tells a problem.
fn told(problem: &RegistrationProblem) -> String {
    format!("frame-refused-by-{}", problem.name().replace('_', "-"))
}

/// What a problem says beyond its kind; what platforms answer is in their words.
fn detail(problem: &RegistrationProblem) -> String {
    match problem {
        RegistrationProblem::Address(detail)
        | RegistrationProblem::Unreachable(detail)
        | RegistrationProblem::Configuration(detail)
        | RegistrationProblem::Declined(detail)
        | RegistrationProblem::Reply(detail) => detail.clone(),
        RegistrationProblem::Status(status) => status.to_string(),
        _ => String::new(),
    }
}

/// The message that tells what the person in front of a problem can do.
fn hint(problem: &RegistrationProblem) -> &'static str {
    match problem {
        RegistrationProblem::InvitationMissing
        | RegistrationProblem::InvitationUnknown
        | RegistrationProblem::InvitationUsed
        | RegistrationProblem::InvitationExpired
        | RegistrationProblem::InvitationRevoked => "frame-refused-invitation",
        RegistrationProblem::InvitationHeld => "frame-refused-wait",
        RegistrationProblem::Reply(_) | RegistrationProblem::Known => "frame-refused-remove",
        _ => "frame-refused-again",
    }
}

/// POST: registers what was confirmed.
pub(crate) async fn confirm(app: web::Data<App>, posted: Posted) -> HttpResponse {
    match register(&app, &posted).await {
        Ok(done) => pages::answer(StatusCode::OK, &done, Some(&done.issuer)),
        Err(stopped) => stopped.into_response(),
    }
}

async fn register(app: &App, posted: &Posted) -> Result<DonePage, Stopped> {
    let field = posted.iter().find(|(name, _)| name == "offer").map_or("", |(_, value)| value);
    let now = app.clock.now();
    let offer = Offer::open(field, &app.form_key, now)?;
    let secret = Fingerprint::of(&offer.invitation);
    // From here on one caller at a time: of two clicks, one registers.
    let invitation = match app.storage.hold_invitation(&secret, now, plus_ms(now, HOLD_MS)).await? {
        InvitationState::Open(invitation) => invitation,
        other => {
            let problem = RegistrationProblem::of(&other).unwrap_or(RegistrationProblem::InvitationUnknown);
            return Err(problem.into());
        }
    };
    let result = async {
        let new = offer.register(&app.registration_calls, &app.settings.public_url).await?;
        store(app, &invitation.id, new).await
    }
    .await;
    if result.is_err() {
        app.storage.release_invitation(&invitation.id).await?;
    }
    result
}

async fn store(app: &App, invitation: &str, new: NewRegistration) -> Result<DonePage, Stopped> {
    let names = [("issuer", new.issuer.clone().into()), ("client", new.client_id.to_string().into())];
    let done = DonePage {
        frame: frame("frame-registered"),
        known_as: Texts::of_reader().with("frame-registered-as", &names),
        issuer: new.issuer.clone(),
        deployed: !new.deployments.is_empty(),
    };
    let by = Actor::Platform { issuer: new.issuer.clone() };
    let change = Change { at: app.clock.now(), by };
    match app.storage.register_by_invitation(invitation, new, &change).await? {
        Registered::Stored(id) => {
            make_key(app, id).await;
            tracing::info!(registration.id = id.0, issuer = done.issuer, "a platform was registered");
            Ok(done)
        }
        Registered::NotInvited => Err(RegistrationProblem::InvitationRevoked.into()),
        Registered::Known => Err(RegistrationProblem::Known.into()),
    }
}

/// Makes the registration's key now, so that it is published when the platform looks. Else it is made later.
async fn make_key(app: &App, id: RegistrationId) {
    if let Err(error) = app.tool_keys.signer(id).await {
        tracing::warn!(%error, "the key of a new registration could not be made yet");
    }
}
