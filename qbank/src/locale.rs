//! Languages and regions: how numbers are written there, and in which language pupils are spoken to.
//!
//! A [`Locale`] decides about signs (`3.5` or `3,5`), a [`Language`] about words. They are two types because there are
//! more regions whose numbers are read here than languages that we have words for. Neither decides about units of
//! measure ([`crate::units`]), and dates and times of day do not occur.

use crate::decimal::Decimal;

/// How numbers are written in a region.
///
/// # Example
/// ```
/// use qbank::locale::{Language, Locale};
/// let spain = Locale::by_tag("es-es").expect("in the table");
/// assert_eq!((spain.tag, spain.point, spain.language()), ("es-ES", ',', Some(Language::Spanish)));
/// assert_eq!(Locale::by_tag("de-DE").expect("in the table").language(), None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Locale {
    /// Language and region.
    pub tag: &'static str,
    /// The decimal mark.
    pub point: char,
    /// The sign between groups of three digits; blanks of any width always may stand there.
    pub group: char,
    /// A decimal as written there, for messages.
    pub example: &'static str,
}

/// Marks as in the Unicode Common Locale Data Repository, version 48.
const LOCALES: &[Locale] = &[
    Locale { tag: "en-US", point: '.', group: ',', example: "12.5" },
    Locale { tag: "es-US", point: '.', group: ',', example: "12.5" },
    Locale { tag: "es-MX", point: '.', group: ',', example: "12.5" },
    Locale { tag: "en-GB", point: '.', group: ',', example: "12.5" },
    Locale { tag: "es-ES", point: ',', group: '.', example: "12,5" },
    Locale { tag: "de-DE", point: ',', group: '.', example: "12,5" },
    Locale { tag: "de-CH", point: '.', group: '\u{2019}', example: "12.5" },
    Locale { tag: "fr-FR", point: ',', group: '\u{202f}', example: "12,5" },
];

impl Locale {
    /// The locale of questions in English for the United States.
    pub const EN_US: Self = LOCALES[0];

    /// The locale with that tag, in any letter case.
    #[must_use]
    pub fn by_tag(tag: &str) -> Option<Self> {
        LOCALES.iter().copied().find(|locale| locale.tag.eq_ignore_ascii_case(tag))
    }

    /// The tags that can be asked for.
    pub fn tags() -> impl Iterator<Item = &'static str> {
        LOCALES.iter().map(|locale| locale.tag)
    }

    /// The language spoken there; `None` where there are no words of ours in it.
    #[must_use]
    pub fn language(&self) -> Option<Language> {
        Language::of_locale(self.tag)
    }
}

/// A language that we have words in: for numbers, for units, and for what pupils are told.
///
/// English is the default, for a question in a language without words of ours.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Language {
    /// English of the United States.
    #[default]
    English,
    /// Spanish of the United States.
    Spanish,
}

impl Language {
    /// The language of a locale such as `en-US`; `None` for one that has no words here.
    #[must_use]
    pub fn of_locale(tag: &str) -> Option<Self> {
        match tag.split(['-', '_']).next()?.to_ascii_lowercase().as_str() {
            "en" => Some(Self::English),
            "es" => Some(Self::Spanish),
            _ => None,
        }
    }

    /// Whether what is counted stands in the singular after this numeral. The rules are those of the Unicode Common
    /// Locale Data Repository for the category 'one'; written places count in English and do not in Spanish.
    ///
    /// # Example
    /// ```
    /// use qbank::locale::Language;
    /// // "1 liter", but "1.0 liters"; "1 litro" and "1.0 litro".
    /// assert!(Language::English.is_singular(&"1".parse()?) && !Language::English.is_singular(&"1.0".parse()?));
    /// assert!(Language::Spanish.is_singular(&"1".parse()?) && Language::Spanish.is_singular(&"1.0".parse()?));
    /// # Ok::<(), qbank::decimal::DecimalError>(())
    /// ```
    #[must_use]
    pub fn is_singular(self, number: &Decimal) -> bool {
        let counted = match self {
            Self::English => *number,
            Self::Spanish => number.normalized(),
        };
        counted.units().abs() == 1 && counted.places() == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Samples of the category 'one' in the plural rules of CLDR: English `i = 1 and v = 0`, Spanish `n = 1`.
    #[test]
    fn singular_is_the_category_one_of_cldr() {
        for (numeral, english, spanish) in [
            ("1", true, true),
            ("1.0", false, true),
            ("1.00", false, true),
            ("0", false, false),
            ("0.0", false, false),
            ("0.1", false, false),
            ("1.5", false, false),
            ("2", false, false),
            ("10", false, false),
            ("1000000", false, false),
        ] {
            let number = numeral.parse().unwrap();
            assert_eq!(Language::English.is_singular(&number), english, "{numeral}");
            assert_eq!(Language::Spanish.is_singular(&number), spanish, "{numeral}");
        }
    }

    #[test]
    fn tags_are_found_in_any_letter_case_and_name_their_language() {
        for tag in Locale::tags() {
            assert_eq!(Locale::by_tag(&tag.to_uppercase()).unwrap().tag, tag);
        }
        assert_eq!(Locale::by_tag("es-us").unwrap().language(), Some(Language::Spanish));
        assert_eq!(Locale::by_tag("fr-FR").unwrap().language(), None);
        assert_eq!(Locale::by_tag("es"), None);
    }
}
