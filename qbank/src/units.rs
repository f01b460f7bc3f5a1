//! Units of measure: how they are written beside a number, and what pupils write for them.
use alloc::{format, string::String};

use crate::decimal::Decimal;

/// A unit of measure.
#[derive(Debug, PartialEq, Eq)]
pub struct Unit {
    /// How it is written beside a number: `kg`, `$`.
    pub symbol: &'static str,
    /// Words that pupils may write in its place, in lower case.
    pub words: &'static [&'static str],
    /// Which units it can be exchanged with.
    pub dimension: Dimension,
    /// Size as a power of ten of the dimension's base unit (kg 3 over g, ¢ -2 under $).
    pub power: i32,
    /// Whether the symbol stands before the number.
    pub leads: bool,
}

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Metres.
    Length,
    /// Grams.
    Mass,
    /// Litres.
    Volume,
    /// Dollars.
    Money,
    /// Seconds.
    Time,
}

const fn unit(
    symbol: &'static str,
    words: &'static [&'static str],
    dimension: Dimension,
    power: i32,
) -> Unit {
    Unit { symbol, words, dimension, power, leads: false }
}

/// All units that questions use.
pub static UNITS: &[Unit] = &[
    unit("km", &["km", "kilometer", "kilometers", "kilometre", "kilometres"], Dimension::Length, 3),
    unit("m", &["m", "meter", "meters", "metre", "metres"], Dimension::Length, 0),
    unit("cm", &["cm", "centimeter", "centimeters", "centimetre", "centimetres"], Dimension::Length, -2),
    unit("mm", &["mm", "millimeter", "millimeters", "millimetre", "millimetres"], Dimension::Length, -3),
    unit("kg", &["kg", "kilogram", "kilograms", "kilo", "kilos"], Dimension::Mass, 3),
    unit("g", &["g", "gram", "grams"], Dimension::Mass, 0),
    unit("L", &["l", "liter", "liters", "litre", "litres"], Dimension::Volume, 0),
    unit("mL", &["ml", "milliliter", "milliliters", "millilitre", "millilitres"], Dimension::Volume, -3),
    unit("s", &["s", "sec", "second", "seconds"], Dimension::Time, 0),
    Unit {
        symbol: "$",
        words: &["$", "dollar", "dollars"],
        dimension: Dimension::Money,
        power: 0,
        leads: true,
    },
    unit("¢", &["¢", "c", "cent", "cents"], Dimension::Money, -2),
];

/// The unit with that symbol.
///
/// # Example
/// ```
/// let kilograms = qbank::units::by_symbol("kg").expect("a unit of the table");
/// assert_eq!(kilograms.beside(&"12.40".parse()?), "12.40 kg");
/// # Ok::<(), qbank::decimal::DecimalError>(())
/// ```
#[must_use]
pub fn by_symbol(symbol: &str) -> Option<&'static Unit> {
    UNITS.iter().find(|unit| unit.symbol == symbol)
}

/// The unit that a pupil's word means, in any letter case.
#[must_use]
pub fn by_word(word: &str) -> Option<&'static Unit> {
    let lower = word.to_lowercase();
    let lower = lower.trim_end_matches('.');
    UNITS.iter().find(|unit| unit.words.contains(&lower))
}

impl Unit {
    /// The number with the unit, as printed: `12.40 kg`, `$4.50`, `45¢`.
    #[must_use]
    pub fn beside(&self, number: &Decimal) -> String {
        match (self.leads, self.dimension) {
            (true, _) => format!("{}{number}", self.symbol),
            (false, Dimension::Money) => format!("{number}{}", self.symbol),
            (false, _) => format!("{number} {}", self.symbol),
        }
    }

    /// By which power of ten a number in this unit grows when written in `other`; `None` across dimensions.
    #[must_use]
    pub fn shift_to(&self, other: &Self) -> Option<i32> {
        (self.dimension == other.dimension).then_some(self.power - other.power)
    }
}

/// The number with the unit of that symbol, or alone where there is none.
#[must_use]
pub fn printed(number: &Decimal, symbol: Option<&str>) -> String {
    match symbol.and_then(by_symbol) {
        Some(unit) => unit.beside(number),
        None => format!("{number}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_name_one_unit_each() {
        for unit in UNITS {
            for word in unit.words {
                assert_eq!(by_word(word), Some(unit), "{word}");
            }
        }
        assert_eq!(by_word("KG."), by_symbol("kg"));
        assert_eq!(by_word("parsec"), None);
    }
}
