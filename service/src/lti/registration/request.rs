//! Our record, as it is sent to a platform.

use serde_json::{Value, json};
use url::Position;

use super::configuration::PlatformConfiguration;
use crate::lti::vocabulary as v;
use crate::settings::PublicUrl;

/// The member that holds what is particular to tools.
pub(super) const TOOL: &str = "https://purl.imsglobal.org/spec/lti-tool-configuration";

/// What we register with `platform`.
pub(super) fn record(platform: &PlatformConfiguration, public_url: &PublicUrl) -> Value {
    let launch_url = public_url.join("/lti/launch");
    let scopes: Vec<&str> = platform.scopes.iter().map(String::as_str).collect();
    let mut messages = vec![json!({ "type": v::RESOURCE_LINK_REQUEST, "target_link_uri": launch_url })];
    if platform.deep_linking {
        messages.push(json!({
            "type": v::DEEP_LINKING_REQUEST,
            "target_link_uri": launch_url,
            "label": "Place a decimal quiz",
            "label#es": "Colocar un cuestionario de decimales",
        }));
    }
    json!({
        "application_type": "web",
        "response_types": ["id_token"],
        "grant_types": ["implicit", "client_credentials"],
        "initiate_login_uri": public_url.join("/lti/login"),
        "redirect_uris": [launch_url],
        "client_name": "tenths",
        "client_uri": public_url.join("/"),
        "jwks_uri": public_url.join("/lti/keys"),
        "token_endpoint_auth_method": "private_key_jwt",
        "scope": scopes.join(" "),
        TOOL: {
            "domain": &launch_url[Position::BeforeHost..Position::AfterPort],
            "target_link_uri": launch_url,
            "description": "Decimal questions, different for every pupil, with grades in the gradebook",
            // No names, no addresses: pupils are known by the platform's opaque id.
            "claims": ["iss", "sub"],
            "messages": messages,
        },
    })
}
