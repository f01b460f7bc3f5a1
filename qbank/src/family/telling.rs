//! What a family can find out: which misconceptions its questions tell apart, and how hard they come out.
//!
//! A pair of misconceptions is *told apart* by a step that predicts both of them with different wrong answers: then one
//! written answer speaks for one and against the other. That one is predicted and the other is not is no telling: a
//! pupil who thinks the other way answers rightly there, like one who has understood. Nor does it count that a pair is
//! told apart in principle: what is looked at is a sample of questions as they are drawn.
use alloc::{collections::BTreeSet, vec::Vec};

use super::{DrawError, Family};
use crate::{
    misconceptions::JOINT,
    question::{Item, Step},
};

/// How many questions speak for a family.
pub const SAMPLE: usize = 24;

/// What a sample of a family's questions shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Telling {
    /// The least and the greatest level of difficulty.
    pub levels: (u8, u8),
    /// Pairs of misconceptions that some step tells apart, each in the order of the family's list.
    pub apart: Vec<(&'static str, &'static str)>,
    /// All other pairs of the family's misconceptions.
    pub never_apart: Vec<(&'static str, &'static str)>,
    /// How many positions were looked at, and how many of them were void.
    pub positions: (u64, u64),
}

impl Family {
    /// Draws the first [`SAMPLE`] questions of one seed (fewer, if the family has fewer) and looks at them.
    ///
    /// # Errors
    /// [`DrawError`] as of any draw; none for a family that [`Family::from_toml`] has tried.
    pub fn telling(&self) -> Result<Telling, DrawError> {
        // The numbers are the same in all languages.
        let locale = self.texts.keys().next().map_or("", |locale| locale.as_str());
        let sample = self.draws("telling", 0, locale).take(SAMPLE).collect::<Result<Vec<Item>, _>>()?;
        Ok(self.told_by(&sample))
    }

    /// What these questions of the family show: all that a seed has from position 0 to the last of them.
    #[must_use]
    pub fn told_by(&self, items: &[Item]) -> Telling {
        let listed = self.all_misconceptions();
        let told: BTreeSet<(&str, &str)> =
            items.iter().flat_map(|item| &item.steps).flat_map(told_apart).collect();
        let pairs = listed
            .iter()
            .enumerate()
            .flat_map(|(index, one)| listed[index + 1..].iter().map(move |other| (*one, *other)));
        let (apart, never_apart) =
            pairs.partition(|(one, other)| told.contains(&(*one, *other)) || told.contains(&(*other, *one)));
        let levels = items.iter().map(|item| item.difficulty);
        let levels = (levels.clone().min().unwrap_or(0), levels.max().unwrap_or(0));
        let looked_at = items.last().map_or(0, |last| last.position + 1);
        Telling { levels, apart, never_apart, positions: (looked_at, looked_at - items.len() as u64) }
    }

    /// All that wrong answers are predicted for: the family's list, then what its steps state as mistakes.
    #[must_use]
    pub fn all_misconceptions(&self) -> Vec<&'static str> {
        let listed = self.misconceptions.iter().map(|misconception| misconception.id);
        let stated = self.steps.iter().flat_map(|step| &step.mistakes).map(|(mistake, _)| mistake.id);
        let mut all = Vec::new();
        for id in listed.chain(stated) {
            if !all.contains(&id) {
                all.push(id);
            }
        }
        all
    }
}

/// The pairs that one step tells apart: those in two different predictions.
fn told_apart(step: &Step) -> impl Iterator<Item = (&str, &str)> {
    let names = |index: usize| step.predicted[index].misconception.split(JOINT);
    let predictions = 0..step.predicted.len();
    predictions
        .clone()
        .flat_map(move |left| (left + 1..step.predicted.len()).map(move |right| (left, right)))
        .flat_map(move |(left, right)| {
            names(left).flat_map(move |one| names(right).map(move |other| (one, other)))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::format;

    fn family(misconceptions: &str, a: &str, b: &str) -> Family {
        let text = format!(
            "family = \"small\"\nversion = 1\nstandards = []\nmisconceptions = [{misconceptions}]\n\
             [[given]]\nname = \"a\"\nvalues = [\"{a}\"]\n[[given]]\nname = \"b\"\nvalues = [\"{b}\"]\n\
             [[step]]\nid = \"left\"\nkind = \"number\"\nexpression = \"a - b\"\n\
             [text.en-US]\ntitle = \"t\"\n[text.en-US.prompt]\nleft = \"?\"\n"
        );
        Family::from_toml("small.toml", &text).unwrap_or_else(|errors| panic!("{errors}"))
    }

    const THREE: &str =
        "\"subtract-smaller-from-larger\", \"subtract-exchange-without-trade\", \"subtract-skips-zero\"";

    #[test]
    fn different_predictions_tell_a_pair_apart() {
        // 64.05 - 28.37: the three rules give three different wrong answers.
        let told = family(THREE, "64.05", "28.37").telling().unwrap();
        assert_eq!(told.apart.len(), 3);
        assert_eq!(told.never_apart, []);
    }

    #[test]
    fn one_answer_for_both_or_none_for_one_tells_nothing() {
        // 7.5 - 2.35: both rules give 5.25; and there is no zero to skip.
        let told = family(THREE, "7.5", "2.35").telling().unwrap();
        assert_eq!(told.apart, []);
        let pair = ("subtract-smaller-from-larger", "subtract-exchange-without-trade");
        assert!(told.never_apart.contains(&pair), "{told:?}");
        assert_eq!(told.never_apart.len(), 3);
    }
}
