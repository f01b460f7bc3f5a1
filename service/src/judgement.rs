//! What each pupil's answers, taken together, are consistent with: beliefs kept pupil by pupil while marks go by.
use std::collections::BTreeMap;

use qbank::{
    diagnosis::{Beliefs, Evidence},
    marking::Mark,
    pool::Pool,
    question::Item,
};
use serde::Serialize;
use utoipa::ToSchema;

/// What may be said of a pupil in one group of misconceptions: a name or two.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct PupilDiagnosis {
    /// Who answered.
    pub(crate) pupil: String,
    /// The group of misconceptions, such as `subtraction`.
    pub(crate) group: &'static str,
    /// One misconception, or two that the answers do not tell apart.
    pub(crate) named: Vec<&'static str>,
    /// Answers that were the first one's own.
    pub(crate) hits: u32,
    /// Answers where it shows.
    pub(crate) shown: u32,
    /// Right answers where it shows.
    pub(crate) contrary: u32,
    /// The odds against all else in the group, to 1.
    pub(crate) odds: u64,
    /// One sentence for the teacher.
    pub(crate) says: String,
    /// An idea for what to do next, for each name.
    pub(crate) next: Vec<String>,
}

/// Beliefs about all pupils met so far.
pub(crate) struct Judgement<'p> {
    items: BTreeMap<&'p str, &'p Item>,
    pupils: BTreeMap<String, Beliefs>,
}

impl<'p> Judgement<'p> {
    /// Nothing seen yet.
    pub(crate) fn of(pool: &'p Pool) -> Self {
        Self { items: pool.items().map(|item| (item.id.as_str(), item)).collect(), pupils: BTreeMap::new() }
    }

    /// Takes one mark; later ones are newer. Marks of questions that the pool does not have say nothing.
    pub(crate) fn see(&mut self, mark: &Mark) {
        if let Some(item) = self.items.get(mark.question.as_str()) {
            self.pupils.entry(mark.pupil.clone()).or_default().see(&Evidence::of(item, mark));
        }
    }

    /// What may be said, by pupil.
    pub(crate) fn finish(self) -> Vec<PupilDiagnosis> {
        let each = |(pupil, beliefs): (String, Beliefs)| {
            beliefs.diagnoses().into_iter().filter_map(move |diagnosis| {
                Some(PupilDiagnosis {
                    pupil: pupil.clone(),
                    group: diagnosis.group.name(),
                    says: diagnosis.teacher()?,
                    next: diagnosis.next(),
                    named: diagnosis.named,
                    hits: diagnosis.hits,
                    shown: diagnosis.evidence_steps,
                    contrary: diagnosis.contrary,
                    odds: diagnosis.odds,
                })
            })
        };
        self.pupils.into_iter().flat_map(each).collect()
    }
}
