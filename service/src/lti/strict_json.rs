//! JSON read strictly: an object that names a member twice is refused, at any depth.
//!
//! Two readers of one token may keep different members of a pair (one the first, one the last), so a token with a pair
//! means two things at once. Sizes are limited by the caller, depth by the JSON library.

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// Why text is not an acceptable object.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrictJsonError {
    /// Not JSON, or not an object.
    NotAnObject,
    /// An object names a member twice.
    DuplicateMember,
}

/// Reads one JSON object.
///
/// # Errors
/// [`StrictJsonError`] when it is not one, or names a member twice at any depth.
pub fn object(bytes: &[u8]) -> Result<Map<String, Value>, StrictJsonError> {
    let mut duplicate = false;
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = Strict { duplicate: &mut duplicate }.deserialize(&mut reader);
    if duplicate {
        return Err(StrictJsonError::DuplicateMember);
    }
    match (value, reader.end()) {
        (Ok(Value::Object(members)), Ok(())) => Ok(members),
        _ => Err(StrictJsonError::NotAnObject),
    }
}

struct Strict<'a> {
    duplicate: &'a mut bool,
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("number is not finite"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(element) = elements.next_element_seed(Strict { duplicate: self.duplicate })? {
            list.push(element);
        }
        Ok(Value::Array(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(name) = members.next_key::<String>()? {
            if map.contains_key(&name) {
                *self.duplicate = true;
                return Err(A::Error::custom("duplicate member"));
            }
            let value = members.next_value_seed(Strict { duplicate: self.duplicate })?;
            map.insert(name, value);
        }
        Ok(Value::Object(map))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_the_plain_reader_reads() {
        let text = r#"{"a":[1,-2,2.5,true,null,"é"],"b":{"c":{}}}"#;
        let plain: Value = serde_json::from_str(text).unwrap();
        assert_eq!(Value::Object(object(text.as_bytes()).unwrap()), plain);
    }

    #[test]
    fn refuses_a_member_named_twice_at_any_depth() {
        for text in [r#"{"iss":"a","iss":"a"}"#, r#"{"x":[{"y":1,"y":2}]}"#, r#"{"a":1,"\u0061":2}"#] {
            assert_eq!(object(text.as_bytes()), Err(StrictJsonError::DuplicateMember), "{text}");
        }
    }

    #[test]
    fn refuses_what_is_not_one_object() {
        for text in ["", "[]", "1", "{}{}", "{\"a\":1", "{\"a\":1} x", "nul"] {
            assert_eq!(object(text.as_bytes()), Err(StrictJsonError::NotAnObject), "{text}");
        }
        let deep = format!("{{\"a\":{}{}}}", "[".repeat(10_000), "]".repeat(10_000));
        assert_eq!(object(deep.as_bytes()), Err(StrictJsonError::NotAnObject));
    }
}
