//! The operators and their attributes, as documents write them.
use std::ops::RangeInclusive;

use super::{
    Area, Scope,
    logic::Comparison,
    numbers::{MathFunction, Statistic},
    rounding::{Equality, Precision},
};
use crate::processor::{
    document::{Element, told},
    fault::{Fault, Reason},
    patterns::Pattern,
    value::{BaseType, Scalar, Value, parse_float},
};

/// A number in an attribute, or the variable that holds it.
#[derive(Clone, Debug, PartialEq)]
pub enum Count {
    /// The number itself.
    Number(f64),
    /// The name of a variable.
    Variable(String),
}

impl Count {
    /// The number; `None` if the variable is NULL.
    pub(super) fn value(&self, scope: &Scope<'_>) -> Result<Option<f64>, Reason> {
        match self {
            Self::Number(number) => Ok(Some(*number)),
            Self::Variable(name) => Ok(scope.variables.get(name)?.value.as_float()),
        }
    }

    /// The whole number; `None` if it is none.
    #[expect(clippy::cast_possible_truncation, reason = "it is whole and of 32 bits")]
    pub(super) fn integer(&self, scope: &Scope<'_>) -> Result<Option<i64>, Reason> {
        let whole = |number: &f64| number.fract() == 0.0 && number.abs() <= f64::from(i32::MAX);
        Ok(self.value(scope)?.filter(whole).map(|number| number as i64))
    }

    fn parse(element: Element<'_>, name: &str, text: &str) -> Result<Self, Fault> {
        let text = text.trim();
        if let Some(number) = parse_float(text) {
            return Ok(Self::Number(number));
        }
        let variable = text.strip_prefix('{').and_then(|text| text.strip_suffix('}')).unwrap_or(text);
        if crate::processor::value::is_identifier(variable) {
            Ok(Self::Variable(variable.to_owned()))
        } else {
            Err(element.strange(name, text, "a number or the name of a variable"))
        }
    }

    fn read(element: Element<'_>, name: &str, default: Option<f64>) -> Result<Self, Fault> {
        match (element.attribute(name), default) {
            (None, Some(default)) => Ok(Self::Number(default)),
            _ => Self::parse(element, name, element.required(name)?),
        }
    }
}

/// An operator with its attributes.
#[derive(Clone, Debug, PartialEq)]
#[expect(missing_docs, reason = "they are the standard's own words")]
pub enum Operator {
    BaseValue(Value),
    Null,
    /// `math-constant`
    Constant(f64),
    Variable(String),
    Default(String),
    Correct(String),
    MapResponse(String),
    MapResponsePoint(String),
    RandomInteger {
        min: Count,
        max: Count,
        step: Count,
    },
    RandomFloat {
        min: Count,
        max: Count,
    },
    IsNull,
    Not,
    And,
    Or,
    AnyN {
        min: Count,
        max: Count,
    },
    Match,
    /// `lt`, `lte`, `gt`, `gte`
    Compare(Comparison),
    DurationLt,
    DurationGte,
    Equal(Equality),
    EqualRounded(Precision),
    RoundTo(Precision),
    Sum,
    Product,
    Min,
    Max,
    Gcd,
    Lcm,
    Subtract,
    Divide,
    Power,
    IntegerDivide,
    IntegerModulus,
    Truncate,
    Round,
    IntegerToFloat,
    Math(MathFunction),
    Statistics(Statistic),
    Multiple,
    Ordered,
    Repeat(Count),
    ContainerSize,
    Random,
    Member,
    Contains,
    Delete,
    Index(Count),
    FieldValue(String),
    StringMatch {
        case_sensitive: bool,
        substring: bool,
    },
    Substring {
        case_sensitive: bool,
    },
    PatternMatch(Pattern),
    Inside(Area),
    /// An operator that only some platform knows.
    Custom(String),
    /// An operator over all items of a test.
    OfTests(&'static str),
}

/// Operators without attributes.
const PLAIN: [(&str, Operator); 28] = [
    ("null", Operator::Null),
    ("is-null", Operator::IsNull),
    ("not", Operator::Not),
    ("and", Operator::And),
    ("or", Operator::Or),
    ("match", Operator::Match),
    ("duration-lt", Operator::DurationLt),
    ("duration-gte", Operator::DurationGte),
    ("sum", Operator::Sum),
    ("product", Operator::Product),
    ("min", Operator::Min),
    ("max", Operator::Max),
    ("gcd", Operator::Gcd),
    ("lcm", Operator::Lcm),
    ("subtract", Operator::Subtract),
    ("divide", Operator::Divide),
    ("power", Operator::Power),
    ("integer-divide", Operator::IntegerDivide),
    ("integer-modulus", Operator::IntegerModulus),
    ("truncate", Operator::Truncate),
    ("round", Operator::Round),
    ("integer-to-float", Operator::IntegerToFloat),
    ("multiple", Operator::Multiple),
    ("ordered", Operator::Ordered),
    ("container-size", Operator::ContainerSize),
    ("random", Operator::Random),
    ("member", Operator::Member),
    ("contains", Operator::Contains),
];

/// Operators over all items of a test.
const OF_TESTS: [&str; 8] = [
    "test-variables",
    "outcome-minimum",
    "outcome-maximum",
    "number-correct",
    "number-incorrect",
    "number-presented",
    "number-responded",
    "number-selected",
];

impl Operator {
    /// Reads an operator.
    pub(super) fn read(element: Element<'_>) -> Result<Self, Fault> {
        let name = element.name;
        if !element.standard {
            return Err(unknown(element));
        }
        if let Some((_, plain)) = PLAIN.iter().find(|(known, _)| *known == name) {
            return Ok(plain.clone());
        }
        if let Some(known) = OF_TESTS.iter().find(|known| **known == name) {
            return Ok(Self::OfTests(known));
        }
        Self::read_leaf(element)
            .or_else(|| Self::read_with_attributes(element))
            .unwrap_or_else(|| Err(unknown(element)))
    }

    fn read_leaf(element: Element<'_>) -> Option<Result<Self, Fault>> {
        let identifier = || element.required("identifier").map(str::to_owned);
        let count = |name, default| Count::read(element, name, default);
        Some(match element.name {
            "base-value" => base_value(element).map(|scalar| Self::BaseValue(Value::single(scalar))),
            "variable" => identifier().map(Self::Variable),
            "default" => identifier().map(Self::Default),
            "correct" => identifier().map(Self::Correct),
            "map-response" => identifier().map(Self::MapResponse),
            "map-response-point" => identifier().map(Self::MapResponsePoint),
            "math-constant" => {
                required_of(element, "name", &[("pi", std::f64::consts::PI), ("e", std::f64::consts::E)])
                    .map(Self::Constant)
            }
            "random-integer" => (|| {
                let (min, max) = (count("min", Some(0.0))?, count("max", None)?);
                Ok(Self::RandomInteger { min, max, step: count("step", Some(1.0))? })
            })(),
            "random-float" => {
                (|| Ok(Self::RandomFloat { min: count("min", Some(0.0))?, max: count("max", None)? }))()
            }
            _ => return None,
        })
    }

    fn read_with_attributes(element: Element<'_>) -> Option<Result<Self, Fault>> {
        let count = |name| Count::read(element, name, None);
        let case_sensitive = || element.truth("case-sensitive", true);
        Some(match element.name {
            "lt" => Ok(Self::Compare(Comparison::Lt)),
            "lte" => Ok(Self::Compare(Comparison::Lte)),
            "gt" => Ok(Self::Compare(Comparison::Gt)),
            "gte" => Ok(Self::Compare(Comparison::Gte)),
            "delete" => Ok(Self::Delete),
            "any-n" => (|| Ok(Self::AnyN { min: count("min")?, max: count("max")? }))(),
            "equal" => Equality::read(element).map(Self::Equal),
            "equal-rounded" => Precision::read(element).map(Self::EqualRounded),
            "round-to" => Precision::read(element).map(Self::RoundTo),
            "math-operator" => required_of(element, "name", &MathFunction::WORDS).map(Self::Math),
            "stats-operator" => required_of(element, "name", &Statistic::WORDS).map(Self::Statistics),
            "repeat" => count("number-repeats").map(Self::Repeat),
            "index" => count("n").map(Self::Index),
            "field-value" => {
                element.required("field-identifier").map(|name| Self::FieldValue(name.to_owned()))
            }
            "string-match" => (|| {
                let substring = element.truth("substring", false)?;
                Ok(Self::StringMatch { case_sensitive: case_sensitive()?, substring })
            })(),
            "substring" => case_sensitive().map(|case_sensitive| Self::Substring { case_sensitive }),
            "pattern-match" => element.required("pattern").map(|text| Self::PatternMatch(Pattern::new(text))),
            "inside" => Area::read(element).map(Self::Inside),
            "custom-operator" => Ok(Self::Custom(told(
                element.attribute("class").or(element.attribute("definition")).unwrap_or_default(),
            ))),
            _ => return None,
        })
    }

    /// How many operands it takes.
    pub(super) fn takes(&self) -> RangeInclusive<usize> {
        match self {
            Self::BaseValue(_)
            | Self::Null
            | Self::Constant(_)
            | Self::Variable(_)
            | Self::Default(_)
            | Self::Correct(_)
            | Self::MapResponse(_)
            | Self::MapResponsePoint(_)
            | Self::RandomInteger { .. }
            | Self::RandomFloat { .. }
            | Self::OfTests(_) => 0..=0,
            Self::IsNull
            | Self::Not
            | Self::RoundTo(_)
            | Self::Truncate
            | Self::Round
            | Self::IntegerToFloat
            | Self::Statistics(_)
            | Self::ContainerSize
            | Self::Random
            | Self::Index(_)
            | Self::FieldValue(_)
            | Self::PatternMatch(_)
            | Self::Inside(_) => 1..=1,
            Self::Math(MathFunction::Atan2) => 2..=2,
            Self::Math(_) => 1..=1,
            Self::Match
            | Self::Compare(_)
            | Self::DurationLt
            | Self::DurationGte
            | Self::Equal(_)
            | Self::EqualRounded(_)
            | Self::Subtract
            | Self::Divide
            | Self::Power
            | Self::IntegerDivide
            | Self::IntegerModulus
            | Self::Member
            | Self::Contains
            | Self::Delete
            | Self::StringMatch { .. }
            | Self::Substring { .. } => 2..=2,
            Self::Multiple | Self::Ordered | Self::Custom(_) => 0..=usize::MAX,
            Self::And
            | Self::Or
            | Self::AnyN { .. }
            | Self::Sum
            | Self::Product
            | Self::Min
            | Self::Max
            | Self::Gcd
            | Self::Lcm
            | Self::Repeat(_) => 1..=usize::MAX,
        }
    }

    /// The standard's word, for messages.
    #[must_use]
    pub fn name(&self) -> &'static str {
        if let Some((name, _)) = PLAIN.iter().find(|(_, plain)| plain == self) {
            return name;
        }
        match self {
            Self::Compare(comparison) => comparison.name(),
            Self::Equal(_) => "equal",
            Self::EqualRounded(_) => "equal-rounded",
            Self::RoundTo(_) => "round-to",
            Self::Math(_) => "math-operator",
            Self::Statistics(_) => "stats-operator",
            Self::OfTests(name) => name,
            _ => "expression",
        }
    }

    /// Why it cannot be worked out here; `None` if it can.
    #[must_use]
    pub fn unjudged(&self) -> Option<String> {
        match self {
            Self::Custom(class) => Some(format!("it uses the custom operator '{class}'")),
            Self::OfTests(name) => Some(format!("it uses '{name}', which only a test has")),
            Self::PatternMatch(pattern) if pattern.matches("").is_none() => Some(format!(
                "it uses the pattern '{}', which is not understood here",
                told(pattern.as_str())
            )),
            _ => None,
        }
    }

    /// The variables that it names.
    #[must_use]
    pub fn variables(&self) -> Vec<&str> {
        match self {
            Self::Variable(name)
            | Self::Default(name)
            | Self::Correct(name)
            | Self::MapResponse(name)
            | Self::MapResponsePoint(name) => vec![name],
            Self::RandomInteger { min, max, step } => {
                [min, max, step].into_iter().filter_map(Count::variable).collect()
            }
            Self::RandomFloat { min, max } | Self::AnyN { min, max } => {
                [min, max].into_iter().filter_map(Count::variable).collect()
            }
            Self::Repeat(count) | Self::Index(count) => count.variable().into_iter().collect(),
            _ => Vec::new(),
        }
    }
}

impl Count {
    fn variable(&self) -> Option<&str> {
        match self {
            Self::Number(_) => None,
            Self::Variable(name) => Some(name),
        }
    }

    /// A number of a list in one attribute.
    pub(super) fn listed(element: Element<'_>, name: &str) -> Result<Vec<Self>, Fault> {
        let words = element.attribute(name).unwrap_or_default().split_ascii_whitespace();
        words.map(|word| Self::parse(element, name, word)).collect()
    }

    /// A number of one attribute.
    pub(super) fn required(element: Element<'_>, name: &str) -> Result<Self, Fault> {
        Self::read(element, name, None)
    }
}

fn unknown(element: Element<'_>) -> Fault {
    let found = format!("the element '{}'", told(element.name));
    Fault::unexpected(element.line, found, "an expression of the standard")
}

fn base_value(element: Element<'_>) -> Result<Scalar, Fault> {
    let base_type = required_of(element, "base-type", &BaseType::WORDS)?;
    let text = element.text();
    base_type.parse(&text).ok_or_else(|| {
        let found = format!("the value '{}'", told(&text));
        Fault::unexpected(element.line, found, format!("a value of the base type {}", base_type.name()))
    })
}

fn required_of<T: Copy>(element: Element<'_>, name: &str, words: &[(&str, T)]) -> Result<T, Fault> {
    element.required(name)?;
    Ok(element.one_of(name, words)?.expect("the attribute is there"))
}
