//! A grade: the points of all marks of one attempt, as sent to a line item.
use serde::{Deserialize, Serialize};

use crate::marking::{LentMark, Mark};

/// Points earned of points possible in one attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grade {
    /// Points earned.
    pub given: u32,
    /// Points possible.
    pub maximum: u32,
}

impl Grade {
    /// The sum over the marks, whether they own their texts or lend them.
    #[must_use]
    pub fn of<M: Into<Self>>(marks: impl IntoIterator<Item = M>) -> Self {
        marks.into_iter().map(Into::into).fold(Self { given: 0, maximum: 0 }, |sum, mark: Self| Self {
            given: sum.given + mark.given,
            maximum: sum.maximum + mark.maximum,
        })
    }
}

/// What one question adds.
impl From<&Mark> for Grade {
    fn from(mark: &Mark) -> Self {
        Self { given: mark.points, maximum: mark.max }
    }
}

/// What one question adds.
impl From<&LentMark<'_>> for Grade {
    fn from(mark: &LentMark<'_>) -> Self {
        Self { given: mark.points, maximum: mark.max }
    }
}
