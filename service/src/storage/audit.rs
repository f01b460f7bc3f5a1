//! The audit trail: who changed a registration, a key, a token, a mark or what is held on a person, and when.
//!
//! Entries are written in the same step as the change they tell of and are never altered; only what names a person is
//! taken out when that person is purged. They hold no secrets, no answers and no names.

use std::fmt;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{ApiRole, PlacementId, RegistrationId, UserId};

/// Who changes something.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "as")]
pub enum Actor {
    /// Somebody at the command line of the machine that holds the store.
    CommandLine,
    /// The bearer of a token of the programming interface.
    Token {
        /// What the token allows.
        role: ApiRole,
        /// Its name on the list of tokens; none in entries from before tokens had names.
        #[serde(default)]
        id: Option<String>,
    },
    /// A person who was launched from a platform.
    Person {
        /// The platform.
        registration: RegistrationId,
        /// The person there; none once they were purged, or where the platform did not say.
        user: Option<UserId>,
    },
    /// A platform, by a message that it signed or was invited to send.
    Platform {
        /// Its issuer.
        issuer: String,
    },
    /// The service itself, by a rule such as how long data is kept.
    Service,
}

impl fmt::Display for Actor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CommandLine => f.write_str("command line"),
            Self::Token { role, id: None } => write!(f, "token of a {role}"),
            Self::Token { role, id: Some(id) } => write!(f, "token {id} of a {role}"),
            Self::Person { .. } => f.write_str("person in a course"),
            Self::Platform { issuer } => write!(f, "platform {issuer}"),
            Self::Service => f.write_str("service"),
        }
    }
}

/// Who changes something, and when. Methods of the store that change what is audited take it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// When.
    pub at: Timestamp,
    /// Who.
    pub by: Actor,
}

/// Declares what can happen as one table: variant, stable name.
macro_rules! actions {
    ($($(#[$doc:meta])* $variant:ident $name:literal;)+) => {
        /// What was changed. Names are stable: they are stored and appear in the programming interface.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        pub enum Action {
            $($(#[$doc])* #[serde(rename = $name)] $variant,)+
        }

        impl Action {
            /// Every action.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The stable name.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }
        }
    };
}

actions! {
    /// A platform was registered.
    RegistrationAdded "registration_added";
    /// Addresses or deployments of a registration changed.
    RegistrationChanged "registration_changed";
    /// A registration was removed, with everything below it.
    RegistrationRemoved "registration_removed";
    /// Which further pages of a platform may show ours in a frame.
    FrameOriginsChanged "frame_origins_changed";
    /// A deployment of a platform launched that is not registered, and is held.
    DeploymentHeld "deployment_held";
    /// A held deployment was approved.
    DeploymentApproved "deployment_approved";
    /// An invitation to register a platform was made.
    InvitationMade "invitation_made";
    /// A platform was registered with an invitation.
    InvitationUsed "invitation_used";
    /// An invitation was taken back.
    InvitationRevoked "invitation_revoked";
    /// A signing key was made.
    KeyMade "key_made";
    /// A signing key got the time when it begins to sign in place of others.
    KeyRotated "key_rotated";
    /// A signing key got the time when it leaves the key set.
    KeyRetired "key_retired";
    /// The private part of a signing key that has left the key set was erased.
    KeyErased "key_erased";
    /// Private keys were sealed, or sealed anew.
    KeysSealed "keys_sealed";
    /// A token of the programming interface was made.
    TokenMade "token_made";
    /// A token was taken back.
    TokenRevoked "token_revoked";
    /// Grades that could not be delivered were sent again.
    GradesSentAgain "grades_sent_again";
    /// A pupil's attempts were set aside and the grade taken back.
    WorkReset "work_reset";
    /// A teacher gave a step of an attempt other points.
    PointsChanged "points_changed";
    /// A teacher gave a step of an attempt our points again.
    PointsRestored "points_restored";
    /// A teacher allowed a pupil one more attempt.
    AttemptAllowed "attempt_allowed";
    /// Our grade is to replace another mark in the gradebook.
    OwnGradeSent "own_grade_sent";
    /// Another mark in the gradebook stays, and our grade is not sent.
    OtherMarkKept "other_mark_kept";
    /// A teacher changed when a quiz is open.
    TimesChanged "times_changed";
    /// Sheets of a quiz were made for printing.
    SheetsMade "sheets_made";
    /// A printed sheet was typed in.
    SheetTyped "sheet_typed";
    /// What was held on one person was deleted.
    PersonPurged "person_purged";
    /// What was held on the people of a course was deleted.
    CoursePurged "course_purged";
    /// What was held on the people of a platform was deleted.
    PlatformPurged "platform_purged";
    /// What was held on people who did nothing for long was deleted.
    OldDataPurged "old_data_purged";
    /// Work in the background was begun.
    JobBegun "job_begun";
    /// Work in the background was stopped.
    JobCancelled "job_cancelled";
    /// What work in the background came to was deleted.
    JobForgotten "job_forgotten";
    /// What was held on one person was given out.
    PersonExported "person_exported";
}

impl std::str::FromStr for Action {
    type Err = UnknownAction;

    fn from_str(name: &str) -> Result<Self, UnknownAction> {
        Self::ALL
            .iter()
            .copied()
            .find(|action| action.name() == name)
            .ok_or_else(|| UnknownAction(crate::shorten(name, 40)))
    }
}

/// A name that is no action.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("action {0:?} is unknown")]
pub struct UnknownAction(String);

/// What an entry is about; empty parts do not apply.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Subject {
    /// The platform.
    pub registration: Option<RegistrationId>,
    /// The quiz.
    pub placement: Option<PlacementId>,
    /// The pupil concerned; taken out when the pupil is purged.
    pub user: Option<UserId>,
}

/// One entry of the trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditEntry {
    /// Grows with every entry.
    pub id: i64,
    /// Who did it, and when.
    pub change: Change,
    /// What was done.
    pub action: Action,
    /// What it was done to.
    pub subject: Subject,
    /// The rest in words, such as the addresses that changed. No secrets, no personal data.
    pub detail: String,
}

/// Which entries are asked for; the newest come first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditQuery {
    /// Only those about this platform.
    pub registration: Option<RegistrationId>,
    /// Only those about this quiz.
    pub placement: Option<PlacementId>,
    /// Only those before this entry.
    pub before: Option<i64>,
    /// At most so many.
    pub limit: usize,
}
