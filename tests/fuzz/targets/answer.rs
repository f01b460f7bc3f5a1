//! Any text as a pupil's answer: in digits and in words, in every locale, alone and with a unit, without a panic; what is
//! read is written and read back as the same number.
#![no_main]

use libfuzzer_sys::fuzz_target;
use qbank::{
    locale::{Language, Locale},
    reading::{self, Reading},
    units::UNITS,
    words::{from_words, to_words},
};

fuzz_target!(|text: &str| {
    for locale in Locale::tags().filter_map(Locale::by_tag) {
        if let Reading::Read(number) = reading::read(text, locale, None)
            && let Some(value) = number.decimal()
        {
            let written = value.to_string().replace('.', &locale.point.to_string());
            let Reading::Read(again) = reading::read(&written, locale, None) else { panic!("{text}: {written}") };
            assert_eq!(again.decimal(), Some(value), "{text}: {written}");
        }
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
