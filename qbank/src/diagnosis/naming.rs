//! From beliefs to what may be said: a name only where the newest answers bear it, two names where the answers fit
//! both, silence otherwise.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use super::{
    beliefs::{Beliefs, Held},
    model::{Group, NAMED, ONE},
};
use crate::misconceptions;

/// What a misconception's sentence for teachers begins with.
const CONSISTENT: &str = "answers consistent with ";

/// What is said of one pupil and one group of misconceptions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnosis {
    /// The group judged.
    pub group: Group,
    /// Names of the misconceptions that the answers are consistent with, the likelier one first: none, one, or two that
    /// the answers do not tell apart.
    pub named: Vec<&'static str>,
    /// How many answers were the first one's own.
    pub hits: u32,
    /// How many answers were right where the first one leads to a wrong one.
    pub contrary: u32,
    /// On how many steps the first one shows: hits, contrary ones, and other wrong answers.
    pub evidence_steps: u32,
    /// The odds of what is named against all else in the group: 40 stands for 40 to 1. 0 where nothing is named.
    pub odds: u64,
}

impl Diagnosis {
    /// One sentence for the teacher, without the final dot; `None` where nothing is named.
    #[must_use]
    pub fn teacher(&self) -> Option<String> {
        let mut sentence = String::new();
        for known in self.named.iter().filter_map(|id| misconceptions::find(id)) {
            let what = known.teacher.strip_prefix(CONSISTENT).unwrap_or(known.teacher);
            let before = if sentence.is_empty() { CONSISTENT } else { ", or with " };
            sentence = format!("{sentence}{before}{}", what.trim_end_matches('.'));
        }
        (!sentence.is_empty()).then(|| {
            format!("{sentence} ({} of {} answers where it would show)", self.hits, self.evidence_steps)
        })
    }

    /// What to do next: one idea for each name.
    #[must_use]
    pub fn next(&self) -> Vec<String> {
        self.named
            .iter()
            .filter_map(|id| misconceptions::find(id))
            .map(|known| known.next.to_string())
            .collect()
    }
}

impl Beliefs {
    /// What may be said now, for each group asked about that any answer bears on.
    #[must_use]
    pub fn diagnoses(&self) -> Vec<Diagnosis> {
        self.groups().iter().filter_map(|group| self.diagnosis(*group)).collect()
    }

    fn diagnosis(&self, group: Group) -> Option<Diagnosis> {
        let mut members: Vec<&Held> = self.held.iter().filter(|held| held.group == group).collect();
        if members.iter().all(|held| held.shown == 0) {
            return None;
        }
        // A stable sort: what is equally likely stays in the order of the table.
        members.sort_by_key(|held| core::cmp::Reverse(held.weight));
        let named = (1..=2).map(|count| &members[..count.min(members.len())]).find(|named| bears(named));
        let named = named.unwrap_or_default();
        let weight: u64 = named.iter().map(|held| held.weight).sum();
        let first = named.first();
        Some(Diagnosis {
            group,
            named: named.iter().map(|held| held.misconception.id).collect(),
            hits: first.map_or(0, |held| held.hits),
            contrary: first.map_or(0, |held| held.contrary),
            evidence_steps: first.map_or(0, |held| held.shown),
            odds: weight / ONE.saturating_sub(weight).max(1),
        })
    }
}

/// Whether these may be named together.
fn bears(named: &[&Held]) -> bool {
    let weight: u64 = named.iter().map(|held| held.weight).sum();
    weight >= ONE / 1000 * NAMED && named.iter().all(|held| held.may_be_named())
}
