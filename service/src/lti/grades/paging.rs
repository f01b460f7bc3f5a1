//! Lists that come in pages: the `Link` with `rel="next"` (RFC 8288) is followed exactly as given, within limits.
//!
//! A list that cannot be read to its end is an error, never a shorter list: a column that was not seen would be made a
//! second time.

use std::collections::BTreeSet;

use jiff::Timestamp;
use reqwest::Method;
use reqwest::header::{HeaderMap, LINK};
use serde::de::DeserializeOwned;
use url::Url;

use super::{Call, GradeError, GradeService, refusal};
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
            match next_page(&answer.headers, &page) {
                None => return Ok(found),
                Some(next) if next.origin() != page.origin() => {
                    let problem = format!("the platform's list of {} goes on at another host", list.of);
                    return Err(GradeError::permanent(problem));
                }
                Some(next) if seen.contains(&next) || seen.len() >= PAGES_MAX => {
                    let problem = format!("the platform's list of {} does not end", list.of);
                    return Err(GradeError::permanent(problem));
                }
                Some(next) => page = next,
            }
        }
    }
}

/// The next page of a list.
fn next_page(headers: &HeaderMap, page: &Url) -> Option<Url> {
    let links = headers.get_all(LINK).iter().filter_map(|value| value.to_str().ok());
    links.flat_map(split_links).find_map(|link| {
        let (address, parameters) = link.trim().strip_prefix('<')?.split_once('>')?;
        let is_next = parameters.split(';').any(|parameter| {
            let Some((name, value)) = parameter.trim().split_once('=') else { return false };
            let mut relations = value.trim().trim_matches('"').split_whitespace();
            name.trim().eq_ignore_ascii_case("rel") && relations.any(|one| one.eq_ignore_ascii_case("next"))
        });
        is_next.then(|| page.join(address).ok()).flatten()
    })
}

/// Splits a `Link` header at commas that are outside of `<…>`.
fn split_links(header: &str) -> Vec<&str> {
    let mut inside = false;
    header
        .split(|c: char| {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                _ => {}
            }
            c == ',' && !inside
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_page_is_the_link_with_that_relation_as_given() {
        let page: Url = "https://p.test/items?limit=2".parse().unwrap();
        let next = |value: &str| {
            let headers = HeaderMap::from_iter([(LINK, value.parse().unwrap())]);
            next_page(&headers, &page).map(String::from)
        };
        assert_eq!(
            next(r#"<https://p.test/items?a=1,2>; rel="first", <https://p.test/items?page=2>; rel="next""#),
            Some("https://p.test/items?page=2".to_owned())
        );
        assert_eq!(next("</items?page=3>; rel=next"), Some("https://p.test/items?page=3".to_owned()));
        assert_eq!(next("</items?p=3>; title=x; REL=\"last next\""), Some("https://p.test/items?p=3".into()));
        assert_eq!(next(r#"<https://p.test/items>; rel="differences""#), None);
    }
}
