//! How this process stands: how much it is doing, whether its store takes what it is given, whether it is about to end.
//! From that follows whether a proxy should send it requests.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use actix_web::web;
use std::num::NonZeroU32;
use tokio::sync::watch;

use crate::app::App;
use crate::storage::StorageError;

/// How often a process gives a sign of life; after [`crate::storage::GONE_AFTER_SIGNS`] of them, some ten seconds, it
/// takes one that gave none for gone.
const BEAT_EVERY: Duration = Duration::from_secs(2);
/// How often processes tell each other how much they were asked.
const EXCHANGE_EVERY: Duration = Duration::from_secs(1);
/// After so many exchanges old numbers are forgotten.
const FORGET_COUNTS_AFTER: u32 = 60;
/// How long the readiness check waits for the store.
const ANSWER_WITHIN: Duration = Duration::from_secs(2);

/// How this process stands.
#[derive(Debug)]
pub struct Standing {
    at_once: usize,
    in_flight: Arc<AtomicUsize>,
    draining: AtomicBool,
    /// What the last sign of life met.
    met: Mutex<Option<NotReady>>,
}

/// Why a process should get no requests now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NotReady {
    /// It is about to end.
    Draining,
    /// More than three quarters of what may be worked on at once are.
    Requests,
    /// More than three quarters of what may wait for the store do.
    Queue,
    /// The store's disk is full.
    Disk,
    /// The store does not answer.
    Store,
}

impl NotReady {
    /// Its stable name and what it means.
    pub(crate) fn told(self) -> (&'static str, &'static str) {
        match self {
            Self::Draining => ("draining", "the process was asked to stop and finishes what it has begun"),
            Self::Requests => ("requests", "more than three quarters of the requests at once are in work"),
            Self::Queue => ("queue", "more than three quarters of the store's queue are taken"),
            Self::Disk => ("disk", "the store's disk is full"),
            Self::Store => ("store", "the store does not answer"),
        }
    }
}

/// A request that is being worked on, as long as this lives.
#[derive(Debug)]
pub struct Flight(Arc<AtomicUsize>);

impl Drop for Flight {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

impl Standing {
    pub(crate) fn new(at_once: NonZeroU32) -> Self {
        Self {
            at_once: usize::try_from(at_once.get()).unwrap_or(usize::MAX),
            in_flight: Arc::default(),
            draining: AtomicBool::new(false),
            met: Mutex::default(),
        }
    }

    /// A request begins, if there is room for it.
    pub fn enter(&self) -> Option<Flight> {
        let flight = Flight(self.in_flight.clone());
        // The guard takes the number back where it was one too many.
        (self.in_flight.fetch_add(1, Ordering::AcqRel) < self.at_once).then_some(flight)
    }

    /// From now on this process is not ready.
    pub(super) fn drain(&self) {
        self.draining.store(true, Ordering::Release);
    }

    pub(super) fn is_draining(&self) -> bool {
        self.draining.load(Ordering::Acquire)
    }

    /// Notes what a sign of life met.
    pub(super) fn met(&self, error: Option<&StorageError>) {
        let reason = error.map(|error| match error {
            StorageError::Full(_) => NotReady::Disk,
            StorageError::Busy => NotReady::Queue,
            _ => NotReady::Store,
        });
        *self.met.lock().unwrap_or_else(PoisonError::into_inner) = reason;
    }
}

/// Why this process should get no requests now, if so.
pub(crate) async fn not_ready(app: &App) -> Option<NotReady> {
    let standing = &app.standing;
    if standing.is_draining() {
        return Some(NotReady::Draining);
    }
    if standing.in_flight.load(Ordering::Acquire).saturating_mul(4) > standing.at_once.saturating_mul(3) {
        return Some(NotReady::Requests);
    }
    if app.storage.queue().is_nearly_full() {
        return Some(NotReady::Queue);
    }
    let met = *standing.met.lock().unwrap_or_else(PoisonError::into_inner);
    if met.is_some() {
        return met;
    }
    match tokio::time::timeout(ANSWER_WITHIN, app.storage.ping()).await {
        Ok(Ok(())) => None,
        Ok(Err(error)) => {
            tracing::error!(%error, "the store does not answer");
            Some(NotReady::Store)
        }
        Err(_) => Some(NotReady::Store),
    }
}

/// Gives signs of life, and takes over what processes that are gone have left.
pub(super) async fn beat(app: web::Data<App>, mut stop: watch::Receiver<bool>) {
    while !*stop.borrow() {
        tokio::select! {
            () = tokio::time::sleep(BEAT_EVERY) => {}
            _ = stop.changed() => return,
        }
        beat_once(&app).await;
    }
}

pub(super) async fn beat_once(app: &App) {
    let beat = app.storage.beat(app.clock.now()).await;
    app.standing.met(beat.as_ref().err());
    match beat {
        Ok(found) if found.gone > 0 => {
            tracing::warn!(
                processes = found.gone,
                grades = found.released,
                jobs = found.interrupted,
                "processes are gone; others go on with what they were sending"
            );
            app.waker.wake();
        }
        Ok(_) => {}
        Err(error) => tracing::error!(%error, "the store takes nothing"),
    }
}

/// Tells the other processes how much this one was asked, and hears of theirs.
pub(super) async fn exchange_counts(app: web::Data<App>, mut stop: watch::Receiver<bool>) {
    let mut round = 0_u32;
    while !*stop.borrow() {
        tokio::select! {
            () = tokio::time::sleep(EXCHANGE_EVERY) => {}
            _ = stop.changed() => return,
        }
        let now = app.clock.now();
        if let Err(error) = app.limits.exchange(app.storage.as_ref(), now).await {
            tracing::warn!(%error, "numbers of requests could not be exchanged");
        }
        round = (round + 1) % FORGET_COUNTS_AFTER;
        if round == 0
            && let Err(error) =
                app.storage.forget_request_counts(super::limits::Limits::over_before(now)).await
        {
            tracing::warn!(%error, "old numbers of requests could not be forgotten");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn so_many_requests_fly_at_once_and_landing_makes_room() {
        let standing = Standing::new(NonZeroU32::new(2).unwrap());
        let first = standing.enter().unwrap();
        let _second = standing.enter().unwrap();
        assert!(standing.enter().is_none());
        assert!(standing.enter().is_none(), "one that was turned away takes no room");
        drop(first);
        assert!(standing.enter().is_some());
    }
}
