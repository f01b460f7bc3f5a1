//! Printed sheets of a quiz, as the store keeps them.

use jiff::Timestamp;

use super::{Attempt, PlacementId, UserId};
use crate::paper::SheetCode;

/// A printed sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredSheet {
    /// Its code, which draws its questions.
    pub code: SheetCode,
    /// The quiz.
    pub placement: PlacementId,
    /// Whose it is; none while that is not known.
    pub user: Option<UserId>,
    /// When it was made.
    pub made_at: Timestamp,
}

/// What became of beginning to type in a sheet. Only with [`SheetBegun::Open`] was anything changed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(clippy::large_enum_variant, reason = "there is one for a request, and none is kept")]
pub enum SheetBegun {
    /// The sheet is this pupil's, and this is its open attempt, new or begun before.
    Open(Attempt),
    /// The sheet is another pupil's.
    Anothers,
    /// The pupil is at work on another attempt.
    AnotherAttempt,
    /// The pupil has used all attempts.
    UsedUp,
    /// There is no such sheet of that quiz.
    NoSheet,
}
