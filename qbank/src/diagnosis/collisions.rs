//! Misconceptions that no question tells apart, as a listed fact.
use alloc::vec::Vec;

use super::{choosing::Probe, model::Group};
use crate::misconceptions;

/// Two misconceptions of one group that some items show and none tells apart: each item that shows one of them gets the
/// same answers from both.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Collision {
    /// The group of both.
    pub group: Group,
    /// Their names, in the order of the table.
    pub pair: (&'static str, &'static str),
    /// How many of the items show both, with the same answers.
    pub items: usize,
}

/// The pairs that none of these items tells apart, in the order of the table. Pairs of which one never shows are not
/// among them: that is a gap of the items, not a collision.
#[must_use]
pub fn collisions(probes: &[Probe]) -> Vec<Collision> {
    let table: Vec<_> = misconceptions::all().collect();
    let mut found = Vec::new();
    for (place, one) in table.iter().enumerate() {
        for (other_place, other) in table.iter().enumerate().skip(place + 1) {
            let (group, same_group) = (Group::of(one), Group::of(one) == Group::of(other));
            let both = |probe: &Probe| (probe.class(place), probe.class(other_place));
            let items = probes.iter().filter(|probe| both(probe) != (0, 0)).count();
            if same_group && items > 0 && probes.iter().map(both).all(|(one, other)| one == other) {
                found.push(Collision { group, pair: (one.id, other.id), items });
            }
        }
    }
    found
}
