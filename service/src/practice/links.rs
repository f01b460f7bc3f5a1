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

/// When something may be done, as the tool wrote it (ISO 8601).
#[derive(Debug, Clone, Default, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Period {
    pub(super) start_date_time: Option<String>,
    pub(super) end_date_time: Option<String>,
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

    pub(super) fn all(&self) -> &[Link] {
        &self.0
    }
}

/// An id for a new link.
pub(super) fn new_id() -> String {
    format!("link-{}", clock::unguessable())
}
