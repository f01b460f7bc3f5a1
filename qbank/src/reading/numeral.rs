//! Numbers in digits, from plain text: decimals with groups, fractions and mixed numbers.
use alloc::{format, string::String, vec::Vec};

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::Zero;

use super::{Problem, ReadNumber, WrittenForm, characters::plain_group};
use crate::{
    decimal::{Decimal, DecimalError, MAX_DIGITS},
    locale::Locale,
};

/// Reads a number without unit, sign or words.
pub(super) fn number(text: &str, locale: Locale) -> Result<ReadNumber, Problem> {
    if text.contains('/') { fraction(text, locale) } else { decimal(&without_groups(text, locale)?, locale) }
}

/// After a dollar sign, `2 40` is a published form of two dollars and forty cents.
pub(super) fn after_dollar(text: &str, locale: Locale) -> Result<ReadNumber, Problem> {
    match text.split_once(' ') {
        Some((dollars, cents)) if all_digits(dollars) && all_digits(cents) && cents.len() == 2 => {
            decimal(&format!("{dollars}.{cents}"), locale)
        }
        _ => number(text, locale),
    }
}

fn decimal(numeral: &str, locale: Locale) -> Result<ReadNumber, Problem> {
    let leading = numeral.len() - numeral.trim_start_matches('0').len();
    let kept = &numeral[leading.saturating_sub(1)..];
    let written: Decimal = kept.parse().map_err(|error| match error {
        DecimalError::TooLong { .. } => Problem::TooManyDigits,
        DecimalError::Malformed { .. } => not_a_number(locale),
    })?;
    Ok(ReadNumber::plain(written))
}

pub(super) fn not_a_number(locale: Locale) -> Problem {
    Problem::NotANumber { example: locale.example }
}

fn all_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// The numeral in canonical form: groups joined, the locale's mark as a point, a zero before a bare point, no point
/// after the last digit.
fn without_groups(text: &str, locale: Locale) -> Result<String, Problem> {
    let mut parts = text.split(locale.point);
    let whole = parts.next().unwrap_or_default();
    let fraction = parts.next();
    if parts.next().is_some() {
        return Err(if locale.point == '.' || !text.contains('.') {
            Problem::TwoPoints
        } else {
            Problem::Separator { sign: locale.point, example: locale.example }
        });
    }
    match (whole, fraction) {
        // '5.' is five.
        (whole, None) => joined_groups(whole, locale),
        (whole, Some("")) if !whole.is_empty() => joined_groups(whole, locale),
        (whole, Some(fraction)) if all_digits(fraction) => {
            let whole = if whole.is_empty() { String::from("0") } else { joined_groups(whole, locale)? };
            Ok(format!("{whole}.{fraction}"))
        }
        (_, Some(fraction)) => Err(separator_or_none(fraction, locale)),
    }
}

/// Joins thousands groups: a first group of one to three digits that does not start with a zero, then groups of
/// exactly three, one sign throughout. `0,123` is a decimal elsewhere and nothing here.
fn joined_groups(whole: &str, locale: Locale) -> Result<String, Problem> {
    if all_digits(whole) {
        return Ok(whole.into());
    }
    let sign = whole.chars().find(|character| !character.is_ascii_digit()).unwrap_or(' ');
    let groups: Vec<&str> = whole.split(sign).collect();
    let lengths_fit = groups[0].len() <= 3 && groups[1..].iter().all(|group| group.len() == 3);
    let allowed = (sign == plain_group(locale) || sign == ' ')
        && lengths_fit
        && !whole.starts_with('0')
        && groups.iter().all(|group| all_digits(group));
    if allowed { Ok(groups.concat()) } else { Err(separator_or_none(whole, locale)) }
}

/// The clearer problem: a point or comma in a wrong place is named, anything else is no number.
fn separator_or_none(text: &str, locale: Locale) -> Problem {
    let is_mark = |character: &char| ['.', ',', '\''].contains(character);
    let sign = text.chars().find(is_mark);
    let only_marks =
        text.chars().all(|character| character.is_ascii_digit() || character == ' ' || is_mark(&character));
    match sign {
        Some(sign) if only_marks && text.contains(|character: char| character.is_ascii_digit()) => {
            Problem::Separator { sign, example: locale.example }
        }
        _ => not_a_number(locale),
    }
}

fn fraction(text: &str, locale: Locale) -> Result<ReadNumber, Problem> {
    let (before, denominator) = text.split_once('/').ok_or_else(|| not_a_number(locale))?;
    let (whole, numerator) = match before.trim().rsplit_once(' ') {
        Some((whole, numerator)) => (Some(whole.trim()), numerator),
        None => (None, before.trim()),
    };
    let integer = |text: &str| -> Result<BigInt, Problem> {
        let digits = joined_groups(text, locale)?;
        if digits.len() > MAX_DIGITS {
            return Err(Problem::TooManyDigits);
        }
        digits.parse().map_err(|_| not_a_number(locale))
    };
    let (top, bottom) = (integer(numerator)?, integer(denominator.trim())?);
    if bottom.is_zero() {
        return Err(Problem::ZeroDenominator);
    }
    // '1 234/5' may be 1234/5 with a blank between the groups; '1 2/3' and '5 894/1000' may not.
    if whole.is_some() && top >= bottom && numerator.len() >= 3 {
        return Err(not_a_number(locale));
    }
    let lowest_terms = *BigRational::new(top.clone(), bottom.clone()).denom() == bottom;
    let value = BigRational::new(top, bottom);
    let (value, form) = match whole {
        Some(whole) => (value + BigRational::from(integer(whole)?), WrittenForm::Mixed),
        None => (value, WrittenForm::Fraction),
    };
    Ok(ReadNumber { value, written: None, unit: None, form, lowest_terms })
}
