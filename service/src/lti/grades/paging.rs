//! Lists that come in pages: the `Link` with `rel="next"` (RFC 8288) is followed exactly as given, within limits.
//!
//! A list that cannot be read to its end is an error, never a shorter list: a column that was not seen would be made a
//! second time.

use std::collections::BTreeSet;

use jiff::Timestamp;
use reqwest::Method;
use serde::de::DeserializeOwned;
use url::Url;

use super::{Call, GradeError, GradeService, refusal};
use crate::lti::link_header::{self, ForeignOrigin};
use crate::storage::{Placement, Registration};

/// How many pages of a list are read; a thousand pupils on pages of ten fit.
const PAGES_MAX: usize = 100;

/// A list to be read.
pub(super) struct List {
    /// Its first page, with filters.
    pub(super) first: Url,
    pub(super) scope: &'static str,
    pub(super) media_type: &'static str,
    /// What it lists, for messages.
    pub(super) of: &'static str,
}

impl GradeService {
    /// Everything on all pages of a list.
    pub(super) async fn list<T: DeserializeOwned>(
        &self,
        registration: &Registration,
        placement: &Placement,
        list: &List,
        now: Timestamp,
    ) -> Result<Vec<T>, GradeError> {
        let mut page = list.first.clone();
        let (mut found, mut seen) = (Vec::new(), BTreeSet::new());
        loop {
            let call = Call {
                method: Method::GET,
                url: page.clone(),
                scope: list.scope,
                accept: Some(list.media_type),
                content: None,
            };
            let answer = self.call(registration, placement, &call).await?;
            if !answer.status.is_success() {
                return Err(refusal(&answer, now));
            }
            let unreadable = || format!("the platform's list of {} cannot be read", list.of);
            let entries: Vec<T> =
                serde_json::from_slice(&answer.body).map_err(|_| GradeError::permanent(unreadable()))?;
            found.extend(entries);
            seen.insert(page.clone());
            match link_header::related(&answer.headers, &page, "next") {
                Ok(None) => return Ok(found),
                Err(ForeignOrigin) => {
                    let problem = format!("the platform's list of {} goes on at another host", list.of);
                    return Err(GradeError::permanent(problem));
                }
                Ok(Some(next)) if seen.contains(&next) || seen.len() >= PAGES_MAX => {
                    let problem = format!("the platform's list of {} does not end", list.of);
                    return Err(GradeError::permanent(problem));
                }
                Ok(Some(next)) => page = next,
            }
        }
    }
}
