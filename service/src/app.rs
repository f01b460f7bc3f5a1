//! What every handler may use, put together once at start.

use std::sync::Arc;

use crate::clock::Clock;
use crate::delivery::{Deliverer, Waker};
use crate::entropy;
use crate::handlers::ProvenPools;
use crate::handlers::district::KeptUse;
use crate::jobs::Jobs;
use crate::lti::access_token::AccessTokens;
use crate::lti::grades::GradeService;
use crate::lti::keys::{KeySetError, ToolKeys};
use crate::lti::outgoing;
use crate::lti::platform_keys::PlatformKeys;
use crate::lti::registration::Calls;
use crate::lti::roster::RosterService;
use crate::metrics::Metrics;
use crate::seal::SealKey;
use crate::server::limits::Limits;
use crate::server::standing::Standing;
use crate::settings::Settings;
use crate::storage::Storage;

/// The parts that handlers share. Held in `web::Data<App>`.
pub struct App {
    /// Checked settings.
    pub settings: Settings,
    /// The memory.
    pub storage: Arc<dyn Storage>,
    /// The time of day.
    pub clock: Arc<dyn Clock>,
    /// Pools that were read and proven already.
    pub pools: ProvenPools,
    /// Our signing keys.
    pub tool_keys: Arc<ToolKeys>,
    /// Calls to platforms that register themselves.
    pub registration_calls: Calls,
    /// Seals what forms carry through a browser.
    pub form_key: SealKey,
    /// Platforms' public keys.
    pub platform_keys: PlatformKeys,
    /// What each address has asked of us lately.
    pub limits: Limits,
    /// Whether this process can take requests.
    pub standing: Standing,
    /// Numbers for those who run the service.
    pub metrics: Arc<Metrics>,
    /// Wakes the delivery worker.
    pub waker: Waker,
    /// Work in the background.
    pub jobs: Jobs,
    /// What coordinators were told of use last.
    pub(crate) kept_use: KeptUse,
    /// Sends grades.
    pub deliverer: Arc<Deliverer>,
    /// Reads class lists.
    pub(crate) rosters: RosterService,
}

impl App {
    /// Puts the parts together; makes our first keys if the store has none.
    ///
    /// # Errors
    /// [`KeySetError`] when our keys cannot be loaded.
    pub async fn new(
        settings: Settings,
        storage: Arc<dyn Storage>,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, KeySetError> {
        let tool_keys =
            Arc::new(ToolKeys::load(storage.clone(), clock.clone(), settings.seal_key.clone()).await?);
        let (client, reach) = (outgoing::client(settings.reach), settings.reach);
        let metrics = Arc::new(Metrics::new(&storage.numbers(), clock.now()));
        let tokens = AccessTokens::new(client.clone(), reach, clock.clone(), tool_keys.clone());
        let grades = GradeService::new(client.clone(), reach, tokens);
        let roster_tokens = AccessTokens::new(client.clone(), reach, clock.clone(), tool_keys.clone());
        let rosters = RosterService::new(client.clone(), reach, roster_tokens);
        let deliverer = Deliverer::new(storage.clone(), clock.clone(), grades, metrics.clone());
        // What one process seals in a form or cookie, any other opens.
        let form_key = match &settings.seal_key {
            Some(key) => key.clone(),
            None => SealKey::parse(&storage.shared_secret("forms", &entropy::secret()).await?)
                .map_err(|_| KeySetError::Unreadable { kid: "the shared secret of forms".to_owned() })?,
        };
        Ok(Self {
            registration_calls: Calls::new(client.clone(), reach),
            form_key: form_key.clone(),
            platform_keys: PlatformKeys::new(client, reach, clock.clone()),
            deliverer: Arc::new(deliverer),
            limits: Limits::new(settings.requests_per_second, form_key.clone()),
            standing: Standing::new(settings.requests_at_once),
            waker: Waker::default(),
            jobs: Jobs::new(storage.clone(), clock.clone()),
            kept_use: KeptUse::default(),
            rosters,
            pools: ProvenPools::default(),
            settings,
            storage,
            clock,
            tool_keys,
            metrics,
        })
    }
}
