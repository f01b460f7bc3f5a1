//! Records of API tokens: who may call the programming interface, and as what.

use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Fingerprint;
use crate::entropy;

/// What the bearer of a token may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ApiRole {
    /// Loads pools, sees answers, reads marks, scores.
    Coordinator,
    /// Sees pools without answers, reads marks, scores.
    Teacher,
    /// Reads pools without answers and marks; changes nothing.
    Auditor,
}

impl ApiRole {
    /// All roles.
    pub const ALL: [Self; 3] = [Self::Coordinator, Self::Teacher, Self::Auditor];

    /// The name on the command line and in the store.
    pub fn name(self) -> &'static str {
        match self {
            Self::Coordinator => "coordinator",
            Self::Teacher => "teacher",
            Self::Auditor => "auditor",
        }
    }
}

impl fmt::Display for ApiRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A name that is no role.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("role {0:?} is unknown: expected coordinator, teacher or auditor")]
pub struct UnknownRole(String);

impl FromStr for ApiRole {
    type Err = UnknownRole;

    fn from_str(name: &str) -> Result<Self, UnknownRole> {
        Self::ALL
            .into_iter()
            .find(|role| role.name() == name)
            .ok_or_else(|| UnknownRole(crate::shorten(name, 40)))
    }
}

/// A token of the programming interface. The token itself is shown once, when made, and stored nowhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApiToken {
    /// Its name on lists; tells nothing of the token.
    pub id: String,
    /// Fingerprint of the token.
    pub secret: Fingerprint,
    /// What its bearer may do.
    pub role: ApiRole,
    /// What it is for, in the words of who made it.
    pub note: String,
    /// When it was made.
    pub created_at: Timestamp,
    /// When it ends; none if never.
    pub expires_at: Option<Timestamp>,
    /// When it was taken back, if it was.
    pub revoked_at: Option<Timestamp>,
    /// The last day, in UTC, on which it was used.
    pub last_used_on: Option<Date>,
}

impl ApiToken {
    /// A new token: the record, and the secret to show once.
    pub fn new(role: ApiRole, note: &str, now: Timestamp, expires_at: Option<Timestamp>) -> (Self, String) {
        let secret = entropy::secret();
        let token = Self {
            id: entropy::short_identifier(),
            secret: Fingerprint::of(&secret),
            role,
            note: note.to_owned(),
            created_at: now,
            expires_at,
            revoked_at: None,
            last_used_on: None,
        };
        (token, secret)
    }

    /// Whether its bearer may call at `now`.
    pub fn is_valid(&self, now: Timestamp) -> bool {
        self.revoked_at.is_none() && self.expires_at.is_none_or(|end| now < end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_is_read_back_by_its_name_and_others_are_refused() {
        for role in ApiRole::ALL {
            assert_eq!(role.name().parse(), Ok(role));
        }
        let refused = "Coordinator".parse::<ApiRole>().unwrap_err().to_string();
        assert!(refused.contains("\"Coordinator\"") && refused.contains("auditor"), "{refused}");
    }
}
