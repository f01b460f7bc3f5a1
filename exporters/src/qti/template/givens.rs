//! The givens of a family as template variables: drawn in integers, by construction within what the family allows.
use std::{cmp::Ordering, ops::RangeInclusive};

use qbank::{
    decimal::Decimal,
    expression::{Expression as Formula, Function},
    family::{AllowedDigits, Condition, GivenRange, Numbers},
    misconceptions::Misconception,
};

use super::{
    Mapping, Refusal,
    integer::{Fixed, Int, Test, ten},
    misconceptions::{predicted, translated},
};
use crate::qti::{
    model::{BaseType, Identifier},
    processing::{Expression, Value},
};

/// What each mistake leads to that a given may come from.
pub(super) struct Mistakes {
    /// The misconceptions with the number each leads to.
    pub(super) each: Vec<(&'static Misconception, Fixed)>,
    /// Which of them was drawn.
    pub(super) which: Int,
}

impl Mapping<'_> {
    pub(super) fn add_givens(&mut self) -> Result<(), Refusal> {
        let family = self.family;
        family.givens.iter().try_for_each(|given| {
            let number = self.given(given)?;
            self.know("GIVEN", &given.name, &number)
        })
    }

    fn given(&mut self, given: &GivenRange) -> Result<Fixed, Refusal> {
        match &given.numbers {
            Numbers::Range { from, to, places, digits } => {
                let bound = |units: u64| i64::try_from(units).map_err(|_| Refusal::TooLarge);
                let range = bound(*from)?..=bound(*to)?;
                let free = |column: usize| (0..10).all(|digit| digits.allow(column, digit));
                let whole_is_free = (*places as usize..9).all(free);
                let units = match self.shares_whole_part(&given.name) {
                    Some(other) if whole_is_free => {
                        self.with_whole_part(&given.name, &other.whole(), *places, range, digits)?
                    }
                    _ => self.in_range(&given.name, range, digits)?,
                };
                Ok(Fixed::new(units, *places))
            }
            Numbers::List(values) => self.listed(&given.name, values),
            Numbers::Derived { expression, places } => {
                let number = self.formulas().value(expression)?;
                self.demand_value(&number)?;
                match places.or_else(|| self.written_places(expression)) {
                    Some(places) => self.with_places(&number, places),
                    None => self.settled(&number, &given.name),
                }
            }
            Numbers::Mistaken { of, by } => self.mistaken(&given.name, of, by),
        }
    }

    /// The places of what is written out as such, and not worked.
    fn written_places(&self, formula: &Formula) -> Option<u32> {
        match formula {
            Formula::Name(name) => self.names.get(name.as_str()).map(|number| number.places),
            Formula::Literal(number) => Some(number.places()),
            _ => formula.rounded_places(),
        }
    }

    fn drawn(&mut self, name: &str, expression: Expression, low: i64, high: i64) -> Result<Int, Refusal> {
        let variable = Identifier::new(name)?;
        self.program.set(&variable, BaseType::Integer, expression);
        Ok(Int { expression: Expression::variable(&variable), low, high, peak: high.abs() })
    }

    fn random(&mut self, name: &str, range: RangeInclusive<i64>, step: i64) -> Result<Int, Refusal> {
        let (low, high) = range.into_inner();
        if low == high {
            return Ok(low.into());
        }
        let small = |number: i64| u32::try_from(number).map_err(|_| Refusal::TooLarge);
        let drawn = Expression::RandomInteger { min: small(low)?, max: small(high)?, step: small(step)? };
        self.drawn(name, drawn, low, high)
    }

    fn one_of(&mut self, name: &str, values: &[i64]) -> Result<Int, Refusal> {
        let drawn = self.any_of(name, values)?;
        if let Expression::Variable(variable) = &drawn.expression {
            self.program.can_only_be(variable, values.to_vec());
        }
        Ok(drawn)
    }

    fn any_of(&mut self, name: &str, values: &[i64]) -> Result<Int, Refusal> {
        let (low, high) =
            (values.iter().min().copied().unwrap_or(0), values.iter().max().copied().unwrap_or(0));
        if let [first, second, ..] = values {
            let step = second - first;
            if step > 0 && values.windows(2).all(|pair| pair[1] - pair[0] == step) {
                return self.random(name, low..=high, step);
            }
        } else {
            return Ok(low.into());
        }
        let each = values.iter().map(|value| Int::from(*value).expression).collect();
        self.drawn(name, Expression::Random(Box::new(Expression::Multiple(each))), low, high)
    }

    /// Digits with a choice of their own are drawn one by one, what stands left of them as one number.
    fn in_range(
        &mut self,
        name: &str,
        range: RangeInclusive<i64>,
        digits: &AllowedDigits,
    ) -> Result<Int, Refusal> {
        let (from, to) = range.into_inner();
        let free = |column: u32| (0..10).all(|digit| digits.allow(column as usize, digit));
        let Some(highest) = (0..9_u32).rev().find(|column| !free(*column)) else {
            return self.random(&format!("DRAW_{name}"), from..=to, 1);
        };
        let allowed = |column: u32| allowed(digits, column);
        let end = |last: bool| -> i64 {
            (0..=highest)
                .map(|column| {
                    let digits = allowed(column);
                    let digit = if last { digits.last() } else { digits.first() };
                    digit.copied().unwrap_or(0) * ten(column)
                })
                .sum()
        };
        let scale = ten(highest + 1);
        let (least, most) = (end(false), end(true));
        // So that whatever digits follow, the number lies in the range; if that leaves none, the range is demanded.
        let low = (from - least + scale - 1).div_euclid(scale).max(0);
        let high = (to - most).div_euclid(scale);
        let certain = low <= high;
        let (low, high) = if certain { (low, high) } else { (from / scale, to / scale) };
        let front = self.random(&format!("DRAW_{name}"), low..=high, 1)?;
        let mut units = front.raised(highest + 1);
        for column in 0..=highest {
            let digit = self.one_of(&format!("DRAW_{name}_{column}"), &allowed(column))?;
            units = units.plus(&digit.raised(column));
        }
        let units = self.program.keep(&units);
        if !certain {
            self.demand(&units.at_least(&from.into()))?;
            self.demand(&units.below(&(to + 1).into()))?;
        }
        Ok(units.within(from, to))
    }

    /// An earlier given that the family wants to have the same whole part.
    fn shares_whole_part(&self, name: &str) -> Option<Fixed> {
        let other = |condition: &Condition| {
            let Condition::Relation(relation) = condition else { return None };
            let whole = |side: &Formula| match side {
                Formula::Call(Function::Whole, arguments) => match &arguments[..] {
                    [Formula::Name(name)] => Some(name.clone()),
                    _ => None,
                },
                _ => None,
            };
            let [left, right] = relation.sides().map(whole);
            let (left, right) = (left?, right?);
            let other = if left == name { right } else { Some(left).filter(|_| right == name)? };
            (relation.allowed() == [Ordering::Equal]).then(|| self.names.get(other.as_str()).cloned())?
        };
        self.family.conditions.iter().find_map(other)
    }

    /// A number with a whole part that is known, and digits drawn one by one behind it.
    fn with_whole_part(
        &mut self,
        name: &str,
        whole: &Int,
        places: u32,
        range: RangeInclusive<i64>,
        digits: &AllowedDigits,
    ) -> Result<Int, Refusal> {
        let mut units = whole.raised(places);
        for column in 0..places {
            let digit = self.one_of(&format!("DRAW_{name}_{column}"), &allowed(digits, column))?;
            units = units.plus(&digit.raised(column));
        }
        let units = self.program.keep(&units);
        let (from, to) = range.into_inner();
        self.demand(&units.at_least(&from.into()))?;
        self.demand(&units.below(&(to + 1).into()))?;
        Ok(units.within(from, to))
    }

    /// Those of the list that have the same count of places, the most of them.
    fn listed(&mut self, name: &str, values: &[Decimal]) -> Result<Fixed, Refusal> {
        let count = |places: u32| values.iter().filter(|value| value.places() == places).count();
        let places = values.iter().map(Decimal::places).max_by_key(|places| (count(*places), *places));
        let places = places.ok_or(Refusal::NeverFits)?;
        let mut units: Vec<i64> = values
            .iter()
            .filter(|value| value.places() == places)
            .map(|value| i64::try_from(value.units()).map_err(|_| Refusal::TooLarge))
            .collect::<Result<_, _>>()?;
        units.sort_unstable();
        Ok(Fixed::new(self.one_of(&format!("DRAW_{name}"), &units)?, places))
    }

    /// All mistakes are worked, since all can be chosen; one is drawn.
    fn mistaken(
        &mut self,
        name: &str,
        of: &Formula,
        by: &[&'static Misconception],
    ) -> Result<Fixed, Refusal> {
        let right = self.formulas().value(of)?;
        let last = i64::try_from(by.len()).unwrap_or(1) - 1;
        let which = self.random(&format!("DRAW_{name}"), 0..=last, 1)?;
        let mut each = Vec::new();
        for misconception in by {
            let id = misconception.id;
            let bend = translated(id).ok_or(Refusal::Misconception { id })?;
            let mut formulas = self.formulas();
            let cases = predicted(&mut formulas, of, &bend)?;
            let number = formulas.joined(&cases)?;
            self.demand_value(&number)?;
            let (wrong, rightly) =
                (number.at(number.places.max(right.places)), right.at(number.places.max(right.places)));
            self.demand(&wrong.equals(&rightly).not())?;
            each.push((*misconception, number));
        }
        let places = each.iter().map(|(_, number)| number.places).max().unwrap_or(0);
        let cases: Vec<(Test, Int)> = each
            .iter()
            .zip(0_i64..)
            .map(|((_, number), index)| (which.is(index), number.at(places)))
            .collect();
        let shown = Fixed::new(self.program.choose(&cases), places);
        let shown = self.settled(&shown, name)?;
        self.mistakes.insert(name.to_owned(), Mistakes { each, which });
        Ok(shown)
    }
}

/// The digits that may stand in a column.
fn allowed(digits: &AllowedDigits, column: u32) -> Vec<i64> {
    (0..10_u8).filter(|digit| digits.allow(column as usize, *digit)).map(i64::from).collect()
}

/// A literal text.
pub(super) fn text(value: &str) -> Expression {
    Expression::BaseValue(Value::Text(value.to_owned()))
}
