//! What a store has come to since its start, for those who run the service.

use std::time::Duration;

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;

use super::StorageError;

/// Numbers of one store; clones share them.
#[derive(Debug, Clone)]
pub struct StoreNumbers {
    pub(crate) errors: Family<KindLabel, Counter>,
    pub(crate) steps: Family<LaneLabel, Gauge>,
    pub(crate) waits: Family<LaneLabel, Histogram>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub(crate) struct KindLabel {
    kind: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
pub(crate) struct LaneLabel {
    lane: &'static str,
}

/// Upper ends of the steps of waiting, in seconds: from one flush of a good disk to the time after which a step is given up.
fn wait_ends_s() -> Histogram {
    Histogram::new([0.001, 0.005, 0.02, 0.1, 0.5, 1.0, 2.0, 5.0, 10.0])
}

impl Default for StoreNumbers {
    fn default() -> Self {
        Self {
            errors: Family::default(),
            steps: Family::default(),
            waits: Family::new_with_constructor(wait_ends_s),
        }
    }
}

impl StoreNumbers {
    /// A step enters the queue of a lane; what is returned says, when dropped, that it is done.
    pub(super) fn enter(&self, lane: &'static str) -> Entered {
        let steps = self.steps.get_or_create_owned(&LaneLabel { lane });
        steps.inc();
        Entered(steps)
    }

    /// A step was taken from the queue of a lane.
    pub(super) fn waited(&self, lane: &'static str, waited: Duration) {
        self.waits.get_or_create(&LaneLabel { lane }).observe(waited.as_secs_f64());
    }

    /// A step failed.
    pub(crate) fn failed(&self, error: &StorageError) {
        let kind = match error {
            StorageError::Unavailable(_) => "unavailable",
            StorageError::Unreadable { .. } => "unreadable",
            StorageError::Database(_) => "database",
            StorageError::Busy => "busy",
            StorageError::Full(_) => "full",
            StorageError::Address { .. }
            | StorageError::TooNew { .. }
            | StorageError::NotEmpty { .. }
            | StorageError::InUse { .. } => "store",
            StorageError::Closed => "closed",
        };
        self.errors.get_or_create(&KindLabel { kind }).inc();
    }
}

/// A step that waits or is run.
pub(super) struct Entered(Gauge);

impl Drop for Entered {
    fn drop(&mut self) {
        self.0.dec();
    }
}
