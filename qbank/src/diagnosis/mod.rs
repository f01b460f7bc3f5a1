//! Diagnosis: from many marked answers of one pupil to what those answers are consistent with.
//!
//! Marking names, for one wrong answer, the misconceptions that lead to it. One such answer may be a slip. Here answers
//! add up: [`Evidence`] says what a marked item speaks for and against, [`Beliefs`] weigh it, one item after the other,
//! and [`Diagnosis`] says what may be told to a teacher, which is often nothing. [`choose_next`] picks the questions
//! that tell most.
//!
//! What it does not do: say what a child *is*, keep anything but the newest answers in mind, look at how a pupil found
//! an answer, or tell apart what no question of the bank tells apart ([`collisions`]).
mod beliefs;
mod choosing;
mod collisions;
mod evidence;
mod model;
mod naming;

use alloc::vec::Vec;

pub use beliefs::Beliefs;
pub use choosing::{Probe, choose_next};
pub use collisions::{Collision, collisions};
pub use evidence::Evidence;
pub use model::{AT_FIRST, Group, HITS, MIGRATION, NAMED, NEWEST, SLIP, UNSTEADY};
pub use naming::Diagnosis;

/// What may be said after this evidence, in the order of time: for each group of misconceptions that it bears on.
#[must_use]
pub fn diagnose(evidence: &[Evidence]) -> Vec<Diagnosis> {
    let mut beliefs = Beliefs::default();
    evidence.iter().for_each(|item| beliefs.see(item));
    beliefs.diagnoses()
}
