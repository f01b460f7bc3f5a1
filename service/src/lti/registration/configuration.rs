//! What a platform says of itself: its OpenID configuration, checked.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use url::Url;

use super::RegistrationProblem;
use crate::lti::{strict_json, vocabulary as v};
use crate::settings::Reach;

/// The member that holds what is particular to learning platforms.
const PLATFORM: &str = "https://purl.imsglobal.org/spec/lti-platform-configuration";
/// The longest text that is read.
const TEXT_LENGTH_MAX: usize = 2048;
/// The longest list that is read.
const LIST_LENGTH_MAX: usize = 256;
/// Scopes that we ask for where they are offered.
const SCOPES: [&str; 4] = [
    v::SCOPE_LINE_ITEM,
    v::SCOPE_SCORE,
    "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly",
    "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly",
];

/// A platform's configuration, as far as we need it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlatformConfiguration {
    /// Its name for itself.
    pub issuer: String,
    /// Where a login is sent.
    pub authorization_endpoint: Url,
    /// Where our record is sent.
    pub registration_endpoint: Url,
    /// Where access tokens are asked for.
    pub token_endpoint: Url,
    /// Where its public keys are.
    pub jwks_uri: Url,
    /// The audience of our token requests, when it is not the token endpoint.
    pub authorization_server: Option<String>,
    /// What kind of platform it is, in its own words.
    pub product: String,
    /// Of the scopes that we use, those it offers.
    pub scopes: BTreeSet<String>,
    /// Whether quizzes can be placed by deep linking.
    pub deep_linking: bool,
}

/// Reads the configuration that was answered at `at`.
pub(super) fn read(
    body: &[u8],
    at: &Url,
    reach: Reach,
) -> Result<PlatformConfiguration, RegistrationProblem> {
    let members =
        strict_json::object(body).map_err(|_| unfit("it", "a JSON object that names no member twice"))?;
    let document = Members { members: &members, reach };
    let issuer = document.text("issuer")?;
    check_issuer(&issuer, at, reach)?;
    document.must_list("token_endpoint_auth_methods_supported", "private_key_jwt")?;
    document.must_list("token_endpoint_auth_signing_alg_values_supported", "RS256")?;
    document.must_list("response_types_supported", "id_token")?;
    document.must_list("id_token_signing_alg_values_supported", "RS256")?;
    document.must_list("scopes_supported", "openid")?;
    for optional in ["subject_types_supported", "claims_supported"] {
        if members.contains_key(optional) {
            document.list(optional)?;
        }
    }
    let (product, deep_linking) = read_platform(&members)?;
    let offered = document.list("scopes_supported")?;
    Ok(PlatformConfiguration {
        issuer,
        authorization_endpoint: document.address("authorization_endpoint")?,
        registration_endpoint: document.address("registration_endpoint")?,
        token_endpoint: document.address("token_endpoint")?,
        jwks_uri: document.address("jwks_uri")?,
        authorization_server: match members.get("authorization_server") {
            Some(_) => Some(document.text("authorization_server")?),
            None => None,
        },
        product,
        scopes: SCOPES.into_iter().filter(|scope| offered.contains(scope)).map(str::to_owned).collect(),
        deep_linking,
    })
}

/// Security Framework 5.1.2: an https address without query and fragment. Its host must be the one that was asked, or
/// anybody could register in the name of another platform.
fn check_issuer(issuer: &str, at: &Url, reach: Reach) -> Result<(), RegistrationProblem> {
    let url: Url = issuer.parse().map_err(|_| unfit("issuer", "an address"))?;
    reach.check("issuer", &url).map_err(|error| RegistrationProblem::Address(error.to_string()))?;
    if url.query().is_some() {
        return Err(unfit("issuer", "an address without query"));
    }
    if url.host() == at.host() { Ok(()) } else { Err(RegistrationProblem::IssuerHost) }
}

/// The kind of platform, and whether it takes deep linking. Launches by links are what we cannot do without.
fn read_platform(members: &Map<String, Value>) -> Result<(String, bool), RegistrationProblem> {
    let platform =
        members.get(PLATFORM).and_then(Value::as_object).ok_or_else(|| unfit(PLATFORM, "a JSON object"))?;
    let product = platform
        .get("product_family_code")
        .and_then(Value::as_str)
        .filter(|code| !code.is_empty())
        .ok_or_else(|| unfit("product_family_code", "a text"))?;
    let messages = platform
        .get("messages_supported")
        .and_then(Value::as_array)
        .filter(|messages| messages.len() <= LIST_LENGTH_MAX)
        .ok_or_else(|| unfit("messages_supported", "a list"))?;
    let types: Option<Vec<&str>> =
        messages.iter().map(|message| message.get("type").and_then(Value::as_str)).collect();
    let types = types.ok_or_else(|| unfit("messages_supported", "objects that each have a type"))?;
    if !types.contains(&v::RESOURCE_LINK_REQUEST) {
        return Err(unfit("messages_supported", "LtiResourceLinkRequest among them"));
    }
    Ok((crate::shorten(product, 80), types.contains(&v::DEEP_LINKING_REQUEST)))
}

struct Members<'a> {
    members: &'a Map<String, Value>,
    reach: Reach,
}

impl Members<'_> {
    fn text(&self, name: &str) -> Result<String, RegistrationProblem> {
        match self.members.get(name).and_then(Value::as_str) {
            Some(text) if !text.is_empty() && text.len() <= TEXT_LENGTH_MAX => Ok(text.to_owned()),
            _ => Err(unfit(name, "a text of at most 2048 bytes")),
        }
    }

    fn address(&self, name: &str) -> Result<Url, RegistrationProblem> {
        let url: Url = self.text(name)?.parse().map_err(|_| unfit(name, "an address"))?;
        self.reach.check(name, &url).map_err(|error| RegistrationProblem::Address(error.to_string()))?;
        Ok(url)
    }

    fn list(&self, name: &str) -> Result<Vec<&str>, RegistrationProblem> {
        self.members
            .get(name)
            .and_then(Value::as_array)
            .filter(|list| list.len() <= LIST_LENGTH_MAX)
            .and_then(|list| list.iter().map(Value::as_str).collect())
            .ok_or_else(|| unfit(name, "a list of texts"))
    }

    fn must_list(&self, name: &str, value: &str) -> Result<(), RegistrationProblem> {
        if self.list(name)?.contains(&value) {
            Ok(())
        } else {
            Err(unfit(name, &format!("{value} among them")))
        }
    }
}

fn unfit(name: &str, expected: &str) -> RegistrationProblem {
    RegistrationProblem::Configuration(format!("{name}: expected {expected}"))
}
