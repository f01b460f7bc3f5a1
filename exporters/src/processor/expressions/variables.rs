//! Expressions over a response's mapping, and random numbers.
use super::{Count, Found, Scope, wrong_type};
use crate::processor::{
    declarations::{MapEntry, Role},
    fault::Reason,
    value::{Scalar, Value},
    variables::Variables,
};

/// The points of a response; each value of a container counts once.
pub(super) fn mapped(name: &str, variables: &Variables<'_>) -> Found {
    let variable = variables.get(name)?;
    let Role::Response { mapping: Some(mapping), .. } = &variable.declaration.role else {
        return Err(wrong_type("map-response", &variable.value, "a response variable with a mapping"));
    };
    if variable.value.is_null() {
        return Ok(Value::Null);
    }
    let points = |value: &Scalar| {
        let entry = mapping.entries.iter().find(|entry| is_key(entry, value));
        entry.map_or(mapping.default, |entry| entry.points)
    };
    let total: f64 = distinct(variable.value.scalars()).into_iter().map(points).sum();
    Ok(Value::float(mapping.bounds.apply(total)))
}

fn distinct(values: &[Scalar]) -> Vec<&Scalar> {
    let mut seen: Vec<&Scalar> = Vec::new();
    for value in values {
        if !seen.iter().any(|known| known.same(value)) {
            seen.push(value);
        }
    }
    seen
}

fn is_key(entry: &MapEntry, value: &Scalar) -> bool {
    match (&entry.key, value) {
        (Scalar::String(key), Scalar::String(text)) if !entry.case_sensitive => {
            key.to_lowercase() == text.to_lowercase()
        }
        (key, value) => key.same(value),
    }
}

/// The points of places on a picture; each area counts once, and all that lies in none.
pub(super) fn mapped_points(name: &str, variables: &Variables<'_>) -> Found {
    let variable = variables.get(name)?;
    let Role::Response { areas: Some(areas), .. } = &variable.declaration.role else {
        return Err(wrong_type(
            "map-response-point",
            &variable.value,
            "a response variable with an area mapping",
        ));
    };
    if variable.value.is_null() {
        return Ok(Value::Null);
    }
    let mut used = vec![false; areas.entries.len()];
    let mut total = 0.0;
    for scalar in variable.value.scalars() {
        let Scalar::Point(x, y) = scalar else {
            return Err(wrong_type("map-response-point", &variable.value, "points"));
        };
        match areas.entries.iter().position(|(area, _)| area.holds(*x, *y)) {
            None => total += areas.default,
            Some(index) if !used[index] => {
                used[index] = true;
                total += areas.entries[index].1;
            }
            Some(_) => {}
        }
    }
    Ok(Value::float(areas.bounds.apply(total)))
}

/// One of `min`, `min + step`, … not above `max`.
pub(super) fn random_integer([min, max, step]: [&Count; 3], scope: &mut Scope<'_>) -> Found {
    let [min, max, step] = [min.integer(scope)?, max.integer(scope)?, step.integer(scope)?];
    let (Some(min), Some(max), Some(step)) = (min, max, step) else { return Ok(Value::Null) };
    let many = u64::try_from(max - min).ok().zip(u64::try_from(step).ok().filter(|step| *step > 0));
    let Some((width, step)) = many else { return Err(empty("random-integer")) };
    let chosen = scope.chance.below(width / step + 1) * step;
    Ok(Value::integer(min + i64::try_from(chosen).expect("at most the width of two 32-bit integers")))
}

pub(super) fn random_float([min, max]: [&Count; 2], scope: &mut Scope<'_>) -> Found {
    let (Some(min), Some(max)) = (min.value(scope)?, max.value(scope)?) else { return Ok(Value::Null) };
    if max < min {
        return Err(empty("random-float"));
    }
    Ok(Value::float(min + scope.chance.share() * (max - min)))
}

fn empty(place: &str) -> Reason {
    Reason::Type {
        place: place.to_owned(),
        found: "no number at all".into(),
        expected: "min, max and step with a number between",
    }
}
