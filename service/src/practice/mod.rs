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
//! (placing an activity), `registration` (a tool that registers itself), `access_tokens` and the services behind them, `pages` (what a person sees), `faults` (how
//! to make it misbehave), `state` (everything it remembers), `routes` (every address).
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

use actix_web::dev::ServerHandle;
use actix_web::{App, HttpServer};
use tokio::task::JoinHandle;

pub use faults::{Fault, Forgery, PlannedFault};
pub use gradebook::{Cell, Column, Gradebook, Row};
pub use people::Person;
pub use points::Points;
pub use scores::{ActivityProgress, GradingProgress, JournalEntry, Outcome, ScoreMessage};
pub use settings::{PracticeSettings, Registration, ToolAddresses};

use keys::SigningKey;
use state::Platform;

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

    /// From now on every launch is forged in this way. `None` makes launches honest again.
    pub fn set_forgery(&self, forgery: Option<Forgery>) {
        self.platform.state().faults.forge(forgery);
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
