//! The code of a sheet: what ties the paper to its questions.
//!
//! Seven signs and a check sign, written in two groups: `K7QD-M3XP`. The 31 signs are digits and capital letters without
//! those that look alike (0 and O, 1, I and L). The signs' places in the alphabet, weighted 1 to 8, sum to a multiple of
//! 31; since 31 is prime, every single wrong sign and every two signs that changed places are told. The same idea as in
//! the ISBN of ten digits, whose modulus is 11 (ISO 2108:1992, from memory).

use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

/// The signs. Their number is prime.
const SIGNS: &[u8; 31] = b"23456789ABCDEFGHJKMNPQRSTUVWXYZ";
/// Signs of a code, the check sign included.
const LENGTH: usize = 8;
/// How a form's seed begins, so that no other form is drawn by a sheet's code.
const SEED: &str = "sheet/";

/// The code of one sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SheetCode([u8; LENGTH]);

/// A text that is no code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoCode {
    /// Other than eight signs, or signs that no code has.
    #[error("a sheet's code has eight letters and digits, such as K7QD-M3XP")]
    Form,
    /// The signs do not fit together.
    #[error("one of the code's signs is wrong, or two have changed places")]
    Check,
}

impl SheetCode {
    /// The code that belongs to a text; equal texts have equal codes.
    pub fn of(text: &str) -> Self {
        let digest = Sha256::digest(text.as_bytes());
        let mut rest = digest.iter().take(16).fold(0_u128, |number, byte| number << 8 | u128::from(*byte));
        let mut code = [0_u8; LENGTH];
        for sign in &mut code[..LENGTH - 1] {
            *sign = u8::try_from(rest % 31).expect("a remainder by 31 is small");
            rest /= 31;
        }
        // The last sign's weight is 8, whose inverse modulo 31 is 4, since 8 * 4 = 32.
        code[LENGTH - 1] = u8::try_from((31 - sum(&code)) * 4 % 31).expect("a remainder by 31 is small");
        Self(code)
    }

    /// The seed that draws the sheet's questions.
    pub fn seed(self) -> String {
        format!("{SEED}{self}")
    }
}

/// The weighted sum modulo 31.
fn sum(code: &[u8; LENGTH]) -> u32 {
    code.iter().zip(1..).map(|(sign, weight)| u32::from(*sign) * weight).sum::<u32>() % 31
}

impl fmt::Display for SheetCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, sign) in self.0.iter().enumerate() {
            if place == LENGTH / 2 {
                f.write_str("-")?;
            }
            write!(f, "{}", char::from(SIGNS[usize::from(*sign)]))?;
        }
        Ok(())
    }
}

impl FromStr for SheetCode {
    type Err = NoCode;

    /// Reads a code as people type it: capital or small, with or without hyphen and blanks.
    fn from_str(text: &str) -> Result<Self, NoCode> {
        let typed = text.chars().filter(|sign| !sign.is_whitespace() && !matches!(sign, '-' | '\u{2013}'));
        let signs: Option<Vec<u8>> = typed
            .map(|sign| {
                let sign = u8::try_from(sign.to_ascii_uppercase()).ok()?;
                let place = SIGNS.iter().position(|known| *known == sign)?;
                u8::try_from(place).ok()
            })
            .collect();
        let code: [u8; LENGTH] = signs.and_then(|signs| signs.try_into().ok()).ok_or(NoCode::Form)?;
        if sum(&code) == 0 { Ok(Self(code)) } else { Err(NoCode::Check) }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    fn codes() -> impl Iterator<Item = SheetCode> {
        (0..500).map(|number| SheetCode::of(&format!("class 5b, sheet {number}")))
    }

    #[test]
    fn codes_are_read_as_people_type_them() {
        for code in codes() {
            let written = code.to_string();
            assert_eq!(written.len(), 9, "{written}");
            for typed in
                [written.clone(), written.to_lowercase(), written.replace('-', " "), written.replace('-', "")]
            {
                assert_eq!(typed.parse(), Ok(code), "{typed}");
            }
        }
        for text in ["", "K7QD", "K7QD-M3XPP", "K0QD-M3XP", "K7QD-M3Xé", "12345678901234567890"] {
            assert_eq!(text.parse::<SheetCode>(), Err(NoCode::Form), "{text}");
        }
    }

    #[test]
    fn different_texts_have_different_codes() {
        assert_eq!(codes().collect::<BTreeSet<_>>().len(), 500);
    }

    #[test]
    fn every_wrong_sign_and_every_exchange_of_two_is_told() {
        for SheetCode(code) in codes().take(50) {
            for place in 0..LENGTH {
                for sign in (0..31).filter(|sign| *sign != code[place]) {
                    let mut wrong = code;
                    wrong[place] = sign;
                    assert_eq!(SheetCode(wrong).to_string().parse::<SheetCode>(), Err(NoCode::Check));
                }
                for other in (0..place).filter(|other| code[*other] != code[place]) {
                    let mut wrong = code;
                    wrong.swap(place, other);
                    assert_eq!(SheetCode(wrong).to_string().parse::<SheetCode>(), Err(NoCode::Check));
                }
            }
        }
    }
}
