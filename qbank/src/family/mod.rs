//! A question family: what an author writes once and pupils meet in thousands of different questions.
//!
//! Families are TOML files (`qbank/bank/*.toml`, described in `DEVELOPERS.md`). [`Family::from_toml`] is the only way
//! to a [`Family`], and reports everything at fault in a file at once, with line and column. [`Family::draw`] turns a
//! seed and a position into a proven item.
mod capacity;
mod check;
mod condition;
mod digits;
mod drawing;
mod file;
mod telling;
mod texts;

use alloc::{
    collections::BTreeMap,
    string::{String, ToString},
    sync::Arc,
    vec::Vec,
};
use core::fmt;

use smol_str::SmolStr;

pub use capacity::{Counted, Space};
pub use condition::{Condition, Feature, Relation};
pub use digits::AllowedDigits;
pub use drawing::{DrawError, Seeded};
pub use telling::{SAMPLE, Telling};
pub use texts::{Slot, SlotForm, slots};

use crate::{
    accept::Acceptance, decimal::Decimal, expression::Expression, misconceptions::Misconception,
    question::StepKind,
};

/// A checked family.
#[derive(Debug)]
pub struct Family {
    /// Its name: letters, digits and hyphens.
    pub id: SmolStr,
    /// Grows with every change of the questions it draws.
    pub version: u32,
    /// Curriculum codes.
    pub standards: Vec<SmolStr>,
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
    pub name: SmolStr,
    /// The symbol of its unit.
    pub unit: Option<SmolStr>,
    /// Its numbers.
    pub numbers: Numbers,
}

/// Where the numbers of a given come from.
#[derive(Debug)]
pub enum Numbers {
    /// All decimals of `places` places from `from` to `to` (in units of the last place) whose digits are allowed.
    Range {
        /// First, in units of the last place.
        from: u64,
        /// Last, in units of the last place.
        to: u64,
        /// Places after the point.
        places: u32,
        /// Which digits may stand in which place.
        digits: AllowedDigits,
    },
    /// These and no others, as they are written.
    List(Vec<Decimal>),
    /// What an expression over earlier givens gives: nothing is drawn.
    Derived {
        /// Over earlier givens.
        expression: Expression,
        /// With how many places it is written; as few as it needs, if not said.
        places: Option<u32>,
    },
    /// What one of these misconceptions makes of an exercise: the misconception is drawn.
    Mistaken {
        /// The exercise, over earlier givens.
        of: Expression,
        /// The misconceptions that may have been at work.
        by: Vec<&'static Misconception>,
    },
}

impl Numbers {
    /// Whether a given may be this number as it is written, as far as the given alone can tell: of what follows from
    /// earlier givens nothing is judged.
    #[must_use]
    pub fn allow(&self, number: &Decimal) -> bool {
        match self {
            Self::Range { from, to, places, digits } => {
                let Ok(units) = u64::try_from(number.units()) else { return false };
                let digit = |column: u32| u8::try_from(units / 10_u64.pow(column) % 10).unwrap_or(0);
                let allowed = (0..9_u32).all(|column| digits.allow(column as usize, digit(column)));
                number.places() == *places && (*from..=*to).contains(&units) && allowed
            }
            Self::List(values) => values.iter().any(|value| value.same_written(number)),
            Self::Derived { .. } | Self::Mistaken { .. } => true,
        }
    }
}

/// What a family asks in one step.
#[derive(Debug)]
pub struct FamilyStep {
    /// Its name.
    pub id: SmolStr,
    /// How it is answered.
    pub kind: StepKind,
    /// How the answer comes about.
    pub expression: Arc<Expression>,
    /// The same as records write it.
    text: SmolStr,
    /// The symbol of the answer's unit.
    pub unit: Option<SmolStr>,
    /// What is accepted.
    pub accept: Acceptance,
    /// Points, 1 or more.
    pub points: u32,
    /// What can be chosen.
    pub choices: Choices,
    /// How many different wrong answers a question must predict at least.
    pub separates: usize,
    /// Whether it is asked although no misconception leads to a wrong answer: to tell whether the rest is known.
    pub control: bool,
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
    /// The values of these givens or earlier steps.
    Values(Vec<String>),
    /// The mistakes that this given may come from.
    Mistakes(String),
}

/// A family's texts in one language.
#[derive(Debug)]
pub struct Texts {
    /// What is practised, in a few words.
    pub title: SmolStr,
    /// Stories, one of which a question tells; none where the prompt says it all.
    pub stems: Vec<String>,
    /// What each step asks, by step id.
    pub prompts: BTreeMap<SmolStr, SmolStr>,
    /// What choices that name a mistake say, by misconception.
    pub choices: BTreeMap<String, SmolStr>,
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
    /// How many there are to draw from, before any condition.
    #[must_use]
    pub fn count(&self) -> u64 {
        match self {
            Self::Range { from, to, digits, .. } => digits.below(to + 1) - digits.below(*from),
            Self::List(values) => values.len() as u64,
            Self::Derived { .. } => 1,
            Self::Mistaken { by, .. } => by.len() as u64,
        }
    }

    /// The number at an index below [`Numbers::count`]. Numbers that are not drawn themselves stand in by a zero, and
    /// mistakes by which of them it is; [`Family::resolved`] puts the numbers there.
    fn at(&self, index: u64) -> Option<Decimal> {
        match self {
            Self::Range { from, to, places, digits } => {
                let number = digits.at(*from..=*to, index)?;
                Decimal::new(number.into(), *places).ok()
            }
            Self::List(values) => values.get(usize::try_from(index).ok()?).copied(),
            Self::Derived { .. } => Some(Decimal::ZERO),
            Self::Mistaken { .. } => Decimal::new(index.into(), 0).ok(),
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
