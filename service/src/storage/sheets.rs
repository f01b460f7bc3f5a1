//! Printed sheets of a quiz, as the store keeps them.

use jiff::Timestamp;

use super::{PlacementId, UserId};
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

/// What became of naming a sheet's pupil.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NamedSheet {
    /// It is this pupil's now, or was before.
    Theirs,
    /// It is another pupil's; nothing was changed.
    Anothers,
    /// There is no such sheet of that quiz.
    NoSheet,
}
