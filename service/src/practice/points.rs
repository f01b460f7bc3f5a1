//! Points as they travel in JSON: numbers there, exact decimals here, so that 7.1 of 10 stays 7.1 of 10.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::de::Error as _;
use serde::ser::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A number of points, zero or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Points(Decimal);

impl Points {
    /// No points.
    pub const ZERO: Points = Points(Decimal::ZERO);

    /// The same value as a decimal.
    pub fn decimal(self) -> Decimal {
        self.0
    }

    /// `self` points of `maximum`, on a scale that ends at `new_maximum`; rounded to six places.
    /// `None` when the result is beyond what a decimal can hold or `maximum` is zero.
    pub(super) fn rescaled(self, maximum: Points, new_maximum: Points) -> Option<Points> {
        if maximum == new_maximum {
            return Some(self);
        }
        let scaled = self.0.checked_mul(new_maximum.0)?.checked_div(maximum.0)?;
        Some(Points(scaled.round_dp(6).normalize()))
    }

    fn parse(text: &str) -> Result<Points, String> {
        let value = Decimal::from_str(text)
            .or_else(|_| Decimal::from_scientific(text))
            .map_err(|_| format!("{text} is not a number of points"))?;
        if value.is_sign_negative() && !value.is_zero() {
            return Err(format!("{text} is negative"));
        }
        Ok(Points(value))
    }
}

impl From<u32> for Points {
    fn from(whole: u32) -> Points {
        Points(Decimal::from(whole))
    }
}

impl fmt::Display for Points {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0.normalize(), formatter)
    }
}

impl<'de> Deserialize<'de> for Points {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Points, D::Error> {
        let number = serde_json::Number::deserialize(deserializer)?;
        Points::parse(&number.to_string()).map_err(D::Error::custom)
    }
}

impl Serialize for Points {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let number: serde_json::Number = self.to_string().parse().map_err(S::Error::custom)?;
        number.serialize(serializer)
    }
}

#[cfg(test)]
mod tests {
    use super::Points;

    fn points(json: &str) -> Points {
        serde_json::from_str(json).unwrap()
    }

    #[test]
    fn reads_and_writes_json_numbers_exactly() {
        for text in ["7", "7.1", "0", "0.3", "1000000"] {
            assert_eq!(serde_json::to_string(&points(text)).unwrap(), text);
        }
    }

    #[test]
    fn refuses_negative_points_and_text() {
        assert!(serde_json::from_str::<Points>("-1").is_err());
        assert!(serde_json::from_str::<Points>("\"7\"").is_err());
    }

    #[test]
    fn rescales_to_another_maximum() {
        assert_eq!(points("7").rescaled(points("10"), points("100")), Some(points("70")));
        assert_eq!(points("1").rescaled(points("3"), points("1")), Some(points("0.333333")));
        assert_eq!(points("1").rescaled(points("0"), points("1")), None);
    }
}
