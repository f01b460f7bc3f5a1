//! Resource links: the activities placed in the course by deep linking.

use std::collections::BTreeMap;

use url::Url;

use super::clock;

/// A placed activity.
#[derive(Debug, Clone)]
pub(super) struct Link {
    /// Unguessable, so that links of an earlier run are not taken for links of this one.
    pub(super) id: String,
    pub(super) title: String,
    pub(super) text: Option<String>,
    /// Where it leads: the `target_link_uri` of its launches.
    pub(super) url: Url,
    /// Custom parameters as the tool gave them, variables not yet replaced.
    pub(super) custom: BTreeMap<String, String>,
    pub(super) available: Period,
    pub(super) submission: Period,
}

/// When something may be done (ISO 8601): as the tool wrote it, or as somebody changed it here.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub struct Period {
    /// From when.
    pub start_date_time: Option<String>,
    /// Until when.
    pub end_date_time: Option<String>,
}

/// New times of a link, as a teacher sets them on the platform.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct LinkTimes {
    /// When it can be opened.
    #[serde(default)]
    pub available: Period,
    /// When it can be handed in.
    #[serde(default)]
    pub submission: Period,
}

/// Every link of the course, oldest first.
#[derive(Debug, Default)]
pub(super) struct Links(Vec<Link>);

impl Links {
    pub(super) fn add(&mut self, link: Link) {
        self.0.push(link);
    }

    pub(super) fn find(&self, id: &str) -> Option<&Link> {
        self.0.iter().find(|link| link.id == id)
    }

    /// Gives a link new times; false when there is no such link.
    pub(super) fn set_times(&mut self, id: &str, times: LinkTimes) -> bool {
        let Some(link) = self.0.iter_mut().find(|link| link.id == id) else { return false };
        (link.available, link.submission) = (times.available, times.submission);
        true
    }

    pub(super) fn all(&self) -> &[Link] {
        &self.0
    }
}

/// An id for a new link.
pub(super) fn new_id() -> String {
    format!("link-{}", clock::unguessable())
}
