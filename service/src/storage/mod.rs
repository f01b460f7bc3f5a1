//! Where everything the service must remember is kept: the [`Storage`] trait and its records.
//!
//! Handlers and the delivery worker know this trait only. Every method is one atomic step: it happens as a whole,
//! durably, or not at all. Rules that need two tables at once (an attempt closes and its grade is queued) are
//! therefore single methods. Nothing here decides what a launch or a mark is worth.

mod api_tokens;
mod audit;
mod deliveries;
mod records;
mod sqlite;
#[cfg(test)]
mod test_body;

use std::collections::BTreeSet;
use std::sync::Arc;

use async_trait::async_trait;
use jiff::Timestamp;

pub use api_tokens::{ApiRole, ApiToken, UnknownRole};
pub use audit::{Action, Actor, AuditEntry, AuditQuery, Change, Subject, UnknownAction};
pub use deliveries::*;
pub use records::*;

/// Opens the store that `address` names and brings its tables up to date.
///
/// `sqlite:PATH` is a file (created when missing); `sqlite::memory:` lives as long as the process.
///
/// # Errors
/// [`StorageError::Address`] for an unknown or not yet supported kind of store, otherwise what opening met.
pub fn open(address: &str) -> Result<Arc<dyn Storage>, StorageError> {
    match address.split_once(':') {
        Some(("sqlite", ":memory:")) => Ok(Arc::new(sqlite::Sqlite::open_in_memory()?)),
        Some(("sqlite", path)) if !path.is_empty() => Ok(Arc::new(sqlite::Sqlite::open(path.as_ref())?)),
        Some(("postgres" | "postgresql", _)) => Err(StorageError::Address {
            address: "postgres://…".into(),
            problem: "PostgreSQL is not available in this version; use sqlite:PATH".into(),
        }),
        _ => Err(StorageError::Address {
            address: address.into(),
            problem: "expected sqlite:PATH, for example sqlite:/var/lib/tenths/tenths.db".into(),
        }),
    }
}

/// Why the store could not do what was asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StorageError {
    /// The address names no store we can open.
    #[error("store {address:?}: {problem}")]
    Address {
        /// The address, without any password.
        address: String,
        /// What was expected.
        problem: String,
    },
    /// The store was written by a newer version of the program.
    #[error("store has schema version {found}, this program knows up to {known}; use a newer tenths")]
    TooNew {
        /// The version in the store.
        found: i64,
        /// The newest version this program can read.
        known: i64,
    },
    /// A stored value cannot be read back; `table` and `column` say where.
    #[error("unreadable value in {table}.{column}: {problem}")]
    Unreadable {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// The database refused or failed.
    #[error("database: {0}")]
    Database(String),
    /// The store has been closed, or its thread has ended.
    #[error("store is closed")]
    Closed,
}

/// The service's memory. All times are given by the caller, so that tests own the clock.
#[async_trait]
pub trait Storage: Send + Sync + 'static {
    // --- platforms ---

    /// Adds a registration, or replaces the addresses of the one with the same issuer and client id; deployments
    /// are added to those known already. Returns it as stored.
    async fn put_registration(
        &self,
        new: NewRegistration,
        change: &Change,
    ) -> Result<Registration, StorageError>;
    /// All registrations, by issuer and client id.
    async fn registrations(&self) -> Result<Vec<Registration>, StorageError>;
    /// The registrations of one issuer, compared byte for byte.
    async fn registrations_of(&self, issuer: &str) -> Result<Vec<Registration>, StorageError>;
    /// One registration.
    async fn registration(&self, id: RegistrationId) -> Result<Option<Registration>, StorageError>;
    /// Removes a registration and everything below it: sessions, placements, attempts, waiting grades. False when
    /// there was none.
    async fn remove_registration(
        &self,
        issuer: &str,
        client_id: &ClientId,
        change: &Change,
    ) -> Result<bool, StorageError>;

    // --- our own keys ---

    /// Our signing keys, oldest first.
    async fn tool_keys(&self) -> Result<Vec<ToolKey>, StorageError>;
    /// Stores `key` if there is no key yet; returns the keys afterwards. Two processes starting at once agree.
    async fn add_first_tool_key(&self, key: ToolKey) -> Result<Vec<ToolKey>, StorageError>;

    // --- launches and sessions ---

    /// Remembers a started login.
    async fn add_login_state(&self, state: LoginState) -> Result<(), StorageError>;
    /// Takes the login whose state has this fingerprint: the first caller gets it, every later one
    /// [`TakenState::Used`]. A used state stays on record until it is purged, so its nonce cannot be used again.
    async fn take_login_state(&self, state: &Fingerprint, now: Timestamp)
    -> Result<TakenState, StorageError>;
    /// Stores a session.
    async fn add_session(&self, session: SessionRecord) -> Result<(), StorageError>;
    /// The live session with this fingerprint, if it has not expired at `now`.
    async fn session(&self, id: &Fingerprint, now: Timestamp) -> Result<Option<SessionRecord>, StorageError>;
    /// Forgets login states and sessions that ended before `before`. Returns how many.
    async fn purge_expired(&self, before: Timestamp) -> Result<usize, StorageError>;

    // --- pools and placements ---

    /// Stores a pool, replacing one with the same id. Pupils' questions are drawn from the stored pool at each
    /// request, so one that is placed stays as it is: other content under its id changes nothing.
    async fn put_pool(&self, pool: StoredPool) -> Result<PutPool, StorageError>;
    /// One pool.
    async fn pool(&self, id: &PoolId) -> Result<Option<StoredPool>, StorageError>;
    /// All pools by title, without their questions.
    async fn pools(&self) -> Result<Vec<PoolSummary>, StorageError>;
    /// The placement of a resource link: made from `new` at the first launch; later launches refresh title,
    /// context and grade endpoint, and keep the pool, the number of questions and of attempts that pupils started with.
    async fn put_placement(&self, new: NewPlacement) -> Result<Placement, StorageError>;
    /// The placement of a resource link, if it has been launched before.
    async fn placement_of(&self, link: &LinkKey) -> Result<Option<Placement>, StorageError>;
    /// One placement.
    async fn placement(&self, id: &PlacementId) -> Result<Option<Placement>, StorageError>;
    /// All placements, newest first.
    async fn placements(&self) -> Result<Vec<Placement>, StorageError>;
    /// Records the line item found or made for a placement whose launches name none.
    async fn set_line_item(&self, id: &PlacementId, line_item: &url::Url) -> Result<(), StorageError>;

    // --- attempts ---

    /// The pupil's open attempt, or a new one drawn by `seed` if the placement allows another. The first attempt is
    /// announced to the gradebook as `announce` says; later ones never are, since a gradebook that hears of a new
    /// beginning may drop the grade it has.
    async fn start_attempt(
        &self,
        placement: &PlacementId,
        user: &UserId,
        seed: &str,
        announce: Announce,
        now: Timestamp,
    ) -> Result<Started, StorageError>;
    /// One attempt.
    async fn attempt(&self, id: &AttemptId) -> Result<Option<Attempt>, StorageError>;
    /// One pupil's attempts at a placement, in order.
    async fn attempts_of(&self, placement: &PlacementId, user: &UserId)
    -> Result<Vec<Attempt>, StorageError>;
    /// Every attempt at a placement, by pupil and number.
    async fn attempts_at(&self, placement: &PlacementId) -> Result<Vec<Attempt>, StorageError>;
    /// Saves responses as typed: those given replace the stored ones of the same question, others stay. False
    /// when the attempt is unknown or closed; nothing is changed then.
    async fn save_responses(&self, id: &AttemptId, responses: &Responses) -> Result<bool, StorageError>;
    /// Closes an attempt with its marks and queues the pupil's best grade for the gradebook, in one step.
    /// Submitting a closed attempt changes nothing.
    async fn submit_attempt(&self, submission: Submission) -> Result<Submitted, StorageError>;

    /// Sets a pupil's attempts at a placement aside: they stay on record and no longer count, and the gradebook is told
    /// if it was ever told anything of the pupil. Returns how many attempts that concerned; none changes nothing.
    async fn reset_pupil(
        &self,
        placement: &PlacementId,
        user: &UserId,
        change: &Change,
    ) -> Result<usize, StorageError>;

    // --- grade delivery ---

    /// Leases messages that are due, oldest first, until `leased_until`. Each gets a timestamp later than any before
    /// it for the same pupil and line item, stored before this returns. A row already leased is not given out.
    async fn lease_grades(
        &self,
        now: Timestamp,
        leased_until: Timestamp,
        room: &Room,
    ) -> Result<Vec<LeasedGrade>, StorageError>;
    /// Records how sending a leased message went. If a newer one was queued meanwhile, it stays waiting and is due
    /// at once, unless `outcome` asks for a later time.
    async fn finish_grade(
        &self,
        grade: &LeasedGrade,
        outcome: &DeliveryOutcome,
        now: Timestamp,
    ) -> Result<(), StorageError>;
    /// Makes leases of an earlier process end now. For the embedded store only one process serves, so every lease
    /// found at start is abandoned.
    async fn release_leases(&self) -> Result<(), StorageError>;
    /// When the next waiting message of a platform other than these is due, leases included; none when nothing waits.
    async fn next_grade_due(
        &self,
        except: &BTreeSet<RegistrationId>,
    ) -> Result<Option<Timestamp>, StorageError>;
    /// How messages of a placement stand, by pupil.
    async fn deliveries_at(&self, placement: &PlacementId) -> Result<Vec<Delivery>, StorageError>;
    /// How messages of all placements stand, or of those that `query` asks for; by placement and pupil.
    async fn deliveries(&self, query: &DeliveryQuery) -> Result<Vec<Delivery>, StorageError>;
    /// How many messages wait or need a person, and since when the oldest waits.
    async fn delivery_queue(&self) -> Result<DeliveryQueue, StorageError>;
    /// Makes parked messages of a placement wait again, due at once: one pupil's, or all. Returns how many.
    async fn send_again(
        &self,
        placement: &PlacementId,
        user: Option<&UserId>,
        change: &Change,
    ) -> Result<usize, StorageError>;
    /// Settles a grade that is held because the gradebook has another mark; one that was not to be sent can still be sent.
    /// False when there is nothing to settle.
    async fn settle(
        &self,
        placement: &PlacementId,
        user: &UserId,
        choice: Choice,
        change: &Change,
    ) -> Result<bool, StorageError>;
    /// The other placements of the same course: their columns are not this one's.
    async fn neighbours(&self, placement: &Placement) -> Result<Vec<Placement>, StorageError>;
    /// Placements that delivered a grade after `delivered_after` and whose gradebook was not read after
    /// `read_before`, longest unread first.
    async fn placements_to_read(
        &self,
        delivered_after: Timestamp,
        read_before: Timestamp,
        limit: usize,
    ) -> Result<Vec<PlacementId>, StorageError>;
    /// Records what the gradebook showed. A finding about a row that has changed since is dropped.
    async fn note_reading(&self, reading: &Reading, findings: &[Finding]) -> Result<(), StorageError>;
    /// When a placement's gradebook was read last.
    async fn reading_of(&self, placement: &PlacementId) -> Result<Option<Reading>, StorageError>;

    // --- the programming interface ---

    /// Stores a token.
    async fn add_api_token(&self, token: ApiToken) -> Result<(), StorageError>;
    /// The token with this fingerprint.
    async fn api_token(&self, secret: &Fingerprint) -> Result<Option<ApiToken>, StorageError>;

    // --- the audit trail ---

    /// Entries of the trail, the newest first.
    async fn audit(&self, query: &AuditQuery) -> Result<Vec<AuditEntry>, StorageError>;

    /// Answers when the store can be read; for the readiness check.
    async fn ping(&self) -> Result<(), StorageError>;
}
