//! Reading a pupil's typed text: value, unit and written form.
//!
//! Reading never knows the right answer, and never guesses: what it cannot read it says, so that a pupil can be asked
//! again. Everything is exact; there are no floats. What is read, with the unit asked for; each row is run as a test:
//!
//! | written | locale | asked | value | form |
//! |---|---|---|---|---|
//! | `35.35` | en-US | | 35.35 | decimal |
//! | ` 035.350 ` | en-US | | 35.350 | decimal |
//! | `.5` | en-US | | 0.5 | decimal |
//! | `5.` | en-US | | 5 | decimal |
//! | `-3.5` | en-US | | -3.5 | decimal |
//! | `\u{2212}3.5` (minus sign) | en-US | | -3.5 | decimal |
//! | `+3.5` | en-US | | 3.5 | decimal |
//! | `１２．５` (full width) | en-US | | 12.5 | decimal |
//! | `٣٫٥` (Arabic digits and mark) | en-US | | 3.5 | decimal |
//! | `१२` (Devanagari) | en-US | | 12 | decimal |
//! | `1,234.5` | en-US | | 1234.5 | decimal |
//! | `1 234.5` (blanks may group anywhere) | en-US | | 1234.5 | decimal |
//! | `1\u{a0}234.5` (no-break) | en-US | | 1234.5 | decimal |
//! | `1\u{202f}234,5` (narrow no-break) | fr-FR | | 1234.5 | decimal |
//! | `1.234,5` | es-ES | | 1234.5 | decimal |
//! | `1'234.5` | de-CH | | 1234.5 | decimal |
//! | `1\u{2019}234.5` | de-CH | | 1234.5 | decimal |
//! | `12.4 kg` | en-US | kg | 12.4 | decimal |
//! | `kg 12.4` | en-US | kg | 12.4 | decimal |
//! | `500 grams` | en-US | kg | 0.500 | decimal |
//! | `42 in` | en-US | ft | 3.5 | decimal |
//! | `12 sq. cm` | en-US | cm² | 12 | decimal |
//! | `$2.40` | en-US | $ | 2.40 | money |
//! | `$ 2 40` | en-US | $ | 2.40 | money |
//! | `$2.40c` | en-US | $ | 2.40 | money |
//! | `240¢` | en-US | $ | 2.40 | money |
//! | `-$.90` | en-US | $ | -0.90 | money |
//! | `3/4` | en-US | | 0.75 | fraction |
//! | `1/3` | en-US | | 1/3 | fraction |
//! | `1 3/4` | en-US | | 1.75 | mixed |
//! | `1 and 3/4 lb` | en-US | lb | 1.75 | mixed |
//! | `1½` | en-US | | 1.5 | mixed |
//! | `1 1/2 lb` | en-US | oz | 24 | mixed |
//! | `3/4 of a mile` | en-US | mi | 0.75 | fraction |
//! | `35 %` | en-US | | 0.35 | percent |
//! | `35%` | en-US | | 0.35 | percent |
//! | `12.5 percent` | en-US | | 0.125 | percent |
//! | `35 por ciento` | es-US | | 0.35 | percent |
//! | `three and forty-five hundredths` | en-US | | 3.45 | words |
//! | `fifty hundredths` | en-US | | 0.50 | words |
//! | `37 and 8 hundredths` | en-US | | 37.08 | words |
//! | `tres unidades y cinco centésimas` | es-US | | 3.05 | words |
//! | `two and five tenths kilograms` | en-US | kg | 2.5 | words |
//! | `2 ft 3 in` | en-US | ft | 2.25 | compound |
//! | `1 h 30 min` | en-US | min | 90 | compound |
//! | `3 m 20 cm` | en-US | m | 3.20 | compound |
//! | `five dollars and three cents` | en-US | $ | 5.03 | compound |
//! | `tres metros con veinte centímetros` | es-US | m | 3.20 | compound |
//!
//! And what is not, with the [`Problem`]:
//!
//! | written | locale | asked | problem |
//! |---|---|---|---|
//! | `3,5` | en-US | | Separator |
//! | `3.5` | es-ES | | Separator |
//! | `0,123` | en-US | | Separator |
//! | `1,23` | en-US | | Separator |
//! | `12,34,567` | en-US | | Separator |
//! | `1'234` | en-US | | Separator |
//! | `1.2.3` | en-US | | TwoPoints |
//! | `about five` | en-US | | Words |
//! | `three point five` | en-US | | Words |
//! | `tres unidades` | en-US | | Words |
//! | `treinta y cinco décimas` (30.5 or 3.5) | es-US | | Words |
//! | `3+4` | en-US | | NotANumber |
//! | `--3` | en-US | | NotANumber |
//! | `1e5` | en-US | | NotANumber |
//! | `3 4 5` | en-US | | NotANumber |
//! | `1 234/5` (1234/5 or 1 and 234/5) | en-US | | NotANumber |
//! | `1/0` | en-US | | ZeroDenominator |
//! | `3 bananas` | en-US | | UnknownUnit |
//! | `3 kg` | en-US | m | UnitMismatch |
//! | `3 in` | en-US | cm | UnitMismatch |
//! | `35 %` | en-US | kg | UnitMismatch |
//! | `$240¢` | en-US | $ | UnitMismatch |
//! | `2 ft 3 in` | en-US | | OneUnit |
//! | `2.5 ft 3 in` | en-US | ft | OneUnit |
//! | `3 in 2 ft` | en-US | ft | OneUnit |
//! | `11111111111111111111111111111` (29 digits) | en-US | | TooManyDigits |
mod characters;
mod numeral;

use alloc::{
    string::{String, ToString},
    vec::Vec,
};

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::Zero;

use self::{
    characters::plain_text,
    numeral::{after_dollar, not_a_number},
};
use crate::{
    accept::fraction_of,
    arithmetic::{Arithmetic, Fractions},
    decimal::{Decimal, MAX_DIGITS},
    locale::{Language, Locale},
    units::{self, Dimension, Unit},
    words::{WordsProblem, from_words},
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
    /// The decimal numeral as written, or as named in words, places kept; `None` for fractions and percent, and where
    /// the exchange into the asked unit did more than move the point.
    pub written: Option<Decimal>,
    /// The unit written beside it; of several the smallest.
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
    /// `35 %`
    Percent,
    /// `three and five tenths`
    Words,
    /// With a sign of money.
    Money,
    /// `2 ft 3 in`: one amount in several units.
    Compound,
}

/// Why a text was not read. The message is for the pupil: as text in English, by [`Problem::told`] in any language.
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
    /// More digits than any answer here has.
    #[error("the number has too many digits; at most {MAX_DIGITS} are read")]
    TooManyDigits,
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
    /// Several amounts that make no answer together: larger units first, whole numbers but the last, and a question
    /// that asks for a unit.
    #[error("these amounts do not make one answer; write one number with one unit")]
    OneUnit,
    /// Words that make no number.
    #[error("{0}")]
    Words(#[from] WordsProblem),
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
    if let Some(written) = plain_numeral(text, locale) {
        return Reading::Read(ReadNumber::plain(written));
    }
    read_any(text, locale, asked)
}

fn read_any(text: &str, locale: Locale, asked: Option<&'static Unit>) -> Reading {
    if text.chars().nth(MAX_CHARACTERS).is_some() {
        return Reading::Unreadable(Problem::TooLong);
    }
    let plain = plain_text(text, locale);
    let plain = plain.trim();
    if plain.is_empty() {
        return Reading::Blank;
    }
    match (Reader { locale, asked }).answer(plain) {
        Ok(number) => Reading::Read(number),
        Err(problem) => Reading::Unreadable(problem),
    }
}

/// Reads the text that nearly all answers are: digits, perhaps with the locale's mark between them and a minus sign
/// before. What [`read`] finds in such a text is this number as it is written, whatever unit is asked for. `None` says
/// nothing but that the text is another one.
pub(crate) fn plain_numeral(text: &str, locale: Locale) -> Option<Decimal> {
    let (negative, unsigned) = match text.as_bytes() {
        [b'-', unsigned @ ..] => (true, unsigned),
        unsigned => (false, unsigned),
    };
    let point = u8::try_from(locale.point).ok()?;
    Some(Decimal::short(unsigned, point)?.signed(negative))
}

/// Reads plain texts under one locale for one asked unit.
struct Reader {
    locale: Locale,
    asked: Option<&'static Unit>,
}

impl Reader {
    fn answer(&self, text: &str) -> Result<ReadNumber, Problem> {
        let (negative, text) = without_sign(text);
        let number = match without_percent(text) {
            Some(number) => self.percent(number)?,
            None => match leading_unit(text) {
                Some((unit, after)) => {
                    let (after_unit, after) = without_sign(after);
                    if negative && after_unit {
                        return Err(not_a_number(self.locale));
                    }
                    return self.after_unit(unit, after).map(|number| number.signed(negative || after_unit));
                }
                None => self.before_units(text)?,
            },
        };
        Ok(number.signed(negative))
    }

    /// `$2.40`, `$2 40`, `kg 12`; also `$2.40c`.
    fn after_unit(&self, leading: &'static Unit, text: &str) -> Result<ReadNumber, Problem> {
        let (number, trailing) = match first_unit(text) {
            None => (text, None),
            Some((number, unit, "")) => (number, Some(unit)),
            Some((_, unit, _)) => return Err(self.mismatch(unit)),
        };
        let number = if leading.symbol == "$" {
            after_dollar(number, self.locale)?
        } else {
            numeral::number(number, self.locale)?
        };
        // Marking of national tests takes '£2.40p' for pounds, and refuses '£240p' as contradicting itself.
        if let Some(trailing) = trailing.filter(|trailing| *trailing != leading) {
            let cents = leading.symbol == "$" && trailing.dimension == Dimension::Money;
            if !cents || number.written.is_none_or(|written| written.places() != 2) {
                return Err(self.mismatch(leading));
            }
        }
        self.in_asked_unit(number, leading)
    }

    /// A number alone or with a unit after it, or an amount in several units.
    fn before_units(&self, text: &str) -> Result<ReadNumber, Problem> {
        let mut amounts: Vec<(ReadNumber, &'static Unit)> = Vec::new();
        let mut rest = text;
        while let Some((number, unit, after)) = first_unit(rest) {
            let number = self.number(without_of(number))?;
            self.check_quarters(&number, unit)?;
            amounts.push((number, unit));
            rest = without_joint(after);
            // '3 m.20 cm' may be 3.20 m or 3 m and 0.20 cm.
            if rest.starts_with(['.', ',', '\'']) {
                return Err(Problem::OneUnit);
            }
        }
        match (amounts.as_slice(), rest) {
            ([], number) => self.number(number),
            ([(number, unit)], "") => self.in_asked_unit(number.clone(), unit),
            (several, "") => self.compound(several),
            (_, rest) if rest.contains(|character: char| character.is_ascii_digit()) => Err(Problem::OneUnit),
            (_, rest) => Err(unknown_unit(rest)),
        }
    }

    /// A number in digits or words, without unit.
    fn number(&self, text: &str) -> Result<ReadNumber, Problem> {
        if text.contains('/') {
            let joined = [" and ", " y ", " con "].iter().find_map(|joint| text.split_once(joint));
            return match joined {
                Some((whole, fraction)) => {
                    numeral::number(&alloc::format!("{} {}", whole.trim(), fraction.trim()), self.locale)
                }
                None => numeral::number(text, self.locale),
            };
        }
        if text.contains(char::is_alphabetic) {
            return self.words(text);
        }
        numeral::number(text, self.locale)
    }

    fn words(&self, text: &str) -> Result<ReadNumber, Problem> {
        let after_digits = text.trim_start_matches(|character: char| !character.is_alphabetic());
        let starts_with_digits = after_digits.len() < text.len();
        let Some(language) = self.locale.language() else {
            return Err(if starts_with_digits {
                unknown_unit(after_digits)
            } else {
                not_a_number(self.locale)
            });
        };
        match from_words(text, language) {
            Ok(written) => Ok(ReadNumber {
                value: fraction_of(&written),
                written: Some(written),
                unit: None,
                form: WrittenForm::Words,
                lowest_terms: true,
            }),
            Err(WordsProblem::UnknownWord { .. }) if starts_with_digits => {
                let more_digits = after_digits.contains(|character: char| character.is_ascii_digit());
                Err(if more_digits { not_a_number(self.locale) } else { unknown_unit(after_digits) })
            }
            // Digits and signs that make no number are no matter of words.
            Err(WordsProblem::Blank | WordsProblem::DigitsOnly) => Err(not_a_number(self.locale)),
            Err(problem) => Err(problem.into()),
        }
    }

    /// A hundredth of the number. Percent are no unit of anything that is measured.
    fn percent(&self, text: &str) -> Result<ReadNumber, Problem> {
        if let Some(asked) = self.asked {
            return Err(self.mismatch(asked));
        }
        let number = self.number(text)?;
        let hundred = BigRational::from(BigInt::from(100));
        Ok(ReadNumber { value: number.value / hundred, written: None, form: WrittenForm::Percent, ..number })
    }

    /// 'Un cuarto' is a quarter before it is a quart.
    fn check_quarters(&self, number: &ReadNumber, unit: &'static Unit) -> Result<(), Problem> {
        let spanish = self.locale.language() == Some(Language::Spanish);
        let asked = self.asked.is_some_and(|asked| asked.dimension == unit.dimension);
        let quarters = spanish && unit.symbol == "qt" && number.form == WrittenForm::Words && !asked;
        if quarters { Err(not_a_number(self.locale)) } else { Ok(()) }
    }

    fn mismatch(&self, written: &'static Unit) -> Problem {
        Problem::UnitMismatch { asked: self.asked.unwrap_or(written).symbol }
    }

    /// Puts the written unit to the number and moves the value into the asked unit.
    fn in_asked_unit(&self, mut number: ReadNumber, unit: &'static Unit) -> Result<ReadNumber, Problem> {
        if let Some(asked) = self.asked {
            let factor = unit.factor_to(asked).ok_or_else(|| self.mismatch(unit))?;
            number.written = number
                .written
                .zip(move_of_point(&factor))
                .and_then(|(written, shift)| written.shifted(shift));
            number.value *= factor;
        }
        if unit.dimension == Dimension::Money && number.form == WrittenForm::Decimal {
            number.form = WrittenForm::Money;
        }
        number.unit = Some(unit);
        Ok(number)
    }

    /// `2 ft 3 in`: the units grow smaller, and only the last number may have parts.
    fn compound(&self, amounts: &[(ReadNumber, &'static Unit)]) -> Result<ReadNumber, Problem> {
        let grow_smaller = amounts.windows(2).all(|pair| pair[0].1.size > pair[1].1.size);
        let (last, larger) = amounts.split_last().ok_or(Problem::OneUnit)?;
        let whole = larger.iter().all(|(number, _)| {
            number.value.is_integer() && number.written.is_some_and(|written| written.places() == 0)
        });
        if self.asked.is_none() || !grow_smaller || !whole {
            return Err(Problem::OneUnit);
        }
        let mut value = BigRational::zero();
        let mut places = Some(0);
        for (number, unit) in amounts {
            let moved = self.in_asked_unit(number.clone(), unit)?;
            places =
                places.zip(moved.written).map(|(places, written): (u32, _)| places.max(written.places()));
            value += moved.value;
        }
        let exact = Fractions.decimal(&value).ok();
        let written = exact.zip(places).and_then(|(exact, places)| exact.with_places(places));
        let (last, unit) = last;
        Ok(ReadNumber {
            value,
            written,
            unit: Some(unit),
            form: WrittenForm::Compound,
            lowest_terms: last.lowest_terms,
        })
    }
}

fn without_sign(text: &str) -> (bool, &str) {
    match text.strip_prefix('-') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text.strip_prefix('+').map_or(text, str::trim_start)),
    }
}

fn without_percent(text: &str) -> Option<&str> {
    let signs = ["%", " percent", " per cent", " por ciento"];
    signs.iter().find_map(|sign| text.strip_suffix(sign)).map(str::trim_end)
}

/// A unit before the number: a sign of money, or a word with a blank after it, for the letter in `l5` may be a 1.
fn leading_unit(text: &str) -> Option<(&'static Unit, &str)> {
    let (unit, rest) = units::at_start(text)?;
    let number = rest.trim_start();
    let apart = number.len() < rest.len() || !text.starts_with(char::is_alphabetic);
    (apart && !number.is_empty()).then_some((unit, number))
}

/// The first unit in a text, with what stands before and after it.
fn first_unit(text: &str) -> Option<(&str, &'static Unit, &str)> {
    let mut before = ' ';
    for (at, character) in text.char_indices() {
        let starts = (character.is_alphabetic() && !before.is_alphabetic()) || matches!(character, '$' | '¢');
        if let Some((unit, rest)) = starts.then(|| units::at_start(&text[at..])).flatten() {
            return Some((text[..at].trim(), unit, rest.trim_start()));
        }
        before = character;
    }
    None
}

/// What may stand between the amounts of `5 dollars and 3 cents`.
fn without_joint(text: &str) -> &str {
    let joints = ["and ", "y ", "con ", ", "];
    joints.iter().find_map(|joint| text.strip_prefix(joint)).map_or(text, str::trim_start)
}

/// `3/4 of a mile`, `tres décimas de litro`.
fn without_of(text: &str) -> &str {
    let joints = [" of a", " of an", " of", " de", " de un", " de una"];
    joints.iter().find_map(|joint| text.strip_suffix(joint)).unwrap_or(text)
}

fn unknown_unit(word: &str) -> Problem {
    Problem::UnknownUnit { word: word.chars().take(20).collect() }
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

impl Problem {
    /// The message in a language, without a full stop.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::{Language, Locale}, reading::{read, Reading}};
    /// let Reading::Unreadable(problem) = read("3 bananas", Locale::EN_US, None) else { panic!("no unit") };
    /// assert_eq!(problem.told(Language::Spanish), "'bananas' no es una unidad que se conozca aquí");
    /// ```
    #[must_use]
    pub fn told(&self, language: Language) -> String {
        if language == Language::English {
            return self.to_string();
        }
        use alloc::format;
        match self {
            Self::TooLong => "la respuesta es demasiado larga; escribe un solo número".into(),
            Self::NotANumber { example } => {
                format!(
                    "esto no es un número que se pueda leer; escribe un solo número, por ejemplo {example}"
                )
            }
            Self::Separator { sign, example } => {
                format!(
                    "el signo '{sign}' se puede leer aquí de dos maneras; escribe los decimales como {example}"
                )
            }
            Self::TwoPoints => "hay dos signos decimales".into(),
            Self::TooManyDigits => {
                format!("el número tiene demasiadas cifras; se leen {MAX_DIGITS} como máximo")
            }
            Self::ZeroDenominator => "una fracción no puede tener el denominador 0".into(),
            Self::UnknownUnit { word } => format!("'{word}' no es una unidad que se conozca aquí"),
            Self::UnitMismatch { asked } => {
                format!("la unidad no corresponde; la respuesta se pide en {asked}")
            }
            Self::OneUnit => {
                "estas cantidades no forman una sola respuesta; escribe un número con una unidad".into()
            }
            Self::Words(problem) => problem.told(language),
        }
    }
}

impl WrittenForm {
    /// The name in records.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Decimal => "decimal",
            Self::Fraction => "fraction",
            Self::Mixed => "mixed",
            Self::Percent => "percent",
            Self::Words => "words",
            Self::Money => "money",
            Self::Compound => "compound",
        }
    }
}

impl ReadNumber {
    /// A decimal alone.
    pub(crate) fn plain(written: Decimal) -> Self {
        Self {
            value: fraction_of(&written),
            written: Some(written),
            unit: None,
            form: WrittenForm::Decimal,
            lowest_terms: true,
        }
    }

    /// The value as a decimal, if it ends.
    #[must_use]
    pub fn decimal(&self) -> Option<Decimal> {
        self.written.or_else(|| Fractions.decimal(&self.value).ok())
    }

    fn signed(mut self, negative: bool) -> Self {
        if negative {
            self.value = -self.value;
            self.written = self.written.map(|written| written.signed(true));
        }
        self
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
        fn plain_numerals_are_read_as_all_others_are(text in "-?[0-9]{0,20}[.,]?[0-9]{0,20}", tag in 0_usize..8, kg in proptest::bool::ANY) {
            let locale = Locale::by_tag(Locale::tags().nth(tag).unwrap()).unwrap();
            let asked = units::by_symbol("kg").filter(|_| kg);
            if let Some(written) = plain_numeral(&text, locale) {
                prop_assert_eq!(read_any(&text, locale, asked), Reading::Read(ReadNumber::plain(written)));
            }
        }

        #[test]
        fn never_panics(text in "\\PC{0,40}") {
            let _ = read(&text, Locale::EN_US, units::by_symbol("$"));
        }
    }
}
