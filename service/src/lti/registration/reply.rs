//! What a platform replies to our record: what it registered, or why it did not.

use serde::Deserialize;
use serde_json::{Map, Value};

use super::RegistrationProblem;
use super::configuration::PlatformConfiguration;
use super::request::TOOL;
use crate::lti::strict_json;
use crate::storage::{ClientId, DeploymentId, NewRegistration};

/// The longest identifier the standard allows.
const ID_LENGTH_MAX: usize = 255;
/// Members that a platform may leave out, but not change: launches and tokens would fail.
const KEPT: [&str; 4] = ["initiate_login_uri", "redirect_uris", "jwks_uri", "token_endpoint_auth_method"];
/// Grants that we need. The first is misspelt in the standard's own examples, so that is read, too.
const GRANTS: [&[&str]; 2] = [&["implicit", "implict"], &["client_credentials"]];

/// Reads a reply to `record`.
pub(super) fn read(
    body: &[u8],
    platform: &PlatformConfiguration,
    record: &Value,
) -> Result<NewRegistration, RegistrationProblem> {
    let reply =
        strict_json::object(body).map_err(|_| unfit("it", "a JSON object that names no member twice"))?;
    let client_id = identifier(&reply, "client_id")?.ok_or_else(|| unfit("client_id", "a text"))?;
    for name in KEPT {
        if reply.get(name).is_some_and(|value| *value != record[name]) {
            return Err(unfit(name, "what was sent"));
        }
    }
    check_grants(&reply)?;
    Ok(NewRegistration {
        issuer: platform.issuer.clone(),
        client_id: ClientId(client_id),
        authorization_url: platform.authorization_endpoint.clone(),
        token_url: platform.token_endpoint.clone(),
        keys_url: platform.jwks_uri.clone(),
        audience: platform.authorization_server.clone(),
        deployments: deployment(&reply)?.into_iter().collect(),
    })
}

/// The grants in the reply, where it repeats them. We send the right spelling.
fn check_grants(reply: &Map<String, Value>) -> Result<(), RegistrationProblem> {
    let Some(grants) = reply.get("grant_types") else { return Ok(()) };
    let grants: Option<Vec<&str>> =
        grants.as_array().and_then(|list| list.iter().map(Value::as_str).collect());
    let grants = grants.ok_or_else(|| unfit("grant_types", "a list of texts"))?;
    if GRANTS.iter().all(|spellings| spellings.iter().any(|spelling| grants.contains(spelling))) {
        Ok(())
    } else {
        Err(unfit("grant_types", "implicit and client_credentials among them"))
    }
}

/// The deployment, where the platform names it at once.
fn deployment(reply: &Map<String, Value>) -> Result<Option<DeploymentId>, RegistrationProblem> {
    match reply.get(TOOL) {
        None => Ok(None),
        Some(Value::Object(tool)) => Ok(identifier(tool, "deployment_id")?.map(DeploymentId)),
        Some(_) => Err(unfit(TOOL, "a JSON object")),
    }
}

fn identifier(members: &Map<String, Value>, name: &str) -> Result<Option<String>, RegistrationProblem> {
    match members.get(name) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(id)) if !id.is_empty() && id.len() <= ID_LENGTH_MAX && id.is_ascii() => {
            Ok(Some(id.clone()))
        }
        Some(_) => Err(unfit(name, "1 to 255 ASCII characters")),
    }
}

fn unfit(name: &str, expected: &str) -> RegistrationProblem {
    RegistrationProblem::Reply(format!("{name}: expected {expected}"))
}

/// A refusal of RFC 7591, section 3.2.2.
#[derive(Deserialize)]
struct Refusal {
    error: String,
    #[serde(default)]
    error_description: String,
}

/// Why a platform declined, in its words as far as they follow the standard.
pub(super) fn refusal(status: u16, body: &[u8]) -> String {
    match serde_json::from_slice::<Refusal>(body) {
        Ok(Refusal { error, error_description }) if !error_description.is_empty() => format!(
            "{} (status {status}): {}",
            crate::shorten(&error, 60),
            crate::shorten(error_description.trim_end_matches('.'), 200)
        ),
        Ok(Refusal { error, .. }) => format!("{} (status {status})", crate::shorten(&error, 60)),
        Err(_) => format!("status {status}"),
    }
}
