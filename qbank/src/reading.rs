//! Reading a pupil's typed text: value, unit and written form.
//!
//! Reading never knows the right answer, and never guesses: what it cannot read it says, so that a pupil can be asked
//! again. It reads decimals with thousands groups, units, money, fractions and mixed numbers. `3,5` in a locale with
//! a decimal point is never 35.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::Zero;

use crate::{
    accept::fraction_of,
    arithmetic::{Arithmetic, Fractions},
    decimal::{Decimal, MAX_DIGITS},
    locale::Locale,
    units::{self, Dimension, Unit},
};

/// Longest text that is read, in characters.
pub const MAX_CHARACTERS: usize = 200;

/// What a pupil's text says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reading {
    /// A number.
    Read(ReadNumber),
    /// Nothing but blanks.
    Blank,
    /// Something that is no answer.
    Unreadable(Problem),
}

/// A number as a pupil wrote it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadNumber {
    /// Its exact value, in the asked unit if one was written that fits, else as written.
    pub value: BigRational,
    /// The decimal numeral as written, places kept; `None` for fractions, and where the exchange into the asked unit
    /// did more than move the point.
    pub written: Option<Decimal>,
    /// The unit written beside it.
    pub unit: Option<&'static Unit>,
    /// How it was written.
    pub form: WrittenForm,
    /// Whether a fraction is in lowest terms; true for all other forms.
    pub lowest_terms: bool,
}

/// How a number was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WrittenForm {
    /// `12.4`
    Decimal,
    /// `3/4`
    Fraction,
    /// `1 3/4`
    Mixed,
    /// With a sign of money.
    Money,
}

/// Why a text was not read. The message is for the pupil.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// Longer than [`MAX_CHARACTERS`].
    #[error("the answer is too long; write one number")]
    TooLong,
    /// No digits, or other signs between them.
    #[error("this is not a number that can be read; write one number, for example {example}")]
    NotANumber {
        /// A number in the locale's form.
        example: &'static str,
    },
    /// The other decimal mark, or groups that are not of three.
    #[error("the sign '{sign}' can be read in two ways here; write decimals like {example}")]
    Separator {
        /// The sign in question.
        sign: char,
        /// A number in the locale's form.
        example: &'static str,
    },
    /// Two decimal marks.
    #[error("there are two decimal points")]
    TwoPoints,
    /// A fraction over zero.
    #[error("a fraction cannot have the denominator 0")]
    ZeroDenominator,
    /// A word that is no unit.
    #[error("'{word}' is not a unit that is known here")]
    UnknownUnit {
        /// The word, shortened.
        word: String,
    },
    /// A unit of another kind than asked for, or two that contradict each other.
    #[error("the unit does not fit; the answer is asked in {asked}")]
    UnitMismatch {
        /// The asked unit's symbol.
        asked: &'static str,
    },
}

/// Reads a text. `asked` is the unit that the question asks for, if any: it decides what cents are worth and which
/// units contradict.
///
/// # Example
/// ```
/// use qbank::{locale::Locale, reading::{read, Reading}};
/// let Reading::Read(answer) = read(" 1,234.50 ", Locale::EN_US, None) else { panic!("it is a number") };
/// assert_eq!(answer.written.expect("a decimal").to_string(), "1234.50");
/// assert!(matches!(read("3,5", Locale::EN_US, None), Reading::Unreadable(_)));
/// ```
#[must_use]
pub fn read(text: &str, locale: Locale, asked: Option<&'static Unit>) -> Reading {
    if text.chars().count() > MAX_CHARACTERS {
        return Reading::Unreadable(Problem::TooLong);
    }
    let plain: String = text.chars().map(plain_character).collect();
    let plain = plain.trim();
    if plain.is_empty() {
        return Reading::Blank;
    }
    match read_plain(plain, locale, asked) {
        Ok(number) => Reading::Read(number),
        Err(problem) => Reading::Unreadable(problem),
    }
}

/// Digits of any script to ASCII, signs to their plain forms, blanks of any width to a space.
fn plain_character(character: char) -> char {
    /// First digit of each decimal digit block that pupils' keyboards produce: Arabic-Indic, extended Arabic-Indic,
    /// Devanagari, Bengali, full-width.
    const DIGIT_ZEROS: [u32; 5] = [0x0660, 0x06F0, 0x0966, 0x09E6, 0xFF10];
    let code = u32::from(character);
    if let Some(zero) = DIGIT_ZEROS.iter().find(|zero| (**zero..**zero + 10).contains(&code)) {
        return char::from_digit(code - zero, 10).expect("the block has ten digits");
    }
    match character {
        '\u{2212}' | '\u{2013}' | '\u{FF0D}' => '-',
        '\u{FF0E}' => '.',
        '\u{FF0C}' => ',',
        '\u{2044}' | '\u{2215}' | '\u{FF0F}' => '/',
        blank if blank.is_whitespace() => ' ',
        other => other,
    }
}

fn read_plain(text: &str, locale: Locale, asked: Option<&'static Unit>) -> Result<ReadNumber, Problem> {
    let (negative, text) = match text.strip_prefix('-') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text),
    };
    let (leading, rest) = match text.strip_prefix('$') {
        Some(rest) => (units::by_symbol("$"), rest.trim_start()),
        None => (None, text),
    };
    let (body, tail) = rest
        .split_at_checked(end_of_digits(rest))
        .filter(|(body, _)| !body.is_empty())
        .ok_or(Problem::NotANumber { example: locale.example })?;
    // A point after the last digit belongs to the number: '5.' is five.
    let (body, tail) = match tail.strip_prefix(locale.point) {
        Some(tail) if !body.contains(locale.point) => (body, tail),
        _ => (body, tail),
    };
    let trailing = match tail.trim() {
        "" => None,
        word => Some(units::by_word(word).ok_or_else(|| unknown_unit(word))?),
    };
    let mut number = read_number(body, locale, leading.is_some())?;
    if negative {
        number.value = -number.value;
        number.written =
            number.written.and_then(|written| Decimal::new(-written.units(), written.places()).ok());
    }
    with_unit(number, leading, trailing, asked)
}

/// Where the last digit of the number ends; 0 without one. A 2 of `m2` or `m^2` is no digit of the number.
fn end_of_digits(text: &str) -> usize {
    let unit = text.find(char::is_alphabetic).filter(|start| units::by_word(&text[*start..]).is_some());
    let before_unit = &text[..unit.unwrap_or(text.len())];
    before_unit.rfind(|character: char| character.is_ascii_digit()).map_or(0, |last| last + 1)
}

fn unknown_unit(word: &str) -> Problem {
    Problem::UnknownUnit { word: word.chars().take(20).collect() }
}

/// Puts the written unit to the number and moves the value into the asked unit.
fn with_unit(
    mut number: ReadNumber,
    leading: Option<&'static Unit>,
    trailing: Option<&'static Unit>,
    asked: Option<&'static Unit>,
) -> Result<ReadNumber, Problem> {
    let mismatch = |asked: &'static Unit| Problem::UnitMismatch { asked: asked.symbol };
    let unit = match (leading, trailing) {
        // Marking of national tests takes '£2.40p' for pounds, and refuses '£240p' as contradicting itself.
        (Some(dollars), Some(cents)) => {
            let doubled = cents.dimension == Dimension::Money
                && number.written.is_some_and(|written| written.places() == 2);
            if !doubled {
                return Err(mismatch(asked.unwrap_or(dollars)));
            }
            Some(dollars)
        }
        (leading, trailing) => leading.or(trailing),
    };
    if let (Some(unit), Some(asked)) = (unit, asked) {
        let factor = unit.factor_to(asked).ok_or_else(|| mismatch(asked))?;
        number.written =
            number.written.zip(move_of_point(&factor)).and_then(|(written, shift)| written.shifted(shift));
        number.value *= factor;
    }
    if unit.is_some_and(|unit| unit.dimension == Dimension::Money) && number.form == WrittenForm::Decimal {
        number.form = WrittenForm::Money;
    }
    number.unit = unit;
    Ok(number)
}

/// By how many places a factor moves the point to the right; `None` if it is no power of ten.
fn move_of_point(factor: &BigRational) -> Option<i32> {
    let zeros = |number: &BigInt| {
        let text = number.to_string();
        let zeros = text.strip_prefix('1').filter(|zeros| zeros.bytes().all(|digit| digit == b'0'))?;
        i32::try_from(zeros.len()).ok()
    };
    Some(zeros(factor.numer())? - zeros(factor.denom())?)
}

fn read_number(body: &str, locale: Locale, after_dollar: bool) -> Result<ReadNumber, Problem> {
    if body.contains('/') {
        return read_fraction(body, locale);
    }
    // '$2 40' is a published form of two dollars and forty cents.
    let dollars_and_cents = body.split_once(' ').filter(|(_, cents)| after_dollar && cents.len() == 2);
    let numeral = match dollars_and_cents {
        Some((dollars, cents)) if all_digits(dollars) && all_digits(cents) => format!("{dollars}.{cents}"),
        _ => without_groups(body, locale)?,
    };
    let written: Decimal = numeral.parse().map_err(|_| Problem::NotANumber { example: locale.example })?;
    Ok(ReadNumber {
        value: fraction_of(&written),
        written: Some(written),
        unit: None,
        form: WrittenForm::Decimal,
        lowest_terms: true,
    })
}

fn all_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// The numeral in canonical form: groups joined, the locale's mark as a point, a zero before a bare point.
fn without_groups(body: &str, locale: Locale) -> Result<String, Problem> {
    let not_a_number = || Problem::NotANumber { example: locale.example };
    let mut parts = body.split(locale.point);
    let whole = parts.next().unwrap_or_default();
    let fraction = parts.next();
    if parts.next().is_some() {
        return Err(if locale.point == '.' || !body.contains('.') {
            Problem::TwoPoints
        } else {
            Problem::Separator { sign: locale.point, example: locale.example }
        });
    }
    if let Some(fraction) = fraction
        && !all_digits(fraction)
    {
        return Err(separator_or(not_a_number(), fraction, locale));
    }
    let whole = if whole.is_empty() && fraction.is_some() {
        String::from("0")
    } else {
        joined_groups(whole, locale)?
    };
    Ok(match fraction {
        Some(fraction) => format!("{whole}.{fraction}"),
        None => whole,
    })
}

/// Joins thousands groups: a first group of one to three digits, then groups of exactly three, one sign throughout.
fn joined_groups(whole: &str, locale: Locale) -> Result<String, Problem> {
    if all_digits(whole) {
        return Ok(whole.into());
    }
    let sign = whole.chars().find(|character| !character.is_ascii_digit()).unwrap_or(' ');
    let groups: Vec<&str> = whole.split(sign).collect();
    let problem = || separator_or(Problem::NotANumber { example: locale.example }, whole, locale);
    let lengths_fit = groups[0].len() <= 3 && groups[1..].iter().all(|group| group.len() == 3);
    let allowed =
        (sign == locale.group || sign == ' ') && lengths_fit && groups.iter().all(|group| all_digits(group));
    if allowed { Ok(groups.concat()) } else { Err(problem()) }
}

/// The clearer problem: a point or comma in a wrong place is named, anything else is no number.
fn separator_or(other: Problem, text: &str, locale: Locale) -> Problem {
    let sign = text.chars().find(|character| ['.', ','].contains(character));
    let only_marks =
        text.chars().all(|character| character.is_ascii_digit() || ['.', ',', ' '].contains(&character));
    match sign {
        Some(sign) if only_marks => Problem::Separator { sign, example: locale.example },
        _ => other,
    }
}

fn read_fraction(body: &str, locale: Locale) -> Result<ReadNumber, Problem> {
    let not_a_number = || Problem::NotANumber { example: locale.example };
    let (before, denominator) = body.split_once('/').ok_or_else(not_a_number)?;
    let (whole, numerator) = match before.trim().rsplit_once(' ') {
        Some((whole, numerator)) => (Some(whole.trim()), numerator),
        None => (None, before.trim()),
    };
    let number = |text: &str| -> Result<BigInt, Problem> {
        let short = all_digits(text) && text.len() <= MAX_DIGITS;
        short.then(|| text.parse().ok()).flatten().ok_or_else(not_a_number)
    };
    let (numerator, denominator) = (number(numerator)?, number(denominator.trim())?);
    if denominator.is_zero() {
        return Err(Problem::ZeroDenominator);
    }
    let value = BigRational::new(numerator.clone(), denominator.clone());
    let lowest_terms = *value.denom() == denominator;
    let (value, form) = match whole {
        Some(whole) => (value + BigRational::from(number(whole)?), WrittenForm::Mixed),
        None => (value, WrittenForm::Fraction),
    };
    Ok(ReadNumber { value, written: None, unit: None, form, lowest_terms })
}

impl WrittenForm {
    /// The name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Decimal => "decimal",
            Self::Fraction => "fraction",
            Self::Mixed => "mixed",
            Self::Money => "money",
        }
    }
}

impl ReadNumber {
    /// The value as a decimal, if it ends.
    #[must_use]
    pub fn decimal(&self) -> Option<Decimal> {
        self.written.or_else(|| Fractions.decimal(&self.value).ok())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn value(text: &str, asked: Option<&str>) -> Option<String> {
        match read(text, Locale::EN_US, asked.and_then(units::by_symbol)) {
            Reading::Read(number) => Some(number.value.to_string()),
            _ => None,
        }
    }

    fn written(text: &str) -> Option<String> {
        match read(text, Locale::EN_US, None) {
            Reading::Read(number) => number.written.map(|written| written.to_string()),
            _ => None,
        }
    }

    #[test]
    fn reads_decimals_as_pupils_write_them() {
        let cases = [
            ("35.35", "35.35"),
            (" 035.350 ", "35.350"),
            (".5", "0.5"),
            ("5.", "5"),
            ("1,234.5", "1234.5"),
            ("1 234.5", "1234.5"),
            ("12,345,678", "12345678"),
            ("\u{FF11}\u{FF12}\u{FF0E}\u{FF15}", "12.5"),
            ("\u{0661}\u{0662}", "12"),
            ("\u{2212}3.5", "-3.5"),
        ];
        for (text, expected) in cases {
            assert_eq!(written(text).as_deref(), Some(expected), "{text:?}");
        }
    }

    #[test]
    fn never_guesses_at_separators() {
        for text in ["3,5", "1,23", "1,2345", "12,34,567", "1,234,5", "0,5", "1.234,5"] {
            assert!(
                matches!(read(text, Locale::EN_US, None), Reading::Unreadable(Problem::Separator { .. })),
                "{text}"
            );
        }
        assert_eq!(read("1.2.3", Locale::EN_US, None), Reading::Unreadable(Problem::TwoPoints));
        let spanish = Locale::by_tag("es-es").unwrap();
        let Reading::Read(number) = read("1.234,5", spanish, None) else { panic!("a number in Spain") };
        assert_eq!(number.written.unwrap().to_string(), "1234.5");
        assert!(matches!(read("3.5", spanish, None), Reading::Unreadable(Problem::Separator { .. })));
    }

    #[test]
    fn reads_fractions_and_mixed_numbers() {
        assert_eq!(value("37/100", None).as_deref(), Some("37/100"));
        assert_eq!(value("1 3/4", None).as_deref(), Some("7/4"));
        assert_eq!(value("2/4", None).as_deref(), Some("1/2"));
        assert_eq!(read("1/0", Locale::EN_US, None), Reading::Unreadable(Problem::ZeroDenominator));
        assert!(matches!(read("1/2/3", Locale::EN_US, None), Reading::Unreadable(_)));
    }

    #[test]
    fn reads_money_in_the_published_forms() {
        // National test marking in England as gathered in the trade's notes, with dollars and cents for pounds and
        // pence: 2.40 as £2.40, £2.40p, £2 40; 2.97 also as 297p; 0.90 as 90p, £.90, £0 90. Refused: £240p, £90p.
        for (text, dollars) in [
            ("$2.40", "12/5"),
            ("$2.40c", "12/5"),
            ("$2 40", "12/5"),
            ("297¢", "297/100"),
            ("297 cents", "297/100"),
            ("2.97", "297/100"),
            ("90¢", "9/10"),
            ("$.90", "9/10"),
            ("$0 90", "9/10"),
        ] {
            assert_eq!(value(text, Some("$")).as_deref(), Some(dollars), "{text}");
        }
        for text in ["$240¢", "$90¢", "$297c"] {
            assert!(matches!(
                read(text, Locale::EN_US, units::by_symbol("$")),
                Reading::Unreadable(Problem::UnitMismatch { .. })
            ));
        }
        assert_eq!(value("0.90¢", Some("$")).as_deref(), Some("9/1000"));
    }

    #[test]
    fn moves_units_of_one_dimension_and_refuses_others() {
        assert_eq!(value("500 g", Some("kg")).as_deref(), Some("1/2"));
        assert_eq!(value("1.25 meters", Some("m")).as_deref(), Some("5/4"));
        assert!(matches!(
            read("3 kg", Locale::EN_US, units::by_symbol("m")),
            Reading::Unreadable(Problem::UnitMismatch { asked: "m" })
        ));
        assert!(matches!(
            read("3 bananas", Locale::EN_US, None),
            Reading::Unreadable(Problem::UnknownUnit { .. })
        ));
    }

    #[test]
    fn moves_customary_units_and_time_exactly() {
        for (text, asked, expected) in [
            ("42 in", "ft", "7/2"),
            ("7 inches", "ft", "7/12"),
            ("2.5 ft", "in", "30"),
            ("1 1/2 lb", "oz", "24"),
            ("3 cuartos de galón", "gal", "3/4"),
            ("90 min", "h", "3/2"),
            ("2.5 m^2", "cm²", "25000"),
            ("12 sq. cm", "cm²", "12"),
        ] {
            assert_eq!(value(text, Some(asked)).as_deref(), Some(expected), "{text}");
        }
        for (text, asked) in [("3 in", "cm"), ("3 cm", "in"), ("3 oz", "fl oz"), ("3 m", "m²"), ("3 qt", "L")]
        {
            let read = read(text, Locale::EN_US, units::by_symbol(asked));
            assert!(matches!(read, Reading::Unreadable(Problem::UnitMismatch { .. })), "{text}: {read:?}");
        }
        let moved = |text: &str, asked: &str| match read(text, Locale::EN_US, units::by_symbol(asked)) {
            Reading::Read(number) => number.written.map(|written| written.to_string()),
            other => panic!("{other:?}"),
        };
        assert_eq!(moved("1250 g", "kg").as_deref(), Some("1.250"));
        assert_eq!(moved("36 in", "in").as_deref(), Some("36"));
        assert_eq!(moved("36 in", "ft"), None);
    }

    #[test]
    fn says_why_when_it_cannot_read() {
        assert_eq!(read("   ", Locale::EN_US, None), Reading::Blank);
        for text in ["about five", "--3", "3+4", "1e5", "?", "3 4 5", "5 . 3"] {
            assert!(matches!(read(text, Locale::EN_US, None), Reading::Unreadable(_)), "{text}");
        }
        assert_eq!(read(&"1".repeat(201), Locale::EN_US, None), Reading::Unreadable(Problem::TooLong));
        assert!(matches!(read(&"1".repeat(60), Locale::EN_US, None), Reading::Unreadable(_)));
    }

    proptest! {
        #[test]
        fn every_printed_decimal_reads_back(units in 0_i128..1_000_000_000, places in 0_u32..6) {
            let number = Decimal::new(units, places).unwrap();
            let text = number.to_string();
            prop_assert_eq!(written(&text), Some(text));
        }

        #[test]
        fn never_panics(text in "\\PC{0,40}") {
            let _ = read(&text, Locale::EN_US, units::by_symbol("$"));
        }
    }
}
