//! Equality within a range or after rounding, and rounding to places and figures.
//!
//! Rounding goes by the digits in which a float is usually written, its shortest decimal form: 3.175 to three figures is
//! 3.18, as the standard's own example says, though its binary form lies a hair below.
use super::{Count, Found, Operand, Scope, Truth, logic::number};
use crate::processor::{
    document::Element,
    fault::{Fault, Reason},
    value::Value,
};

/// Which values are equal to the first one.
#[derive(Clone, Debug, PartialEq)]
pub struct Equality {
    mode: Mode,
    /// Below and above.
    tolerance: Vec<Count>,
    include: [bool; 2],
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    Exact,
    Absolute,
    Relative,
}

impl Equality {
    /// Reads the attributes of `equal`.
    pub(super) fn read(element: Element<'_>) -> Result<Self, Fault> {
        let words = [("exact", Mode::Exact), ("absolute", Mode::Absolute), ("relative", Mode::Relative)];
        let mode = element.one_of("tolerance-mode", &words)?.unwrap_or(Mode::Exact);
        let tolerance = Count::listed(element, "tolerance")?;
        if mode != Mode::Exact && !matches!(tolerance.len(), 1 | 2) {
            let found = element.attribute("tolerance").unwrap_or_default();
            return Err(element.strange("tolerance", found, "one or two numbers"));
        }
        let include =
            [element.truth("include-lower-bound", true)?, element.truth("include-upper-bound", true)?];
        Ok(Self { mode, tolerance, include })
    }
}

/// `equal`: the first operand sets the range, the second is tested.
#[expect(clippy::float_cmp, reason = "the exact mode of the standard is this comparison")]
pub(super) fn equal(equality: &Equality, values: &[Operand<'_>], scope: &Scope<'_>) -> Truth {
    let (x, y) = (number("equal", &values[0])?, number("equal", &values[1])?);
    let widths = equality.tolerance.iter().map(|width| width.value(scope));
    let Some(widths) = widths.collect::<Result<Option<Vec<f64>>, _>>()? else { return Ok(None) };
    let (below, above) = match (equality.mode, &widths[..]) {
        (Mode::Exact, _) | (_, []) => return Ok(Some(x == y)),
        (_, [both]) => (*both, *both),
        (_, [below, above, ..]) => (*below, *above),
    };
    let (lower, upper) = match equality.mode {
        Mode::Relative => (x * (1.0 - below / 100.0), x * (1.0 + above / 100.0)),
        _ => (x - below, x + above),
    };
    let [with_lower, with_upper] = equality.include;
    let from = if with_lower { y >= lower } else { y > lower };
    let to = if with_upper { y <= upper } else { y < upper };
    Ok(Some(from && to))
}

/// To how many figures or places is rounded.
#[derive(Clone, Debug, PartialEq)]
pub struct Precision {
    significant: bool,
    figures: Count,
}

impl Precision {
    /// Reads the attributes of `round-to` and `equal-rounded`.
    pub(super) fn read(element: Element<'_>) -> Result<Self, Fault> {
        let words = [("significantFigures", true), ("decimalPlaces", false)];
        let significant = element.one_of("rounding-mode", &words)?.unwrap_or(true);
        Ok(Self { significant, figures: Count::required(element, "figures")? })
    }

    /// The rounded number; `None` for figures that cannot be.
    fn round(&self, number: f64, scope: &Scope<'_>) -> Result<Option<f64>, Reason> {
        let least = i64::from(self.significant);
        let figures = self.figures.integer(scope)?.filter(|figures| *figures >= least);
        Ok(figures.map(|figures| rounded(number, self.significant, figures)))
    }
}

pub(super) fn round_to(precision: &Precision, value: &Value, scope: &Scope<'_>) -> Found {
    let rounded = precision.round(number("round-to", value)?, scope)?;
    Ok(rounded.map_or(Value::Null, Value::float))
}

#[expect(clippy::float_cmp, reason = "both are the float nearest to a decimal of few digits")]
pub(super) fn equal_rounded(precision: &Precision, values: &[Operand<'_>], scope: &Scope<'_>) -> Truth {
    let one = precision.round(number("equal-rounded", &values[0])?, scope)?;
    let other = precision.round(number("equal-rounded", &values[1])?, scope)?;
    Ok(one.zip(other).map(|(one, other)| one == other))
}

/// Rounds the shortest decimal form, ties away from zero.
fn rounded(number: f64, significant: bool, figures: i64) -> f64 {
    let written = format!("{:e}", number.abs());
    let (mantissa, exponent) = written.split_once('e').unwrap_or((&written, "0"));
    let exponent: i64 = exponent.parse().unwrap_or_default();
    let mut digits: Vec<u8> = mantissa.bytes().filter(u8::is_ascii_digit).map(|digit| digit - b'0').collect();
    // The first digit stands at the place `exponent`; kept are those down to the last wanted.
    let kept = if significant { figures } else { exponent + 1 + figures };
    let Ok(kept) = usize::try_from(kept) else { return 0.0 };
    if kept >= digits.len() {
        return number;
    }
    let up = digits[kept] >= 5;
    digits.truncate(kept);
    let mut places = digits.len();
    while up && places > 0 && digits[places - 1] == 9 {
        digits[places - 1] = 0;
        places -= 1;
    }
    match (up, places) {
        (true, 0) => digits.insert(0, 1),
        (true, _) => digits[places - 1] += 1,
        (false, _) => {}
    }
    // A digit more in front means that the last kept one still stands where it stood.
    let last_place = exponent + 1 - i64::try_from(kept).unwrap_or(i64::MAX);
    let digits: String = digits.iter().map(|digit| char::from(b'0' + digit)).collect();
    let rounded: f64 =
        format!("{}e{last_place}", if digits.is_empty() { "0" } else { &digits }).parse().unwrap_or(0.0);
    rounded.copysign(number)
}
