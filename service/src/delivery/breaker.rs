//! A circuit breaker for each platform: one that does not answer is left alone for a while, then asked once, and no other
//! platform notices.
//!
//! ```text
//! closed --5 failures in a row--> open --pause over--> one try --taken--> closed
//!                                  ^                      |
//!                                  +---failed, pause doubled
//! ```
//!
//! A failure is a try that may succeed later: no answer, 408, 429, 5xx. Any other answer shows that the platform is there.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use jiff::Timestamp;

use crate::clock::plus_ms;
use crate::entropy;
use crate::storage::RegistrationId;

/// So many failures in a row open a breaker.
const FAILURES_MAX: u32 = 5;
const FIRST_PAUSE_MS: i64 = 5_000;
/// A platform that is back is noticed within this time.
const PAUSE_MAX_MS: i64 = 5 * 60 * 1_000;

/// How a platform is treated now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Circuit {
    /// Everything is sent.
    Closed,
    /// One message is sent to see whether the platform is back.
    HalfOpen,
    /// Nothing is sent before this time.
    Open(Timestamp),
}

#[derive(Debug, Clone, Copy, Default)]
struct Breaker {
    failures: u32,
    open_until: Option<Timestamp>,
    pause_ms: i64,
}

impl Breaker {
    fn circuit(&self, now: Timestamp) -> Circuit {
        match self.open_until {
            None => Circuit::Closed,
            Some(until) if until <= now => Circuit::HalfOpen,
            Some(until) => Circuit::Open(until),
        }
    }

    fn fail(&mut self, now: Timestamp, wish: Option<Duration>) {
        self.failures = self.failures.saturating_add(1);
        match self.circuit(now) {
            // Others of the same batch; they were on their way when it opened.
            Circuit::Open(_) => {}
            Circuit::Closed if self.failures < FAILURES_MAX => {}
            Circuit::Closed => self.open(now, FIRST_PAUSE_MS, wish),
            Circuit::HalfOpen => self.open(now, (self.pause_ms * 2).min(PAUSE_MAX_MS), wish),
        }
    }

    /// Half of the pause is random, so that many services do not come back at once.
    fn open(&mut self, now: Timestamp, pause_ms: i64, wish: Option<Duration>) {
        self.pause_ms = pause_ms;
        let jitter_ms = entropy::jitter_ms(pause_ms.unsigned_abs() / 2 + 1);
        let pause_ms = pause_ms / 2 + i64::try_from(jitter_ms).unwrap_or(0);
        let wish_ms = wish.map_or(0, |wish| i64::try_from(wish.as_millis()).unwrap_or(i64::MAX));
        self.open_until = Some(plus_ms(now, pause_ms.max(wish_ms.min(PAUSE_MAX_MS))));
    }
}

/// The breakers of all platforms. A restart closes them: a platform that is still out opens its own again soon.
#[derive(Debug, Default)]
pub(super) struct Breakers(Mutex<BTreeMap<RegistrationId, Breaker>>);

impl Breakers {
    pub(super) fn circuit(&self, platform: RegistrationId, now: Timestamp) -> Circuit {
        self.with(|all| all.get(&platform).map_or(Circuit::Closed, |breaker| breaker.circuit(now)))
    }

    /// Platforms to which nothing is sent now, and when the first of them is asked again.
    pub(super) fn open(&self, now: Timestamp) -> (BTreeSet<RegistrationId>, Option<Timestamp>) {
        self.with(|all| {
            let open: Vec<_> = all
                .iter()
                .filter_map(|(platform, breaker)| match breaker.circuit(now) {
                    Circuit::Open(until) => Some((*platform, until)),
                    Circuit::Closed | Circuit::HalfOpen => None,
                })
                .collect();
            let next = open.iter().map(|(_, until)| *until).min();
            (open.into_iter().map(|(platform, _)| platform).collect(), next)
        })
    }

    /// A try failed in a way that may pass; `wish` is the pause that the platform asked for.
    pub(super) fn failed(&self, platform: RegistrationId, now: Timestamp, wish: Option<Duration>) -> Circuit {
        self.with(|all| {
            let breaker = all.entry(platform).or_default();
            breaker.fail(now, wish);
            breaker.circuit(now)
        })
    }

    /// The platform answered.
    pub(super) fn answered(&self, platform: RegistrationId) {
        self.with(|all| {
            all.remove(&platform);
        });
    }

    fn with<T>(&self, act: impl FnOnce(&mut BTreeMap<RegistrationId, Breaker>) -> T) -> T {
        // A panic elsewhere leaves the breakers whole: each change is one assignment.
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: RegistrationId = RegistrationId(1);
    const OTHER: RegistrationId = RegistrationId(2);

    fn at(ms: i64) -> Timestamp {
        plus_ms("2026-03-02T09:00:00Z".parse().unwrap(), ms)
    }

    fn fail(breakers: &Breakers, times: u32, now: Timestamp) -> Circuit {
        (0..times).map(|_| breakers.failed(ONE, now, None)).last().unwrap()
    }

    #[test]
    fn opens_after_five_failures_in_a_row_and_touches_no_other_platform() {
        let breakers = Breakers::default();
        assert_eq!(fail(&breakers, 4, at(0)), Circuit::Closed);
        breakers.answered(ONE);
        assert_eq!(fail(&breakers, 4, at(0)), Circuit::Closed, "an answer in between counts");
        assert!(matches!(fail(&breakers, 1, at(0)), Circuit::Open(_)));
        assert_eq!(breakers.circuit(OTHER, at(0)), Circuit::Closed);
        let (open, next) = breakers.open(at(0));
        assert_eq!(open, [ONE].into());
        assert!((at(2_500)..=at(5_000)).contains(&next.unwrap()), "{next:?}");
    }

    #[test]
    fn asks_once_after_the_pause_and_doubles_it_up_to_five_minutes() {
        let breakers = Breakers::default();
        fail(&breakers, 5, at(0));
        let mut now = at(0);
        for full_ms in [10_000, 20_000, 40_000, 80_000, 160_000, 300_000, 300_000] {
            now = plus_ms(now, 300_001);
            assert_eq!(breakers.circuit(ONE, now), Circuit::HalfOpen);
            let Circuit::Open(until) = fail(&breakers, 1, now) else { panic!("still open") };
            assert!((plus_ms(now, full_ms / 2)..=plus_ms(now, full_ms)).contains(&until), "{full_ms}");
            assert_eq!(fail(&breakers, 8, now), Circuit::Open(until), "late failures change nothing");
        }
        breakers.answered(ONE);
        assert_eq!(breakers.circuit(ONE, now), Circuit::Closed);
    }

    #[test]
    fn stays_open_as_long_as_the_platform_asks_within_limits() {
        let breakers = Breakers::default();
        fail(&breakers, 4, at(0));
        let asked = |seconds| Some(Duration::from_secs(seconds));
        assert_eq!(breakers.failed(ONE, at(0), asked(60)), Circuit::Open(at(60_000)));
        assert_eq!(breakers.failed(ONE, at(60_000), asked(u64::MAX)), Circuit::Open(at(360_000)));
    }
}
