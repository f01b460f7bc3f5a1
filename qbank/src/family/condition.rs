//! Conditions that drawn numbers must satisfy: relations between values, and features of the column working.
use alloc::{string::String, vec::Vec};
use core::{cmp::Ordering, ops::RangeInclusive, str::FromStr};

use crate::{
    arithmetic::{Columns, Value, evaluate},
    columns::{self, Subtraction},
    decimal::Decimal,
    expression::{Expression, ExpressionError, Names, Operation},
};

/// Something that drawn numbers must satisfy.
#[derive(Debug)]
pub enum Condition {
    /// Two values stand in a relation, as `a > b`.
    Relation(Relation),
    /// At least one of these relations holds.
    Any(Vec<Relation>),
    /// The working of a sum or difference has a feature.
    Feature {
        /// The sum or difference.
        of: Expression,
        /// What its working must show.
        feature: Feature,
    },
}

/// Two expressions and how they must compare.
#[derive(Debug)]
pub struct Relation {
    pub(super) left: Expression,
    pub(super) right: Expression,
    pub(super) allowed: &'static [Ordering],
}

/// A feature of column working that makes a question harder or easier.
#[derive(Debug)]
pub enum Feature {
    /// How many columns carry.
    Carries(RangeInclusive<usize>),
    /// How many columns need an exchange.
    Exchanges(RangeInclusive<usize>),
    /// Whether an exchange crosses a zero.
    AcrossZero(bool),
}

impl Condition {
    /// Whether the values satisfy it. Values that cannot be worked do not.
    pub(super) fn holds(&self, values: &Names) -> bool {
        match self {
            Self::Relation(relation) => relation.holds(values).unwrap_or(false),
            Self::Any(relations) => relations.iter().any(|one| one.holds(values).unwrap_or(false)),
            Self::Feature { of, feature } => feature.shows_in(of, values).unwrap_or(false),
        }
    }
}

impl Relation {
    const SIGNS: [(&'static str, &'static [Ordering]); 6] = [
        ("<=", &[Ordering::Less, Ordering::Equal]),
        (">=", &[Ordering::Greater, Ordering::Equal]),
        ("!=", &[Ordering::Less, Ordering::Greater]),
        ("<", &[Ordering::Less]),
        (">", &[Ordering::Greater]),
        ("=", &[Ordering::Equal]),
    ];

    /// What stands left and right of the sign.
    #[must_use]
    pub fn sides(&self) -> [&Expression; 2] {
        [&self.left, &self.right]
    }

    /// How the left side may compare with the right one.
    #[must_use]
    pub fn allowed(&self) -> &'static [Ordering] {
        self.allowed
    }

    fn holds(&self, values: &Names) -> Option<bool> {
        let (left, right) = (number(&self.left, values)?, number(&self.right, values)?);
        Some(self.allowed.contains(&left.cmp(&right)))
    }
}

impl FromStr for Relation {
    type Err = ExpressionError;

    fn from_str(text: &str) -> Result<Self, ExpressionError> {
        let found = Self::SIGNS.iter().find_map(|(sign, allowed)| Some((text.split_once(sign)?, allowed)));
        let Some(((left, right), allowed)) = found else {
            return Err(ExpressionError::Unexpected {
                at: text.chars().count() + 1,
                expected: "a relation: <, <=, =, !=, >= or >",
                found: String::from("none"),
            });
        };
        Ok(Self { left: left.parse()?, right: right.parse()?, allowed })
    }
}

impl Feature {
    fn shows_in(&self, of: &Expression, values: &Names) -> Option<bool> {
        Some(match self {
            Self::Carries(range) => range.contains(&carries(of, values)?),
            Self::Exchanges(range) => range.contains(&difference(of, values)?.exchange_count()),
            Self::AcrossZero(wanted) => difference(of, values)?.crosses_zero() == *wanted,
        })
    }

    /// Whether the feature can show in an expression at all: carries in sums, exchanges in differences.
    pub(super) fn suits(&self, of: &Expression) -> bool {
        let operation = match of {
            Expression::Binary(operation, ..) => Some(*operation),
            _ => None,
        };
        match self {
            Self::Carries(_) => operation == Some(Operation::Add),
            Self::Exchanges(_) | Self::AcrossZero(_) => operation == Some(Operation::Subtract),
        }
    }
}

fn carries(of: &Expression, values: &Names) -> Option<usize> {
    let Expression::Binary(Operation::Add, left, right) = of else {
        return None;
    };
    columns::carries_of(&number(left, values)?, &number(right, values)?).ok()
}

fn difference(of: &Expression, values: &Names) -> Option<Subtraction> {
    let Expression::Binary(Operation::Subtract, left, right) = of else {
        return None;
    };
    columns::subtract(&number(left, values)?, &number(right, values)?).ok()
}

/// A value; names keep their written places, which decide how columns line up.
fn number(expression: &Expression, values: &Names) -> Option<Decimal> {
    if let Expression::Name(name) = expression {
        return values.get(name).copied();
    }
    match evaluate(&Columns, expression, values).ok()? {
        Value::Number(number) => Some(number),
        Value::Relation(_) | Value::Order(_) => None,
    }
}
