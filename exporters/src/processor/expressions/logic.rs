//! Truth: comparisons, and what they are joined by.
use super::{Count, Operand, Scope, Truth, single, wrong_type};
use crate::processor::{
    fault::Reason,
    value::{Scalar, Value},
};

/// Which of two numbers is larger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// The second.
    Lt,
    /// The second, or none.
    Lte,
    /// The first.
    Gt,
    /// The first, or none.
    Gte,
}

impl Comparison {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Lt => "lt",
            Self::Lte => "lte",
            Self::Gt => "gt",
            Self::Gte => "gte",
        }
    }
}

/// The truth value; NULL is neither true nor false.
pub(super) fn truth(place: &str, value: &Value) -> Result<Option<bool>, Reason> {
    match value {
        Value::Null => Ok(None),
        Value::Single(Scalar::Boolean(truth)) => Ok(Some(*truth)),
        other => Err(wrong_type(place, other, "a boolean")),
    }
}

/// Whether so many are true; NULL where those that are NULL would decide.
pub(super) fn any_n([min, max]: [&Count; 2], values: &[Operand<'_>], scope: &Scope<'_>) -> Truth {
    let (Some(min), Some(max)) = (min.integer(scope)?, max.integer(scope)?) else { return Ok(None) };
    let truths = values.iter().map(|value| truth("any-n", value)).collect::<Result<Vec<_>, _>>()?;
    let count =
        |wanted| i64::try_from(truths.iter().filter(|truth| **truth == wanted).count()).unwrap_or(i64::MAX);
    let (certain, open) = (count(Some(true)), count(None));
    let (least, most) = (certain, certain + open);
    Ok(if least >= min && most <= max {
        Some(true)
    } else if most < min || least > max {
        Some(false)
    } else {
        None
    })
}

/// Whether two values of one type and cardinality are the same.
pub(super) fn matched(first: &Value, second: &Value) -> Result<bool, Reason> {
    let kinds = std::mem::discriminant(first) == std::mem::discriminant(second);
    let types = match (first.scalars(), second.scalars()) {
        ([first, ..], [second, ..]) => first.base_type() == second.base_type(),
        _ => true,
    };
    if kinds && types {
        Ok(first.same(second))
    } else {
        Err(wrong_type("match", second, "the base type and cardinality of the first operand"))
    }
}

pub(super) fn compared(comparison: Comparison, values: &[Operand<'_>]) -> Result<bool, Reason> {
    let [first, second] = [0, 1].map(|index: usize| number(comparison.name(), &values[index]));
    let (first, second) = (first?, second?);
    Ok(match comparison {
        Comparison::Lt => first < second,
        Comparison::Lte => first <= second,
        Comparison::Gt => first > second,
        Comparison::Gte => first >= second,
    })
}

pub(super) fn durations(
    place: &'static str,
    values: &[Operand<'_>],
    holds: impl Fn(f64, f64) -> bool,
) -> Result<bool, Reason> {
    let seconds = |value: &Value| match value {
        Value::Single(Scalar::Duration(seconds)) => Ok(*seconds),
        other => Err(wrong_type(place, other, "a duration")),
    };
    Ok(holds(seconds(&values[0])?, seconds(&values[1])?))
}

/// The number as a float.
pub(super) fn number(place: &str, value: &Value) -> Result<f64, Reason> {
    let scalar = single(place, value, "a number")?;
    scalar.as_float().ok_or_else(|| wrong_type(place, value, "a number"))
}
