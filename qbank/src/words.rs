//! Decimals in words, and words read back: 'three and forty-five hundredths' is `3.45`.
//!
//! Reading and writing numbers in words is a skill of its own, so words are written in the place-name form that
//! schools teach: the whole part, 'and' for the point, the digits after the point as one number, and the name of the
//! last written place. Written places count: `0.50` is 'fifty hundredths', `0.5` is 'five tenths'.
//!
//! - English is that of the United States: 'and' stands only for the point, a whole part of zero is not named, hyphens
//!   join 21 to 99. 'Ten-thousandths' has a hyphen because without it 'two hundred ten thousandths' would be both
//!   `0.210` and `0.0200`.
//! - Spanish names the whole part, 'tres unidades y cuarenta y cinco centésimas', because 'y' also stands inside
//!   numbers: without 'unidades', `30.05` and `0.35` would both be 'treinta y cinco centésimas'. Numbers agree with
//!   the feminine place names ('veintiuna centésimas', 'doscientas milésimas').
//!
//! Reading takes more than is written: any letter case, missing hyphens and accents, 'and' inside whole numbers as
//! in British speech, numerals for words ('8 hundredths'), Spanish without 'unidades', with 'enteros' or 'con'. It
//! never guesses: what the text itself spells in the written form is that number, and any other text that has two
//! meanings is [`WordsProblem::Ambiguous`]. Money ('five dollars and three cents'), fractions ('one half') and digits
//! read one by one ('point three five') are not read here: the last are right elsewhere, but not where naming the
//! place is the skill.
use alloc::{
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};

use crate::{decimal::Decimal, locale::Language};

/// Most digits before the point that have words here.
pub const MAX_WHOLE_DIGITS: u32 = 9;

/// Most places that have a name here: ten-thousandths.
pub const MAX_PLACES: u32 = 4;

/// Longest text that is read, in characters.
const MAX_CHARACTERS: usize = 300;

/// Why words were not read as a number. The message is for the pupil.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WordsProblem {
    /// Nothing but blanks.
    #[error("there are no words")]
    Blank,
    /// Longer than any number that has words here.
    #[error("this is too long for a number in words")]
    TooLong,
    /// A word that stands in no number.
    #[error("'{word}' is not a word for a number or a place")]
    UnknownWord {
        /// The word, shortened.
        word: String,
    },
    /// Digits alone: `3.45` or `37`.
    #[error("this is written in digits; write it in words")]
    DigitsOnly,
    /// Digits named one by one after 'point'.
    #[error("name the last place, such as tenths or hundredths, in place of '{word}'")]
    SpokenPoint {
        /// The word for the point.
        word: String,
    },
    /// A place smaller than those of grades 4-6.
    #[error("the places read here are tenths, hundredths, thousandths and ten-thousandths")]
    PlaceTooSmall,
    /// A numeral with more than [`MAX_WHOLE_DIGITS`] digits.
    #[error("a number has at most {MAX_WHOLE_DIGITS} digits here")]
    TooManyDigits,
    /// A whole part and then a fraction of one or more: 'two and fifteen tenths'.
    #[error("the part after the whole number is one or more")]
    FractionTooLarge,
    /// Number words in an order that makes no number.
    #[error("these words do not make a number")]
    NotANumber,
    /// Two numbers that the same words may mean.
    #[error("these words can mean {first} or {second}")]
    Ambiguous {
        /// One meaning.
        first: Decimal,
        /// Another.
        second: Decimal,
    },
}

impl WordsProblem {
    /// The message in a language, without a full stop.
    #[must_use]
    pub fn told(&self, language: Language) -> String {
        if language == Language::English {
            return self.to_string();
        }
        match self {
            Self::Blank => "no hay palabras".into(),
            Self::TooLong => "esto es demasiado largo para un número en palabras".into(),
            Self::UnknownWord { word } => format!("'{word}' no es una palabra de un número ni de un lugar"),
            Self::DigitsOnly => "esto está escrito con cifras; escríbelo en palabras".into(),
            Self::SpokenPoint { word } => {
                format!("nombra el último lugar, como décimas o centésimas, en vez de '{word}'")
            }
            Self::PlaceTooSmall => {
                "los lugares que se leen aquí son décimas, centésimas, milésimas y diezmilésimas".into()
            }
            Self::TooManyDigits => format!("un número tiene aquí {MAX_WHOLE_DIGITS} cifras como máximo"),
            Self::FractionTooLarge => "la parte después del número entero es uno o más".into(),
            Self::NotANumber => "estas palabras no forman un número".into(),
            Self::Ambiguous { first, second } => {
                format!("estas palabras pueden significar {first} o {second}")
            }
        }
    }
}

/// The number in words, written places kept. `None` below zero, beyond [`MAX_WHOLE_DIGITS`] digits before the point
/// or [`MAX_PLACES`] after it.
///
/// # Example
/// ```
/// use qbank::{locale::Language, words::to_words};
/// let told = |text: &str, language| to_words(&text.parse().unwrap(), language).unwrap();
/// assert_eq!(told("3.45", Language::English), "three and forty-five hundredths");
/// assert_eq!(told("0.009", Language::English), "nine thousandths");
/// assert_eq!(told("0.50", Language::English), "fifty hundredths");
/// assert_eq!(told("3.45", Language::Spanish), "tres unidades y cuarenta y cinco centésimas");
/// assert_eq!(told("0.21", Language::Spanish), "veintiuna centésimas");
/// ```
#[must_use]
pub fn to_words(number: &Decimal, language: Language) -> Option<String> {
    if number.is_negative() || number.whole_digits() > MAX_WHOLE_DIGITS || number.places() > MAX_PLACES {
        return None;
    }
    let whole = u32::try_from(number.whole_part()).ok()?;
    let parts = u32::try_from(number.fraction_units()).ok()?;
    Some(match language {
        Language::English => english::decimal(whole, parts, number.places()),
        Language::Spanish => spanish::decimal(whole, parts, number.places()),
    })
}

/// The number that words tell, with the written places that they name: 'fifty hundredths' is `0.50`. A fraction of
/// one or more is read when it stands alone: 'fifteen tenths' is `1.5`.
///
/// # Errors
/// A [`WordsProblem`] that says what is missing.
///
/// # Example
/// ```
/// use qbank::{locale::Language, words::{WordsProblem, from_words}};
/// let number = from_words("Three hundred forty seven and six tenths", Language::English)?;
/// assert_eq!(number.to_string(), "347.6");
/// assert_eq!(from_words("tres y cinco centesimas", Language::Spanish)?.to_string(), "3.05");
/// // Thirty and five tenths, or thirty-five tenths?
/// assert!(matches!(from_words("treinta y cinco décimas", Language::Spanish), Err(WordsProblem::Ambiguous { .. })));
/// # Ok::<(), WordsProblem>(())
/// ```
pub fn from_words(text: &str, language: Language) -> Result<Decimal, WordsProblem> {
    let tokens = tokens(text, language)?;
    if tokens.iter().all(|token| matches!(token, Token::Numeral(_))) {
        return Err(WordsProblem::DigitsOnly);
    }
    let mut problem = WordsProblem::NotANumber;
    let mut meanings: Vec<Decimal> = Vec::new();
    for meaning in meanings_of(&tokens) {
        match meaning {
            Ok(number) if meanings.iter().any(|known| known.same_written(&number)) => {}
            Ok(number) => meanings.push(number),
            Err(found) => problem = found,
        }
    }
    let spelled_so = |number: &&Decimal| {
        to_words(number, language).is_some_and(|words| self::tokens(&words, language).as_ref() == Ok(&tokens))
    };
    match meanings.as_slice() {
        [] => Err(problem),
        [number] => Ok(*number),
        [first, second, ..] => {
            let ambiguous = WordsProblem::Ambiguous { first: *first, second: *second };
            meanings.iter().find(spelled_so).copied().ok_or(ambiguous)
        }
    }
}

mod english {
    use super::{String, ToString, format, nth};

    pub(super) const SMALL: &[&str] = &[
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    /// From twenty on.
    pub(super) const TENS: &[&str] =
        &["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    /// The last two are only known in order to be refused.
    pub(super) const PLACES: &[&str] =
        &["tenth", "hundredth", "thousandth", "ten-thousandth", "hundred-thousandth", "millionth"];

    pub(super) fn decimal(whole: u32, parts: u32, places: u32) -> String {
        let Some(place) = places.checked_sub(1) else {
            return number(whole);
        };
        let ending = if parts == 1 { "" } else { "s" };
        let fraction = format!("{} {}{ending}", number(parts), nth(PLACES, place));
        if whole == 0 { fraction } else { format!("{} and {fraction}", number(whole)) }
    }

    /// Below a thousand millions.
    fn number(value: u32) -> String {
        for (scale, name) in [(1_000_000, "million"), (1000, "thousand"), (100, "hundred")] {
            if value >= scale {
                let rest = value % scale;
                let head = format!("{} {name}", number(value / scale));
                return if rest == 0 { head } else { format!("{head} {}", number(rest)) };
            }
        }
        match (value / 10, value % 10) {
            (0 | 1, _) => nth(SMALL, value).to_string(),
            (tens, 0) => nth(TENS, tens - 2).to_string(),
            (tens, ones) => format!("{}-{}", nth(TENS, tens - 2), nth(SMALL, ones)),
        }
    }
}

mod spanish {
    use super::{String, ToString, format, nth};

    pub(super) const SMALL: &[&str] = &[
        "cero",
        "uno",
        "dos",
        "tres",
        "cuatro",
        "cinco",
        "seis",
        "siete",
        "ocho",
        "nueve",
        "diez",
        "once",
        "doce",
        "trece",
        "catorce",
        "quince",
        "dieciséis",
        "diecisiete",
        "dieciocho",
        "diecinueve",
        "veinte",
        "veintiuno",
        "veintidós",
        "veintitrés",
        "veinticuatro",
        "veinticinco",
        "veintiséis",
        "veintisiete",
        "veintiocho",
        "veintinueve",
    ];
    /// From thirty on.
    pub(super) const TENS: &[&str] =
        &["treinta", "cuarenta", "cincuenta", "sesenta", "setenta", "ochenta", "noventa"];
    /// From one hundred on, as another number follows; their gender is put on by [`number`].
    pub(super) const HUNDREDS: &[&str] = &[
        "ciento",
        "doscientos",
        "trescientos",
        "cuatrocientos",
        "quinientos",
        "seiscientos",
        "setecientos",
        "ochocientos",
        "novecientos",
    ];
    /// The last two are only known in order to be refused.
    pub(super) const PLACES: &[&str] =
        &["décima", "centésima", "milésima", "diezmilésima", "cienmilésima", "millonésima"];

    /// What the number counts, which decides how 'one' and the hundreds end.
    #[derive(Clone, Copy, PartialEq, Eq)]
    enum Counting {
        /// Nothing: uno, doscientos.
        Alone,
        /// A feminine word: una, doscientas.
        Feminine,
        /// A masculine word: un, doscientos.
        Masculine,
        /// Thousands of a feminine word: un, doscientas.
        ThousandsOfFeminine,
    }

    pub(super) fn decimal(whole: u32, parts: u32, places: u32) -> String {
        let Some(place) = places.checked_sub(1) else {
            return number(whole, Counting::Alone);
        };
        let fraction = counted(parts, "", nth(PLACES, place), "s");
        if whole == 0 {
            return fraction;
        }
        let of = if whole.is_multiple_of(1_000_000) { "de " } else { "" };
        format!("{} y {fraction}", counted(whole, of, "unidad", "es"))
    }

    fn counted(value: u32, of: &str, name: &str, plural: &str) -> String {
        let ending = if value == 1 { "" } else { plural };
        format!("{} {of}{name}{ending}", number(value, Counting::Feminine))
    }

    /// Below a thousand millions.
    fn number(value: u32, counting: Counting) -> String {
        let joined = |head: String, rest: u32| {
            if rest == 0 { head } else { format!("{head} {}", number(rest, counting)) }
        };
        match value {
            1_000_000.. => {
                let millions = value / 1_000_000;
                let name = if millions == 1 { "millón" } else { "millones" };
                joined(format!("{} {name}", number(millions, Counting::Masculine)), value % 1_000_000)
            }
            2000.. => {
                let of_these = if counting == Counting::Feminine {
                    Counting::ThousandsOfFeminine
                } else {
                    Counting::Masculine
                };
                joined(format!("{} mil", number(value / 1000, of_these)), value % 1000)
            }
            1000.. => joined("mil".into(), value % 1000),
            100 => "cien".into(),
            101.. => {
                let hundreds = nth(HUNDREDS, value / 100 - 1);
                let feminine = matches!(counting, Counting::Feminine | Counting::ThousandsOfFeminine);
                let stem = hundreds.strip_suffix("os").filter(|_| feminine);
                let head = stem.map_or_else(|| hundreds.to_string(), |stem| format!("{stem}as"));
                joined(head, value % 100)
            }
            30.. => {
                let tens = nth(TENS, value / 10 - 3);
                match value % 10 {
                    0 => tens.to_string(),
                    ones => format!("{tens} y {}", number(ones, counting)),
                }
            }
            1 | 21 => one(value, counting).to_string(),
            _ => nth(SMALL, value).to_string(),
        }
    }

    fn one(value: u32, counting: Counting) -> &'static str {
        match (value, counting) {
            (21, Counting::Alone) => "veintiuno",
            (21, Counting::Feminine) => "veintiuna",
            (21, _) => "veintiún",
            (_, Counting::Alone) => "uno",
            (_, Counting::Feminine) => "una",
            (..) => "un",
        }
    }
}

/// A word by what it does in a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Token {
    Zero,
    /// 1 to 9.
    Unit(u32),
    /// 10 to 29 in one word, after which no unit comes.
    Teen(u32),
    /// A ten, after which a unit may come. Spanish has 'diez' and 'veinte' here for 'diez y seis', 'veinte y uno'.
    Tens(u32),
    /// Hundreds in one word: 'doscientas'.
    Hundreds(u32),
    /// 'hundred', after a unit.
    Hundred,
    /// 'thousand', after a number.
    Thousand,
    /// 'mil', which may stand alone.
    Mil,
    Million,
    /// 'and': the point, or in British speech what joins tens to hundreds.
    And,
    /// 'y': the point, or what joins units to tens.
    Y,
    /// 'con': only ever the point.
    With,
    /// 'unidades', 'enteros': the end of the whole part.
    Ones,
    /// 'de', as in 'un millón de unidades'.
    Of,
    /// The name of a place.
    Place {
        places: u32,
        singular: bool,
    },
    /// Digits.
    Numeral(u32),
}

fn tokens(text: &str, language: Language) -> Result<Vec<Token>, WordsProblem> {
    if text.chars().nth(MAX_CHARACTERS).is_some() {
        return Err(WordsProblem::TooLong);
    }
    let folded: String = text.chars().flat_map(char::to_lowercase).filter_map(folded).collect();
    let mut tokens = Vec::new();
    for word in folded.trim().trim_end_matches('.').split_whitespace() {
        // A comma parts words, as in 'two thousand, three hundred'; inside digits it stays and is refused.
        word_tokens(word.trim_end_matches(','), language, &mut tokens)?;
    }
    if tokens.is_empty() { Err(WordsProblem::Blank) } else { Ok(tokens) }
}

/// Letters without acute accents, whether composed or not, and one kind of hyphen.
pub(crate) fn folded(letter: char) -> Option<char> {
    Some(match letter {
        'á' => 'a',
        'é' => 'e',
        'í' => 'i',
        'ó' => 'o',
        'ú' => 'u',
        '\u{301}' => return None,
        '\u{2010}' | '\u{2011}' | '\u{2013}' => '-',
        other => other,
    })
}

/// Adds what a word joined by hyphens says. 'Ten-thousandths' and 'diez-milésimas' are one place, not two words.
fn word_tokens(word: &str, language: Language, tokens: &mut Vec<Token>) -> Result<(), WordsProblem> {
    let pieces: Vec<&str> = word.split('-').filter(|piece| !piece.is_empty()).collect();
    let (pieces, place) = match pieces.as_slice() {
        [rest @ .., power, name] if matches!(*power, "ten" | "hundred" | "diez" | "cien") => {
            match place(&format!("{power}{name}"), language) {
                Some(place) => (rest, Some(place)),
                None => (pieces.as_slice(), None),
            }
        }
        all => (all, None),
    };
    for piece in pieces {
        tokens.push(token(piece, language)?);
    }
    tokens.extend(place);
    Ok(())
}

fn token(word: &str, language: Language) -> Result<Token, WordsProblem> {
    if word.bytes().all(|byte| byte.is_ascii_digit()) {
        let short = word.len() <= MAX_WHOLE_DIGITS as usize;
        let value = short.then(|| word.parse().ok()).flatten();
        return value.map(Token::Numeral).ok_or(WordsProblem::TooManyDigits);
    }
    if word.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',')) {
        return Err(WordsProblem::DigitsOnly);
    }
    let known = match language {
        Language::English => english_token(word),
        Language::Spanish => spanish_token(word),
    };
    known.or_else(|| place(word, language)).ok_or_else(|| {
        let spoken = matches!(word, "point" | "punto" | "coma");
        let word = word.chars().take(40).collect();
        if spoken { WordsProblem::SpokenPoint { word } } else { WordsProblem::UnknownWord { word } }
    })
}

fn english_token(word: &str) -> Option<Token> {
    Some(match word {
        "and" => Token::And,
        "hundred" => Token::Hundred,
        "thousand" => Token::Thousand,
        "million" => Token::Million,
        _ => match index(english::SMALL, word) {
            Some(0) => Token::Zero,
            Some(unit @ 1..=9) => Token::Unit(unit),
            Some(teen) => Token::Teen(teen),
            None => Token::Tens(index(english::TENS, word)? * 10 + 20),
        },
    })
}

fn spanish_token(word: &str) -> Option<Token> {
    Some(match word {
        "y" => Token::Y,
        "con" => Token::With,
        "de" => Token::Of,
        "unidad" | "unidades" | "entero" | "enteros" => Token::Ones,
        "mil" => Token::Mil,
        "millon" | "millones" => Token::Million,
        "un" | "una" => Token::Unit(1),
        "veintiun" | "veintiuna" => Token::Teen(21),
        "cien" => Token::Hundreds(100),
        _ => match index(spanish::SMALL, word) {
            Some(0) => Token::Zero,
            Some(unit @ 1..=9) => Token::Unit(unit),
            Some(tens @ (10 | 20)) => Token::Tens(tens),
            Some(teen) => Token::Teen(teen),
            None => match index(spanish::TENS, word) {
                Some(tens) => Token::Tens(tens * 10 + 30),
                None => {
                    let masculine =
                        word.strip_suffix("as").map_or_else(|| word.to_string(), |stem| format!("{stem}os"));
                    Token::Hundreds(index(spanish::HUNDREDS, &masculine)? * 100 + 100)
                }
            },
        },
    })
}

/// A place name in singular or plural; Spanish ones in either gender ('tres décimos').
fn place(word: &str, language: Language) -> Option<Token> {
    let name = word.strip_suffix('s').unwrap_or(word);
    let index = match language {
        Language::English => index(english::PLACES, name)?,
        Language::Spanish => {
            let feminine = name.strip_suffix('o').map_or_else(|| name.to_string(), |stem| format!("{stem}a"));
            index(spanish::PLACES, &feminine)?
        }
    };
    Some(Token::Place { places: index + 1, singular: name == word })
}

/// Where a word stands in a list, accents and hyphens aside.
fn index(list: &[&str], word: &str) -> Option<u32> {
    let letters =
        |listed: &&str| listed.chars().filter_map(folded).filter(|letter| *letter != '-').eq(word.chars());
    // Nearly all words are told apart by their first letter. One with an accent may match another letter.
    let first = word.as_bytes().first();
    let may_be = |listed: &&str| listed.as_bytes().first() == first || !listed.is_char_boundary(1);
    u32::try_from(list.iter().position(|listed| may_be(listed) && letters(listed))?).ok()
}

fn nth(list: &'static [&'static str], index: u32) -> &'static str {
    list.get(index as usize).expect("the list has a word for every number that is asked for")
}

/// Every number that the tokens can mean, and problems of those that they almost mean.
fn meanings_of(tokens: &[Token]) -> Vec<Result<Decimal, WordsProblem>> {
    let Some((Token::Place { places, singular }, before)) = tokens.split_last() else {
        let whole = match tokens {
            [whole @ .., Token::Of, Token::Ones] | [whole @ .., Token::Ones] | whole => whole_number(whole),
        };
        return whole.map(|whole| decimal(None, whole, 0)).into_iter().collect();
    };
    let mut meanings = Vec::new();
    for (before, places) in places_of(before, *places, *singular) {
        for (whole, parts) in splits(before) {
            let whole = whole.map(whole_number);
            if let (Some(parts), None | Some(Some(_))) = (whole_number(parts), whole) {
                meanings.push(decimal(whole.flatten(), parts, places));
            }
        }
    }
    meanings
}

fn decimal(whole: Option<u32>, parts: u32, places: u32) -> Result<Decimal, WordsProblem> {
    if places > MAX_PLACES {
        return Err(WordsProblem::PlaceTooSmall);
    }
    let one = 10_i128.pow(places);
    if whole.is_some() && i128::from(parts) >= one {
        return Err(WordsProblem::FractionTooLarge);
    }
    let units = i128::from(whole.unwrap_or(0)) * one + i128::from(parts);
    Ok(Decimal::new(units, places).expect("nine digits and four places fit"))
}

/// 'Ten thousandths' in two words can end '… ten, thousandths' or '…, ten-thousandths'. After a singular 'thousandth'
/// only the second makes sense.
fn places_of(before: &[Token], places: u32, singular: bool) -> Vec<(&[Token], u32)> {
    let compound = match before.split_last() {
        Some((Token::Teen(10) | Token::Tens(10), rest)) if places == 3 => Some((rest, 4)),
        Some((Token::Hundred | Token::Hundreds(100), rest)) if places == 3 => Some((rest, 5)),
        _ => None,
    };
    match compound {
        Some(compound) if singular => vec![compound],
        Some(compound) => vec![(before, places), compound],
        None => vec![(before, places)],
    }
}

/// The ways to part words into a whole part and the number of parts: at what can only be the point if there is such
/// a word, else nowhere or at any 'and'.
fn splits(tokens: &[Token]) -> Vec<(Option<&[Token]>, &[Token])> {
    if let Some(at) = tokens.iter().position(|token| *token == Token::Ones) {
        let whole = tokens[..at].strip_suffix(&[Token::Of]).unwrap_or(&tokens[..at]);
        let parts = match &tokens[at + 1..] {
            [Token::Y | Token::With, parts @ ..] | parts => parts,
        };
        return vec![(Some(whole), parts)];
    }
    if let Some(at) = tokens.iter().position(|token| *token == Token::With) {
        return vec![(Some(&tokens[..at]), &tokens[at + 1..])];
    }
    let joints = tokens.iter().enumerate().filter(|(_, token)| matches!(token, Token::And | Token::Y));
    let parted = joints.map(|(at, _)| (Some(&tokens[..at]), &tokens[at + 1..]));
    core::iter::once((None, tokens)).chain(parted).collect()
}

/// A whole number below a thousand millions; `None` if the words make none.
fn whole_number(tokens: &[Token]) -> Option<u32> {
    match tokens {
        [Token::Zero] => return Some(0),
        [Token::Numeral(value)] => return Some(*value),
        [] => return None,
        _ => {}
    }
    let (millions, tokens) = match tokens.iter().position(|token| *token == Token::Million) {
        Some(at) => (below_thousand(&tokens[..at])?, &tokens[at + 1..]),
        None => (0, tokens),
    };
    let thousand = tokens.iter().position(|token| matches!(token, Token::Thousand | Token::Mil));
    let (thousands, tokens) = match thousand {
        Some(0) if tokens[0] == Token::Mil => (1, &tokens[1..]),
        Some(at) => (below_thousand(&tokens[..at])?, &tokens[at + 1..]),
        None => (0, tokens),
    };
    let rest = match tokens {
        [] => 0,
        [Token::And, tokens @ ..] if millions + thousands > 0 => below_hundred(tokens)?,
        tokens => below_thousand(tokens)?,
    };
    Some(millions * 1_000_000 + thousands * 1000 + rest)
}

fn below_thousand(tokens: &[Token]) -> Option<u32> {
    let (hundreds, rest) = match tokens {
        [Token::Unit(hundreds), Token::Hundred, rest @ ..] => (hundreds * 100, rest),
        [Token::Hundreds(hundreds), rest @ ..] => (*hundreds, rest),
        _ => return below_hundred(tokens),
    };
    match rest {
        [] => Some(hundreds),
        [Token::And, rest @ ..] | rest => Some(hundreds + below_hundred(rest)?),
    }
}

fn below_hundred(tokens: &[Token]) -> Option<u32> {
    match tokens {
        [Token::Unit(value) | Token::Teen(value) | Token::Tens(value)] => Some(*value),
        [Token::Tens(10), Token::Y, Token::Unit(unit @ 6..)] => Some(10 + unit),
        [Token::Tens(10), ..] => None,
        [Token::Tens(tens), Token::Unit(unit)] | [Token::Tens(tens), Token::Y, Token::Unit(unit)] => {
            Some(tens + unit)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::{
        Language::{English, Spanish},
        *,
    };
    use proptest::prelude::*;

    fn told(number: &str, language: Language) -> String {
        to_words(&number.parse().unwrap(), language).unwrap()
    }

    fn heard(words: &str, language: Language) -> String {
        from_words(words, language).map_or_else(|problem| format!("{problem:?}"), |number| number.to_string())
    }

    /// OpenStax Prealgebra 2e, section 5.1: Example 5.1, Try It 5.3 and 5.4, practice. The book has no hyphen in
    /// ten-thousandths; the module says why ours has one.
    const PUBLISHED: &[(&str, &str)] = &[
        ("4.3", "four and three tenths"),
        ("2.45", "two and forty-five hundredths"),
        ("0.009", "nine thousandths"),
        ("13.68", "thirteen and sixty-eight hundredths"),
        ("5.894", "five and eight hundred ninety-four thousandths"),
        ("0.381", "three hundred eighty-one thousandths"),
        ("13.0395", "thirteen and three hundred ninety-five ten thousandths"),
    ];

    #[test]
    fn tells_published_examples() {
        for (number, words) in PUBLISHED {
            assert_eq!(told(number, English).replace("ten-thousandths", "ten thousandths"), *words);
            assert_eq!(heard(words, English), *number);
        }
        // EMLA's example has digits among the words; 5.03 is from OpenStax's rule for naming decimals.
        assert_eq!(heard("thirty-seven and 8-hundredths", English), "37.08");
        assert_eq!(told("5.03", English), "five and three hundredths");
    }

    #[test]
    fn names_places_in_singular_and_plural() {
        let cases = [
            ("0.1", "one tenth", "una décima"),
            ("0.2", "two tenths", "dos décimas"),
            ("0.21", "twenty-one hundredths", "veintiuna centésimas"),
            ("0.50", "fifty hundredths", "cincuenta centésimas"),
            ("0.0001", "one ten-thousandth", "una diezmilésima"),
            ("1.01", "one and one hundredth", "una unidad y una centésima"),
            ("0.200", "two hundred thousandths", "doscientas milésimas"),
            ("0.0", "zero tenths", "cero décimas"),
            ("6.00", "six and zero hundredths", "seis unidades y cero centésimas"),
            ("0.1001", "one thousand one ten-thousandths", "mil una diezmilésimas"),
        ];
        for (number, english, spanish) in cases {
            assert_eq!(told(number, English), english);
            assert_eq!(told(number, Spanish), spanish);
        }
    }

    #[test]
    fn spanish_agrees_with_what_is_counted() {
        let cases = [
            ("1", "uno"),
            ("21", "veintiuno"),
            ("200", "doscientos"),
            ("500.5", "quinientas unidades y cinco décimas"),
            ("31.3", "treinta y una unidades y tres décimas"),
            ("21021", "veintiún mil veintiuno"),
            ("201201.1", "doscientas un mil doscientas una unidades y una décima"),
            ("1000000.5", "un millón de unidades y cinco décimas"),
            ("221000200.07", "doscientos veintiún millones doscientas unidades y siete centésimas"),
            ("0.131", "ciento treinta y una milésimas"),
            ("0.100", "cien milésimas"),
        ];
        for (number, words) in cases {
            assert_eq!(told(number, Spanish), words);
        }
    }

    #[test]
    fn reads_common_variants() {
        let english = [
            ("Forty Five Hundredths.", "0.45"),
            ("three hundred and forty-seven", "347"),
            ("three hundred and forty-seven and five tenths", "347.5"),
            ("three and two hundred and five thousandths", "3.205"),
            ("one thousand, two hundred and 6 tenths", "1200.6"),
            ("one thousand and six", "1006"),
            ("three hundred and five thousandths", "300.005"),
            ("zero and five tenths", "0.5"),
            ("two tenth", "0.2"),
            ("fifteen tenths", "1.5"),
            ("ten thousandths", "0.010"),
            ("two ten thousandth", "0.0002"),
            ("two hundred ten thousandths", "0.210"),
            ("two hundred ten-thousandths", "0.0200"),
            ("eighty\u{2011}one-hundredths", "0.81"),
        ];
        for (words, number) in english {
            assert_eq!(heard(words, English), number, "{words}");
        }
        let spanish = [
            ("tres y cuarenta y cinco centésimas", "3.45"),
            ("TRES UNIDADES Y CUARENTA Y CINCO CENTESIMAS", "3.45"),
            ("tres enteros con cuarenta y cinco cente\u{301}simas", "3.45"),
            ("treinta con cinco centésimas", "30.05"),
            ("treinta y cinco centésimas", "0.35"),
            ("treinta y cinco y cinco centésimas", "35.05"),
            ("tres unidades, dos diez milésimas", "3.0002"),
            ("cinco décimos", "0.5"),
            ("diez y seis unidades", "16"),
            ("veintidos mil", "22000"),
            ("un mil dos", "1002"),
            ("37 unidades y 8 centésimas", "37.08"),
        ];
        for (words, number) in spanish {
            assert_eq!(heard(words, Spanish), number, "{words}");
        }
    }

    #[test]
    fn says_what_cannot_be_read() {
        let problem = |words, language| from_words(words, language).unwrap_err();
        assert_eq!(problem("  ", English), WordsProblem::Blank);
        assert_eq!(from_words(&"one ".repeat(100), English), Err(WordsProblem::TooLong));
        assert_eq!(
            problem("three and fourty hundredths", English),
            WordsProblem::UnknownWord { word: "fourty".into() }
        );
        assert_eq!(problem("three point five", English), WordsProblem::SpokenPoint { word: "point".into() });
        assert_eq!(problem("3.45", English), WordsProblem::DigitsOnly);
        assert_eq!(problem("37", English), WordsProblem::DigitsOnly);
        assert_eq!(problem("1234567890 tenths", English), WordsProblem::TooManyDigits);
        assert_eq!(problem("two and fifteen tenths", English), WordsProblem::FractionTooLarge);
        assert_eq!(problem("two hundred-thousandths", English), WordsProblem::PlaceTooSmall);
        assert_eq!(problem("two hundred thousandth", English), WordsProblem::PlaceTooSmall);
        assert_eq!(problem("tres cienmilésimas", Spanish), WordsProblem::PlaceTooSmall);
        for words in [
            "and",
            "tenths",
            "three and",
            "and three tenths",
            "three forty",
            "twenty eleven",
            "hundred",
            "three and forty-five",
            "three tenths five",
            "one million million",
            "thousand two",
            "ten thousandth",
            "zero five",
        ] {
            assert_eq!(problem(words, English), WordsProblem::NotANumber, "{words}");
        }
    }

    #[test]
    fn never_chooses_between_two_meanings() {
        let cases = [
            ("treinta y cinco décimas", Spanish, "3.5", "30.5"),
            ("veinte y cinco centésimas", Spanish, "0.25", "20.05"),
            ("one hundred and five thousand and three ten-thousandths", English, "10.5003", "100.5003"),
        ];
        for (words, language, first, second) in cases {
            let Err(WordsProblem::Ambiguous { first: a, second: b }) = from_words(words, language) else {
                panic!("{words}: {}", heard(words, language));
            };
            assert_eq!([a.to_string(), b.to_string()], [first, second], "{words}");
        }
    }

    #[test]
    fn has_no_words_beyond_its_limits() {
        for number in ["-1", "0.00001", "1000000000"] {
            assert_eq!(to_words(&number.parse().unwrap(), English), None);
            assert_eq!(to_words(&number.parse().unwrap(), Spanish), None);
        }
        assert!(to_words(&"999999999.9999".parse().unwrap(), English).is_some());
    }

    /// The numerals of up to 1999 units of each place; larger ones are drawn below.
    #[test]
    fn reads_back_every_small_number() {
        for language in [English, Spanish] {
            for places in 0..=MAX_PLACES {
                for units in 0..2000 {
                    let number = Decimal::new(units, places).unwrap();
                    let words = to_words(&number, language).unwrap();
                    let read = from_words(&words, language).unwrap();
                    assert!(read.same_written(&number), "{number}: {words}: {read}");
                }
            }
        }
    }

    proptest! {
        #[test]
        fn reads_back_what_it_tells(whole in 0_i128..1_000_000_000, places in 0_u32..=4, parts in 0_i128..10_000) {
            let one = 10_i128.pow(places);
            let number = Decimal::new(whole * one + parts % one, places).unwrap();
            for language in [English, Spanish] {
                let words = to_words(&number, language).unwrap();
                let read = from_words(&words, language);
                prop_assert!(read.as_ref().is_ok_and(|read| read.same_written(&number)), "{number}: {words}: {read:?}");
                let bare = words.to_uppercase().replace("TEN-THOUS", "TENTHOUS").replace('-', " ");
                let read = from_words(&bare, language);
                prop_assert!(read.as_ref().is_ok_and(|read| read.same_written(&number)), "{number}: {bare}: {read:?}");
            }
        }

        #[test]
        fn never_panics(text in "((one|ten|twenty|hundred|thousand|and|y|mil|de|unidades|con|diez|cien|tenths|milésimas|7|-| |,|\\.){0,12}|\\PC{0,40})") {
            let _ = from_words(&text, English);
            let _ = from_words(&text, Spanish);
        }
    }
}
