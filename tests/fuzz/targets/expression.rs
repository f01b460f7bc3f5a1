//! Any text as an expression: refused with a reason, or printed and read back as the same tree; then worked, drawn and
//! bent without a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use qbank::{
    arithmetic::prove,
    expression::{Expression, Names},
    misconceptions, working,
};

fuzz_target!(|text: &str| {
    let Ok(expression) = text.parse::<Expression>() else { return };
    let printed = expression.to_string();
    assert_eq!(printed.parse::<Expression>().as_ref(), Ok(&expression), "{printed}");
    let names = [("a", "12.40"), ("b", "0.305"), ("c", "7")];
    let names: Names = names.into_iter().map(|(name, value)| (name.into(), value.parse().unwrap())).collect();
    let _ = prove(&expression, &names);
    let _ = working::lines(&expression, &names);
    let _ = misconceptions::predict_all(misconceptions::all(), &expression, &names);
});
