//! Which questions to ask next: those whose answers tell most about what a pupil, or a class, may hold.
//!
//! A [`Probe`] says how each misconception that an item is about would answer the whole item, later steps worked from its
//! own earlier values. Misconceptions with the same answers fall into one class; those that the item is not about, and
//! pupils who hold none, answer rightly. The worth of an item is the entropy of these classes under the present belief,
//! summed over groups and pupils: what the answer tells about the misconception if nobody slips (with no slips the
//! answer is a function of what is held, and their mutual information is the entropy of the answer). Slips take from
//! every item alike and are left out. Several questions are chosen one after the other, each by what it adds to
//! those before it.
use alloc::{string::String, vec::Vec};

use super::{
    beliefs::Beliefs,
    evidence::{Bench, Themes},
    model::ONE,
};
use crate::{
    misconceptions,
    question::{Item, Key},
};

/// What an item can tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Probe {
    /// The item's id.
    pub item: String,
    /// For each misconception of the table, in its order: which class of answers it gives; 0 is the right one.
    classes: Vec<u32>,
}

impl Probe {
    /// What this item can tell.
    #[must_use]
    pub fn of(item: &Item) -> Self {
        let themes = Themes::of(item);
        let mut known: Vec<Vec<Key>> = alloc::vec![answers(item, |_| None)];
        let classes = misconceptions::all().map(|misconception| {
            let answers = answers(item, |bench| bench.answer_of(misconception, &themes));
            let class = known.iter().position(|other| *other == answers).unwrap_or_else(|| {
                known.push(answers);
                known.len() - 1
            });
            u32::try_from(class).expect("no more classes than misconceptions")
        });
        Self { item: item.id.clone().into(), classes: classes.collect() }
    }

    /// Names of the misconceptions that would show here, those most believed of these pupils first, else in the order
    /// of the table.
    #[must_use]
    pub fn shows(&self, pupils: &[&Beliefs]) -> Vec<&'static str> {
        let shown = misconceptions::all().enumerate().filter(|(place, _)| self.classes[*place] != 0);
        let mut names: Vec<&'static str> = shown.map(|(_, misconception)| misconception.id).collect();
        let believed = |name: &&'static str| pupils.iter().map(|one| one.per_thousand(name)).sum::<u64>();
        names.sort_by_key(|name| core::cmp::Reverse(believed(name)));
        names
    }

    /// The class of answers that the misconception at this place of the table gives; 0 is the right one.
    pub(super) fn class(&self, place: usize) -> u32 {
        self.classes[place]
    }
}

/// The answers to all steps of one who makes these mistakes and works rightly otherwise.
fn answers(item: &Item, mistaken: impl Fn(&Bench<'_>) -> Option<Key>) -> Vec<Key> {
    let mut own = item.given_names();
    let mut right = own.clone();
    let mut answers = Vec::new();
    for (step, proven) in item.steps_proven() {
        let bench = Bench::new(step, proven, &own, own != right);
        let answer = mistaken(&bench).unwrap_or_else(|| bench.own_right().clone());
        let value = step.value_of(&answer).or(proven.value);
        answers.push(answer);
        own.extend(value.map(|value| (step.id.clone(), value)));
        right.extend(proven.value.map(|value| (step.id.clone(), value)));
    }
    answers
}

/// The `count` items that tell most about these pupils (one, or a class), the most telling one first; items that tell
/// the same go by their ids. Fewer, if there are fewer.
///
/// # Example
/// ```
/// use qbank::{bank, diagnosis::{Beliefs, Group, Probe, choose_next}};
/// let items = ["add-ragged", "subtract-exchange", "round-tenths"]
///     .into_iter()
///     .map(|name| bank::family(name)?.draw("a seed", 0, "en-US").map_err(Into::into))
///     .collect::<Result<Vec<_>, Box<dyn std::error::Error>>>()?;
/// let probes: Vec<Probe> = items.iter().map(Probe::of).collect();
/// let about_rounding = Beliefs::about(&[Group::Rounding]);
/// let chosen = choose_next(&[&about_rounding], &probes, 1);
/// assert!(chosen[0].item.starts_with("round-tenths"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn choose_next<'p>(pupils: &[&Beliefs], probes: &'p [Probe], count: usize) -> Vec<&'p Probe> {
    let mut left: Vec<&Probe> = probes.iter().collect();
    left.sort_by(|one, other| one.item.cmp(&other.item));
    let mut chosen: Vec<&Probe> = Vec::new();
    while chosen.len() < count && !left.is_empty() {
        let mut best = (0, 0);
        for (index, probe) in left.iter().enumerate() {
            chosen.push(probe);
            let worth: u128 = pupils.iter().map(|beliefs| u128::from(information(beliefs, &chosen))).sum();
            chosen.pop();
            if worth > best.1 {
                best = (index, worth);
            }
        }
        chosen.push(left.remove(best.0));
    }
    chosen
}

/// The entropy of the answers to these items, summed over groups, in bits of 2⁻⁵⁶.
fn information(beliefs: &Beliefs, probes: &[&Probe]) -> u64 {
    let groups = beliefs.groups().iter();
    groups
        .map(|group| {
            let mut classes: Vec<(usize, u64)> = Vec::new();
            let mut rest = ONE;
            for (place, held) in beliefs.held.iter().enumerate().filter(|(_, held)| held.group == *group) {
                if probes.iter().all(|probe| probe.class(place) == 0) {
                    continue;
                }
                rest = rest.saturating_sub(held.weight);
                let same = |other: usize| probes.iter().all(|probe| probe.class(other) == probe.class(place));
                match classes.iter_mut().find(|(other, _)| same(*other)) {
                    Some((_, weight)) => *weight += held.weight,
                    None => classes.push((place, held.weight)),
                }
            }
            classes.iter().map(|(_, weight)| surprise(*weight)).sum::<u64>() + surprise(rest)
        })
        .sum()
}

/// `-p log2 p` for a share of [`ONE`], in bits of 2⁻⁵⁶: shares are parts of 2⁻⁴⁰, logarithms of 2⁻¹⁶.
fn surprise(share: u64) -> u64 {
    if share == 0 {
        return 0;
    }
    let whole = share.ilog2();
    let mantissa = if whole >= 8 { share >> (whole - 8) } else { share << (8 - whole) };
    let fraction = LOGARITHMS[usize::try_from(mantissa & 0xFF).expect("eight bits")];
    let log = (u64::from(whole) << 16) + fraction;
    share * (u64::from(ONE.ilog2()) << 16).saturating_sub(log)
}

/// log2(1 + i/256) in parts of 2⁻¹⁶, rounded down: squaring a number doubles its logarithm, which gives it bit by bit.
const LOGARITHMS: [u64; 256] = {
    let mut table = [0; 256];
    let mut index = 0;
    while index < 256 {
        let mut number = (256 + index as u128) << 24;
        let mut bit = 0;
        while bit < 16 {
            number = (number * number) >> 32;
            table[index] <<= 1;
            if number >> 33 > 0 {
                number >>= 1;
                table[index] |= 1;
            }
            bit += 1;
        }
        index += 1;
    }
    table
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn surprise_is_that_of_known_shares() {
        // One half: half a bit. One quarter: half a bit. All, or nothing: none.
        let half = 1 << 55;
        assert_eq!((surprise(ONE / 2), surprise(ONE / 4)), (half, half));
        assert_eq!((surprise(ONE), surprise(0)), (0, 0));
        // -0.1 log2 0.1 = 0.33219, from a table of logarithms; the mantissa has eight bits.
        let tenth = surprise(ONE / 10) / ((1 << 56) / 100_000);
        assert!((33_100..33_350).contains(&tenth), "{tenth}");
    }
}
