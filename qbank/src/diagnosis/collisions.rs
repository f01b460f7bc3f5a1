//! How far questions tell misconceptions apart, as a listed fact.
use alloc::vec::Vec;

use super::{choosing::Probe, model::Group};
use crate::misconceptions;

/// Two misconceptions of one group that lead to the same answers on some items.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Collision {
    /// The group of both.
    pub group: Group,
    /// Their names, in the order of the table.
    pub pair: (&'static str, &'static str),
    /// On how many items both lead to the same wrong answers.
    pub same: usize,
    /// On how many items they lead to different answers, one of which may be the right one. Where there is none, these
    /// items never tell them apart, and the most that can be said is 'consistent with one or the other'.
    pub apart: usize,
}

/// All pairs that collide on any of these items, hardest to tell apart first; equal ones in the order of the table.
#[must_use]
pub fn collisions(probes: &[Probe]) -> Vec<Collision> {
    let table: Vec<_> = misconceptions::all().map(|known| (known.id, Group::of(known))).collect();
    let mut found = Vec::new();
    for (place, (one, group)) in table.iter().enumerate() {
        for (other_place, (other, _)) in
            table.iter().enumerate().skip(place + 1).filter(|(_, other)| other.1 == *group)
        {
            let classes = probes.iter().map(|probe| (probe.class(place), probe.class(other_place)));
            let same = classes.clone().filter(|(one, other)| one == other && *one != 0).count();
            let apart = classes.filter(|(one, other)| one != other).count();
            if same > 0 {
                found.push(Collision { group: *group, pair: (one, other), same, apart });
            }
        }
    }
    // As shares without fractions: parts in a million.
    found.sort_by_key(|collision| collision.apart * 1_000_000 / (collision.apart + collision.same));
    found
}
