//! Any text as a pupil's answer: in digits and in words, in every locale, alone and with a unit, without a panic; what is
//! read as words is told and read back as the same number.
#![no_main]

use libfuzzer_sys::fuzz_target;
use qbank::{
    locale::{Language, Locale},
    reading,
    units::UNITS,
    words::{from_words, to_words},
};

fuzz_target!(|text: &str| {
    for locale in Locale::tags().filter_map(Locale::by_tag) {
        let _ = reading::read(text, locale, None);
        // One unit a text: all of them would leave time for few texts.
        let _ = reading::read(text, locale, UNITS.get(text.len() % UNITS.len()));
    }
    for language in [Language::English, Language::Spanish] {
        let Ok(number) = from_words(text, language) else { continue };
        if let Some(told) = to_words(&number, language) {
            let again = from_words(&told, language).unwrap_or_else(|problem| panic!("{told}: {problem}"));
            assert!(again.same_written(&number), "{told}: {number} and {again}");
        }
    }
});
