//! What is believed of one pupil, one item after the other: Bayes' rule in whole numbers, in memory that does not grow.
use alloc::vec::Vec;

use super::{
    evidence::{Evidence, StepEvidence},
    model::{AT_FIRST, Group, HITS, MIGRATION, NEWEST, ONE, Sight, likelihood},
};
use crate::misconceptions::{self, Misconception};

/// What is believed of one pupil.
#[derive(Clone, Debug)]
pub struct Beliefs {
    /// In the order of [`Group::ALL`].
    none: [u64; Group::ALL.len()],
    /// All misconceptions of the table, in its order.
    pub(super) held: Vec<Held>,
    /// Which groups are asked about.
    groups: Vec<Group>,
}

/// What is believed of one misconception.
#[derive(Clone, Debug)]
pub(super) struct Held {
    pub(super) misconception: &'static Misconception,
    pub(super) group: Group,
    /// How likely it is held, in parts of [`ONE`].
    pub(super) weight: u64,
    /// Answers so far that were its own.
    pub(super) hits: u32,
    /// Right answers so far where it leads to a wrong one.
    pub(super) contrary: u32,
    /// Answers so far on steps where it shows.
    pub(super) shown: u32,
    newest: Newest,
}

/// The newest answers where a misconception shows, one bit each, newest lowest.
#[derive(Clone, Copy, Debug, Default)]
struct Newest {
    hits: u32,
    right: u32,
}

/// How likely each misconception is held at the beginning.
const FIRST_WEIGHT: u64 = ONE / 1000 * AT_FIRST;

fn none_at_first(group: Group) -> u64 {
    ONE - FIRST_WEIGHT * group.members().count() as u64
}

impl Default for Beliefs {
    fn default() -> Self {
        Self::about(&Group::ALL)
    }
}

impl Beliefs {
    /// No evidence yet, on these groups: all their misconceptions are equally likely. Other groups are passed over.
    #[must_use]
    pub fn about(groups: &[Group]) -> Self {
        let held = misconceptions::all().map(|misconception| Held {
            misconception,
            group: Group::of(misconception),
            weight: FIRST_WEIGHT,
            hits: 0,
            contrary: 0,
            shown: 0,
            newest: Newest::default(),
        });
        Self { none: Group::ALL.map(none_at_first), held: held.collect(), groups: groups.to_vec() }
    }

    /// The groups asked about.
    #[must_use]
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// Takes in one more item: older evidence fades a little, then the new evidence counts.
    pub fn see(&mut self, evidence: &Evidence) {
        for index in 0..self.groups.len() {
            let group = self.groups[index];
            let mut news = evidence.steps.iter().filter(|step| step.bears_on(group)).peekable();
            if news.peek().is_some() {
                self.migrate(group);
            }
            for step in news {
                self.weigh(group, step);
            }
        }
    }

    /// How likely the misconception of that name is held, per thousand; 0 for an unknown name.
    #[must_use]
    pub fn per_thousand(&self, misconception: &str) -> u64 {
        let held = self.held.iter().find(|held| held.misconception.id == misconception);
        held.map_or(0, |held| held.weight * 1000 / ONE)
    }

    /// Some of the belief goes back to where it began.
    fn migrate(&mut self, group: Group) {
        let moved = |weight: u64, first: u64| (weight * (1000 - MIGRATION) + first * MIGRATION) / 1000;
        let none = &mut self.none[group as usize];
        *none = moved(*none, none_at_first(group));
        for held in self.held.iter_mut().filter(|held| held.group == group) {
            held.weight = moved(held.weight, FIRST_WEIGHT);
        }
    }

    /// Bayes' rule for one step.
    fn weigh(&mut self, group: Group, step: &StepEvidence) {
        let unmoved = likelihood(None, step.right, step.plausible);
        let none = &mut self.none[group as usize];
        *none *= unmoved;
        let mut sum = u128::from(*none);
        for held in self.held.iter_mut().filter(|held| held.group == group) {
            let sight = step.sight_of(held.misconception.id);
            held.weight *= sight.map_or(unmoved, |sight| likelihood(Some(sight), step.right, step.plausible));
            sum += u128::from(held.weight);
            held.count(sight);
        }
        // Nothing is ever ruled out for good: at least one part is left.
        let share =
            |weight: u64| u64::try_from(u128::from(weight) * u128::from(ONE) / sum).unwrap_or(ONE).max(1);
        *none = share(*none);
        for held in self.held.iter_mut().filter(|held| held.group == group) {
            held.weight = share(held.weight);
        }
    }
}

impl StepEvidence {
    fn sight_of(&self, misconception: &str) -> Option<Sight> {
        self.sights.iter().find(|(id, _)| *id == misconception).map(|(_, sight)| *sight)
    }

    fn bears_on(&self, group: Group) -> bool {
        self.sights
            .iter()
            .any(|(id, _)| misconceptions::find(id).is_some_and(|known| Group::of(known) == group))
    }
}

impl Held {
    fn count(&mut self, sight: Option<Sight>) {
        let Some(sight) = sight.filter(|sight| *sight != Sight::Aside) else { return };
        let (hit, right) = (u32::from(sight == Sight::Hit), u32::from(sight == Sight::Contrary));
        self.shown += 1;
        self.hits += hit;
        self.contrary += right;
        let kept = (1 << NEWEST) - 1;
        self.newest.hits = (self.newest.hits << 1 | hit) & kept;
        self.newest.right = (self.newest.right << 1 | right) & kept;
    }

    /// Whether the newest answers allow to name it.
    pub(super) fn may_be_named(&self) -> bool {
        self.newest.hits.count_ones() >= HITS && self.newest.right == 0
    }
}
