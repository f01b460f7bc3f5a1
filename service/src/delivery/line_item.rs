//! The line item that a placement's scores go to: named by a launch, found earlier, or looked for now.

use std::time::Duration;

use url::Url;

use super::{Deliverer, Target};
use crate::clock::plus_ms;
use crate::lti::grades::{GradeError, NewColumn};
use crate::storage::{LeasedGrade, Placement, StorageError};

/// How long one process looks for columns of a platform alone; longer than all its calls together can take.
const CLAIM_MS: i64 = 60 * 1000;
/// How often, and after which pause, another one asks whether it may.
const CLAIM_TRIES: usize = 40;
const CLAIM_PAUSE: Duration = Duration::from_millis(250);

impl Deliverer {
    /// The placement's line item; looked for, and then remembered, when launches did not name one.
    pub(super) async fn line_item(
        &self,
        target: &Target,
        grade: &LeasedGrade,
    ) -> Result<Result<Url, GradeError>, StorageError> {
        match known(&target.placement) {
            Some(line_item) => Ok(Ok(line_item)),
            None => self.look_for(target, grade, None).await,
        }
    }

    /// The link's present line item in place of one that is gone.
    pub(super) async fn line_item_instead_of(
        &self,
        gone: &Url,
        target: &Target,
        grade: &LeasedGrade,
    ) -> Result<Result<Url, GradeError>, StorageError> {
        self.look_for(target, grade, Some(gone)).await
    }

    async fn look_for(
        &self,
        target: &Target,
        grade: &LeasedGrade,
        gone: Option<&Url>,
    ) -> Result<Result<Url, GradeError>, StorageError> {
        // One at a time for each platform, so that a class whose grades come together makes one column, not many.
        let finding = self.finding.of(target.registration.id);
        let _finding = finding.lock().await;
        // Other processes look for columns, too.
        let claim = format!("columns of {}", target.registration.id);
        for _ in 0..CLAIM_TRIES {
            // Another grade of the same quiz may have found it meanwhile.
            let now_known = self.storage.placement(&target.placement.id).await?.as_ref().and_then(known);
            if let Some(line_item) = now_known.filter(|known| Some(known) != gone) {
                return Ok(Ok(line_item));
            }
            let now = self.clock.now();
            if self.storage.claim(&claim, now, plus_ms(now, CLAIM_MS)).await? {
                let found = self.find(target, grade).await;
                self.storage.give_up_claim(&claim).await?;
                return found;
            }
            tokio::time::sleep(CLAIM_PAUSE).await;
        }
        // The message is sent a little later; the platform is not to blame.
        Err(StorageError::Busy)
    }

    async fn find(
        &self,
        target: &Target,
        grade: &LeasedGrade,
    ) -> Result<Result<Url, GradeError>, StorageError> {
        let neighbours = self.storage.neighbours(&target.placement).await?;
        let label = self.label(&target.placement).await?;
        let new = NewColumn { label: &label, maximum: grade.maximum };
        let Target { registration, placement } = target;
        let found =
            self.grades.find_line_item(registration, placement, &neighbours, new, self.clock.now()).await;
        if let Ok(line_item) = &found {
            self.storage.set_line_item(&target.placement.id, line_item).await?;
        }
        Ok(found)
    }

    /// What teachers read at the head of the column: the link's title, or the pool's where the platform named none.
    async fn label(&self, placement: &Placement) -> Result<String, StorageError> {
        let title = placement.quiz.title.trim();
        if !title.is_empty() {
            return Ok(title.to_owned());
        }
        let id = &placement.quiz.pool;
        let pool = self.storage.pools().await?.into_iter().find(|pool| pool.id == *id);
        Ok(pool.map_or_else(|| id.to_string(), |pool| pool.title))
    }
}

/// The line item that a launch named or we found earlier.
pub(super) fn known(placement: &Placement) -> Option<Url> {
    placement.quiz.grades.as_ref().and_then(|grades| grades.line_item.clone())
}
