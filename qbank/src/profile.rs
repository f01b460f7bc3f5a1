//! What makes a proven question hard: named features, counted in its working, and a level from 1 to 5.
//!
//! A family's author states which numbers may be drawn, and two questions of one family can still differ: `9.84 − 3.2`
//! and `9.04 − 3.28` are not equally hard. So difficulty belongs to the question. A [`Profile`] counts features that
//! can be pointed at in the written working (a carry, an exchange across a zero, a later step that builds on an earlier
//! one), and [`FEATURES`] gives each a weight with the reason for it.
//!
//! The weights are a judgement (common practice). There is no published scale that they could be taken from; where the
//! literature says what goes wrong how often, their order follows it. Scores add up over features and steps, which a
//! question of two easy halves pays for: it counts as harder than either. They do not claim that a score of 12 is twice
//! as hard as one of 6, and they know nothing of reading: how a story is told is not counted.
use alloc::{borrow::Cow, vec::Vec};

use smallvec::SmallVec;

use crate::{
    arithmetic::{Columns, Value, evaluate},
    columns,
    decimal::{Decimal, digit_count},
    expression::{Expression, Function, Names, Operation},
    question::{Question, Step, StepKind},
    working,
};

/// How far a division that does not end is followed, in places, where no rounding says it.
const QUOTIENT_PLACES: u32 = 6;

/// The greatest scores of levels 1 to 4; whatever is above is level 5.
pub const LEVEL_LIMITS: [u32; 4] = [5, 9, 14, 24];

/// Something in the working of a question that makes it harder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Feature {
    /// A step after the first.
    LaterStep,
    /// An earlier step's answer that a later step works with.
    BuildsOn,
    /// A numeral beyond two in one step.
    Operand,
    /// A place after the tenths that the finest numeral of the question shows.
    Place,
    /// A zero that holds a place inside a numeral, as in 4.07 or 0.05.
    ZeroInside,
    /// A sum, difference or comparison of decimals with different numbers of places.
    RaggedLengths,
    /// A whole number with a decimal in one sum or difference.
    WholeWithDecimal,
    /// A sum.
    Addition,
    /// A column that carries.
    Carry,
    /// A carry from the tenths to the ones.
    CarryAtPoint,
    /// A difference.
    Subtraction,
    /// A column that needs an exchange.
    Exchange,
    /// A zero that an exchange crosses.
    ZeroCrossed,
    /// A multiplication or division by a power of ten, conversions of units among them.
    PowerOfTen,
    /// A digit that the other factor is multiplied by.
    PartialProduct,
    /// A factor with places.
    DecimalFactor,
    /// A product with a factor below 1.
    FactorBelowOne,
    /// A digit of a quotient.
    QuotientDigit,
    /// A zero inside a quotient, or straight after its point.
    ZeroInQuotient,
    /// A zero brought down after the dividend's last digit.
    ZeroBroughtDown,
    /// A divisor with places.
    DecimalDivisor,
    /// A rounding.
    Rounding,
    /// A rounding of a number exactly half way.
    Halfway,
    /// A nine that a rounding rolls over.
    NineRolledOver,
    /// A numeral, beyond the first, that is compared.
    Compared,
    /// A place after the point in which the two numerals nearest to a decision agree.
    AgreeingPlace,
    /// A comparison won by a numeral with fewer places.
    ShorterIsLarger,
    /// A limit, beyond the first, from which the smallest that suffices is chosen.
    Limit,
    /// A story whose words suggest a wrong way: the family states that mistake.
    TemptingWords,
    /// A number told in words.
    InWords,
    /// A mistake to be found.
    MistakeToFind,
}

/// What is known of a feature.
#[derive(Debug)]
pub struct Weighed {
    /// The feature.
    pub feature: Feature,
    /// Its name in output: lower-case words.
    pub name: &'static str,
    /// What each occurrence adds to the score.
    pub weight: u32,
    /// Why it weighs so much.
    pub why: &'static str,
}

/// All features with their weights, in the order of [`Feature`].
pub static FEATURES: [Weighed; 31] = [
    row(Feature::LaterStep, "later steps", 1, "Another result is to be found and written down."),
    row(
        Feature::BuildsOn,
        "built on earlier steps",
        2,
        "The pupil must see what the earlier result is for, and its mistakes are carried on.",
    ),
    row(Feature::Operand, "operands beyond two", 1, "One more numeral to line up and to keep in mind."),
    row(
        Feature::Place,
        "places beyond tenths",
        2,
        "Hundredths and thousandths are met one school year after the other.",
    ),
    row(
        Feature::ZeroInside,
        "zeros inside numerals",
        2,
        "A zero that holds a place is left out or overlooked by four pupils in ten.",
    ),
    row(
        Feature::RaggedLengths,
        "ragged lengths",
        3,
        "Whole-number habits line up last digits and compare digit strings: the commonest rule of beginners.",
    ),
    row(
        Feature::WholeWithDecimal,
        "whole number with decimal",
        2,
        "The point that the whole number does not show must be placed.",
    ),
    row(Feature::Addition, "sums", 1, "The first written procedure, and the safest."),
    row(
        Feature::Carry,
        "carries",
        2,
        "Each carry can be dropped or written in full; still, one child in twenty only errs by system.",
    ),
    row(
        Feature::CarryAtPoint,
        "carries at the point",
        1,
        "The parts before and after the point are easily added as two numbers.",
    ),
    row(Feature::Subtraction, "differences", 2, "One procedure more, whose order matters."),
    row(
        Feature::Exchange,
        "exchanges",
        3,
        "Systematic errors are twice as frequent in subtraction as in the other operations, most of them here.",
    ),
    row(
        Feature::ZeroCrossed,
        "zeros crossed by an exchange",
        3,
        "Half of the described faulty procedures of subtraction are about zeros in the top number.",
    ),
    row(
        Feature::PowerOfTen,
        "powers of ten and conversions",
        1,
        "Digits move without being worked on; direction and number of places can go wrong.",
    ),
    row(Feature::PartialProduct, "partial products", 2, "One row of the long multiplication."),
    row(
        Feature::DecimalFactor,
        "factors with places",
        3,
        "Its places must be counted for the point, against the habit of addition.",
    ),
    row(
        Feature::FactorBelowOne,
        "products with a factor below 1",
        3,
        "The product gets smaller: where a story says so, right choices of the operation fall from 83 to 29 in 100.",
    ),
    row(
        Feature::QuotientDigit,
        "quotient digits",
        2,
        "One round of dividing, multiplying back, taking away and bringing down.",
    ),
    row(
        Feature::ZeroInQuotient,
        "zeros in a quotient",
        3,
        "A round in which nothing is taken is skipped, and the zero is missing.",
    ),
    row(
        Feature::ZeroBroughtDown,
        "zeros brought down",
        2,
        "The dividend shows no more digits, and the division goes on.",
    ),
    row(
        Feature::DecimalDivisor,
        "divisors with places",
        4,
        "Both numbers must be made larger by the same shift first, and 'division makes smaller' fails.",
    ),
    row(Feature::Rounding, "roundings", 2, "The place and the deciding digit are two decisions."),
    row(Feature::Halfway, "roundings half way", 1, "The rule for the half must be known."),
    row(Feature::NineRolledOver, "nines rolled over", 3, "The rounding changes digits left of its place."),
    row(
        Feature::Compared,
        "numerals compared",
        1,
        "One more numeral to hold against the others; three bring rules back that two did not show.",
    ),
    row(Feature::AgreeingPlace, "agreeing places", 2, "The decision falls one place further right."),
    row(
        Feature::ShorterIsLarger,
        "shorter numeral is larger",
        2,
        "'Longer is larger' gives the wrong answer here; three beginners in four follow it.",
    ),
    row(
        Feature::Limit,
        "limits to choose from",
        2,
        "A limit that suffices must be told from the nearest one.",
    ),
    row(Feature::TemptingWords, "tempting words", 4, "A word of the story suggests the wrong operation."),
    row(
        Feature::InWords,
        "numbers told in words",
        3,
        "The last place must be named, and the digits read as one number.",
    ),
    row(
        Feature::MistakeToFind,
        "mistakes to find",
        4,
        "Somebody else's way must be guessed from its result.",
    ),
];

const fn row(feature: Feature, name: &'static str, weight: u32, why: &'static str) -> Weighed {
    Weighed { feature, name, weight, why }
}

impl Feature {
    /// Name, weight and reason.
    #[must_use]
    pub fn weighed(self) -> &'static Weighed {
        &FEATURES[self as usize]
    }
}

/// How often each feature shows in the working of a question.
///
/// # Example
/// ```
/// use qbank::{bank, profile::{Feature, Profile}};
/// let item = bank::family("subtract-across-zero")?.draws("zeros", 0, "en-US").next().expect("it has questions")?;
/// let profile = Profile::of(&item);
/// assert!(profile.count(Feature::ZeroCrossed) >= 1);
/// assert_eq!(profile.level(), item.difficulty);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Profile([u32; FEATURES.len()]);

impl Profile {
    /// Counts the features of a question, over all its steps. Items are questions, too.
    ///
    /// A record need not be proven or sealed. A part of it that cannot be worked shows no feature: complaining is the
    /// business of [`Question::verify`].
    #[must_use]
    pub fn of(question: &Question) -> Self {
        let read = |step: &Step| step.expression.parse::<Expression>().ok();
        let expressions: Vec<Option<Expression>> = question.steps.iter().map(read).collect();
        Self::counted(question, expressions.iter().map(Option::as_ref), &question.given_names())
    }

    /// The same, where the expressions of the steps are read and the givens are known by name.
    pub(crate) fn counted<'e>(
        question: &Question,
        expressions: impl Iterator<Item = Option<&'e Expression>>,
        givens: &Names,
    ) -> Self {
        let mut names = Cow::Borrowed(givens);
        let mut profile = Self::default();
        let mut earlier: Vec<&str> = Vec::new();
        for (step, expression) in question.steps.iter().zip(expressions) {
            if !earlier.is_empty() {
                profile.add(Feature::LaterStep, 1);
            }
            if let Some(expression) = expression {
                let choices: Vec<Decimal> = step.choices.iter().filter_map(|choice| choice.value).collect();
                let mistakes = step.choices.iter().any(|choice| choice.mistake.is_some());
                profile.add(Feature::MistakeToFind, mistakes.into());
                profile.add(Feature::InWords, (step.kind == StepKind::Words).into());
                let choices = if mistakes { &[][..] } else { &choices };
                profile.add_step(expression, &names, &earlier, choices);
                // After the last step nothing works with its answer.
                if earlier.len() + 1 < question.steps.len() {
                    let value = value(step, expression, &names);
                    names.to_mut().extend(value.map(|value| (step.id.clone(), value)));
                }
            }
            let tempting = step.predicted.iter().any(|wrong| wrong.expression.is_some());
            profile.add(Feature::TemptingWords, tempting.into());
            earlier.push(&step.id);
        }
        profile
    }

    /// How often a feature shows.
    #[must_use]
    pub fn count(&self, feature: Feature) -> u32 {
        self.0[feature as usize]
    }

    /// The features that show, with how often, in the order of [`FEATURES`].
    pub fn iter(&self) -> impl Iterator<Item = (Feature, u32)> {
        FEATURES.iter().map(|row| row.feature).zip(self.0).filter(|(_, count)| *count > 0)
    }

    /// The weights of all occurrences together.
    #[must_use]
    pub fn score(&self) -> u32 {
        self.iter().map(|(feature, count)| feature.weighed().weight * count).sum()
    }

    /// From 1 (easy) to 5 (hard), by [`LEVEL_LIMITS`].
    #[must_use]
    pub fn level(&self) -> u8 {
        let score = self.score();
        (1..).zip(LEVEL_LIMITS).find(|(_, limit)| score <= *limit).map_or(5, |(level, _)| level)
    }

    /// Both together, as of two questions.
    #[must_use]
    pub fn with(mut self, other: &Self) -> Self {
        self.0.iter_mut().zip(other.0).for_each(|(count, more)| *count += more);
        self
    }

    fn add(&mut self, feature: Feature, count: usize) {
        self.0[feature as usize] += u32::try_from(count).unwrap_or_default();
    }

    fn add_step(&mut self, expression: &Expression, names: &Names, earlier: &[&str], choices: &[Decimal]) {
        if !earlier.is_empty() {
            let built_on = expression.names().iter().filter(|name| earlier.contains(name)).count();
            self.add(Feature::BuildsOn, built_on);
        }
        let mut reader = Reader { profile: self, names, numerals: 0, places: 0 };
        let result = reader.work(expression);
        // Where the expression only names the right choice, the choices are what is compared.
        if !choices.is_empty() && matches!(expression, Expression::Name(_)) {
            reader.comparison(choices);
        }
        let places = reader.places.max(result.map_or(0, |result| result.normalized().places()));
        let operands = reader.numerals;
        self.add(Feature::Operand, operands.saturating_sub(2));
        // The finest numeral of the whole question counts once.
        let finer = places.saturating_sub(1).saturating_sub(self.count(Feature::Place));
        self.add(Feature::Place, finer as usize);
    }
}

/// What later steps work with; a choice in the form in which it stands there.
fn value(step: &Step, expression: &Expression, names: &Names) -> Option<Decimal> {
    let Ok(Value::Number(found)) = evaluate(&Columns, expression, names) else {
        return None;
    };
    let chosen = step.choices.iter().find_map(|choice| choice.value.filter(|value| *value == found));
    Some(chosen.unwrap_or(found))
}

/// Walks one step's expression from the inside out, as it is worked on paper.
struct Reader<'r> {
    profile: &'r mut Profile,
    names: &'r Names,
    /// Numerals met so far; powers of ten that only move digits are none.
    numerals: usize,
    /// Most places met so far.
    places: u32,
}

impl Reader<'_> {
    /// Counts the features of a part and gives its value as it is written in the working.
    fn work(&mut self, part: &Expression) -> Option<Decimal> {
        match part {
            Expression::Literal(number) => Some(self.numeral(*number)),
            Expression::Name(name) => self.names.get(name).copied().map(|number| self.numeral(number)),
            Expression::Binary(Operation::Add, ..) => self.sum(part),
            Expression::Binary(Operation::Subtract, left, right) => self.difference(left, right),
            Expression::Binary(Operation::Multiply, left, right) => self.product(left, right),
            Expression::Binary(Operation::Divide, left, right) => self.quotient(left, right, QUOTIENT_PLACES),
            Expression::Call(Function::Round, arguments) => {
                let (number, places) = arguments.split_first()?;
                self.rounding(number, places.first()?.places_literal()?)
            }
            Expression::Call(Function::SmallestAtLeast, arguments) => {
                self.limits(arguments);
                self.value(part)
            }
            Expression::Comparison(left, right) => {
                let values = [self.work(left)?, self.work(right)?];
                self.comparison(&values);
                None
            }
            Expression::Order(_, values) => {
                let values: Vec<Decimal> = values.iter().filter_map(|each| self.work(each)).collect();
                self.comparison(&values);
                None
            }
            // A part of the numeral is looked at, not worked with.
            Expression::Call(Function::Whole | Function::Digit, arguments) => {
                self.work(arguments.first()?);
                self.value(part)
            }
            Expression::Call(Function::Max | Function::Min, arguments) => {
                let values: Vec<Decimal> = arguments.iter().filter_map(|each| self.work(each)).collect();
                self.comparison(&values);
                self.value(part)
            }
        }
    }

    fn value(&self, part: &Expression) -> Option<Decimal> {
        match evaluate(&Columns, part, self.names) {
            Ok(Value::Number(number)) => Some(number),
            _ => None,
        }
    }

    fn numeral(&mut self, number: Decimal) -> Decimal {
        self.numerals += 1;
        self.places = self.places.max(number.places());
        self.profile.add(Feature::ZeroInside, zeros_inside(&number));
        number
    }

    fn sum(&mut self, part: &Expression) -> Option<Decimal> {
        let addends = working::addends_of(part);
        let values: SmallVec<[Decimal; 4]> =
            addends.into_iter().map(|addend| self.work(addend)).collect::<Option<_>>()?;
        let worked = columns::add(&values).ok()?;
        self.profile.add(Feature::Addition, 1);
        self.profile.add(Feature::Carry, worked.carry_count());
        self.profile.add(Feature::CarryAtPoint, worked.carries_at_point().into());
        self.lengths(&values);
        worked.result().ok()
    }

    fn difference(&mut self, left: &Expression, right: &Expression) -> Option<Decimal> {
        let values = [self.work(left)?, self.work(right)?];
        let worked = columns::subtract(&values[0], &values[1]).ok()?;
        self.profile.add(Feature::Subtraction, 1);
        self.profile.add(Feature::Exchange, worked.exchange_count());
        self.profile.add(Feature::ZeroCrossed, worked.zeros_crossed());
        self.lengths(&values);
        worked.result().ok()
    }

    /// How the lengths of numerals under each other differ.
    fn lengths(&mut self, values: &[Decimal]) {
        let decimals = values.iter().filter(|value| value.places() > 0);
        let least = decimals.clone().map(Decimal::places).min();
        let most = decimals.clone().map(Decimal::places).max();
        let any_whole = decimals.count() < values.len();
        self.profile.add(Feature::RaggedLengths, (least != most).into());
        self.profile.add(Feature::WholeWithDecimal, (any_whole && most.is_some()).into());
    }

    fn product(&mut self, left: &Expression, right: &Expression) -> Option<Decimal> {
        if let Some((number, power)) = self.moved(left, right).or_else(|| self.moved(right, left)) {
            return columns::multiply(&number, &power).ok()?.result().ok();
        }
        let factors = [self.work(left)?, self.work(right)?];
        let rows = factors.iter().map(nonzero_digits).min().unwrap_or(0);
        self.profile.add(Feature::PartialProduct, rows);
        let decimal = |factor: &&Decimal| factor.normalized().places() > 0;
        self.profile.add(Feature::DecimalFactor, factors.iter().filter(decimal).count());
        let below_one = factors.iter().any(|factor| *factor < Decimal::from(1));
        self.profile.add(Feature::FactorBelowOne, below_one.into());
        columns::multiply(&factors[0], &factors[1]).ok()?.result().ok()
    }

    /// The number and the power of ten, if the second part is one: then digits only move.
    fn moved(&mut self, number: &Expression, power: &Expression) -> Option<(Decimal, Decimal)> {
        let power = match power {
            Expression::Literal(power) => *power,
            Expression::Name(name) => *self.names.get(name)?,
            _ => return None,
        };
        if !is_power_of_ten(&power) {
            return None;
        }
        let number = self.work(number)?;
        self.profile.add(Feature::PowerOfTen, 1);
        Some((number, power))
    }

    fn quotient(&mut self, left: &Expression, right: &Expression, most_places: u32) -> Option<Decimal> {
        if let Some((number, power)) = self.moved(left, right) {
            return Some(columns::divide(&number, &power, most_places).ok()?.quotient());
        }
        let (dividend, divisor) = (self.work(left)?, self.work(right)?);
        let quotient = columns::divide(&dividend, &divisor, most_places).ok()?.quotient();
        let digits = digits(&quotient);
        self.profile.add(Feature::QuotientDigit, digits);
        self.profile.add(Feature::ZeroInQuotient, zeros_inside(&quotient));
        let shown = dividend.places().saturating_sub(divisor.normalized().places());
        let annexed = quotient.places().saturating_sub(shown);
        self.profile.add(Feature::ZeroBroughtDown, annexed as usize);
        self.profile.add(Feature::DecimalDivisor, (divisor.normalized().places() > 0).into());
        Some(quotient)
    }

    fn rounding(&mut self, part: &Expression, places: u32) -> Option<Decimal> {
        // A quotient is worked one digit further than it is rounded to.
        let number = match part {
            Expression::Binary(Operation::Divide, left, right) => self.quotient(left, right, places + 1)?,
            _ => self.work(part)?,
        };
        let rounded = columns::round(&number, places).ok()?;
        let cut = columns::cut(&number, places).ok()?;
        self.profile.add(Feature::Rounding, 1);
        let halfway = number.places() > places
            && number.normalized().places() == places + 1
            && number.digit(i32::try_from(places + 1).ok()?) == 5;
        self.profile.add(Feature::Halfway, halfway.into());
        if rounded != cut {
            self.profile.add(Feature::NineRolledOver, end_nines(cut.point_removed()));
        }
        Some(rounded)
    }

    fn comparison(&mut self, values: &[Decimal]) {
        self.profile.add(Feature::Compared, values.len().saturating_sub(1));
        self.lengths(values);
        let mut sorted = values.to_vec();
        sorted.sort_unstable();
        let pairs = sorted.windows(2);
        self.profile.add(Feature::AgreeingPlace, pairs.map(agreeing_places).max().unwrap_or(0));
        let places = |value: &Decimal| value.places();
        let misleading = |pair: &[Decimal]| pair[0] < pair[1] && places(&pair[0]) > places(&pair[1]);
        self.profile.add(Feature::ShorterIsLarger, sorted.windows(2).any(misleading).into());
    }

    /// `smallest_at_least(x, limits…)`: limits are looked at, not worked with.
    fn limits(&mut self, arguments: &[Expression]) {
        if let Some((number, limits)) = arguments.split_first() {
            self.work(number);
            self.profile.add(Feature::Limit, limits.len().saturating_sub(1));
        }
    }
}

/// 10, 100, … and 0.1, 0.01, …, but not 1.
fn is_power_of_ten(number: &Decimal) -> bool {
    let plain = number.normalized();
    let mut units = plain.units();
    while units > 1 && units % 10 == 0 {
        units /= 10;
    }
    units == 1 && *number != Decimal::from(1)
}

/// The digits of a numeral from its last one that is not zero to its first.
fn significant(number: &Decimal) -> impl Iterator<Item = u8> {
    let plain = number.normalized();
    plain.digits_from_the_last().take(digits(&plain))
}

fn nonzero_digits(number: &Decimal) -> usize {
    significant(number).filter(|digit| *digit != 0).count()
}

fn digits(number: &Decimal) -> usize {
    let plain = number.normalized();
    if plain.is_zero() { 0 } else { digit_count(plain.point_removed()) as usize }
}

/// Zeros between digits that are not zero, and zeros straight after the point of a number below 1. The end zeros of
/// 40 or 4.50 are none of them.
fn zeros_inside(number: &Decimal) -> usize {
    let plain = number.normalized();
    if plain.is_zero() {
        return 0;
    }
    let count = digit_count(plain.point_removed()) as usize;
    let written = plain.digits_from_the_last().take(count);
    let inside = written.skip_while(|digit| *digit == 0).filter(|digit| *digit == 0).count();
    inside + (plain.places() as usize).saturating_sub(count)
}

fn end_nines(mut number: u128) -> usize {
    let mut nines = 0;
    while number % 10 == 9 {
        nines += 1;
        number /= 10;
    }
    nines
}

/// In how many places after the point two numerals agree before the first in which they differ; 0 where they differ
/// before the point, or nowhere.
fn agreeing_places(pair: &[Decimal]) -> usize {
    let [left, right] = pair else {
        return 0;
    };
    if left.whole_part() != right.whole_part() || left == right {
        return 0;
    }
    (1..).take_while(|place| left.digit(*place) == right.digit(*place)).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The profile of one step without names.
    fn profile(expression: &str) -> Profile {
        let mut profile = Profile::default();
        profile.add_step(&expression.parse().unwrap(), &Names::new(), &[], &[]);
        profile
    }

    #[test]
    fn the_table_is_in_the_order_of_the_features() {
        for (index, row) in FEATURES.iter().enumerate() {
            assert_eq!(row.feature as usize, index, "{}", row.name);
            assert!(row.weight > 0 && row.why.ends_with('.'), "{}", row.name);
        }
        assert_eq!(FEATURES.len(), Feature::MistakeToFind as usize + 1);
    }

    #[test]
    fn each_feature_of_one_step_fires_on_its_example_and_not_on_a_near_miss() {
        let cases = [
            (Feature::Operand, "1.2 + 3.4 + 5.1", 1, "1.2 + 3.4"),
            (Feature::Operand, "2 * 10 + 5 + 3 / 10 + 4 / 100", 2, "2 * 10 + 3 / 10"),
            (Feature::Place, "1.234 + 1.2", 2, "1.2 + 3"),
            (Feature::Place, "415 / 1000", 2, "4 / 10"),
            (Feature::ZeroInside, "4.07 + 0.05", 2, "40 + 4.70"),
            (Feature::RaggedLengths, "4.6 + 0.75", 1, "4.60 + 0.75"),
            (Feature::RaggedLengths, "0.35 ? 0.8", 1, "0.35 ? 0.80"),
            (Feature::WholeWithDecimal, "4 - 0.75", 1, "4.00 - 0.75"),
            (Feature::Addition, "4.6 + 0.75", 1, "4.6 - 0.75"),
            (Feature::Carry, "18.49 + 8.92 + 1.65", 3, "1.23 + 4.56"),
            (Feature::CarryAtPoint, "4.6 + 0.75", 1, "4.16 + 0.75"),
            (Feature::Subtraction, "4.6 - 0.75", 1, "4.6 + 0.75"),
            (Feature::Exchange, "7.42 - 3.18", 1, "7.48 - 3.12"),
            (Feature::ZeroCrossed, "9.04 - 3.28", 1, "9.14 - 3.28"),
            (Feature::ZeroCrossed, "20 - 14.65", 2, "29 - 14.00"),
            (Feature::PowerOfTen, "2.3 * 100", 1, "2.3 * 200"),
            (Feature::PowerOfTen, "2.3 / 0.1", 1, "2.3 / 1"),
            (Feature::PartialProduct, "2.3 * 1.4", 2, "2.3 * 10"),
            (Feature::DecimalFactor, "2.3 * 1.4", 2, "23 * 14"),
            (Feature::FactorBelowOne, "6 * 0.8", 1, "6 * 1.8"),
            (Feature::QuotientDigit, "8.24 / 4", 3, "8.24 / 10"),
            (Feature::ZeroInQuotient, "8.24 / 4", 1, "8.48 / 4"),
            (Feature::ZeroBroughtDown, "7 / 4", 2, "7.00 / 4"),
            (Feature::DecimalDivisor, "4.5 / 0.5", 1, "4.5 / 5.0"),
            (Feature::Rounding, "round(4.68, 1)", 1, "4.68 + 1"),
            (Feature::Halfway, "round(4.65, 1)", 1, "round(4.651, 1)"),
            (Feature::NineRolledOver, "round(9.96, 1)", 2, "round(9.94, 1)"),
            (Feature::Compared, "max(1.2, 1.5, 1.7)", 2, "1.2 + 1.5"),
            (Feature::Compared, "ascending(1.2, 1.5, 1.7, 1.1)", 3, "whole(1.2) + digit(1.5, 1)"),
            (Feature::AgreeingPlace, "3.541 ? 3.547", 2, "3.541 ? 3.647"),
            (Feature::ShorterIsLarger, "0.35 ? 0.8", 1, "0.85 ? 0.3"),
            (Feature::Limit, "smallest_at_least(7.5, 5, 10, 12.5)", 2, "max(7.5, 5, 10)"),
        ];
        for (feature, example, count, near_miss) in cases {
            assert_eq!(profile(example).count(feature), count, "{example}: {}", feature.weighed().name);
            assert_eq!(profile(near_miss).count(feature), 0, "{near_miss}: {}", feature.weighed().name);
        }
        let by_steps = [
            Feature::LaterStep,
            Feature::BuildsOn,
            Feature::TemptingWords,
            Feature::InWords,
            Feature::MistakeToFind,
        ];
        for row in &FEATURES {
            let tried = cases.iter().any(|(feature, ..)| *feature == row.feature);
            assert!(tried || by_steps.contains(&row.feature), "{} is not tried", row.name);
        }
    }

    #[test]
    fn kinds_of_step_have_features_of_their_own() {
        let profile = |family: &str| {
            let family = crate::bank::family(family).unwrap();
            Profile::of(&family.draws("kinds", 0, "en-US").next().unwrap().unwrap())
        };
        assert_eq!(profile("say-hundredths").count(Feature::InWords), 1);
        assert_eq!(profile("find-mistake-add").count(Feature::MistakeToFind), 1);
        assert_eq!(profile("find-mistake-add").count(Feature::InWords), 0);
        assert_eq!(profile("find-mistake-add").count(Feature::Compared), 0);
        assert_eq!(profile("order-four").count(Feature::MistakeToFind), 0);
    }

    #[test]
    fn a_quotient_is_followed_one_place_further_than_it_is_rounded_to() {
        let rounded = profile("round(8.5 / 3, 2)");
        assert_eq!((rounded.count(Feature::QuotientDigit), rounded.count(Feature::Rounding)), (4, 1));
    }

    #[test]
    fn what_cannot_be_worked_shows_nothing() {
        assert_eq!(profile("unknown + 1.23").count(Feature::Addition), 0);
        assert_eq!(profile("1.2 / 0").count(Feature::QuotientDigit), 0);
    }

    #[test]
    fn harder_variants_score_higher() {
        // Each is the one before with one thing made harder.
        let ladders: [&[&str]; 6] = [
            &["9.48 - 3.26", "9.44 - 3.26", "9.04 - 3.26", "90.04 - 3.26"],
            &["1.23 + 4.56", "1.27 + 4.56", "1.77 + 4.56", "1.77 + 4.56 + 2.12"],
            &["3.5 ? 3.7", "3.52 ? 3.71", "3.52 ? 3.57", "3.523 ? 3.57"],
            &["4.2 * 3", "4.2 * 13", "4.2 * 1.3", "4.2 * 0.13"],
            &["8.4 / 4", "8.44 / 4", "8.24 / 4", "8.24 / 0.4"],
            &["round(4.63, 1)", "round(4.65, 1)", "round(4.95, 1)", "round(9.95, 1)"],
        ];
        for ladder in ladders {
            let scores: Vec<u32> = ladder.iter().map(|rung| profile(rung).score()).collect();
            assert!(scores.is_sorted_by(|lower, higher| lower < higher), "{ladder:?}: {scores:?}");
        }
    }

    #[test]
    fn levels_go_by_the_limits() {
        let with_score = |score| {
            let mut profile = Profile::default();
            profile.add(Feature::Addition, score);
            profile
        };
        let levels = [0, 5, 6, 9, 10, 14, 15, 24, 25, 900].map(|score| with_score(score).level());
        assert_eq!(levels, [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]);
    }

    proptest! {
        /// Digits of the lower number that need an exchange make it harder than digits that do not.
        #[test]
        fn exchanges_never_make_it_easier(top in prop::collection::vec(1_u8..10, 4), bottom in prop::collection::vec(1_u8..10, 3)) {
            let numeral = |digits: &[u8]| {
                Decimal::new(digits.iter().fold(0, |sum, digit| sum * 10 + i128::from(*digit)), 2).unwrap()
            };
            let easy: Vec<u8> = bottom.iter().zip(&top[1..]).map(|(low, high)| *low.min(high)).collect();
            let score = |bottom: &[u8]| profile(&alloc::format!("{} - {}", numeral(&top), numeral(bottom))).score();
            prop_assert!(score(&bottom) >= score(&easy));
            prop_assert_eq!(score(&bottom) == score(&easy), bottom == easy);
        }

        /// A zero in the top number that an exchange must cross makes it harder than the same without the zero.
        #[test]
        fn an_exchange_across_zero_is_harder(ones in 2_u32..10, tenths in 2_u32..10, last in 1_u32..9, low in 1_u32..10) {
            prop_assume!(low > last && tenths > 1);
            let score = |tenths: u32| profile(&alloc::format!("{ones}.{tenths}{last} - 1.1{low}")).score();
            prop_assert!(score(0) > score(tenths));
        }

        /// Another operation never makes a question easier.
        #[test]
        fn parts_never_score_more_than_the_whole(a in 1_i128..100_000, b in 1_i128..100_000, p in 0_u32..4, q in 0_u32..4) {
            let (x, y) = (Decimal::new(a, p).unwrap(), Decimal::new(b, q).unwrap());
            for part in [alloc::format!("{x} + {y}"), alloc::format!("{x} * {y}"), alloc::format!("{x} / {y}")] {
                let whole = alloc::format!("({part}) + 1.1");
                prop_assert!(profile(&part).score() <= profile(&whole).score());
            }
        }
    }
}
