//! Reading against its documented table, round trips of every printed form, and arbitrary bytes.
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;
use qbank::{
    accept::fraction_of,
    decimal::Decimal,
    locale::{Language, Locale},
    reading::{MAX_CHARACTERS, Problem, ReadNumber, Reading, WrittenForm, read},
    units::{self, UNITS, Unit},
    words::to_words,
};

/// The cells of the table rows of a text, from below the row that begins with this heading.
fn rows<'t>(text: &'t str, heading: &str) -> Vec<Vec<&'t str>> {
    let lines = text.lines().map(|line| line.trim_start_matches("//! "));
    let table = lines.skip_while(|line| !line.starts_with(heading)).skip(2);
    let table = table.take_while(|line| line.starts_with('|'));
    table.map(|line| line.trim_matches('|').split('|').map(str::trim).collect()).collect()
}

/// What stands between the first backticks, with `\u{…}` for signs that cannot be seen.
fn quoted(cell: &str) -> String {
    let mut text = cell.split('`').nth(1).unwrap_or_else(|| panic!("no code in {cell}")).to_owned();
    while let Some((before, rest)) = text.split_once("\\u{") {
        let (code, after) = rest.split_once('}').unwrap();
        let sign = char::from_u32(u32::from_str_radix(code, 16).unwrap()).unwrap();
        text = format!("{before}{sign}{after}");
    }
    text
}

fn shown(number: &ReadNumber) -> String {
    number.decimal().map_or_else(|| number.value.to_string(), |decimal| decimal.to_string())
}

fn read_row(written: &str, locale: &str, asked: &str) -> Reading {
    let asked = (!asked.is_empty()).then(|| units::by_symbol(asked).unwrap());
    read(&quoted(written), Locale::by_tag(locale).unwrap(), asked)
}

#[test]
fn reads_every_row_of_the_documentation() {
    let documentation = include_str!("../../src/reading.rs");
    let accepted = rows(documentation, "| written | locale | asked | value | form |");
    assert!(accepted.len() >= 45, "{}", accepted.len());
    for row in accepted {
        let [written, locale, asked, value, form] = row[..] else { panic!("{row:?}") };
        match read_row(written, locale, asked) {
            Reading::Read(number) => {
                assert_eq!((shown(&number).as_str(), number.form.name()), (value, form), "{written}");
            }
            other => panic!("{written}: {other:?}"),
        }
    }
    let refused = rows(documentation, "| written | locale | asked | problem |");
    assert!(refused.len() >= 20, "{}", refused.len());
    for row in refused {
        let [written, locale, asked, problem] = row[..] else { panic!("{row:?}") };
        match read_row(written, locale, asked) {
            Reading::Unreadable(found) => {
                assert!(format!("{found:?}").starts_with(problem), "{written}: {found:?}");
            }
            other => panic!("{written}: {other:?}"),
        }
    }
}

#[test]
fn reads_every_row_of_the_developers_guide() {
    let guide = include_str!("../../../DEVELOPERS.md");
    let accepted = rows(guide, "| a pupil writes | it is read as |");
    assert!(accepted.len() >= 10, "{}", accepted.len());
    for row in accepted {
        let [written, value] = row[..] else { panic!("{row:?}") };
        let asked = written.split_once("asked in ").map_or("", |(_, unit)| unit);
        for text in written.split("; ").filter(|text| text.contains('`')) {
            match read_row(text, "en-US", asked) {
                Reading::Read(number) => assert_eq!(shown(&number), value, "{text}"),
                problem => {
                    assert!(matches!(problem, Reading::Unreadable(_)) && value == "not read", "{text}");
                }
            }
        }
    }
}

#[test]
fn every_problem_is_told_in_both_languages() {
    let dollars = units::by_symbol("$");
    let texts = [
        "3,5",
        "1.2.3",
        "3+4",
        "1/0",
        "3 bananas",
        "3 kg",
        "$2 3 in",
        "about five",
        "three and",
        "three point five",
        "two and fifteen tenths",
        "two hundred-thousandths",
        "5 dollars 3 dollars",
        "one hundred and five thousand and three ten-thousandths",
        "1234567890 tenths",
    ];
    let long = ["1".repeat(29), "1".repeat(MAX_CHARACTERS + 1), "one".repeat(66)];
    for text in texts.into_iter().chain(long.iter().map(String::as_str)) {
        let Reading::Unreadable(problem) = read(text, Locale::EN_US, dollars) else { panic!("{text}") };
        let told = [Language::English, Language::Spanish].map(|language| problem.told(language));
        assert_eq!(told[0], problem.to_string());
        assert_ne!(told[0], told[1], "{text}");
        assert!(told.iter().all(|told| !told.is_empty() && !told.ends_with('.')), "{told:?}");
    }
}

#[test]
fn reads_nothing_but_blanks_as_blank() {
    for text in ["", "  ", "\u{a0}\u{202f}\t", "\u{200b}\u{feff}"] {
        assert_eq!(read(text, Locale::EN_US, None), Reading::Blank, "{text:?}");
    }
}

/// A Spanish 'cuarto' is a quarter before it is a quart, a letter may be a digit, a blank no joint.
#[test]
fn never_guesses() {
    let spanish = Locale::by_tag("es-US").unwrap();
    assert!(matches!(read("un cuarto", spanish, None), Reading::Unreadable(_)));
    assert!(matches!(read("tres cuartos", spanish, units::by_symbol("qt")), Reading::Read(_)));
    for text in [
        "l5",
        "O.5",
        "1 234/5",
        "12 3",
        "$2 4",
        "$2 400.5.1",
        "2-3",
        "1-1/2",
        "3 m of 2",
        "3 m.20 cm",
        "3 m,20 cm",
        "35 % kg",
        "% 35",
    ] {
        assert!(matches!(read(text, Locale::EN_US, None), Reading::Unreadable(_)), "{text}");
    }
    // Zeros before the first digit do not count as digits; those behind the point do.
    let zeros = format!("{}.5", "0".repeat(150));
    assert!(matches!(read(&zeros, Locale::EN_US, None), Reading::Read(_)));
    let zeros = format!("0.{}", "0".repeat(150));
    assert_eq!(read(&zeros, Locale::EN_US, None), Reading::Unreadable(Problem::TooManyDigits));
}

/// Texts of bytes and of signs that pupils use, from a fixed seed.
#[test]
fn ten_thousand_random_texts_do_no_harm() {
    const SEED: u64 = 0x5EED_0123_4567_89AB;
    const SIGNS: &[&str] = &[
        "0",
        "1",
        "2",
        "35",
        "999",
        ".",
        ",",
        " ",
        "\u{202f}",
        "'",
        "-",
        "−",
        "/",
        "½",
        "%",
        "$",
        "¢",
        "kg",
        "ft",
        "in",
        "m2",
        "and",
        "y",
        "con",
        "three",
        "tenths",
        "tres",
        "centésimas",
        "percent",
        "²",
        "٣",
        "\u{301}",
    ];
    let mut state = SEED;
    let mut next = || {
        // The step of xorshift64*: any fixed sequence will do.
        state ^= state >> 12;
        state ^= state << 25;
        state ^= state >> 27;
        state.wrapping_mul(0x2545_F491_4F6C_DD1D)
    };
    let mut read_numbers = 0;
    for round in 0..10_000 {
        let length = next() % 40;
        let text: String = if round % 2 == 0 {
            let bytes: Vec<u8> = (0..length).map(|_| next().to_le_bytes()[3]).collect();
            String::from_utf8_lossy(&bytes).into_owned()
        } else {
            let sign = |number: u64| SIGNS[usize::try_from(number >> 40).unwrap() % SIGNS.len()];
            (0..length % 8).map(|_| sign(next())).collect()
        };
        let unit = &UNITS[usize::try_from(next() >> 40).unwrap() % UNITS.len()];
        for locale in Locale::tags().filter_map(Locale::by_tag) {
            for asked in [None, Some(unit)] {
                read_numbers += u32::from(matches!(read(&text, locale, asked), Reading::Read(_)));
            }
        }
    }
    assert!(read_numbers > 2_000, "{read_numbers} of seed {SEED:#x}");
}

fn locales() -> impl Strategy<Value = Locale> {
    let all: Vec<Locale> = Locale::tags().filter_map(Locale::by_tag).collect();
    proptest::sample::select(all)
}

/// A numeral with the locale's marks.
fn printed(number: &Decimal, locale: Locale, grouped: bool) -> String {
    let text = number.to_string();
    let (whole, fraction) =
        text.split_once('.').map_or((text.as_str(), None), |(whole, rest)| (whole, Some(rest)));
    let (sign, digits) = whole.strip_prefix('-').map_or(("", whole), |digits| ("-", digits));
    let mut out = String::from(sign);
    for (index, digit) in digits.chars().enumerate() {
        if grouped && index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(locale.group);
        }
        out.push(digit);
    }
    out + &fraction.map(|fraction| format!("{}{fraction}", locale.point)).unwrap_or_default()
}

fn number(text: &str, locale: Locale, asked: Option<&'static Unit>) -> ReadNumber {
    match read(text, locale, asked) {
        Reading::Read(number) => number,
        other => panic!("{text:?} in {}: {other:?}", locale.tag),
    }
}

fn same_written(number: &ReadNumber, expected: &Decimal) -> bool {
    number.written.is_some_and(|written| written.same_written(expected))
        && number.value == fraction_of(expected)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn decimals_read_back_in_every_locale(units in -1_000_000_000_000_i128..1_000_000_000_000, places in 0_u32..8, locale in locales(), zero in 0_u32..4) {
        let decimal = Decimal::new(units, places).unwrap();
        for grouped in [false, true] {
            let text = printed(&decimal, locale, grouped);
            prop_assert!(same_written(&number(&text, locale, None), &decimal), "{}", text);
            let spaced = number(&format!(" {text}\u{a0}"), locale, None);
            prop_assert!(same_written(&spaced, &decimal));
            // Another script's digits, the sign for minus.
            let start = [0x30, 0xFF10, 0x0660, 0x1D7CE][zero as usize];
            let other: String = text.chars().map(|sign| match sign.to_digit(10) {
                Some(digit) => char::from_u32(start + digit).unwrap(),
                None => if sign == '-' { '\u{2212}' } else { sign },
            }).collect();
            prop_assert!(same_written(&number(&other, locale, None), &decimal), "{}", other);
        }
    }

    #[test]
    fn units_of_every_kind_read_back(units in 0_i128..1_000_000_000, places in 0_u32..5, which in 0..UNITS.len(), locale in locales()) {
        let decimal = Decimal::new(units, places).unwrap();
        let unit = &UNITS[which];
        let numeral = printed(&decimal, locale, true);
        for word in unit.words() {
            for text in [format!("{numeral} {word}"), format!("{numeral}{word}"), format!("{word} {numeral}")] {
                let read = number(&text, locale, Some(unit));
                prop_assert!(same_written(&read, &decimal) && read.unit == Some(unit), "{}: {:?}", text, read);
            }
        }
        let beside = unit.beside(&decimal).replace('.', &locale.point.to_string());
        prop_assert!(same_written(&number(&beside, locale, Some(unit)), &decimal), "{}", beside);
    }

    #[test]
    fn fractions_mixed_numbers_and_percent_read_back(whole in 1_u32..100_000, top in 0_u32..5_000, bottom in 1_u32..5_000, places in 0_u32..4, locale in locales()) {
        let fraction = BigRational::new(BigInt::from(top), BigInt::from(bottom));
        let read = number(&format!("{top}/{bottom} kg"), locale, units::by_symbol("kg"));
        prop_assert_eq!((read.value, read.form), (fraction.clone(), WrittenForm::Fraction));
        prop_assert_eq!(read.lowest_terms, *fraction.denom() == BigInt::from(bottom));
        if top < bottom {
            let read = number(&format!("{whole} {top}/{bottom}"), locale, None);
            prop_assert_eq!((read.value, read.form), (fraction + BigInt::from(whole), WrittenForm::Mixed));
        }
        let decimal = Decimal::new(i128::from(whole), places).unwrap();
        for sign in ["%", " %", " percent", " por ciento"] {
            let read = number(&format!("{}{sign}", printed(&decimal, locale, true)), locale, None);
            let hundredth = fraction_of(&decimal) / BigInt::from(100);
            prop_assert_eq!((read.value, read.form), (hundredth, WrittenForm::Percent));
        }
    }

    #[test]
    fn words_read_back_in_both_languages(whole in 0_i128..1_000_000_000, places in 0_u32..=4, parts in 0_i128..10_000, which in 0..UNITS.len()) {
        let one = 10_i128.pow(places);
        let decimal = Decimal::new(whole * one + parts % one, places).unwrap();
        for (language, tag) in [(Language::English, "en-US"), (Language::Spanish, "es-US")] {
            let words = to_words(&decimal, language).unwrap();
            let locale = Locale::by_tag(tag).unwrap();
            let read = number(&words, locale, None);
            prop_assert!(same_written(&read, &decimal) && read.form == WrittenForm::Words, "{}", words);
            let unit = &UNITS[which];
            let text = format!("{words} {}", unit.words().last().unwrap());
            let read = number(&text, locale, Some(unit));
            prop_assert!(same_written(&read, &decimal) && read.unit == Some(unit), "{}: {:?}", text, read);
        }
    }

    #[test]
    fn amounts_in_several_units_add_up(large in 1_u32..1_000, small in 0_u32..500, pair in 0_usize..6) {
        let (larger, smaller, ratio) = [
            ("ft", "in", 12), ("h", "min", 60), ("m", "cm", 100), ("kg", "g", 1000), ("lb", "oz", 16), ("gal", "qt", 4),
        ][pair];
        let units = [larger, smaller].map(|symbol| units::by_symbol(symbol).unwrap());
        let value = |of: u32| BigRational::new(BigInt::from(large * ratio + small), BigInt::from(of));
        for text in [format!("{large} {larger} {small} {smaller}"), format!("{large}{larger}{small}{smaller}"), format!("{large} {larger} and {small} {smaller}.")] {
            // '3m2cm' starts with square metres, and is refused.
            if ["ft2i", "m2c"].iter().any(|glued| text.contains(glued)) {
                prop_assert!(matches!(read(&text, Locale::EN_US, Some(units[0])), Reading::Unreadable(_)));
                continue;
            }
            let read = number(&text, Locale::EN_US, Some(units[0]));
            prop_assert_eq!((read.value, read.form, read.unit), (value(ratio), WrittenForm::Compound, Some(units[1])));
            prop_assert_eq!(number(&text, Locale::EN_US, Some(units[1])).value, value(1));
        }
    }
}
