//! Operators on strings.
use super::{Operand, single, wrong_type};
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

fn two(place: &str, case_sensitive: bool, values: &[Operand<'_>]) -> Result<(String, String), Reason> {
    let (one, other) = (text(place, &values[0])?, text(place, &values[1])?);
    Ok(if case_sensitive {
        (one.to_owned(), other.to_owned())
    } else {
        (one.to_lowercase(), other.to_lowercase())
    })
}

pub(super) fn string_match(
    case_sensitive: bool,
    substring: bool,
    values: &[Operand<'_>],
) -> Result<bool, Reason> {
    let (one, other) = two("string-match", case_sensitive, values)?;
    Ok(if substring { one.contains(&other) } else { one == other })
}

/// Whether the first string is a part of the second.
pub(super) fn substring(case_sensitive: bool, values: &[Operand<'_>]) -> Result<bool, Reason> {
    let (one, other) = two("substring", case_sensitive, values)?;
    Ok(other.contains(&one))
}

pub(super) fn pattern_match(pattern: &Pattern, value: &Value) -> Result<bool, Reason> {
    let matched = pattern.matches(text("pattern-match", value)?);
    let unsupported = || Reason::Unsupported(format!("the pattern '{}'", pattern.as_str()));
    matched.ok_or_else(unsupported)
}
