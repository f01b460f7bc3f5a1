//! Comparing the gradebook with what was delivered, so that a teacher's own mark is never overwritten unseen.
//!
//! A column is read back
//! - before a changed grade goes to a pupil who has one already, that pupil's cell only: the one moment at which sending
//!   could overwrite somebody's decision. A first grade is sent without looking, since the look would double the calls of
//!   every class for a case that the readings below report;
//! - when a teacher asks, and
//! - once a day for quizzes that delivered something in the last fortnight, since teachers correct marks after lessons, not
//!   within minutes, and a platform has better things to do than to answer us.
//!
//! Differences are reported and kept with the pupil's row. A cell that shows another mark than ours holds a later grade of
//! ours until a teacher chooses; an empty cell holds nothing, since nothing is overwritten there and platforms may show
//! results late. A platform that does not let us read results is sent to as if there were nothing to see, and pages say so.

use std::sync::Arc;
use std::time::Duration;

use rust_decimal::Decimal;
use tokio::sync::watch;

use super::{Deliverer, Target, line_item};
use crate::clock::plus_ms;
use crate::lti::grades::{GradeError, Results};
use crate::lti::vocabulary as v;
use crate::storage::{
    CellState, Delivery, DeliveryState, Drift, Finding, GradebookMark, LeasedGrade, Placement, PlacementId,
    Progress, Reading, Score, StorageError,
};

/// How often columns are looked for that were not read for a day.
const SWEEP_EVERY: Duration = Duration::from_secs(60 * 60);
const READ_AGAIN_AFTER_MS: i64 = 24 * 60 * 60 * 1_000;
const DELIVERED_WITHIN_MS: i64 = 14 * READ_AGAIN_AFTER_MS;
/// How many columns one sweep reads.
const SWEEP_MAX: usize = 200;

/// What is said where results cannot be read.
const NO_READING: &str = "the platform does not let us read its gradebook";

/// What may be done with a grade after a look at the gradebook.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Look {
    /// It may be sent.
    Free,
    /// The cell has a mark that is not ours.
    Other(Drift, GradebookMark),
    /// The look failed; the try fails with it.
    Failed(GradeError),
}

impl Deliverer {
    /// Looks at the pupil's cell before a changed grade goes there.
    pub(super) async fn look(&self, target: &Target, line_item: &url::Url, grade: &LeasedGrade) -> Look {
        let cell = &grade.cell;
        let may_overwrite_something = cell.delivered.is_some() || cell.drift.is_some();
        let is_grade = matches!(grade.progress, Progress::Graded { .. });
        if !is_grade || !may_overwrite_something || !may_read(&target.placement) {
            return Look::Free;
        }
        let (user, now) = (Some(&grade.user), self.clock.now());
        let results =
            self.grades.results(&target.registration, &target.placement, line_item, user, now).await;
        match results {
            Ok(results) => judge(cell, results.get(&grade.user).copied()),
            Err(error @ GradeError::Temporary { .. }) => Look::Failed(error),
            Err(error) => {
                // The right to read may have been taken away; the grade is not kept waiting for that.
                tracing::warn!(placement.id = %grade.placement, ?error, "a result could not be read back");
                Look::Free
            }
        }
    }

    /// Reads a placement's whole column and notes how it differs from what was delivered.
    ///
    /// # Errors
    /// When the store fails. A platform that cannot be read is noted in the reading.
    pub async fn compare(&self, id: &PlacementId) -> Result<Option<Reading>, StorageError> {
        let Some(target) = self.target(id).await? else { return Ok(None) };
        let before = self.storage.deliveries_at(id).await?;
        let (problem, findings) = match self.read_column(&target).await {
            Ok(results) => (None, before.iter().filter_map(|delivery| finding(delivery, &results)).collect()),
            Err(problem) => (Some(problem), Vec::new()),
        };
        let reading = Reading { placement: id.clone(), at: self.clock.now(), problem };
        self.storage.note_reading(&reading, &findings).await?;
        let differ = findings.iter().filter(|finding| finding.drift.is_some()).count();
        tracing::info!(placement.id = %id, differ, "a gradebook column was compared");
        Ok(Some(reading))
    }

    async fn read_column(&self, target: &Target) -> Result<Results, String> {
        if !may_read(&target.placement) {
            return Err(NO_READING.to_owned());
        }
        let line_item = line_item::known(&target.placement)
            .ok_or_else(|| "the quiz has no known column in the gradebook yet".to_owned())?;
        let now = self.clock.now();
        self.grades.results(&target.registration, &target.placement, &line_item, None, now).await.map_err(
            |error| match error {
                GradeError::Temporary { problem, .. } | GradeError::Permanent { problem, .. } => problem,
                GradeError::Gone | GradeError::OlderThanKnown => {
                    "the column is gone from the gradebook (404)".to_owned()
                }
            },
        )
    }

    /// Reads columns back from time to time until `stop` turns true.
    pub(crate) async fn sweep(self: Arc<Self>, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow() {
            tokio::select! {
                () = tokio::time::sleep(SWEEP_EVERY) => {}
                _ = stop.changed() => continue,
            }
            if let Err(error) = self.compare_due().await {
                tracing::error!(%error, "gradebooks could not be compared");
            }
        }
    }

    /// Compares the columns that are due, one after the other; returns how many.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn compare_due(&self) -> Result<usize, StorageError> {
        let now = self.clock.now();
        let (delivered_after, read_before) =
            (plus_ms(now, -DELIVERED_WITHIN_MS), plus_ms(now, -READ_AGAIN_AFTER_MS));
        let due = self.storage.placements_to_read(delivered_after, read_before, SWEEP_MAX).await?;
        for id in &due {
            self.compare(id).await?;
        }
        Ok(due.len())
    }
}

/// Whether the platform lets us read results of this link.
pub(crate) fn may_read(placement: &Placement) -> bool {
    placement.quiz.grades.as_ref().is_some_and(|grades| grades.scopes.contains(v::SCOPE_RESULT))
}

fn judge(cell: &CellState, shown: Option<GradebookMark>) -> Look {
    match (drift(cell, shown), shown) {
        (Some(drift @ (Drift::Different | Drift::Own)), Some(shown)) => {
            let chosen = cell.overwrite && cell.found == Some(shown);
            if chosen { Look::Free } else { Look::Other(drift, shown) }
        }
        _ => Look::Free,
    }
}

/// How a cell that shows this differs from what was delivered.
fn drift(cell: &CellState, shown: Option<GradebookMark>) -> Option<Drift> {
    match (cell.delivered, shown) {
        (None, None) => None,
        (Some(_), None) => Some(Drift::Missing),
        (_, Some(shown)) if cell.ours.iter().any(|score| is_same(*score, shown)) => None,
        (Some(_), Some(_)) => Some(Drift::Different),
        (None, Some(_)) => Some(Drift::Own),
    }
}

/// Whether a mark is a score of ours on the platform's scale. Platforms round: less than half a percent is no difference.
fn is_same(ours: Score, shown: GradebookMark) -> bool {
    let scaled = |value: Decimal, by: u32| value.checked_mul(Decimal::from(by));
    // |shown.points / shown.maximum - ours.points / ours.maximum| < 1/200, without dividing.
    let difference = || {
        let (shown_part, ours_part) =
            (scaled(shown.points, ours.maximum)?, scaled(shown.maximum, ours.points)?);
        let apart = shown_part.checked_sub(ours_part)?.abs();
        Some((scaled(apart, 200)?, scaled(shown.maximum, ours.maximum)?))
    };
    difference().is_some_and(|(apart, limit)| apart < limit)
}

/// What a reading says of one pupil; nothing while a message is on its way, since the cell is about to change.
fn finding(delivery: &Delivery, results: &Results) -> Option<Finding> {
    if delivery.state == DeliveryState::Waiting {
        return None;
    }
    let found = results.get(&delivery.user).copied();
    let drift = drift(&delivery.cell, found);
    let found = found.filter(|_| drift.is_some());
    Some(Finding { user: delivery.user.clone(), version: delivery.version, drift, found })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(points: &str, maximum: &str) -> GradebookMark {
        GradebookMark { points: points.parse().unwrap(), maximum: maximum.parse().unwrap() }
    }

    fn score(points: u32, maximum: u32) -> Score {
        Score { points, maximum }
    }

    #[test]
    fn a_mark_on_another_scale_and_rounded_is_the_same() {
        for (ours, theirs) in [
            (score(7, 10), shown("70", "100")),
            (score(1, 3), shown("0.33", "1")),
            (score(2, 3), shown("66.67", "100")),
            (score(8, 15), shown("53", "100")),
            (score(0, 10), shown("0", "10")),
        ] {
            assert!(is_same(ours, theirs), "{ours} and {theirs}");
        }
        for (ours, theirs) in [
            (score(7, 10), shown("8", "10")),
            (score(7, 10), shown("7.1", "10")),
            (score(0, 10), shown("0.05", "10")),
            (score(10, 10), shown("11", "10")),
        ] {
            assert!(!is_same(ours, theirs), "{ours} and {theirs}");
        }
    }

    #[test]
    fn a_grade_whose_answer_was_lost_is_ours_too() {
        let cell = CellState {
            delivered: Some(score(7, 10)),
            ours: vec![score(7, 10), score(9, 10)],
            ..CellState::default()
        };
        for (seen, expected) in [
            (Some(shown("7", "10")), None),
            (Some(shown("9", "10")), None),
            (Some(shown("8", "10")), Some(Drift::Different)),
            (None, Some(Drift::Missing)),
        ] {
            assert_eq!(drift(&cell, seen), expected, "{seen:?}");
        }
        assert_eq!(drift(&CellState::default(), Some(shown("8", "10"))), Some(Drift::Own));
        assert_eq!(drift(&CellState::default(), None), None);
    }

    #[test]
    fn a_teachers_choice_holds_for_the_mark_they_saw_only() {
        let cell = CellState {
            delivered: Some(score(7, 10)),
            ours: vec![score(7, 10)],
            drift: Some(Drift::Different),
            found: Some(shown("8", "10")),
            overwrite: true,
        };
        assert_eq!(judge(&cell, Some(shown("8.0", "10"))), Look::Free);
        assert_eq!(judge(&cell, Some(shown("6", "10"))), Look::Other(Drift::Different, shown("6", "10")));
        assert_eq!(judge(&cell, None), Look::Free, "an empty cell holds nothing to overwrite");
    }
}
