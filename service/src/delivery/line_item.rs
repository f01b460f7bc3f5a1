//! The line item that a placement's scores go to: named by a launch, found earlier, or looked for now.

use url::Url;

use super::{Deliverer, Target};
use crate::lti::grades::{GradeError, NewColumn};
use crate::storage::{LeasedGrade, Placement, StorageError};

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
        // Another grade of the same quiz may have found it meanwhile.
        let now_known = self.storage.placement(&target.placement.id).await?.as_ref().and_then(known);
        if let Some(line_item) = now_known.filter(|known| Some(known) != gone) {
            return Ok(Ok(line_item));
        }
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
