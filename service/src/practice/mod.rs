//! The practice platform: a small learning platform on its own loopback port, so that `tenths demo` and the tests
//! can run the whole loop against a separate party.
//!
//! It speaks only the open standards: third-party login, signed launches, deep linking, access tokens by signed
//! assertion, line items, scores, results and the class list. It shares no code with the tool side (only general
//! libraries), so that each side tests the other. Where a standard leaves room it is strict on purpose: a tool that
//! gets along here has sent every required parameter, media type and timestamp in its exact form.
//!
//! It does not keep anything (all state is in memory and ends with the process), does not protect personal data
//! (everyone in it is invented), and refuses to listen on anything but loopback.
//!
//! Reading order: `settings` and `people` (what it is told), `login` and `id_tokens` (a launch), `deep_linking`
//! (placing an activity), `registration` (a tool that registers itself), `message_storage` (an activity in a frame),
//! `access_tokens` and the services behind them, `pages` (what a person sees), `faults` (how to make it misbehave),
//! `state` (everything it remembers), `routes` (every address).
//!
//! Scripts need no cookies: `?as=ID` on any page says who is there. A test in another process finds what [`Practice`]
//! offers in-process under these addresses:
//!
//! | address | what |
//! |---|---|
//! | `GET /admin/registration` | [`Registration`] |
//! | `GET /admin/gradebook` | [`Gradebook`] |
//! | `GET /admin/journal` | a list of [`JournalEntry`] |
//! | `PUT`, `DELETE /admin/fault` | [`PlannedFault`], like `{"fault": "server_error", "times": 2}` |
//! | `PUT`, `DELETE /admin/marks` | the teacher's own mark, like `{"pupil": "p-01", "points": 8}`; the cell emptied |
//! | `PUT /admin/message-storage` | [`MessageStorage`], like `{"storage": "slow", "delay_ms": 2000}` |
//! | `PUT /admin/placing` | [`Placing`], like `{"accept_multiple": false, "accept_lineitem": true}` |
//! | `PUT /admin/people/{id}/status` | [`MemberStatus`], like `"Inactive"` |
//! | `PUT /admin/links/{id}/times` | [`LinkTimes`], like `{"submission": {"endDateTime": "2026-12-17T22:00:00Z"}}` |
//! | `PUT`, `DELETE /admin/forgery` | [`Forgery`], like `{"forgery": "missing_claim", "claim": "sub"}` |

mod access_tokens;
mod admin;
mod clock;
mod deep_linking;
mod faults;
mod gradebook;
mod id_tokens;
mod keys;
mod line_items;
mod links;
mod login;
mod message_storage;
mod pages;
mod paging;
mod parameters;
mod people;
mod points;
mod problems;
mod registration;
mod results;
mod roster;
mod routes;
mod scores;
mod service_request;
mod settings;
mod state;
mod tool_tokens;

#[cfg(test)]
mod tests;

use std::io;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use actix_web::dev::ServerHandle;
use actix_web::{App, HttpServer};
use tokio::task::JoinHandle;

pub use deep_linking::Placing;
pub use faults::{Fault, Forgery, PlannedFault};
pub use gradebook::{Cell, Column, Gradebook, Row};
pub use links::{LinkTimes, Period};
pub use message_storage::MessageStorage;
pub use people::Person;
pub use points::Points;
pub use roster::MemberStatus;
pub use scores::{ActivityProgress, GradingProgress, JournalEntry, Outcome, ScoreMessage};
pub use settings::{PracticeSettings, Registration, ToolAddresses};

use keys::SigningKey;
use state::Platform;

/// How long a browser may take to say what it wants, once it is connected.
const CLIENT_WITHIN: Duration = Duration::from_secs(60);

/// Why the practice platform did not start or did not stop cleanly.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PracticeError {
    /// The listener is bound to an address that other machines could reach.
    #[error("the practice platform listens on loopback only, not on {0}")]
    NotLoopback(SocketAddr),
    /// The listener could not be used.
    #[error("the practice platform cannot listen")]
    Listen(#[source] io::Error),
    /// The server ended with an error.
    #[error("the practice platform's server ended badly")]
    Server(#[source] io::Error),
    /// No RSA key could be made.
    #[error("no signing key could be made for the practice platform")]
    Key,
    /// The client that fetches the tool's key set could not be set up.
    #[error("no HTTP client could be made for the practice platform")]
    Client(#[source] reqwest::Error),
    /// Two people share an id, or an id is empty.
    #[error("people of the practice platform need ids of their own: `{0}` is empty or used twice")]
    PersonId(String),
}

/// A running practice platform. Dropping it leaves the server running until the runtime ends; call
/// [`Practice::stop`] to end it.
pub struct Practice {
    platform: Arc<Platform>,
    handle: ServerHandle,
    server: JoinHandle<io::Result<()>>,
}

impl Practice {
    /// Starts serving on a bound loopback `listener`; needs a running tokio runtime.
    ///
    /// # Errors
    /// When the listener is not on loopback or cannot be used, when no key can be made, or when two people share an id.
    pub async fn start(listener: TcpListener, settings: PracticeSettings) -> Result<Practice, PracticeError> {
        let address = listener.local_addr().map_err(PracticeError::Listen)?;
        if !address.ip().is_loopback() {
            return Err(PracticeError::NotLoopback(address));
        }
        // Making an RSA key takes a noticeable part of a second, too long for a thread that serves others.
        let key = tokio::task::spawn_blocking(SigningKey::generate)
            .await
            .ok()
            .flatten()
            .ok_or(PracticeError::Key)?;
        let platform = Arc::new(Platform::new(format!("http://{address}"), settings, key)?);

        let for_workers = Arc::clone(&platform);
        let server = HttpServer::new(move || App::new().configure(routes::table(&for_workers)))
            // A whole class on a busy machine may be slow to say what it wants.
            .client_request_timeout(CLIENT_WITHIN)
            .workers(1)
            .shutdown_timeout(1)
            .disable_signals()
            .listen(listener)
            .map_err(PracticeError::Listen)?
            .run();
        let handle = server.handle();
        let server = tokio::spawn(server);
        tracing::info!(practice.url = platform.base_url(), "practice platform is up");
        Ok(Practice { platform, handle, server })
    }

    /// What a tool has to know about this platform.
    pub fn registration(&self) -> Registration {
        self.platform.registration()
    }

    /// Where the front page is, without a trailing slash; also the issuer.
    pub fn base_url(&self) -> &str {
        self.platform.base_url()
    }

    /// Every pupil's score in every column, as of now.
    pub fn gradebook(&self) -> Gradebook {
        gradebook::snapshot(&self.platform)
    }

    /// Every score message that arrived with a valid token, in order of arrival, whatever became of it.
    pub fn journal(&self) -> Vec<JournalEntry> {
        self.platform.state().scores.journal().to_vec()
    }

    /// From now on the services misbehave as planned; replaces an earlier plan. `None` ends all misbehaviour.
    pub fn set_fault(&self, planned: Option<PlannedFault>) {
        self.platform.state().faults.plan(planned);
    }

    /// The teacher gives a pupil this mark in every column, over whatever the tool sent, or empties the cells.
    pub fn set_mark(&self, pupil_id: &str, points: Option<Points>) {
        gradebook::set_mark(&self.platform, pupil_id, points);
    }

    /// From now on deep linking asks for this.
    pub fn set_placing(&self, placing: Placing) {
        self.platform.state().deep_linking.placing = placing;
    }

    /// Somebody leaves the course, comes back, or takes no part any more.
    pub fn set_status(&self, person_id: &str, status: MemberStatus) {
        self.platform.state().enrolment.set(person_id, status);
    }

    /// The activities of the course: id and title, the oldest first.
    pub fn links(&self) -> Vec<(String, String)> {
        let state = self.platform.state();
        state.links.all().iter().map(|link| (link.id.clone(), link.title.clone())).collect()
    }

    /// Gives an activity new times; false when there is no such activity.
    pub fn set_times(&self, link_id: &str, times: LinkTimes) -> bool {
        self.platform.state().links.set_times(link_id, times)
    }

    /// From now on every launch is forged in this way. `None` makes launches honest again.
    pub fn set_forgery(&self, forgery: Option<Forgery>) {
        self.platform.state().faults.forge(forgery);
    }

    /// From now on pages around activities treat messages of the tool like this.
    pub fn set_message_storage(&self, storage: MessageStorage) {
        self.platform.state().message_storage = storage;
    }

    /// Whether launches wait for the person to press the button, instead of being posted at once.
    pub fn hold_launches(&self, held: bool) {
        self.platform.state().logins.held = held;
    }

    /// Stops listening, gives open requests a second to end, and forgets everything.
    ///
    /// # Errors
    /// When the server had already ended with an error.
    pub async fn stop(self) -> Result<(), PracticeError> {
        self.handle.stop(true).await;
        match self.server.await {
            Ok(ended) => ended.map_err(PracticeError::Server),
            Err(panicked) => Err(PracticeError::Server(io::Error::other(panicked))),
        }
    }
}
