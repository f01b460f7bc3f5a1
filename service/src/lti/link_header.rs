//! `Link` headers of lists (RFC 8288): where the next page is, and where later changes are told.

use reqwest::header::{HeaderMap, LINK};
use url::Url;

/// A link leads to another origin, where an access token must not be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ForeignOrigin;

/// The target of the first link with that relation, resolved against the `page` that carries it.
///
/// # Errors
/// [`ForeignOrigin`] when it is not on the page's own origin.
pub(crate) fn related(headers: &HeaderMap, page: &Url, relation: &str) -> Result<Option<Url>, ForeignOrigin> {
    let links = headers.get_all(LINK).iter().filter_map(|value| value.to_str().ok());
    let target = links.flat_map(split_links).find_map(|link| {
        let (address, parameters) = link.trim().strip_prefix('<')?.split_once('>')?;
        let is_wanted = parameters.split(';').any(|parameter| {
            let Some((name, value)) = parameter.trim().split_once('=') else { return false };
            let mut relations = value.trim().trim_matches('"').split_whitespace();
            name.trim().eq_ignore_ascii_case("rel")
                && relations.any(|found| found.eq_ignore_ascii_case(relation))
        });
        is_wanted.then(|| page.join(address).ok()).flatten()
    });
    match target {
        Some(target) if target.origin() != page.origin() => Err(ForeignOrigin),
        target => Ok(target),
    }
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
    fn finds_a_relation_on_the_same_origin_only() {
        let page: Url = "https://p.test/items?limit=2".parse().unwrap();
        let found = |value: &str, relation| {
            let headers = HeaderMap::from_iter([(LINK, value.parse().unwrap())]);
            related(&headers, &page, relation).map(|target| target.map(String::from))
        };
        let both =
            r#"<https://p.test/items?a=1,2>; rel="differences", <https://p.test/items?page=2>; rel="next""#;
        let at = |address: &str| Ok(Some(address.to_owned()));
        assert_eq!(found(both, "next"), at("https://p.test/items?page=2"));
        assert_eq!(found(both, "differences"), at("https://p.test/items?a=1,2"));
        assert_eq!(found("</items?page=3>; rel=next", "next"), at("https://p.test/items?page=3"));
        assert_eq!(found("</items?p=3>; title=x; REL=\"last next\"", "next"), at("https://p.test/items?p=3"));
        assert_eq!(found(r#"<https://elsewhere.test/items>; rel="next""#, "next"), Err(ForeignOrigin));
        assert_eq!(found(r#"<https://p.test/items>; rel="last""#, "next"), Ok(None));
    }
}
