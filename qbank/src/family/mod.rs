//! A question family: what an author writes once and pupils meet in thousands of different questions.
//!
//! Families are TOML files (`qbank/bank/*.toml`, described in `DEVELOPERS.md`). [`Family::from_toml`] is the only way
//! to a [`Family`], and reports everything at fault in a file at once, with line and column. [`Family::draw`] turns a
//! seed and a position into a proven item.
mod capacity;
mod check;
mod condition;
mod drawing;
mod file;
mod telling;

use alloc::{
    collections::BTreeMap,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;

pub use capacity::Space;
pub use condition::{Condition, Feature, Relation};
pub use drawing::DrawError;
pub use telling::{SAMPLE, Telling};

use crate::{
    accept::Acceptance, decimal::Decimal, expression::Expression, misconceptions::Misconception,
    question::StepKind,
};

/// A checked family.
#[derive(Debug)]
pub struct Family {
    /// Its name: letters, digits and hyphens.
    pub id: String,
    /// Grows with every change of the questions it draws.
    pub version: u32,
    /// Curriculum codes.
    pub standards: Vec<String>,
    /// The numbers it draws, in order.
    pub givens: Vec<GivenRange>,
    /// What drawn numbers must satisfy.
    pub conditions: Vec<Condition>,
    /// What it asks, in order.
    pub steps: Vec<FamilyStep>,
    /// Texts by locale.
    pub texts: BTreeMap<String, Texts>,
    /// The misconceptions whose wrong answers are predicted.
    pub misconceptions: Vec<&'static Misconception>,
    /// The numbers it can draw, counted.
    space: Space,
}

/// The numbers that a given may be.
#[derive(Debug)]
pub struct GivenRange {
    /// Its name in expressions and texts.
    pub name: String,
    /// The symbol of its unit.
    pub unit: Option<String>,
    /// Its numbers.
    pub numbers: Numbers,
}

/// A set of decimals, all written with the places that the file writes.
#[derive(Debug)]
pub enum Numbers {
    /// All decimals of `places` places from `from` to `to` (in units of the last place); without those that end in a
    /// zero, if so asked.
    Range {
        /// First, in units of the last place.
        from: u64,
        /// Last, in units of the last place.
        to: u64,
        /// Places after the point.
        places: u32,
        /// Whether the last written digit may not be zero.
        ends_nonzero: bool,
    },
    /// These and no others.
    List(Vec<Decimal>),
}

/// What a family asks in one step.
#[derive(Debug)]
pub struct FamilyStep {
    /// Its name.
    pub id: String,
    /// How it is answered.
    pub kind: StepKind,
    /// How the answer comes about.
    pub expression: Expression,
    /// The symbol of the answer's unit.
    pub unit: Option<String>,
    /// What is accepted.
    pub accept: Acceptance,
    /// Points, 1 or more.
    pub points: u32,
    /// What can be chosen.
    pub choices: Choices,
    /// How many different wrong answers a question must predict at least.
    pub separates: usize,
    /// Mistaken expressions of misconceptions that no rule can derive.
    pub mistakes: Vec<(&'static Misconception, Expression)>,
}

/// What can be chosen in a step.
#[derive(Debug)]
pub enum Choices {
    /// Nothing: a number is typed.
    None,
    /// `<`, `=` and `>`.
    Relations,
    /// The values of these givens.
    Givens(Vec<String>),
}

/// A family's texts in one language.
#[derive(Debug)]
pub struct Texts {
    /// What is practised, in a few words.
    pub title: String,
    /// Stories, one of which a question tells; none where the prompt says it all.
    pub stems: Vec<String>,
    /// What each step asks, by step id.
    pub prompts: BTreeMap<String, String>,
    /// Words for slots.
    pub words: BTreeMap<String, Vec<String>>,
}

/// Everything at fault in a family file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FamilyErrors {
    /// The file's name.
    pub file: String,
    /// The faults, in the order of the file; at least one.
    pub faults: Vec<FamilyFault>,
}

/// One fault in a family file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FamilyFault {
    /// Line, from 1; 0 where the fault belongs to no line.
    pub line: usize,
    /// Column in characters, from 1; 0 where the fault belongs to no line.
    pub column: usize,
    /// What is wrong and what was expected.
    pub message: String,
}

impl Numbers {
    /// How many numbers there are to draw from, before any condition.
    #[must_use]
    pub fn count(&self) -> u64 {
        match self {
            Self::Range { from, to, ends_nonzero: false, .. } => to - from + 1,
            Self::Range { from, to, .. } => to - from + 1 - (to / 10 + 1 - from.div_ceil(10)),
            Self::List(values) => values.len() as u64,
        }
    }

    /// The number at an index below [`Numbers::count`].
    fn at(&self, index: u64) -> Option<Decimal> {
        match self {
            Self::Range { from, places, ends_nonzero: false, .. } => {
                Decimal::new((from + index).into(), *places).ok()
            }
            Self::Range { from, places, .. } => {
                // Nine of each ten numbers count; count them from the ten that `from` lies in.
                let nonzero_before = from - from.div_ceil(10);
                let rank = nonzero_before + index;
                Decimal::new((rank / 9 * 10 + rank % 9 + 1).into(), *places).ok()
            }
            Self::List(values) => values.get(usize::try_from(index).ok()?).copied(),
        }
    }
}

impl FamilyErrors {
    pub(crate) fn unknown<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> Self {
        let known: Vec<&str> = known.collect();
        let message = alloc::format!("there is no such family; there are {}", known.join(", "));
        Self { file: name.to_string(), faults: alloc::vec![FamilyFault { line: 0, column: 0, message }] }
    }
}

impl fmt::Display for FamilyErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            match fault.line {
                0 => write!(f, "{}: {}", self.file, fault.message)?,
                line => write!(f, "{}:{line}:{}: {}", self.file, fault.column, fault.message)?,
            }
        }
        Ok(())
    }
}

impl core::error::Error for FamilyErrors {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_gives_numbers_without_end_zeros() {
        for (from, to) in [(1, 9), (10, 30), (11, 99), (101, 989), (7, 7)] {
            let numbers = Numbers::Range { from, to, places: 1, ends_nonzero: true };
            let by_hand: Vec<i128> = (from..=to).filter(|number| number % 10 != 0).map(i128::from).collect();
            assert_eq!(numbers.count(), by_hand.len() as u64, "{from}-{to}");
            let given: Vec<i128> =
                (0..numbers.count()).map(|index| numbers.at(index).unwrap().units()).collect();
            assert_eq!(given, by_hand);
        }
    }
}
