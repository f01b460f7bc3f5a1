//! Operators on strings.
use super::{Found, single, wrong_type};
use crate::processor::{
    fault::Reason,
    patterns::Pattern,
    value::{Scalar, Value},
};

fn text<'v>(place: &str, value: &'v Value) -> Result<&'v str, Reason> {
    match single(place, value, "a string")? {
        Scalar::String(text) => Ok(text),
        _ => Err(wrong_type(place, value, "a string")),
    }
}

fn two(place: &str, case_sensitive: bool, values: &[Value]) -> Result<(String, String), Reason> {
    let (one, other) = (text(place, &values[0])?, text(place, &values[1])?);
    Ok(if case_sensitive {
        (one.to_owned(), other.to_owned())
    } else {
        (one.to_lowercase(), other.to_lowercase())
    })
}

pub(super) fn string_match(case_sensitive: bool, substring: bool, values: &[Value]) -> Found {
    let (one, other) = two("string-match", case_sensitive, values)?;
    Ok(Value::boolean(if substring { one.contains(&other) } else { one == other }))
}

/// Whether the first string is a part of the second.
pub(super) fn substring(case_sensitive: bool, values: &[Value]) -> Found {
    let (one, other) = two("substring", case_sensitive, values)?;
    Ok(Value::boolean(other.contains(&one)))
}

pub(super) fn pattern_match(pattern: &Pattern, value: &Value) -> Found {
    let matched = pattern.matches(text("pattern-match", value)?);
    let unsupported = || Reason::Unsupported(format!("the pattern '{}'", pattern.as_str()));
    matched.map(Value::boolean).ok_or_else(unsupported)
}
