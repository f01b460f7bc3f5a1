//! What a pupil's request to a quiz reads and writes: each in one step of the store, since these come by the thousand.

use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;

use jiff::Timestamp;
use url::Url;

use super::{Attempt, AttemptId, AttemptResult, Fingerprint, Placement, PlacementId, SessionRecord, UserId};
use crate::frame_ancestors;
use crate::typing::{Kept, Typing};

/// The origins of a platform's pages, which may show ours in a frame: found once for all who ask together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlatformFrames {
    /// As a content policy names them.
    pub origins: Arc<BTreeSet<String>>,
}

impl PlatformFrames {
    /// Those of its issuer and of its authorization endpoint, and `further` that a coordinator named.
    pub(crate) fn new(issuer: &str, authorization_url: &Url, further: BTreeSet<String>) -> Self {
        let mut origins = further;
        let issuer = Url::parse(issuer).ok();
        origins.extend(issuer.iter().chain([authorization_url]).filter_map(frame_ancestors::origin));
        Self { origins: Arc::new(origins) }
    }
}

/// Which of a pupil's attempts at a quiz are asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Asked {
    /// All, in order.
    All,
    /// The one with that id.
    One(AttemptId),
}

/// A request to a quiz.
#[derive(Debug, Clone)]
pub struct VisitAsked {
    /// The fingerprint of the session that it brings.
    pub session: Option<Fingerprint>,
    /// The quiz.
    pub placement: PlacementId,
    /// Which attempts it is about.
    pub attempts: Asked,
    /// Now.
    pub now: Timestamp,
}

/// What a request to a quiz starts from, as of one moment.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Visit {
    /// The session that counts, whatever it is for.
    pub session: Option<SessionRecord>,
    /// The platform's pages: that of the session or, without one, that of the quiz.
    pub frames: Option<PlatformFrames>,
    /// The quiz.
    pub placement: Option<Placement>,
    /// How many attempts the session's person is allowed beyond those of the quiz.
    pub extra_attempts: u32,
    /// The attempts asked for: of the session's person at this quiz, nobody else's.
    pub attempts: Vec<Attempt>,
}

/// Decides what an attempt comes to once the last answers are stored; none where the pupil has to look again first. It is
/// run on a thread of the store, perhaps more than once, so it only computes.
pub type Judge = Arc<dyn Fn(&Attempt, &Kept) -> Option<AttemptResult> + Send + Sync>;

/// Handing in an attempt.
#[derive(Clone)]
pub struct HandIn {
    /// The attempt, open or not.
    pub attempt: AttemptId,
    /// Its quiz.
    pub placement: PlacementId,
    /// Its pupil.
    pub user: UserId,
    /// What the page brings.
    pub typing: Typing,
    /// What it comes to.
    pub judge: Judge,
    /// False for previews: the attempt closes, no grade is queued.
    pub deliver: bool,
    /// Now: from then on the grade waits.
    pub at: Timestamp,
}

impl fmt::Debug for HandIn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { attempt, deliver, at, .. } = self;
        f.debug_struct("HandIn").field("attempt", attempt).field("deliver", deliver).field("at", at).finish()
    }
}

/// What handing in gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HandedIn {
    /// The attempt is closed now, with its marks, and the pupil's best grade is queued.
    Closed(Attempt),
    /// The answers are stored, and the pupil has to look again.
    Kept(Kept),
    /// There is no such attempt, or it was closed before; nothing was changed.
    NotOpen,
}
