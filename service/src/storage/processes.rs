//! Records of what the processes that serve one store must know of each other.

use jiff::Timestamp;

/// So many signs of life of its own a process gives without hearing a new one of another; then it takes the other for gone.
/// Counted, because clocks lie apart and are set.
pub const GONE_AFTER_SIGNS: u32 = 5;

/// What a sign of life found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Beat {
    /// Processes that have been silent for [`GONE_AFTER_SIGNS`] and are forgotten now.
    pub gone: usize,
    /// Messages to gradebooks that those were sending, free for others now.
    pub released: usize,
    /// Jobs that those were working on, interrupted now.
    pub interrupted: usize,
}

/// Requests of one sender within one span of time.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct RequestCount {
    /// Who, as a keyed hash: the store does not learn addresses.
    pub sender: String,
    /// When the span began.
    pub began_at: Timestamp,
    /// How many.
    pub number: u64,
}

/// How busy the store is, in this process.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Queue {
    /// Steps that wait.
    pub waiting: usize,
    /// How many may wait.
    pub room: usize,
}

impl Queue {
    /// Whether more than three quarters of the room are taken.
    pub fn is_nearly_full(self) -> bool {
        self.waiting.saturating_mul(4) > self.room.saturating_mul(3)
    }
}
