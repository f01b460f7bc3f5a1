//! What can be wrong with a document, and why an item cannot be played on.
use crate::xml::reading::XmlReadError;

/// Something wrong with a document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {problem}")]
pub struct Fault {
    /// From 1.
    pub line: u64,
    /// What is wrong.
    pub problem: Problem,
}

/// What is wrong with a document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// The XML itself.
    #[error("{0}")]
    Xml(String),
    /// Something else than the standard has in this place.
    #[error("{found}; expected {expected}")]
    Unexpected {
        /// What stands there.
        found: String,
        /// What could.
        expected: String,
    },
    /// More of something than is read.
    #[error("more than {most} {what}")]
    TooMany {
        /// What there is too much of.
        what: &'static str,
        /// How much is read.
        most: usize,
    },
    /// A name that stands for two things.
    #[error("the {what} '{name}' is there twice; expected different ones")]
    Twice {
        /// What is named.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// A name that stands for nothing.
    #[error("there is no {what} '{name}'")]
    Unknown {
        /// What should be there.
        what: &'static str,
        /// The name.
        name: String,
    },
}

impl Fault {
    /// A place that holds something else than expected.
    pub(crate) fn unexpected(line: u64, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self { line, problem: Problem::Unexpected { found: found.into(), expected: expected.into() } }
    }
}

impl From<XmlReadError> for Fault {
    fn from(error: XmlReadError) -> Self {
        Self { line: error.line, problem: Problem::Xml(error.fault.to_string()) }
    }
}

/// Why an item cannot be played on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {reason}")]
pub struct Failure {
    /// From 1.
    pub line: u64,
    /// Why.
    pub reason: Reason,
}

/// Why an item cannot be played on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Reason {
    /// Something of the standard, or beside it, that this processor does not play: no fault of the item.
    #[error("{0} cannot be judged here")]
    Unsupported(String),
    /// A value of the wrong type.
    #[error("'{place}' was given {found}; expected {expected}")]
    Type {
        /// The operator or rule.
        place: String,
        /// What it was given.
        found: String,
        /// What it takes.
        expected: &'static str,
    },
    /// A variable that nothing declares.
    #[error("there is no variable '{0}'")]
    Undeclared(String),
    /// A response that the interaction cannot give.
    #[error("the interaction of '{response}' cannot give '{given}'")]
    Response {
        /// The response variable.
        response: String,
        /// What was to be given.
        given: String,
    },
}

impl Reason {
    pub(super) fn at(self, line: u64) -> Failure {
        Failure { line, reason: self }
    }
}
