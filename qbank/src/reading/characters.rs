//! One plain text for the many characters that keyboards, input methods and copied pages produce.
//!
//! Only what cannot be mistaken is mapped: a digit of any script is that digit, but a comma stays a comma, because
//! what it means is for the locale to say.
use alloc::string::String;

use crate::locale::Locale;

/// The zero of every block of ten decimal digits (general category Nd) in Unicode 16. A digit's value is its distance
/// from the zero before it.
const DIGIT_ZEROS: &[u32] = &[
    0x0030, 0x0660, 0x06F0, 0x07C0, 0x0966, 0x09E6, 0x0A66, 0x0AE6, 0x0B66, 0x0BE6, 0x0C66, 0x0CE6, 0x0D66,
    0x0DE6, 0x0E50, 0x0ED0, 0x0F20, 0x1040, 0x1090, 0x17E0, 0x1810, 0x1946, 0x19D0, 0x1A80, 0x1A90, 0x1B50,
    0x1BB0, 0x1C40, 0x1C50, 0xA620, 0xA8D0, 0xA900, 0xA9D0, 0xA9F0, 0xAA50, 0xABF0, 0xFF10, 0x10_4A0,
    0x10_D30, 0x10_D40, 0x11_066, 0x11_0F0, 0x11_136, 0x11_1D0, 0x11_2F0, 0x11_450, 0x11_4D0, 0x11_650,
    0x11_6C0, 0x11_6D0, 0x11_6DA, 0x11_730, 0x11_8E0, 0x11_950, 0x11_BF0, 0x11_C50, 0x11_D50, 0x11_DA0,
    0x11_F50, 0x16_130, 0x16_A60, 0x16_AC0, 0x16_B50, 0x16_D70, 0x1C_CF0, 0x1D_7CE, 0x1D_7D8, 0x1D_7E2,
    0x1D_7EC, 0x1D_7F6, 0x1E_140, 0x1E_2F0, 0x1E_4F0, 0x1E_5F1, 0x1E_950, 0x1F_BF0,
];

/// The text in small letters and plain signs: ASCII digits, `-` and `+`, `/`, `'`, one kind of blank; invisible
/// marks left out; `½` written out as ` 1/2`.
pub(super) fn plain_text(text: &str, locale: Locale) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars().flat_map(char::to_lowercase) {
        match (vulgar_fraction(character), plain_character(character, locale)) {
            (Some(fraction), _) => {
                plain.push(' ');
                plain.push_str(fraction);
            }
            (None, Some(character)) => plain.push(character),
            (None, None) => {}
        }
    }
    plain
}

fn plain_character(character: char, locale: Locale) -> Option<char> {
    if let Some(digit) = digit(character) {
        return Some(digit);
    }
    Some(match character {
        // Hyphens, dashes and minus signs of any width or height.
        '\u{2010}'..='\u{2013}'
        | '\u{2212}'
        | '\u{2796}'
        | '\u{FE63}'
        | '\u{FF0D}'
        | '\u{207B}'
        | '\u{208B}' => '-',
        '\u{2795}' | '\u{FE62}' | '\u{FF0B}' | '\u{207A}' | '\u{208A}' => '+',
        '\u{2044}' | '\u{2215}' => '/',
        '\u{2018}' | '\u{2019}' | '\u{02BC}' | '\u{201B}' | '\u{FF07}' => '\'',
        // Arabic marks say what they are, whatever the locale.
        '\u{066B}' => locale.point,
        '\u{066C}' => plain_group(locale),
        '\u{066A}' | '\u{FE6A}' => '%',
        '\u{FE69}' => '$',
        '\u{FFE0}' => '¢',
        // The full-width forms of all other ASCII signs and letters stand in the order of ASCII.
        '\u{FF01}'..='\u{FF5E}' => {
            char::from_u32(u32::from(character) - 0xFEE0).expect("the result lies in ASCII")
        }
        // Direction marks, joiners, soft hyphens: nobody sees them.
        '\u{00AD}'
        | '\u{061C}'
        | '\u{200B}'..='\u{200F}'
        | '\u{2060}'
        | '\u{2066}'..='\u{2069}'
        | '\u{FEFF}' => {
            return None;
        }
        blank if blank.is_whitespace() => ' ',
        other => other,
    })
}

/// The locale's sign between groups as it stands in a plain text.
pub(super) fn plain_group(locale: Locale) -> char {
    match locale.group {
        '\u{2019}' => '\'',
        blank if blank.is_whitespace() => ' ',
        sign => sign,
    }
}

fn digit(character: char) -> Option<char> {
    let code = u32::from(character);
    let after = DIGIT_ZEROS.partition_point(|zero| *zero <= code);
    let value = code - DIGIT_ZEROS.get(after.checked_sub(1)?)?;
    char::from_digit(value, 10)
}

fn vulgar_fraction(character: char) -> Option<&'static str> {
    Some(match character {
        '¼' => "1/4",
        '½' => "1/2",
        '¾' => "3/4",
        '⅐' => "1/7",
        '⅑' => "1/9",
        '⅒' => "1/10",
        '⅓' => "1/3",
        '⅔' => "2/3",
        '⅕' => "1/5",
        '⅖' => "2/5",
        '⅗' => "3/5",
        '⅘' => "4/5",
        '⅙' => "1/6",
        '⅚' => "5/6",
        '⅛' => "1/8",
        '⅜' => "3/8",
        '⅝' => "5/8",
        '⅞' => "7/8",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_block_has_ten_digits_and_no_sign_else_is_one() {
        assert!(DIGIT_ZEROS.is_sorted());
        let mut digits = 0;
        for character in '\0'..=char::MAX {
            let Some(value) = digit(character) else { continue };
            digits += 1;
            assert!(character.is_numeric(), "{character:?}");
            assert!(value.is_ascii_digit(), "{character:?}");
        }
        assert_eq!(digits, DIGIT_ZEROS.len() * 10);
        assert_eq!(
            [digit('०'), digit('९'), digit('²'), digit('½'), digit('Ⅷ'), digit('一')],
            [Some('0'), Some('9'), None, None, None, None]
        );
    }
}
