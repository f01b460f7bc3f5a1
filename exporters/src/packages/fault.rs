//! Why something is no package, and what is at fault in one.
use std::fmt;

use crate::{
    archive::reading::ArchiveReadError,
    processor::{Fault, Problem},
};

/// Why there is no package to read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// Not an archive that is read.
    #[error(transparent)]
    Archive(#[from] ArchiveReadError),
    /// Not a package.
    #[error("the archive has no imsmanifest.xml; expected one beside the folders")]
    NoManifest,
    /// The manifest cannot be read.
    #[error("imsmanifest.xml, {0}")]
    Manifest(Fault),
}

/// Something at fault in a package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackageFault {
    /// The file.
    pub member: String,
    /// The line, from 1, where it is in one.
    pub line: Option<u64>,
    /// What is wrong.
    pub problem: Problem,
}

impl fmt::Display for PackageFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.member, self.problem),
            None => write!(f, "{}: {}", self.member, self.problem),
        }
    }
}

impl std::error::Error for PackageFault {}
