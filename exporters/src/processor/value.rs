//! Values of the standard: single ones of a base type, containers, records, and NULL.
use std::{collections::BTreeMap, fmt};

use smol_str::SmolStr;

/// The type of a single value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BaseType {
    /// `boolean`
    Boolean,
    /// `directedPair`
    DirectedPair,
    /// `duration`, in seconds
    Duration,
    /// `file`
    File,
    /// `float`
    Float,
    /// `identifier`
    Identifier,
    /// `integer`
    Integer,
    /// `pair`
    Pair,
    /// `point`
    Point,
    /// `string`
    String,
    /// `uri`
    Uri,
}

impl BaseType {
    /// All of them by the standard's words.
    pub const WORDS: [(&'static str, Self); 11] = [
        ("boolean", Self::Boolean),
        ("directedPair", Self::DirectedPair),
        ("duration", Self::Duration),
        ("file", Self::File),
        ("float", Self::Float),
        ("identifier", Self::Identifier),
        ("integer", Self::Integer),
        ("pair", Self::Pair),
        ("point", Self::Point),
        ("string", Self::String),
        ("uri", Self::Uri),
    ];

    /// The standard's word.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::WORDS.iter().find(|(_, known)| *known == self).map_or("", |(word, _)| word)
    }

    /// A value of this type from a text of a document; `None` if the text is none.
    #[must_use]
    pub fn parse(self, text: &str) -> Option<Scalar> {
        let trimmed = text.trim();
        Some(match self {
            Self::Boolean => match trimmed {
                "true" | "1" => Scalar::Boolean(true),
                "false" | "0" => Scalar::Boolean(false),
                _ => return None,
            },
            Self::Integer => Scalar::Integer(trimmed.parse().ok()?),
            Self::Float => Scalar::Float(parse_float(trimmed)?),
            Self::Duration => Scalar::Duration(parse_float(trimmed).filter(|seconds| *seconds >= 0.0)?),
            Self::Identifier => Scalar::Identifier(Some(trimmed).filter(|name| is_identifier(name))?.into()),
            Self::Uri => Scalar::Uri(trimmed.into()),
            Self::String => Scalar::String(text.into()),
            Self::File => Scalar::File(text.into()),
            Self::Pair => Scalar::Pair(two(trimmed)?),
            Self::DirectedPair => Scalar::DirectedPair(two(trimmed)?),
            Self::Point => {
                let [x, y] = *two(trimmed)?;
                Scalar::Point(x.parse().ok()?, y.parse().ok()?)
            }
        })
    }
}

fn two(text: &str) -> Option<Box<[SmolStr; 2]>> {
    let mut words = text.split_ascii_whitespace();
    let pair = [words.next()?.into(), words.next()?.into()];
    words.next().is_none().then(|| Box::new(pair))
}

/// A finite number as the standard writes floats: digits, a point, an exponent.
#[must_use]
pub fn parse_float(text: &str) -> Option<f64> {
    let plain =
        text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e' | b'E'));
    text.parse().ok().filter(|number: &f64| plain && number.is_finite())
}

/// Whether a text can be an identifier: no digit, hyphen or point first, then also these.
#[must_use]
pub fn is_identifier(text: &str) -> bool {
    let mut signs = text.chars();
    signs.next().is_some_and(|first| first.is_alphabetic() || first == '_')
        && signs.all(|sign| sign.is_alphanumeric() || matches!(sign, '_' | '-' | '.'))
}

/// How many values a variable holds, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cardinality {
    /// One.
    Single,
    /// A bag: the order does not count.
    Multiple,
    /// A list.
    Ordered,
    /// Fields with names.
    Record,
}

impl Cardinality {
    /// All of them by the standard's words.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("single", Self::Single),
        ("multiple", Self::Multiple),
        ("ordered", Self::Ordered),
        ("record", Self::Record),
    ];
}

/// A single value.
#[derive(Clone, Debug, PartialEq)]
pub enum Scalar {
    /// A truth value.
    Boolean(bool),
    /// A name.
    Identifier(SmolStr),
    /// A whole number of 32 bits.
    Integer(i32),
    /// A binary number, always finite.
    Float(f64),
    /// Text.
    String(SmolStr),
    /// An address.
    Uri(SmolStr),
    /// Where on a picture.
    Point(i32, i32),
    /// Two names, whichever comes first. (Boxed, as pairs are rare and would make all values nearly twice as large.)
    Pair(Box<[SmolStr; 2]>),
    /// From one name to another.
    DirectedPair(Box<[SmolStr; 2]>),
    /// Seconds.
    Duration(f64),
    /// The name of a file.
    File(SmolStr),
}

impl Scalar {
    /// Its type.
    #[must_use]
    pub fn base_type(&self) -> BaseType {
        match self {
            Self::Boolean(_) => BaseType::Boolean,
            Self::Identifier(_) => BaseType::Identifier,
            Self::Integer(_) => BaseType::Integer,
            Self::Float(_) => BaseType::Float,
            Self::String(_) => BaseType::String,
            Self::Uri(_) => BaseType::Uri,
            Self::Point(..) => BaseType::Point,
            Self::Pair(..) => BaseType::Pair,
            Self::DirectedPair(..) => BaseType::DirectedPair,
            Self::Duration(_) => BaseType::Duration,
            Self::File(_) => BaseType::File,
        }
    }

    /// Whether both are the same value of the same type.
    #[must_use]
    pub fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Pair(one), Self::Pair(other)) => {
                let ([a, b], [c, d]) = (&**one, &**other);
                (a, b) == (c, d) || (a, b) == (d, c)
            }
            _ => self == other,
        }
    }

    /// As a float, if it is a number.
    #[must_use]
    pub fn as_float(&self) -> Option<f64> {
        match self {
            Self::Integer(number) => Some(f64::from(*number)),
            Self::Float(number) => Some(*number),
            _ => None,
        }
    }
}

impl fmt::Display for Scalar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Boolean(truth) => truth.fmt(f),
            Self::Integer(number) => number.fmt(f),
            Self::Float(number) | Self::Duration(number) => number.fmt(f),
            Self::Identifier(text) | Self::String(text) | Self::Uri(text) | Self::File(text) => {
                f.write_str(text)
            }
            Self::Point(x, y) => write!(f, "{x} {y}"),
            Self::Pair(pair) | Self::DirectedPair(pair) => f.write_str(&pair.join(" ")),
        }
    }
}

/// What a variable holds or an expression gives.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Value {
    /// Nothing. Empty containers and empty strings are the same as nothing.
    #[default]
    Null,
    /// One value.
    Single(Scalar),
    /// A bag, not empty, of one type.
    Multiple(Vec<Scalar>),
    /// A list, not empty, of one type.
    Ordered(Vec<Scalar>),
    /// Fields by name; fields that are nothing are not there.
    Record(BTreeMap<String, Scalar>),
}

impl Value {
    /// One value; the empty string is nothing.
    #[must_use]
    pub fn single(scalar: Scalar) -> Self {
        match &scalar {
            Scalar::String(text) | Scalar::Uri(text) if text.is_empty() => Self::Null,
            _ => Self::Single(scalar),
        }
    }

    /// A number; one that is not finite is nothing.
    #[must_use]
    pub fn float(number: f64) -> Self {
        if number.is_finite() { Self::Single(Scalar::Float(number)) } else { Self::Null }
    }

    /// A whole number; one of more than 32 bits is nothing.
    #[must_use]
    pub fn integer(number: i64) -> Self {
        i32::try_from(number).map_or(Self::Null, |number| Self::Single(Scalar::Integer(number)))
    }

    /// A truth value.
    #[must_use]
    pub fn boolean(truth: bool) -> Self {
        Self::Single(Scalar::Boolean(truth))
    }

    /// Values held in this way: a single one is the first. A record has names and is not made here.
    #[must_use]
    pub fn of(cardinality: Cardinality, values: Vec<Scalar>) -> Self {
        match cardinality {
            _ if values.is_empty() => Self::Null,
            Cardinality::Single => values.into_iter().next().map_or(Self::Null, Self::single),
            Cardinality::Multiple => Self::Multiple(values),
            Cardinality::Ordered => Self::Ordered(values),
            Cardinality::Record => Self::Null,
        }
    }

    /// Whether it is nothing.
    #[must_use]
    pub fn is_null(&self) -> bool {
        *self == Self::Null
    }

    /// The single value.
    #[must_use]
    pub fn scalar(&self) -> Option<&Scalar> {
        match self {
            Self::Single(scalar) => Some(scalar),
            _ => None,
        }
    }

    /// The single values in it, but of a record.
    #[must_use]
    pub fn scalars(&self) -> &[Scalar] {
        match self {
            Self::Null | Self::Record(_) => &[],
            Self::Single(scalar) => std::slice::from_ref(scalar),
            Self::Multiple(values) | Self::Ordered(values) => values,
        }
    }

    /// The number, if it is a single one.
    #[must_use]
    pub fn as_float(&self) -> Option<f64> {
        self.scalar().and_then(Scalar::as_float)
    }

    /// The text, if it is a single string or identifier.
    #[must_use]
    pub fn as_text(&self) -> Option<&str> {
        match self.scalar() {
            Some(Scalar::String(text) | Scalar::Identifier(text)) => Some(text),
            _ => None,
        }
    }

    /// Whether both are the same; bags whatever their order.
    #[must_use]
    pub fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Single(one), Self::Single(other)) => one.same(other),
            (Self::Ordered(one), Self::Ordered(other)) => {
                one.len() == other.len() && one.iter().zip(other).all(|(one, other)| one.same(other))
            }
            (Self::Multiple(one), Self::Multiple(other)) => one.len() == other.len() && bag_holds(one, other),
            _ => self == other,
        }
    }
}

/// Whether a bag holds all of another, each as often.
#[must_use]
pub fn bag_holds(bag: &[Scalar], wanted: &[Scalar]) -> bool {
    let mut left: Vec<&Scalar> = bag.iter().collect();
    wanted.iter().all(|one| {
        let found = left.iter().position(|other| other.same(one));
        found.map(|at| left.swap_remove(at)).is_some()
    })
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Null => f.write_str("NULL"),
            Self::Record(fields) => {
                let fields: Vec<String> =
                    fields.iter().map(|(name, value)| format!("{name}: {value}")).collect();
                write!(f, "{{{}}}", fields.join(", "))
            }
            _ => {
                let values: Vec<String> = self.scalars().iter().map(Scalar::to_string).collect();
                f.write_str(&values.join(", "))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_read_by_their_type() {
        for (base_type, text, value) in [
            (BaseType::Integer, " 12 ", Some("12")),
            (BaseType::Integer, "1.5", None),
            (BaseType::Integer, "2147483648", None),
            (BaseType::Float, "1.50", Some("1.5")),
            (BaseType::Float, "1e2", Some("100")),
            (BaseType::Float, "inf", None),
            (BaseType::Float, "1,5", None),
            (BaseType::Boolean, "true", Some("true")),
            (BaseType::Boolean, "yes", None),
            (BaseType::Identifier, "A_1", Some("A_1")),
            (BaseType::Identifier, "1A", None),
            (BaseType::Pair, "A B", Some("A B")),
            (BaseType::Pair, "A", None),
            (BaseType::Point, "3 4", Some("3 4")),
            (BaseType::Duration, "-1", None),
        ] {
            let read = base_type.parse(text).map(|value| value.to_string());
            assert_eq!(read.as_deref(), value, "{base_type:?} {text}");
        }
    }

    #[test]
    fn empty_containers_and_strings_are_nothing_and_bags_have_no_order() {
        assert!(Value::of(Cardinality::Ordered, Vec::new()).is_null());
        assert!(Value::single(Scalar::String(SmolStr::default())).is_null());
        let numbers =
            |numbers: &[i32]| numbers.iter().map(|number| Scalar::Integer(*number)).collect::<Vec<_>>();
        assert!(Value::Multiple(numbers(&[1, 2, 2])).same(&Value::Multiple(numbers(&[2, 1, 2]))));
        assert!(!Value::Multiple(numbers(&[1, 1, 2])).same(&Value::Multiple(numbers(&[2, 1, 2]))));
        assert!(!Value::Ordered(numbers(&[1, 2])).same(&Value::Ordered(numbers(&[2, 1]))));
        let pair = |one: &str, other: &str| Value::Single(Scalar::Pair(Box::new([one.into(), other.into()])));
        assert!(pair("A", "B").same(&pair("B", "A")));
    }
}
