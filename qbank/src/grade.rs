//! A grade: the points of all marks of one attempt, as sent to a line item.
use serde::{Deserialize, Serialize};

use crate::marking::Mark;

/// Points earned of points possible in one attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grade {
    /// Points earned.
    pub given: u32,
    /// Points possible.
    pub maximum: u32,
}

impl Grade {
    /// The sum over the marks.
    #[must_use]
    pub fn of<'m>(marks: impl IntoIterator<Item = &'m Mark>) -> Self {
        marks.into_iter().fold(Self { given: 0, maximum: 0 }, |sum, mark| Self {
            given: sum.given + mark.points,
            maximum: sum.maximum + mark.max,
        })
    }
}
