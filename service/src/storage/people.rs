//! Records of the people of a course: who is in it, by launches and by the platform's list (names and role
//! provisioning, NRPS), and where that list is.

use std::fmt;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use url::Url;

use super::UserId;

/// What a person is in a course.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// A learner: the only ones who are counted.
    Pupil,
    /// Somebody who teaches, builds or looks after the course.
    Teacher,
    /// Neither, such as a mentor.
    Other,
    /// A platform's preview user.
    Preview,
}

impl Part {
    const ALL: [Self; 4] = [Self::Pupil, Self::Teacher, Self::Other, Self::Preview];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pupil => "pupil",
            Self::Teacher => "teacher",
            Self::Other => "other",
            Self::Preview => "preview",
        }
    }
}

/// Whether a person is still in a course (NRPS 2.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MemberStatus {
    /// They are.
    Active,
    /// They are enrolled, but take no part any more.
    Inactive,
    /// They have left; also those whom the list no longer names.
    Deleted,
}

impl MemberStatus {
    const ALL: [Self; 3] = [Self::Active, Self::Inactive, Self::Deleted];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::Inactive => "inactive",
            Self::Deleted => "deleted",
        }
    }
}

/// A stored word that is none of those expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is unknown")]
pub struct UnknownWord(String);

impl std::str::FromStr for Part {
    type Err = UnknownWord;

    fn from_str(name: &str) -> Result<Self, UnknownWord> {
        Self::ALL.into_iter().find(|part| part.name() == name).ok_or_else(|| UnknownWord(name.to_owned()))
    }
}

impl std::str::FromStr for MemberStatus {
    type Err = UnknownWord;

    fn from_str(name: &str) -> Result<Self, UnknownWord> {
        Self::ALL.into_iter().find(|status| status.name() == name).ok_or_else(|| UnknownWord(name.to_owned()))
    }
}

/// A person's name. It is shown on the class page only, and hides itself from logs and panic messages.
#[derive(Clone, PartialEq, Eq)]
pub struct PersonName(pub String);

impl PersonName {
    /// The name for a page that may show it.
    pub fn shown(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for PersonName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PersonName(…)")
    }
}

/// A person of a course.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// Who, as the platform names them.
    pub user: UserId,
    /// What they are in the course.
    pub part: Part,
    /// Whether they are still in it.
    pub status: MemberStatus,
    /// Their name, where the service is set to keep names.
    pub name: Option<PersonName>,
    /// When a launch or the list last named them.
    pub seen_at: Timestamp,
}

/// Where the platform tells who is in a placement's course, and how far we have read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roster {
    /// The list's address, as the last launch named it.
    pub url: Url,
    /// Where the platform tells what changed since the last reading.
    pub differences: Option<Url>,
    /// When the list was last read with success.
    pub read_at: Option<Timestamp>,
    /// Why the last try failed, in words for a teacher.
    pub problem: Option<String>,
}

/// What reading a list gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RosterReading {
    /// Everybody of the course: who is not in it has left.
    Whole {
        /// The people.
        members: Vec<Member>,
        /// Where later changes are told.
        differences: Option<Url>,
    },
    /// Only who came, changed or left since the last reading.
    Changes {
        /// The people.
        members: Vec<Member>,
        /// Where later changes are told.
        differences: Option<Url>,
    },
    /// Nothing could be read; what is known stays.
    Failed {
        /// Why, in words for a teacher.
        problem: String,
    },
}

/// An attempt that was left open when its quiz ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverdueAttempt {
    /// The attempt.
    pub attempt: super::Attempt,
    /// True for a preview user's: no grade is sent.
    pub preview: bool,
}
