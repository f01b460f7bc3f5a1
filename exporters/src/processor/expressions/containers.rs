//! Containers: making them, and looking into them.
use super::{Count, Found, Operand, Scope, single, wrong_type};
use crate::processor::{
    fault::Reason,
    value::{Cardinality, Scalar, Value, bag_holds},
};

/// Most values that `repeat` makes.
const MOST: usize = 10_000;

/// The values of all operands, NULL ones left out.
pub(super) fn gathered(place: &str, values: &[Operand<'_>]) -> Result<Vec<Scalar>, Reason> {
    let mut all: Vec<Scalar> = Vec::new();
    for value in values {
        let strange =
            |scalar: &Scalar| all.first().is_some_and(|first| first.base_type() != scalar.base_type());
        if matches!(**value, Value::Record(_)) || value.scalars().iter().any(strange) {
            return Err(wrong_type(place, value, "values of one base type"));
        }
        all.extend_from_slice(value.scalars());
    }
    Ok(all)
}

pub(super) fn multiple(values: Vec<Scalar>) -> Value {
    Value::of(Cardinality::Multiple, values)
}

pub(super) fn ordered(values: Vec<Scalar>) -> Value {
    Value::of(Cardinality::Ordered, values)
}

pub(super) fn repeated(times: &Count, values: &[Operand<'_>], scope: &Scope<'_>) -> Found {
    let once = gathered("repeat", values)?;
    let times = times.integer(scope)?.and_then(|times| usize::try_from(times).ok()).unwrap_or_default();
    if once.len().saturating_mul(times) > MOST {
        return Err(Reason::Unsupported(format!("a list of more than {MOST} values")));
    }
    Ok(ordered(std::iter::repeat_n(once, times).flatten().collect()))
}

pub(super) fn size(value: &Value) -> Value {
    Value::integer(i64::try_from(value.scalars().len()).unwrap_or(i64::MAX))
}

pub(super) fn random(value: &Value, scope: &mut Scope<'_>) -> Value {
    let values = value.scalars();
    let chosen =
        u64::try_from(values.len()).ok().filter(|count| *count > 0).map(|count| scope.chance.below(count));
    let chosen = chosen.and_then(|index| values.get(usize::try_from(index).ok()?));
    chosen.cloned().map_or(Value::Null, Value::single)
}

pub(super) fn member(value: &Value, container: &Value) -> Result<bool, Reason> {
    let one = single("member", value, "a single value and a container")?;
    Ok(container.scalars().iter().any(|other| other.same(one)))
}

/// Whether the first container holds the second: a bag with all its values as often, a list with them one after the
/// other.
pub(super) fn contains(container: &Value, wanted: &Value) -> Result<bool, Reason> {
    match (container, wanted) {
        (Value::Ordered(list), Value::Ordered(part)) => {
            let alike = |window: &[Scalar]| window.iter().zip(part).all(|(one, other)| one.same(other));
            Ok(list.windows(part.len()).any(alike))
        }
        (Value::Multiple(bag), Value::Multiple(part)) => Ok(bag_holds(bag, part)),
        _ => Err(wrong_type("contains", wanted, "two containers of the same cardinality")),
    }
}

pub(super) fn deleted(value: &Value, container: &Value) -> Found {
    let one = single("delete", value, "a single value and a container")?;
    let left: Vec<Scalar> = container.scalars().iter().filter(|other| !other.same(one)).cloned().collect();
    match container {
        Value::Multiple(_) => Ok(multiple(left)),
        Value::Ordered(_) => Ok(ordered(left)),
        other => Err(wrong_type("delete", other, "a single value and a container")),
    }
}

/// The value at a place of a list, from 1; NULL beyond its end.
pub(super) fn indexed(place: &Count, value: &Value, scope: &Scope<'_>) -> Found {
    let Value::Ordered(values) = value else {
        return Err(wrong_type("index", value, "an ordered container"));
    };
    let index = place.integer(scope)?.and_then(|place| usize::try_from(place).ok()?.checked_sub(1));
    Ok(index.and_then(|index| values.get(index)).cloned().map_or(Value::Null, Value::single))
}

pub(super) fn field(name: &str, value: &Value) -> Found {
    let Value::Record(fields) = value else { return Err(wrong_type("field-value", value, "a record")) };
    Ok(fields.get(name).cloned().map_or(Value::Null, Value::single))
}
