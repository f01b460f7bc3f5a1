//! The starter bank: the families that come with the program, one data file each in `qbank/bank/`.
use alloc::vec::Vec;

use crate::family::{Family, FamilyErrors};

/// A family file: its name and its text.
pub type FamilyFile = (&'static str, &'static str);

macro_rules! family_files {
    ($($name:literal),* $(,)?) => { &[$(($name, include_str!(concat!("../bank/", $name, ".toml")))),*] };
}

/// The files, in the order in which the bank lists them.
pub static FILES: &[FamilyFile] = family_files![
    "add-equal",
    "add-ragged",
    "add-whole",
    "subtract-exchange",
    "subtract-across-zero",
    "subtract-from-whole",
    "subtract-ragged",
    "compare-ragged",
    "round-tenths",
    "money-total",
    "money-change",
    "story-samples",
];

/// All families of the bank.
///
/// # Errors
/// [`FamilyErrors`] if a file is at fault; the tests hold that none is.
pub fn families() -> Result<Vec<Family>, FamilyErrors> {
    FILES.iter().map(|(name, text)| Family::from_toml(name, text)).collect()
}

/// One family of the bank.
///
/// # Errors
/// [`FamilyErrors::Unknown`] if the bank has none of that name.
pub fn family(name: &str) -> Result<Family, FamilyErrors> {
    let (name, text) = FILES
        .iter()
        .find(|(known, _)| *known == name)
        .ok_or_else(|| FamilyErrors::unknown(name, FILES.iter().map(|(known, _)| *known)))?;
    Family::from_toml(name, text)
}
