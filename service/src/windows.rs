//! When a quiz can be worked on: the windows that the teacher chose when placing it, as the platform has them now.
//!
//! Deep linking (section 3.2) carries two windows, `available` and `submission`, as first values only. What holds is
//! what launches say through `$ResourceLink.available.startDateTime` and its three siblings; a platform that does not
//! know these variables leaves them as they are or empty, and then the teacher's first values hold.
//!
//! Work is possible inside both windows. What was handed in stays visible always.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{TimeZone, TimeZoneDatabase};
use serde::{Deserialize, Serialize};

/// One end of a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    /// From when pupils can open the quiz.
    AvailableFrom,
    /// Until when pupils can open the quiz.
    AvailableUntil,
    /// From when pupils can work on it.
    SubmissionFrom,
    /// Until when pupils can hand in.
    SubmissionUntil,
}

impl Edge {
    /// All four, in the order of a form.
    pub const ALL: [Self; 4] =
        [Self::AvailableFrom, Self::AvailableUntil, Self::SubmissionFrom, Self::SubmissionUntil];

    /// Its name: of the form's field, and of the link's own parameter that holds the platform's variable.
    pub fn name(self) -> &'static str {
        match self {
            Self::AvailableFrom => "available_from",
            Self::AvailableUntil => "available_until",
            Self::SubmissionFrom => "submission_from",
            Self::SubmissionUntil => "submission_until",
        }
    }

    /// Name of the link's own parameter that holds what the teacher chose.
    pub fn placed_name(self) -> &'static str {
        match self {
            Self::AvailableFrom => "placed_available_from",
            Self::AvailableUntil => "placed_available_until",
            Self::SubmissionFrom => "placed_submission_from",
            Self::SubmissionUntil => "placed_submission_until",
        }
    }

    /// The variable that platforms replace with the date that holds (deep linking, section 3.2).
    pub fn variable(self) -> &'static str {
        match self {
            Self::AvailableFrom => "$ResourceLink.available.startDateTime",
            Self::AvailableUntil => "$ResourceLink.available.endDateTime",
            Self::SubmissionFrom => "$ResourceLink.submission.startDateTime",
            Self::SubmissionUntil => "$ResourceLink.submission.endDateTime",
        }
    }

    /// Member of a content item, and the member inside it.
    pub(crate) fn members(self) -> (&'static str, &'static str) {
        match self {
            Self::AvailableFrom => ("available", "startDateTime"),
            Self::AvailableUntil => ("available", "endDateTime"),
            Self::SubmissionFrom => ("submission", "startDateTime"),
            Self::SubmissionUntil => ("submission", "endDateTime"),
        }
    }

    fn begins(self) -> bool {
        matches!(self, Self::AvailableFrom | Self::SubmissionFrom)
    }
}

/// Who named a date last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NamedBy {
    /// A teacher, when placing the quiz or later.
    Teacher,
    /// The platform, at a launch.
    Platform,
}

/// A date, and who named it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moment {
    /// When.
    pub at: Timestamp,
    /// By whom.
    pub by: NamedBy,
}

/// What a launch says of one end of a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// This is when.
    At(Timestamp),
    /// The variable came back empty.
    Empty,
    /// The variable came back as it was, or as something that is no date with a zone.
    Unsupported,
}

impl Said {
    /// Reads the value of a link's own parameter whose value we sent as a variable.
    pub fn read(value: &str) -> Self {
        match value.trim() {
            "" => Self::Empty,
            text => text.parse().map_or(Self::Unsupported, Self::At),
        }
    }
}

/// The windows of a quiz; open wherever nothing is said.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Windows {
    /// The ends that are known.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub edges: BTreeMap<Edge, Moment>,
    /// The zone in which the teacher chose, by its name in the time zone database.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<Zone>,
}

/// Where a quiz is in its windows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// It opens later.
    Early {
        /// When.
        opens: Timestamp,
    },
    /// It can be worked on.
    Open {
        /// Until when, if there is an end.
        closes: Option<Timestamp>,
    },
    /// It is over.
    Over {
        /// Since when.
        closed: Timestamp,
    },
}

impl Windows {
    /// Windows as a teacher chose them.
    pub fn placed(edges: impl IntoIterator<Item = (Edge, Timestamp)>, zone: Option<Zone>) -> Self {
        let moment = |(edge, at)| (edge, Moment { at, by: NamedBy::Teacher });
        Self { edges: edges.into_iter().map(moment).collect(), zone }
    }

    /// These windows after a launch. A date replaces what is known. An empty value takes back a date that the platform
    /// itself had named, for then it knows the variable and the date was removed; it leaves the teacher's alone.
    #[must_use]
    pub fn refreshed(&self, said: &BTreeMap<Edge, Said>) -> Self {
        let mut windows = self.clone();
        for (&edge, said) in said {
            let known = windows.edges.get(&edge);
            match said {
                Said::At(at) => {
                    windows.edges.insert(edge, Moment { at: *at, by: NamedBy::Platform });
                }
                Said::Empty if known.is_some_and(|known| known.by == NamedBy::Platform) => {
                    windows.edges.remove(&edge);
                }
                Said::Empty | Said::Unsupported => {}
            }
        }
        windows
    }

    /// From when pupils can work on the quiz.
    pub fn opens_at(&self) -> Option<Timestamp> {
        self.ends(true).max()
    }

    /// Until when pupils can hand in.
    pub fn closes_at(&self) -> Option<Timestamp> {
        self.ends(false).min()
    }

    fn ends(&self, beginnings: bool) -> impl Iterator<Item = Timestamp> {
        self.edges.iter().filter(move |(edge, _)| edge.begins() == beginnings).map(|(_, moment)| moment.at)
    }

    /// Whether the platform named any of the dates; then it is the place to change them.
    pub fn named_by_platform(&self) -> bool {
        self.edges.values().any(|moment| moment.by == NamedBy::Platform)
    }

    /// Where the quiz is at `now`.
    pub fn phase(&self, now: Timestamp) -> Phase {
        match (self.opens_at(), self.closes_at()) {
            (_, Some(closed)) if closed <= now => Phase::Over { closed },
            (Some(opens), _) if now < opens => Phase::Early { opens },
            (_, closes) => Phase::Open { closes },
        }
    }
}

/// The zones that the program knows, built in so that a quiz opens at the same moment on every machine.
static ZONES: LazyLock<TimeZoneDatabase> = LazyLock::new(TimeZoneDatabase::bundled);

/// A time zone by its name in the time zone database, such as `America/Chicago`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zone(TimeZone);

impl Zone {
    /// Universal time.
    pub const UTC: Self = Self(TimeZone::UTC);

    /// Its name.
    pub fn name(&self) -> &str {
        self.0.iana_name().unwrap_or("UTC")
    }

    /// Names of zones to choose from: those of places, and UTC first.
    pub fn names() -> Vec<String> {
        let place = |name: &String| name.contains('/') && !name.starts_with("Etc/");
        let mut names: Vec<String> =
            ZONES.available().map(|name| name.as_str().to_owned()).filter(place).collect();
        names.sort_unstable();
        names.insert(0, "UTC".to_owned());
        names
    }

    /// A time of this zone as people write it and browsers send it: `2026-03-02T09:15` or with a blank between.
    ///
    /// A time that the zone leaves out in spring counts an hour later; of one that comes twice in autumn the first.
    pub fn read(&self, text: &str) -> Option<Timestamp> {
        let local: DateTime = text.trim().replacen(' ', "T", 1).parse().ok()?;
        local.to_zoned_datetime(self.0.clone()).ok().map(|zoned| zoned.timestamp())
    }

    /// A time as [`Zone::read`] takes it, for filling in a form.
    pub fn written(&self, time: Timestamp) -> String {
        time.to_zoned_datetime(self.0.clone()).strftime("%Y-%m-%dT%H:%M").to_string()
    }

    /// A time in this zone.
    pub(crate) fn at(&self, time: Timestamp) -> jiff::ZonedDateTime {
        time.to_zoned_datetime(self.0.clone())
    }

    /// A time for people, with the offset named: `Monday 2 March 2026, 09:15 (UTC-06:00)`.
    pub fn told(&self, time: Timestamp) -> String {
        let zoned = time.to_zoned_datetime(self.0.clone());
        let offset = if zoned.offset().is_zero() { String::new() } else { zoned.strftime("%:z").to_string() };
        format!("{} (UTC{offset})", zoned.strftime("%A %-d %B %Y, %H:%M"))
    }
}

/// A name that is no zone.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("time zone {0:?} is unknown: expected a name such as America/Chicago, or UTC")]
pub struct UnknownZone(String);

impl FromStr for Zone {
    type Err = UnknownZone;

    fn from_str(name: &str) -> Result<Self, UnknownZone> {
        if name == "UTC" {
            return Ok(Self::UTC);
        }
        ZONES.get(name).map(Self).map_err(|_| UnknownZone(crate::shorten(name, 40)))
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl Serialize for Zone {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

impl<'de> Deserialize<'de> for Zone {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn chicago() -> Zone {
        "America/Chicago".parse().unwrap()
    }

    #[test]
    fn work_is_possible_inside_both_windows() {
        let windows = Windows::placed(
            [
                (Edge::AvailableFrom, at("2026-03-02T08:00:00Z")),
                (Edge::SubmissionFrom, at("2026-03-02T09:00:00Z")),
                (Edge::SubmissionUntil, at("2026-03-02T10:00:00Z")),
                (Edge::AvailableUntil, at("2026-03-03T10:00:00Z")),
            ],
            None,
        );
        let (opens, closes) = (at("2026-03-02T09:00:00Z"), at("2026-03-02T10:00:00Z"));
        assert_eq!(windows.phase(at("2026-03-02T08:59:59Z")), Phase::Early { opens });
        assert_eq!(windows.phase(opens), Phase::Open { closes: Some(closes) });
        assert_eq!(windows.phase(closes), Phase::Over { closed: closes });
        assert_eq!(Windows::default().phase(closes), Phase::Open { closes: None });
    }

    /// Checklist section 2: variables 'may come back as "" or unresolved'.
    #[test]
    fn launches_refresh_dates_and_unknown_variables_leave_them() {
        let (chosen, moved) = (at("2026-03-02T08:00:00Z"), at("2026-03-04T08:00:00Z"));
        let edge = Edge::AvailableUntil;
        let said = |value: &str| BTreeMap::from([(edge, Said::read(value))]);
        let placed = Windows::placed([(edge, chosen)], None);
        assert_eq!(
            placed.refreshed(&said(edge.variable())),
            placed,
            "the platform does not know the variable"
        );
        assert_eq!(placed.refreshed(&said("")), placed, "nor does one that empties it");
        assert_eq!(placed.refreshed(&said("next Monday")), placed);
        let refreshed = placed.refreshed(&said("2026-03-04T02:00:00-06:00"));
        assert_eq!(refreshed.closes_at(), Some(moved));
        assert_eq!(refreshed.refreshed(&said(edge.variable())), refreshed);
        assert_eq!(refreshed.refreshed(&said("")).closes_at(), None, "the platform took its own date back");
    }

    /// Offsets of Chicago: 6 hours in winter, 5 from the second Sunday in March (from memory).
    #[test]
    fn times_are_read_and_told_in_a_zone_by_its_rules() {
        for (typed, meant, told) in [
            ("2026-03-02T09:15", "2026-03-02T15:15:00Z", "Monday 2 March 2026, 09:15 (UTC-06:00)"),
            ("2026-03-09 09:15", "2026-03-09T14:15:00Z", "Monday 9 March 2026, 09:15 (UTC-05:00)"),
        ] {
            assert_eq!(chicago().read(typed), Some(at(meant)));
            assert_eq!(chicago().told(at(meant)), told);
            assert_eq!(chicago().written(at(meant)), typed.replace(' ', "T"));
        }
        assert_eq!(Zone::UTC.told(at("2026-03-02T09:15:00Z")), "Monday 2 March 2026, 09:15 (UTC)");
        assert_eq!(chicago().read("tomorrow"), None);
        // The hour from 2 to 3 does not exist on 8 March 2026.
        assert_eq!(chicago().read("2026-03-08T02:30"), Some(at("2026-03-08T08:30:00Z")));
    }

    #[test]
    fn zones_are_known_by_name_and_stored_by_name() {
        assert!("Atlantis/Old_Town".parse::<Zone>().unwrap_err().to_string().contains("America/Chicago"));
        let windows = Windows::placed([], Some(chicago()));
        let json = serde_json::to_string(&windows).unwrap();
        assert_eq!(json, r#"{"zone":"America/Chicago"}"#);
        assert_eq!(serde_json::from_str::<Windows>(&json).unwrap(), windows);
        let names = Zone::names();
        assert_eq!(names[0], "UTC");
        assert!(names.len() > 300 && names.iter().all(|name| name.parse::<Zone>().is_ok()));
    }
}
