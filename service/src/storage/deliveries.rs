//! Records of grade delivery: what the gradebook is to be told of each pupil, how telling it went, and what the
//! gradebook was seen to hold.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{PlacementId, RegistrationId, UserId};

/// Points of points possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Score {
    /// Points given.
    pub points: u32,
    /// Points possible, at least 1.
    pub maximum: u32,
}

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {}", self.points, self.maximum)
    }
}

/// Whether the gradebook hears that a pupil has begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Announce {
    /// It does; the column it may need has this maximum.
    Begun {
        /// Points that the attempt can give.
        maximum: u32,
    },
    /// It does not: a preview, or a platform that takes no grades for the link.
    Nothing,
}

/// What the gradebook is to be told of a pupil. There is one row for each pupil and placement, and a newer message takes
/// the place of an older one that was not sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Progress {
    /// The first attempt has begun; there is no score yet.
    Started,
    /// The best attempt that was handed in.
    Graded {
        /// What it came to.
        score: Score,
        /// When it began.
        started_at: Timestamp,
        /// When it was handed in.
        submitted_at: Timestamp,
    },
    /// A teacher has set the pupil's work aside; an earlier score is to go.
    Reset,
}

impl Progress {
    /// The score, if this is a grade.
    pub fn score(&self) -> Option<Score> {
        match self {
            Self::Graded { score, .. } => Some(*score),
            Self::Started | Self::Reset => None,
        }
    }

    /// The stable name.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Started => "started",
            Self::Graded { .. } => "graded",
            Self::Reset => "reset",
        }
    }
}

/// For whom messages are leased, and how many.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Room {
    /// At most so many for each platform, so that one with many does not keep the others waiting.
    pub each: usize,
    /// None for these platforms.
    pub except: BTreeSet<RegistrationId>,
}

/// A message given out for sending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeasedGrade {
    /// The platform it goes to.
    pub registration: RegistrationId,
    /// The placement, and with it the line item.
    pub placement: PlacementId,
    /// The pupil.
    pub user: UserId,
    /// Counts the messages queued for this pupil and placement; tells whether a newer one came meanwhile.
    pub version: u32,
    /// What is to be told.
    pub progress: Progress,
    /// The maximum of a column that has to be made.
    pub maximum: u32,
    /// The time to send: later than any sent before for this pupil and placement.
    pub timestamp: Timestamp,
    /// How far ahead of our clock it is dated, in ms, since the platform refused an earlier time.
    pub ahead_ms: i64,
    /// How often sending failed since the message was queued.
    pub tries: u32,
    /// Since when it has waited.
    pub waiting_since: Timestamp,
    /// What is known of the pupil's cell in the gradebook.
    pub cell: CellState,
}

/// What is known of a pupil's cell in the gradebook.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CellState {
    /// The grade that the platform confirmed last.
    pub delivered: Option<Score>,
    /// Every grade of ours that may stand there: the confirmed one, and those sent since whose answer was lost.
    pub ours: Vec<Score>,
    /// How the cell was seen to differ.
    pub drift: Option<Drift>,
    /// The mark that was seen there instead.
    pub found: Option<GradebookMark>,
    /// Whether a teacher has said that our grade shall replace `found`.
    pub overwrite: bool,
}

/// How a cell of the gradebook differs from what we delivered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Drift {
    /// The gradebook shows no mark where we delivered a grade.
    Missing,
    /// It shows another mark than the one delivered.
    Different,
    /// It shows a mark where we delivered none.
    Own,
}

impl Drift {
    /// The stable name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Different => "different",
            Self::Own => "own",
        }
    }
}

/// A mark as the gradebook shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GradebookMark {
    /// Points shown.
    pub points: Decimal,
    /// Of so many, more than 0.
    pub maximum: Decimal,
}

impl fmt::Display for GradebookMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {}", self.points.normalize(), self.maximum.normalize())
    }
}

/// How sending a message went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeliveryOutcome {
    /// The platform took it.
    Delivered,
    /// It was not tried, because the platform is out of order.
    Postponed {
        /// Not before.
        at: Timestamp,
    },
    /// To be tried again.
    Retry {
        /// Not before.
        at: Timestamp,
        /// What happened, in words for a teacher, without personal data.
        problem: String,
        /// From now on this pupil's messages are dated so many milliseconds ahead of our clock, because the platform
        /// claims to know a later one.
        ahead_ms: Option<i64>,
    },
    /// The gradebook has another mark, and a teacher must choose.
    Held {
        /// How it differs.
        drift: Drift,
        /// The mark.
        found: GradebookMark,
    },
    /// Trying again would not help; a person must act.
    Parked {
        /// What happened, in words for a teacher, without personal data.
        problem: String,
    },
}

/// Declares the states as one table: variant, stable name.
macro_rules! states {
    ($($(#[$doc:meta])* $variant:ident $name:literal;)+) => {
        /// Where a message stands. Names are stable.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "lowercase")]
        pub enum DeliveryState {
            $($(#[$doc])* $variant,)+
        }

        impl DeliveryState {
            /// The stable name.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }
        }

        impl FromStr for DeliveryState {
            type Err = UnknownState;

            fn from_str(name: &str) -> Result<Self, UnknownState> {
                match name {
                    $($name => Ok(Self::$variant),)+
                    _ => Err(UnknownState(crate::shorten(name, 40))),
                }
            }
        }
    };
}

states! {
    /// It will be sent, or tried again.
    Waiting "waiting";
    /// The platform has it.
    Delivered "delivered";
    /// It needs a person.
    Parked "parked";
    /// The gradebook has another mark; a teacher must choose.
    Held "held";
    /// A teacher has chosen that the gradebook's own mark stays.
    Kept "kept";
}

/// A name that is no state.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("state {0:?} is unknown: expected waiting, delivered, parked, held or kept")]
pub struct UnknownState(String);

/// What a teacher chooses where the gradebook has another mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// Our grade replaces the mark that was found.
    SendOurs,
    /// The mark stays, and our grade is not sent.
    KeepTheirs,
}

/// How the message of one pupil stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// The placement.
    pub placement: PlacementId,
    /// The pupil.
    pub user: UserId,
    /// Counts the messages queued.
    pub version: u32,
    /// What was sent or is to be sent.
    pub progress: Progress,
    /// Where it stands.
    pub state: DeliveryState,
    /// How often sending failed.
    pub tries: u32,
    /// Since when it waits, or waited.
    pub waiting_since: Timestamp,
    /// When it is tried next, while waiting.
    pub next_try_at: Timestamp,
    /// The last problem, if any.
    pub problem: Option<String>,
    /// What is known of the pupil's cell in the gradebook.
    pub cell: CellState,
}

/// Which messages are asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DeliveryQuery {
    /// Only those of this placement.
    pub placement: Option<PlacementId>,
    /// Only those that stand so.
    pub state: Option<DeliveryState>,
    /// Only those after this placement and pupil.
    pub after: Option<(PlacementId, UserId)>,
    /// At most so many.
    pub limit: usize,
}

/// The length of the queue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DeliveryQueue {
    /// Messages waiting.
    pub waiting: u32,
    /// Messages parked.
    pub parked: u32,
    /// Messages held until a teacher chooses.
    pub held: u32,
    /// Since when the oldest waiting message has waited.
    pub oldest: Option<Timestamp>,
}

/// One reading of a placement's column in the gradebook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// The placement.
    pub placement: PlacementId,
    /// When.
    pub at: Timestamp,
    /// Why nothing could be read, in words for a teacher.
    pub problem: Option<String>,
}

/// What a reading showed of one pupil.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The pupil.
    pub user: UserId,
    /// The message that was compared.
    pub version: u32,
    /// How the cell differs; none when it agrees.
    pub drift: Option<Drift>,
    /// The mark shown.
    pub found: Option<GradebookMark>,
}
