//! The only reader of the time of day, so that tests own it.
//!
//! Everything else takes a [`Clock`]. Time is kept to the millisecond, the finest unit the store and the
//! gradebook messages use. This module does not measure durations: those come from `std::time::Instant`.

use std::sync::atomic::{AtomicI64, Ordering};

use jiff::Timestamp;

/// Tells the time of day.
pub trait Clock: Send + Sync {
    /// Now, cut to a whole millisecond.
    fn now(&self) -> Timestamp;
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> Timestamp {
        whole_milliseconds(Timestamp::now().as_millisecond())
    }
}

/// A clock that stands still until it is moved; for tests.
///
/// ```
/// use service::clock::{Clock, SettableClock};
///
/// let clock = SettableClock::at("2026-03-02T09:15:00Z".parse()?);
/// clock.advance_ms(1500);
/// assert_eq!(clock.now().to_string(), "2026-03-02T09:15:01.5Z");
/// # Ok::<(), jiff::Error>(())
/// ```
#[derive(Debug)]
pub struct SettableClock(AtomicI64);

impl SettableClock {
    /// A clock that shows `now`.
    pub fn at(now: Timestamp) -> Self {
        Self(AtomicI64::new(now.as_millisecond()))
    }

    /// Moves the clock, backwards when `by_ms` is negative.
    pub fn advance_ms(&self, by_ms: i64) {
        self.0.fetch_add(by_ms, Ordering::SeqCst);
    }
}

impl Clock for SettableClock {
    fn now(&self) -> Timestamp {
        whole_milliseconds(self.0.load(Ordering::SeqCst))
    }
}

/// A time from milliseconds since 1970, held inside the range that can be written.
pub(crate) fn whole_milliseconds(since_1970_ms: i64) -> Timestamp {
    Timestamp::from_millisecond(since_1970_ms).unwrap_or(if since_1970_ms < 0 {
        Timestamp::MIN
    } else {
        Timestamp::MAX
    })
}

/// `time` moved by `by_ms` milliseconds.
pub(crate) fn plus_ms(time: Timestamp, by_ms: i64) -> Timestamp {
    whole_milliseconds(time.as_millisecond().saturating_add(by_ms))
}
