//! What the caller tells the practice platform, and what the platform tells a tool in return.

use serde::Serialize;
use url::Url;

use super::people::Person;

/// What the platform is started with. All names are the caller's, and invented.
#[derive(Debug, Clone)]
pub struct PracticeSettings {
    /// The course everyone is in, as shown on pages and sent in launches.
    pub course_title: String,
    /// The one teacher.
    pub teacher: Person,
    /// The pupils, in the order of the gradebook.
    pub pupils: Vec<Person>,
    /// Where the tool is.
    pub tool: ToolAddresses,
}

/// The tool's side of the registration.
#[derive(Debug, Clone)]
pub struct ToolAddresses {
    /// Third-party login endpoint: where every launch starts.
    pub login_url: Url,
    /// The only registered redirect address: where id_tokens are posted.
    pub launch_url: Url,
    /// The tool's key set, fetched whenever the tool has signed something.
    pub keys_url: Url,
    /// The target link of a deep-linking launch.
    pub deep_linking_url: Url,
}

/// The platform's side of the registration: everything a tool has to store before the first launch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Registration {
    /// `iss` of every id_token; compared byte for byte, no trailing slash.
    pub issuer: String,
    /// The tool's name at this platform; `aud` of every id_token.
    pub client_id: String,
    /// The one deployment.
    pub deployment_id: String,
    /// Where the tool sends the browser for an id_token.
    pub authorization_url: String,
    /// Where the tool fetches access tokens; also the audience of its assertions.
    pub token_url: String,
    /// The platform's key set.
    pub keys_url: String,
}
