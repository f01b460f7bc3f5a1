//! Acceptance: which values count as right, and in which written form they are asked for.
//!
//! Rules are about exact values and never about floats. They know nothing of how a text was read
//! ([`crate::reading`]) or of points ([`crate::marking`]).
use alloc::{format, string::String, vec::Vec};
use core::cmp::Ordering;

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::Signed;
use serde::{Deserialize, Serialize};

use crate::{decimal::Decimal, locale::Language};

/// What a step accepts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acceptance {
    /// Which values are right.
    #[serde(flatten)]
    pub rule: Rule,
    /// Which written form is asked for.
    #[serde(default, skip_serializing_if = "Form::is_free")]
    pub form: Form,
}

/// Which values are right, given the key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "rule", rename_all = "snake_case")]
pub enum Rule {
    /// The key's value and no other.
    Exact,
    /// Not farther from the key than `tolerance`, bounds included.
    Absolute {
        /// In the step's unit, zero or more.
        tolerance: Decimal,
    },
    /// Not farther from the key than `percent` of it, bounds included. For estimates only: exact school answers
    /// never have a relative tolerance.
    Relative {
        /// Percent of the key, zero or more.
        percent: Decimal,
    },
    /// The key rounded half up, and no other value.
    Rounded {
        /// To what.
        #[serde(flatten)]
        to: Precision,
    },
}

/// How precise a rounded answer is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Precision {
    /// Places after the point.
    Places(u32),
    /// Significant figures, one or more.
    Figures(u32),
}

/// The written form that is asked for beyond the value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Form {
    /// Exactly so many places after the point, as in money.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub places: Option<u32>,
    /// The unit must be written.
    #[serde(default, skip_serializing_if = "is_false")]
    pub unit: bool,
    /// A fraction must be in lowest terms.
    #[serde(default, skip_serializing_if = "is_false")]
    pub lowest_terms: bool,
    /// What the right value in another form earns.
    #[serde(default, skip_serializing_if = "Credit::is_none")]
    pub credit: Credit,
}

/// What the right value in another form than asked for earns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Credit {
    /// No points: in money, two places are part of the answer.
    #[default]
    None,
    /// All points, with a note: usual for rounding outside money.
    Full,
}

fn is_false(flag: &bool) -> bool {
    !flag
}

impl Credit {
    fn is_none(&self) -> bool {
        *self == Self::None
    }
}

impl Form {
    /// Whether no form is asked for.
    #[must_use]
    pub fn is_free(&self) -> bool {
        self.places.is_none() && !self.unit && !self.lowest_terms
    }
}

impl Acceptance {
    /// The key's value and no other, in any form.
    pub const EXACT: Self = Self {
        rule: Rule::Exact,
        form: Form { places: None, unit: false, lowest_terms: false, credit: Credit::None },
    };

    /// Whether the value counts as right.
    ///
    /// # Example
    /// ```
    /// use qbank::accept::{Acceptance, Precision, Rule, fraction_of};
    /// let to_tenths = Acceptance { rule: Rule::Rounded { to: Precision::Places(1) }, ..Acceptance::EXACT };
    /// let key = fraction_of(&"4.68".parse()?);
    /// assert!(to_tenths.accepts(&key, &fraction_of(&"4.7".parse()?)));
    /// assert!(!to_tenths.accepts(&key, &key));
    /// # Ok::<(), qbank::decimal::DecimalError>(())
    /// ```
    #[must_use]
    pub fn accepts(&self, key: &BigRational, value: &BigRational) -> bool {
        match &self.rule {
            Rule::Exact => key == value,
            Rule::Absolute { tolerance } => (key - value).abs() <= fraction_of(tolerance),
            Rule::Relative { percent } => {
                let share = fraction_of(percent) / BigRational::from(BigInt::from(100));
                (key - value).abs() <= (key * share).abs()
            }
            Rule::Rounded { .. } => self.target(key) == *value,
        }
    }

    /// The value that is asked for: the key, rounded where the rule says so.
    #[must_use]
    pub fn target(&self, key: &BigRational) -> BigRational {
        match &self.rule {
            Rule::Rounded { to } => rounded(key, *to),
            _ => key.clone(),
        }
    }

    /// What is accepted, in words for pupils; empty where there is nothing to say.
    ///
    /// # Example
    /// ```
    /// use qbank::{accept::{Acceptance, Form}, locale::Language};
    /// let money = Acceptance { form: Form { places: Some(2), ..Form::default() }, ..Acceptance::EXACT };
    /// assert_eq!(money.explained(Language::English), "Write 2 places after the point.");
    /// assert_eq!(money.explained(Language::Spanish), "Escribe la respuesta con 2 lugares decimales.");
    /// assert_eq!(Acceptance::EXACT.explained(Language::English), "");
    /// ```
    #[must_use]
    pub fn explained(&self, language: Language) -> String {
        let form = &self.form;
        let [write, unit, lowest_terms] = match language {
            Language::English => ["Write", "Write the unit, too.", "Write the fraction in lowest terms."],
            Language::Spanish => [
                "Escribe la respuesta con",
                "Escribe también la unidad.",
                "Escribe la fracción en su mínima expresión.",
            ],
        };
        let sentences = [
            self.rule.explained(language),
            form.places.map(|places| places_asked(write, places, language)),
            form.unit.then(|| unit.into()),
            form.lowest_terms.then(|| lowest_terms.into()),
        ];
        sentences.into_iter().flatten().collect::<Vec<String>>().join(" ")
    }
}

impl Rule {
    /// The rule in a sentence; `None` for the one that goes without saying.
    fn explained(&self, language: Language) -> Option<String> {
        let sentence = match (self, language) {
            (Self::Exact, _) => return None,
            (Self::Absolute { tolerance }, Language::English) => {
                format!("An answer up to {tolerance} away counts.")
            }
            (Self::Absolute { tolerance }, Language::Spanish) => {
                format!("Vale una respuesta con una diferencia de hasta {tolerance}.")
            }
            (Self::Relative { percent }, Language::English) => {
                format!("An answer within {percent} percent counts.")
            }
            (Self::Relative { percent }, Language::Spanish) => {
                format!("Vale una respuesta con una diferencia de hasta el {percent} por ciento.")
            }
            (Self::Rounded { to: Precision::Places(places) }, Language::English) => {
                places_asked("Round to", *places, language)
            }
            (Self::Rounded { to: Precision::Places(places) }, Language::Spanish) => {
                places_asked("Redondea a", *places, language)
            }
            (Self::Rounded { to: Precision::Figures(1) }, Language::English) => {
                "Round to one significant figure.".into()
            }
            (Self::Rounded { to: Precision::Figures(1) }, Language::Spanish) => {
                "Redondea a una cifra significativa.".into()
            }
            (Self::Rounded { to: Precision::Figures(figures) }, Language::English) => {
                format!("Round to {figures} significant figures.")
            }
            (Self::Rounded { to: Precision::Figures(figures) }, Language::Spanish) => {
                format!("Redondea a {figures} cifras significativas.")
            }
        };
        Some(sentence)
    }
}

fn places_asked(verb: &str, places: u32, language: Language) -> String {
    match (places, language) {
        (0, Language::English) => format!("{verb} a whole number."),
        (1, Language::English) => format!("{verb} one place after the point."),
        (_, Language::English) => format!("{verb} {places} places after the point."),
        (0, Language::Spanish) => format!("{verb} un número entero."),
        (1, Language::Spanish) => format!("{verb} un lugar decimal."),
        (_, Language::Spanish) => format!("{verb} {places} lugares decimales."),
    }
}

/// A decimal as an exact fraction.
#[must_use]
pub fn fraction_of(decimal: &Decimal) -> BigRational {
    BigRational::new(BigInt::from(decimal.units()), BigInt::from(10).pow(decimal.places()))
}

/// Rounds half up (away from zero at a tie), as taught for numbers from zero up.
fn rounded(key: &BigRational, to: Precision) -> BigRational {
    let ten = BigRational::from(BigInt::from(10));
    let unit = match to {
        Precision::Places(places) => ten.pow(-i32::try_from(places).unwrap_or(i32::MAX)),
        Precision::Figures(figures) => {
            let mut unit = ten.pow(1 - i32::try_from(figures).unwrap_or(i32::MAX));
            // Walk the unit to the key's size; a key of zero has none.
            let size = key.abs();
            while size >= &unit * ten.pow(i32::try_from(figures).unwrap_or(i32::MAX)) {
                unit *= &ten;
            }
            while size.is_positive() && size < &unit * ten.pow(i32::try_from(figures).unwrap_or(i32::MAX) - 1)
            {
                unit /= &ten;
            }
            unit
        }
    };
    let half = BigRational::new(BigInt::from(1), BigInt::from(2));
    let steps = (key.abs() / &unit + half).floor() * unit;
    if key.cmp(&BigRational::from(BigInt::from(0))) == Ordering::Less { -steps } else { steps }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fraction(text: &str) -> BigRational {
        fraction_of(&text.parse().unwrap())
    }

    fn accepts(rule: Rule, key: &str, value: &str) -> bool {
        Acceptance { rule, ..Acceptance::EXACT }.accepts(&fraction(key), &fraction(value))
    }

    #[test]
    fn absolute_bounds_are_included_and_exact() {
        let tenth = || Rule::Absolute { tolerance: "0.1".parse().unwrap() };
        assert!(accepts(tenth(), "0.3", "0.2"));
        assert!(accepts(tenth(), "0.3", "0.4"));
        assert!(!accepts(tenth(), "0.3", "0.4000000000000001"));
    }

    #[test]
    fn relative_is_a_share_of_the_key() {
        let five_percent = || Rule::Relative { percent: "5".parse().unwrap() };
        assert!(accepts(five_percent(), "20", "19"));
        assert!(!accepts(five_percent(), "19", "20"));
    }

    #[test]
    fn rounded_takes_half_up_to_places_and_figures() {
        let places = |places| Rule::Rounded { to: Precision::Places(places) };
        let figures = |figures| Rule::Rounded { to: Precision::Figures(figures) };
        // 0.845 to hundredths: a published key (OpenStax Prealgebra 2e, 5.1).
        assert!(accepts(places(2), "0.845", "0.85"));
        assert!(!accepts(places(2), "0.845", "0.84"));
        assert!(accepts(figures(2), "0.06749", "0.067"));
        assert!(accepts(figures(2), "1374", "1400"));
        assert!(accepts(figures(1), "0", "0"));
    }

    #[test]
    fn explains_what_is_asked_in_both_languages() {
        let told = |rule, form| {
            let acceptance = Acceptance { rule, form };
            [Language::English, Language::Spanish].map(|language| acceptance.explained(language))
        };
        let places = |places| Rule::Rounded { to: Precision::Places(places) };
        let figures = |figures| Rule::Rounded { to: Precision::Figures(figures) };
        let free = Form::default();
        assert_eq!(told(places(0), free), ["Round to a whole number.", "Redondea a un número entero."]);
        assert_eq!(
            told(figures(1), free),
            ["Round to one significant figure.", "Redondea a una cifra significativa."]
        );
        assert_eq!(
            told(figures(2), free),
            ["Round to 2 significant figures.", "Redondea a 2 cifras significativas."]
        );
        assert_eq!(
            told(Rule::Absolute { tolerance: "0.05".parse().unwrap() }, Form { unit: true, ..free }),
            [
                "An answer up to 0.05 away counts. Write the unit, too.",
                "Vale una respuesta con una diferencia de hasta 0.05. Escribe también la unidad."
            ]
        );
        assert_eq!(
            told(
                Rule::Relative { percent: "5".parse().unwrap() },
                Form { places: Some(1), lowest_terms: true, ..free }
            ),
            [
                "An answer within 5 percent counts. Write one place after the point. \
                 Write the fraction in lowest terms.",
                "Vale una respuesta con una diferencia de hasta el 5 por ciento. Escribe la respuesta con un lugar decimal. \
                 Escribe la fracción en su mínima expresión."
            ]
        );
    }

    #[test]
    fn records_look_as_the_contract_writes_them() {
        let record = |acceptance: &Acceptance| serde_json::to_string(acceptance).unwrap();
        assert_eq!(record(&Acceptance::EXACT), r#"{"rule":"exact"}"#);
        let money = Acceptance { form: Form { places: Some(2), ..Form::default() }, ..Acceptance::EXACT };
        assert_eq!(record(&money), r#"{"rule":"exact","form":{"places":2}}"#);
        let rounded = Acceptance { rule: Rule::Rounded { to: Precision::Places(1) }, ..Acceptance::EXACT };
        assert_eq!(record(&rounded), r#"{"rule":"rounded","places":1}"#);
        for acceptance in [Acceptance::EXACT, money, rounded] {
            assert_eq!(serde_json::from_str::<Acceptance>(&record(&acceptance)).unwrap(), acceptance);
        }
    }
}
