//! The routes by which an expression is evaluated.
//!
//! One tree walk, [`evaluate`], and several machines that do the arithmetic: [`Library`] (rust_decimal), [`Columns`]
//! (digit by digit, [`crate::columns`]) and [`Fractions`] (exact fractions of big integers). They share no
//! arithmetic, so [`prove`] can take their agreement as proof of an answer. A misconception is one more machine,
//! bent in one place ([`crate::misconceptions`]).
use alloc::{string::String, vec::Vec};
use core::{cmp::Ordering, fmt};

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive, Zero};
use serde::{Deserialize, Serialize};

use crate::{
    columns::{self, ColumnError},
    decimal::{Decimal, power_of_ten},
    expression::{Direction, Expression, Function, Names, Operation},
};

/// How far a division that does not end is carried before it is rounded, in places. More than any question asks for.
const DIVISION_PLACES: u32 = 12;

/// What an expression is worth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A number.
    Number(Decimal),
    /// The relation that a comparison found.
    Relation(Relation),
    /// Numbers in the order asked for.
    Order(Vec<Decimal>),
}

/// How the left side of a comparison stands to the right side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Relation {
    /// `<`
    #[serde(rename = "<")]
    Less,
    /// `=`
    #[serde(rename = "=")]
    Equal,
    /// `>`
    #[serde(rename = ">")]
    Greater,
}

/// Why an expression has no value.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ArithmeticError {
    /// A name that neither a given nor an earlier step has.
    #[error("'{name}' is neither a given nor an earlier step")]
    UnknownName {
        /// The name.
        name: String,
    },
    /// Nothing is divided by zero.
    #[error("division by zero")]
    DivisionByZero,
    /// A result below zero, which grades 4-6 do not meet yet.
    #[error("the result is below zero")]
    BelowZero,
    /// The result has more digits than a decimal holds, or does not end.
    #[error("the result is no decimal of at most 28 digits; round it")]
    NotADecimal,
    /// `smallest_at_least` found every limit too small.
    #[error("no limit is large enough")]
    NoneFits,
    /// A comparison or an order stands inside another expression.
    #[error("a comparison or an order must be the whole expression")]
    NestedComparison,
    /// Two routes disagree: a fault of ours, never of the input.
    #[error("the routes disagree on {expression}: {values}")]
    Disagreement {
        /// The expression.
        expression: String,
        /// What each route found.
        values: String,
    },
}

/// A machine that does arithmetic for [`evaluate`].
pub trait Arithmetic {
    /// What it computes with.
    type Number: Clone;

    /// Takes a decimal in.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`] if it does not fit.
    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError>;

    /// Adds, subtracts, multiplies or divides.
    ///
    /// # Errors
    /// [`ArithmeticError::DivisionByZero`], [`ArithmeticError::BelowZero`], [`ArithmeticError::NotADecimal`].
    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError>;

    /// Rounds half up to `places` places.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`], [`ArithmeticError::BelowZero`].
    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError>;

    /// The whole part.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`].
    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError>;

    /// The digit at a place, counted from the point to the right, 0 for the ones.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`].
    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError>;

    /// Compares.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`], [`ArithmeticError::BelowZero`].
    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError>;

    /// Gives the number out as an exact decimal, in whatever written form.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`] if it is none.
    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError>;
}

/// Evaluates an expression on one machine. Numbers come out in normal form, except that a name or numeral alone stays
/// as it is written, and that `round(x, places)` as the whole expression keeps its places: `round(3.96, 1)` is `4.0`.
///
/// # Errors
/// As the machine's; [`ArithmeticError::UnknownName`], [`ArithmeticError::NoneFits`],
/// [`ArithmeticError::NestedComparison`].
pub fn evaluate<A: Arithmetic>(
    machine: &A,
    expression: &Expression,
    names: &Names,
) -> Result<Value, ArithmeticError> {
    if let Expression::Comparison(left, right) = expression {
        let order = machine.compare(&number(machine, left, names)?, &number(machine, right, names)?)?;
        return Ok(Value::Relation(order.into()));
    }
    if let Expression::Order(direction, values) = expression {
        return in_order(machine, *direction, values, names).map(Value::Order);
    }
    let found = machine.decimal(&number(machine, expression, names)?)?.normalized();
    let as_written = match expression {
        Expression::Name(name) => names.get(name).map(Decimal::places),
        Expression::Literal(numeral) => Some(numeral.places()),
        _ => expression.rounded_places(),
    };
    let written = match as_written {
        // A bent machine may round to another place; then the value shows the places it has.
        Some(places) => found.with_places(places).unwrap_or(found),
        None => found,
    };
    Ok(Value::Number(written))
}

/// Puts values in order by inserting each where it belongs; equal ones stay as they are named.
fn in_order<A: Arithmetic>(
    machine: &A,
    direction: Direction,
    values: &[Expression],
    names: &Names,
) -> Result<Vec<Decimal>, ArithmeticError> {
    let before = match direction {
        Direction::Ascending => Ordering::Less,
        Direction::Descending => Ordering::Greater,
    };
    let mut sorted: Vec<A::Number> = Vec::with_capacity(values.len());
    for value in values {
        let value = number(machine, value, names)?;
        let mut at = sorted.len();
        while at > 0 && machine.compare(&value, &sorted[at - 1])? == before {
            at -= 1;
        }
        sorted.insert(at, value);
    }
    sorted.iter().map(|number| Ok(machine.decimal(number)?.normalized())).collect()
}

fn number<A: Arithmetic>(
    machine: &A,
    expression: &Expression,
    names: &Names,
) -> Result<A::Number, ArithmeticError> {
    match expression {
        Expression::Literal(decimal) => machine.number(decimal),
        Expression::Name(name) => {
            let decimal =
                names.get(name).ok_or_else(|| ArithmeticError::UnknownName { name: name.clone().into() })?;
            machine.number(decimal)
        }
        Expression::Binary(operation, left, right) => {
            machine.apply(*operation, &number(machine, left, names)?, &number(machine, right, names)?)
        }
        Expression::Call(function, arguments) => call(machine, *function, arguments, names),
        Expression::Comparison(..) | Expression::Order(..) => Err(ArithmeticError::NestedComparison),
    }
}

fn call<A: Arithmetic>(
    machine: &A,
    function: Function,
    arguments: &[Expression],
    names: &Names,
) -> Result<A::Number, ArithmeticError> {
    let place = || arguments[1].places_literal().expect("the parser admits only literal places");
    match function {
        Function::Round => return machine.round(&number(machine, &arguments[0], names)?, place()),
        Function::Digit => return machine.digit(&number(machine, &arguments[0], names)?, place()),
        Function::Whole => return machine.whole(&number(machine, &arguments[0], names)?),
        Function::Max | Function::Min | Function::SmallestAtLeast => {}
    }
    let values: Vec<A::Number> =
        arguments.iter().map(|argument| number(machine, argument, names)).collect::<Result<_, _>>()?;
    match function {
        Function::Max => extreme(machine, &values, Ordering::Greater),
        Function::Min => extreme(machine, &values, Ordering::Less),
        _ => {
            let mut fitting = Vec::new();
            for limit in &values[1..] {
                if machine.compare(limit, &values[0])? != Ordering::Less {
                    fitting.push(limit.clone());
                }
            }
            extreme(machine, &fitting, Ordering::Less)
        }
    }
}

fn extreme<A: Arithmetic>(
    machine: &A,
    values: &[A::Number],
    wanted: Ordering,
) -> Result<A::Number, ArithmeticError> {
    let (first, rest) = values.split_first().ok_or(ArithmeticError::NoneFits)?;
    let mut best = first;
    for value in rest {
        if machine.compare(value, best)? == wanted {
            best = value;
        }
    }
    Ok(best.clone())
}

/// Evaluates by all three routes and returns the value only if they agree.
///
/// # Errors
/// As [`evaluate`]; [`ArithmeticError::Disagreement`] if the routes differ.
///
/// # Example
/// ```
/// use qbank::{arithmetic::{prove, Value}, expression::{Expression, Names}};
/// let expression: Expression = "round(8.49 / 12, 2)".parse()?;
/// assert_eq!(prove(&expression, &Names::new())?, Value::Number("0.71".parse()?));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn prove(expression: &Expression, names: &Names) -> Result<Value, ArithmeticError> {
    prove_found(&evaluate(&Columns, expression, names), expression, names)
}

/// The same, where what the columns give is known.
pub(crate) fn prove_found(
    by_columns: &Result<Value, ArithmeticError>,
    expression: &Expression,
    names: &Names,
) -> Result<Value, ArithmeticError> {
    let by_fractions = match evaluate(&ShortFractions, expression, names) {
        Ok(value) => Ok(value),
        // It may only have been too long for short ones.
        Err(_) => evaluate(&Fractions, expression, names),
    };
    let by_library = evaluate(&Library, expression, names);
    if by_fractions == by_library && by_fractions == *by_columns {
        return by_fractions;
    }
    // The library cuts a division that does not end and the columns stop at zero: both then know less than the
    // fractions, and an error of the fractions is the clearer one.
    by_fractions.clone()?;
    Err(ArithmeticError::Disagreement {
        expression: alloc::format!("{}", expression.with_values(names)),
        values: alloc::format!("fractions {by_fractions:?}, library {by_library:?}, columns {by_columns:?}"),
    })
}

/// The route through rust_decimal.
#[derive(Clone, Copy, Debug, Default)]
pub struct Library;

impl Arithmetic for Library {
    type Number = rust_decimal::Decimal;

    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError> {
        rust_decimal::Decimal::try_from_i128_with_scale(decimal.units(), decimal.places())
            .map_err(|_| ArithmeticError::NotADecimal)
    }

    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError> {
        if operation == Operation::Divide && right.is_zero() {
            return Err(ArithmeticError::DivisionByZero);
        }
        let result = match operation {
            Operation::Add => left.checked_add(*right),
            Operation::Subtract => left.checked_sub(*right),
            Operation::Multiply => left.checked_mul(*right),
            Operation::Divide => left.checked_div(*right),
        };
        let result = result.ok_or(ArithmeticError::NotADecimal)?;
        if result.is_sign_negative() && !result.is_zero() {
            Err(ArithmeticError::BelowZero)
        } else {
            Ok(result)
        }
    }

    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError> {
        Ok(number.round_dp_with_strategy(places, rust_decimal::RoundingStrategy::MidpointAwayFromZero))
    }

    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError> {
        Ok(number.trunc())
    }

    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError> {
        let scale = rust_decimal::Decimal::from(10_u64.pow(place));
        let scaled = number.checked_mul(scale).ok_or(ArithmeticError::NotADecimal)?;
        Ok(scaled.trunc() % rust_decimal::Decimal::TEN)
    }

    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError> {
        Ok(left.cmp(right))
    }

    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError> {
        let plain = number.normalize();
        Decimal::new(plain.mantissa(), plain.scale()).map_err(|_| ArithmeticError::NotADecimal)
    }
}

/// The route through columns of digits.
#[derive(Clone, Copy, Debug, Default)]
pub struct Columns;

/// A number on the column route: a division that does not end is cut, and says so until it is rounded.
#[derive(Clone, Copy, Debug)]
pub struct ColumnNumber {
    value: Decimal,
    cut: bool,
}

impl ColumnNumber {
    /// The digits that were worked out: all, or the first twelve behind the point of a quotient that does not end.
    pub(crate) fn worked_out(&self) -> Decimal {
        self.value
    }
}

impl From<Decimal> for ColumnNumber {
    fn from(value: Decimal) -> Self {
        Self { value, cut: false }
    }
}

impl From<ColumnError> for ArithmeticError {
    fn from(error: ColumnError) -> Self {
        match error {
            ColumnError::Negative | ColumnError::BelowZero => Self::BelowZero,
            ColumnError::DivisionByZero => Self::DivisionByZero,
            ColumnError::TooLong => Self::NotADecimal,
        }
    }
}

impl Arithmetic for Columns {
    type Number = ColumnNumber;

    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError> {
        Ok((*decimal).into())
    }

    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError> {
        let (value, ends) = match operation {
            Operation::Add => (columns::sum(&left.value, &right.value)?, true),
            Operation::Subtract => (columns::subtract(&left.value, &right.value)?.result()?, true),
            Operation::Multiply => (columns::multiply(&left.value, &right.value)?.result()?, true),
            Operation::Divide => {
                let division = columns::divide(&left.value, &right.value, DIVISION_PLACES)?;
                (division.quotient(), division.is_exact())
            }
        };
        Ok(ColumnNumber { value, cut: left.cut || right.cut || !ends })
    }

    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError> {
        // A cut quotient rounds right: half up looks at one digit, and that digit is there.
        Ok(columns::round(&number.value, places)?.into())
    }

    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError> {
        let whole = i128::try_from(number.value.whole_part()).map_err(|_| ArithmeticError::NotADecimal)?;
        Ok(Decimal::new(whole, 0).map_err(|_| ArithmeticError::NotADecimal)?.into())
    }

    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError> {
        let index = i32::try_from(place).map_err(|_| ArithmeticError::NotADecimal)?;
        Ok(Decimal::from(u32::from(number.value.digit(index))).into())
    }

    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError> {
        Ok(columns::compare(&left.value, &right.value)?)
    }

    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError> {
        if number.cut { Err(ArithmeticError::NotADecimal) } else { Ok(number.value) }
    }
}

/// The route through exact fractions, as long as they are short: a numerator over a denominator, which are never reduced.
/// What outgrows them has no value here, and is a matter for [`Fractions`].
#[derive(Clone, Copy, Debug, Default)]
struct ShortFractions;

/// A fraction from zero up.
#[derive(Clone, Copy, Debug)]
struct ShortFraction {
    top: u128,
    /// Never zero.
    bottom: u128,
}

impl ShortFraction {
    /// Both over one denominator.
    fn in_common(left: &Self, right: &Self) -> Option<(u128, u128, u128)> {
        if left.bottom == right.bottom {
            return Some((left.top, right.top, left.bottom));
        }
        let common = left.bottom.checked_mul(right.bottom)?;
        Some((left.top.checked_mul(right.bottom)?, right.top.checked_mul(left.bottom)?, common))
    }

    fn worked(operation: Operation, left: &Self, right: &Self) -> Option<Self> {
        let (top, bottom) = match operation {
            Operation::Add => {
                let (one, other, bottom) = Self::in_common(left, right)?;
                (one.checked_add(other)?, bottom)
            }
            Operation::Subtract => {
                let (one, other, bottom) = Self::in_common(left, right)?;
                (one.checked_sub(other)?, bottom)
            }
            Operation::Multiply => (left.top.checked_mul(right.top)?, left.bottom.checked_mul(right.bottom)?),
            Operation::Divide => (left.top.checked_mul(right.bottom)?, left.bottom.checked_mul(right.top)?),
        };
        (bottom > 0).then_some(Self { top, bottom })
    }

    /// In whole steps of a power of ten, cut off.
    fn whole_steps(&self, places: u32) -> Option<u128> {
        Some(quotient(self.top.checked_mul(10_u128.checked_pow(places)?)?, self.bottom).0)
    }
}

/// Quotient and remainder; short numbers are divided by the machine at once.
fn quotient(number: u128, by: u128) -> (u128, u128) {
    match (u64::try_from(number), u64::try_from(by)) {
        (Ok(number), Ok(by)) => ((number / by).into(), (number % by).into()),
        _ => (number / by, number % by),
    }
}

impl Arithmetic for ShortFractions {
    type Number = ShortFraction;

    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError> {
        let top = u128::try_from(decimal.units()).map_err(|_| ArithmeticError::BelowZero)?;
        Ok(ShortFraction { top, bottom: power_of_ten(decimal.places()) })
    }

    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError> {
        ShortFraction::worked(operation, left, right).ok_or(ArithmeticError::NotADecimal)
    }

    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError> {
        // Half up: twice as many half steps, one more, and half of them.
        let doubled = number.top.checked_mul(2).map(|top| ShortFraction { top, ..*number });
        let halves = doubled.and_then(|doubled| doubled.whole_steps(places));
        let top = halves.ok_or(ArithmeticError::NotADecimal)?.div_ceil(2);
        Ok(ShortFraction { top, bottom: 10_u128.pow(places) })
    }

    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError> {
        Ok(ShortFraction { top: quotient(number.top, number.bottom).0, bottom: 1 })
    }

    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError> {
        let steps = number.whole_steps(place).ok_or(ArithmeticError::NotADecimal)?;
        Ok(ShortFraction { top: steps % 10, bottom: 1 })
    }

    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError> {
        let common = ShortFraction::in_common(left, right).ok_or(ArithmeticError::NotADecimal)?;
        Ok(common.0.cmp(&common.1))
    }

    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError> {
        // The first power of ten that leaves no remainder.
        let mut top = number.top;
        for places in 0..=crate::decimal::MAX_DIGITS as u32 {
            let (units, rest) = quotient(top, number.bottom);
            if rest == 0 {
                let units = i128::try_from(units).map_err(|_| ArithmeticError::NotADecimal)?;
                return Decimal::new(units, places).map_err(|_| ArithmeticError::NotADecimal);
            }
            top = top.checked_mul(10).ok_or(ArithmeticError::NotADecimal)?;
        }
        Err(ArithmeticError::NotADecimal)
    }
}

/// The route through exact fractions of big integers.
#[derive(Clone, Copy, Debug, Default)]
pub struct Fractions;

impl Arithmetic for Fractions {
    type Number = BigRational;

    fn number(&self, decimal: &Decimal) -> Result<Self::Number, ArithmeticError> {
        Ok(BigRational::new(BigInt::from(decimal.units()), BigInt::from(10).pow(decimal.places())))
    }

    fn apply(
        &self,
        operation: Operation,
        left: &Self::Number,
        right: &Self::Number,
    ) -> Result<Self::Number, ArithmeticError> {
        let result = match operation {
            Operation::Add => left + right,
            Operation::Subtract => left - right,
            Operation::Multiply => left * right,
            Operation::Divide if right.is_zero() => return Err(ArithmeticError::DivisionByZero),
            Operation::Divide => left / right,
        };
        if result.is_negative() { Err(ArithmeticError::BelowZero) } else { Ok(result) }
    }

    fn round(&self, number: &Self::Number, places: u32) -> Result<Self::Number, ArithmeticError> {
        let scale = BigRational::from(BigInt::from(10).pow(places));
        let half = BigRational::new(BigInt::one(), BigInt::from(2));
        Ok((number * &scale + half).floor() / scale)
    }

    fn whole(&self, number: &Self::Number) -> Result<Self::Number, ArithmeticError> {
        Ok(number.floor())
    }

    fn digit(&self, number: &Self::Number, place: u32) -> Result<Self::Number, ArithmeticError> {
        let scaled = (number * BigRational::from(BigInt::from(10).pow(place))).floor();
        Ok(BigRational::from(scaled.to_integer() % BigInt::from(10)))
    }

    fn compare(&self, left: &Self::Number, right: &Self::Number) -> Result<Ordering, ArithmeticError> {
        Ok(left.cmp(right))
    }

    fn decimal(&self, number: &Self::Number) -> Result<Decimal, ArithmeticError> {
        // A fraction in lowest terms ends as a decimal exactly when its denominator has no factors but 2 and 5.
        let mut denominator = number.denom().clone();
        let mut places = [0_u32; 2];
        for (count, factor) in places.iter_mut().zip([2_u32, 5]) {
            while (&denominator % factor).is_zero() {
                denominator /= factor;
                *count += 1;
            }
        }
        let places = places[0].max(places[1]);
        if !denominator.is_one() || places as usize > crate::decimal::MAX_DIGITS {
            return Err(ArithmeticError::NotADecimal);
        }
        let scaled: BigRational = number * BigRational::from(BigInt::from(10).pow(places));
        let units = scaled.to_integer().to_i128().ok_or(ArithmeticError::NotADecimal)?;
        Decimal::new(units, places).map_err(|_| ArithmeticError::NotADecimal)
    }
}

impl Relation {
    /// The sign, as printed and as answered.
    #[must_use]
    pub fn sign(self) -> &'static str {
        match self {
            Self::Less => "<",
            Self::Equal => "=",
            Self::Greater => ">",
        }
    }
}

impl From<Ordering> for Relation {
    fn from(order: Ordering) -> Self {
        match order {
            Ordering::Less => Self::Less,
            Ordering::Equal => Self::Equal,
            Ordering::Greater => Self::Greater,
        }
    }
}

impl fmt::Display for Relation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.sign())
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => number.fmt(f),
            Self::Relation(relation) => relation.fmt(f),
            Self::Order(numbers) => {
                let numbers: Vec<String> = numbers.iter().map(|number| alloc::format!("{number}")).collect();
                f.write_str(&numbers.join(", "))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::{format, string::ToString};
    use proptest::prelude::*;

    fn proven(text: &str) -> Result<Value, ArithmeticError> {
        prove(&text.parse().unwrap(), &Names::new())
    }

    #[test]
    fn agrees_on_functions_and_comparisons() {
        let cases = [
            ("4.6 + 0.75", "5.35"),
            ("20 - 14.65", "5.35"),
            ("round(3.96, 1)", "4.0"),
            ("round(2 / 3, 2)", "0.67"),
            ("max(0.8, 0.35, 0.53)", "0.8"),
            ("min(0.8, 0.35, 0.53)", "0.35"),
            ("smallest_at_least(7.5, 5, 10, 7.5, 12.5)", "7.5"),
            ("0.35 ? 0.8", "<"),
            ("0.50 ? 0.5", "="),
            ("1.78 ? 1.708", ">"),
            ("ascending(0.8, 0.35, 0.53)", "0.35, 0.53, 0.8"),
            ("descending(0.8, 0.35, 0.53)", "0.8, 0.53, 0.35"),
            ("ascending(0.50, 0.5, 0.4)", "0.4, 0.5, 0.5"),
            ("0.50", "0.50"),
            ("whole(12.98)", "12"),
            ("whole(2 / 3 * 10)", "6"),
            ("digit(12.987, 0)", "2"),
            ("digit(12.987, 2)", "8"),
            ("digit(12.5, 4)", "0"),
            ("digit(2 / 3, 5)", "6"),
        ];
        for (text, value) in cases {
            assert_eq!(proven(text).unwrap().to_string(), value, "{text}");
        }
    }

    #[test]
    fn says_why_there_is_no_value() {
        assert_eq!(proven("1 / 3"), Err(ArithmeticError::NotADecimal));
        assert_eq!(proven("1 / (2 - 2)"), Err(ArithmeticError::DivisionByZero));
        assert_eq!(proven("1 - 2"), Err(ArithmeticError::BelowZero));
        assert_eq!(proven("smallest_at_least(9, 5, 7)"), Err(ArithmeticError::NoneFits));
        assert_eq!(proven("a + 1"), Err(ArithmeticError::UnknownName { name: "a".into() }));
    }

    #[test]
    fn prove_refuses_when_routes_disagree() {
        // Twelve places are not enough for this sum of a cut quotient; only the fractions know the tie exactly.
        let cut_too_early = proven("round(1 / 3 * 3, 0) - round(0.0000000000001 / 0.3 * 3000000000000, 0)");
        assert!(matches!(cut_too_early, Err(ArithmeticError::Disagreement { .. })), "{cut_too_early:?}");
    }

    proptest! {
        #[test]
        fn short_fractions_find_what_long_ones_do_or_nothing(
            a in 0_i128..10_i128.pow(15), b in 0_i128..1_000_000, p in 0_u32..15, q in 0_u32..6, places in 0_u32..9,
        ) {
            let names = Names::from([
                ("a".into(), Decimal::new(a, p).unwrap()),
                ("b".into(), Decimal::new(b, q).unwrap()),
            ]);
            for text in [
                "a + b", "a - b", "a * b", "a / b", "a * b / 8 + b", "a ? b", "whole(a / b)", "max(a, b, 0.5)",
                "ascending(a, b, a * 0.5)", &format!("round(a / b, {places})"), &format!("digit(a / b, {places})"),
                &format!("round(a, {places})"), "round(b * 0.5, 0)",
            ] {
                let expression: Expression = text.parse().unwrap();
                if let Ok(short) = evaluate(&ShortFractions, &expression, &names) {
                    prop_assert_eq!(Ok(short), evaluate(&Fractions, &expression, &names), "{} {:?}", text, names);
                } else if a < 1_000_000_000 && p < 6 && q < 4 && places < 5 {
                    prop_assert!(evaluate(&Fractions, &expression, &names).is_err(), "{} {:?}", text, names);
                }
            }
        }

        #[test]
        fn three_routes_agree(a in 0_u32..1_000_000, b in 1_u32..1_000_000, p in 0_u32..4, q in 0_u32..4, places in 0_u32..4) {
            let names = Names::from([
                ("a".into(), Decimal::new(a.into(), p).unwrap()),
                ("b".into(), Decimal::new(b.into(), q).unwrap()),
            ]);
            for text in ["a + b", "a * b", "max(a, b) - min(a, b)", "a ? b", &format!("round(a / b, {places})")] {
                let expression: Expression = text.parse().unwrap();
                prop_assert!(prove(&expression, &names).is_ok(), "{text} {names:?}");
            }
        }
    }
}
