//! How the numbers in an item are said: cards of its accessibility catalogue (QTI 3.0, support `spoken`).
//!
//! A reader that says '3.45' digit by digit does not say what the number is worth; a card has it said 'three and
//! forty-five hundredths'. Decimals get a card, whole numbers are said alike anywhere. So does an amount of money, with
//! its sign. Where reading numbers is what the item asks, cards would give answers away, and there are none.
use std::collections::BTreeSet;

use qbank::{
    decimal::Decimal,
    locale::Language,
    question::{Item, StepKind},
    words::to_words,
};

use super::model::{Identifier, SpokenCard};

/// The signs before an amount that is said as dollars and cents.
const DOLLAR: char = '$';

/// A piece of a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Piece<'t> {
    /// Anything but a decimal.
    Text(&'t str),
    /// A decimal as it stands there, with the sign of dollars before it.
    Numeral(&'t str),
}

/// Cards for the decimals that pupils read in an item: in its stem, prompts and choices.
pub(super) fn cards(item: &Item, language: Language) -> Vec<SpokenCard> {
    if asks_to_read(item, language) {
        return Vec::new();
    }
    let mut seen = BTreeSet::new();
    let numerals = questions(item).chain(choices(item)).flat_map(pieces).filter_map(|piece| match piece {
        Piece::Numeral(numeral) => seen.insert(numeral).then_some(numeral),
        Piece::Text(_) => None,
    });
    let said = numerals.filter_map(|numeral| Some((numeral, said(numeral, language)?)));
    let card = |(index, (numeral, words)): (usize, (&str, String))| SpokenCard {
        identifier: Identifier::new(&format!("spoken_{}", index + 1))
            .expect("letters and digits make a name"),
        numeral: numeral.to_owned(),
        words,
    };
    said.enumerate().map(card).collect()
}

/// Whether reading numbers is the task: an answer is given in words, a number is said in words, tenths, hundredths or
/// thousandths are asked for as such, or digits. 'The nearest tenth' is none of these.
fn asks_to_read(item: &Item, language: Language) -> bool {
    let (places, digit) = match language {
        Language::English => (["tenths", "hundredths", "thousandths"], "digit"),
        Language::Spanish => (["décimas", "centésimas", "milésimas"], "cifra"),
    };
    let names_place = |text: &str| {
        let text = text.to_lowercase();
        places.iter().any(|place| text.contains(place))
    };
    item.steps.iter().any(|step| step.kind == StepKind::Words)
        || questions(item).any(|text| text.to_lowercase().contains(digit))
        || questions(item).chain(choices(item)).any(names_place)
}

/// Stem and prompts.
fn questions(item: &Item) -> impl Iterator<Item = &str> {
    std::iter::once(item.stem.as_str()).chain(item.steps.iter().map(|step| step.prompt.as_str()))
}

fn choices(item: &Item) -> impl Iterator<Item = &str> {
    item.steps.iter().flat_map(|step| &step.choices).map(|choice| choice.text.as_str())
}

fn said(numeral: &str, language: Language) -> Option<String> {
    match numeral.strip_prefix(DOLLAR) {
        None => to_words(&numeral.parse().ok()?, language),
        Some(amount) => money(&amount.parse().ok()?, language),
    }
}

/// Dollars and cents: 'twelve dollars and forty cents'. `None` where there are not two places.
fn money(amount: &Decimal, language: Language) -> Option<String> {
    if amount.places() != 2 {
        return None;
    }
    let counted = |number: u128, one: &str, many: &str| {
        let words = to_words(&Decimal::new(i128::try_from(number).ok()?, 0).ok()?, language)?;
        Some(match language {
            Language::English => format!("{words} {}", if number == 1 { one } else { many }),
            Language::Spanish => format!("{} {}", before_noun(words), if number == 1 { one } else { many }),
        })
    };
    let (dollars, cents) = (amount.whole_part(), amount.fraction_units());
    let ((dollar, dollars_name), (cent, cents_name), and) = match language {
        Language::English => (("dollar", "dollars"), ("cent", "cents"), "and"),
        Language::Spanish => (("dólar", "dólares"), ("centavo", "centavos"), "y"),
    };
    let dollars_said = counted(dollars, dollar, dollars_name)?;
    let cents_said = counted(cents, cent, cents_name)?;
    Some(match (dollars, cents) {
        (_, 0) => dollars_said,
        (0, _) => cents_said,
        _ => format!("{dollars_said} {and} {cents_said}"),
    })
}

/// A Spanish number before a masculine noun: 'veintiún dólares'.
fn before_noun(words: String) -> String {
    match words.strip_suffix("uno") {
        Some("veinti") => "veintiún".to_owned(),
        Some(before) if before.ends_with("veinti") => format!("{before}ún"),
        Some(before) if before.is_empty() || before.ends_with(' ') => format!("{before}un"),
        _ => words,
    }
}

/// Cuts a text into decimals and what stands between them.
pub(super) fn pieces(text: &str) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let (mut told, mut at) = (0, 0);
    while let Some(start) = text[at..].find(|sign: char| sign.is_ascii_digit()).map(|found| at + found) {
        let end = numeral_end(text, start);
        if text[start..end].contains('.') {
            let start = if text[..start].ends_with(DOLLAR) { start - DOLLAR.len_utf8() } else { start };
            if told < start {
                pieces.push(Piece::Text(&text[told..start]));
            }
            pieces.push(Piece::Numeral(&text[start..end]));
            told = end;
        }
        at = end;
    }
    if told < text.len() {
        pieces.push(Piece::Text(&text[told..]));
    }
    pieces
}

/// Where a numeral ends that starts with a digit: digits, and a point only between digits.
fn numeral_end(text: &str, start: usize) -> usize {
    let digits = |from: usize| {
        let rest = &text[from..];
        from + rest.find(|sign: char| !sign.is_ascii_digit()).unwrap_or(rest.len())
    };
    let whole = digits(start);
    match text[whole..].strip_prefix('.') {
        Some(rest) if rest.starts_with(|sign: char| sign.is_ascii_digit()) => digits(whole + 1),
        _ => whole,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numerals_stand_apart_from_full_stops_and_whole_numbers() {
        use Piece::{Numeral, Text};
        assert_eq!(
            pieces("3 bags of 12.40 kg cost $4.05. And 0.5."),
            [
                Text("3 bags of "),
                Numeral("12.40"),
                Text(" kg cost "),
                Numeral("$4.05"),
                Text(". And "),
                Numeral("0.5"),
                Text(".")
            ]
        );
        assert_eq!(pieces("No number."), [Text("No number.")]);
        assert_eq!(pieces("2.5"), [Numeral("2.5")]);
        assert_eq!(pieces(""), []);
    }

    #[test]
    fn numbers_are_said_by_their_place_and_money_as_money() {
        let english = |numeral| said(numeral, Language::English).unwrap();
        assert_eq!(english("3.45"), "three and forty-five hundredths");
        assert_eq!(english("$12.40"), "twelve dollars and forty cents");
        assert_eq!(english("$1.01"), "one dollar and one cent");
        assert_eq!(english("$0.05"), "five cents");
        assert_eq!(english("$7.00"), "seven dollars");
        assert_eq!(said("$7.5", Language::English), None);
        let spanish = |numeral| said(numeral, Language::Spanish).unwrap();
        assert_eq!(spanish("3.45"), "tres unidades y cuarenta y cinco centésimas");
        assert_eq!(spanish("$21.01"), "veintiún dólares y un centavo");
        assert_eq!(spanish("$31.40"), "treinta y un dólares y cuarenta centavos");
    }
}
