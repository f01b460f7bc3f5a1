//! The model in numbers: who answers what with which chance. Whole numbers throughout, so that the same answers give
//! the same judgement on every machine.
//!
//! For each [`Group`] a pupil is taken to be in one of several states: holding one misconception of the group, or none
//! of them. Each state says how likely each kind of answer is:
//!
//! | state, step | right | the misconception's own answer | one other wrong answer |
//! |---|---|---|---|
//! | holds it, and it shows on this step | [`UNSTEADY`] | the rest | [`SLIP`] / plausible wrong answers |
//! | anything else | 1000 − [`SLIP`] | [`SLIP`] / plausible wrong answers | the same |
//!
//! The idea that errors follow rules which can be run is Brown and Burton's (1978), that items are chosen so that rules
//! predict different patterns is Siegler's rule assessment (1976). Slips and guesses are those of the DINA model
//! (Haertel 1989; Junker and Sijtsma 2001) and of knowledge tracing (Corbett and Anderson 1995); here the 'attribute' is
//! a misconception instead of a skill. That pupils change from one faulty rule to another within days is VanLehn's
//! 'bug migration' (1990): between two items a small share of the belief goes back to where it began, so newer evidence
//! weighs more, as in a hidden Markov model. All from memory except Brown and Burton (abstract). The numbers are a
//! judgement: published slips of such models lie around one in ten (from memory).
use crate::misconceptions::{self, Misconception};

/// Careless answers, per thousand.
pub const SLIP: u64 = 100;
/// How often one who holds a misconception answers rightly where it leads astray, per thousand.
pub const UNSTEADY: u64 = 50;
/// How much of a group's belief goes back to its beginning with each item that bears on the group, per thousand.
pub const MIGRATION: u64 = 20;
/// How likely each misconception is held at the beginning, per thousand: all alike, so that nothing is taken for granted
/// of any. With some eighty of them, a pupil is expected to hold about one.
pub const AT_FIRST: u64 = 10;
/// How likely one misconception, or two together, must have become before they are named, per thousand.
pub const NAMED: u64 = 900;
/// How many of the newest answers that could speak for or against a misconception are looked at before it is named.
pub const NEWEST: u32 = 4;
/// How many of them must be the misconception's own answer; none may be right.
pub const HITS: u32 = 2;

/// The sum of a group's beliefs: one, in parts of 2⁻⁴⁰.
pub(super) const ONE: u64 = 1 << 40;

/// Misconceptions that meet in the same exercises, and of which a pupil is taken to hold one at most. Pupils may well
/// hold one on comparing and another on subtracting, so each group is judged by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// Sums.
    Addition,
    /// Differences.
    Subtraction,
    /// Products.
    Multiplication,
    /// Quotients.
    Division,
    /// Comparing and ordering.
    Comparison,
    /// Rounding.
    Rounding,
    /// Powers of ten, place value, fractions and units: all of them move digits from place to place.
    Places,
    /// What a story asks for.
    Stories,
}

impl Group {
    /// All groups, in the order of the table of misconceptions.
    pub const ALL: [Self; 8] = [
        Self::Addition,
        Self::Subtraction,
        Self::Multiplication,
        Self::Division,
        Self::Comparison,
        Self::Rounding,
        Self::Places,
        Self::Stories,
    ];

    /// The group of a misconception: the first word of its id says it.
    ///
    /// # Example
    /// ```
    /// use qbank::diagnosis::Group;
    /// let groups: Vec<Group> = qbank::misconceptions::all().map(Group::of).collect();
    /// assert_eq!((groups[0], groups[groups.len() - 1]), (Group::Addition, Group::Stories));
    /// ```
    #[must_use]
    pub fn of(misconception: &Misconception) -> Self {
        match misconception.id.split('-').next().unwrap_or_default() {
            "add" => Self::Addition,
            "subtract" => Self::Subtraction,
            "multiply" => Self::Multiplication,
            "divide" => Self::Division,
            "compare" => Self::Comparison,
            "round" => Self::Rounding,
            "story" => Self::Stories,
            _ => Self::Places,
        }
    }

    /// Its name in output.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Addition => "addition",
            Self::Subtraction => "subtraction",
            Self::Multiplication => "multiplication",
            Self::Division => "division",
            Self::Comparison => "comparison",
            Self::Rounding => "rounding",
            Self::Places => "places",
            Self::Stories => "stories",
        }
    }

    /// Its misconceptions, in the order of the table.
    pub fn members(self) -> impl Iterator<Item = &'static Misconception> {
        misconceptions::all().filter(move |misconception| Self::of(misconception) == self)
    }
}

/// How one answer looks from one misconception.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sight {
    /// Its own wrong answer.
    Hit,
    /// The right answer, where it leads to a wrong one.
    Contrary,
    /// Another wrong answer, where it leads to one of its own.
    Elsewhere,
    /// Its own wrong answer, in a question that is not about it: whether it was at work is open.
    Aside,
}

/// How likely an answer is for one in whose eyes it is this `sight` (`None`: the misconception does not show here, or
/// none is held), in millionths.
pub(super) fn likelihood(sight: Option<Sight>, right: bool, plausible: u64) -> u64 {
    let one_wrong = SLIP * 1000 / plausible.max(1);
    let own = (1000 - SLIP - UNSTEADY) * 1000;
    match sight {
        Some(Sight::Hit) => own,
        Some(Sight::Contrary) => UNSTEADY * 1000,
        Some(Sight::Aside) => u64::midpoint(own, one_wrong),
        None if right => (1000 - SLIP) * 1000,
        Some(Sight::Elsewhere) | None => one_wrong,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_group_has_members_and_every_misconception_a_group_of_its_own_name() {
        let known = ["power", "place", "fraction", "unit"];
        for misconception in misconceptions::all() {
            let word = misconception.id.split('-').next().unwrap();
            let places = Group::of(misconception) == Group::Places;
            assert_eq!(places, known.contains(&word), "{}", misconception.id);
        }
        for group in Group::ALL {
            assert!(group.members().count() >= 2, "{group:?}");
        }
    }

    #[test]
    fn a_hit_speaks_for_a_right_answer_against_and_another_mistake_for_neither() {
        for plausible in 1..20 {
            let none = |right| likelihood(None, right, plausible);
            assert!(likelihood(Some(Sight::Hit), false, plausible) > 8 * none(false));
            assert!(likelihood(Some(Sight::Contrary), true, plausible) * 8 < none(true));
            assert_eq!(likelihood(Some(Sight::Elsewhere), false, plausible), none(false));
            let aside = likelihood(Some(Sight::Aside), false, plausible);
            assert!(none(false) < aside && aside < likelihood(Some(Sight::Hit), false, plausible));
        }
    }
}
