//! How an exact decimal is tested in an engine that has only binary floats and text.
//!
//! A float comparison needs a half width that no typed number can lie on: half a unit some places beyond the last
//! one anybody writes, so that binary rounding never decides. The text as typed is tested by regular expressions,
//! which are exact; they also read a unit or thousands commas beside the digits, which no float reads.
use std::{collections::BTreeMap, sync::LazyLock};

use qbank::{
    accept::{Acceptance, Form, Precision, Rule, Ties, fraction_of},
    arithmetic::{self, Arithmetic, Fractions, Value},
    decimal::Decimal,
    expression::{Expression, Function, Names},
    units::{self, Unit},
};

use super::processing::Tolerance;

/// Places that the exact tolerance lies beyond the last place of the answer.
const BEYOND: u32 = 3;
/// Fewest places that typed numbers are taken to have.
const LEAST_PLACES: u32 = 4;

/// The half width that lets through one exact value of up to `places` places and nothing else that is written with
/// up to two more.
pub(super) fn exact(places: u32) -> Tolerance {
    Tolerance(slack(places))
}

/// A half width for values up to `width` away, bounds included: a little more than `width`, so that a value on the
/// bound is inside whatever its binary form.
pub(super) fn within(width: Decimal, places: u32) -> Option<Tolerance> {
    let slack = slack(places.max(width.places()));
    let units = width.units_at(slack.places())?.checked_add(slack.units())?;
    Decimal::new(units, slack.places()).ok().map(Tolerance)
}

/// A positive value far below the last place anybody writes and far above the errors of binary arithmetic.
pub(super) fn slack(places: u32) -> Decimal {
    Decimal::new(5, places.max(LEAST_PLACES) + BEYOND).expect("school numbers have far fewer than 25 places")
}

/// Ten to the power of `places`.
pub(super) fn power_of_ten(places: u32) -> Decimal {
    Decimal::new(10_i128.pow(places), 0).expect("the expression language rounds to at most 9 places")
}

/// `percent` of a key, exactly.
pub(super) fn share(key: Decimal, percent: Decimal) -> Option<Decimal> {
    let units = key.units().checked_mul(percent.units())?;
    Decimal::new(units, key.places() + percent.places() + 2).ok().map(|share| share.normalized())
}

/// The value that a right answer has: the key, rounded where the rule says so.
pub(super) fn target(key: Decimal, rule: &Rule) -> Option<Decimal> {
    match rule {
        Rule::Rounded { to, ties: Ties::Even } => {
            let acceptance = Acceptance { rule: rule.clone(), ..Acceptance::EXACT };
            let number = Fractions.decimal(&acceptance.target(&fraction_of(&key))).ok()?;
            match to {
                Precision::Places(places) => number.with_places(*places).or(Some(number)),
                Precision::Figures(_) => Some(number),
            }
        }
        Rule::Rounded { to: Precision::Places(places), ties: Ties::HalfUp } => rounded(key, *places),
        Rule::Rounded { to: Precision::Figures(figures), ties: Ties::HalfUp } => {
            let beyond = i64::from(*figures) - leading_place(key);
            match u32::try_from(beyond) {
                Ok(places) => rounded(key, places),
                Err(_) => {
                    let shift = i32::try_from(beyond).ok()?;
                    rounded(key.shifted(shift)?, 0)?.shifted(-shift)
                }
            }
        }
        Rule::Exact | Rule::Absolute { .. } | Rule::Relative { .. } | Rule::Interval { .. } => Some(key),
    }
}

/// The middle of an interval, and how far its ends lie from there.
pub(super) fn middle(from: Decimal, to: Decimal) -> Option<(Decimal, Decimal)> {
    let places = from.places().max(to.places());
    let (low, high) = (from.units_at(places)?, to.units_at(places)?);
    let half = |units: i128| Decimal::new(units.checked_mul(5)?, places + 1).ok();
    Some((half(low.checked_add(high)?)?, half(high.checked_sub(low)?)?))
}

/// How many digits stand before the point, leading zeros after it counting as less than none: 3 for 137.4, 0 for
/// 0.67, -1 for 0.067.
fn leading_place(key: Decimal) -> i64 {
    let digits = key.point_removed().checked_ilog10().map_or(0, |log| i64::from(log) + 1);
    digits - i64::from(key.places())
}

fn rounded(key: Decimal, places: u32) -> Option<Decimal> {
    let places_literal = Decimal::new(i128::from(places), 0).ok()?;
    let arguments = vec![Expression::Literal(key), Expression::Literal(places_literal)];
    match arithmetic::prove(&Expression::Call(Function::Round, arguments), &Names::new()) {
        Ok(Value::Number(number)) => number.with_places(places).or(Some(number)),
        Ok(Value::Relation(_) | Value::Order(_)) | Err(_) => None,
    }
}

/// A pattern for a text that writes exactly this value, in any usual form, with or without its unit.
pub(super) fn value_pattern(value: Decimal, unit: Option<&str>) -> String {
    let sign = if value.is_negative() { "[-]" } else { "" };
    let plain = value.normalized().to_string();
    let (whole, fraction) = plain.trim_start_matches('-').split_once('.').unwrap_or((&plain, ""));
    let mut number = String::with_capacity(40);
    number.push_str(sign);
    match whole {
        // A zero before the point may be left out, but not alone.
        "0" if fraction.is_empty() => number.push_str("0+"),
        "0" => number.push_str("0*"),
        whole => {
            number.push_str("0*");
            push_grouped(whole, &mut number);
        }
    }
    if fraction.is_empty() {
        number.push_str("([.]0*)?");
    } else {
        ["[.]", fraction, "0*"].into_iter().for_each(|part| number.push_str(part));
    }
    beside_unit(&number, unit, false)
}

/// A pattern for a text in the form asked for, whatever its value; `None` where any form will do.
pub(super) fn form_pattern(form: &Form, unit: Option<&str>) -> Option<String> {
    let digits = match form.places {
        None if !form.unit => return None,
        None => "[0-9,]*[.]?[0-9]*".to_owned(),
        Some(0) => "[0-9,]+".to_owned(),
        Some(places) => format!("[0-9,]*[.][0-9]{{{places}}}"),
    };
    Some(beside_unit(&format!("[-]?{digits}"), unit, form.unit))
}

/// Commas may stand between groups of three digits.
fn push_grouped(digits: &str, pattern: &mut String) {
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            pattern.push_str(",?");
        }
        pattern.push(digit);
    }
}

fn beside_unit(number: &str, unit: Option<&str>, required: bool) -> String {
    let Some(unit) = unit.and_then(units::by_symbol) else {
        return [r"\s*", number, r"\s*"].concat();
    };
    let Beside { words, around: [before, behind] } = &BESIDE[unit.symbol];
    if !required {
        return [before, number, behind].concat();
    }
    match leading_symbol(unit) {
        None => format!(r"\s*{number}\s*{words}[.]?\s*"),
        Some(symbol) => {
            let (leading, trailing) = (format!(r"{symbol}\s*{number}"), format!(r"{number}\s*{words}"));
            format!(r"\s*({leading}|{trailing})\s*")
        }
    }
}

/// A unit in patterns.
struct Beside {
    /// Its words.
    words: String,
    /// What stands before a number and behind it where the unit may be written.
    around: [String; 2],
}

/// Each unit by its symbol: made once, as every predicted answer of every item needs one.
static BESIDE: LazyLock<BTreeMap<&str, Beside>> = LazyLock::new(|| {
    let beside = |unit: &Unit| {
        let words = format!("({})", unit.words().map(any_case).collect::<Vec<_>>().join("|"));
        let around = match leading_symbol(unit) {
            None => [r"\s*".to_owned(), format!(r"(\s*{words}[.]?)?\s*")],
            Some(symbol) => [format!(r"\s*({symbol}\s*)?"), format!(r"(\s*{words})?\s*")],
        };
        Beside { words, around }
    };
    units::UNITS.iter().map(|unit| (unit.symbol, beside(unit))).collect()
});

fn leading_symbol(unit: &Unit) -> Option<String> {
    unit.leads.then(|| any_case(unit.symbol))
}

/// A symbol in capital or small letters, or words with either first letter, with or without accents and the dots of
/// abbreviations. Every sign that could be taken for an operator stands in brackets, where neither XML Schema's
/// expressions nor those of browsers see one; only `^` is one even there.
fn any_case(word: &str) -> String {
    let symbol = word.chars().count() <= 2;
    let pattern = word.char_indices().map(|(at, sign)| match sign {
        ' ' => r"[.]?\s*".to_owned(),
        '^' => r"\^".to_owned(),
        'á' => "[áa]".to_owned(),
        'é' => "[ée]".to_owned(),
        'í' => "[íi]".to_owned(),
        'ó' => "[óo]".to_owned(),
        'ú' => "[úu]".to_owned(),
        sign if !sign.is_ascii_alphabetic() => format!("[{sign}]"),
        sign if symbol || at == 0 => format!("[{}{}]", sign.to_ascii_uppercase(), sign.to_ascii_lowercase()),
        sign => sign.to_string(),
    });
    pattern.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn tolerances_lie_where_no_written_number_does() {
        assert_eq!(exact(2), Tolerance(decimal("0.0000005")));
        assert_eq!(exact(6), Tolerance(decimal("0.000000005")));
        assert_eq!(within(decimal("0.05"), 2), Some(Tolerance(decimal("0.0500005"))));
        assert_eq!(within(decimal("0"), 2), Some(exact(2)));
        assert_eq!(share(decimal("40.5"), decimal("10")), Some(decimal("4.05")));
    }

    /// Every pair of hundredths that lies on a bound, and the next one outside it, as an engine computes them.
    #[test]
    fn bounds_are_inside_whatever_their_binary_form() {
        let float = |text: String| text.parse::<f64>().unwrap();
        let hundredths = |units: i128| float(Decimal::new(units, 2).unwrap().to_string());
        for (tolerance, steps) in [("0.01", 1), ("0.05", 5), ("0", 0)] {
            let width = float(within(decimal(tolerance), 2).unwrap().0.to_string());
            for key in 100..10_000 {
                let inside = |units: i128| {
                    (hundredths(key) - width..=hundredths(key) + width).contains(&hundredths(units))
                };
                assert!(inside(key + steps) && inside(key - steps), "{key} {tolerance}");
                assert!(!inside(key + steps + 1) && !inside(key - steps - 1), "{key} {tolerance}");
            }
        }
    }

    #[test]
    fn targets_follow_the_rule() {
        let rounded = |key: &str, to| {
            target(decimal(key), &Rule::Rounded { to, ties: Ties::HalfUp }).unwrap().to_string()
        };
        assert_eq!(rounded("4.68", Precision::Places(1)), "4.7");
        assert_eq!(rounded("3.96", Precision::Places(1)), "4.0");
        assert_eq!(rounded("0.06749", Precision::Figures(2)), "0.067");
        assert_eq!(rounded("1374", Precision::Figures(2)), "1400");
        assert_eq!(rounded("9.96", Precision::Figures(2)), "10.0");
        assert_eq!(target(decimal("4.68"), &Rule::Exact), Some(decimal("4.68")));
        let even = Rule::Rounded { to: Precision::Places(1), ties: Ties::Even };
        assert_eq!(target(decimal("3.05"), &even).unwrap().to_string(), "3.0");
        assert_eq!(target(decimal("21.4501"), &even).unwrap().to_string(), "21.5");
        assert_eq!(middle(decimal("40"), decimal("42.5")), Some((decimal("41.25"), decimal("1.25"))));
    }

    #[test]
    fn value_patterns_are_exact() {
        assert_eq!(value_pattern(decimal("15.970"), None), r"\s*0*15[.]970*\s*");
        assert_eq!(value_pattern(decimal("0.05"), None), r"\s*0*[.]050*\s*");
        assert_eq!(value_pattern(decimal("1250"), None), r"\s*0*1,?250([.]0*)?\s*");
        assert_eq!(value_pattern(decimal("0"), None), r"\s*0+([.]0*)?\s*");
        assert_eq!(
            value_pattern(decimal("3"), Some("g")),
            r"\s*0*3([.]0*)?(\s*([Gg]|[Gg][Rr]|[Gg]ram|[Gg]rams|[Gg]ramo|[Gg]ramos)[.]?)?\s*"
        );
    }

    #[test]
    fn form_patterns_ask_for_places_and_units_only_where_asked() {
        let form = |places, unit| Form { places, unit, ..Form::default() };
        assert_eq!(form_pattern(&form(None, false), Some("kg")), None);
        assert_eq!(form_pattern(&form(Some(2), false), None).unwrap(), r"\s*[-]?[0-9,]*[.][0-9]{2}\s*");
        assert!(form_pattern(&form(Some(2), false), Some("$")).unwrap().starts_with(r"\s*([$]\s*)?[-]?"));
        assert!(form_pattern(&form(None, true), Some("$")).unwrap().starts_with(r"\s*([$]\s*[-]?"));
        assert_eq!(form_pattern(&form(None, true), Some("s")).unwrap().matches('?').count(), 3);
    }

    #[test]
    fn unit_words_of_several_signs_keep_their_meaning() {
        assert_eq!(any_case("m^2"), r"[Mm]\^[2]");
        assert_eq!(any_case("sq m"), r"[Ss]q[.]?\s*m");
        assert_eq!(any_case("dólar"), "[Dd][óo]lar");
        for unit in units::UNITS {
            let pattern = value_pattern(decimal("3.5"), Some(unit.symbol));
            let pattern = regex_lite::Regex::new(&format!("^(?:{pattern})$")).unwrap();
            for word in unit.words() {
                assert!(pattern.is_match(&format!("3.5 {word}")), "{word}: {pattern}");
                assert!(pattern.is_match(&format!("3.50{}", word.replace('ó', "o"))), "{word}: {pattern}");
                assert!(!pattern.is_match(&format!("3.5 {word}x")), "{word}: {pattern}");
            }
        }
    }
}
