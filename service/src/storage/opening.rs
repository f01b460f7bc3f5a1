//! What a launch reads, and what it writes: each in one step of the store.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use jiff::Timestamp;
use url::Url;

use super::{
    Fingerprint, LinkKey, Member, NewPlacement, Part, PlacementId, PlacingRequest, PlatformFrames,
    Registration, SeenLogin, SessionPurpose, SessionRecord, SessionTicket, TakenState,
};
use crate::windows::{Edge, Said};

/// A platform that may send logins, and its pages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownPlatform {
    /// The platform.
    pub registration: Registration,
    /// Its pages.
    pub frames: PlatformFrames,
}

/// The login that a launch answers, and the platform that it asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnsweredLogin {
    /// The login; looking at it does not use it up.
    pub seen: SeenLogin,
    /// The platform.
    pub registration: Registration,
    /// Its pages.
    pub frames: PlatformFrames,
}

/// A launch that passed every check.
#[derive(Clone)]
pub struct Opening {
    /// The login that it answers; used up by it.
    pub login: Fingerprint,
    /// Now.
    pub now: Timestamp,
    /// What it opens.
    pub opens: Opens,
    /// The session, once it is known what for.
    pub session: Arc<dyn Fn(SessionPurpose) -> SessionRecord + Send + Sync>,
    /// Hands the session over to a window of its own, where no cookie carries it.
    pub ticket: Option<SessionTicket>,
}

/// What a launch opens.
#[derive(Debug, Clone)]
pub enum Opens {
    /// A link's quiz.
    Link(Box<LinkOpening>),
    /// The page where a teacher chooses what to place.
    Placing(PlacingRequest),
}

/// A person followed a link.
#[derive(Clone)]
pub struct LinkOpening {
    /// The link.
    pub link: LinkKey,
    /// Its quiz as this launch describes it, from what is known of it; none if nothing says which quiz it is. A title that
    /// is empty is the pool's.
    pub quiz: Arc<dyn Fn(Option<NewPlacement>) -> Option<NewPlacement> + Send + Sync>,
    /// What the launch says of its times.
    pub windows: BTreeMap<Edge, Said>,
    /// Who followed it.
    pub member: Member,
    /// Where the platform lists the course, if it said so.
    pub roster: Option<Url>,
}

impl LinkOpening {
    /// What the person may do at the link's quiz.
    pub fn purpose(&self, placement: PlacementId) -> SessionPurpose {
        match self.member.part {
            Part::Teacher => SessionPurpose::Class { placement },
            part => SessionPurpose::Quiz { placement, preview: part == Part::Preview },
        }
    }
}

/// What came of a launch. Its login is used up in any case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Opened {
    /// The session is open.
    Session(SessionRecord),
    /// The login cannot be answered any more.
    Not(TakenState),
    /// Nothing says which quiz the link is.
    NoQuiz,
    /// Its pool is not in the store.
    NoPool,
}

impl fmt::Debug for Opening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Opening").field("opens", &self.opens).finish_non_exhaustive()
    }
}

impl fmt::Debug for LinkOpening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("LinkOpening").field("link", &self.link).finish_non_exhaustive()
    }
}
