//! How many different questions a family holds, counted and not guessed, and which numbers stand at a position.
//!
//! Sums, differences and comparisons of decimals can be decided column by column from the right, as on paper, if one
//! remembers a little: the carry or exchange of every sum and difference, how each comparison stands so far, how many
//! carries there were. That memory is the state of an automaton that reads one digit of every given per column.
//! [`Space`] compiles a family into such an automaton (a straight-line program for one column, run for each column)
//! and counts, by dynamic programming over the states, how many ways there are to go on. Counting answers 'how many';
//! walking the same counts answers 'which is number 4711' (unranking).
//!
//! What no automaton of this kind carries (products, quotients, rounding, choosing a limit, telling misconceptions
//! apart) is left to the draw: [`Counted`] says what the count is then.
mod automaton;
mod compile;
mod program;
mod state;
#[cfg(test)]
mod tests;

use alloc::vec::Vec;

use self::{automaton::Automaton, program::Program};
use super::{AllowedDigits, Family, GivenRange, Numbers};
use crate::decimal::Decimal;

/// Most combinations of listed values that are counted one by one.
const MAX_COMBINATIONS: usize = 64;

/// The numbers that a family can draw, in a fixed order.
#[derive(Debug, Default)]
pub struct Space {
    /// One for each combination of listed values; numbers are ordered by combination first.
    parts: Vec<Part>,
    /// What the parts are counted by. Parts that differ only in values that no demand looks at share one.
    automata: Vec<Automaton>,
    counted: Counted,
}

/// What the count of a family's positions says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    /// An upper bound: some demands are left to the draw, and numbers that fail them leave their position void.
    #[default]
    Bound,
    /// Exactly the numbers that satisfy every demand on them. Of these, some leave their position void because the
    /// family's misconceptions would lead to too few different wrong answers.
    Numbers,
    /// Exactly the questions: no position is void.
    Questions,
}

impl Counted {
    /// Its name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Bound => "bound",
            Self::Numbers => "numbers",
            Self::Questions => "questions",
        }
    }
}

/// All numbers with one combination of listed values.
#[derive(Debug)]
struct Part {
    givens: Vec<Choice>,
    count: u128,
    /// Which automaton counts it; without one every combination of the ranges is in, and nothing is decided here.
    automaton: Option<usize>,
}

/// What a given may be within a part.
#[derive(Clone, Debug, PartialEq)]
enum Choice {
    Fixed(Decimal),
    Range {
        from: u64,
        to: u64,
        places: u32,
        digits: AllowedDigits,
    },
    /// Only in parts without an automaton.
    Listed(Vec<Decimal>),
    /// Nothing to choose: it follows from others.
    Derived,
    /// Which of the mistakes it comes from.
    Mistake(u64),
}

impl Space {
    /// Counts a family's numbers.
    pub(super) fn of(family: &Family) -> Self {
        let filtered = family.steps.iter().any(|step| step.separates > 0);
        let counted = if filtered { Counted::Numbers } else { Counted::Questions };
        let mut space = Self { parts: Vec::new(), automata: Vec::new(), counted };
        if count_of_lists(&family.givens) > MAX_COMBINATIONS {
            let givens: Vec<Choice> = family.givens.iter().map(Choice::whole).collect();
            let count = givens.iter().map(Choice::count).product();
            space.parts.push(Part { givens, count, automaton: None });
            space.counted = Counted::Bound;
            return space;
        }
        let mut too_large = false;
        for givens in combinations_of_lists(&family.givens) {
            let (program, carries_all) = Program::compile(family, &givens);
            let program = program.filter(|_| !too_large);
            let automaton = program.and_then(|program| space.automaton(program));
            // What is too much for one combination is so for the others, which differ in numbers only.
            too_large |= automaton.is_none();
            if !carries_all || too_large {
                space.counted = Counted::Bound;
            }
            let count = match automaton {
                Some(index) => space.automata[index].total(),
                None => givens.iter().map(Choice::count).product(),
            };
            space.parts.push(Part { givens, count, automaton });
        }
        space
    }

    /// The automaton of a program, counted once; `None` if that is too much work.
    fn automaton(&mut self, program: Program) -> Option<usize> {
        if let Some(known) = self.automata.iter().position(|known| known.is_of(&program)) {
            return Some(known);
        }
        self.automata.push(Automaton::counted(program)?);
        Some(self.automata.len() - 1)
    }

    /// How many combinations of numbers there are.
    #[must_use]
    pub fn count(&self) -> u128 {
        self.parts.iter().map(|part| part.count).sum()
    }

    /// What the count says.
    #[must_use]
    pub fn counted(&self) -> Counted {
        self.counted
    }

    /// The numbers at an index, in the order of the givens; `None` beyond the count.
    pub(super) fn numbers(&self, mut index: u128) -> Option<Vec<Decimal>> {
        for part in &self.parts {
            if index < part.count {
                return match part.automaton {
                    Some(automaton) => self.automata[automaton].numbers(&part.givens, index),
                    None => part.combination(index),
                };
            }
            index -= part.count;
        }
        None
    }
}

impl Part {
    /// The combination at an index: a mixed-radix numeral, the last given changing fastest.
    fn combination(&self, mut index: u128) -> Option<Vec<Decimal>> {
        let mut values = Vec::with_capacity(self.givens.len());
        for given in self.givens.iter().rev() {
            values.push(given.at(index % given.count())?);
            index /= given.count();
        }
        values.reverse();
        Some(values)
    }
}

impl Choice {
    /// All that a given may be.
    fn whole(given: &GivenRange) -> Self {
        match &given.numbers {
            Numbers::List(values) => Self::Listed(values.clone()),
            Numbers::Range { from, to, places, digits } => {
                Self::Range { from: *from, to: *to, places: *places, digits: digits.clone() }
            }
            Numbers::Derived { .. } => Self::Derived,
            Numbers::Mistaken { .. } => {
                Self::Listed((0..given.numbers.count()).filter_map(|index| given.numbers.at(index)).collect())
            }
        }
    }

    /// Each of the values that a list offers, or the whole of a range.
    fn each(given: &GivenRange) -> Vec<Self> {
        match &given.numbers {
            Numbers::List(values) => values.iter().copied().map(Self::Fixed).collect(),
            Numbers::Mistaken { .. } => (0..given.numbers.count()).map(Self::Mistake).collect(),
            Numbers::Range { .. } | Numbers::Derived { .. } => alloc::vec![Self::whole(given)],
        }
    }

    fn count(&self) -> u128 {
        match self {
            Self::Fixed(_) | Self::Derived | Self::Mistake(_) => 1,
            Self::Listed(values) => values.len() as u128,
            Self::Range { from, to, digits, .. } => (digits.below(to + 1) - digits.below(*from)).into(),
        }
    }

    fn at(&self, index: u128) -> Option<Decimal> {
        match self {
            Self::Fixed(value) => Some(*value),
            Self::Derived => Some(Decimal::ZERO),
            Self::Mistake(which) => Decimal::new((*which).into(), 0).ok(),
            Self::Listed(values) => values.get(usize::try_from(index).ok()?).copied(),
            Self::Range { from, to, places, digits } => {
                let number = digits.at(*from..=*to, u64::try_from(index).ok()?)?;
                Decimal::new(number.into(), *places).ok()
            }
        }
    }

    fn places(&self) -> u32 {
        match self {
            Self::Fixed(value) => value.places(),
            Self::Range { places, .. } => *places,
            Self::Listed(values) => values.iter().map(Decimal::places).max().unwrap_or(0),
            Self::Derived | Self::Mistake(_) => 0,
        }
    }

    fn largest(&self) -> Option<Decimal> {
        match self {
            Self::Fixed(value) => Some(*value),
            Self::Listed(values) => values.iter().max().copied(),
            Self::Range { to, places, .. } => Decimal::new((*to).into(), *places).ok(),
            Self::Derived | Self::Mistake(_) => None,
        }
    }
}

/// How many combinations of listed values there are.
fn count_of_lists(givens: &[GivenRange]) -> usize {
    let lengths = givens.iter().filter_map(|given| match &given.numbers {
        Numbers::List(values) => Some(values.len()),
        Numbers::Mistaken { by, .. } => Some(by.len()),
        Numbers::Range { .. } | Numbers::Derived { .. } => None,
    });
    lengths.fold(1, usize::saturating_mul)
}

/// Every combination of the listed values, ranges kept as they are.
fn combinations_of_lists(givens: &[GivenRange]) -> Vec<Vec<Choice>> {
    let mut combinations: Vec<Vec<Choice>> = alloc::vec![Vec::new()];
    for given in givens {
        let choices = Choice::each(given);
        let extended = combinations.iter().flat_map(|sofar| {
            choices.iter().map(move |choice| {
                let mut longer = sofar.clone();
                longer.push(choice.clone());
                longer
            })
        });
        combinations = extended.collect();
    }
    combinations
}
