//! Arithmetic as platforms do it: integers of 32 bits and binary floats.
use super::{Found, Operand, Operator, logic::number, wrong_type};
use crate::processor::{
    fault::Reason,
    value::{Scalar, Value},
};

/// The functions of `math-operator`, by their usual names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MathFunction {
    Sin,
    Cos,
    Tan,
    Sec,
    Csc,
    Cot,
    Asin,
    Acos,
    Atan,
    Atan2,
    Asec,
    Acsc,
    Acot,
    Sinh,
    Cosh,
    Tanh,
    Sech,
    Csch,
    Coth,
    Log,
    Ln,
    Exp,
    Abs,
    Signum,
    Floor,
    Ceil,
    ToDegrees,
    ToRadians,
}

impl MathFunction {
    /// All of them by the standard's words.
    pub(super) const WORDS: [(&'static str, Self); 28] = [
        ("sin", Self::Sin),
        ("cos", Self::Cos),
        ("tan", Self::Tan),
        ("sec", Self::Sec),
        ("csc", Self::Csc),
        ("cot", Self::Cot),
        ("asin", Self::Asin),
        ("acos", Self::Acos),
        ("atan", Self::Atan),
        ("atan2", Self::Atan2),
        ("asec", Self::Asec),
        ("acsc", Self::Acsc),
        ("acot", Self::Acot),
        ("sinh", Self::Sinh),
        ("cosh", Self::Cosh),
        ("tanh", Self::Tanh),
        ("sech", Self::Sech),
        ("csch", Self::Csch),
        ("coth", Self::Coth),
        ("log", Self::Log),
        ("ln", Self::Ln),
        ("exp", Self::Exp),
        ("abs", Self::Abs),
        ("signum", Self::Signum),
        ("floor", Self::Floor),
        ("ceil", Self::Ceil),
        ("toDegrees", Self::ToDegrees),
        ("toRadians", Self::ToRadians),
    ];

    /// The function's value; outside of its domain it is not finite, and so NULL.
    fn of(self, x: f64, y: f64) -> Value {
        Value::float(match self {
            Self::Sin => x.sin(),
            Self::Cos => x.cos(),
            Self::Tan => x.tan(),
            Self::Sec => x.cos().recip(),
            Self::Csc => x.sin().recip(),
            Self::Cot => x.tan().recip(),
            Self::Asin => x.asin(),
            Self::Acos => x.acos(),
            Self::Atan => x.atan(),
            Self::Atan2 => x.atan2(y),
            Self::Asec => x.recip().acos(),
            Self::Acsc => x.recip().asin(),
            Self::Acot => x.recip().atan(),
            Self::Sinh => x.sinh(),
            Self::Cosh => x.cosh(),
            Self::Tanh => x.tanh(),
            Self::Sech => x.cosh().recip(),
            Self::Csch => x.sinh().recip(),
            Self::Coth => x.tanh().recip(),
            Self::Log => x.log10(),
            Self::Ln => x.ln(),
            Self::Exp => x.exp(),
            Self::Abs => x.abs(),
            Self::ToDegrees => x.to_degrees(),
            Self::ToRadians => x.to_radians(),
            Self::Signum => return integral(if x == 0.0 { 0.0 } else { x.signum() }),
            Self::Floor => return integral(x.floor()),
            Self::Ceil => return integral(x.ceil()),
        })
    }
}

/// The figures of `stats-operator`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Statistic {
    /// The mean.
    Mean,
    /// The variance of a sample.
    SampleVariance,
    /// The standard deviation of a sample.
    SampleSd,
    /// The variance of all there are.
    PopVariance,
    /// The standard deviation of all there are.
    PopSd,
}

impl Statistic {
    /// All of them by the standard's words.
    pub(super) const WORDS: [(&'static str, Self); 5] = [
        ("mean", Self::Mean),
        ("sampleVariance", Self::SampleVariance),
        ("sampleSD", Self::SampleSd),
        ("popVariance", Self::PopVariance),
        ("popSD", Self::PopSd),
    ];

    /// The figure; not finite where there are too few numbers.
    #[expect(clippy::cast_precision_loss, reason = "a document holds few numbers")]
    fn of(self, numbers: &[f64]) -> f64 {
        let count = numbers.len() as f64;
        let mean = numbers.iter().sum::<f64>() / count;
        let squares: f64 = numbers.iter().map(|number| (number - mean).powi(2)).sum();
        match self {
            Self::Mean => mean,
            Self::SampleVariance => squares / (count - 1.0),
            Self::SampleSd => (squares / (count - 1.0)).sqrt(),
            Self::PopVariance => squares / count,
            Self::PopSd => (squares / count).sqrt(),
        }
    }
}

/// Operators on numbers; no value is NULL.
pub(super) fn apply(operator: &Operator, values: &[Operand<'_>]) -> Found {
    let name = operator.name();
    let float = |index: usize| number(name, &values[index]);
    match operator {
        Operator::Sum => folded(name, values, i64::checked_add, |one, other| one + other),
        Operator::Product => folded(name, values, i64::checked_mul, |one, other| one * other),
        Operator::Min => folded(name, values, |one, other| Some(one.min(other)), f64::min),
        Operator::Max => folded(name, values, |one, other| Some(one.max(other)), f64::max),
        Operator::Subtract => folded(name, values, i64::checked_sub, |one, other| one - other),
        Operator::Divide => Ok(Value::float(float(0)? / float(1)?)),
        Operator::Power => Ok(Value::float(float(0)?.powf(float(1)?))),
        Operator::IntegerDivide => divided(name, values, floored),
        Operator::IntegerModulus => divided(name, values, |x, y| x - y * floored(x, y)),
        Operator::Gcd => {
            Ok(integers(name, values)?.into_iter().reduce(gcd).map_or(Value::Null, Value::integer))
        }
        Operator::Lcm => Ok(lcm(&integers(name, values)?)),
        Operator::Truncate => Ok(integral(float(0)?.trunc())),
        Operator::Round => Ok(integral(half_up(float(0)?))),
        Operator::IntegerToFloat => Ok(Value::float(float(0)?)),
        Operator::Math(function) => {
            let second = if values.len() > 1 { float(1)? } else { 1.0 };
            Ok(function.of(float(0)?, second))
        }
        Operator::Statistics(statistic) => Ok(Value::float(statistic.of(&floats(name, values)?))),
        _ => Err(wrong_type(name, &values[0], "what it is made for")),
    }
}

/// The nearest whole number, ties up: without adding a half, which could round in binary.
fn half_up(number: f64) -> f64 {
    let floor = number.floor();
    if number - floor >= 0.5 { floor + 1.0 } else { floor }
}

/// A whole float as an integer; NULL if it is not finite or needs more than 32 bits.
fn integral(number: f64) -> Value {
    let fits = number >= f64::from(i32::MIN) && number <= f64::from(i32::MAX);
    #[expect(clippy::cast_possible_truncation, reason = "it is whole and fits")]
    if fits { Value::integer(number as i64) } else { Value::Null }
}

/// The numbers of all operands, those of containers one by one.
fn scalars<'v>(name: &str, values: &'v [Operand<'_>]) -> Result<Vec<&'v Scalar>, Reason> {
    let mut all = Vec::new();
    for value in values {
        if value.scalars().is_empty() || value.scalars().iter().any(|scalar| scalar.as_float().is_none()) {
            return Err(wrong_type(name, value, "numbers"));
        }
        all.extend(value.scalars());
    }
    Ok(all)
}

fn floats(name: &str, values: &[Operand<'_>]) -> Result<Vec<f64>, Reason> {
    Ok(scalars(name, values)?.into_iter().filter_map(Scalar::as_float).collect())
}

fn whole(scalar: &Scalar) -> Option<i64> {
    match scalar {
        Scalar::Integer(number) => Some(i64::from(*number)),
        _ => None,
    }
}

fn integers(name: &str, values: &[Operand<'_>]) -> Result<Vec<i64>, Reason> {
    let all: Option<Vec<i64>> = scalars(name, values)?.into_iter().map(whole).collect();
    all.ok_or_else(|| wrong_type(name, &values[0], "integers"))
}

/// Integers among themselves stay integers.
fn folded(
    name: &str,
    values: &[Operand<'_>],
    integer: impl Fn(i64, i64) -> Option<i64>,
    float: impl Fn(f64, f64) -> f64,
) -> Found {
    let numbers = scalars(name, values)?;
    let all: Option<Vec<i64>> = numbers.iter().map(|scalar| whole(scalar)).collect();
    if let Some(all) = all {
        let mut rest = all.into_iter();
        let first = rest.next().unwrap_or_default();
        return Ok(rest.try_fold(first, integer).map_or(Value::Null, Value::integer));
    }
    let floats = numbers.into_iter().filter_map(Scalar::as_float);
    Ok(floats.reduce(float).map_or(Value::Null, Value::float))
}

fn divided(name: &str, values: &[Operand<'_>], result: impl Fn(i64, i64) -> i64) -> Found {
    let all = integers(name, values)?;
    Ok(match all[..] {
        [_, 0] => Value::Null,
        [x, y] => Value::integer(result(x, y)),
        _ => return Err(wrong_type(name, &values[0], "two integers")),
    })
}

/// The quotient, rounded down.
fn floored(x: i64, y: i64) -> i64 {
    let rest = x % y;
    x / y - i64::from(rest != 0 && (rest < 0) != (y < 0))
}

fn gcd(one: i64, other: i64) -> i64 {
    if other == 0 { one.abs() } else { gcd(other, one % other) }
}

fn lcm(numbers: &[i64]) -> Value {
    if numbers.contains(&0) {
        return Value::integer(0);
    }
    let joined = numbers.iter().try_fold(1_i64, |joined, number| {
        (joined / gcd(joined, *number))
            .checked_mul(number.abs())
            .filter(|joined| *joined <= i64::from(i32::MAX))
    });
    joined.map_or(Value::Null, Value::integer)
}
