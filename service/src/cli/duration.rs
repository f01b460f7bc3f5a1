//! Lengths of time as people write them on the command line: `30m`, `24h`, `7d`.

use jiff::{Span, SpanRelativeTo, Timestamp};

use crate::clock::plus_ms;

/// A length of time in milliseconds, longer than nothing and at most ten years. A day has 24 hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Length(i64);

/// Ten years.
const MOST_MS: i64 = 10 * 366 * 24 * 60 * 60 * 1000;

impl Length {
    pub(super) fn ms(self) -> i64 {
        self.0
    }

    pub(super) fn after(self, time: Timestamp) -> Timestamp {
        plus_ms(time, self.0)
    }
}

impl std::str::FromStr for Length {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let span: Option<Span> = text.parse().ok();
        span.and_then(|span| span.to_duration(SpanRelativeTo::days_are_24_hours()).ok())
            .and_then(|length| i64::try_from(length.as_millis()).ok())
            .filter(|length| (1..=MOST_MS).contains(length))
            .map(Self)
            .ok_or_else(|| "expected a length of time such as 30m, 24h or 7d, up to ten years".to_owned())
    }
}

/// When something ends: after a length of time, or `never`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// After that time.
    After(Length),
    /// Never.
    Never,
}

impl End {
    pub(super) fn from(self, now: Timestamp) -> Option<Timestamp> {
        match self {
            Self::After(length) => Some(length.after(now)),
            Self::Never => None,
        }
    }
}

impl std::str::FromStr for End {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "never" { Ok(Self::Never) } else { text.parse().map(Self::After) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_lengths_as_people_write_them() {
        let ms = |text: &str| text.parse::<Length>().map(Length::ms);
        assert_eq!(ms("90d"), Ok(90 * 24 * 60 * 60 * 1000));
        assert_eq!(ms("24h"), Ok(24 * 60 * 60 * 1000));
        assert_eq!(ms("30m"), Ok(30 * 60 * 1000));
        for wrong in ["", "7", "d", "-1d", "0d", "1 fortnight", "99999999d"] {
            assert!(ms(wrong).unwrap_err().contains("7d"), "{wrong}");
        }
        assert_eq!("never".parse(), Ok(End::Never));
    }
}
