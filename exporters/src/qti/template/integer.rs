//! Whole numbers that are only known when the platform draws: expressions of the standard, with proven bounds.
//!
//! Everything a template works out it works out in integers, because floats of an engine are binary. The standard's
//! integers have 32 bits, so each expression carries the range its value can have and the largest value that any part
//! of it can reach; what could outgrow 32 bits is found when the expression is kept ([`super::program::Program`]).
//! What is certain from the ranges alone is decided here and never written.
use qbank::decimal::Decimal;

use crate::qti::processing::{Expression, Value};

/// The most that an integer of the standard holds.
pub(super) const MOST: i64 = i32::MAX as i64;

/// An integer expression with its bounds.
#[derive(Clone, Debug)]
pub(super) struct Int {
    pub(super) expression: Expression,
    /// The least value.
    pub(super) low: i64,
    /// The greatest value.
    pub(super) high: i64,
    /// The greatest size of any value on the way.
    pub(super) peak: i64,
}

/// A truth value: certain, or decided by the platform.
#[derive(Clone, Debug)]
pub(super) enum Test {
    Certain(bool),
    Open {
        expression: Expression,
        /// The greatest size of any value on the way.
        peak: i64,
    },
}

/// Ten to a power; small powers only, so it cannot overflow.
pub(super) fn ten(power: u32) -> i64 {
    10_i64.saturating_pow(power)
}

/// A literal integer, which the standard has from zero up.
fn literal(value: i64) -> Expression {
    let size = u32::try_from(value.unsigned_abs()).unwrap_or(u32::MAX);
    let written = Expression::BaseValue(Value::Integer(size));
    if value >= 0 {
        return written;
    }
    let zero = Expression::BaseValue(Value::Integer(0));
    Expression::Subtract(Box::new(zero), Box::new(written))
}

impl From<i64> for Int {
    fn from(value: i64) -> Self {
        Self { expression: literal(value), low: value, high: value, peak: value.abs() }
    }
}

impl Int {
    /// The value, where there is only one.
    pub(super) fn certain(&self) -> Option<i64> {
        (self.low == self.high).then_some(self.low)
    }

    /// No number.
    pub(super) fn null() -> Self {
        Self { expression: Expression::Null, low: 0, high: 1, peak: 1 }
    }

    fn is_null(&self) -> bool {
        self.expression == Expression::Null
    }

    fn made(expression: Expression, corners: [i64; 2], of: [&Self; 2]) -> Self {
        if of.iter().any(|operand| operand.is_null()) {
            return Self::null();
        }
        let [low, high] = corners;
        let peak = of[0].peak.max(of[1].peak).max(low.saturating_abs()).max(high.saturating_abs());
        if low == high { Self { peak, ..Self::from(low) } } else { Self { expression, low, high, peak } }
    }

    pub(super) fn plus(&self, other: &Self) -> Self {
        match (self.certain(), other.certain()) {
            (Some(0), _) => return other.clone(),
            (_, Some(0)) => return self.clone(),
            _ => {}
        }
        let corners = [self.low.saturating_add(other.low), self.high.saturating_add(other.high)];
        Self::made(
            Expression::Sum(vec![self.expression.clone(), other.expression.clone()]),
            corners,
            [self, other],
        )
    }

    pub(super) fn minus(&self, other: &Self) -> Self {
        if other.certain() == Some(0) {
            return self.clone();
        }
        let corners = [self.low.saturating_sub(other.high), self.high.saturating_sub(other.low)];
        let expression =
            Expression::Subtract(Box::new(self.expression.clone()), Box::new(other.expression.clone()));
        Self::made(expression, corners, [self, other])
    }

    pub(super) fn times(&self, other: &Self) -> Self {
        match (self.certain(), other.certain()) {
            (Some(1), _) => return other.clone(),
            (_, Some(1)) => return self.clone(),
            _ => {}
        }
        let products = [
            self.low.saturating_mul(other.low),
            self.low.saturating_mul(other.high),
            self.high.saturating_mul(other.low),
            self.high.saturating_mul(other.high),
        ];
        let corners = [*products.iter().min().unwrap_or(&0), *products.iter().max().unwrap_or(&0)];
        Self::made(
            Expression::Product(vec![self.expression.clone(), other.expression.clone()]),
            corners,
            [self, other],
        )
    }

    /// The quotient rounded down, by a number from one up; null where the divisor is zero.
    pub(super) fn over(&self, divisor: &Self) -> Self {
        if divisor.certain() == Some(1) {
            return self.clone();
        }
        let (least, most) = (divisor.low.max(1), divisor.high.max(1));
        let ends = [
            self.low.div_euclid(least),
            self.low.div_euclid(most),
            self.high.div_euclid(least),
            self.high.div_euclid(most),
        ];
        let corners = [*ends.iter().min().unwrap_or(&0), *ends.iter().max().unwrap_or(&0)];
        let expression = Expression::IntegerDivide(
            Box::new(self.expression.clone()),
            Box::new(divisor.expression.clone()),
        );
        Self::made(expression, corners, [self, divisor])
    }

    /// What is left over of the quotient, from zero up.
    pub(super) fn modulo(&self, divisor: &Self) -> Self {
        if self.low >= 0 && self.high < divisor.low {
            return self.clone();
        }
        let corners = match (self.certain(), divisor.certain()) {
            (Some(value), Some(by)) if by > 0 => [value.rem_euclid(by); 2],
            _ => [0, divisor.high.saturating_sub(1).max(0)],
        };
        let expression = Expression::IntegerModulus(
            Box::new(self.expression.clone()),
            Box::new(divisor.expression.clone()),
        );
        Self::made(expression, corners, [self, divisor])
    }

    pub(super) fn add(&self, number: i64) -> Self {
        self.plus(&number.into())
    }

    /// With zeros annexed.
    pub(super) fn raised(&self, zeros: u32) -> Self {
        self.times(&ten(zeros).into())
    }

    /// With digits cut off.
    pub(super) fn cut(&self, digits: u32) -> Self {
        self.over(&ten(digits).into())
    }

    /// The last digits.
    pub(super) fn last(&self, digits: u32) -> Self {
        self.modulo(&ten(digits).into())
    }

    /// The digit in a column, 0 being the last one.
    pub(super) fn digit(&self, column: u32) -> Self {
        self.cut(column).last(1)
    }

    /// The same value, known to lie within narrower bounds than the expression shows.
    pub(super) fn within(mut self, low: i64, high: i64) -> Self {
        (self.low, self.high) = (self.low.max(low), self.high.min(high));
        self
    }

    /// With how many digits it can be written, from one up.
    pub(super) fn digit_counts(&self) -> std::ops::RangeInclusive<u32> {
        let count = |value: i64| value.max(1).ilog10() + 1;
        count(self.low)..=count(self.high)
    }

    /// Whether it is written with so many digits.
    pub(super) fn has_digits(&self, count: u32) -> Test {
        let least = if count == 1 { 0 } else { ten(count - 1) };
        self.at_least(&least.into()).and(&self.below(&ten(count).into()))
    }

    fn compared(
        &self,
        other: &Self,
        known: Option<bool>,
        sign: fn(Box<Expression>, Box<Expression>) -> Expression,
    ) -> Test {
        match known {
            Some(known) => Test::Certain(known),
            None => Test::Open {
                expression: sign(Box::new(self.expression.clone()), Box::new(other.expression.clone())),
                peak: self.peak.max(other.peak),
            },
        }
    }

    pub(super) fn below(&self, other: &Self) -> Test {
        let known = certain(self.high < other.low, self.low >= other.high);
        self.compared(other, known, Expression::Lt)
    }

    pub(super) fn at_least(&self, other: &Self) -> Test {
        let known = certain(self.low >= other.high, self.high < other.low);
        self.compared(other, known, Expression::Gte)
    }

    /// Equal by an integer's own order: some engines have no match of integers that come from different operators.
    pub(super) fn equals(&self, other: &Self) -> Test {
        let same = self.certain().is_some() && self.certain() == other.certain();
        let known = certain(same, self.high < other.low || self.low > other.high);
        self.compared(other, known, Expression::Match)
    }

    pub(super) fn is(&self, value: i64) -> Test {
        self.equals(&value.into())
    }
}

fn certain(yes: bool, no: bool) -> Option<bool> {
    match (yes, no) {
        (true, _) => Some(true),
        (_, true) => Some(false),
        _ => None,
    }
}

impl Test {
    pub(super) const TRUE: Self = Self::Certain(true);

    pub(super) fn peak(&self) -> i64 {
        match self {
            Self::Certain(_) => 0,
            Self::Open { peak, .. } => *peak,
        }
    }

    pub(super) fn expression(&self) -> Expression {
        match self {
            Self::Certain(truth) => Expression::BaseValue(Value::Boolean(*truth)),
            Self::Open { expression, .. } => expression.clone(),
        }
    }

    pub(super) fn and(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Certain(true), rest) | (rest, Self::Certain(true)) => rest.clone(),
            (Self::Certain(false), _) | (_, Self::Certain(false)) => Self::Certain(false),
            _ => self.joined(other, true),
        }
    }

    pub(super) fn or(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Certain(false), rest) | (rest, Self::Certain(false)) => rest.clone(),
            (Self::Certain(true), _) | (_, Self::Certain(true)) => Self::Certain(true),
            _ => self.joined(other, false),
        }
    }

    fn joined(&self, other: &Self, and: bool) -> Self {
        let mut parts = Vec::new();
        for one in [self.expression(), other.expression()] {
            match one {
                Expression::And(inner) if and => parts.extend(inner),
                Expression::Or(inner) if !and => parts.extend(inner),
                part => parts.push(part),
            }
        }
        let expression = if and { Expression::And(parts) } else { Expression::Or(parts) };
        Self::Open { expression, peak: self.peak().max(other.peak()) }
    }

    pub(super) fn not(&self) -> Self {
        match self {
            Self::Certain(truth) => Self::Certain(!truth),
            Self::Open { expression, peak } => {
                Self::Open { expression: Expression::Not(Box::new(expression.clone())), peak: *peak }
            }
        }
    }

    pub(super) fn any(tests: impl IntoIterator<Item = Self>) -> Self {
        tests.into_iter().fold(Self::Certain(false), |any, test| any.or(&test))
    }

    pub(super) fn all(tests: impl IntoIterator<Item = Self>) -> Self {
        tests.into_iter().fold(Self::TRUE, |all, test| all.and(&test))
    }
}

/// A number written with a fixed number of places: so many units of the last one.
#[derive(Clone, Debug)]
pub(super) struct Fixed {
    pub(super) units: Int,
    pub(super) places: u32,
}

impl Fixed {
    pub(super) fn new(units: Int, places: u32) -> Self {
        Self { units, places }
    }

    /// A literal; `None` with more than 32 bits of digits, which the standard's integers do not hold.
    pub(super) fn literal(number: &Decimal) -> Option<Self> {
        let units = i64::try_from(number.units()).ok().filter(|units| (0..=MOST).contains(units))?;
        Some(Self::new(units.into(), number.places()))
    }

    /// The units of a place at or after its own last one.
    pub(super) fn at(&self, places: u32) -> Int {
        self.units.raised(places.saturating_sub(self.places))
    }

    /// The part before the point.
    pub(super) fn whole(&self) -> Int {
        self.units.cut(self.places)
    }

    /// The digits after the point, read as a whole number.
    pub(super) fn fraction(&self) -> Int {
        self.units.last(self.places)
    }

    /// The digit `index` places right of the point.
    pub(super) fn digit(&self, index: u32) -> Int {
        self.places.checked_sub(index).map_or_else(|| 0.into(), |column| self.units.digit(column))
    }

    /// The same digits with the point moved to the right, or below zero to the left.
    pub(super) fn shifted(&self, shift: i32) -> Self {
        match u32::try_from(i64::from(self.places) - i64::from(shift)) {
            Ok(places) => Self::new(self.units.clone(), places),
            Err(_) => Self::new(self.units.raised(shift.unsigned_abs() - self.places), 0),
        }
    }
}

/// Two numbers in units of the same place.
pub(super) fn lined_up(a: &Fixed, b: &Fixed) -> (Int, Int, u32) {
    let places = a.places.max(b.places);
    (a.at(places), b.at(places), places)
}
