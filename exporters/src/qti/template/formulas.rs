//! The expression language over numbers that are only known when the platform draws.
//!
//! Column rules look at how numbers are written, so every number here has a known count of places, or a list of cases
//! with one each ([`Case`]); the first case whose test is true counts, and where none is, there is no value. The
//! same walk works an expression rightly and with a misconception's [`Bend`] in it, as [`qbank::misconceptions`]
//! does with its bent machine.
use std::collections::BTreeMap;

use qbank::expression::{Direction, Expression as Formula, Function, Operation};

use super::{
    Refusal,
    integer::{Fixed, Int, MOST, Test, lined_up, ten},
    misconceptions::{Bend, powers_of_ten::move_of_digits},
    program::Program,
};
use crate::qti::processing::Expression;

/// A value and when it is the one.
#[derive(Clone, Debug)]
pub(super) struct Case {
    pub(super) when: Test,
    pub(super) amount: Amount,
}

/// A number as far as the standard's integers hold it.
#[derive(Clone, Debug)]
pub(super) enum Amount {
    Fixed(Fixed),
    /// Whole and fraction apart, the fraction in units of the last place: together they are too long.
    Parts {
        whole: Int,
        fraction: Int,
        places: u32,
    },
}

impl Case {
    pub(super) fn new(when: Test, units: Int, places: u32) -> Self {
        Self { when, amount: Amount::Fixed(Fixed::new(units, places)) }
    }

    /// A whole part and a fraction part, in one number if that is short enough.
    pub(super) fn of_parts(when: Test, whole: &Int, fraction: &Int, places: u32) -> Self {
        let units = whole.raised(places).plus(fraction);
        let amount = if units.peak <= MOST {
            Amount::Fixed(Fixed::new(units, places))
        } else {
            Amount::Parts { whole: whole.clone(), fraction: fraction.clone(), places }
        };
        Self { when, amount }
    }

    fn fixed(&self) -> Result<&Fixed, Refusal> {
        match &self.amount {
            Amount::Fixed(fixed) => Ok(fixed),
            Amount::Parts { .. } => Err(Refusal::TooLarge),
        }
    }
}

impl Amount {
    fn peak(&self) -> i64 {
        match self {
            Self::Fixed(fixed) => fixed.units.peak,
            Self::Parts { whole, fraction, .. } => whole.peak.max(fraction.peak),
        }
    }

    pub(super) fn places(&self) -> u32 {
        match self {
            Self::Fixed(fixed) => fixed.places,
            Self::Parts { places, .. } => *places,
        }
    }

    /// As a float: one division at the end.
    pub(super) fn float(&self) -> Expression {
        let over = |units: &Int, places: u32| {
            if units.expression == Expression::Null {
                return Expression::Null;
            }
            let power = Int::from(ten(places)).expression;
            Expression::Divide(Box::new(units.expression.clone()), Box::new(power))
        };
        match self {
            Self::Fixed(fixed) => over(&fixed.units, fixed.places),
            Self::Parts { whole, fraction, places } => {
                Expression::Sum(vec![whole.expression.clone(), over(fraction, *places)])
            }
        }
    }
}

/// What works expressions.
pub(super) struct Formulas<'p> {
    pub(super) program: &'p mut Program,
    /// What names stand for.
    pub(super) names: &'p BTreeMap<String, Fixed>,
}

impl Formulas<'_> {
    /// What an expression gives, rightly or with a misconception at work.
    pub(super) fn number(&mut self, formula: &Formula, bend: Option<&Bend>) -> Result<Vec<Case>, Refusal> {
        let only = |fixed: Fixed| vec![Case { when: Test::TRUE, amount: Amount::Fixed(fixed) }];
        match formula {
            Formula::Literal(number) => Fixed::literal(number).map(only).ok_or(Refusal::TooLarge),
            Formula::Name(name) => self
                .names
                .get(name.as_str())
                .cloned()
                .map(only)
                .ok_or_else(|| Refusal::NoNumber { name: name.to_string() }),
            Formula::Binary(operation, left, right) => {
                let (left, right) = (self.number(left, bend)?, self.number(right, bend)?);
                self.operation(*operation, &left, &right, bend)
            }
            Formula::Call(function, arguments) => self.call(*function, arguments, bend),
            Formula::Comparison(..) | Formula::Order(..) => Err(Refusal::Nested),
        }
    }

    /// A value whose written form does not matter.
    pub(super) fn value(&mut self, formula: &Formula) -> Result<Fixed, Refusal> {
        let cases = self.number(formula, None)?;
        self.joined(&cases)
    }

    /// All cases in one number, with the places of the longest.
    pub(super) fn joined(&mut self, cases: &[Case]) -> Result<Fixed, Refusal> {
        let places = cases.iter().map(|case| case.amount.places()).max().unwrap_or(0);
        let units: Vec<(Test, Int)> = cases
            .iter()
            .map(|case| Ok((case.when.clone(), case.fixed()?.at(places))))
            .collect::<Result<_, Refusal>>()?;
        let units = self.program.choose(&units);
        Ok(Fixed::new(self.program.keep(&units), places))
    }

    fn kept(&mut self, case: &Case) -> Result<Fixed, Refusal> {
        let Fixed { units, places } = case.fixed()?;
        Ok(Fixed::new(self.program.keep(units), *places))
    }

    fn all_kept(&mut self, cases: &[Case]) -> Result<Vec<(Test, Fixed)>, Refusal> {
        cases.iter().map(|case| Ok((case.when.clone(), self.kept(case)?))).collect()
    }

    fn operation(
        &mut self,
        operation: Operation,
        left: &[Case],
        right: &[Case],
        bend: Option<&Bend>,
    ) -> Result<Vec<Case>, Refusal> {
        let (left, right) = (self.all_kept(left)?, self.all_kept(right)?);
        let mut cases = Vec::new();
        for (first, a) in &left {
            for (second, b) in &right {
                let both = first.and(second);
                let mut found = match bend {
                    Some(bend) => self.bent(operation, a, b, bend)?,
                    None => Vec::new(),
                };
                if !found.iter().any(|case| matches!(case.when, Test::Certain(true))) {
                    found.extend(self.right(operation, a, b, bend.is_some())?);
                }
                for case in &found {
                    self.program.reaches(case.when.peak().max(case.amount.peak()));
                }
                cases.extend(found.into_iter().map(|case| Case { when: both.and(&case.when), ..case }));
            }
        }
        cases.retain(|case| !matches!(case.when, Test::Certain(false)));
        Ok(cases)
    }

    /// What a misconception makes of an operation, where it is at work.
    fn bent(
        &mut self,
        operation: Operation,
        a: &Fixed,
        b: &Fixed,
        bend: &Bend,
    ) -> Result<Vec<Case>, Refusal> {
        Ok(match bend {
            Bend::Operation(bent, rule) if *bent == operation => rule(self.program, a, b),
            Bend::Exercise(bent, rule) if *bent == operation => {
                let mut cases = Vec::new();
                for (when, operation, a, b) in rule(self.program, a, b) {
                    // Where the other exercise has no answer, there is no answer.
                    let worked = self.right(operation, &a, &b, true)?;
                    cases.extend(worked.into_iter().map(|case| Case { when: when.and(&case.when), ..case }));
                    cases.push(Case::new(when, Int::null(), 0));
                }
                cases
            }
            Bend::ZeroDropped if operation == Operation::Divide => {
                let (exact, quotient) = self.quotient(a, b, true)?;
                super::misconceptions::division::zero_dropped(self.program, &exact, &quotient)
            }
            Bend::PowerOfTen(rule) => {
                let mut cases = Vec::new();
                for (when, number, shift) in move_of_digits(operation, a, b) {
                    let wrong = rule(self.program, &number, shift);
                    cases.extend(wrong.into_iter().map(|case| Case { when: when.and(&case.when), ..case }));
                }
                cases
            }
            _ => Vec::new(),
        })
    }

    /// The right result. With `all`, every quotient that ends must be found; otherwise those that fit will do, since
    /// others are not drawn.
    fn right(&mut self, operation: Operation, a: &Fixed, b: &Fixed, all: bool) -> Result<Vec<Case>, Refusal> {
        let (top, bottom, places) = lined_up(a, b);
        Ok(match operation {
            Operation::Add => vec![Case::new(Test::TRUE, top.plus(&bottom), places)],
            Operation::Subtract => {
                let (test, difference) = (top.at_least(&bottom), top.minus(&bottom));
                vec![Case::new(test, difference.within(0, MOST), places)]
            }
            Operation::Multiply => {
                vec![Case::new(Test::TRUE, a.units.times(&b.units), a.places + b.places)]
            }
            Operation::Divide => {
                let (exact, quotient) = self.quotient(a, b, all)?;
                written_short(&exact, &quotient)
            }
        })
    }

    /// Whether a quotient ends, and its value then.
    fn quotient(&mut self, a: &Fixed, b: &Fixed, all: bool) -> Result<(Test, Fixed), Refusal> {
        let longest = self.program.possible(&b.units).into_iter().map(places_of_part).max().unwrap_or(0);
        let least = a.places.saturating_sub(b.places);
        let needed = (longest + a.places).saturating_sub(b.places).max(least);
        let dividend = |places: u32| a.units.raised(places + b.places - a.places);
        let fitting = (least..=needed).rev().find(|places| dividend(*places).peak <= MOST);
        let places = fitting.filter(|places| !all || *places == needed).ok_or(Refusal::TooLarge)?;
        let dividend = self.program.keep(&dividend(places));
        let exact = dividend.modulo(&b.units).is(0);
        let quotient = self.program.keep(&dividend.over(&b.units));
        Ok((exact, Fixed::new(quotient, places)))
    }

    fn call(
        &mut self,
        function: Function,
        arguments: &[Formula],
        bend: Option<&Bend>,
    ) -> Result<Vec<Case>, Refusal> {
        let place = || arguments[1].places_literal().expect("the parser admits only literal places");
        match function {
            Function::Round => {
                if let Some((number, by)) = quotient_of(&arguments[0])
                    && !is_power_of_ten(by)
                {
                    return self.rounded_quotient(number, by, place(), bend);
                }
                self.rounded(&arguments[0], place(), bend)
            }
            Function::Whole => match quotient_of(&arguments[0]) {
                Some((number, by)) => self.whole_quotient(number, by, bend),
                None => self.each(&arguments[0], bend, |fixed| (fixed.whole(), 0)),
            },
            Function::Digit => {
                let place = place();
                self.each(&arguments[0], bend, |fixed| (fixed.digit(place), 0))
            }
            Function::Max => self.extreme(arguments, bend, true),
            Function::Min => self.extreme(arguments, bend, false),
            Function::SmallestAtLeast => self.smallest_at_least(arguments, bend),
        }
    }

    fn each(
        &mut self,
        formula: &Formula,
        bend: Option<&Bend>,
        change: impl Fn(&Fixed) -> (Int, u32),
    ) -> Result<Vec<Case>, Refusal> {
        let cases = self.number(formula, bend)?;
        let kept = self.all_kept(&cases)?;
        Ok(kept
            .into_iter()
            .map(|(when, fixed)| {
                let (units, places) = change(&fixed);
                Case::new(when, units, places)
            })
            .collect())
    }

    fn rounded(&mut self, formula: &Formula, places: u32, bend: Option<&Bend>) -> Result<Vec<Case>, Refusal> {
        let cases = self.number(formula, bend)?;
        let mut found = Vec::new();
        for (when, number) in self.all_kept(&cases)? {
            if let Some(Bend::Round(rule)) = bend {
                let wrong = rule(self.program, &number, places);
                found.extend(wrong.into_iter().map(|case| Case { when: when.and(&case.when), ..case }));
            }
            found.push(Case::new(when, round(&number, places), places));
        }
        Ok(found)
    }

    /// The exercises that may be worked in the place of a division, the right one last, and when.
    fn divisions(
        &mut self,
        number: &Formula,
        by: &Formula,
        bend: Option<&Bend>,
    ) -> Result<Vec<(Test, Operation, Fixed, Fixed)>, Refusal> {
        let (left, right) = (self.number(number, bend)?, self.number(by, bend)?);
        let (left, right) = (self.all_kept(&left)?, self.all_kept(&right)?);
        let mut found = Vec::new();
        for (first, a) in &left {
            for (second, b) in &right {
                let both = first.and(second);
                let mut exercises = match bend {
                    Some(Bend::Exercise(Operation::Divide, rule)) => rule(self.program, a, b),
                    Some(Bend::Operation(Operation::Divide, _) | Bend::PowerOfTen(_) | Bend::ZeroDropped) => {
                        return Err(Refusal::PartOfBent);
                    }
                    _ => Vec::new(),
                };
                exercises.push((Test::TRUE, Operation::Divide, a.clone(), b.clone()));
                found.extend(exercises.into_iter().map(|(when, what, a, b)| (both.and(&when), what, a, b)));
            }
        }
        Ok(found)
    }

    /// How often a number goes into another: also of a quotient that does not end.
    fn whole_quotient(
        &mut self,
        number: &Formula,
        by: &Formula,
        bend: Option<&Bend>,
    ) -> Result<Vec<Case>, Refusal> {
        let mut found = Vec::new();
        for (when, operation, a, b) in self.divisions(number, by, bend)? {
            let whole = if operation == Operation::Divide {
                let (top, bottom, _) = lined_up(&a, &b);
                top.over(&bottom)
            } else {
                Fixed::new(a.units.times(&b.units), a.places + b.places).whole()
            };
            self.program.reaches(whole.peak);
            found.push(Case::new(when, whole, 0));
        }
        Ok(found)
    }

    /// Half up, also of a quotient that does not end. A rule of rounding looks at all digits or, where there is no end, at two
    /// more than are kept, as the question bank's does.
    fn rounded_quotient(
        &mut self,
        number: &Formula,
        by: &Formula,
        places: u32,
        bend: Option<&Bend>,
    ) -> Result<Vec<Case>, Refusal> {
        let mut found = Vec::new();
        for (when, operation, a, b) in self.divisions(number, by, bend)? {
            if operation != Operation::Divide {
                let product = Fixed::new(a.units.times(&b.units), a.places + b.places);
                found.push(Case::new(when, round(&product, places), places));
                continue;
            }
            if let Some(Bend::Round(rule)) = bend {
                let (exact, quotient) = self.quotient(&a, &b, true)?;
                let mut numerals = written_short(&exact, &quotient);
                let (dividend, divisor) = (a.units.raised(places + 2 + b.places), b.units.raised(a.places));
                self.program.reaches(dividend.peak.max(divisor.peak));
                numerals.push(Case::new(exact.not(), dividend.over(&divisor), places + 2));
                for case in numerals {
                    let written = when.and(&case.when);
                    let number = self.kept(&case)?;
                    let wrong = rule(self.program, &number, places);
                    found
                        .extend(wrong.into_iter().map(|case| Case { when: written.and(&case.when), ..case }));
                }
            }
            // Twice the dividend and once the divisor, over twice the divisor.
            let (dividend, divisor) = (a.units.raised(places + b.places), b.units.raised(a.places));
            let twice = Int::from(2);
            let rounded = dividend.times(&twice).plus(&divisor).over(&divisor.times(&twice));
            self.program.reaches(rounded.peak);
            found.push(Case::new(when, rounded, places));
        }
        Ok(found)
    }

    /// The arguments as numbers that can be compared.
    fn compared(&mut self, arguments: &[Formula], bend: Option<&Bend>) -> Result<Vec<Fixed>, Refusal> {
        let each = arguments.iter().map(|argument| {
            let cases = self.number(argument, bend)?;
            if matches!(bend, Some(Bend::Compare(_))) && cases.len() > 1 {
                return Err(Refusal::Nested);
            }
            self.joined(&cases)
        });
        each.collect()
    }

    fn extreme(
        &mut self,
        arguments: &[Formula],
        bend: Option<&Bend>,
        largest: bool,
    ) -> Result<Vec<Case>, Refusal> {
        let values = self.compared(arguments, bend)?;
        let mut cases = Vec::new();
        for (index, value) in values.iter().enumerate() {
            let mut tests = Vec::new();
            for (other, than) in values.iter().enumerate().filter(|(other, _)| *other != index) {
                let below =
                    if largest { self.order(than, value, bend).0 } else { self.order(value, than, bend).0 };
                // Of equal ones the first is taken.
                let test = if index < other {
                    let beyond = if largest {
                        self.order(value, than, bend).0
                    } else {
                        self.order(than, value, bend).0
                    };
                    beyond.not()
                } else {
                    below
                };
                tests.push(test);
            }
            cases.push(Case { when: Test::all(tests), amount: Amount::Fixed(value.clone()) });
        }
        Ok(cases)
    }

    fn smallest_at_least(
        &mut self,
        arguments: &[Formula],
        bend: Option<&Bend>,
    ) -> Result<Vec<Case>, Refusal> {
        let values = self.compared(arguments, bend)?;
        let (amount, limits) = values.split_first().ok_or(Refusal::Nested)?;
        let mut cases = Vec::new();
        for limit in limits {
            let fits = self.order(limit, amount, bend).0.not();
            let mut tests = vec![fits];
            for other in limits {
                let too_small = self.order(other, amount, bend).0;
                let larger = self.order(other, limit, bend).0.not();
                tests.push(too_small.or(&larger));
            }
            cases.push(Case { when: Test::all(tests), amount: Amount::Fixed(limit.clone()) });
        }
        Ok(cases)
    }

    /// Whether one number comes below another, and whether above.
    pub(super) fn order(&mut self, a: &Fixed, b: &Fixed, bend: Option<&Bend>) -> (Test, Test) {
        let (first, second) = match bend {
            Some(Bend::Compare(key)) => (key(self.program, a), key(self.program, b)),
            _ => {
                let (a, b, _) = lined_up(a, b);
                (vec![a], vec![b])
            }
        };
        let below = |one: &[Int], other: &[Int]| {
            one.iter()
                .zip(other)
                .rev()
                .fold(Test::Certain(false), |later, (a, b)| a.below(b).or(&a.equals(b).and(&later)))
        };
        let (less, greater) = (below(&first, &second), below(&second, &first));
        self.program.reaches(less.peak().max(greater.peak()));
        (less, greater)
    }

    /// Whether the left side of a comparison comes below the right one, and whether above.
    pub(super) fn comparison(
        &mut self,
        left: &Formula,
        right: &Formula,
        bend: Option<&Bend>,
    ) -> Result<(Test, Test), Refusal> {
        let sides = self.compared(&[left.clone(), right.clone()], bend)?;
        Ok(self.order(&sides[0], &sides[1], bend))
    }

    /// Which rank each value has in an order, from 0; equal ones as they are named.
    pub(super) fn ranks(
        &mut self,
        direction: Direction,
        values: &[Formula],
        bend: Option<&Bend>,
    ) -> Result<Vec<Int>, Refusal> {
        let values = self.compared(values, bend)?;
        let mut ranks = Vec::new();
        for (index, value) in values.iter().enumerate() {
            let mut rank = Int::from(0);
            for (other, than) in values.iter().enumerate().filter(|(other, _)| *other != index) {
                let (less, greater) = self.order(than, value, bend);
                let (first, last) = match direction {
                    Direction::Ascending => (less, greater),
                    Direction::Descending => (greater, less),
                };
                let before = if other < index { last.not() } else { first };
                rank = rank.plus(&self.program.indicator(&before));
            }
            let top = i64::try_from(values.len()).unwrap_or(MOST) - 1;
            ranks.push(self.program.keep(&rank.within(0, top)));
        }
        Ok(ranks)
    }
}

/// A quotient has as few places as it needs.
fn written_short(exact: &Test, quotient: &Fixed) -> Vec<Case> {
    let ends = |places: u32| quotient.units.last(quotient.places - places).is(0);
    let mut cases: Vec<Case> = (0..quotient.places)
        .map(|places| {
            let units = quotient.units.cut(quotient.places - places);
            Case::new(exact.and(&ends(places)), units, places)
        })
        .collect();
    cases.push(Case::new(exact.clone(), quotient.units.clone(), quotient.places));
    cases
}

/// How many places one over a number has, if it ends; otherwise what its twos and fives need.
fn places_of_part(number: i64) -> u32 {
    let count = |prime: i64| {
        let (mut rest, mut count) = (number, 0);
        while rest > 0 && rest % prime == 0 {
            rest /= prime;
            count += 1;
        }
        count
    };
    count(2).max(count(5))
}

/// Half up.
pub(super) fn round(number: &Fixed, places: u32) -> Int {
    match number.places.checked_sub(places) {
        None | Some(0) => number.at(places),
        Some(dropped) => number.units.add(5 * ten(dropped - 1)).cut(dropped),
    }
}

fn quotient_of(formula: &Formula) -> Option<(&Formula, &Formula)> {
    match formula {
        Formula::Binary(Operation::Divide, number, by) => Some((number, by)),
        _ => None,
    }
}

fn is_power_of_ten(formula: &Formula) -> bool {
    let Formula::Literal(number) = formula else { return false };
    let mut units = number.units();
    while units > 0 && units % 10 == 0 {
        units /= 10;
    }
    units == 1
}
