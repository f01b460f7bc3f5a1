//! The texts that pupils write for an answer, as far as a list can hold them.
//!
//! A cartridge compares typed answers with a list of texts. So every usual way to write a value is made here, and only
//! those are kept that the project's own reading reads as that value, and its marking as right: the list can be too
//! short, but it never says more than [`qbank::marking`] does. Made are: with and without a zero before the point, zeros
//! at the end, groups of thousands, a fraction, a mixed number, percent, words; each alone or beside the unit asked
//! for or another unit of its kind. Not made are forms without end: more zeros, more blanks, longer fractions.
use std::collections::{BTreeMap, BTreeSet};

use qbank::{
    accept::{Rule, fraction_of},
    arithmetic::{Arithmetic, Fractions},
    decimal::Decimal,
    locale::{Language, Locale},
    marking::{StepMark, Verdict, mark},
    question::{Item, Key, ProvenStep, Step, StepKind},
    reading::{Reading, read},
    units::{self, UNITS, Unit},
    words::to_words,
};

use crate::qti::in_words;

/// Most values of an interval that are listed one by one.
pub(super) const MOST_VALUES: i128 = 60;
/// Zeros after the point are written up to so many places.
const PLACES: u32 = 3;
/// Longest denominator of a fraction that is listed.
const MOST_DENOMINATOR: i128 = 1000;

/// Texts that earn the same, in the order in which they were made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Spellings {
    /// From 1 to 100 percent of the points, or 0 for the right value in a form that earns nothing.
    pub(super) score: u32,
    /// Whether the value is written as asked.
    pub(super) in_form: bool,
    /// Different even if capital letters do not matter.
    pub(super) texts: Vec<String>,
}

/// What is right, as far as it can be listed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Right {
    /// The groups, those in the form asked for first.
    pub(super) spellings: Vec<Spellings>,
    /// Whether other values, with more places, are right as well.
    pub(super) others: bool,
}

/// Writes the answers of one step.
pub(super) struct Speller<'i> {
    item: &'i Item,
    step: &'i Step,
    proven: &'i ProvenStep,
    locale: Locale,
    language: Language,
    unit: Option<&'static Unit>,
    /// The right answers to all steps.
    responses: BTreeMap<String, String>,
}

impl<'i> Speller<'i> {
    /// For a step of an item.
    pub(super) fn new(item: &'i Item, step: &'i Step, proven: &'i ProvenStep) -> Self {
        Self {
            item,
            step,
            proven,
            locale: Locale::by_tag(&item.locale).unwrap_or(Locale::EN_US),
            language: Language::of_locale(&item.locale).unwrap_or_default(),
            unit: step.unit.as_deref().and_then(units::by_symbol),
            responses: item.right_responses(),
        }
    }

    /// The texts that are right; `None` where too many values are.
    pub(super) fn right(&self) -> Option<Right> {
        let (values, others) = self.right_values()?;
        let several = values.len() > 1;
        let candidates = values.into_iter().flat_map(|value| match self.step.kind {
            StepKind::Words => in_words::texts(value, self.language),
            _ if several => self.short(value),
            _ => self.long(value),
        });
        let mut groups: BTreeMap<(bool, u32), Vec<String>> = BTreeMap::new();
        let mut known = BTreeSet::new();
        for text in candidates {
            let marked = self.marked(&text);
            let in_form = match marked.verdict {
                Verdict::Correct => true,
                Verdict::RightValueWrongForm => false,
                _ => continue,
            };
            if known.insert(text.to_lowercase()) {
                groups.entry((!in_form, marked.points)).or_default().push(text);
            }
        }
        let spellings = groups.into_iter().map(|((other_form, points), texts)| Spellings {
            score: points * 100 / self.step.points,
            in_form: !other_form,
            texts,
        });
        Some(Right { spellings: spellings.collect(), others })
    }

    /// The texts that are read as a wrong answer.
    pub(super) fn wrong(&self, key: &Key) -> Vec<String> {
        let Key::Number(value) = key else { return Vec::new() };
        let mut known = BTreeSet::new();
        let texts = match self.step.kind {
            StepKind::Words => in_words::texts(*value, self.language),
            _ => self.short(*value),
        };
        let is_so = |text: &String| match self.step.kind {
            StepKind::Words => qbank::words::from_words(text, self.language).is_ok_and(|read| read == *value),
            _ => self.reads_as(text, *value),
        };
        texts.into_iter().filter(|text| is_so(text) && known.insert(text.to_lowercase())).collect()
    }

    fn reads_as(&self, text: &str, value: Decimal) -> bool {
        let read = read(text, self.locale, self.unit);
        matches!(read, Reading::Read(number) if number.value == fraction_of(&value))
    }

    /// How marking judges a text, all earlier answers being right.
    fn marked(&self, text: &str) -> StepMark {
        let mut responses = self.responses.clone();
        responses.insert(self.step.id.to_string(), text.to_owned());
        let mark = mark(self.item, "", &responses);
        mark.steps.into_iter().find(|step| step.id == self.step.id).expect("every step has a mark")
    }

    /// The values that are right, and whether there are more than these.
    fn right_values(&self) -> Option<(Vec<Decimal>, bool)> {
        let Key::Number(key) = &self.proven.key else { return None };
        let bounds = match &self.step.accept.rule {
            _ if self.step.kind == StepKind::Words => return Some((vec![*key], false)),
            Rule::Exact => return Some((vec![*key], false)),
            Rule::Rounded { .. } => {
                let target = Fractions.decimal(&self.step.accept.target(&fraction_of(key))).ok()?;
                return Some((vec![target], false));
            }
            Rule::Absolute { tolerance } => around(*key, *tolerance)?,
            Rule::Relative { percent } => {
                let units = key.units().checked_mul(percent.units())?;
                let share = Decimal::new(units, key.places() + percent.places() + 2).ok()?;
                around(*key, share.normalized())?
            }
            Rule::Interval { from, to } => (*from, *to),
        };
        let asked = self.step.accept.form.places.unwrap_or(0);
        let written = self.step.answer.text().and_then(|text| text.parse::<Decimal>().ok());
        let places = written.map_or(0, |written| written.places()).max(asked);
        Some((listed(bounds, places)?, true))
    }

    /// The usual numerals of a value.
    fn numerals(&self, value: Decimal) -> Vec<String> {
        let plain = value.normalized();
        let written = self.step.answer.text().and_then(|text| text.parse::<Decimal>().ok());
        let most = [plain.places(), PLACES, written.map_or(0, |written| written.places())];
        let most = most.into_iter().max().unwrap_or(PLACES);
        let forms = (plain.places()..=most).filter_map(|places| plain.with_places(places));
        forms.flat_map(|form| self.numeral(&form)).collect()
    }

    /// One numeral in the locale's signs, with and without a zero before the point, with and without groups.
    fn numeral(&self, form: &Decimal) -> Vec<String> {
        let text = form.to_string().replace('.', &self.locale.point.to_string());
        let mut texts = vec![text.clone()];
        let (sign, digits) = text.strip_prefix('-').map_or(("", text.as_str()), |digits| ("-", digits));
        if let Some(fraction) = digits.strip_prefix('0').filter(|rest| rest.starts_with(self.locale.point)) {
            texts.push(format!("{sign}{fraction}"));
        }
        let whole = digits.split(self.locale.point).next().unwrap_or_default();
        if whole.len() > 3 {
            let rest = &digits[whole.len()..];
            for group in [self.locale.group, ' '] {
                texts.push(format!("{sign}{}{rest}", grouped(whole, group)));
            }
        }
        texts
    }

    /// Numerals alone, and with the unit's symbol.
    fn short(&self, value: Decimal) -> Vec<String> {
        let numerals = self.numerals(value);
        let beside = numerals.iter().flat_map(|numeral| match self.unit {
            None => Vec::new(),
            Some(unit) if unit.leads => vec![format!("{}{numeral}", unit.symbol)],
            Some(unit) => vec![format!("{numeral} {}", unit.symbol), format!("{numeral}{}", unit.symbol)],
        });
        let beside: Vec<String> = beside.collect();
        numerals.into_iter().chain(beside).collect()
    }

    /// Every way that is made here.
    fn long(&self, value: Decimal) -> Vec<String> {
        let mut numbers = self.numerals(value);
        numbers.extend(fractions(value));
        let words = to_words(&value, self.language).or_else(|| to_words(&value.normalized(), self.language));
        numbers.extend(words);
        let mut texts = self.short(value);
        match self.unit {
            None => texts.extend(self.percents(value)),
            Some(unit) => {
                texts.extend(numbers.iter().flat_map(|number| beside(number, unit)));
                texts.extend(self.in_other_units(value, unit));
            }
        }
        texts.extend(numbers);
        texts
    }

    fn percents(&self, value: Decimal) -> Vec<String> {
        let numerals =
            value.shifted(2).map(|percent| self.numeral(&percent.normalized())).unwrap_or_default();
        numerals.iter().flat_map(|numeral| [format!("{numeral}%"), format!("{numeral} %")]).collect()
    }

    /// `500 g` where half a kilogram is asked for.
    fn in_other_units(&self, value: Decimal, asked: &'static Unit) -> Vec<String> {
        let others = UNITS.iter().filter(|unit| *unit != asked && unit.dimension == asked.dimension);
        let texts = others.flat_map(|unit| {
            let amount = asked.factor_to(unit).map(|factor| fraction_of(&value) * factor);
            let amount = amount.and_then(|amount| Fractions.decimal(&amount).ok());
            let numerals = amount.map(|amount| self.numeral(&amount.normalized())).unwrap_or_default();
            numerals.into_iter().flat_map(|numeral| beside(&numeral, unit)).collect::<Vec<_>>()
        });
        texts.collect()
    }
}

/// A number before each word of the unit, and after its symbol where that leads.
fn beside(number: &str, unit: &Unit) -> Vec<String> {
    let mut texts: Vec<String> = unit.words().map(|word| format!("{number} {word}")).collect();
    texts.push(format!("{number}{}", unit.symbol));
    if unit.leads {
        texts.extend([format!("{}{number}", unit.symbol), format!("{} {number}", unit.symbol)]);
    } else {
        texts.push(format!("{} {number}", unit.symbol));
    }
    texts
}

fn around(key: Decimal, width: Decimal) -> Option<(Decimal, Decimal)> {
    let places = key.places().max(width.places());
    let (centre, width) = (key.units_at(places)?, width.units_at(places)?);
    Some((Decimal::new(centre - width, places).ok()?, Decimal::new(centre + width, places).ok()?))
}

/// Every value from one end to the other that has so many places, or as many as the ends have, if these are few.
fn listed((from, to): (Decimal, Decimal), places: u32) -> Option<Vec<Decimal>> {
    let ends = places.max(from.normalized().places()).max(to.normalized().places());
    // With the places of the ends if there are few such values, else with those of the answer.
    [ends, places].into_iter().find_map(|places| {
        let scale = |value: Decimal, up: bool| {
            let units = value.units_at(value.places().max(places))?;
            let unit = 10_i128.checked_pow(value.places().max(places) - places)?;
            Some(units.div_euclid(unit) + i128::from(up && units.rem_euclid(unit) != 0))
        };
        let (first, last) = (scale(from, true)?, scale(to, false)?);
        let few = last.checked_sub(first)? < MOST_VALUES;
        few.then(|| (first..=last).filter_map(|units| Decimal::new(units, places).ok()).collect())
    })
}

/// The value as a fraction in lowest terms, as one over ten, a hundred or a thousand, and as a mixed number.
fn fractions(value: Decimal) -> Vec<String> {
    let plain = value.normalized();
    if plain.is_negative() || !(1..=PLACES).contains(&plain.places()) {
        return Vec::new();
    }
    let (units, power) = (plain.units(), 10_i128.pow(plain.places()));
    let divisor = greatest_common_divisor(units, power);
    let mut texts = Vec::new();
    for (numerator, denominator) in [(units / divisor, power / divisor), (units, power)] {
        if denominator > MOST_DENOMINATOR {
            continue;
        }
        texts.push(format!("{numerator}/{denominator}"));
        if numerator > denominator {
            texts.push(format!("{} {}/{denominator}", numerator / denominator, numerator % denominator));
        }
    }
    texts.dedup();
    texts
}

fn greatest_common_divisor(first: i128, second: i128) -> i128 {
    if second == 0 { first } else { greatest_common_divisor(second, first % second) }
}

fn grouped(digits: &str, group: char) -> String {
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(group);
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn texts(from: &str, to: &str, places: u32) -> Option<Vec<String>> {
        listed((decimal(from), decimal(to)), places)
            .map(|values| values.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn intervals_are_listed_with_the_places_asked_for() {
        assert_eq!(texts("12.35", "12.38", 1).unwrap(), ["12.35", "12.36", "12.37", "12.38"]);
        assert_eq!(texts("40", "42.5", 0).unwrap().len(), 26);
        assert_eq!(texts("0.00", "7.25", 0).unwrap(), ["0", "1", "2", "3", "4", "5", "6", "7"]);
        assert_eq!(texts("0", "1000", 0), None);
    }

    #[test]
    fn fractions_are_those_of_school() {
        assert_eq!(fractions(decimal("0.75")), ["3/4", "75/100"]);
        assert_eq!(fractions(decimal("1.50")), ["3/2", "1 1/2", "15/10", "1 5/10"]);
        assert_eq!(fractions(decimal("3")), Vec::<String>::new());
        assert_eq!(fractions(decimal("0.0625")), Vec::<String>::new());
    }

    #[test]
    fn groups_are_of_three() {
        assert_eq!([grouped("1234", ','), grouped("1234567", ' ')], ["1,234", "1 234 567"]);
    }
}
