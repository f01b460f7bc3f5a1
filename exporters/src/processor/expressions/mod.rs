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
    pub fn evaluate(&self, scope: &mut Scope<'_>) -> Result<Value, Failure> {
        let values = self.operands.iter().map(|operand| operand.evaluate(scope));
        // Most operators have one operand or two, and most of an item are worked out in every session with it.
        let values: SmallVec<[Value; 2]> = values.collect::<Result<_, _>>()?;
        self.operator.apply(&values, scope).map_err(|reason| reason.at(self.line))
    }

    /// The truth value; NULL is none.
    ///
    /// # Errors
    /// [`Failure`], also for a value that is no truth value.
    pub fn holds(&self, scope: &mut Scope<'_>) -> Result<bool, Failure> {
        let value = self.evaluate(scope)?;
        let truth = logic::truth("a condition", &value).map_err(|reason| reason.at(self.line))?;
        Ok(truth == Some(true))
    }

    /// It and all expressions in it.
    #[must_use]
    pub fn all(&self) -> Vec<&Self> {
        let mut all = vec![self];
        self.operands.iter().for_each(|operand| all.extend(operand.all()));
        all
    }
}

impl Operator {
    fn apply(&self, values: &[Value], scope: &mut Scope<'_>) -> Found {
        if let Some(found) = self.apply_leaf(scope).or_else(|| self.apply_to_nulls(values, scope)) {
            return found;
        }
        if values.iter().any(Value::is_null) {
            return Ok(Value::Null);
        }
        self.apply_to_values(values, scope)
    }

    /// Operators without operands.
    fn apply_leaf(&self, scope: &mut Scope<'_>) -> Option<Found> {
        Some(match self {
            Self::BaseValue(scalar) => Ok(Value::single(scalar.clone())),
            Self::Null => Ok(Value::Null),
            Self::Constant(number) => Ok(Value::float(*number)),
            Self::Variable(name) => scope.variables.get(name).map(|variable| variable.value.clone()),
            Self::Default(name) => scope.variables.get(name).map(|variable| variable.default.clone()),
            Self::Correct(name) => scope.variables.get(name).map(|variable| variable.correct.clone()),
            Self::MapResponse(name) => variables::mapped(name, scope.variables),
            Self::MapResponsePoint(name) => variables::mapped_points(name, scope.variables),
            Self::RandomInteger { min, max, step } => variables::random_integer([min, max, step], scope),
            Self::RandomFloat { min, max } => variables::random_float([min, max], scope),
            _ => return None,
        })
    }

    /// Operators for which NULL is not simply NULL.
    fn apply_to_nulls(&self, values: &[Value], scope: &Scope<'_>) -> Option<Found> {
        Some(match self {
            Self::IsNull => Ok(Value::boolean(values[0].is_null())),
            Self::And => logic::decided("and", values, false),
            Self::Or => logic::decided("or", values, true),
            Self::AnyN { min, max } => logic::any_n([min, max], values, scope),
            Self::Multiple => containers::gathered("multiple", values).map(containers::multiple),
            Self::Ordered => containers::gathered("ordered", values).map(containers::ordered),
            Self::Repeat(times) => containers::repeated(times, values, scope),
            Self::ContainerSize => Ok(containers::size(&values[0])),
            _ => return None,
        })
    }

    /// All others; no value is NULL.
    fn apply_to_values(&self, values: &[Value], scope: &mut Scope<'_>) -> Found {
        let name = self.name();
        match self {
            Self::Not => {
                Ok(logic::truth(name, &values[0])?.map_or(Value::Null, |truth| Value::boolean(!truth)))
            }
            Self::Match => logic::matched(&values[0], &values[1]),
            Self::Compare(comparison) => logic::compared(*comparison, values),
            Self::DurationLt => logic::durations(name, values, |first, second| first < second),
            Self::DurationGte => logic::durations(name, values, |first, second| first >= second),
            Self::Equal(equality) => rounding::equal(equality, values, scope),
            Self::EqualRounded(precision) => rounding::equal_rounded(precision, values, scope),
            Self::RoundTo(precision) => rounding::round_to(precision, &values[0], scope),
            Self::Random => Ok(containers::random(&values[0], scope)),
            Self::Member => containers::member(&values[0], &values[1]),
            Self::Contains => containers::contains(&values[0], &values[1]),
            Self::Delete => containers::deleted(&values[0], &values[1]),
            Self::Index(place) => containers::indexed(place, &values[0], scope),
            Self::FieldValue(field) => containers::field(field, &values[0]),
            Self::StringMatch { case_sensitive, substring } => {
                texts::string_match(*case_sensitive, *substring, values)
            }
            Self::Substring { case_sensitive } => texts::substring(*case_sensitive, values),
            Self::PatternMatch(pattern) => texts::pattern_match(pattern, &values[0]),
            Self::Inside(area) => area::inside(area, &values[0]),
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
