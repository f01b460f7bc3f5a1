//! Launches, the first two legs: the platform sends the browser to the tool's login endpoint, the tool sends it back
//! to the authorization endpoint, and that one posts the id_token.
//!
//! A launch is remembered as a ticket, and the ticket's id is the `lti_message_hint`: the tool has to return it
//! unchanged. What the id_token says is [`super::id_tokens`].

use std::collections::{HashMap, HashSet};

use actix_web::http::{Method, StatusCode, header};
use actix_web::web::{Bytes, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use askama::Template;
use url::Url;

use super::clock;
use super::id_tokens;
use super::pages::{self, SignIn, Visitor};
use super::parameters::Parameters;
use super::people::{Member, Role};
use super::problems::PageProblem;
use super::state::{CLIENT_ID, DEPLOYMENT_ID, Platform};

/// What a launch is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Errand {
    OpenLink { link_id: String },
    AddActivity,
}

/// Where the tool's pages will be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DocumentTarget {
    /// The same tab, as a link of a page opens.
    Window,
    /// A frame inside a page of the platform.
    Iframe,
}

impl DocumentTarget {
    pub(super) fn as_str(self) -> &'static str {
        match self {
            DocumentTarget::Window => "window",
            DocumentTarget::Iframe => "iframe",
        }
    }
}

/// A launch that has begun.
#[derive(Debug, Clone)]
pub(super) struct Ticket {
    pub(super) person_id: String,
    pub(super) sign_in: SignIn,
    pub(super) errand: Errand,
    pub(super) target: DocumentTarget,
}

/// Launches that have begun, and what must not come twice.
#[derive(Debug, Default)]
pub(super) struct Logins {
    tickets: HashMap<String, Ticket>,
    nonces: HashSet<String>,
    /// Kept for [`super::Forgery::Replayed`].
    pub(super) last_id_token: Option<String>,
    /// Launches wait for the person to press the button.
    pub(super) held: bool,
}

impl Logins {
    fn begin(&mut self, ticket: Ticket) -> String {
        let id = clock::unguessable();
        self.tickets.insert(id.clone(), ticket);
        id
    }
}

/// Opens a placed activity: starts its launch for the visitor. `?target=iframe` says that this happens in a frame.
pub(super) async fn open_link(
    platform: Data<Platform>,
    request: HttpRequest,
    link_id: Path<String>,
) -> Result<HttpResponse, PageProblem> {
    let link_id = link_id.into_inner();
    let target_link = platform.state().links.find(&link_id).map(|link| link.url.clone());
    let target_link = target_link.ok_or_else(|| {
        PageProblem::new(StatusCode::NOT_FOUND, format!("there is no activity `{link_id}`"))
    })?;
    initiate(&platform, &request, Errand::OpenLink { link_id }, &target_link)
}

/// The teacher adds an activity: starts a deep-linking launch.
pub(super) async fn add_activity(
    platform: Data<Platform>,
    request: HttpRequest,
) -> Result<HttpResponse, PageProblem> {
    let visitor = pages::visitor(&platform, &request)?;
    if visitor.member.role != Role::Teacher {
        return Err(PageProblem::new(StatusCode::FORBIDDEN, "only the teacher adds activities"));
    }
    initiate(&platform, &request, Errand::AddActivity, &platform.tool().deep_linking_url)
}

#[derive(Template)]
#[template(path = "practice/post.html")]
struct PostPage<'a> {
    title: &'a str,
    action: &'a str,
    fields: &'a [(&'static str, String)],
    at_once: bool,
}

/// A page whose form posts itself to `action`, with a button for browsers without scripts.
fn self_posting(title: &str, action: &Url, fields: &[(&'static str, String)], at_once: bool) -> HttpResponse {
    pages::page(&PostPage { title, action: action.as_str(), fields, at_once })
}

/// Third-party login initiation, by redirect or (`?via=form`) by a posted form: a tool must take both.
fn initiate(
    platform: &Platform,
    request: &HttpRequest,
    errand: Errand,
    target_link: &Url,
) -> Result<HttpResponse, PageProblem> {
    let Visitor { member, sign_in } = pages::visitor(platform, request)?;
    let query = pages::query(request)?;
    let target = match query.find("target") {
        Some("iframe") => DocumentTarget::Iframe,
        _ => DocumentTarget::Window,
    };
    let ticket = Ticket { person_id: member.person.id.clone(), sign_in, errand, target };
    let message_hint = platform.state().logins.begin(ticket);

    let mut fields = vec![
        ("iss", platform.issuer().to_owned()),
        ("login_hint", member.login_hint.clone()),
        ("target_link_uri", target_link.to_string()),
        ("lti_message_hint", message_hint),
        ("lti_deployment_id", DEPLOYMENT_ID.to_owned()),
        ("client_id", CLIENT_ID.to_owned()),
    ];
    fields.extend(storage_target(platform, target));
    if query.find("via") == Some("form") {
        return Ok(self_posting("Opening the activity", &platform.tool().login_url, &fields, true));
    }
    let mut address = platform.tool().login_url;
    address.query_pairs_mut().extend_pairs(fields);
    Ok(HttpResponse::SeeOther()
        .insert_header((header::LOCATION, address.as_str()))
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .finish())
}

/// Inside a frame the tool is told which window keeps values for it.
fn storage_target(platform: &Platform, target: DocumentTarget) -> Option<(&'static str, String)> {
    let storage = platform.state().message_storage.target()?;
    (target == DocumentTarget::Iframe).then(|| ("lti_storage_target", storage.to_owned()))
}

/// The platform declines to identify the person; the tool is told (OpenID Connect Core 3.1.2.6).
#[derive(Debug)]
struct Declined {
    error: &'static str,
    description: String,
}

impl Declined {
    fn invalid_request(description: impl Into<String>) -> Declined {
        Declined { error: "invalid_request", description: description.into() }
    }

    fn login_required(description: &str) -> Declined {
        Declined { error: "login_required", description: description.to_owned() }
    }
}

/// The authorization endpoint, by GET or by POST.
///
/// A wrong `client_id` or `redirect_uri` is answered with a page, since nobody vouches for the address; everything
/// else is reported to the tool by posting `error`, `error_description` and `state`.
pub(super) async fn authorize(
    platform: Data<Platform>,
    request: HttpRequest,
    body: Bytes,
) -> Result<HttpResponse, PageProblem> {
    let text = if request.method() == Method::POST { &body[..] } else { request.query_string().as_bytes() };
    let parameters =
        Parameters::parse(text).map_err(|repeated| PageProblem::bad_request(repeated.to_string()))?;
    check_client(&platform, &parameters)?;

    let mut fields = match identify(&platform, &request, &parameters) {
        Ok((member, ticket, nonce)) => {
            let token = id_tokens::issue(&platform, member, &ticket, nonce);
            [("id_token", token)].into_iter().chain(storage_target(&platform, ticket.target)).collect()
        }
        Err(declined) => {
            tracing::warn!(
                error = declined.error,
                reason = declined.description,
                "practice platform declined an authorization request"
            );
            vec![("error", declined.error.to_owned()), ("error_description", declined.description)]
        }
    };
    if let Some(state) = parameters.find("state") {
        fields.push(("state", state.to_owned()));
    }
    let at_once = !platform.state().logins.held;
    Ok(self_posting("Opening the activity", &platform.tool().launch_url, &fields, at_once))
}

fn check_client(platform: &Platform, parameters: &Parameters) -> Result<(), PageProblem> {
    match parameters.find("client_id") {
        Some(CLIENT_ID) => {}
        Some(other) => {
            return Err(PageProblem::bad_request(format!("client_id `{other}` is not registered")));
        }
        None => return Err(PageProblem::bad_request("client_id is missing")),
    }
    match parameters.find("redirect_uri") {
        // Compared as text: an address that only means the same is not the registered one.
        Some(address) if address == platform.tool().launch_url.as_str() => Ok(()),
        Some(other) => Err(PageProblem::bad_request(format!("redirect_uri `{other}` is not registered"))),
        None => Err(PageProblem::bad_request("redirect_uri is missing")),
    }
}

/// Checks the rest of an authorization request and finds whom it is about.
fn identify<'a>(
    platform: &'a Platform,
    request: &HttpRequest,
    parameters: &'a Parameters,
) -> Result<(&'a Member, Ticket, &'a str), Declined> {
    for (name, value) in [
        ("scope", "openid"),
        ("response_type", "id_token"),
        ("response_mode", "form_post"),
        ("prompt", "none"),
    ] {
        if parameters.find(name) != Some(value) {
            return Err(Declined::invalid_request(format!("{name} must be `{value}`")));
        }
    }
    let required = |name: &str| {
        let value = parameters.find(name).filter(|value| !value.is_empty());
        value.ok_or_else(|| Declined::invalid_request(format!("{name} is missing")))
    };
    required("state")?;
    let nonce = required("nonce")?;
    let login_hint = required("login_hint")?;
    let message_hint = required("lti_message_hint")?;
    let session_person = pages::signed_in_person(platform, request);

    let mut state = platform.state();
    let ticket = state.logins.tickets.get(message_hint).cloned();
    let ticket = ticket.ok_or_else(|| {
        Declined::invalid_request("lti_message_hint is not the one sent with the login request")
    })?;
    let member = platform.members.find(&ticket.person_id).expect("tickets are made for members only");
    if member.login_hint != login_hint {
        return Err(Declined::invalid_request("login_hint is not the one sent with the login request"));
    }
    if ticket.sign_in == SignIn::Session && session_person != Some(&member.person) {
        return Err(Declined::login_required("the person of this launch is not signed in here"));
    }
    if !state.logins.nonces.insert(nonce.to_owned()) {
        return Err(Declined::invalid_request("nonce was used before"));
    }
    Ok((member, ticket, nonce))
}
