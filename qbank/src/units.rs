//! Units of measure: how they are written beside a number, what pupils write for them, and exact factors between them.
//!
//! Every unit is a whole number of the smallest unit of its [`Dimension`], so a factor between two units is an exact
//! fraction and nothing is ever rounded: 1 ft = 12 in, 1 in = 1/12 ft. Metric and customary units are of different
//! dimensions on purpose. Schools do not ask for the factors between them, and inches where centimetres are asked
//! show that the unit was not looked at.
//!
//! Ratios of customary units are those of NIST Handbook 44, Appendix C (from memory). Areas have the squares of the
//! ratios of their lengths.
use alloc::{format, string::String, vec::Vec};

use num_rational::BigRational;

use crate::{
    decimal::Decimal,
    locale::Language,
    words::{self, folded},
};

/// A unit of measure.
#[derive(Debug, PartialEq, Eq)]
pub struct Unit {
    /// How it is written beside a number: `kg`, `$`.
    pub symbol: &'static str,
    /// Which units it can be exchanged with.
    pub dimension: Dimension,
    /// How many of the dimension's smallest unit it holds.
    pub size: u32,
    /// Whether the symbol stands before the number.
    pub leads: bool,
    words: &'static [&'static str],
}

/// What is measured, and in which system. Units of one dimension can be exchanged, others never. Each has the smallest
/// of its units as the base.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Millimetres.
    Length,
    /// Square centimetres.
    Area,
    /// Grams.
    Mass,
    /// Millilitres.
    Volume,
    /// Inches.
    CustomaryLength,
    /// Square inches.
    CustomaryArea,
    /// Ounces, avoirdupois.
    CustomaryWeight,
    /// Fluid ounces of the United States.
    CustomaryVolume,
    /// Seconds.
    Time,
    /// Cents.
    Money,
}

const fn unit(symbol: &'static str, dimension: Dimension, size: u32, words: &'static [&'static str]) -> Unit {
    Unit { symbol, dimension, size, leads: false, words }
}

/// All units that questions use. Spellings are those of the United States and Britain, then Spanish.
pub static UNITS: &[Unit] = {
    use Dimension::{
        Area, CustomaryArea, CustomaryLength, CustomaryVolume, CustomaryWeight, Length, Mass, Money, Time,
        Volume,
    };
    &[
        unit(
            "km",
            Length,
            1_000_000,
            &["km", "kms", "kilometer", "kilometers", "kilometre", "kilometres", "kilómetro", "kilómetros"],
        ),
        unit("m", Length, 1000, &["m", "meter", "meters", "metre", "metres", "metro", "metros"]),
        unit(
            "cm",
            Length,
            10,
            &[
                "cm",
                "cms",
                "centimeter",
                "centimeters",
                "centimetre",
                "centimetres",
                "centímetro",
                "centímetros",
            ],
        ),
        unit(
            "mm",
            Length,
            1,
            &[
                "mm",
                "mms",
                "millimeter",
                "millimeters",
                "millimetre",
                "millimetres",
                "milímetro",
                "milímetros",
            ],
        ),
        unit(
            "m²",
            Area,
            10_000,
            &[
                "m²",
                "m2",
                "m^2",
                "sq m",
                "square m",
                "square meter",
                "square meters",
                "square metre",
                "square metres",
                "sq meters",
                "sq metres",
                "metro cuadrado",
                "metros cuadrados",
            ],
        ),
        unit(
            "cm²",
            Area,
            1,
            &[
                "cm²",
                "cm2",
                "cm^2",
                "sq cm",
                "square cm",
                "square centimeter",
                "square centimeters",
                "square centimetre",
                "square centimetres",
                "sq centimeters",
                "sq centimetres",
                "centímetro cuadrado",
                "centímetros cuadrados",
            ],
        ),
        unit(
            "kg",
            Mass,
            1000,
            &["kg", "kgs", "kilogram", "kilograms", "kilo", "kilos", "kilogramo", "kilogramos"],
        ),
        unit("g", Mass, 1, &["g", "gr", "gram", "grams", "gramo", "gramos"]),
        unit("L", Volume, 1000, &["l", "liter", "liters", "litre", "litres", "litro", "litros"]),
        unit(
            "mL",
            Volume,
            1,
            &[
                "ml",
                "mls",
                "milliliter",
                "milliliters",
                "millilitre",
                "millilitres",
                "mililitro",
                "mililitros",
            ],
        ),
        unit("mi", CustomaryLength, 63_360, &["mi", "mile", "miles", "milla", "millas"]),
        unit("yd", CustomaryLength, 36, &["yd", "yds", "yard", "yards", "yarda", "yardas"]),
        unit("ft", CustomaryLength, 12, &["ft", "foot", "feet", "pie", "pies"]),
        unit("in", CustomaryLength, 1, &["in", "ins", "inch", "inches", "pulgada", "pulgadas", "pulg"]),
        unit(
            "yd²",
            CustomaryArea,
            1296,
            &[
                "yd²",
                "yd2",
                "yd^2",
                "sq yd",
                "sq yds",
                "square yd",
                "square yard",
                "square yards",
                "sq yards",
                "yarda cuadrada",
                "yardas cuadradas",
            ],
        ),
        unit(
            "ft²",
            CustomaryArea,
            144,
            &[
                "ft²",
                "ft2",
                "ft^2",
                "sq ft",
                "square ft",
                "square foot",
                "square feet",
                "sq feet",
                "pie cuadrado",
                "pies cuadrados",
            ],
        ),
        unit(
            "in²",
            CustomaryArea,
            1,
            &[
                "in²",
                "in2",
                "in^2",
                "sq in",
                "square in",
                "square inch",
                "square inches",
                "sq inches",
                "pulgada cuadrada",
                "pulgadas cuadradas",
            ],
        ),
        unit("lb", CustomaryWeight, 16, &["lb", "lbs", "pound", "pounds", "libra", "libras"]),
        unit("oz", CustomaryWeight, 1, &["oz", "ozs", "ounce", "ounces", "onza", "onzas"]),
        unit("gal", CustomaryVolume, 128, &["gal", "gals", "gallon", "gallons", "galón", "galones"]),
        unit(
            "qt",
            CustomaryVolume,
            32,
            &["qt", "qts", "quart", "quarts", "cuarto", "cuartos", "cuarto de galón", "cuartos de galón"],
        ),
        unit("pt", CustomaryVolume, 16, &["pt", "pts", "pint", "pints", "pinta", "pintas"]),
        // A bare `c` means cents, so cups have no shorter symbol.
        unit("cup", CustomaryVolume, 8, &["cup", "cups", "taza", "tazas"]),
        unit(
            "fl oz",
            CustomaryVolume,
            1,
            &[
                "fl oz",
                "floz",
                "oz fl",
                "fluid oz",
                "fluid ounce",
                "fluid ounces",
                "onza líquida",
                "onzas líquidas",
                "oz líq",
            ],
        ),
        unit("h", Time, 3600, &["h", "hr", "hrs", "hour", "hours", "hora", "horas"]),
        unit("min", Time, 60, &["min", "mins", "minute", "minutes", "minuto", "minutos"]),
        unit("s", Time, 1, &["s", "sec", "secs", "second", "seconds", "seg", "segundo", "segundos"]),
        Unit {
            symbol: "$",
            dimension: Money,
            size: 100,
            leads: true,
            words: &["$", "dollar", "dollars", "dólar", "dólares"],
        },
        unit("¢", Money, 1, &["¢", "c", "cent", "cents", "centavo", "centavos"]),
    ]
};

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

/// The unit that a pupil's word means, in any letter case, with or without accents and the dots of abbreviations.
///
/// # Example
/// ```
/// use qbank::units::{by_symbol, by_word};
/// assert_eq!(by_word("Sq. Ft."), by_symbol("ft²"));
/// assert_eq!(by_word("dolares"), by_symbol("$"));
/// ```
#[must_use]
pub fn by_word(word: &str) -> Option<&'static Unit> {
    let plain = plain(word);
    let is_listed = |listed: &str| {
        may_be(listed.as_bytes(), plain.as_bytes()) && listed.chars().filter_map(folded).eq(plain.chars())
    };
    UNITS.iter().find(|unit| unit.words().any(is_listed))
}

/// Nearly all words are told apart by their first two bytes. The first letter has no accent in any of them; the second may.
fn may_be(listed: &[u8], plain: &[u8]) -> bool {
    let second = |word: &[u8]| word.get(1).copied();
    listed.first() == plain.first()
        && (second(listed) == second(plain) || second(listed).is_some_and(|byte| !byte.is_ascii()))
}

/// The unit that a text starts with, the longest that does, and what comes after it: `ft 3 in` is feet and ` 3 in`,
/// `m2` square metres, but `m20` metres and `20`.
///
/// # Example
/// ```
/// use qbank::units::{at_start, by_symbol};
/// assert_eq!(at_start("fl. oz. more"), by_symbol("fl oz").map(|ounces| (ounces, " more")));
/// assert_eq!(at_start("more"), None);
/// ```
#[must_use]
pub fn at_start(text: &str) -> Option<(&'static Unit, &str)> {
    /// Words of the longest unit, 'cuartos de galón', each perhaps with a dot, and its changes into a digit and back.
    const MOST_ENDS: usize = 8;
    if text.starts_with(|first: char| first.is_ascii_digit() || first.is_whitespace()) {
        return None;
    }
    // The point of '$.90' belongs to the number, that of 'kg.' to the abbreviation.
    let may_end = |end: &usize| {
        let (word, rest) = text.split_at(*end);
        let into_number = word.ends_with('.') && rest.starts_with(|next: char| next.is_ascii_digit());
        !into_number && !word.ends_with(char::is_whitespace)
    };
    let ends = ends_of_words(text).take(MOST_ENDS).filter(may_end);
    ends.filter_map(|end| Some((by_word(&text[..end])?, &text[end..]))).last()
}

/// Where in a text a word may end: before every sign of another kind than the one before it.
fn ends_of_words(text: &str) -> impl Iterator<Item = usize> {
    #[derive(Clone, Copy, PartialEq)]
    enum Kind {
        Letter,
        Digit,
        Sign,
    }
    let kind = |sign: char| match sign {
        '\u{301}' => Kind::Letter,
        sign if sign.is_alphabetic() => Kind::Letter,
        sign if sign.is_ascii_digit() => Kind::Digit,
        _ => Kind::Sign,
    };
    let starts = text.char_indices().map(move |(at, sign)| (at, kind(sign)));
    let follows = starts.clone().skip(1).chain([(text.len(), Kind::Sign)]);
    starts
        .zip(follows)
        .filter(|((_, one), (_, next))| one != next || *one == Kind::Sign)
        .map(|(_, (end, _))| end)
}

/// In small letters, without accents and dots, one blank between words.
fn plain(word: &str) -> String {
    let letters: String = word.to_lowercase().replace('.', " ").chars().filter_map(folded).collect();
    letters.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Unit {
    /// Words that pupils may write in its place: in small letters, with accents, without dots.
    pub fn words(&self) -> impl Iterator<Item = &'static str> {
        self.words.iter().copied()
    }

    /// The number with the unit, as printed: `12.40 kg`, `$4.50`, `45¢`.
    #[must_use]
    pub fn beside(&self, number: &Decimal) -> String {
        let mut text = String::new();
        self.print_beside(&mut text, number);
        text
    }

    fn print_beside(&self, text: &mut String, number: &Decimal) {
        if self.leads {
            text.push_str(self.symbol);
        }
        number.print(text);
        if !self.leads {
            if self.dimension != Dimension::Money {
                text.push(' ');
            }
            text.push_str(self.symbol);
        }
    }

    /// The unit's name: one and many in English, then in Spanish.
    fn names(&self) -> [&'static str; 4] {
        match self.symbol {
            "km" => ["kilometer", "kilometers", "kilómetro", "kilómetros"],
            "m" => ["meter", "meters", "metro", "metros"],
            "cm" => ["centimeter", "centimeters", "centímetro", "centímetros"],
            "mm" => ["millimeter", "millimeters", "milímetro", "milímetros"],
            "m²" => ["square meter", "square meters", "metro cuadrado", "metros cuadrados"],
            "cm²" => {
                ["square centimeter", "square centimeters", "centímetro cuadrado", "centímetros cuadrados"]
            }
            "kg" => ["kilogram", "kilograms", "kilogramo", "kilogramos"],
            "g" => ["gram", "grams", "gramo", "gramos"],
            "L" => ["liter", "liters", "litro", "litros"],
            "mL" => ["milliliter", "milliliters", "mililitro", "mililitros"],
            "mi" => ["mile", "miles", "milla", "millas"],
            "yd" => ["yard", "yards", "yarda", "yardas"],
            "ft" => ["foot", "feet", "pie", "pies"],
            "in" => ["inch", "inches", "pulgada", "pulgadas"],
            "yd²" => ["square yard", "square yards", "yarda cuadrada", "yardas cuadradas"],
            "ft²" => ["square foot", "square feet", "pie cuadrado", "pies cuadrados"],
            "in²" => ["square inch", "square inches", "pulgada cuadrada", "pulgadas cuadradas"],
            "lb" => ["pound", "pounds", "libra", "libras"],
            "oz" => ["ounce", "ounces", "onza", "onzas"],
            "gal" => ["gallon", "gallons", "galón", "galones"],
            "qt" => ["quart", "quarts", "cuarto de galón", "cuartos de galón"],
            "pt" => ["pint", "pints", "pinta", "pintas"],
            "cup" => ["cup", "cups", "taza", "tazas"],
            "fl oz" => ["fluid ounce", "fluid ounces", "onza líquida", "onzas líquidas"],
            "h" => ["hour", "hours", "hora", "horas"],
            "min" => ["minute", "minutes", "minuto", "minutos"],
            "s" => ["second", "seconds", "segundo", "segundos"],
            "$" => ["dollar", "dollars", "dólar", "dólares"],
            "¢" => ["cent", "cents", "centavo", "centavos"],
            // The table above is whole; a test holds it against UNITS.
            symbol => [symbol; 4],
        }
    }

    /// The unit's name as it stands beside a number: `kilogram` or `kilograms`.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::Language, units::by_symbol};
    /// let feet = by_symbol("ft").expect("in the table");
    /// assert_eq!(feet.name(&"1".parse()?, Language::English), "foot");
    /// assert_eq!(feet.name(&"2.5".parse()?, Language::Spanish), "pies");
    /// # Ok::<(), qbank::decimal::DecimalError>(())
    /// ```
    #[must_use]
    pub fn name(&self, number: &Decimal, language: Language) -> &'static str {
        let [one, many, uno, muchos] = self.names();
        match (language, language.is_singular(number)) {
            (Language::English, true) => one,
            (Language::English, false) => many,
            (Language::Spanish, true) => uno,
            (Language::Spanish, false) => muchos,
        }
    }

    /// The number with the unit, as it is said: 'three and forty-five hundredths kilograms', 'forty-five hundredths of
    /// a kilogram', '4 dollars and 50 cents'. Whole numbers stay in digits, which every voice reads rightly. `None`
    /// where [`words::to_words`] has no words.
    ///
    /// # Example
    /// ```
    /// use qbank::{locale::Language, units::by_symbol};
    /// let [money, mass] = ["$", "kg"].map(|symbol| by_symbol(symbol).expect("in the table"));
    /// assert_eq!(money.said(&"4.50".parse()?, Language::English).as_deref(), Some("4 dollars and 50 cents"));
    /// assert_eq!(mass.said(&"0.5".parse()?, Language::Spanish).as_deref(), Some("cinco décimas de kilogramo"));
    /// # Ok::<(), qbank::decimal::DecimalError>(())
    /// ```
    #[must_use]
    pub fn said(&self, number: &Decimal, language: Language) -> Option<String> {
        let name = self.name(number, language);
        if number.places() == 0 && !number.is_negative() {
            return Some(format!("{number} {name}"));
        }
        if self.symbol == "$" && number.places() == 2 && !number.is_negative() {
            return self.money_said(number, language);
        }
        let told = words::to_words(number, language)?;
        let [one, _, uno, _] = self.names();
        Some(match language {
            Language::English if number.whole_part() == 0 => {
                let silent_h = one == "hour";
                let article = if silent_h || one.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
                format!("{told} of {article} {one}")
            }
            Language::English => format!("{told} {name}"),
            Language::Spanish => format!("{told} de {uno}"),
        })
    }

    /// Dollars and cents, whichever of them there are.
    fn money_said(&self, number: &Decimal, language: Language) -> Option<String> {
        let whole = Decimal::new(i128::try_from(number.whole_part()).ok()?, 0).ok()?;
        let parts = Decimal::new(i128::try_from(number.fraction_units()).ok()?, 0).ok()?;
        let dollars = format!("{whole} {}", self.name(&whole, language));
        if parts.is_zero() {
            return Some(dollars);
        }
        let cents = format!("{parts} {}", by_symbol("¢")?.name(&parts, language));
        Some(match (whole.is_zero(), language) {
            (true, _) => cents,
            (false, Language::English) => format!("{dollars} and {cents}"),
            (false, Language::Spanish) => format!("{dollars} y {cents}"),
        })
    }

    /// By what a number in this unit is multiplied when it is written in `other`; `None` across dimensions.
    ///
    /// # Example
    /// ```
    /// use qbank::units::by_symbol;
    /// let [inches, feet, centimetres] = ["in", "ft", "cm"].map(|symbol| by_symbol(symbol).expect("in the table"));
    /// assert_eq!(inches.factor_to(feet).expect("one dimension").to_string(), "1/12");
    /// assert_eq!(inches.factor_to(centimetres), None);
    /// ```
    #[must_use]
    pub fn factor_to(&self, other: &Self) -> Option<BigRational> {
        (self.dimension == other.dimension).then(|| BigRational::new(self.size.into(), other.size.into()))
    }
}

/// The number with the unit of that symbol, or alone where there is none.
#[must_use]
pub fn printed(number: &Decimal, symbol: Option<&str>) -> String {
    let mut text = String::new();
    print(&mut text, number, symbol);
    text
}

/// The same, written behind a text.
pub(crate) fn print(text: &mut String, number: &Decimal, symbol: Option<&str>) {
    match symbol.and_then(by_symbol) {
        Some(unit) => unit.print_beside(text, number),
        None => number.print(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        locale::Locale,
        reading::{Reading, read},
    };

    #[test]
    fn words_and_symbols_name_one_unit_each() {
        for unit in UNITS {
            assert_eq!(by_word(unit.symbol), Some(unit), "{}", unit.symbol);
            assert_eq!(by_symbol(unit.symbol), Some(unit));
            for word in unit.words() {
                assert_eq!(by_word(word), Some(unit), "{word}");
                assert_eq!(word.chars().next().and_then(folded), word.chars().next(), "{word}");
            }
        }
        assert_eq!(by_word("KG."), by_symbol("kg"));
        assert_eq!(by_word("Centime\u{301}tros  cuadrados"), by_symbol("cm²"));
        assert_eq!(by_word("parsec"), None);
        assert_eq!(by_word(""), None);
    }

    #[test]
    fn names_are_words_that_pupils_may_write() {
        for unit in UNITS {
            for name in unit.names() {
                assert!(unit.words().any(|word| word == name), "{name}");
                assert_eq!(by_word(name), Some(unit), "{name}");
            }
        }
    }

    #[test]
    fn numbers_with_units_are_said_in_both_languages() {
        for (symbol, number, english, spanish) in [
            (
                "kg",
                "3.45",
                "three and forty-five hundredths kilograms",
                "tres unidades y cuarenta y cinco centésimas de kilogramo",
            ),
            ("oz", "0.3", "three tenths of an ounce", "tres décimas de onza"),
            ("h", "0.25", "twenty-five hundredths of an hour", "veinticinco centésimas de hora"),
            ("ft", "1", "1 foot", "1 pie"),
            ("ft", "12", "12 feet", "12 pies"),
            ("$", "1.01", "1 dollar and 1 cent", "1 dólar y 1 centavo"),
            ("$", "0.90", "90 cents", "90 centavos"),
            ("$", "7.00", "7 dollars", "7 dólares"),
        ] {
            let unit = by_symbol(symbol).unwrap();
            let number = number.parse().unwrap();
            assert_eq!(unit.said(&number, Language::English).as_deref(), Some(english));
            assert_eq!(unit.said(&number, Language::Spanish).as_deref(), Some(spanish));
        }
    }

    #[test]
    fn every_word_is_read_beside_a_number() {
        for unit in UNITS {
            for word in unit.words() {
                for text in [
                    format!("3.5 {word}"),
                    format!("3.5{word}"),
                    format!("1,203.50 {}.", word.to_uppercase()),
                    format!("3/4 {}", plain(word)),
                    format!("5.{word}"),
                ] {
                    let Reading::Read(number) = read(&text, Locale::EN_US, Some(unit)) else {
                        panic!("{text}: {:?}", read(&text, Locale::EN_US, Some(unit)));
                    };
                    assert_eq!(number.unit, Some(unit), "{text}");
                }
            }
        }
    }

    /// NIST Handbook 44, Appendix C (from memory), and the decimal prefixes.
    #[test]
    fn factors_are_those_of_the_published_tables() {
        for (larger, count, smaller) in [
            ("km", 1000, "m"),
            ("m", 100, "cm"),
            ("cm", 10, "mm"),
            ("kg", 1000, "g"),
            ("L", 1000, "mL"),
            ("m²", 10_000, "cm²"),
            ("ft", 12, "in"),
            ("yd", 3, "ft"),
            ("mi", 1760, "yd"),
            ("mi", 5280, "ft"),
            ("ft²", 144, "in²"),
            ("yd²", 9, "ft²"),
            ("lb", 16, "oz"),
            ("gal", 4, "qt"),
            ("qt", 2, "pt"),
            ("pt", 2, "cup"),
            ("cup", 8, "fl oz"),
            ("h", 60, "min"),
            ("min", 60, "s"),
            ("$", 100, "¢"),
        ] {
            let [large, small] = [larger, smaller].map(|symbol| by_symbol(symbol).unwrap());
            assert_eq!(large.factor_to(small), Some(BigRational::from_integer(count.into())), "{larger}");
            assert_eq!(small.factor_to(large), Some(BigRational::new(1.into(), count.into())), "{smaller}");
        }
    }

    #[test]
    fn metric_and_customary_are_never_exchanged() {
        let metric = ["km", "m", "cm", "mm", "m²", "cm²", "kg", "g", "L", "mL"];
        let customary =
            ["mi", "yd", "ft", "in", "yd²", "ft²", "in²", "lb", "oz", "gal", "qt", "pt", "cup", "fl oz"];
        for (one, other) in metric.iter().flat_map(|one| customary.iter().map(move |other| (one, other))) {
            assert_eq!(by_symbol(one).unwrap().factor_to(by_symbol(other).unwrap()), None, "{one} {other}");
        }
        // Ounces weigh and fluid ounces hold.
        assert_eq!(by_symbol("oz").unwrap().factor_to(by_symbol("fl oz").unwrap()), None);
    }
}
