//! Any text as a family file: refused with every fault in its place, or a family that draws proven questions.
#![no_main]

use libfuzzer_sys::fuzz_target;
use qbank::family::{DrawError, Family};

fuzz_target!(|text: &str| {
    match Family::from_toml("trial", text) {
        Err(errors) => {
            assert!(!errors.faults.is_empty());
            let lines = text.matches('\n').count() + 1;
            assert!(errors.faults.iter().all(|fault| fault.line <= lines && !fault.message.is_empty()));
        }
        Ok(family) => {
            for locale in family.texts.keys() {
                let drawn = family.draw("fuzz", 0, locale);
                assert!(drawn.is_ok() || matches!(drawn, Err(DrawError::Void { .. })), "{drawn:?}");
            }
        }
    }
});
