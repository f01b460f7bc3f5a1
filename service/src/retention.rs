//! How long data on pupils is kept (`--keep`): what is older is deleted by the service itself.

use crate::app::App;
use crate::storage::{Actor, Change, PurgeCounts, PurgeScope, Purged, StorageError, WaitingGrades};

/// Deletes what is held on pupils who have done nothing for longer than data is kept, if that is limited. Grades that
/// still wait for a gradebook are not lost: their pupils stay until the next time.
pub(crate) async fn purge_old(app: &App) -> Result<(), StorageError> {
    let Some(keep) = app.settings.privacy.keep else { return Ok(()) };
    let now = app.clock.now();
    let scope = PurgeScope::Before(keep.before(now));
    let change = Change { at: now, by: Actor::Service };
    let purged = app.storage.purge(&scope, WaitingGrades::Keep, false, &change).await?;
    let Purged::Done { counts, waiting } = purged else { return Ok(()) };
    if waiting > 0 {
        tracing::warn!(grades = waiting, "old data is kept because grades still wait for a gradebook");
    }
    if counts != PurgeCounts::default() {
        tracing::info!(people = counts.people, attempts = counts.attempts, "old data was deleted");
        app.storage.clear_traces(false).await?;
    }
    Ok(())
}
