//! From the variables that a platform drew back to the question: what a result report of a template item is marked by.
use std::collections::BTreeMap;

use qbank::{
    decimal::Decimal,
    family::{DrawError, Family, Numbers},
    question::Item,
};

use super::Template;

/// Names the seed of questions whose numbers a platform drew.
const SEED: &str = "drawn by a platform";

/// Why the variables of a result report give no question.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NotDrawn {
    /// A variable that the numbers cannot do without.
    #[error("the template variable '{0}' is missing")]
    Missing(String),
    /// A value that is no whole number, or one that the family does not allow there.
    #[error("the template variable '{variable}' is '{value}', which the template never draws")]
    Value {
        /// The variable.
        variable: String,
        /// Its value, shortened.
        value: String,
    },
    /// Numbers that no question of the family has together.
    #[error("the template variables give numbers that no question of the family has: {0}")]
    Together(Box<DrawError>),
}

/// The identifier of the item that stands for a family.
#[must_use]
pub fn item_name(family: &str, version: u32, locale: &str) -> String {
    format!("{family}-v{version}-{locale}")
}

/// What a test calls the `number`th question (from 1) of a section that a template stands for. The underscores keep it
/// apart from every id of a pool.
#[must_use]
pub fn reference_name(section: &str, number: u32) -> String {
    format!("{section}_item_{number}")
}

impl Template {
    /// The question that a platform asked, of the template variables that it reports by name. Only the drawn integers are
    /// read: whatever follows from them is worked out anew and proven.
    ///
    /// # Errors
    /// [`NotDrawn`] with the variable at fault.
    pub fn question(
        &self,
        family: &Family,
        locale: &str,
        variables: &BTreeMap<&str, &str>,
    ) -> Result<Item, NotDrawn> {
        let mut drawn = Vec::with_capacity(self.givens.len());
        for (given, (name, places)) in family.givens.iter().zip(&self.givens) {
            let (variable, places) = match &given.numbers {
                Numbers::Mistaken { by, .. } if by.len() > 1 => (format!("DRAW_{name}"), 0),
                Numbers::Mistaken { .. } => {
                    drawn.push(Decimal::ZERO);
                    continue;
                }
                _ => (format!("UNITS_{name}"), *places),
            };
            let value = *variables.get(variable.as_str()).ok_or(NotDrawn::Missing(variable.clone()))?;
            let number = whole(value).and_then(|units| Decimal::new(units, places).ok());
            let number = number.filter(|number| given.numbers.allow(number));
            let refused = || NotDrawn::Value { variable, value: value.chars().take(40).collect() };
            drawn.push(number.ok_or_else(refused)?);
        }
        family.with_numbers(&drawn, SEED, locale).map_err(|error| NotDrawn::Together(Box::new(error)))
    }
}

/// An integer as reports write it; some platforms write all numbers as floats.
fn whole(value: &str) -> Option<i128> {
    let value = value.trim();
    let digits = value.split_once('.').map_or(Some(value), |(digits, zeros)| {
        (!zeros.is_empty() && zeros.bytes().all(|digit| digit == b'0')).then_some(digits)
    })?;
    digits.parse::<i32>().ok().map(i128::from)
}

#[cfg(test)]
mod tests {
    use super::whole;

    #[test]
    fn integers_are_read_as_reports_write_them() {
        let read = ["345", " 345 ", "345.0", "-7", "0", "345.5", "345.", "", "3e2", "4294967296"].map(whole);
        let none = None;
        assert_eq!(read, [Some(345), Some(345), Some(345), Some(-7), Some(0), none, none, none, none, none]);
    }
}
