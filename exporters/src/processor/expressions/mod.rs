//! The standard's expressions: all operators that an item can use, how many operands each takes, and what it gives.
//!
//! This folder alone knows operators. [`Expression::read`] takes them from a document, [`Expression::evaluate`] works
//! them out. NULL in gives NULL out but where an operator says otherwise (`logic`, `containers`). A result that is no
//! finite float or no integer of 32 bits is NULL, too.
mod area;
mod containers;
mod logic;
mod numbers;
mod operator;
mod rounding;
#[cfg(test)]
mod tests;
mod texts;
mod variables;

use std::ops::Deref;

pub use self::{
    area::Area,
    operator::{Count, Operator},
};
use smallvec::SmallVec;

use super::{
    document::Element,
    fault::{Failure, Fault, Reason},
    value::{Scalar, Value},
    variables::{Chance, Variables},
};

/// An expression: an operator and what it works on.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    /// The operator.
    pub operator: Operator,
    /// Its operands, as many as it takes.
    pub operands: Vec<Self>,
    /// Where it stands, from 1.
    pub line: u64,
}

/// What expressions can ask for.
pub struct Scope<'s> {
    /// The variables.
    pub variables: &'s Variables<'s>,
    /// The choices left to chance.
    pub chance: &'s mut Chance,
}

type Found = Result<Value, Reason>;

/// What an expression is worked out to. A value that stands in the item or in a variable is looked at where it stands, as most of
/// an item is worked out in every session with it.
#[derive(Clone, Debug)]
pub enum Operand<'s> {
    /// One that stands there.
    Here(&'s Value),
    /// One that was made. (Boxed: it is handed on often, and far more is looked at than made.)
    Made(Box<Value>),
}

impl Operand<'_> {
    fn made(value: Value) -> Self {
        Self::Made(Box::new(value))
    }

    /// The value itself.
    #[must_use]
    pub fn into_value(self) -> Value {
        match self {
            Self::Here(value) => value.clone(),
            Self::Made(value) => *value,
        }
    }
}

impl Deref for Operand<'_> {
    type Target = Value;

    fn deref(&self) -> &Value {
        match self {
            Self::Here(value) => value,
            Self::Made(value) => value,
        }
    }
}

/// Whether something holds; NULL is `None`.
type Truth = Result<Option<bool>, Reason>;

/// What an operator is worked out to. Most operators of an item give truth values, one within the other, of which no [`Value`] is
/// made.
enum Worked<'s> {
    Value(Operand<'s>),
    Truth(Option<bool>),
}

impl Expression {
    /// Reads an expression.
    ///
    /// # Errors
    /// [`Fault`], the first in it.
    pub fn read(element: Element<'_>) -> Result<Self, Fault> {
        let operator = Operator::read(element)?;
        let operands: Vec<Self> = element.children().map(Self::read).collect::<Result<_, _>>()?;
        let takes = operator.takes();
        if !takes.contains(&operands.len()) {
            let found = format!("'{}' has {} operands", element.name, operands.len());
            let expected = match (*takes.start(), *takes.end()) {
                (least, usize::MAX) => format!("{least} or more"),
                (least, most) if least == most => least.to_string(),
                (least, most) => format!("{least} to {most}"),
            };
            return Err(Fault::unexpected(element.line, found, expected));
        }
        Ok(Self { operator, operands, line: element.line })
    }

    /// Works it out.
    ///
    /// # Errors
    /// [`Failure`] naming the innermost operator that could not be worked out.
    pub fn evaluate<'s>(&'s self, scope: &mut Scope<'s>) -> Result<Operand<'s>, Failure> {
        Ok(match self.work(scope)? {
            Worked::Value(value) => value,
            Worked::Truth(truth) => Operand::made(truth.map_or(Value::Null, Value::boolean)),
        })
    }

    /// The truth value; NULL is none.
    ///
    /// # Errors
    /// [`Failure`], also for a value that is no truth value.
    pub fn holds<'s>(&'s self, scope: &mut Scope<'s>) -> Result<bool, Failure> {
        Ok(self.truth("a condition", self.line, scope)? == Some(true))
    }

    /// The truth value, NULL is `None`, for what asks for one in that line.
    fn truth<'s>(&'s self, asks: &str, line: u64, scope: &mut Scope<'s>) -> Result<Option<bool>, Failure> {
        match self.work(scope)? {
            Worked::Truth(truth) => Ok(truth),
            Worked::Value(value) => logic::truth(asks, &value).map_err(|reason| reason.at(line)),
        }
    }

    fn work<'s>(&'s self, scope: &mut Scope<'s>) -> Result<Worked<'s>, Failure> {
        if let Some(found) = self.operator.look(scope) {
            return found.map(Operand::Here).map(Worked::Value).map_err(|reason| reason.at(self.line));
        }
        match self.operator {
            Operator::And => self.decided("and", false, scope).map(Worked::Truth),
            Operator::Or => self.decided("or", true, scope).map(Worked::Truth),
            Operator::Not => {
                let truth = self.operands[0].truth("not", self.line, scope)?;
                Ok(Worked::Truth(truth.map(|truth| !truth)))
            }
            _ => {
                // Most operators have one operand or two.
                let values = self.operands.iter().map(|operand| operand.evaluate(scope));
                let values: SmallVec<[Operand<'s>; 2]> = values.collect::<Result<_, _>>()?;
                self.operator.apply(&values, scope).map_err(|reason| reason.at(self.line))
            }
        }
    }

    /// `and` and `or`: one part may decide, whatever the others are.
    fn decided<'s>(
        &'s self,
        name: &str,
        deciding: bool,
        scope: &mut Scope<'s>,
    ) -> Result<Option<bool>, Failure> {
        let (mut decides, mut open) = (false, false);
        for operand in &self.operands {
            match operand.truth(name, self.line, scope)? {
                Some(truth) => decides |= truth == deciding,
                None => open = true,
            }
        }
        Ok(if decides { Some(deciding) } else { (!open).then_some(!deciding) })
    }

    /// It and all expressions in it.
    #[must_use]
    pub fn all(&self) -> Vec<&Self> {
        let mut all = Vec::new();
        self.gather(&mut all);
        all
    }

    fn gather<'s>(&'s self, all: &mut Vec<&'s Self>) {
        all.push(self);
        self.operands.iter().for_each(|operand| operand.gather(all));
    }
}

impl Operator {
    /// What operators without operands name, where it stands.
    fn look<'s>(&'s self, scope: &Scope<'s>) -> Option<Result<&'s Value, Reason>> {
        Some(match self {
            Self::BaseValue(value) => Ok(value),
            Self::Variable(name) => scope.variables.get(name).map(|variable| &variable.value),
            Self::Default(name) => scope.variables.get(name).map(|variable| &variable.default),
            Self::Correct(name) => scope.variables.get(name).map(|variable| &variable.correct),
            _ => return None,
        })
    }

    fn apply<'s>(&self, values: &[Operand<'_>], scope: &mut Scope<'_>) -> Result<Worked<'s>, Reason> {
        if let Some(found) = self.apply_leaf(scope).or_else(|| self.apply_to_nulls(values, scope)) {
            return found.map(Operand::made).map(Worked::Value);
        }
        let null = values.iter().any(|value| value.is_null());
        match self.judge(values, null, scope) {
            Some(truth) => truth.map(Worked::Truth),
            None if null => Ok(Worked::Value(Operand::Here(&Value::Null))),
            None => self.apply_to_values(values, scope).map(Operand::made).map(Worked::Value),
        }
    }

    /// Operators without operands that make something.
    fn apply_leaf(&self, scope: &mut Scope<'_>) -> Option<Found> {
        Some(match self {
            Self::Null => Ok(Value::Null),
            Self::Constant(number) => Ok(Value::float(*number)),
            Self::MapResponse(name) => variables::mapped(name, scope.variables),
            Self::MapResponsePoint(name) => variables::mapped_points(name, scope.variables),
            Self::RandomInteger { min, max, step } => variables::random_integer([min, max, step], scope),
            Self::RandomFloat { min, max } => variables::random_float([min, max], scope),
            _ => return None,
        })
    }

    /// Operators for which NULL is not simply NULL, and that give no truth value.
    fn apply_to_nulls(&self, values: &[Operand<'_>], scope: &Scope<'_>) -> Option<Found> {
        Some(match self {
            Self::Multiple => containers::gathered("multiple", values).map(containers::multiple),
            Self::Ordered => containers::gathered("ordered", values).map(containers::ordered),
            Self::Repeat(times) => containers::repeated(times, values, scope),
            Self::ContainerSize => Ok(containers::size(&values[0])),
            _ => return None,
        })
    }

    /// Operators that give a truth value; `null` tells whether one of the values is NULL, which nearly all give back.
    fn judge(&self, values: &[Operand<'_>], null: bool, scope: &Scope<'_>) -> Option<Truth> {
        Some(match self {
            Self::IsNull => Ok(Some(null)),
            Self::AnyN { min, max } => logic::any_n([min, max], values, scope),
            _ if null => return None,
            Self::Match => logic::matched(&values[0], &values[1]).map(Some),
            Self::Compare(comparison) => logic::compared(*comparison, values).map(Some),
            Self::DurationLt => {
                logic::durations("duration-lt", values, |first, second| first < second).map(Some)
            }
            Self::DurationGte => {
                logic::durations("duration-gte", values, |first, second| first >= second).map(Some)
            }
            Self::Equal(equality) => rounding::equal(equality, values, scope),
            Self::EqualRounded(precision) => rounding::equal_rounded(precision, values, scope),
            Self::Member => containers::member(&values[0], &values[1]).map(Some),
            Self::Contains => containers::contains(&values[0], &values[1]).map(Some),
            Self::StringMatch { case_sensitive, substring } => {
                texts::string_match(*case_sensitive, *substring, values).map(Some)
            }
            Self::Substring { case_sensitive } => texts::substring(*case_sensitive, values).map(Some),
            Self::PatternMatch(pattern) => texts::pattern_match(pattern, &values[0]).map(Some),
            Self::Inside(area) => area::inside(area, &values[0]).map(Some),
            _ => return None,
        })
    }

    /// All others; no value is NULL.
    fn apply_to_values(&self, values: &[Operand<'_>], scope: &mut Scope<'_>) -> Found {
        match self {
            Self::RoundTo(precision) => rounding::round_to(precision, &values[0], scope),
            Self::Random => Ok(containers::random(&values[0], scope)),
            Self::Delete => containers::deleted(&values[0], &values[1]),
            Self::Index(place) => containers::indexed(place, &values[0], scope),
            Self::FieldValue(field) => containers::field(field, &values[0]),
            Self::Custom(class) => Err(Reason::Unsupported(format!("the custom operator '{class}'"))),
            Self::OfTests(name) => Err(Reason::Unsupported(format!("'{name}' of a whole test"))),
            _ => numbers::apply(self, values),
        }
    }
}

/// The single value, or what is wrong.
fn single<'v>(place: &str, value: &'v Value, expected: &'static str) -> Result<&'v Scalar, Reason> {
    value.scalar().ok_or_else(|| wrong_type(place, value, expected))
}

fn wrong_type(place: &str, found: &Value, expected: &'static str) -> Reason {
    Reason::Type { place: place.to_owned(), found: found.to_string(), expected }
}
