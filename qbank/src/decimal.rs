//! A decimal numeral as it is written: its value and how many places it shows.
//!
//! `0.50` and `0.5` are the same value in two written forms; a pupil's answer, money and a stated precision need
//! both facts. A [`Decimal`] therefore compares by value and prints as written. It does no arithmetic beyond moving
//! between written forms: sums and products are the business of the routes in [`crate::arithmetic`], which must not
//! share code.
use alloc::string::String;
use core::{cmp::Ordering, fmt, hash, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use smol_str::SmolStr;

/// Most digits a numeral may have. School numbers have fewer than ten; the rest is room for products.
pub const MAX_DIGITS: usize = 28;

/// The powers of ten that a numeral's digits can be worth.
const POWERS: [u128; MAX_DIGITS + 1] = {
    let mut powers = [1; MAX_DIGITS + 1];
    let mut places = 1;
    while places <= MAX_DIGITS {
        powers[places] = powers[places - 1] * 10;
        places += 1;
    }
    powers
};

/// A numeral of fewer digits fits 64 bits, sign or not. A machine works with these at once, where 128 bits take long.
const SHORT: u32 = 19;

/// A power of ten that a numeral's digits can be worth.
pub(crate) fn power_of_ten(places: u32) -> u128 {
    POWERS[places as usize]
}

/// Quotient and remainder by a power of ten.
pub(crate) fn split(number: u128, places: u32) -> (u128, u128) {
    let by = POWERS[places as usize];
    match (u64::try_from(number), u64::try_from(by)) {
        (Ok(number), Ok(by)) => ((number / by).into(), (number % by).into()),
        _ => (number / by, number % by),
    }
}

/// How many digits a whole number has.
pub(crate) fn digit_count(number: u128) -> u32 {
    let log = match u64::try_from(number) {
        Ok(short) => short.checked_ilog10(),
        Err(_) => number.checked_ilog10(),
    };
    log.map_or(1, |log| log + 1)
}

/// An exact decimal that keeps its written places: `units / 10^places`.
///
/// # Example
/// ```
/// use qbank::decimal::Decimal;
/// let written: Decimal = "0.50".parse()?;
/// assert_eq!(written, "0.5".parse()?);       // the same value …
/// assert_eq!(written.to_string(), "0.50");    // … as it was written
/// assert_eq!(written.places(), 2);
/// # Ok::<(), qbank::decimal::DecimalError>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Decimal {
    units: i128,
    places: u32,
}

/// Why a text is no decimal numeral, or a value has no place in one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecimalError {
    /// The text is not `digits` or `digits.digits` with an optional minus sign.
    #[error("'{text}' is not a decimal; expected digits with at most one point, as in 12.40")]
    Malformed {
        /// The text, shortened.
        text: String,
    },
    /// More than [`MAX_DIGITS`] digits.
    #[error("a decimal may have at most {MAX_DIGITS} digits, this one has {digits}")]
    TooLong {
        /// How many digits were found.
        digits: usize,
    },
}

impl Decimal {
    /// Zero, written `0`.
    pub const ZERO: Self = Self { units: 0, places: 0 };

    /// The decimal `units / 10^places`, written with exactly that many places.
    ///
    /// # Errors
    /// [`DecimalError::TooLong`] beyond [`MAX_DIGITS`] digits or places.
    pub fn new(units: i128, places: u32) -> Result<Self, DecimalError> {
        if units.unsigned_abs() < POWERS[MAX_DIGITS] && places as usize <= MAX_DIGITS {
            return Ok(Self { units, places });
        }
        let digits = units.unsigned_abs().checked_ilog10().map_or(1, |log| log as usize + 1);
        Err(DecimalError::TooLong { digits: digits.max(places as usize) })
    }

    /// The value in units of its last written place: `12.40` has 1240 of them.
    #[must_use]
    pub fn units(&self) -> i128 {
        self.units
    }

    /// How many digits are written after the point.
    #[must_use]
    pub fn places(&self) -> u32 {
        self.places
    }

    /// Whether the value is below zero.
    #[must_use]
    pub fn is_negative(&self) -> bool {
        self.units < 0
    }

    /// Whether the value is zero, in whatever form.
    #[must_use]
    pub fn is_zero(&self) -> bool {
        self.units == 0
    }

    /// The same value without trailing zeros after the point: `4.30` becomes `4.3`, `5.0` becomes `5`.
    #[must_use]
    pub fn normalized(&self) -> Self {
        let mut plain = *self;
        if let Ok(mut units) = i64::try_from(plain.units) {
            while plain.places > 0 && units % 10 == 0 {
                units /= 10;
                plain.places -= 1;
            }
            plain.units = units.into();
            return plain;
        }
        while plain.places > 0 && plain.units % 10 == 0 {
            plain.units /= 10;
            plain.places -= 1;
        }
        plain
    }

    /// The same value written with `places` places; `None` if that would drop a digit other than zero, or if the
    /// numeral would grow too long.
    #[must_use]
    pub fn with_places(&self, places: u32) -> Option<Self> {
        if places == self.places {
            return Some(*self);
        }
        let units = match places.checked_sub(self.places) {
            Some(annexed) => self.units.checked_mul(POWERS.get(annexed as usize)?.cast_signed())?,
            None => {
                let (kept, dropped) = split(self.units.unsigned_abs(), self.places - places);
                let kept = i128::try_from(kept).ok().filter(|_| dropped == 0)?;
                if self.is_negative() { -kept } else { kept }
            }
        };
        Self::new(units, places).ok()
    }

    /// The value in units of place `places`; `None` if it is not a whole number of them.
    #[must_use]
    pub fn units_at(&self, places: u32) -> Option<i128> {
        self.with_places(places).map(|same| same.units)
    }

    /// The digit `index` places right of the point (0 = ones, 1 = tenths, -1 = tens), 0 where none is written.
    #[must_use]
    pub fn digit(&self, index: i32) -> u8 {
        let from_right = i64::from(self.places) - i64::from(index);
        let Some(places) = u32::try_from(from_right).ok().filter(|places| *places as usize <= MAX_DIGITS)
        else {
            return 0;
        };
        let shifted = split(self.units.unsigned_abs(), places).0;
        u8::try_from(split(shifted, 1).1).expect("a remainder by ten is one digit")
    }

    /// How many digits stand before the point; at least one (`0.5` writes a zero there).
    #[must_use]
    pub fn whole_digits(&self) -> u32 {
        digit_count(self.whole_part())
    }

    /// The number before the point, without sign.
    #[must_use]
    pub fn whole_part(&self) -> u128 {
        split(self.units.unsigned_abs(), self.places).0
    }

    /// The digits after the point read as a whole number: `4.07` gives 7, `4.70` gives 70.
    #[must_use]
    pub fn fraction_units(&self) -> u128 {
        split(self.units.unsigned_abs(), self.places).1
    }

    /// Digits of the whole numeral with the point removed, without sign: `4.07` gives 407.
    #[must_use]
    pub fn point_removed(&self) -> u128 {
        self.units.unsigned_abs()
    }

    /// The same digits with the point moved: value times `10^shift`. `None` if the numeral would grow too long.
    #[must_use]
    pub fn shifted(&self, shift: i32) -> Option<Self> {
        let places = i64::from(self.places) - i64::from(shift);
        match u32::try_from(places) {
            Ok(places) => Self::new(self.units, places).ok(),
            Err(_) => {
                let zeros = u32::try_from(-places).ok()?;
                Self::new(self.units.checked_mul(10_i128.checked_pow(zeros)?)?, 0).ok()
            }
        }
    }

    /// The numeral as a short text.
    pub(crate) fn printed(&self) -> SmolStr {
        SmolStr::new(Numeral::of(self).text())
    }

    /// Writes the numeral behind a text.
    pub(crate) fn print(&self, text: &mut String) {
        text.push_str(Numeral::of(self).text());
    }

    /// Writes all digits into zeros, from the last written one, as far as there is room. Tells how many places all of
    /// them take: at least one before the point.
    pub(crate) fn write_digits(&self, zeros: &mut [u8]) -> usize {
        let Ok(mut rest) = u64::try_from(self.units.unsigned_abs()) else {
            zeros.iter_mut().zip(self.digits_from_the_last()).for_each(|(place, digit)| *place = digit);
            return (self.places + self.whole_digits()) as usize;
        };
        let mut count = 0;
        while rest > 0 {
            if let Some(place) = zeros.get_mut(count) {
                *place = u8::try_from(rest % 10).expect("a remainder by ten is one digit");
            }
            rest /= 10;
            count += 1;
        }
        count.max(self.places as usize + 1)
    }

    /// All digits without end, from the last written one; zeros follow the first one.
    pub(crate) fn digits_from_the_last(&self) -> impl Iterator<Item = u8> + use<> {
        let magnitude = self.units.unsigned_abs();
        let (mut upper, lower) = (0, u64::try_from(magnitude));
        // The upper digits of a long numeral wait until the lower ones are told.
        let mut lower = lower.unwrap_or_else(|_| {
            let (left, right) = (magnitude / POWERS[18], magnitude % POWERS[18]);
            upper = u64::try_from(left).expect("28 digits less 18 are 10");
            u64::try_from(right).expect("18 digits fit")
        });
        let mut told = 0_u32;
        core::iter::repeat_with(move || {
            if told == 18 && upper > 0 {
                (lower, upper) = (upper, 0);
            }
            told += 1;
            let digit = lower % 10;
            lower /= 10;
            u8::try_from(digit).expect("a remainder by ten is one digit")
        })
    }

    /// Reads what nearly all numerals are: one to eighteen digits, with digits on both sides of a point if there is one.
    /// `None` says nothing but that it is not so short or not so plain.
    pub(crate) fn short(numeral: &[u8], point: u8) -> Option<Self> {
        let mut units = 0_u64;
        let mut point_at = None;
        if numeral.len() >= SHORT as usize {
            return None;
        }
        for (at, byte) in numeral.iter().enumerate() {
            let digit = byte.wrapping_sub(b'0');
            if digit < 10 {
                units = units * 10 + u64::from(digit);
            } else if *byte == point && point_at.is_none() && at > 0 {
                point_at = Some(at);
            } else {
                return None;
            }
        }
        let places = match point_at {
            Some(at) => numeral.len() - at - 1,
            None => 0,
        };
        let bare = numeral.is_empty() || point_at.is_some() && places == 0;
        let places = u32::try_from(places).ok()?;
        (!bare).then_some(Self { units: units.into(), places })
    }

    /// Units and places in normal form, where the units are short: the same for equal values, and quickly compared.
    pub(crate) fn compact(&self) -> Option<(i64, u32)> {
        let plain = self.normalized();
        Some((i64::try_from(plain.units).ok()?, plain.places))
    }

    /// With the other sign, if so asked.
    pub(crate) fn signed(self, negative: bool) -> Self {
        if negative { Self { units: -self.units, ..self } } else { self }
    }

    /// Whether both are the same numeral, digit for digit: `0.5` and `0.50` are not.
    #[must_use]
    pub fn same_written(&self, other: &Self) -> bool {
        self.units == other.units && self.places == other.places
    }
}

impl PartialEq for Decimal {
    fn eq(&self, other: &Self) -> bool {
        if self.places == other.places {
            return self.units == other.units;
        }
        let more = if self.places < other.places { other } else { self };
        // A digit at the end that is not zero has no equal in fewer places.
        let last = match i64::try_from(more.units) {
            Ok(units) => i128::from(units % 10),
            Err(_) => more.units % 10,
        };
        last == 0 && self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Decimal {}

impl hash::Hash for Decimal {
    fn hash<H: hash::Hasher>(&self, state: &mut H) {
        let plain = self.normalized();
        (plain.units, plain.places).hash(state);
    }
}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Decimal {
    /// By value. Long ones by their whole parts first, so that no common denominator can overflow.
    fn cmp(&self, other: &Self) -> Ordering {
        if self.places == other.places {
            return self.units.cmp(&other.units);
        }
        if let (Ok(units), Ok(others)) = (i64::try_from(self.units), i64::try_from(other.units))
            && self.places.abs_diff(other.places) < SHORT
        {
            // Nineteen digits times eighteen zeros fit 128 bits.
            let scaled = |units: i64, zeros: u32| i128::from(units) * POWERS[zeros as usize].cast_signed();
            let places = self.places.max(other.places);
            return scaled(units, places - self.places).cmp(&scaled(others, places - other.places));
        }
        let sign = |decimal: &Self| decimal.units.signum();
        let by_sign = sign(self).cmp(&sign(other));
        if by_sign != Ordering::Equal {
            return by_sign;
        }
        let magnitude = self.whole_part().cmp(&other.whole_part()).then_with(|| {
            let places = self.places.max(other.places);
            let scaled = |decimal: &Self| decimal.fraction_units() * 10_u128.pow(places - decimal.places);
            scaled(self).cmp(&scaled(other))
        });
        if self.is_negative() { magnitude.reverse() } else { magnitude }
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(Numeral::of(self).text())
    }
}

/// A sign, a zero before the point, the point, and all digits; one place more, so that no place need be checked.
const LONGEST: usize = 32;
const _: () = assert!(MAX_DIGITS + 3 < LONGEST && LONGEST.is_power_of_two());

/// A numeral's text, put together from its last digit to its first.
struct Numeral {
    text: [u8; LONGEST],
    from: usize,
}

impl Numeral {
    fn of(number: &Decimal) -> Self {
        let mut numeral = Self { text: [b'0'; LONGEST], from: LONGEST };
        let magnitude = number.units.unsigned_abs();
        if let Ok(short) = u64::try_from(magnitude) {
            numeral.put_short(short, number.places);
        } else {
            let (whole, fraction) = split(magnitude, number.places);
            if number.places > 0 {
                numeral.put_digits(fraction, number.places);
                numeral.put(b'.');
            }
            numeral.put_digits(whole, 1);
        }
        if number.is_negative() {
            numeral.put(b'-');
        }
        numeral
    }

    fn put(&mut self, character: u8) {
        self.from -= 1;
        self.text[self.from % LONGEST] = character;
    }

    /// All digits, with the point before the last `places`.
    fn put_short(&mut self, units: u64, places: u32) {
        let (mut rest, mut written) = (units, 0);
        loop {
            if written == places && places > 0 {
                self.put(b'.');
            }
            self.put(b'0' + u8::try_from(rest % 10).expect("a remainder by ten is one digit"));
            rest /= 10;
            // One digit stands before the point, whatever the number.
            if rest == 0 && written >= places {
                break;
            }
            written += 1;
        }
    }

    /// At least so many digits.
    fn put_digits(&mut self, number: u128, least: u32) {
        let mut rest = number;
        let mut missing = least;
        while missing > 0 || rest > 0 {
            let (left, digit) = split(rest, 1);
            self.put(b'0' + u8::try_from(digit).expect("a remainder by ten is one digit"));
            rest = left;
            missing = missing.saturating_sub(1);
        }
    }

    fn text(&self) -> &str {
        core::str::from_utf8(&self.text[self.from..]).expect("signs and digits are ASCII")
    }
}

impl FromStr for Decimal {
    type Err = DecimalError;

    /// Reads the canonical form of files and records: `12.40`, `-3`, `0.5`. A pupil's text is read by
    /// [`crate::reading`], which knows many more forms.
    fn from_str(text: &str) -> Result<Self, DecimalError> {
        let malformed = || DecimalError::Malformed { text: text.chars().take(40).collect() };
        let (negative, unsigned) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        if let Some(short) = Self::short(unsigned.as_bytes(), b'.') {
            return Ok(short.signed(negative));
        }
        let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
        let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        let has_bare_point = unsigned.contains('.') && fraction.is_empty();
        if whole.is_empty() || has_bare_point || !all_digits(whole) || !all_digits(fraction) {
            return Err(malformed());
        }
        let digits = whole.len() + fraction.len();
        if digits > MAX_DIGITS {
            return Err(DecimalError::TooLong { digits });
        }
        let magnitude = whole
            .bytes()
            .chain(fraction.bytes())
            .fold(0_i128, |sum, byte| sum * 10 + i128::from(byte - b'0'));
        let number = Self::new(magnitude, u32::try_from(fraction.len()).map_err(|_| malformed())?)?;
        Ok(number.signed(negative))
    }
}

impl From<u32> for Decimal {
    fn from(whole: u32) -> Self {
        Self { units: i128::from(whole), places: 0 }
    }
}

impl Serialize for Decimal {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(Numeral::of(self).text())
    }
}

impl<'de> Deserialize<'de> for Decimal {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use proptest::prelude::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn keeps_written_places_and_compares_by_value() {
        assert_eq!(decimal("0.50"), decimal("0.5"));
        assert!(!decimal("0.50").same_written(&decimal("0.5")));
        assert_eq!(decimal("007.40").to_string(), "7.40");
        assert_eq!(decimal("-0.05").to_string(), "-0.05");
        assert!(decimal("-2") < decimal("-1.99"));
        assert!(decimal("0.305") < decimal("0.35"));
    }

    #[test]
    fn refuses_what_is_not_a_numeral() {
        for text in ["", "-", ".", ".5", "5.", "1.2.3", "1,5", "1e3", " 1", "+1", "٣", "--1", "0x1"] {
            assert!(matches!(text.parse::<Decimal>(), Err(DecimalError::Malformed { .. })), "{text:?}");
        }
        assert!(matches!("1".repeat(29).parse::<Decimal>(), Err(DecimalError::TooLong { digits: 29 })));
    }

    #[test]
    fn tells_digits_by_place() {
        let number = decimal("347.392");
        let digits: alloc::vec::Vec<u8> = (-3..=4).map(|index| number.digit(index)).collect();
        assert_eq!(digits, [0, 3, 4, 7, 3, 9, 2, 0]);
    }

    #[test]
    fn moves_between_written_forms() {
        assert_eq!(decimal("4.30").normalized().to_string(), "4.3");
        assert_eq!(decimal("5.0").normalized().to_string(), "5");
        assert_eq!(decimal("4.3").with_places(3).unwrap().to_string(), "4.300");
        assert_eq!(decimal("4.35").with_places(1), None);
        assert_eq!(decimal("2.3").shifted(2).unwrap().to_string(), "230");
        assert_eq!(decimal("2.3").shifted(-1).unwrap().to_string(), "0.23");
    }

    proptest! {
        #[test]
        fn prints_and_reads_back_as_itself(units in -1_000_000_000_i128..1_000_000_000, places in 0_u32..12) {
            let number = Decimal::new(units, places).unwrap();
            prop_assert!(decimal(&number.to_string()).same_written(&number));
        }

        #[test]
        fn long_numerals_print_and_read_back(units in 0_i128..10_i128.pow(28), places in 0_u32..=28) {
            let number = Decimal::new(units, places).unwrap();
            let text = number.to_string();
            let plain = alloc::format!("{:0>29}", units.to_string());
            let (whole, fraction) = plain.split_at(29 - places as usize);
            let whole = whole.trim_start_matches('0');
            let whole = if whole.is_empty() { "0" } else { whole };
            let expected = if places > 0 { alloc::format!("{whole}.{fraction}") } else { whole.to_string() };
            prop_assert_eq!(&text, &expected);
            // A zero before the point is one digit more than the numeral may have.
            if places < 28 {
                prop_assert!(decimal(&text).same_written(&number));
            }
            prop_assert_eq!(number.signed(true).cmp(&decimal("-0.5")), decimal("0.5").cmp(&number));
        }

        #[test]
        fn orders_as_whole_numbers_of_the_finest_place_do(a in -99_999_i128..99_999, b in -99_999_i128..99_999, p in 0_u32..5, q in 0_u32..5) {
            let (x, y) = (Decimal::new(a, p).unwrap(), Decimal::new(b, q).unwrap());
            prop_assert_eq!(x.cmp(&y), (a * 10_i128.pow(5 - p)).cmp(&(b * 10_i128.pow(5 - q))));
        }
    }
}
