//! What every handler may use, put together once at start.

use std::sync::Arc;

use crate::clock::Clock;
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
}
