//! Truth: comparisons, and what they are joined by.
use super::{Count, Found, Scope, single, wrong_type};
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

/// `and` and `or`: one part may decide, whatever the others are.
pub(super) fn decided(place: &str, values: &[Value], deciding: bool) -> Found {
    let truths = values.iter().map(|value| truth(place, value)).collect::<Result<Vec<_>, _>>()?;
    Ok(if truths.contains(&Some(deciding)) {
        Value::boolean(deciding)
    } else if truths.contains(&None) {
        Value::Null
    } else {
        Value::boolean(!deciding)
    })
}

/// Whether so many are true; NULL where those that are NULL would decide.
pub(super) fn any_n([min, max]: [&Count; 2], values: &[Value], scope: &Scope<'_>) -> Found {
    let (Some(min), Some(max)) = (min.integer(scope)?, max.integer(scope)?) else { return Ok(Value::Null) };
    let truths = values.iter().map(|value| truth("any-n", value)).collect::<Result<Vec<_>, _>>()?;
    let count =
        |wanted| i64::try_from(truths.iter().filter(|truth| **truth == wanted).count()).unwrap_or(i64::MAX);
    let (certain, open) = (count(Some(true)), count(None));
    let (least, most) = (certain, certain + open);
    Ok(if least >= min && most <= max {
        Value::boolean(true)
    } else if most < min || least > max {
        Value::boolean(false)
    } else {
        Value::Null
    })
}

/// Whether two values of one type and cardinality are the same.
pub(super) fn matched(first: &Value, second: &Value) -> Found {
    let kinds = std::mem::discriminant(first) == std::mem::discriminant(second);
    let types = match (first.scalars(), second.scalars()) {
        ([first, ..], [second, ..]) => first.base_type() == second.base_type(),
        _ => true,
    };
    if kinds && types {
        Ok(Value::boolean(first.same(second)))
    } else {
        Err(wrong_type("match", second, "the base type and cardinality of the first operand"))
    }
}

pub(super) fn compared(comparison: Comparison, values: &[Value]) -> Found {
    let [first, second] = [0, 1].map(|index: usize| number(comparison.name(), &values[index]));
    let (first, second) = (first?, second?);
    Ok(Value::boolean(match comparison {
        Comparison::Lt => first < second,
        Comparison::Lte => first <= second,
        Comparison::Gt => first > second,
        Comparison::Gte => first >= second,
    }))
}

pub(super) fn durations(place: &'static str, values: &[Value], holds: impl Fn(f64, f64) -> bool) -> Found {
    let seconds = |value: &Value| match value {
        Value::Single(Scalar::Duration(seconds)) => Ok(*seconds),
        other => Err(wrong_type(place, other, "a duration")),
    };
    Ok(Value::boolean(holds(seconds(&values[0])?, seconds(&values[1])?)))
}

/// The number as a float.
pub(super) fn number(place: &str, value: &Value) -> Result<f64, Reason> {
    let scalar = single(place, value, "a number")?;
    scalar.as_float().ok_or_else(|| wrong_type(place, value, "a number"))
}
