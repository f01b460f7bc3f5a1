//! The open standard for questions and tests: items, a test and a manifest in one package.
//!
//! Supported: QTI 3.0, 2.2 and 2.1, fixed questions answered by numbers, choices, orders and numbers in words; the
//! versions differ in what [`dialect`] says and in nothing else.
//! Never: adaptive items, operators of our own, scripts; such a package would not be portable.
//!
//! One way the data flows: [`ItemSource`](crate::source::ItemSource) -> [`from_item`] -> [`model`] -> [`mod@write`] -> archive;
//! `package` has it flow on several threads.
pub mod dialect;
mod follow_through;
pub mod from_item;
mod from_step;
pub(crate) mod in_words;
mod judging;
mod manifest;
pub mod model;
mod numeral;
mod package;
pub mod processing;
pub mod report;
mod spoken;
pub mod template;
mod test;
pub mod v21;
pub mod v22;
pub mod v30;
pub(crate) mod wording;
pub mod write;

pub(crate) use manifest::{DRAW_CATALOG, FAMILY_CATALOG, RECEIPT_CATALOG, SOLUTION_CATALOG};

pub use self::package::{
    write_package, write_package_telling, write_template_package, write_template_package_telling,
};

use std::{
    collections::BTreeMap,
    num::{NonZeroU32, NonZeroUsize},
};

use self::{dialect::Dialect, model::IdentifierError};
use crate::{
    archive::{ArchiveError, scratch::Scratch},
    source::SourceError,
    xml::XmlError,
};

/// A version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum QtiVersion {
    /// QTI 3.0
    #[default]
    V30,
    /// QTI 2.2
    V22,
    /// QTI 2.1
    V21,
}

impl QtiVersion {
    /// All versions, the newest first.
    pub const ALL: [Self; 3] = [Self::V30, Self::V22, Self::V21];

    /// Its number.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::V30 => "3.0",
            Self::V22 => "2.2",
            Self::V21 => "2.1",
        }
    }

    /// How the version spells things.
    #[must_use]
    pub fn dialect(self) -> &'static Dialect {
        match self {
            Self::V30 => &v30::DIALECT,
            Self::V22 => &v22::DIALECT,
            Self::V21 => &v21::DIALECT,
        }
    }
}

/// Who sees the worked solution, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Solution {
    /// Never; the working is not in the package.
    Withheld,
    /// After an answer that leaves nothing to gain: everything is right, or the last attempt is over. Never for a
    /// question left blank.
    #[default]
    AfterLastAttempt,
    /// Never; it stands in the part of the item that only scorers see.
    ForScorers,
}

impl Solution {
    /// Its name in packages and commands.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Withheld => "withheld",
            Self::AfterLastAttempt => "after-last-attempt",
            Self::ForScorers => "for-scorers",
        }
    }
}

/// How long a pupil may work on a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimeLimit {
    /// In seconds.
    pub seconds: NonZeroU32,
    /// Whether answers that come later are taken, too; the platform tells which they are.
    pub late_submission: bool,
}

/// In which order the questions that a test draws from a section come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ordering {
    /// In another order for each pupil.
    #[default]
    Shuffled,
    /// In the order of the pool.
    AsInPool,
}

/// A statement of a curriculum as its publisher lists it (CASE 1.1, CFItem).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseItem {
    /// The published identifier, a GUID.
    pub identifier: String,
    /// Its address.
    pub uri: Option<String>,
}

/// How to write a package.
#[derive(Clone, Debug)]
pub struct PackageOptions {
    /// The version of the standard.
    pub version: QtiVersion,
    /// Who sees the worked solution, and when.
    pub solution: Solution,
    /// How often a pupil may answer a question; 0 is without limit.
    pub attempts: u32,
    /// How long a pupil may work on the whole test; without limit if there is none.
    pub time_limit: Option<TimeLimit>,
    /// In which order a section's questions come.
    pub ordering: Ordering,
    /// The time that every file in the package carries.
    pub timestamp: jiff::Timestamp,
    /// Published identifiers of curriculum codes, as far as the caller has them. Never made up.
    pub case_items: BTreeMap<String, CaseItem>,
    /// On how many threads it is written; the bytes are the same on any number.
    pub threads: NonZeroUsize,
    /// Where is kept what can only be written at the end: some hundred bytes an item.
    pub scratch: Scratch,
}

impl PackageOptions {
    /// QTI 3.0, one attempt, the solution after it, no published identifiers.
    #[must_use]
    pub fn new(timestamp: jiff::Timestamp) -> Self {
        Self {
            version: QtiVersion::default(),
            solution: Solution::default(),
            attempts: 1,
            time_limit: None,
            ordering: Ordering::default(),
            timestamp,
            case_items: BTreeMap::new(),
            threads: NonZeroUsize::MIN,
            scratch: Scratch::MEMORY,
        }
    }
}

impl Default for PackageOptions {
    /// As [`PackageOptions::new`] with the earliest time that an archive can hold: equal pools give equal bytes.
    fn default() -> Self {
        Self::new(crate::archive::EARLIEST)
    }
}

/// Why a pool could not become a package.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// An item in a language for whose feedback there are no words, or with numbers that engines do not read: the
    /// standard writes floats with a point.
    #[error(
        "item '{item}' is in '{locale}'; expected English or Spanish of a region with a decimal point, \
         such as en-US or es-US"
    )]
    Locale {
        /// The question's id.
        item: String,
        /// Its locale.
        locale: String,
    },
    /// A name that the standard does not take.
    #[error("{place}: {source}")]
    Identifier {
        /// Item and step.
        place: String,
        /// The name, and what was expected.
        source: IdentifierError,
    },
    /// A value with too many digits.
    #[error("item '{item}', step '{step}': a value has too many digits to be exported; expected 28 at most")]
    TooLong {
        /// The question's id.
        item: String,
        /// The step's id.
        step: String,
    },
    /// A text that XML cannot hold, or bytes that could not be written.
    #[error("{member}: {source}")]
    Xml {
        /// The file in the package.
        member: String,
        /// Why.
        source: XmlError,
    },
    /// The archive could not be written.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// The items could not be had.
    #[error(transparent)]
    Source(#[from] SourceError),
}
