//! A placement together with its proven pool: what the pupil's and the teacher's pages both start from.

use std::sync::Arc;

use jiff::Timestamp;
use qbank::grade::Grade;
use qbank::locale::Language;
use qbank::marking::{LentMark, Mark, Marker};
use qbank::pool::Pool;
use qbank::question::Item;

use super::answer::PageError;
use super::proven_pools::ProvenPool;
use crate::app::App;
use crate::storage::{Attempt, AttemptId, AttemptResult, Placement, PlacementId, Responses};
use crate::windows::Zone;

/// A quiz in a course, ready to be shown.
pub(crate) struct OpenedQuiz {
    pub(crate) placement: Placement,
    pub(crate) pool: Arc<ProvenPool>,
}

impl OpenedQuiz {
    /// Finds the placement and its pool.
    ///
    /// # Errors
    /// [`PageError::NotFound`], [`PageError::NoPool`], or what the store met.
    pub(crate) async fn find(app: &App, id: &PlacementId) -> Result<Self, PageError> {
        let placement = app.storage.placement(id).await?.ok_or(PageError::NotFound)?;
        Self::of(app, placement).await
    }

    /// A placement with its pool.
    ///
    /// # Errors
    /// [`PageError::NoPool`], or what the store met.
    pub(crate) async fn of(app: &App, placement: Placement) -> Result<Self, PageError> {
        let pool = app.pools.of_placement(app.storage.as_ref(), &placement).await?;
        Ok(Self { placement, pool })
    }

    /// The same with that many attempts more.
    pub(crate) fn with_extra_attempts(mut self, extra: u32) -> Self {
        let allowed = &mut self.placement.quiz.attempts_allowed;
        *allowed = allowed.saturating_add(extra);
        self
    }

    /// An attempt at this quiz.
    ///
    /// # Errors
    /// [`PageError::NotFound`] when there is none with that id here.
    pub(crate) async fn attempt(&self, app: &App, id: &AttemptId) -> Result<Attempt, PageError> {
        let attempt = app.storage.attempt(id).await?;
        attempt.filter(|attempt| attempt.placement == self.placement.id).ok_or(PageError::NotFound)
    }

    /// The questions that a seed draws for one pupil.
    pub(crate) fn questions(&self, seed: &str) -> Vec<&Item> {
        let count = usize::try_from(self.placement.quiz.question_count).unwrap_or(usize::MAX);
        self.pool.draw(count, seed)
    }

    /// What an attempt with these questions comes to that is handed in with these responses, at that time.
    pub(crate) fn result(
        &self,
        questions: &[&Item],
        attempt: &Attempt,
        responses: &Responses,
        submitted_at: Timestamp,
    ) -> AttemptResult {
        let (pupil, policy) = (attempt.user.as_str(), self.placement.quiz.policy);
        let markers: Vec<Marker<'_>> = questions.iter().map(|item| Marker::new(item, policy)).collect();
        let marked = markers.iter().map(|marker| {
            let steps = responses.get(marker.item().id.as_str());
            let response =
                move |step: &str| steps.and_then(|steps| steps.get(step)).map_or("", String::as_str);
            marker.mark(pupil, &marker.item().id, response)
        });
        let marks: Vec<LentMark<'_>> = marked.collect();
        let Grade { given: points, maximum } = Grade::of(&marks);
        AttemptResult {
            submitted_at,
            marks: serde_json::to_string(&marks).expect("mark records are plain and have text keys"),
            points,
            maximum,
            overrides: Vec::new(),
        }
    }

    /// The zone in which the teacher chose the times, else the schools' own.
    pub(crate) fn zone<'a>(&'a self, app: &'a App) -> &'a Zone {
        self.placement.quiz.windows.zone.as_ref().unwrap_or(&app.settings.time_zone)
    }

    /// The title pupils see, never empty.
    pub(crate) fn title(&self) -> String {
        let title = self.placement.quiz.title.trim();
        if title.is_empty() { self.pool.title.clone() } else { title.to_owned() }
    }

    /// Whether grades can reach the course's gradebook.
    pub(crate) fn sends_grades(&self) -> bool {
        self.placement.quiz.grades.as_ref().is_some_and(|grades| {
            grades.scopes.contains(SCORE_SCOPE) && (grades.line_item.is_some() || grades.line_items.is_some())
        })
    }
}

/// The right to send scores.
const SCORE_SCOPE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";

/// The marks of a closed attempt, with the points that the teacher gave.
///
/// # Errors
/// [`PageError::Record`] when they cannot be read back.
pub(crate) fn marks(result: &AttemptResult) -> Result<Vec<Mark>, PageError> {
    result.marked().map_err(|error| PageError::Record(format!("marks: {error}")))
}

/// The same as records to give out: the notes of changed marks say so.
///
/// # Errors
/// As [`marks`].
pub(crate) fn recorded_marks(result: &AttemptResult, pool: Option<&Pool>) -> Result<Vec<Mark>, PageError> {
    let language = pool.and_then(|pool| Language::of_locale(&pool.locale)).unwrap_or_default();
    result.recorded(language).map_err(|error| PageError::Record(format!("marks: {error}")))
}

/// The best of several closed attempts: most points, the earlier one where equal.
pub(crate) fn best<'a>(attempts: impl IntoIterator<Item = &'a Attempt>) -> Option<&'a AttemptResult> {
    best_attempt(attempts)?.result.as_ref()
}

/// As [`best`], the attempt itself.
pub(crate) fn best_attempt<'a>(attempts: impl IntoIterator<Item = &'a Attempt>) -> Option<&'a Attempt> {
    let closed = attempts.into_iter().filter_map(|attempt| Some((attempt, attempt.result.as_ref()?)));
    let best = closed.reduce(|best, next| {
        // Compared as fractions, since two forms of one pool may be worth different points.
        let better = u64::from(next.1.points) * u64::from(best.1.maximum)
            > u64::from(best.1.points) * u64::from(next.1.maximum);
        if better { next } else { best }
    });
    best.map(|(attempt, _)| attempt)
}
