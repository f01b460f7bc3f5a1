//! Conditions of a question, put together from those that are given.

use super::connection::Value;

/// Conditions that all have to hold, and their parameters.
#[derive(Default)]
pub(super) struct Asked {
    conditions: Vec<String>,
    pub(super) values: Vec<Value>,
}

impl Asked {
    /// One more condition; each `?` in it is the next of `values`.
    pub(super) fn that<const N: usize>(&mut self, condition: &str, values: [Value; N]) {
        let mut numbered = String::new();
        let mut parts = condition.split('?');
        numbered.extend(parts.next());
        for (part, value) in parts.zip(values) {
            numbered.push_str(&self.bind(value));
            numbered.push_str(part);
        }
        self.conditions.push(numbered);
    }

    /// The sign of one more parameter.
    pub(super) fn bind(&mut self, value: Value) -> String {
        self.values.push(value);
        format!("?{}", self.values.len())
    }

    /// All of them behind WHERE, or nothing.
    pub(super) fn conditions(&self) -> String {
        if self.conditions.is_empty() {
            String::new()
        } else {
            format!("WHERE {}", self.conditions.join(" AND "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conditions_are_numbered_in_their_order() {
        let mut asked = Asked::default();
        assert_eq!(asked.conditions(), "");
        asked.that("a = ?", [Value::Integer(1)]);
        asked.that("(b, c) > (?, ?)", [Value::Integer(2), Value::Integer(3)]);
        assert_eq!(asked.bind(Value::Integer(4)), "?4");
        assert_eq!(asked.conditions(), "WHERE a = ?1 AND (b, c) > (?2, ?3)");
        assert_eq!(asked.values, [1, 2, 3, 4].map(Value::Integer));
    }
}
