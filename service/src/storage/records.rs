//! What is stored: identifiers that cannot be mixed up, and plain records.
//!
//! Records hold what launches said and what pupils did. They do not know tables, HTTP or tokens.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use jiff::Timestamp;
use qbank::marking::Policy;
use qbank::pool::Pool;
use serde::{Deserialize, Serialize};
use url::Url;

use super::Override;
use crate::windows::Windows;

/// Declares an identifier that is text inside and a type of its own outside.
macro_rules! text_id {
    ($($(#[$doc:meta])* $name:ident;)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub String);

        impl $name {
            /// The text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                Self(text.to_owned())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    )+};
}

text_id! {
    /// The name a platform gave us; unique per issuer.
    ClientId;
    /// One place on a platform where we are installed; unique per registration.
    DeploymentId;
    /// A person as the platform names them (`sub`); unique per issuer. Never logged.
    UserId;
    /// A course; unique per deployment.
    ContextId;
    /// A link in a course; unique per deployment.
    ResourceLinkId;
    /// A pool of items.
    PoolId;
    /// A quiz placed in a course. Ours, random, fit for addresses.
    PlacementId;
    /// One pupil's attempt. Ours, random, fit for addresses.
    AttemptId;
    /// What is stored in place of a secret; see [`crate::entropy::fingerprint`].
    Fingerprint;
}

impl Fingerprint {
    /// The fingerprint of a secret.
    pub fn of(secret: &str) -> Self {
        Self(crate::entropy::fingerprint(secret))
    }
}

/// A registration's number in our store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RegistrationId(pub i64);

impl fmt::Display for RegistrationId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A platform that may launch us, before it has a number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewRegistration {
    /// The platform's name, an https address; compared byte for byte.
    pub issuer: String,
    /// Our name on that platform.
    pub client_id: ClientId,
    /// Where a login is sent.
    pub authorization_url: Url,
    /// Where access tokens are asked for.
    pub token_url: Url,
    /// Where the platform's public keys are.
    pub keys_url: Url,
    /// The audience of our token requests, when it is not `token_url`.
    pub audience: Option<String>,
    /// Deployments that may launch.
    pub deployments: BTreeSet<DeploymentId>,
}

/// A platform that may launch us.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Registration {
    /// Its number here.
    pub id: RegistrationId,
    /// What was registered.
    pub platform: NewRegistration,
}

/// A login that has started and waits for its id_token.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoginState {
    /// Fingerprint of the `state` we sent.
    pub state: Fingerprint,
    /// The `nonce` we sent; the token must repeat it.
    pub nonce: String,
    /// The platform that was asked.
    pub registration: RegistrationId,
    /// The address the platform announced; the token must repeat it.
    pub target_link_uri: String,
    /// The deployment the platform announced, if it did; the token must repeat it.
    pub deployment_hint: Option<DeploymentId>,
    /// Fingerprint of the cookie of the browser that started.
    pub browser: Fingerprint,
    /// What the platform's window was asked to keep for that browser, if the platform offers it.
    pub storage: Option<PlatformStorage>,
    /// When the login is too old.
    pub expires_at: Timestamp,
}

/// A secret that the platform's window keeps for the browser that started a login (postMessage storage).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlatformStorage {
    /// The window that keeps it: `_parent`, or the name of a frame of the platform.
    pub target: String,
    /// Fingerprint of the secret. Nothing but that window and the page of the login ever held the secret itself.
    pub secret: Fingerprint,
}

/// A login as it is remembered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeenLogin {
    /// The login.
    pub login: LoginState,
    /// Whether it was neither used nor too old when it was looked at.
    pub open: bool,
}

/// What taking a login state gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TakenState {
    /// It was there, unused and in time; now it is used.
    Fresh(LoginState),
    /// It had been used before.
    Used,
    /// It was too old.
    Expired,
    /// There is no such state.
    Unknown,
}

/// A signed-in person, as stored: bound to platform, deployment and one purpose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionRecord {
    /// Fingerprint of the session cookie.
    pub id: Fingerprint,
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// The person; deep linking alone may leave it out.
    pub user: Option<UserId>,
    /// What the session is for.
    pub purpose: SessionPurpose,
    /// The value each form must carry.
    pub csrf: String,
    /// Origin of the launch's return address: a page of the platform that may show ours in a frame.
    pub return_origin: Option<String>,
    /// When the session ends.
    pub expires_at: Timestamp,
}

/// Permits one window to take over a session that no cookie carries yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionTicket {
    /// Fingerprint of the ticket.
    pub ticket: Fingerprint,
    /// The session.
    pub session: Fingerprint,
    /// When it is too late.
    pub expires_at: Timestamp,
}

/// What a session may do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "for")]
pub enum SessionPurpose {
    /// A pupil takes a quiz.
    Quiz {
        /// The quiz.
        placement: PlacementId,
        /// True for a platform's preview user: no grade is sent.
        preview: bool,
    },
    /// A teacher looks at a quiz.
    Class {
        /// The quiz.
        placement: PlacementId,
    },
    /// A teacher chooses what to place.
    Placing {
        /// What the platform asked for.
        request: PlacingRequest,
    },
}

/// What a platform's deep-linking request asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlacingRequest {
    /// Where the answer goes.
    pub return_url: Url,
    /// Kinds of content the platform takes, such as `ltiResourceLink`.
    pub accept_types: Vec<String>,
    /// Whether more than one item may be returned.
    pub accept_multiple: bool,
    /// Whether line items are taken; none when the platform did not say.
    pub accept_line_item: Option<bool>,
    /// Opaque text to give back.
    pub data: Option<String>,
    /// Suggested title.
    pub title: Option<String>,
    /// The course, when the platform named it.
    pub context: Option<ContextId>,
}

/// A pool as stored; `json` is the pool's own record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredPool {
    /// Its id.
    pub id: PoolId,
    /// Its title.
    pub title: String,
    /// How many items it holds.
    pub item_count: u32,
    /// The pool record.
    pub json: String,
}

impl StoredPool {
    /// A pool as the store keeps it.
    pub fn of(pool: &Pool) -> Self {
        Self {
            id: PoolId(pool.id.clone()),
            title: pool.title.clone(),
            item_count: u32::try_from(pool.items().count()).unwrap_or(u32::MAX),
            json: pool.to_json(),
        }
    }
}

/// What became of a pool that was to be stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PutPool {
    /// There was none with its id.
    New,
    /// It took the place of the one with its id, or was that one.
    Replaced,
    /// Nothing was stored: the one with its id is placed in courses and holds other content.
    InUse,
}

/// A pool in a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PoolSummary {
    /// Its id.
    pub id: PoolId,
    /// Its title.
    pub title: String,
    /// How many items it holds.
    pub item_count: u32,
}

/// What identifies a resource link: ids of platforms are unique only inside one deployment.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct LinkKey {
    /// The platform.
    pub registration: RegistrationId,
    /// The deployment.
    pub deployment: DeploymentId,
    /// The link.
    pub resource_link: ResourceLinkId,
}

/// How pupils see the questions of a quiz.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Layout {
    /// All on one page.
    #[default]
    All,
    /// One at a time.
    One,
}

impl Layout {
    /// Its name, for parameters of links and in the store.
    pub fn name(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::One => "one",
        }
    }

    /// The one of that name.
    pub fn named(name: &str) -> Option<Self> {
        [Self::All, Self::One].into_iter().find(|layout| layout.name() == name)
    }
}

/// A placement as the launch describes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPlacement {
    /// The link it belongs to.
    pub link: LinkKey,
    /// The course, when the platform named it.
    pub context: Option<ContextId>,
    /// The title pupils see.
    pub title: String,
    /// The pool that questions come from.
    pub pool: PoolId,
    /// How many questions each pupil gets, at least 1.
    pub question_count: u32,
    /// How many attempts each pupil has, at least 1.
    pub attempts_allowed: u32,
    /// What earns points.
    pub policy: Policy,
    /// How pupils see the questions.
    pub layout: Layout,
    /// The `resourceId` of the link's line item: tells the links of one pool apart, and stays with a link when its
    /// course is copied.
    pub resource_id: String,
    /// When it can be worked on.
    pub windows: Windows,
    /// Where grades go, when the platform takes them.
    pub grades: Option<GradeEndpoint>,
    /// When it was first launched.
    pub created_at: Timestamp,
}

/// A quiz placed in a course.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placement {
    /// Its id, random.
    pub id: PlacementId,
    /// What the first launch said, refreshed by later ones.
    pub quiz: NewPlacement,
}

/// Where a platform takes grades for a link.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GradeEndpoint {
    /// The link's own line item, when there is exactly one or we found it.
    pub line_item: Option<Url>,
    /// The container of line items.
    pub line_items: Option<Url>,
    /// What the platform lets us ask for.
    pub scopes: BTreeSet<String>,
}

/// Responses as typed: question id, then step id, then text.
pub type Responses = BTreeMap<String, BTreeMap<String, String>>;

/// One pupil's attempt at a placement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attempt {
    /// Its id, random.
    pub id: AttemptId,
    /// The placement.
    pub placement: PlacementId,
    /// The pupil.
    pub user: UserId,
    /// 1 for the first.
    pub number: u32,
    /// Draws the pupil's own questions.
    pub seed: String,
    /// When it began.
    pub started_at: Timestamp,
    /// What the pupil typed so far.
    pub responses: Responses,
    /// How often that was changed; see [`crate::typing`].
    pub revision: u64,
    /// Present once submitted.
    pub result: Option<AttemptResult>,
}

/// What a submitted attempt came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AttemptResult {
    /// When it was submitted.
    pub submitted_at: Timestamp,
    /// The mark records, a JSON array.
    pub marks: String,
    /// Points given, with what the teacher changed.
    pub points: u32,
    /// Points possible, at least 1.
    pub maximum: u32,
    /// What the teacher changed.
    pub overrides: Vec<Override>,
}

/// What starting an attempt gave.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(clippy::large_enum_variant, reason = "there is one for a request, and none is kept")]
pub enum Started {
    /// An attempt that can be worked on, new or continued.
    Open(Attempt),
    /// All allowed attempts have been submitted.
    UsedUp,
    /// There is no such placement.
    NoPlacement,
}

/// Everything that closes an attempt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Submission {
    /// The attempt.
    pub attempt: AttemptId,
    /// The responses that were marked; they replace what was saved.
    pub responses: Responses,
    /// Marks, points and time.
    pub result: AttemptResult,
    /// False for previews: the attempt closes, no grade is queued.
    pub deliver: bool,
    /// When this is stored: a grade waits from then on, also that of an attempt which counts as handed in earlier.
    pub at: Timestamp,
}

/// What submitting gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Submitted {
    /// The attempt is closed now.
    Closed(Attempt),
    /// It had been closed before; this is how.
    AlreadyClosed(Attempt),
    /// There is no such attempt.
    NoAttempt,
}
