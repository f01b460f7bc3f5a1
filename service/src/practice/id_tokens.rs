//! What a launch says: the claims of id_tokens, and the ways in which they are forged on request.

use actix_web::HttpResponse;
use actix_web::http::header::CACHE_CONTROL;
use actix_web::web::Data;
use serde_json::{Map, Value, json};

use super::access_tokens::Scope;
use super::clock;
use super::faults::Forgery;
use super::keys;
use super::line_items;
use super::links::Link;
use super::login::{Errand, Ticket};
use super::people::Member;
use super::roster;
use super::state::{CLIENT_ID, DEPLOYMENT_ID, Platform};

/// How long an id_token is good for.
const LIFETIME_S: i64 = 300;
/// How far forged times lie off.
const HOUR_S: i64 = 3600;

/// The full name of a claim of the core standard.
fn lti(name: &str) -> String {
    format!("https://purl.imsglobal.org/spec/lti/claim/{name}")
}

/// The id_token that answers one authorization request, forged if the switches say so.
pub(super) fn issue(platform: &Platform, member: &Member, ticket: &Ticket, nonce: &str) -> String {
    let mut claims = person_claims(platform, member, nonce);
    claims.append(&mut course_claims(platform, member, ticket));
    match &ticket.errand {
        Errand::OpenLink { link_id } => {
            let link = platform.state().links.find(link_id).cloned();
            let link = link.expect("launches are begun for links that exist, and links are never removed");
            claims.append(&mut resource_link_claims(platform, member, &link));
        }
        Errand::AddActivity => claims.append(&mut deep_linking_claims(platform, ticket)),
    }

    let forgery = platform.state().faults.forgery().cloned();
    let replay = platform.state().logins.last_id_token.clone();
    let id_token = match forgery {
        None => platform.key.sign(&platform.key.header(), &Value::Object(claims)),
        Some(Forgery::Replayed) => {
            replay.unwrap_or_else(|| platform.key.sign(&platform.key.header(), &Value::Object(claims)))
        }
        Some(forgery) => forge(platform, &forgery, claims),
    };
    platform.state().logins.last_id_token = Some(id_token.clone());
    id_token
}

/// The platform's key set.
pub(super) async fn key_set(platform: Data<Platform>) -> HttpResponse {
    HttpResponse::Ok().insert_header((CACHE_CONTROL, "max-age=60")).json(platform.key.key_set())
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

fn person_claims(platform: &Platform, member: &Member, nonce: &str) -> Map<String, Value> {
    let issued = clock::now().as_second();
    let mut claims = object(json!({
        "iss": platform.issuer(),
        "aud": CLIENT_ID,
        "sub": member.person.id,
        "iat": issued,
        "exp": issued + LIFETIME_S,
        "nonce": nonce,
        "name": member.person.name,
        "locale": "en-US",
    }));
    if let Some((given, family)) = member.name_parts() {
        claims.insert("given_name".to_owned(), given.into());
        claims.insert("family_name".to_owned(), family.into());
    }
    claims
}

fn course_claims(platform: &Platform, member: &Member, ticket: &Ticket) -> Map<String, Value> {
    object(json!({
        lti("version"): "1.3.0",
        lti("deployment_id"): DEPLOYMENT_ID,
        lti("roles"): member.role.uris(),
        lti("context"): {
            "id": platform.course.id,
            "title": platform.course.title,
            "label": COURSE_LABEL,
            "type": ["http://purl.imsglobal.org/vocab/lis/v2/course#CourseOffering"],
        },
        lti("tool_platform"): {
            "guid": platform.course.id,
            "name": "Practice platform",
            "version": env!("CARGO_PKG_VERSION"),
            "product_family_code": "tenths-practice",
        },
        lti("launch_presentation"): {
            "document_target": ticket.target.as_str(),
            "locale": "en-US",
            "return_url": platform.url("/course"),
        },
        "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice": {
            "context_memberships_url": roster::url(platform),
            "service_versions": ["2.0"],
        },
    }))
}

/// Short name of the course.
const COURSE_LABEL: &str = "Practice";

fn resource_link_claims(platform: &Platform, member: &Member, link: &Link) -> Map<String, Value> {
    let mut resource_link = object(json!({ "id": link.id, "title": link.title }));
    if let Some(text) = &link.text {
        resource_link.insert("description".to_owned(), text.as_str().into());
    }
    let line_item = platform.state().line_items.only_of_link(&link.id);
    let mut claims = object(json!({
        lti("message_type"): "LtiResourceLinkRequest",
        lti("target_link_uri"): link.url,
        lti("resource_link"): resource_link,
        GRADES_CLAIM: grades_claim(platform, line_item),
    }));
    if !link.custom.is_empty() {
        let custom: Map<String, Value> = link
            .custom
            .iter()
            .map(|(name, value)| (name.clone(), substituted(platform, member, link, value).into()))
            .collect();
        claims.insert(lti("custom"), Value::Object(custom));
    }
    claims
}

fn deep_linking_claims(platform: &Platform, ticket: &Ticket) -> Map<String, Value> {
    let opened = platform.state().deep_linking.open(ticket);
    let placing = platform.state().deep_linking.placing;
    object(json!({
        lti("message_type"): "LtiDeepLinkingRequest",
        lti("target_link_uri"): platform.tool().deep_linking_url,
        GRADES_CLAIM: grades_claim(platform, None),
        "https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings": {
            "deep_link_return_url": platform.url(&format!("/deep-linking/return/{}", opened.id)),
            "accept_types": ["ltiResourceLink"],
            "accept_presentation_document_targets": ["window", "iframe"],
            "accept_multiple": placing.accept_multiple,
            "accept_lineitem": placing.accept_lineitem,
            "auto_create": true,
            "data": opened.data,
        },
    }))
}

/// Name of the claim that tells where grades go.
const GRADES_CLAIM: &str = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint";

fn grades_claim(platform: &Platform, line_item: Option<line_items::LineItemId>) -> Value {
    let mut claim = object(json!({
        "scope": [
            Scope::LineItem.uri(), Scope::LineItemReadOnly.uri(), Scope::ResultReadOnly.uri(), Scope::Score.uri()
        ],
        "lineitems": line_items::container_url(platform),
    }));
    if let Some(id) = line_item {
        claim.insert("lineitem".to_owned(), line_items::url(platform, id).into());
    }
    Value::Object(claim)
}

/// A custom parameter as it is sent: a variable that this platform supports becomes its value, anything else stays.
fn substituted(platform: &Platform, member: &Member, link: &Link, value: &str) -> String {
    let name_parts = member.name_parts();
    let replaced = match value {
        "$ResourceLink.id" => Some(link.id.as_str()),
        "$ResourceLink.title" => Some(link.title.as_str()),
        "$ResourceLink.description" => Some(link.text.as_deref().unwrap_or_default()),
        "$ResourceLink.available.startDateTime" => Some(or_empty(&link.available.start_date_time)),
        "$ResourceLink.available.endDateTime" => Some(or_empty(&link.available.end_date_time)),
        "$ResourceLink.submission.startDateTime" => Some(or_empty(&link.submission.start_date_time)),
        "$ResourceLink.submission.endDateTime" => Some(or_empty(&link.submission.end_date_time)),
        "$Context.id" => Some(platform.course.id.as_str()),
        "$Context.title" => Some(platform.course.title.as_str()),
        "$Context.label" => Some(COURSE_LABEL),
        "$User.id" => Some(member.person.id.as_str()),
        "$Person.name.full" => Some(member.person.name.as_str()),
        "$Person.name.given" => name_parts.map(|(given, _)| given),
        "$Person.name.family" => name_parts.map(|(_, family)| family),
        _ => None,
    };
    replaced.unwrap_or(value).to_owned()
}

fn or_empty(date: &Option<String>) -> &str {
    date.as_deref().unwrap_or_default()
}

/// Signs claims wrongly, or signs wrong claims.
fn forge(platform: &Platform, forgery: &Forgery, mut claims: Map<String, Value>) -> String {
    let key = &platform.key;
    let now = clock::now().as_second();
    let mut set = |name: String, value: Value| claims.insert(name, value);
    match forgery {
        Forgery::WrongIssuer => set("iss".into(), format!("{}/other", platform.issuer()).into()),
        Forgery::WrongAudience => set("aud".into(), "another-tool".into()),
        Forgery::UnknownDeployment => set(lti("deployment_id"), "never-registered".into()),
        Forgery::WrongNonce => set("nonce".into(), clock::unguessable().into()),
        Forgery::IssuedInFuture => {
            set("exp".into(), (now + HOUR_S + LIFETIME_S).into());
            set("iat".into(), (now + HOUR_S).into())
        }
        Forgery::Expired => {
            set("iat".into(), (now - HOUR_S - LIFETIME_S).into());
            set("exp".into(), (now - HOUR_S).into())
        }
        Forgery::ReplacedClaim { claim, value } => set(claim.clone(), value.clone()),
        Forgery::MissingClaim { claim } => claims.remove(claim),
        _ => None,
    };

    let mut claims = Value::Object(claims);
    match forgery {
        Forgery::WrongKey => platform.stranger_key().sign(&key.header(), &claims),
        Forgery::UnknownKeyId => {
            let stranger = platform.stranger_key();
            stranger.sign(&stranger.header(), &claims)
        }
        Forgery::MissingKeyId => key.sign(&json!({ "typ": "JWT", "alg": "RS256" }), &claims),
        Forgery::AlgorithmNone => keys::unsigned(key.key_id(), &claims),
        Forgery::PublicKeyAsSecret => key.sign_with_public_half(&claims),
        Forgery::ChangedPayload => {
            let honest = key.sign(&key.header(), &claims);
            claims["sub"] = "someone-else".into();
            replace_payload(&honest, &claims)
        }
        _ => key.sign(&key.header(), &claims),
    }
}

fn replace_payload(token: &str, claims: &Value) -> String {
    let mut parts: Vec<&str> = token.split('.').collect();
    let payload = keys::encode_part(claims);
    parts[1] = &payload;
    parts.join(".")
}
