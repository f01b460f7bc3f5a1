//! The standard's expressions and rules, as far as our items use them (QTI ASI 3.0, expression and response
//! processing classes; the 2.x versions have the same under other spellings).
//!
//! Only the words, no meaning of ours: what an item computes is decided in [`super::from_item`].
use std::fmt;

use qbank::decimal::Decimal;

use super::model::Identifier;

/// A literal of one base type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// `float`, written as the exact decimal it stands for.
    Float(Decimal),
    /// `integer`
    Integer(u32),
    /// `boolean`
    Boolean(bool),
    /// `identifier`
    Identifier(Identifier),
    /// `string`
    Text(String),
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Float(value) => value.fmt(f),
            Self::Integer(value) => value.fmt(f),
            Self::Boolean(value) => value.fmt(f),
            Self::Identifier(value) => value.fmt(f),
            Self::Text(value) => value.fmt(f),
        }
    }
}

/// How far from the key a response may lie, both ways, in the unit of the answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tolerance(pub Decimal);

/// An expression. Null in gives null out unless said otherwise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expression {
    /// The value of a response, outcome or built-in variable.
    Variable(Identifier),
    /// A literal.
    BaseValue(Value),
    /// The parts as one list in this order.
    Ordered(Vec<Self>),
    /// The parts as one bag; null parts are left out.
    Multiple(Vec<Self>),
    /// One of `min`, `min + step` and so on up to `max`, each as likely. In template processing only.
    RandomInteger {
        /// The least.
        min: u32,
        /// The most.
        max: u32,
        /// From one to the next.
        step: u32,
    },
    /// One member of a list or bag, each as likely. In template processing only.
    Random(Box<Self>),
    /// Null.
    Null,
    /// Whether the inner value is null.
    IsNull(Box<Self>),
    /// Logical negation.
    Not(Box<Self>),
    /// False as soon as one part is false.
    And(Vec<Self>),
    /// True as soon as one part is true.
    Or(Vec<Self>),
    /// Whether two identifiers, or two lists of identifiers, are the same.
    Match(Box<Self>, Box<Self>),
    /// Whether `response` lies within `tolerance` of `key`. The key comes first in the document: it sets the range.
    Equal {
        /// The value that sets the range.
        key: Box<Self>,
        /// The value that is tested.
        response: Box<Self>,
        /// The half width of the range.
        tolerance: Tolerance,
    },
    /// Whether a whole string matches an XML Schema regular expression.
    PatternMatch {
        /// The expression, anchored at both ends by the standard.
        pattern: String,
        /// The string.
        text: Box<Self>,
    },
    /// First below second.
    Lt(Box<Self>, Box<Self>),
    /// First not above second.
    Lte(Box<Self>, Box<Self>),
    /// First above second.
    Gt(Box<Self>, Box<Self>),
    /// First not below second.
    Gte(Box<Self>, Box<Self>),
    /// Sum of all.
    Sum(Vec<Self>),
    /// Product of all.
    Product(Vec<Self>),
    /// First minus second.
    Subtract(Box<Self>, Box<Self>),
    /// First over second; null when the second is zero.
    Divide(Box<Self>, Box<Self>),
    /// The nearest integer, half up.
    Round(Box<Self>),
    /// The integer towards zero.
    Truncate(Box<Self>),
    /// How often the second integer goes into the first, rounded down.
    IntegerDivide(Box<Self>, Box<Self>),
    /// What is left of the first integer after taking the second as often as it goes.
    IntegerModulus(Box<Self>, Box<Self>),
    /// An integer as a float.
    IntegerToFloat(Box<Self>),
    /// The smallest.
    Min(Vec<Self>),
    /// The largest.
    Max(Vec<Self>),
}

impl Expression {
    /// The value of a variable.
    #[must_use]
    pub fn variable(identifier: &Identifier) -> Self {
        Self::Variable(identifier.clone())
    }

    /// A literal number.
    #[must_use]
    pub fn float(value: Decimal) -> Self {
        Self::BaseValue(Value::Float(value))
    }

    /// A literal identifier.
    #[must_use]
    pub fn identifier(identifier: &Identifier) -> Self {
        Self::BaseValue(Value::Identifier(identifier.clone()))
    }

    /// Whether a variable is null.
    #[must_use]
    pub fn is_null(identifier: &Identifier) -> Self {
        Self::IsNull(Box::new(Self::variable(identifier)))
    }

    /// Whether a variable has a value.
    #[must_use]
    pub fn is_given(identifier: &Identifier) -> Self {
        Self::Not(Box::new(Self::is_null(identifier)))
    }

    /// Whether a response lies within `tolerance` of `key`.
    #[must_use]
    pub fn equal(key: Self, response: Self, tolerance: Tolerance) -> Self {
        Self::Equal { key: Box::new(key), response: Box::new(response), tolerance }
    }

    /// Whether an identifier variable holds this identifier.
    #[must_use]
    pub fn matches(variable: &Identifier, identifier: &Identifier) -> Self {
        Self::Match(Box::new(Self::variable(variable)), Box::new(Self::identifier(identifier)))
    }

    /// Whether an ordered variable holds these identifiers in this order.
    #[must_use]
    pub fn in_order(variable: &Identifier, identifiers: &[Identifier]) -> Self {
        let list = Self::Ordered(identifiers.iter().map(Self::identifier).collect());
        Self::Match(Box::new(Self::variable(variable)), Box::new(list))
    }

    /// Whether a string variable matches a pattern.
    #[must_use]
    pub fn reads(variable: &Identifier, pattern: String) -> Self {
        Self::PatternMatch { pattern, text: Box::new(Self::variable(variable)) }
    }

    /// All of the parts; a single part stands for itself.
    #[must_use]
    pub fn all(mut parts: Vec<Self>) -> Self {
        if parts.len() == 1 { parts.remove(0) } else { Self::And(parts) }
    }

    /// Any of the parts; a single part stands for itself.
    #[must_use]
    pub fn any(mut parts: Vec<Self>) -> Self {
        if parts.len() == 1 { parts.remove(0) } else { Self::Or(parts) }
    }
}

/// One rule of response processing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Gives an outcome variable a value.
    SetOutcomeValue(Identifier, Expression),
    /// The first branch whose test is true; null counts as false.
    Condition {
        /// `response-if`, then each `response-else-if`. Never empty.
        branches: Vec<Branch>,
        /// `response-else`; left out when empty.
        otherwise: Vec<Rule>,
    },
}

impl Rule {
    /// Sets a number.
    #[must_use]
    pub fn set_float(outcome: &Identifier, value: Decimal) -> Self {
        Self::SetOutcomeValue(outcome.clone(), Expression::float(value))
    }

    /// Sets an identifier.
    #[must_use]
    pub fn set_identifier(outcome: &Identifier, value: &Identifier) -> Self {
        Self::SetOutcomeValue(outcome.clone(), Expression::identifier(value))
    }
}

/// A test and the rules that run when it is true: of response processing, or of template processing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Branch<R = Rule> {
    /// The test.
    pub test: Expression,
    /// The rules.
    pub rules: Vec<R>,
}

/// One rule of template processing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TemplateRule {
    /// Gives a template variable a value.
    SetTemplateValue(Identifier, Expression),
    /// Says what the right answer to a response variable is.
    SetCorrectResponse(Identifier, Expression),
    /// The first branch whose test is true; null counts as false.
    Condition {
        /// `template-if`, then each `template-else-if`. Never empty.
        branches: Vec<Branch<TemplateRule>>,
        /// `template-else`; left out when empty.
        otherwise: Vec<TemplateRule>,
    },
    /// Unless it is true, everything is drawn anew. Never inside a condition.
    Constraint(Expression),
}
