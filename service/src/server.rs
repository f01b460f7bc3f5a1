//! Starting and stopping the service. The caller brings the listener, the store and the clock, so tests own all three.

mod every_answer;
pub(crate) mod limits;
mod overload;
pub(crate) mod request_id;
pub(crate) mod standing;
#[cfg(test)]
mod tests;

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use actix_web::dev::ServerHandle;
use actix_web::middleware::from_fn;
use actix_web::{HttpServer, web};
use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::app::App;
use crate::clock::{Clock, plus_ms};
use crate::closing;
use crate::lti::keys::KeySetError;
use crate::retention;
use crate::routes;
use crate::settings::Settings;
use crate::storage::{Storage, StorageError};

/// The largest form or token that is read, in bytes. Routes that take more say so themselves.
const BODY_SIZE_MAX: usize = 256 * 1024;
/// How long running requests have at stop.
const STOP_WITHIN_S: u64 = 10;
/// How often our keys are looked after.
const TEND_KEYS_EVERY: Duration = Duration::from_secs(60);
/// How often ended sessions and logins are forgotten, and how long after their end.
const PURGE_EVERY: Duration = Duration::from_secs(60 * 60);
/// How long it is kept what work in the background came to.
const JOBS_KEPT_MS: i64 = 24 * 60 * 60 * 1000;
const PURGE_AFTER_MS: i64 = 24 * 60 * 60 * 1000;

/// A running service. Dropping it does not stop it; [`Server::stop`] does.
pub struct Server {
    /// The parts that handlers share, for those who started the server.
    pub app: web::Data<App>,
    address: SocketAddr,
    http: ServerHandle,
    serving: JoinHandle<std::io::Result<()>>,
    working: Vec<JoinHandle<()>>,
    stop: watch::Sender<bool>,
}

/// Why the service did not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The store failed.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// Our keys cannot be used.
    #[error(transparent)]
    Keys(#[from] KeySetError),
    /// The listener cannot be used.
    #[error("cannot listen: {0}")]
    Listen(#[from] std::io::Error),
}

impl Server {
    /// Starts answering on `listener` and delivering grades.
    ///
    /// # Errors
    /// [`StartError`] when the store, our keys or the listener cannot be used.
    pub async fn start(
        listener: TcpListener,
        settings: Settings,
        storage: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, StartError> {
        let address = listener.local_addr()?;
        if !settings.privacy.names {
            let forgotten = storage.forget_names().await?;
            if forgotten > 0 {
                storage.clear_traces(false).await?;
                tracing::info!(forgotten, "names are not kept any more");
            }
        }
        let app = web::Data::new(App::new(settings, storage, clock).await?);
        standing::beat_once(&app).await;
        let shared = app.clone();
        let http = HttpServer::new(move || {
            actix_web::App::new()
                .app_data(shared.clone())
                .app_data(web::PayloadConfig::new(BODY_SIZE_MAX))
                .app_data(web::FormConfig::default().limit(BODY_SIZE_MAX))
                // The one wrapped last sees a request first.
                .wrap(from_fn(overload::bounded))
                .wrap(from_fn(overload::say_when_to_come_again))
                .wrap(from_fn(limits::keep))
                .wrap(from_fn(every_answer::in_readers_language))
                .wrap(from_fn(every_answer::protect))
                .wrap(from_fn(every_answer::note))
                .configure(routes::configure)
        })
        .listen(listener)?
        .disable_signals()
        .shutdown_timeout(STOP_WITHIN_S)
        .run();
        let (stop, stopped) = watch::channel(false);
        let working = vec![
            tokio::spawn(app.deliverer.clone().run(app.waker.clone(), stopped.clone())),
            tokio::spawn(app.deliverer.clone().sweep(stopped.clone())),
            tokio::spawn(closing::run(app.clone(), stopped.clone())),
            tokio::spawn(purge(app.clone(), stopped.clone())),
            tokio::spawn(standing::beat(app.clone(), stopped.clone())),
            tokio::spawn(standing::exchange_counts(app.clone(), stopped.clone())),
            tokio::spawn(tend_keys(app.clone(), stopped)),
        ];
        tracing::info!(%address, "serving");
        Ok(Self { app, address, http: http.handle(), serving: tokio::spawn(http), working, stop })
    }

    /// Where the service listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Says that it is not ready, for as long as the settings ask; then stops taking requests, finishes the running ones
    /// and the grades being sent, leaves the rest to other processes and returns.
    pub async fn stop(self) {
        self.app.standing.drain();
        tokio::time::sleep(self.app.settings.drain).await;
        self.http.stop(true).await;
        self.app.jobs.stop();
        // Receivers may be gone already; then there is nothing to tell them.
        let _ = self.stop.send(true);
        for worker in self.working {
            if let Err(error) = worker.await {
                tracing::error!(%error, "a worker ended badly");
            }
        }
        if let Err(error) = self.app.storage.leave(self.app.clock.now()).await {
            tracing::error!(%error, "others hear of the end of this process later");
        }
        match self.serving.await {
            Ok(Ok(())) => tracing::info!("stopped"),
            Ok(Err(error)) => tracing::error!(%error, "the server ended badly"),
            Err(error) => tracing::error!(%error, "the server ended badly"),
        }
    }
}

/// Finishes rotations of our keys and makes keys for new registrations, from time to time.
async fn tend_keys(app: web::Data<App>, mut stop: watch::Receiver<bool>) {
    while !*stop.borrow() {
        tokio::select! {
            () = tokio::time::sleep(TEND_KEYS_EVERY) => {}
            _ = stop.changed() => return,
        }
        if let Err(error) = app.tool_keys.tend().await {
            tracing::error!(%error, "signing keys could not be looked after");
        }
    }
}

/// Forgets ended sessions and logins, and what is older than data is kept, from time to time.
async fn purge(app: web::Data<App>, mut stop: watch::Receiver<bool>) {
    while !*stop.borrow() {
        if let Err(error) = app.storage.purge_expired(plus_ms(app.clock.now(), -PURGE_AFTER_MS)).await {
            tracing::error!(%error, "ended sessions could not be forgotten");
        }
        if let Err(error) = app.storage.forget_old_jobs(plus_ms(app.clock.now(), -JOBS_KEPT_MS)).await {
            tracing::error!(%error, "old jobs could not be forgotten");
        }
        if let Err(error) = retention::purge_old(&app).await {
            tracing::error!(%error, "old data could not be deleted");
        }
        tokio::select! {
            () = tokio::time::sleep(PURGE_EVERY) => {}
            _ = stop.changed() => {}
        }
    }
}
