//! Everything the platform is (fixed from the start) and everything it remembers (behind one lock).
//!
//! Each concern keeps its own store in its own file; this file only puts them together. The lock is never held
//! across an await.

use std::collections::HashSet;
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

use reqwest::redirect;

use super::PracticeError;
use super::access_tokens::AccessTokens;
use super::clock;
use super::deep_linking::DeepLinking;
use super::faults::Switches;
use super::keys::SigningKey;
use super::line_items::LineItems;
use super::links::Links;
use super::login::Logins;
use super::message_storage::MessageStorage;
use super::pages::Sessions;
use super::people::Members;
use super::registration::Registrations;
use super::roster::Enrolment;
use super::scores::Scores;
use super::settings::{PracticeSettings, Registration, ToolAddresses};

/// The tool's only id here; a platform that knows one tool needs no more.
pub(super) const CLIENT_ID: &str = "practice-tool";
/// The only deployment.
pub(super) const DEPLOYMENT_ID: &str = "practice-deployment";

/// The one course.
#[derive(Debug)]
pub(super) struct Course {
    /// New at every start, since a tool remembers courses longer than this platform does.
    pub(super) id: String,
    pub(super) title: String,
}

/// The platform: what never changes while it runs, and the lock around what does.
pub(super) struct Platform {
    base_url: String,
    pub(super) course: Course,
    pub(super) members: Members,
    pub(super) key: SigningKey,
    /// A key that is never published, made when a forgery first needs it.
    stranger_key: OnceLock<SigningKey>,
    /// Fetches the tool's key set.
    pub(super) client: reqwest::Client,
    state: Mutex<State>,
}

/// What the platform remembers.
pub(super) struct State {
    pub(super) registrations: Registrations,
    pub(super) sessions: Sessions,
    pub(super) logins: Logins,
    pub(super) deep_linking: DeepLinking,
    pub(super) links: Links,
    pub(super) line_items: LineItems,
    pub(super) scores: Scores,
    pub(super) access_tokens: AccessTokens,
    /// `nonce` and `jti` of everything the tool has signed: none is accepted twice.
    pub(super) seen_tool_tokens: HashSet<String>,
    pub(super) faults: Switches,
    pub(super) message_storage: MessageStorage,
    pub(super) enrolment: Enrolment,
}

impl State {
    fn new(tool: ToolAddresses) -> State {
        State {
            registrations: Registrations::new(tool),
            sessions: Sessions::default(),
            logins: Logins::default(),
            deep_linking: DeepLinking::default(),
            links: Links::default(),
            line_items: LineItems::default(),
            scores: Scores::default(),
            access_tokens: AccessTokens::default(),
            seen_tool_tokens: HashSet::default(),
            faults: Switches::default(),
            message_storage: MessageStorage::default(),
            enrolment: Enrolment::default(),
        }
    }
}

impl Platform {
    pub(super) fn new(
        base_url: String,
        settings: PracticeSettings,
        key: SigningKey,
    ) -> Result<Platform, PracticeError> {
        let members = Members::new(&settings)?;
        // Loopback and plain HTTP only: no proxy, no redirects, and no need for the machine's certificates.
        let client = reqwest::Client::builder()
            .no_proxy()
            .redirect(redirect::Policy::none())
            .timeout(Duration::from_secs(5))
            .tls_certs_only([])
            .build()
            .map_err(PracticeError::Client)?;
        Ok(Platform {
            base_url,
            course: Course { id: clock::unguessable(), title: settings.course_title },
            members,
            key,
            stranger_key: OnceLock::new(),
            client,
            state: Mutex::new(State::new(settings.tool)),
        })
    }

    pub(super) fn base_url(&self) -> &str {
        &self.base_url
    }

    /// The base URL is also the issuer.
    pub(super) fn issuer(&self) -> &str {
        &self.base_url
    }

    /// Where the tool is: as the platform was told at its start, or as the tool registered itself last.
    pub(super) fn tool(&self) -> ToolAddresses {
        self.state().registrations.tool().clone()
    }

    pub(super) fn token_url(&self) -> String {
        self.url("/token")
    }

    /// `path` (with its leading slash) as an absolute URL.
    pub(super) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base_url)
    }

    pub(super) fn registration(&self) -> Registration {
        Registration {
            issuer: self.issuer().to_owned(),
            client_id: CLIENT_ID.to_owned(),
            deployment_id: DEPLOYMENT_ID.to_owned(),
            authorization_url: self.url("/authorize"),
            token_url: self.token_url(),
            keys_url: self.url("/keys"),
        }
    }

    pub(super) fn stranger_key(&self) -> &SigningKey {
        self.stranger_key.get_or_init(|| {
            SigningKey::generate().expect("a second key can be made where the first one could")
        })
    }

    /// The lock. A panic elsewhere leaves the stores whole (each method finishes its change or makes none), so a
    /// poisoned lock is used on.
    pub(super) fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
