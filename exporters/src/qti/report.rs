//! What an export tells about itself: what it wrote, and what it could not carry over.
use std::fmt;

use super::{model::IdentifierError, template::Refusal};

/// What was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExportReport {
    /// Every item, in the order of the pool.
    pub items: Vec<ItemReport>,
    /// Sections that keep fixed questions though templates were asked for.
    pub stays_fixed: Vec<StaysFixed>,
    /// What the items of the package do less than the pool says. Empty for a package that loses nothing.
    pub left_out: Vec<LeftOut>,
    /// Size of the package.
    pub bytes: u64,
}

/// A section whose family no template expresses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StaysFixed {
    /// The section's id.
    pub section: String,
    /// The family of its first question.
    pub family: String,
    /// Why.
    pub reason: Refusal,
}

impl fmt::Display for StaysFixed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { section, family, reason } = self;
        write!(f, "section '{section}', family '{family}': the questions stay fixed, because {reason}")
    }
}

/// One item of the package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemReport {
    /// The question's id, which is the item's identifier.
    pub item: String,
    /// Its file in the package.
    pub path: String,
    /// Size of that file unpacked.
    pub bytes: u64,
}

/// One thing that a step of an item loses in the package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The question's id.
    pub item: String,
    /// The step's id.
    pub step: String,
    /// What is lost.
    pub what: Loss,
    /// Why.
    pub reason: Reason,
}

/// What can be lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// A value that is right from the pupil's own earlier value is marked wrong.
    FollowThrough,
    /// A demand on the written form is not checked, or a response in that form cannot be read.
    Form,
}

/// Why something cannot be carried over.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Reason {
    /// The pupil must write a unit, and no engine reads a number with a unit as a float.
    #[error("step '{step}' asks for a unit beside the number")]
    UnitInResponse {
        /// The step.
        step: String,
    },
    /// An earlier step is no number at all.
    #[error("step '{step}' is no number")]
    NoNumber {
        /// The earlier step.
        step: String,
    },
    /// A step is answered in words, which no expression of the standard turns into a number or makes from one.
    #[error("step '{step}' is answered in words")]
    InWords {
        /// The step: the one at fault itself, or an earlier one.
        step: String,
    },
    /// A digit so far behind the point that an engine's integers may be too small to count up to it.
    #[error("the digit asked for is {place} places after the point, more than {most}")]
    DigitTooFar {
        /// The place of the digit.
        place: u32,
        /// The most that can be carried over.
        most: u32,
    },
    /// A limit among which to choose comes from an earlier step, so that the limits have no fixed order.
    #[error("a limit comes from an earlier step")]
    LimitFromStep,
    /// The place to round to depends on the size of the own value.
    #[error("significant figures of an own value have no fixed place")]
    SignificantFigures,
    /// The standard rounds halves up, and an own value may lie halfway between.
    #[error("an own value cannot be rounded to the even digit")]
    HalfEven,
    /// Significant figures are no matter of a fixed number of signs.
    #[error("significant figures of the text as typed cannot be counted")]
    StatedFigures,
    /// The right value as a fraction, a percent or in words earns points, and no engine reads it as a float.
    #[error("the right value that is no decimal earns points, and no engine reads it")]
    NoDecimal,
    /// A fraction cannot be read as a float.
    #[error("lowest terms of a fraction cannot be checked")]
    LowestTerms,
    /// A comparison or an order inside another expression.
    #[error("a comparison or an order stands inside another expression")]
    NestedComparison,
    /// A value has too many digits for a decimal.
    #[error("a value has too many digits")]
    TooLong,
    /// A name that the standard does not take.
    #[error(transparent)]
    Identifier(#[from] IdentifierError),
}

impl ExportReport {
    /// Steps whose follow-through is left out.
    pub fn without_follow_through(&self) -> impl Iterator<Item = &LeftOut> {
        self.left_out.iter().filter(|left_out| left_out.what == Loss::FollowThrough)
    }
}

impl fmt::Display for Loss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FollowThrough => "follow-through",
            Self::Form => "written form",
        })
    }
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { item, step, what, reason } = self;
        write!(f, "item '{item}', step '{step}': no {what}, because {reason}")
    }
}
