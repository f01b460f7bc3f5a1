//! The small language in which a step says how its answer comes from givens and earlier steps.
//!
//! `a + b`, `round(price * count, 2)`, `smallest_at_least(total, low, middle, high)`; as a whole also a comparison
//! `a ? b` and an order `ascending(a, b, c)`. An outsider can recompute every answer from this text alone. It has
//! `+ - * /` (also written `× ÷ −`), parentheses, decimal literals, names, and the functions of [`Function`]. There are
//! no assignments, loops or side effects, and depth and length are limited.
use alloc::{boxed::Box, string::String, vec::Vec};
use core::{fmt, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use smallvec::SmallVec;
use smol_str::SmolStr;

use crate::decimal::{Decimal, DecimalError};

/// Longest text of an expression, in bytes.
pub const MAX_LENGTH: usize = 1_000;
/// Deepest nesting of parentheses and calls.
pub const MAX_DEPTH: usize = 32;

/// A parsed expression.
///
/// # Example
/// ```
/// use qbank::expression::Expression;
/// let change: Expression = "paid - (a + b)".parse()?;
/// assert_eq!(change.names(), ["paid", "a", "b"]);
/// assert_eq!(change.to_string(), "paid - (a + b)");
/// # Ok::<(), qbank::expression::ExpressionError>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expression {
    /// A decimal written out.
    Literal(Decimal),
    /// A given, or an earlier step.
    Name(SmolStr),
    /// One of the four operations.
    Binary(Operation, Box<Expression>, Box<Expression>),
    /// A function call.
    Call(Function, Vec<Expression>),
    /// `a ? b`: which relation holds between them. Only as the whole expression.
    Comparison(Box<Expression>, Box<Expression>),
    /// `ascending(a, b, …)` or `descending(a, b, …)`: the values by size. Only as the whole expression.
    Order(Direction, Vec<Expression>),
}

/// Which way values are put in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Direction {
    /// `ascending`: the smallest first.
    Ascending,
    /// `descending`: the largest first.
    Descending,
}

/// The four operations.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Operation {
    /// `+`
    Add,
    /// `-`
    Subtract,
    /// `*`
    Multiply,
    /// `/`
    Divide,
}

/// The functions of the language.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Function {
    /// `round(x, places)`: half up, as taught; `places` is a whole-number literal from 0 to 9.
    Round,
    /// `max(x, y, …)`: the largest.
    Max,
    /// `min(x, y, …)`: the smallest.
    Min,
    /// `smallest_at_least(x, a, b, …)`: the smallest of `a, b, …` that is not below `x`.
    SmallestAtLeast,
    /// `whole(x)`: the whole part, digits after the point left out.
    Whole,
    /// `digit(x, place)`: the digit at a place counted from the point to the right, 0 for the ones; `place` is a
    /// whole-number literal from 0 to 9.
    Digit,
}

/// The values an expression's names stand for. There are few, so they are found by looking at one after the other.
#[derive(Clone, Debug, Default)]
pub struct Names(SmallVec<[(SmolStr, Decimal); 4]>);

impl Names {
    /// No names.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The value of a name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Decimal> {
        self.0.iter().find(|(known, _)| known == name).map(|(_, value)| value)
    }

    /// Gives a name a value, another one if it had one.
    pub fn insert(&mut self, name: SmolStr, value: Decimal) {
        match self.0.iter_mut().find(|(known, _)| *known == name) {
            Some((_, known)) => *known = value,
            None => self.0.push((name, value)),
        }
    }
}

impl PartialEq for Names {
    /// In whatever order they were given.
    fn eq(&self, other: &Self) -> bool {
        let known = |(name, value): &(SmolStr, Decimal)| other.get(name) == Some(value);
        self.0.len() == other.0.len() && self.0.iter().all(known)
    }
}

impl Eq for Names {}

impl Extend<(SmolStr, Decimal)> for Names {
    fn extend<I: IntoIterator<Item = (SmolStr, Decimal)>>(&mut self, names: I) {
        names.into_iter().for_each(|(name, value)| self.insert(name, value));
    }
}

impl FromIterator<(SmolStr, Decimal)> for Names {
    fn from_iter<I: IntoIterator<Item = (SmolStr, Decimal)>>(names: I) -> Self {
        let mut all = Self::new();
        all.extend(names);
        all
    }
}

impl<const COUNT: usize> From<[(SmolStr, Decimal); COUNT]> for Names {
    fn from(names: [(SmolStr, Decimal); COUNT]) -> Self {
        names.into_iter().collect()
    }
}

/// Why a text is no expression. `at` counts characters from 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ExpressionError {
    /// Something else stands where a certain thing was expected.
    #[error("at character {at}: expected {expected}, found {found}")]
    Unexpected {
        /// Where in the text, in characters from 1.
        at: usize,
        /// What could stand there.
        expected: &'static str,
        /// What does.
        found: String,
    },
    /// A literal is no decimal.
    #[error("at character {at}: {source}")]
    Literal {
        /// Where in the text.
        at: usize,
        /// Why.
        source: DecimalError,
    },
    /// A function that the language does not have.
    #[error(
        "at character {at}: unknown function '{name}'; there are round, max, min, smallest_at_least, whole and digit, and as the whole expression ascending and descending"
    )]
    UnknownFunction {
        /// Where in the text.
        at: usize,
        /// The name used.
        name: String,
    },
    /// A function got too few or too many arguments, or one that takes a place got no whole-number literal.
    #[error("at character {at}: {function} takes {expected}")]
    Arguments {
        /// Where in the text.
        at: usize,
        /// The function.
        function: &'static str,
        /// What it takes.
        expected: &'static str,
    },
    /// Longer than [`MAX_LENGTH`] or deeper than [`MAX_DEPTH`].
    #[error(
        "the expression is too long or nested too deeply (limits: {MAX_LENGTH} bytes, depth {MAX_DEPTH})"
    )]
    TooLarge,
}

impl Operation {
    /// The sign in the language.
    #[must_use]
    pub fn sign(self) -> char {
        match self {
            Self::Add => '+',
            Self::Subtract => '-',
            Self::Multiply => '*',
            Self::Divide => '/',
        }
    }

    /// The sign as printed for people: `+ − × ÷`.
    #[must_use]
    pub fn printed_sign(self) -> char {
        match self {
            Self::Add => '+',
            Self::Subtract => '−',
            Self::Multiply => '×',
            Self::Divide => '÷',
        }
    }

    fn precedence(self) -> u8 {
        match self {
            Self::Add | Self::Subtract => 1,
            Self::Multiply | Self::Divide => 2,
        }
    }
}

impl Direction {
    /// The name in the language.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Ascending => "ascending",
            Self::Descending => "descending",
        }
    }
}

impl Function {
    const ALL: [Self; 6] =
        [Self::Round, Self::Max, Self::Min, Self::SmallestAtLeast, Self::Whole, Self::Digit];

    /// The name in the language.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Round => "round",
            Self::Max => "max",
            Self::Min => "min",
            Self::SmallestAtLeast => "smallest_at_least",
            Self::Whole => "whole",
            Self::Digit => "digit",
        }
    }

    fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|function| function.name() == name)
    }
}

impl Expression {
    /// All names used, in order of first use.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        let mut names = Vec::new();
        self.visit(&mut |part| {
            if let Self::Name(name) = part
                && !names.contains(&name.as_str())
            {
                names.push(name.as_str());
            }
        });
        names
    }

    /// Calls `see` for this expression and every part of it, outer parts first.
    pub fn visit<'e>(&'e self, see: &mut impl FnMut(&'e Self)) {
        see(self);
        match self {
            Self::Literal(_) | Self::Name(_) => {}
            Self::Binary(_, left, right) | Self::Comparison(left, right) => {
                left.visit(see);
                right.visit(see);
            }
            Self::Call(_, arguments) | Self::Order(_, arguments) => {
                arguments.iter().for_each(|argument| argument.visit(see));
            }
        }
    }

    /// The places that `round(x, places)` rounds to, if that is the whole expression.
    #[must_use]
    pub fn rounded_places(&self) -> Option<u32> {
        match self {
            Self::Call(Function::Round, arguments) => arguments.get(1).and_then(Self::places_literal),
            _ => None,
        }
    }

    /// This expression as a whole number of places from 0 to 9, if it is such a literal.
    #[must_use]
    pub fn places_literal(&self) -> Option<u32> {
        match self {
            Self::Literal(number) if number.places() == 0 => {
                u32::try_from(number.units()).ok().filter(|places| *places <= 9)
            }
            _ => None,
        }
    }

    /// The same expression with each name replaced by its value, for printing what is to be worked out. Names
    /// without a value stay.
    #[must_use]
    pub fn with_values(&self, values: &Names) -> Self {
        let each = |part: &Self| Box::new(part.with_values(values));
        let all = |parts: &[Self]| parts.iter().map(|part| part.with_values(values)).collect();
        match self {
            Self::Name(name) => values.get(name).map_or_else(|| self.clone(), |value| Self::Literal(*value)),
            Self::Literal(_) => self.clone(),
            Self::Binary(operation, left, right) => Self::Binary(*operation, each(left), each(right)),
            Self::Comparison(left, right) => Self::Comparison(each(left), each(right)),
            Self::Call(function, arguments) => Self::Call(*function, all(arguments)),
            Self::Order(direction, values) => Self::Order(*direction, all(values)),
        }
    }

    fn write(&self, f: &mut fmt::Formatter<'_>, outer: u8) -> fmt::Result {
        match self {
            Self::Literal(number) if number.is_negative() => write!(f, "({number})"),
            Self::Literal(number) => write!(f, "{number}"),
            Self::Name(name) => f.write_str(name),
            Self::Binary(operation, left, right) => {
                let own = operation.precedence();
                if own < outer {
                    f.write_str("(")?;
                }
                left.write(f, own)?;
                write!(f, " {} ", operation.sign())?;
                // The right side of - and / binds tighter, and printing + and * alike keeps the tree's shape.
                right.write(f, own + 1)?;
                if own < outer {
                    f.write_str(")")?;
                }
                Ok(())
            }
            Self::Call(function, arguments) => write_call(f, function.name(), arguments),
            Self::Order(direction, values) => write_call(f, direction.name(), values),
            Self::Comparison(left, right) => {
                left.write(f, 0)?;
                f.write_str(" ? ")?;
                right.write(f, 0)
            }
        }
    }
}

fn write_call(f: &mut fmt::Formatter<'_>, name: &str, arguments: &[Expression]) -> fmt::Result {
    write!(f, "{name}(")?;
    for (index, argument) in arguments.iter().enumerate() {
        if index > 0 {
            f.write_str(", ")?;
        }
        argument.write(f, 0)?;
    }
    f.write_str(")")
}

impl fmt::Display for Expression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write(f, 0)
    }
}

impl Serialize for Expression {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Expression {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(D::Error::custom)
    }
}

impl FromStr for Expression {
    type Err = ExpressionError;

    fn from_str(text: &str) -> Result<Self, ExpressionError> {
        if text.len() > MAX_LENGTH {
            return Err(ExpressionError::TooLarge);
        }
        let mut parser = Parser { text, at: 0, depth: 0 };
        let whole = parser.whole()?;
        match parser.peek() {
            None => Ok(whole),
            Some(_) => Err(parser.unexpected("an operation or the end")),
        }
    }
}

/// Recursive descent, one method a level of precedence.
struct Parser<'t> {
    text: &'t str,
    at: usize,
    depth: usize,
}

impl<'t> Parser<'t> {
    fn peek(&mut self) -> Option<char> {
        let rest = &self.text[self.at..];
        self.at += rest.len() - rest.trim_start().len();
        self.text[self.at..].chars().next()
    }

    fn take(&mut self, sign: &str) -> bool {
        self.peek();
        let found = self.text[self.at..].starts_with(sign);
        if found {
            self.at += sign.len();
        }
        found
    }

    fn take_any(&mut self, signs: &[&str]) -> bool {
        signs.iter().any(|sign| self.take(sign))
    }

    /// Which character stands at this byte, counted from 1 as people do.
    fn place(&self, byte: usize) -> usize {
        self.text[..byte].chars().count() + 1
    }

    fn unexpected(&mut self, expected: &'static str) -> ExpressionError {
        let found = match self.peek() {
            Some(character) => alloc::format!("'{character}'"),
            None => String::from("the end"),
        };
        ExpressionError::Unexpected { at: self.place(self.at), expected, found }
    }

    /// What can only be a whole expression: an order, a comparison, or any value.
    fn whole(&mut self) -> Result<Expression, ExpressionError> {
        for direction in [Direction::Ascending, Direction::Descending] {
            let start = self.at;
            if self.take(direction.name()) && self.take("(") {
                let values = self.arguments()?;
                let fits = values.len() >= 2;
                let (at, expected) = (self.place(start), "two or more values");
                let error = ExpressionError::Arguments { at, function: direction.name(), expected };
                return fits.then_some(Expression::Order(direction, values)).ok_or(error);
            }
            self.at = start;
        }
        let left = self.sum()?;
        if self.take("?") {
            return Ok(Expression::Comparison(Box::new(left), Box::new(self.sum()?)));
        }
        Ok(left)
    }

    fn sum(&mut self) -> Result<Expression, ExpressionError> {
        let mut left = self.product()?;
        loop {
            let operation = if self.take("+") {
                Operation::Add
            } else if self.take_any(&["-", "−"]) {
                Operation::Subtract
            } else {
                return Ok(left);
            };
            left = Expression::Binary(operation, Box::new(left), Box::new(self.product()?));
        }
    }

    fn product(&mut self) -> Result<Expression, ExpressionError> {
        let mut left = self.atom()?;
        loop {
            let operation = if self.take_any(&["*", "×"]) {
                Operation::Multiply
            } else if self.take_any(&["/", "÷"]) {
                Operation::Divide
            } else {
                return Ok(left);
            };
            left = Expression::Binary(operation, Box::new(left), Box::new(self.atom()?));
        }
    }

    fn atom(&mut self) -> Result<Expression, ExpressionError> {
        self.depth += 1;
        if self.depth > MAX_DEPTH {
            return Err(ExpressionError::TooLarge);
        }
        let parsed = match self.peek() {
            Some('(') => self.parenthesis(),
            Some(first) if first.is_ascii_digit() => self.literal(),
            Some(first) if first.is_ascii_lowercase() => self.name_or_call(),
            _ => Err(self.unexpected("a number, a name or '('")),
        };
        self.depth -= 1;
        parsed
    }

    fn parenthesis(&mut self) -> Result<Expression, ExpressionError> {
        self.take("(");
        let inner = self.sum()?;
        if self.take(")") { Ok(inner) } else { Err(self.unexpected("')'")) }
    }

    fn word(&mut self, belongs: impl Fn(char) -> bool) -> &'t str {
        let rest = &self.text[self.at..];
        let length = rest.find(|character| !belongs(character)).unwrap_or(rest.len());
        self.at += length;
        &rest[..length]
    }

    fn literal(&mut self) -> Result<Expression, ExpressionError> {
        let at = self.place(self.at);
        let word = self.word(|character| character.is_ascii_digit() || character == '.');
        word.parse().map(Expression::Literal).map_err(|source| ExpressionError::Literal { at, source })
    }

    /// What stands in the parentheses of a call, after the opening one.
    fn arguments(&mut self) -> Result<Vec<Expression>, ExpressionError> {
        let mut arguments = alloc::vec![self.sum()?];
        while self.take(",") {
            arguments.push(self.sum()?);
        }
        if self.take(")") { Ok(arguments) } else { Err(self.unexpected("',' or ')'")) }
    }

    fn name_or_call(&mut self) -> Result<Expression, ExpressionError> {
        let start = self.at;
        let name = self.word(|character| {
            character.is_ascii_lowercase() || character.is_ascii_digit() || character == '_'
        });
        if !self.take("(") {
            return Ok(Expression::Name(name.into()));
        }
        let at = self.place(start);
        let function = Function::named(name)
            .ok_or_else(|| ExpressionError::UnknownFunction { at, name: String::from(name) })?;
        let arguments = self.arguments()?;
        check_arguments(function, &arguments, at)?;
        Ok(Expression::Call(function, arguments))
    }
}

fn check_arguments(function: Function, arguments: &[Expression], at: usize) -> Result<(), ExpressionError> {
    let (fits, expected) = match function {
        Function::Whole => (arguments.len() == 1, "one value"),
        Function::Round | Function::Digit => (
            arguments.len() == 2 && arguments[1].places_literal().is_some(),
            "a value and a whole number of places from 0 to 9",
        ),
        Function::Max | Function::Min => (arguments.len() >= 2, "two or more values"),
        Function::SmallestAtLeast => (arguments.len() >= 2, "a value and one or more limits"),
    };
    if fits { Ok(()) } else { Err(ExpressionError::Arguments { at, function: function.name(), expected }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    fn parsed(text: &str) -> Expression {
        text.parse().unwrap()
    }

    #[test]
    fn names_are_the_same_in_any_order() {
        let named = |all: [(&str, u32); 2]| Names::from(all.map(|(name, value)| (name.into(), value.into())));
        assert_eq!(named([("a", 1), ("b", 2)]), named([("b", 2), ("a", 1)]));
        assert_ne!(named([("a", 1), ("b", 2)]), named([("a", 2), ("b", 1)]));
        assert_ne!(named([("a", 1), ("b", 2)]), named([("a", 1), ("c", 2)]));
        assert_ne!(named([("a", 1), ("a", 1)]), named([("a", 1), ("b", 2)]));
    }

    #[test]
    fn prints_back_what_it_read() {
        for text in [
            "a + b",
            "a - (b - c)",
            "a - b - c",
            "(a + b) * 0.5",
            "round(a / b, 2)",
            "a ? b",
            "max(a, 2, 3.10)",
            "smallest_at_least(x, 1, 2)",
        ] {
            assert_eq!(parsed(text).to_string(), text);
            assert_eq!(parsed(&parsed(text).to_string()), parsed(text));
        }
    }

    #[test]
    fn reads_printed_signs_and_spaces() {
        assert_eq!(parsed(" 4.6+0.75 "), parsed("4.6 + 0.75"));
        assert_eq!(parsed("2.3 × 10 ÷ 4 − 1"), parsed("2.3 * 10 / 4 - 1"));
    }

    #[test]
    fn names_the_place_and_what_was_expected() {
        let cases = [
            ("", "at character 1: expected a number, a name or '(', found the end"),
            ("1 +", "at character 4: expected a number, a name or '(', found the end"),
            ("(1 + 2", "at character 7: expected ')', found the end"),
            ("1\u{a0}½", "at character 3: expected an operation or the end, found '½'"),
            ("1 2", "at character 3: expected an operation or the end, found '2'"),
            (
                "1.2.3",
                "at character 1: '1.2.3' is not a decimal; expected digits with at most one point, as in 12.40",
            ),
            (
                "sqrt(2)",
                "at character 1: unknown function 'sqrt'; there are round, max, min, smallest_at_least, whole and digit, and as the whole expression ascending and descending",
            ),
            ("round(2)", "at character 1: round takes a value and a whole number of places from 0 to 9"),
            ("round(2, 1.5)", "at character 1: round takes a value and a whole number of places from 0 to 9"),
            ("1 ? 2 ? 3", "at character 7: expected an operation or the end, found '?'"),
        ];
        for (text, message) in cases {
            assert_eq!(text.parse::<Expression>().unwrap_err().to_string(), message, "{text:?}");
        }
    }

    #[test]
    fn refuses_what_is_too_large() {
        let deep = alloc::format!("{}1{}", "(".repeat(40), ")".repeat(40));
        assert_eq!(deep.parse::<Expression>(), Err(ExpressionError::TooLarge));
        assert_eq!("1+".repeat(600).parse::<Expression>(), Err(ExpressionError::TooLarge));
    }
}
