//! `tenths serve`: the service, until it is asked to stop.

use std::net::TcpListener;
use std::sync::Arc;

use anyhow::Context;

use super::block_on;
use crate::clock::SystemClock;
use crate::server::Server;
use crate::settings::{ServeArguments, Settings};
use crate::storage;

pub(super) fn run(arguments: ServeArguments) -> anyhow::Result<()> {
    let settings = Settings::check(arguments)?;
    if settings.seal_key.is_none() {
        tracing::warn!(
            "private keys in the store are not sealed; that is for development on this machine only"
        );
    }
    let store = storage::open(&settings.store)?;
    let listener = TcpListener::bind(settings.listen)
        .with_context(|| format!("cannot listen on {}", settings.listen))?;
    listener.set_nonblocking(true)?;
    block_on(async {
        let server = Server::start(listener, settings, store, Arc::new(SystemClock)).await?;
        asked_to_stop().await?;
        tracing::info!("stopping: running requests and grades being sent are finished first");
        server.stop().await;
        Ok(())
    })
}

/// Waits for Ctrl-C or, as service managers send it, SIGTERM.
async fn asked_to_stop() -> anyhow::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    tokio::select! {
        result = tokio::signal::ctrl_c() => Ok(result?),
        _ = terminate.recv() => Ok(()),
    }
}
