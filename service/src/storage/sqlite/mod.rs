//! The embedded store: one SQLite file in WAL mode with `synchronous=FULL`, so that what was answered is on disk.
//!
//! SQL lives here and nowhere else. [`writer`] owns the connections; the other modules hold the statements, by
//! concern. PostgreSQL gets its own folder beside this one and passes the same test body.

mod api_tokens;
mod attempts;
mod audit;
mod frame_origins;
mod holdings;
mod invitations;
mod launches;
mod outbox;
mod overrides;
mod people;
mod platforms;
mod pools;
mod readings;
mod row;
mod schema;
mod sheets;
mod tool_keys;
mod writer;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::Duration;

use async_trait::async_trait;
use jiff::Timestamp;
use rusqlite::Connection;
use url::Url;

use super::*;
use writer::Connections;

/// How long clearing traces waits for others who read or write.
const TRACES_WITHIN: Duration = Duration::from_secs(30);

/// A store in one SQLite database.
pub(super) struct Sqlite {
    connections: Connections,
    /// The file, unless the store lives in memory.
    path: Option<PathBuf>,
}

impl Sqlite {
    /// Opens or creates the file at `path`.
    pub(super) fn open(path: &Path) -> Result<Self, StorageError> {
        keep_private(path)?;
        let mut writer = Connection::open(path).map_err(row::failed)?;
        prepare(&writer)?;
        schema::migrate(&mut writer)?;
        let reader = Connection::open(path).map_err(row::failed)?;
        prepare(&reader)?;
        reader.pragma_update(None, "query_only", true).map_err(row::failed)?;
        Ok(Self { connections: Connections::spawn(writer, Some(reader))?, path: Some(path.to_owned()) })
    }

    /// A store that lives in memory only.
    pub(super) fn open_in_memory() -> Result<Self, StorageError> {
        let mut writer = Connection::open_in_memory().map_err(row::failed)?;
        prepare(&writer)?;
        schema::migrate(&mut writer)?;
        Ok(Self { connections: Connections::spawn(writer, None)?, path: None })
    }
}

/// Creates a missing file readable by its owner only: it will hold our private key. SQLite gives its side files the
/// same rights. A file that exists keeps the rights somebody gave it.
fn keep_private(path: &Path) -> Result<(), StorageError> {
    use std::os::unix::fs::OpenOptionsExt;
    match std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        Err(error) => Err(StorageError::Address {
            address: format!("sqlite:{}", path.display()),
            problem: format!("cannot be created: {error}"),
        }),
    }
}

/// Sets what each connection needs.
fn prepare(connection: &Connection) -> Result<(), StorageError> {
    connection.pragma_update(None, "journal_mode", "wal").map_err(row::failed)?;
    connection.pragma_update(None, "synchronous", "full").map_err(row::failed)?;
    connection.pragma_update(None, "foreign_keys", true).map_err(row::failed)?;
    // What is erased (private keys, and what is held on people) is overwritten, not only forgotten.
    connection.pragma_update(None, "secure_delete", true).map_err(row::failed)?;
    // Temporary tables of a purge name people, and must not become files.
    connection.pragma_update(None, "temp_store", "memory").map_err(row::failed)?;
    // Another process (`tenths load`, a backup) may hold the file for a moment.
    connection.busy_timeout(std::time::Duration::from_secs(10)).map_err(row::failed)?;
    connection.set_prepared_statement_cache_capacity(64);
    Ok(())
}

/// On a connection of its own: neither statement works inside a transaction, and the writer always is in one.
fn clear_traces(path: &Path, whole: bool) -> Result<(), StorageError> {
    let connection = Connection::open(path).map_err(row::failed)?;
    prepare(&connection)?;
    connection.busy_timeout(TRACES_WITHIN).map_err(row::failed)?;
    if whole {
        connection.execute_batch("VACUUM").map_err(row::failed)?;
    }
    let busy: i64 =
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0)).map_err(row::failed)?;
    if busy != 0 {
        return Err(StorageError::Database(
            "others were reading the store all the time, so its log of changes could not be emptied".into(),
        ));
    }
    Ok(())
}

#[async_trait]
impl Storage for Sqlite {
    async fn put_registration(
        &self,
        new: NewRegistration,
        change: &Change,
    ) -> Result<Registration, StorageError> {
        let change = change.clone();
        self.connections.write(move |c| platforms::put(c, &new, &change)).await
    }

    async fn registrations(&self) -> Result<Vec<Registration>, StorageError> {
        self.connections.read(platforms::all).await
    }

    async fn registrations_of(&self, issuer: &str) -> Result<Vec<Registration>, StorageError> {
        let issuer = issuer.to_owned();
        self.connections.read(move |c| platforms::of_issuer(c, &issuer)).await
    }

    async fn registration(&self, id: RegistrationId) -> Result<Option<Registration>, StorageError> {
        self.connections.read(move |c| platforms::by_id(c, id)).await
    }

    async fn remove_registration(
        &self,
        issuer: &str,
        client_id: &ClientId,
        change: &Change,
    ) -> Result<bool, StorageError> {
        let (issuer, client_id, change) = (issuer.to_owned(), client_id.clone(), change.clone());
        self.connections.write(move |c| platforms::remove(c, &issuer, &client_id, &change)).await
    }

    async fn add_invitation(&self, invitation: Invitation, change: &Change) -> Result<(), StorageError> {
        let change = change.clone();
        self.connections.write(move |c| invitations::add(c, &invitation, &change)).await
    }

    async fn invitations(&self) -> Result<Vec<Invitation>, StorageError> {
        self.connections.read(invitations::all).await
    }

    async fn invitation(
        &self,
        secret: &Fingerprint,
        now: Timestamp,
    ) -> Result<InvitationState, StorageError> {
        let secret = secret.clone();
        self.connections.read(move |c| invitations::state(c, &secret, now)).await
    }

    async fn hold_invitation(
        &self,
        secret: &Fingerprint,
        now: Timestamp,
        until: Timestamp,
    ) -> Result<InvitationState, StorageError> {
        let secret = secret.clone();
        self.connections.write(move |c| invitations::hold(c, &secret, now, until)).await
    }

    async fn release_invitation(&self, id: &str) -> Result<(), StorageError> {
        let id = id.to_owned();
        self.connections.write(move |c| invitations::release(c, &id)).await
    }

    async fn revoke_invitation(&self, id: &str, change: &Change) -> Result<bool, StorageError> {
        let (id, change) = (id.to_owned(), change.clone());
        self.connections.write(move |c| invitations::revoke(c, &id, &change)).await
    }

    async fn register_by_invitation(
        &self,
        id: &str,
        new: NewRegistration,
        change: &Change,
    ) -> Result<Registered, StorageError> {
        let (id, change) = (id.to_owned(), change.clone());
        self.connections.write(move |c| invitations::register(c, &id, &new, &change)).await
    }

    async fn hold_deployment(
        &self,
        registration: RegistrationId,
        deployment: &DeploymentId,
        change: &Change,
    ) -> Result<(), StorageError> {
        let (deployment, change) = (deployment.clone(), change.clone());
        self.connections
            .write(move |c| invitations::hold_deployment(c, registration, &deployment, &change))
            .await
    }

    async fn pending_deployments(&self) -> Result<Vec<PendingDeployment>, StorageError> {
        self.connections.read(invitations::pending).await
    }

    async fn approve_deployment(
        &self,
        registration: RegistrationId,
        deployment: &DeploymentId,
        change: &Change,
    ) -> Result<bool, StorageError> {
        let (deployment, change) = (deployment.clone(), change.clone());
        self.connections.write(move |c| invitations::approve(c, registration, &deployment, &change)).await
    }

    async fn tool_keys(&self) -> Result<Vec<ToolKey>, StorageError> {
        self.connections.read(tool_keys::all).await
    }

    async fn add_first_tool_key(&self, key: ToolKey, change: &Change) -> Result<bool, StorageError> {
        let change = change.clone();
        self.connections.write(move |c| tool_keys::add_first(c, &key, &change)).await
    }

    async fn rotate_tool_key(
        &self,
        key: ToolKey,
        leave_at: Timestamp,
        change: &Change,
    ) -> Result<Rotated, StorageError> {
        let change = change.clone();
        self.connections.write(move |c| tool_keys::rotate(c, &key, leave_at, &change)).await
    }

    async fn hasten_tool_key(
        &self,
        kid: &str,
        leave_at: Timestamp,
        change: &Change,
    ) -> Result<bool, StorageError> {
        let (kid, change) = (kid.to_owned(), change.clone());
        self.connections.write(move |c| tool_keys::hasten(c, &kid, leave_at, &change)).await
    }

    async fn retire_tool_key(
        &self,
        kid: &str,
        at: Timestamp,
        change: &Change,
    ) -> Result<Retired, StorageError> {
        let (kid, change) = (kid.to_owned(), change.clone());
        self.connections.write(move |c| tool_keys::retire(c, &kid, at, &change)).await
    }

    async fn erase_retired_tool_keys(&self, change: &Change) -> Result<usize, StorageError> {
        let change = change.clone();
        let erased = self.connections.write(move |c| tool_keys::erase_retired(c, &change)).await?;
        if erased > 0 {
            self.clear_traces(false).await?;
        }
        Ok(erased)
    }

    async fn reseal_tool_keys(&self, resealed: Vec<Resealed>, change: &Change) -> Result<bool, StorageError> {
        let change = change.clone();
        let done = self.connections.write(move |c| tool_keys::reseal(c, &resealed, &change)).await?;
        if done {
            self.clear_traces(false).await?;
        }
        Ok(done)
    }

    async fn add_login_state(&self, state: LoginState) -> Result<(), StorageError> {
        self.connections.write(move |c| launches::add_state(c, &state)).await
    }

    async fn take_login_state(
        &self,
        state: &Fingerprint,
        now: Timestamp,
    ) -> Result<TakenState, StorageError> {
        let state = state.clone();
        self.connections.write(move |c| launches::take_state(c, &state, now)).await
    }

    async fn add_session(&self, session: SessionRecord) -> Result<(), StorageError> {
        self.connections.write(move |c| launches::add_session(c, &session)).await
    }

    async fn session(&self, id: &Fingerprint, now: Timestamp) -> Result<Option<SessionRecord>, StorageError> {
        let id = id.clone();
        self.connections.read(move |c| launches::session(c, &id, now)).await
    }

    async fn purge_expired(&self, before: Timestamp) -> Result<usize, StorageError> {
        self.connections.write(move |c| launches::purge(c, before)).await
    }

    async fn set_frame_origins(
        &self,
        registration: RegistrationId,
        origins: &BTreeSet<String>,
        change: &Change,
    ) -> Result<(), StorageError> {
        let (origins, change) = (origins.clone(), change.clone());
        self.connections.write(move |c| frame_origins::set(c, registration, &origins, &change)).await
    }

    async fn frame_origins(&self, registration: RegistrationId) -> Result<BTreeSet<String>, StorageError> {
        self.connections.read(move |c| frame_origins::of(c, registration)).await
    }

    async fn seen_login(
        &self,
        state: &Fingerprint,
        now: Timestamp,
    ) -> Result<Option<SeenLogin>, StorageError> {
        let state = state.clone();
        self.connections.read(move |c| launches::seen_login(c, &state, now)).await
    }

    async fn add_session_with_ticket(
        &self,
        session: SessionRecord,
        ticket: SessionTicket,
    ) -> Result<(), StorageError> {
        self.connections.write(move |c| launches::add_session_with_ticket(c, &session, &ticket)).await
    }

    async fn redeem_session_ticket(
        &self,
        ticket: &Fingerprint,
        id: &Fingerprint,
        now: Timestamp,
    ) -> Result<Option<SessionRecord>, StorageError> {
        let (ticket, id) = (ticket.clone(), id.clone());
        self.connections.write(move |c| launches::redeem_ticket(c, &ticket, &id, now)).await
    }

    async fn put_pool(&self, pool: StoredPool) -> Result<PutPool, StorageError> {
        self.connections.write(move |c| pools::put_pool(c, &pool)).await
    }

    async fn pool(&self, id: &PoolId) -> Result<Option<StoredPool>, StorageError> {
        let id = id.clone();
        self.connections.read(move |c| pools::pool(c, &id)).await
    }

    async fn pools(&self) -> Result<Vec<PoolSummary>, StorageError> {
        self.connections.read(pools::pools).await
    }

    async fn put_placement(&self, new: NewPlacement) -> Result<Placement, StorageError> {
        self.connections.write(move |c| pools::put_placement(c, &new)).await
    }

    async fn placement_of(&self, link: &LinkKey) -> Result<Option<Placement>, StorageError> {
        let link = link.clone();
        self.connections.read(move |c| pools::placement_of(c, &link)).await
    }

    async fn placement(&self, id: &PlacementId) -> Result<Option<Placement>, StorageError> {
        let id = id.clone();
        self.connections.read(move |c| pools::placement(c, &id)).await
    }

    async fn placements(&self) -> Result<Vec<Placement>, StorageError> {
        self.connections.read(pools::placements).await
    }

    async fn refresh_windows(
        &self,
        id: &PlacementId,
        said: &BTreeMap<Edge, Said>,
    ) -> Result<(), StorageError> {
        let (id, said) = (id.clone(), said.clone());
        self.connections.write(move |c| pools::refresh_windows(c, &id, &said)).await
    }

    async fn set_windows(
        &self,
        id: &PlacementId,
        windows: &Windows,
        change: &Change,
    ) -> Result<(), StorageError> {
        let (id, windows, change) = (id.clone(), windows.clone(), change.clone());
        self.connections.write(move |c| pools::set_windows(c, &id, &windows, &change)).await
    }

    async fn set_line_item(&self, id: &PlacementId, line_item: &Url) -> Result<(), StorageError> {
        let (id, line_item) = (id.clone(), line_item.clone());
        self.connections.write(move |c| pools::set_line_item(c, &id, &line_item)).await
    }

    async fn start_attempt(
        &self,
        placement: &PlacementId,
        user: &UserId,
        seed: &str,
        announce: Announce,
        now: Timestamp,
    ) -> Result<Started, StorageError> {
        let (placement, user, seed) = (placement.clone(), user.clone(), seed.to_owned());
        self.connections.write(move |c| attempts::start(c, &placement, &user, &seed, announce, now)).await
    }

    async fn attempt(&self, id: &AttemptId) -> Result<Option<Attempt>, StorageError> {
        let id = id.clone();
        self.connections.read(move |c| attempts::by_id(c, &id)).await
    }

    async fn attempts_of(
        &self,
        placement: &PlacementId,
        user: &UserId,
    ) -> Result<Vec<Attempt>, StorageError> {
        let (placement, user) = (placement.clone(), user.clone());
        self.connections.read(move |c| attempts::of_user(c, &placement, &user)).await
    }

    async fn attempts_at(&self, placement: &PlacementId) -> Result<Vec<Attempt>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| attempts::at_placement(c, &placement)).await
    }

    async fn keep_typing(&self, id: &AttemptId, typing: &Typing) -> Result<Option<Kept>, StorageError> {
        let (id, typing) = (id.clone(), typing.clone());
        self.connections.write(move |c| attempts::keep_typing(c, &id, &typing)).await
    }

    async fn submit_attempt(&self, submission: Submission) -> Result<Submitted, StorageError> {
        self.connections.write(move |c| attempts::submit(c, &submission)).await
    }

    async fn override_points(
        &self,
        attempt: &AttemptId,
        question: &str,
        step: &str,
        points: Points,
        deliver: bool,
        change: &Change,
    ) -> Result<Overridden, StorageError> {
        let (attempt, change) = (attempt.clone(), change.clone());
        let (question, step) = (question.to_owned(), step.to_owned());
        self.connections
            .write(move |c| overrides::set(c, &attempt, &question, &step, &points, deliver, &change))
            .await
    }

    async fn allow_attempt(
        &self,
        placement: &PlacementId,
        user: &UserId,
        known_extra: u32,
        change: &Change,
    ) -> Result<Allowed, StorageError> {
        let (placement, user, change) = (placement.clone(), user.clone(), change.clone());
        self.connections.write(move |c| overrides::allow(c, &placement, &user, known_extra, &change)).await
    }

    async fn extra_attempts(&self, placement: &PlacementId) -> Result<BTreeMap<UserId, u32>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| overrides::extra_at(c, &placement)).await
    }

    async fn reset_pupil(
        &self,
        placement: &PlacementId,
        user: &UserId,
        change: &Change,
    ) -> Result<usize, StorageError> {
        let (placement, user, change) = (placement.clone(), user.clone(), change.clone());
        self.connections.write(move |c| attempts::reset(c, &placement, &user, &change)).await
    }

    async fn add_sheets(&self, sheets: Vec<StoredSheet>, change: &Change) -> Result<(), StorageError> {
        let change = change.clone();
        self.connections.write(move |c| sheets::add(c, &sheets, &change)).await
    }

    async fn sheets_at(&self, placement: &PlacementId) -> Result<Vec<StoredSheet>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| sheets::at_placement(c, &placement)).await
    }

    async fn sheet(&self, code: SheetCode) -> Result<Option<StoredSheet>, StorageError> {
        self.connections.read(move |c| sheets::by_code(c, code)).await
    }

    async fn begin_sheet(
        &self,
        placement: &PlacementId,
        code: SheetCode,
        user: &UserId,
        change: &Change,
    ) -> Result<SheetBegun, StorageError> {
        let (placement, user, change) = (placement.clone(), user.clone(), change.clone());
        self.connections.write(move |c| sheets::begin(c, &placement, code, &user, &change)).await
    }

    async fn note_launch(
        &self,
        placement: &PlacementId,
        member: &Member,
        roster: Option<&Url>,
    ) -> Result<(), StorageError> {
        let (placement, member, roster) = (placement.clone(), member.clone(), roster.cloned());
        self.connections.write(move |c| people::note_launch(c, &placement, &member, roster.as_ref())).await
    }

    async fn members_at(&self, placement: &PlacementId) -> Result<Vec<Member>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| people::members(c, &placement)).await
    }

    async fn roster(&self, placement: &PlacementId) -> Result<Option<Roster>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| people::roster(c, &placement)).await
    }

    async fn claim_roster(
        &self,
        placement: &PlacementId,
        asked_before: Timestamp,
        now: Timestamp,
    ) -> Result<Option<Roster>, StorageError> {
        let placement = placement.clone();
        self.connections.write(move |c| people::claim_roster(c, &placement, asked_before, now)).await
    }

    async fn put_roster(
        &self,
        placement: &PlacementId,
        reading: RosterReading,
        now: Timestamp,
    ) -> Result<(), StorageError> {
        let placement = placement.clone();
        self.connections.write(move |c| people::put_roster(c, &placement, &reading, now)).await
    }

    async fn forget_names(&self) -> Result<usize, StorageError> {
        self.connections.write(people::forget_names).await
    }

    async fn overdue_attempts(
        &self,
        ended_before: Timestamp,
        limit: usize,
    ) -> Result<Vec<OverdueAttempt>, StorageError> {
        self.connections.read(move |c| people::overdue(c, ended_before, limit)).await
    }

    async fn held(&self, issuer: &str, user: &UserId, change: &Change) -> Result<Held, StorageError> {
        let (issuer, user, change) = (issuer.to_owned(), user.clone(), change.clone());
        self.connections.write(move |c| holdings::held(c, &issuer, &user, &change)).await
    }

    async fn purge(
        &self,
        scope: &PurgeScope,
        waiting: WaitingGrades,
        dry_run: bool,
        change: &Change,
    ) -> Result<Purged, StorageError> {
        let (scope, change) = (scope.clone(), change.clone());
        self.connections.write(move |c| holdings::purge(c, &scope, waiting, dry_run, &change)).await
    }

    async fn clear_traces(&self, whole: bool) -> Result<(), StorageError> {
        let Some(path) = self.path.clone() else { return Ok(()) };
        let clearing = tokio::task::spawn_blocking(move || clear_traces(&path, whole));
        clearing.await.map_err(|error| StorageError::Database(error.to_string()))?
    }

    async fn lease_grades(
        &self,
        now: Timestamp,
        leased_until: Timestamp,
        room: &Room,
    ) -> Result<Vec<LeasedGrade>, StorageError> {
        let room = room.clone();
        self.connections.write(move |c| outbox::lease(c, now, leased_until, &room)).await
    }

    async fn finish_grade(
        &self,
        grade: &LeasedGrade,
        outcome: &DeliveryOutcome,
        now: Timestamp,
    ) -> Result<(), StorageError> {
        let (grade, outcome) = (grade.clone(), outcome.clone());
        self.connections.write(move |c| outbox::finish(c, &grade, &outcome, now)).await
    }

    async fn release_leases(&self) -> Result<(), StorageError> {
        self.connections.write(outbox::release_leases).await
    }

    async fn next_grade_due(
        &self,
        except: &BTreeSet<RegistrationId>,
    ) -> Result<Option<Timestamp>, StorageError> {
        let except = except.clone();
        self.connections.read(move |c| outbox::next_due(c, &except)).await
    }

    async fn deliveries_at(&self, placement: &PlacementId) -> Result<Vec<Delivery>, StorageError> {
        let all =
            DeliveryQuery { placement: Some(placement.clone()), limit: usize::MAX, ..Default::default() };
        self.deliveries(&all).await
    }

    async fn deliveries(&self, query: &DeliveryQuery) -> Result<Vec<Delivery>, StorageError> {
        let query = query.clone();
        self.connections.read(move |c| outbox::find(c, &query)).await
    }

    async fn delivery_queue(&self) -> Result<DeliveryQueue, StorageError> {
        self.connections.read(outbox::queue).await
    }

    async fn send_again(
        &self,
        placement: &PlacementId,
        user: Option<&UserId>,
        change: &Change,
    ) -> Result<usize, StorageError> {
        let (placement, user, change) = (placement.clone(), user.cloned(), change.clone());
        self.connections.write(move |c| outbox::send_again(c, &placement, user.as_ref(), &change)).await
    }

    async fn settle(
        &self,
        placement: &PlacementId,
        user: &UserId,
        choice: Choice,
        change: &Change,
    ) -> Result<bool, StorageError> {
        let (placement, user, change) = (placement.clone(), user.clone(), change.clone());
        self.connections.write(move |c| outbox::settle(c, &placement, &user, choice, &change)).await
    }

    async fn neighbours(&self, placement: &Placement) -> Result<Vec<Placement>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| pools::neighbours(c, &placement)).await
    }

    async fn placements_to_read(
        &self,
        delivered_after: Timestamp,
        read_before: Timestamp,
        limit: usize,
    ) -> Result<Vec<PlacementId>, StorageError> {
        self.connections.read(move |c| readings::to_read(c, delivered_after, read_before, limit)).await
    }

    async fn note_reading(&self, reading: &Reading, findings: &[Finding]) -> Result<(), StorageError> {
        let (reading, findings) = (reading.clone(), findings.to_vec());
        self.connections.write(move |c| readings::note(c, &reading, &findings)).await
    }

    async fn reading_of(&self, placement: &PlacementId) -> Result<Option<Reading>, StorageError> {
        let placement = placement.clone();
        self.connections.read(move |c| readings::of(c, &placement)).await
    }

    async fn add_api_token(&self, token: ApiToken, change: &Change) -> Result<(), StorageError> {
        let change = change.clone();
        self.connections.write(move |c| api_tokens::add(c, &token, &change)).await
    }

    async fn api_tokens(&self) -> Result<Vec<ApiToken>, StorageError> {
        self.connections.read(api_tokens::all).await
    }

    async fn api_token_used(&self, id: &str, on: jiff::civil::Date) -> Result<(), StorageError> {
        let id = id.to_owned();
        self.connections.write(move |c| api_tokens::used(c, &id, on)).await
    }

    async fn revoke_api_token(&self, id: &str, change: &Change) -> Result<bool, StorageError> {
        let (id, change) = (id.to_owned(), change.clone());
        self.connections.write(move |c| api_tokens::revoke(c, &id, &change)).await
    }

    async fn api_token(&self, secret: &Fingerprint) -> Result<Option<ApiToken>, StorageError> {
        let secret = secret.clone();
        self.connections.read(move |c| api_tokens::find(c, &secret)).await
    }

    async fn audit(&self, query: &AuditQuery) -> Result<Vec<AuditEntry>, StorageError> {
        let query = query.clone();
        self.connections.read(move |c| audit::find(c, &query)).await
    }

    async fn ping(&self) -> Result<(), StorageError> {
        self.connections.read(|c| c.query_row("SELECT 1", [], |_| Ok(())).map_err(row::failed)).await
    }
}
