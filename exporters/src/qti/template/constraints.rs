//! What a family demands of its numbers, as template constraints.
use qbank::{
    expression::{Expression as Formula, Operation},
    family::{Condition, Feature, Relation},
};

use super::{
    Mapping, Refusal,
    integer::{Fixed, Int, Test, lined_up, ten},
    misconceptions::Working,
};

impl Mapping<'_> {
    pub(super) fn add_constraints(&mut self) -> Result<(), Refusal> {
        let family = self.family;
        for condition in &family.conditions {
            let test = match condition {
                Condition::Relation(relation) => self.relation(relation)?,
                Condition::Any(relations) => {
                    let tests = relations.iter().map(|relation| self.relation(relation));
                    Test::any(tests.collect::<Result<Vec<_>, _>>()?)
                }
                Condition::Feature { of, feature } => self.feature(of, feature)?,
            };
            self.demand(&test)?;
        }
        Ok(())
    }

    fn relation(&mut self, relation: &Relation) -> Result<Test, Refusal> {
        let [left, right] = relation.sides();
        let left = self.formulas().value(left)?;
        let right = self.formulas().value(right)?;
        let (left, right, _) = lined_up(&left, &right);
        let allowed = relation.allowed().iter().map(|ordering| match ordering {
            std::cmp::Ordering::Less => left.below(&right),
            std::cmp::Ordering::Equal => left.equals(&right),
            std::cmp::Ordering::Greater => right.below(&left),
        });
        Ok(Test::any(allowed))
    }

    fn feature(&mut self, of: &Formula, feature: &Feature) -> Result<Test, Refusal> {
        let Formula::Binary(operation, left, right) = of else { return Err(Refusal::Nested) };
        let (left, right) = (self.formulas().value(left)?, self.formulas().value(right)?);
        let counted = match (operation, feature) {
            (Operation::Add, Feature::Carries(range)) => Some((self.carries(&left, &right), range)),
            (Operation::Subtract, Feature::Exchanges(range)) => {
                Some((self.exchanges(&left, &right, false), range))
            }
            _ => None,
        };
        if let Some((count, range)) = counted {
            let end = |end: usize| i64::try_from(end).unwrap_or(i64::MAX);
            let (least, most) = (end(*range.start()), end(*range.end()));
            return Ok(count.at_least(&least.into()).and(&count.below(&(most + 1).into())));
        }
        match feature {
            Feature::AcrossZero(wanted) => {
                let crossed = self.exchanges(&left, &right, true).at_least(&1.into());
                Ok(if *wanted { crossed } else { crossed.not() })
            }
            Feature::Carries(_) | Feature::Exchanges(_) => Err(Refusal::Nested),
        }
    }

    /// How many columns carry.
    fn carries(&mut self, a: &Fixed, b: &Fixed) -> Int {
        let (top, bottom, _) = lined_up(a, b);
        let columns = (*top.digit_counts().end()).max(*bottom.digit_counts().end());
        let mut count = Int::from(0);
        for column in 1..=columns {
            let sum = top.last(column).plus(&bottom.last(column));
            count = count.plus(&self.program.indicator(&sum.at_least(&ten(column).into())));
        }
        self.program.keep(&count)
    }

    /// How many columns need an exchange, or how many zeros exchanges cross.
    fn exchanges(&mut self, a: &Fixed, b: &Fixed, zeros: bool) -> Int {
        let mut working = Working::new(&mut self.program, a, b);
        let mut count = Int::from(0);
        for column in 0..working.top.len() {
            let need = working.too_small(column);
            if zeros {
                for left in column + 2..working.now.len() {
                    let lends = need.and(&working.lends(column, left));
                    let crossed = i64::try_from(left - column - 1).unwrap_or(1);
                    let crossed = self.program.either(&lends, &crossed.into(), &0.into());
                    count = count.plus(&crossed);
                }
            } else {
                count = count.plus(&self.program.indicator(&need));
            }
            working.exchange(&mut self.program, column, &need, Some(9));
        }
        self.program.keep(&count)
    }
}
