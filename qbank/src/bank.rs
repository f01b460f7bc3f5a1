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
    "add-three-hundredths",
    "add-three-lengths",
    "add-thousandths",
    "larger-sum",
    "subtract-exchange",
    "subtract-across-zero",
    "subtract-two-zeros",
    "subtract-from-whole",
    "subtract-whole",
    "subtract-ragged",
    "subtract-near-whole",
    "subtract-equal-shift",
    "subtract-thousandths",
    "complement-to-one",
    "missing-addend",
    "difference-more",
    "difference-less",
    "add-then-subtract",
    "find-mistake-add",
    "find-mistake-subtract",
    "tenths-as-hundredths",
    "tenths-plus-hundredths",
    "fraction-to-decimal",
    "fraction-thousandths",
    "mixed-to-decimal",
    "number-line-step",
    "how-many-tenths",
    "ten-times-one-tenth",
    "digit-in-place",
    "digit-worth",
    "regroup-places",
    "expanded-form",
    "expanded-form-zero",
    "say-tenths",
    "say-hundredths",
    "say-thousandths",
    "say-zero-inside",
    "read-tenths-hundredths",
    "read-zero-inside",
    "compare-equal-length",
    "compare-ragged",
    "compare-zero-inside",
    "equal-decimals",
    "compare-thousandths",
    "compare-last-place",
    "order-four",
    "order-volumes-down",
    "order-thousandths",
    "order-five-masses",
    "order-number-line",
    "smallest-of-three",
    "largest-of-three",
    "largest-different-wholes",
    "round-whole",
    "round-tenths",
    "round-hundredths",
    "round-halfway",
    "round-nines",
    "round-tens-hundreds",
    "round-three-ways",
    "estimate-sum",
    "estimate-prices",
    "estimate-product",
    "times-power",
    "divide-power",
    "divide-whole-power",
    "times-multiple-of-ten",
    "find-mistake-power",
    "power-exponents",
    "convert-to-smaller",
    "convert-to-larger",
    "convert-customary",
    "convert-clock",
    "convert-then-add",
    "convert-then-subtract",
    "multiply-whole",
    "multiply-tenths",
    "multiply-tenths-hundredths",
    "multiply-below-one",
    "multiply-thousandths",
    "find-mistake-multiply",
    "divide-whole",
    "divide-zero-inside",
    "divide-tenths",
    "divide-decimals",
    "remainder-as-decimal",
    "remainder-full-bottles",
    "remainder-trips",
    "divide-money-rounded",
    "money-total",
    "money-coins",
    "money-missing",
    "money-change",
    "money-many-change",
    "story-total-share",
    "story-length-waste",
    "story-average-speed",
    "story-best-offer",
    "story-bed-edging",
    "story-canoe-days",
    "story-load-limit",
    "story-samples",
    "story-relay",
    "story-tool-box",
    "story-coupon",
    "story-test-tanks",
    "story-workshop-book",
    "story-river-log",
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
/// [`FamilyErrors`] if the bank has none of that name.
pub fn family(name: &str) -> Result<Family, FamilyErrors> {
    let (name, text) = FILES
        .iter()
        .find(|(known, _)| *known == name)
        .ok_or_else(|| FamilyErrors::unknown(name, FILES.iter().map(|(known, _)| *known)))?;
    Family::from_toml(name, text)
}
