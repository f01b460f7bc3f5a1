//! What each pupil's answers, taken together, are consistent with: beliefs kept pupil by pupil while marks go by.
use std::collections::BTreeMap;

use qbank::{
    diagnosis::{Beliefs, Evidence},
    marking::Mark,
    pool::Pool,
    question::Item,
};
use serde::Serialize;

/// What may be said of a pupil in one group of misconceptions: a name or two.
#[derive(Debug, Serialize)]
pub(super) struct PupilDiagnosis {
    /// Who answered.
    pub(super) pupil: String,
    /// The group of misconceptions, such as `subtraction`.
    pub(super) group: &'static str,
    /// One misconception, or two that the answers do not tell apart.
    pub(super) named: Vec<&'static str>,
    /// Answers that were the first one's own, of how many where it shows; right answers there.
    pub(super) hits: u32,
    pub(super) shown: u32,
    pub(super) contrary: u32,
    /// The odds against all else in the group, to 1.
    pub(super) odds: u64,
    /// One sentence for the teacher.
    pub(super) says: String,
    /// An idea for what to do next, for each name.
    pub(super) next: Vec<String>,
}

/// Beliefs about all pupils met so far.
pub(super) struct Judgement<'p> {
    items: BTreeMap<&'p str, &'p Item>,
    pupils: BTreeMap<String, Beliefs>,
}

impl<'p> Judgement<'p> {
    /// Nothing seen yet.
    pub(super) fn of(pool: &'p Pool) -> Self {
        Self { items: pool.items().map(|item| (item.id.as_str(), item)).collect(), pupils: BTreeMap::new() }
    }

    /// Takes one mark; later ones are newer. Marks of questions that the pool does not have say nothing.
    pub(super) fn see(&mut self, mark: &Mark) {
        if let Some(item) = self.items.get(mark.question.as_str()) {
            self.pupils.entry(mark.pupil.clone()).or_default().see(&Evidence::of(item, mark));
        }
    }

    /// What may be said, by pupil.
    pub(super) fn finish(self) -> Vec<PupilDiagnosis> {
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
