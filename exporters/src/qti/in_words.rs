//! How a number in words is tested in an engine that has only patterns (XML Schema regular expressions).
//!
//! A pattern is built from *spellings*: sequences of slots, each slot with a few phrases of which one is written.
//! Every combination of phrases is read by [`from_words`] first, and only those that it reads as the wanted number go
//! into the pattern, so that a pattern never accepts what the project's own marking reads as another number or as
//! none. Letter case, accents, hyphens, commas and blanks change no reading and are left open in the pattern itself.
//!
//! What the reader takes and the patterns do not: accents where none belongs, blanks beyond those of ASCII, numerals
//! with more than three zeros before them. What they take and the reader does not: more than 300 characters. Texts
//! made of number words that together make no number are not told from wrong answers; both earn nothing.
use qbank::{
    decimal::Decimal,
    locale::Language,
    words::{MAX_PLACES, from_words, to_words},
};

/// One kind of hyphen, of those that keyboards and word processors make.
const HYPHEN: &str = "[-\u{2010}\u{2011}\u{2013}]";
/// Most spellings of one number among other words: three joints, each with or without its 'and' or 'y'.
const MOST_SPELLINGS: usize = 12;

/// Words, or numerals in digits, parted by blanks. A word may hold hyphens where they make it a single word.
type Phrase = String;
/// One of these phrases stands here; an empty one stands for nothing.
type Slot = Vec<Phrase>;

/// A pattern for texts that are read as this number with the places it is written with; `None` for a number that
/// has no words.
pub(super) fn same_form(number: Decimal, language: Language) -> Option<String> {
    pattern(&accepted(number, language))
}

/// A pattern for texts that are read as this value under the name of another place than it is written with.
pub(super) fn other_form(number: Decimal, language: Language) -> Option<String> {
    let other = |form: &Decimal| form.places() != number.places();
    pattern(&forms(number).filter(other).flat_map(|form| accepted(form, language)).collect::<Vec<_>>())
}

/// A pattern for texts that are read as this value, whatever place they name.
pub(super) fn any_form(number: Decimal, language: Language) -> Option<String> {
    pattern(&forms(number).flat_map(|form| accepted(form, language)).collect::<Vec<_>>())
}

/// Texts that are read as this value, first under the name of the place it is written with, with and without accents
/// and hyphens.
pub(crate) fn texts(number: Decimal, language: Language) -> Vec<String> {
    let other = forms(number).filter(|form| form.places() != number.places());
    let read = std::iter::once(number).chain(other).flat_map(|form| {
        let told = to_words(&form, language);
        let spelled = accepted(form, language).into_iter().flat_map(|slots| texts_of(&slots));
        told.into_iter().chain(spelled).collect::<Vec<_>>()
    });
    let with_plain = read.flat_map(|text| {
        let plain: String = text.chars().map(unaccented).collect();
        if plain == text { vec![text] } else { vec![text, plain] }
    });
    with_plain.collect()
}

/// A pattern for texts in which nothing is written.
pub(super) fn blank() -> String {
    format!(r"({HYPHEN}*,*\s)*{HYPHEN}*,*[.]*\s*")
}

/// A pattern for texts made of number words, place names and numerals, with one word at least.
pub(super) fn vocabulary(language: Language) -> String {
    let words: Vec<String> = all_words(language).map(word_pattern).collect();
    let words = words.join("|");
    let gap = gap(false);
    whole_text(&format!("([0-9]{{1,9}}{gap})*({words})({gap}({words}|[0-9]{{1,9}}))*"))
}

/// The number under the names of all places that can tell it.
fn forms(number: Decimal) -> impl Iterator<Item = Decimal> {
    (0..=MAX_PLACES).filter_map(move |places| number.with_places(places))
}

/// The spellings of a number that our own reader reads as that number.
fn accepted(number: Decimal, language: Language) -> Vec<Vec<Slot>> {
    spellings(number, language).into_iter().flat_map(|slots| read_so(slots, number, language)).collect()
}

/// Parts a spelling into those all of whose combinations are read as `number`.
fn read_so(slots: Vec<Slot>, number: Decimal, language: Language) -> Vec<Vec<Slot>> {
    let is_read = |text: &String| from_words(text, language).is_ok_and(|read| read.same_written(&number));
    let (right, wrong): (Vec<String>, Vec<String>) = texts_of(&slots).into_iter().partition(is_read);
    if right.is_empty() {
        return Vec::new();
    }
    if wrong.is_empty() {
        return vec![slots];
    }
    let widest = slots.iter().position(|slot| slot.len() > 1).expect("one text is right or wrong");
    let narrowed = slots[widest].iter().map(|phrase| {
        let mut narrowed = slots.clone();
        narrowed[widest] = vec![phrase.clone()];
        narrowed
    });
    narrowed.flat_map(|slots| read_so(slots, number, language)).collect()
}

/// Every text that a spelling stands for.
fn texts_of(slots: &[Slot]) -> Vec<String> {
    let mut texts = vec![String::new()];
    for slot in slots {
        let longer = texts.iter().flat_map(|text| slot.iter().map(move |phrase| joined(text, phrase)));
        texts = longer.collect();
    }
    texts
}

fn joined(before: &str, after: &str) -> String {
    match (before.is_empty(), after.is_empty()) {
        (_, true) => before.to_owned(),
        (true, false) => after.to_owned(),
        (false, false) => format!("{before} {after}"),
    }
}

/// Ways to spell a number with its places; not all of them are read as that number.
fn spellings(number: Decimal, language: Language) -> Vec<Vec<Slot>> {
    let whole = u32::try_from(number.whole_part()).ok();
    let parts = u32::try_from(number.fraction_units()).ok();
    let (false, Some(whole), Some(parts)) = (number.is_negative(), whole, parts) else {
        return Vec::new();
    };
    let Some(place) = number.places().checked_sub(1) else {
        return whole_spellings(whole, language);
    };
    let places: Slot = places(language)[place as usize].iter().map(ToString::to_string).collect();
    let joints: Slot = joints(language).iter().map(ToString::to_string).collect();
    let mut spellings =
        vec![vec![counted(whole, language), joints, counted(parts, language), places.clone()]];
    // Without a whole part: the fraction alone, which may be one or more, as in 'fifteen tenths'.
    let alone = u32::try_from(number.units()).ok();
    spellings.extend(alone.map(|units| vec![counted(units, language), places]));
    spellings
}

fn whole_spellings(whole: u32, language: Language) -> Vec<Vec<Slot>> {
    match language {
        Language::English => vec![vec![counted(whole, language)]],
        Language::Spanish => {
            vec![vec![counted(whole, language)], vec![counted(whole, language), vec!["unidades".into()]]]
        }
    }
}

/// A whole number in digits and in words, with the joints that the reader leaves free.
fn counted(number: u32, language: Language) -> Slot {
    let mut spelled: Vec<String> = vec![String::new()];
    let words = to_words(&Decimal::from(number), language).unwrap_or_default();
    let words: Vec<&str> = words.split([' ', '-']).filter(|word| !word.is_empty()).collect();
    for (at, word) in words.iter().enumerate() {
        let last = at + 1 == words.len();
        let ways = ways(word, last, language);
        let longer = spelled.iter().flat_map(|text| ways.iter().map(move |way| joined(text, way)));
        let longer: Vec<String> = longer.collect();
        // Beyond the numbers of schools, the spelling that we write is enough.
        spelled = if longer.len() > MOST_SPELLINGS {
            spelled.iter().map(|text| joined(text, word)).collect()
        } else {
            longer
        };
    }
    spelled.retain(|text| {
        from_words(text, language).is_ok_and(|read| read.same_written(&Decimal::from(number)))
    });
    spelled.push(number.to_string());
    spelled
}

/// How a word of a number may be written, where that is more than a matter of letters.
fn ways(word: &str, last: bool, language: Language) -> Vec<String> {
    let also = |other: String| vec![word.to_owned(), other];
    match language {
        Language::English if !last && matches!(word, "hundred" | "thousand" | "million") => {
            also(format!("{word} and"))
        }
        Language::English => vec![word.to_owned()],
        Language::Spanish if word == "y" => also(String::new()),
        Language::Spanish if word == "mil" => also("un mil".into()),
        Language::Spanish => {
            let plain: String = word.chars().map(unaccented).collect();
            let parted = |head: &str, ten: &str, joints: &[&str]| {
                let unit = plain.strip_prefix(head).filter(|unit| !unit.is_empty())?;
                Some(joints.iter().map(|joint| joined(&joined(ten, joint), unit)).collect::<Vec<_>>())
            };
            let parted = parted("dieci", "diez", &["y"]).or_else(|| parted("veinti", "veinte", &["y", ""]));
            core::iter::once(word.to_owned()).chain(parted.into_iter().flatten()).collect()
        }
    }
}

/// What can stand between the whole part and the rest.
fn joints(language: Language) -> &'static [&'static str] {
    match language {
        Language::English => &["and"],
        Language::Spanish => &["unidades y", "unidades con", "unidades", "y", "con"],
    }
}

/// The names of the places, from the first one after the point: singular and plural, in one word and in two.
fn places(language: Language) -> [&'static [&'static str]; MAX_PLACES as usize] {
    match language {
        Language::English => [
            &["tenths", "tenth"],
            &["hundredths", "hundredth"],
            &["thousandths", "thousandth"],
            &["ten-thousandths", "ten-thousandth", "ten thousandths", "ten thousandth"],
        ],
        Language::Spanish => [
            &["décimas", "décima"],
            &["centésimas", "centésima"],
            &["milésimas", "milésima"],
            &["diez-milésimas", "diez-milésima", "diez milésimas", "diez milésima"],
        ],
    }
}

/// Every word that a number in words can hold.
fn all_words(language: Language) -> impl Iterator<Item = &'static str> {
    let (numbers, joints) = match language {
        Language::English => (
            "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen \
             seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred \
             thousand million",
            "and",
        ),
        Language::Spanish => (
            "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciséis \
             diecisiete dieciocho diecinueve veinte veintiuno veintidós veintitrés veinticuatro veinticinco veintiséis \
             veintisiete veintiocho veintinueve treinta cuarenta cincuenta sesenta setenta ochenta noventa cien \
             doscientos trescientos cuatrocientos quinientos seiscientos setecientos ochocientos novecientos mil \
             millón",
            "y con unidades de",
        ),
    };
    let places = places(language).into_iter().flat_map(|names| names.iter().take(2)).copied();
    numbers.split_whitespace().chain(joints.split(' ')).chain(places)
}

/// Spellings as one pattern for a whole text.
fn pattern(spellings: &[Vec<Slot>]) -> Option<String> {
    let one = |slots: &Vec<Slot>| {
        let mut pattern = String::new();
        for (at, slot) in slots.iter().enumerate() {
            if at > 0 {
                // 'Ten-thousandths' with a hyphen is one place, so no hyphen may stand for the blank before it.
                let place = slot
                    .iter()
                    .any(|phrase| phrase.starts_with("thousandth") || phrase.starts_with("milésima"));
                pattern.push_str(&gap(place && slots[at - 1].iter().any(|phrase| ends_in_power(phrase))));
            }
            let phrases: Vec<String> = slot.iter().map(|phrase| phrase_pattern(phrase)).collect();
            pattern.push_str(&grouped(&phrases));
        }
        pattern
    };
    let patterns: Vec<String> = spellings.iter().map(one).collect();
    (!patterns.is_empty()).then(|| whole_text(&grouped(&patterns)))
}

fn ends_in_power(phrase: &str) -> bool {
    matches!(phrase.rsplit(' ').next(), Some("ten" | "hundred" | "diez" | "cien"))
}

fn grouped(patterns: &[String]) -> String {
    match patterns {
        [one] => one.clone(),
        several => format!("({})", several.join("|")),
    }
}

fn whole_text(pattern: &str) -> String {
    format!(r"\s*{pattern}{HYPHEN}*,*\s*[.]*\s*")
}

/// What parts two words: hyphens, or blanks with commas and hyphens beside them.
fn gap(blank: bool) -> String {
    let spaced = format!(r"({HYPHEN}*,*\s)+{HYPHEN}*");
    if blank { spaced } else { format!("({HYPHEN}+|{spaced})") }
}

fn phrase_pattern(phrase: &str) -> String {
    let mut pattern = String::new();
    let mut before = "";
    for word in phrase.split(' ') {
        if !before.is_empty() {
            let place = word.starts_with("thousandth") || word.starts_with("milésima");
            pattern.push_str(&gap(place && ends_in_power(before)));
        }
        pattern.push_str(&word_or_numeral(word));
        before = word;
    }
    pattern
}

fn word_or_numeral(word: &str) -> String {
    let numeral = word.bytes().all(|byte| byte.is_ascii_digit());
    if numeral { format!("0{{0,3}}{word}") } else { word_pattern(word) }
}

/// A word in every form that the reader takes for the same word. No word is both English and Spanish, so the word alone
/// says what can be varied: gender and number in Spanish.
fn word_pattern(word: &str) -> String {
    let plain: String = word.chars().map(unaccented).collect();
    let varied = |stem: &str, endings: &str| format!("{}({})?", letters(stem), endings);
    match plain.as_str() {
        "un" | "una" | "uno" => varied("un", "[OoAa]"),
        "veintiun" | "veintiuna" | "veintiuno" => varied("veintiún", "[OoAa]"),
        "cien" | "ciento" => varied("cien", &letters("to")),
        "millon" | "millones" => varied("millón", &letters("es")),
        "unidades" => {
            let (of, whole) = (letters("de"), varied("entero", "[Ss]"));
            format!("({of}{})?({}|{whole})", gap(false), varied("unidad", &letters("es")))
        }
        _ => {
            let feminine = ["ientas", "ientos"];
            let place = ["decima", "centesima", "milesima"];
            if feminine.iter().any(|ending| plain.ends_with(ending)) {
                format!("{}[OoAa][Ss]", letters(&word[..word.len() - 2]))
            } else if place.iter().any(|ending| plain.trim_end_matches('s').ends_with(ending)) {
                let plural = if word.ends_with('s') { "[Ss]" } else { "" };
                format!("{}[OoAa]{plural}", letters(word.trim_end_matches('s').trim_end_matches('a')))
            } else {
                letters(word)
            }
        }
    }
}

/// Each letter in either case and with or without its accent, which may be a sign of its own; hyphens or nothing where
/// the word has a hyphen.
fn letters(word: &str) -> String {
    let letter = |letter: char| match (letter, unaccented(letter)) {
        ('-', _) => format!("{HYPHEN}*"),
        (letter, plain) if plain == letter => format!("[{}{letter}]", letter.to_ascii_uppercase()),
        (letter, plain) => {
            let capitals: String = letter.to_uppercase().collect();
            format!("[{capitals}{letter}{}{plain}]\u{301}?", plain.to_ascii_uppercase())
        }
    };
    word.chars().map(letter).collect()
}

fn unaccented(letter: char) -> char {
    match letter {
        'á' => 'a',
        'é' => 'e',
        'í' => 'i',
        'ó' => 'o',
        'ú' => 'u',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use qbank::locale::Language::{English, Spanish};
    use regex_lite::Regex;

    const NUMBERS: &[&str] = &[
        "0.5", "0.50", "0.05", "0.35", "30.05", "3.45", "12.375", "0.305", "300.005", "0.210", "0.0200",
        "0.0002", "21.21", "1.1", "1", "200", "347.6", "6.00", "105", "16.26", "1006.1", "0.100", "0.0100",
        "35.5", "3.5", "30.5", "101.201",
    ];

    fn regex(pattern: &str) -> Regex {
        Regex::new(&format!("^(?:{pattern})$")).expect("a pattern that can be read")
    }

    /// A small generator of numbers, so that each run tries the same texts.
    struct Dice(u64);

    impl Dice {
        fn below(&mut self, bound: usize) -> usize {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            usize::try_from(self.0 >> 33).unwrap() % bound
        }

        fn one_of<'t>(&mut self, texts: &[&'t str]) -> &'t str {
            texts[self.below(texts.len())]
        }
    }

    /// A text as a pupil may write it: other joints, hyphens, blanks, capitals, numerals, accents, slips.
    fn written(words: &str, language: Language, dice: &mut Dice) -> String {
        let mut text = String::new();
        let separate = match language {
            English => words.replace("ten-thous", dice.one_of(&["ten-thous", "ten thous", "tenthous"])),
            Spanish => words.replace("diezmil", dice.one_of(&["diezmil", "diez mil", "diez-mil"])),
        };
        for word in separate.split(' ') {
            let word = match (word, dice.below(4)) {
                ("and" | "y", 0) => "",
                ("y", 1) => "con",
                ("unidades" | "unidad", 0) => "enteros",
                ("unidades" | "unidad", 1) => "",
                ("hundred" | "thousand", 0) => &format!("{word} and"),
                ("five" | "cinco", 0) => "5",
                ("tenths", 0) => "tenth",
                ("thousandths", 0) => "thousandth",
                _ => word,
            };
            if !text.is_empty() {
                text.push_str(dice.one_of(&[" ", " ", " ", "  ", "-", " - ", ", ", "\t", ",", "\u{2011}"]));
            }
            match dice.below(30) {
                0 => text.push_str(&word.to_uppercase()),
                1 => text.push_str(&word.replace('-', " ")),
                2 => text.push_str(&word.replace('-', "")),
                3 => text.push_str(&word.chars().map(unaccented).collect::<String>()),
                4 => text.push_str(&word.replace('é', "e\u{301}").replace('o', "a")),
                5 => text.push_str(&word.replace("our", "or").replace("ei", "ie")),
                _ => text.push_str(word),
            }
        }
        let ends = [["", ""], ["", "."], [" ", "  "], ["", ","], ["", " meters"], ["the ", ""], ["", "!"]];
        let [before, after] = ends[dice.below(20).saturating_sub(13)];
        format!("{before}{text}{after}")
    }

    #[test]
    fn patterns_accept_what_our_reader_reads_as_the_number() {
        for language in [English, Spanish] {
            let mut dice = Dice(7);
            let numbers: Vec<Decimal> = NUMBERS.iter().map(|number| number.parse().unwrap()).collect();
            let told = numbers
                .iter()
                .flat_map(|number| forms(*number))
                .map(|form| to_words(&form, language).unwrap());
            let told: Vec<String> = told.collect();
            let texts: Vec<String> = told
                .iter()
                .flat_map(|words| (0..40).map(|_| written(words, language, &mut dice)).collect::<Vec<_>>())
                .chain(told.clone())
                .collect();
            let words = regex(&vocabulary(language));
            let mut accepted = [0, 0, 0];
            for number in numbers {
                let same = regex(&same_form(number, language).unwrap());
                let other = other_form(number, language).map(|pattern| regex(&pattern));
                let any = regex(&any_form(number, language).unwrap());
                for text in &texts {
                    let read = from_words(text, language);
                    let is_same = read.as_ref().is_ok_and(|read| read.same_written(&number));
                    let is_other = other.as_ref().is_some_and(|other| other.is_match(text));
                    let is_any = read.as_ref().is_ok_and(|read| *read == number);
                    assert_eq!(same.is_match(text), is_same, "{number} {text:?} {read:?}");
                    assert_eq!(is_other, is_any && !is_same, "{number} {text:?} {read:?}");
                    assert_eq!(any.is_match(text), is_any, "{number} {text:?} {read:?}");
                    assert!(read.is_err() || words.is_match(text), "{text:?} is made of number words");
                    accepted[0] += u32::from(is_same);
                    accepted[1] += u32::from(is_any && !is_same);
                    accepted[2] += u32::from(read.is_err());
                }
            }
            assert!(accepted.iter().all(|count| *count > 100), "hardly tried: {accepted:?}");
        }
    }

    #[test]
    fn tells_blank_and_unreadable_texts() {
        let (blank, words) = (regex(&blank()), regex(&vocabulary(English)));
        for text in ["", "  ", ".", "-", " , ", " - ."] {
            assert!(blank.is_match(text), "{text:?}");
            assert_eq!(from_words(text, English), Err(qbank::words::WordsProblem::Blank), "{text:?}");
        }
        for text in ["3.45", "37", "three point five", "fourty hundredths", "one half", "twelve meters"] {
            assert!(!words.is_match(text) && !blank.is_match(text), "{text:?}");
            assert!(from_words(text, English).is_err(), "{text:?}");
        }
        assert!(words.is_match("Twelve and 5-hundredths."));
    }

    #[test]
    fn never_takes_words_that_mean_two_numbers() {
        for number in ["3.5", "30.5", "0.0200", "0.35"] {
            let pattern = regex(&any_form(number.parse().unwrap(), Spanish).unwrap());
            assert!(!pattern.is_match("treinta y cinco décimas"), "{number}");
        }
    }

    /// Beyond grouping, choice, counting and classes, XML Schema and browsers differ.
    #[test]
    fn patterns_use_only_what_every_engine_knows() {
        for language in [English, Spanish] {
            let pattern = any_form("12.375".parse().unwrap(), language).unwrap();
            assert!(!pattern.contains("(?") && !pattern.contains('^') && !pattern.contains('$'), "{pattern}");
            assert!(pattern.len() < 12_000, "{}", pattern.len());
        }
    }
}
