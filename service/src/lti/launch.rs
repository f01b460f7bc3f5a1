//! What a verified id_token means: every claim checked, and the launch as a type of its own.
//!
//! Only claims whose signature held come here. Claims that are not listed in the standard are ignored; listed ones must
//! have the standard's type, also when they are optional.

mod claims;

use std::collections::BTreeMap;

use jiff::Timestamp;
use qbank::accept::Credit;
use qbank::marking::Policy;
use serde_json::{Map, Value};
use url::Url;

use super::{FailedCheck, deep_linking, is_identifier, person_name, roles, vocabulary as v};
use crate::frame_ancestors;
use crate::settings::{PublicUrl, Reach};
use crate::storage::{
    ContextId, DeploymentId, GradeEndpoint, Layout, LinkKey, LoginState, Part, PersonName, PlacingRequest,
    PoolId, Registration, ResourceLinkId, UserId,
};
use crate::windows::{Edge, Said, Windows};
use claims::Claims;

/// How far a platform's clock may differ from ours.
const SKEW_MS: i64 = 60 * 1000;
/// How old a token may be.
const AGE_MAX_MS: i64 = 10 * 60 * 1000;

/// A launch that passed every check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Launch {
    /// A person followed a link.
    Link(Box<LinkLaunch>),
    /// A teacher wants to place a quiz.
    Placing(Box<PlacingLaunch>),
}

/// A person followed a link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkLaunch {
    /// The link.
    pub link: LinkKey,
    /// The link's title.
    pub title: Option<String>,
    /// The person.
    pub user: UserId,
    /// What the person may do.
    pub role: Role,
    /// True for a platform's preview user.
    pub preview: bool,
    /// The course.
    pub context: Option<ContextId>,
    /// What the link was placed with; none when it was not placed by us.
    pub quiz: Option<QuizParameters>,
    /// What the platform says about the windows, where it was asked.
    pub windows: BTreeMap<Edge, Said>,
    /// Where grades go.
    pub grades: Option<GradeEndpoint>,
    /// Origin of the address for returning to the platform, if the launch names a usable one.
    pub return_origin: Option<String>,
    /// The person's name, where names are kept.
    pub name: Option<PersonName>,
    /// Where the platform tells who is in the course.
    pub roster: Option<Url>,
}

/// A teacher wants to place a quiz.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlacingLaunch {
    /// The deployment.
    pub deployment: DeploymentId,
    /// The teacher; the standard allows leaving it out here.
    pub user: Option<UserId>,
    /// What may be placed, and where the answer goes.
    pub request: PlacingRequest,
}

/// What a person may do: roles of the course, boiled down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Instructor, content developer or administrator, whatever else.
    Teacher,
    /// Everybody else.
    Pupil,
}

/// The parameters a quiz is placed with; strings in the link's `custom` claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuizParameters {
    /// The pool.
    pub pool: PoolId,
    /// How many questions each pupil gets.
    pub question_count: u32,
    /// How many attempts each pupil has.
    pub attempts_allowed: u32,
    /// What earns points; the default where the link says nothing.
    pub policy: Policy,
    /// How pupils see the questions; all on one page where the link says nothing.
    pub layout: Layout,
    /// The `resourceId` of the link's line item; links placed before it was sent used their pool's id.
    pub resource_id: String,
    /// When the teacher chose it to be open.
    pub windows: Windows,
}

/// What a token is checked against.
#[derive(Debug, Clone, Copy)]
pub struct Expected<'a> {
    /// The login it must answer.
    pub login: &'a LoginState,
    /// The platform that was asked.
    pub registration: &'a Registration,
    /// Our own address.
    pub public_url: &'a PublicUrl,
    /// Which addresses it may name.
    pub reach: Reach,
    /// Whether names are kept; else none is read.
    pub names: bool,
    /// The time.
    pub now: Timestamp,
}

/// Checks all claims of a token whose signature held.
///
/// # Errors
/// The first check that failed.
pub fn check(claims: &Map<String, Value>, expected: Expected<'_>) -> Result<Launch, FailedCheck> {
    let claims = Claims(claims);
    check_parties(claims, expected)?;
    check_times(claims, expected.now)?;
    check_nonce(claims, expected.login)?;
    let message_type = claims.text(v::MESSAGE_TYPE)?.ok_or(FailedCheck::MessageTypeMissing)?;
    if claims.text(v::VERSION)?.ok_or(FailedCheck::VersionMissing)? != v::VERSION_1_3 {
        return Err(FailedCheck::Version);
    }
    let deployment = check_deployment(claims, expected)?;
    claims.check_optional_types()?;
    match message_type {
        v::RESOURCE_LINK_REQUEST => {
            check_link(claims, deployment, expected).map(|launch| Launch::Link(Box::new(launch)))
        }
        v::DEEP_LINKING_REQUEST => {
            check_placing(claims, deployment, expected).map(|launch| Launch::Placing(Box::new(launch)))
        }
        _ => Err(FailedCheck::MessageType),
    }
}

/// Who issued the token, and for whom.
fn check_parties(claims: Claims<'_>, expected: Expected<'_>) -> Result<(), FailedCheck> {
    let platform = &expected.registration.platform;
    if claims.text("iss")? != Some(platform.issuer.as_str()) {
        return Err(FailedCheck::Issuer);
    }
    let audiences = match claims.0.get("aud") {
        Some(Value::String(one)) => vec![one.as_str()],
        Some(Value::Array(several)) => several
            .iter()
            .map(|audience| audience.as_str().ok_or(FailedCheck::ClaimType))
            .collect::<Result<_, _>>()?,
        Some(_) => return Err(FailedCheck::ClaimType),
        None => return Err(FailedCheck::Audience),
    };
    // No other audience is trusted, so each of them has to be us.
    if audiences.is_empty() || audiences.iter().any(|audience| *audience != platform.client_id.as_str()) {
        return Err(FailedCheck::Audience);
    }
    match claims.text("azp")? {
        Some(party) if party != platform.client_id.as_str() => Err(FailedCheck::AuthorizedParty),
        None if audiences.len() > 1 => Err(FailedCheck::AuthorizedParty),
        _ => Ok(()),
    }
}

fn check_times(claims: Claims<'_>, now: Timestamp) -> Result<(), FailedCheck> {
    let now_ms = now.as_millisecond();
    let expires_ms = claims.time_ms("exp")?.ok_or(FailedCheck::ExpiryMissing)?;
    let issued_ms = claims.time_ms("iat")?.ok_or(FailedCheck::IssuedAtMissing)?;
    if expires_ms.saturating_add(SKEW_MS) <= now_ms {
        return Err(FailedCheck::Expired);
    }
    if issued_ms.saturating_sub(SKEW_MS) > now_ms {
        return Err(FailedCheck::IssuedInFuture);
    }
    if issued_ms.saturating_add(AGE_MAX_MS + SKEW_MS) < now_ms {
        return Err(FailedCheck::TooOld);
    }
    match claims.time_ms("nbf")? {
        Some(not_before_ms) if not_before_ms.saturating_sub(SKEW_MS) > now_ms => Err(FailedCheck::NotBefore),
        _ => Ok(()),
    }
}

fn check_nonce(claims: Claims<'_>, login: &LoginState) -> Result<(), FailedCheck> {
    match claims.text("nonce")? {
        None => Err(FailedCheck::NonceMissing),
        Some(nonce) if nonce == login.nonce => Ok(()),
        Some(_) => Err(FailedCheck::Nonce),
    }
}

fn check_deployment(claims: Claims<'_>, expected: Expected<'_>) -> Result<DeploymentId, FailedCheck> {
    let id = claims.text(v::DEPLOYMENT_ID)?.ok_or(FailedCheck::DeploymentMissing)?;
    if !is_identifier(id) {
        return Err(FailedCheck::DeploymentForm);
    }
    let deployment = DeploymentId::from(id);
    if expected.login.deployment_hint.as_ref().is_some_and(|hint| *hint != deployment) {
        return Err(FailedCheck::DeploymentHint);
    }
    if !expected.registration.platform.deployments.contains(&deployment) {
        return Err(FailedCheck::DeploymentUnknown);
    }
    Ok(deployment)
}

fn check_link(
    claims: Claims<'_>,
    deployment: DeploymentId,
    expected: Expected<'_>,
) -> Result<LinkLaunch, FailedCheck> {
    let user = check_subject(claims)?.ok_or(FailedCheck::SubjectMissing)?;
    let roles = claims.texts(v::ROLES)?.ok_or(FailedCheck::RolesMissing)?;
    if claims.texts(v::ROLE_SCOPE_MENTOR)?.is_some() && !is_mentor(&roles) {
        // Nothing here is done for mentors; the platform's keepers may want to know that they mixed something up.
        tracing::info!("a list of mentored people without the mentor's role was passed over");
    }
    let target = claims.text(v::TARGET_LINK_URI)?.ok_or(FailedCheck::TargetMissing)?;
    check_target(target, expected)?;
    let link = claims.object(v::RESOURCE_LINK)?.ok_or(FailedCheck::ResourceLink)?;
    let resource_link = match link.text("id")? {
        Some(id) if is_identifier(id) => ResourceLinkId::from(id),
        _ => return Err(FailedCheck::ResourceLink),
    };
    Ok(LinkLaunch {
        link: LinkKey { registration: expected.registration.id, deployment, resource_link },
        title: link.text("title")?.filter(|title| !title.trim().is_empty()).map(str::to_owned),
        user,
        role: role(&roles),
        name: if expected.names { person_name(|name| claims.text(name).ok().flatten()) } else { None },
        roster: roster(claims, expected.reach)?,
        preview: roles.contains(&v::TEST_USER),
        context: context(claims)?,
        quiz: quiz_parameters(claims)?,
        windows: windows_said(claims)?,
        grades: grade_endpoint(claims, expected.reach)?,
        return_origin: return_origin(claims, expected.reach)?,
    })
}

fn check_target(target: &str, expected: Expected<'_>) -> Result<(), FailedCheck> {
    match Url::parse(target) {
        Ok(url) if expected.public_url.owns(&url) => {}
        _ => return Err(FailedCheck::TargetForeign),
    }
    if target == expected.login.target_link_uri { Ok(()) } else { Err(FailedCheck::TargetDiffers) }
}

fn check_placing(
    claims: Claims<'_>,
    deployment: DeploymentId,
    expected: Expected<'_>,
) -> Result<PlacingLaunch, FailedCheck> {
    let user = check_subject(claims)?;
    let settings = claims.object(v::DEEP_LINKING_SETTINGS)?.ok_or(FailedCheck::DeepLinkingSettings)?;
    let request = deep_linking::read_settings(settings.0, context(claims)?, expected.reach)?;
    if role(&claims.texts(v::ROLES)?.unwrap_or_default()) != Role::Teacher {
        return Err(FailedCheck::RoleNotAllowed);
    }
    if !request.accept_types.iter().any(|accepted| accepted == v::RESOURCE_LINK_ITEM) {
        return Err(FailedCheck::AcceptTypes);
    }
    Ok(PlacingLaunch { deployment, user, request })
}

fn check_subject(claims: Claims<'_>) -> Result<Option<UserId>, FailedCheck> {
    match claims.0.get("sub") {
        None => Ok(None),
        Some(Value::String(subject)) if is_identifier(subject) => Ok(Some(UserId(subject.clone()))),
        Some(_) => Err(FailedCheck::SubjectForm),
    }
}

/// Whoever does not teach takes the quiz.
fn role(roles: &[&str]) -> Role {
    if roles::part(roles) == Part::Teacher { Role::Teacher } else { Role::Pupil }
}

fn is_mentor(roles: &[&str]) -> bool {
    roles.iter().any(|role| *role == "Mentor" || role.strip_prefix(v::MEMBERSHIP_ROLE) == Some("#Mentor"))
}

/// Where the class list is (NRPS 3.6). Optional, so one in another version or at an address that may not be called is
/// as good as none.
fn roster(claims: Claims<'_>, reach: Reach) -> Result<Option<Url>, FailedCheck> {
    let Some(service) = claims.object(v::ROSTER_SERVICE)? else { return Ok(None) };
    // The standard's text says `service_versions`, and once `service_version`.
    let versions = ["service_versions", "service_version"].map(|name| service.0.get(name));
    let ours = |version: &Value| {
        version == "2.0" || version.as_array().is_some_and(|list| list.contains(&"2.0".into()))
    };
    if versions.iter().any(Option::is_some) && !versions.into_iter().flatten().any(ours) {
        return Ok(None);
    }
    let address = service.text("context_memberships_url")?.and_then(|text| Url::parse(text).ok());
    Ok(address.filter(|url| reach.check("context_memberships_url", url).is_ok()))
}

fn context(claims: Claims<'_>) -> Result<Option<ContextId>, FailedCheck> {
    let Some(context) = claims.object(v::CONTEXT)? else { return Ok(None) };
    match context.text("id")? {
        Some(id) if !id.is_empty() => Ok(Some(ContextId::from(id))),
        _ => Err(FailedCheck::ClaimType),
    }
}

/// Reads the link's own parameters; none when the link carries no `pool`.
fn quiz_parameters(claims: Claims<'_>) -> Result<Option<QuizParameters>, FailedCheck> {
    let Some(custom) = claims.object(v::CUSTOM)? else { return Ok(None) };
    let Some(pool) = custom.text("pool")?.filter(|pool| !pool.is_empty()) else { return Ok(None) };
    let count = |name, most| match custom.text(name)?.map(str::parse::<u32>) {
        Some(Ok(count)) if (1..=most).contains(&count) => Ok(count),
        _ => Err(FailedCheck::CustomParameters),
    };
    Ok(Some(QuizParameters {
        pool: PoolId::from(pool),
        question_count: count("questions", deep_linking::QUESTIONS_MAX)?,
        attempts_allowed: count("attempts", deep_linking::ATTEMPTS_MAX)?,
        policy: policy(custom)?,
        layout: layout(custom)?,
        resource_id: custom
            .text(deep_linking::RESOURCE_ID)?
            .filter(|id| is_identifier(id))
            .unwrap_or(pool)
            .to_owned(),
        windows: windows_placed(custom)?,
    }))
}

/// What the teacher chose when placing; a value that is no date is as good as none.
fn windows_placed(custom: Claims<'_>) -> Result<Windows, FailedCheck> {
    let mut edges = Vec::new();
    for edge in Edge::ALL {
        if let Some(Said::At(at)) = custom.text(edge.placed_name())?.map(Said::read) {
            edges.push((edge, at));
        }
    }
    let zone = custom.text(deep_linking::TIME_ZONE)?.and_then(|name| name.parse().ok());
    Ok(Windows::placed(edges, zone))
}

/// What the platform made of the variables for the windows.
fn windows_said(claims: Claims<'_>) -> Result<BTreeMap<Edge, Said>, FailedCheck> {
    let Some(custom) = claims.object(v::CUSTOM)? else { return Ok(BTreeMap::new()) };
    let mut said = BTreeMap::new();
    for edge in Edge::ALL {
        said.extend(custom.text(edge.name())?.map(|value| (edge, Said::read(value))));
    }
    Ok(said)
}

fn layout(custom: Claims<'_>) -> Result<Layout, FailedCheck> {
    match custom.text(deep_linking::LAYOUT)? {
        None => Ok(Layout::default()),
        Some(name) => Layout::named(name).ok_or(FailedCheck::CustomParameters),
    }
}

fn policy(custom: Claims<'_>) -> Result<Policy, FailedCheck> {
    let follow_through = match custom.text(deep_linking::FOLLOW_THROUGH)? {
        None | Some("yes") => true,
        Some("no") => false,
        Some(_) => return Err(FailedCheck::CustomParameters),
    };
    let form_credit = custom.text(deep_linking::FORM_CREDIT)?.map(Credit::named);
    if form_credit == Some(None) {
        return Err(FailedCheck::CustomParameters);
    }
    Ok(Policy { follow_through, form_credit: form_credit.flatten() })
}

/// The return address is only used to let its pages frame ours, so one that may not be used is passed over.
fn return_origin(claims: Claims<'_>, reach: Reach) -> Result<Option<String>, FailedCheck> {
    let Some(presentation) = claims.object(v::LAUNCH_PRESENTATION)? else { return Ok(None) };
    let url = presentation.text("return_url")?.and_then(|text| Url::parse(text).ok());
    Ok(url.filter(|url| reach.check("return_url", url).is_ok()).as_ref().and_then(frame_ancestors::origin))
}

fn grade_endpoint(claims: Claims<'_>, reach: Reach) -> Result<Option<GradeEndpoint>, FailedCheck> {
    let Some(endpoint) = claims.object(v::GRADE_ENDPOINT)? else { return Ok(None) };
    let address = |name| match endpoint.text(name)? {
        None => Ok(None),
        Some(text) => match Url::parse(text) {
            Ok(url) if reach.check(name, &url).is_ok() => Ok(Some(url)),
            _ => Err(FailedCheck::GradeEndpoint),
        },
    };
    let scopes = endpoint.texts("scope")?.unwrap_or_default();
    Ok(Some(GradeEndpoint {
        line_item: address("lineitem")?,
        line_items: address("lineitems")?,
        scopes: scopes.into_iter().map(str::to_owned).collect(),
    }))
}
