//! `Link` headers of lists (RFC 8288): where the next page is, and where later changes are told.

use reqwest::header::{HeaderMap, LINK};
use url::Url;

/// A link leads to another origin, where an access token must not be sent, or to what is no address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ForeignOrigin;

/// The target of the first link with that relation, resolved against the `page` that carries it.
///
/// # Errors
/// [`ForeignOrigin`] when it is not on the page's own origin.
pub(crate) fn related(headers: &HeaderMap, page: &Url, relation: &str) -> Result<Option<Url>, ForeignOrigin> {
    // A title in other signs than ASCII does not hide where the list goes on.
    let mut values = headers.get_all(LINK).iter().map(|value| String::from_utf8_lossy(value.as_bytes()));
    let target = values.find_map(|links| {
        let mut links = split_outside(&links, ',').into_iter();
        links.find_map(|link| target_of(link, relation)).map(|target| page.join(target))
    });
    match target {
        None => Ok(None),
        Some(Ok(target)) if target.origin() == page.origin() => Ok(Some(target)),
        Some(_) => Err(ForeignOrigin),
    }
}

/// The target of a link if it has that relation. Of several parameters `rel` the first counts.
fn target_of<'l>(link: &'l str, relation: &str) -> Option<&'l str> {
    let (target, parameters) = link.trim().strip_prefix('<')?.split_once('>')?;
    let relations = split_outside(parameters, ';').into_iter().find_map(|parameter| {
        let (name, value) = parameter.split_once('=')?;
        name.trim().eq_ignore_ascii_case("rel").then(|| value.trim().trim_matches('"'))
    })?;
    relations.split_whitespace().any(|found| found.eq_ignore_ascii_case(relation)).then_some(target)
}

/// Splits at a sign that stands neither in `<…>` nor in quotes, where a backslash takes the next sign as it is.
fn split_outside(text: &str, at: char) -> Vec<&str> {
    let (mut target, mut quoted, mut escaped) = (false, false, false);
    text.split(|sign| {
        match sign {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' if !target => quoted = !quoted,
            '<' if !quoted => target = true,
            '>' if !quoted => target = false,
            _ => return sign == at && !target && !quoted,
        }
        false
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
        assert_eq!(found(r#"<https://[p>; rel="next""#, "next"), Err(ForeignOrigin));
    }

    /// RFC 8288, sections 3 and 3.3, and RFC 9110, 5.6.4: what stands in quotes separates nothing, and of several relations
    /// the first parameter counts (from memory).
    #[test]
    fn what_stands_in_quotes_separates_nothing() {
        let page: Url = "https://p.test/items".parse().unwrap();
        let found = |value: &str| {
            let value = reqwest::header::HeaderValue::from_bytes(value.as_bytes()).unwrap();
            let headers = HeaderMap::from_iter([(LINK, value)]);
            related(&headers, &page, "next").unwrap().map(String::from)
        };
        let second = Some("https://p.test/2".to_owned());
        for links in [
            r#"</2>; title="Page 2, of 3"; rel="next""#,
            r#"</2>; title="a > b, c; d"; rel=next"#,
            r#"</1>; title="say \"x, </9>; rel=next\""; rel="prev", </2>; rel="next""#,
            r#"</9>; title="x; rel=next"; rel="last", </2>; rel="next""#,
            r#"</9>; title="a<b"; rel="x", </2>; rel="next""#,
            r#"</9>; rel="last"; rel="next", </2>; rel="next""#,
            r#"</2>; title="página 2"; rel="next""#,
        ] {
            assert_eq!(found(links), second, "{links}");
        }
        assert_eq!(found(r#"</9>; title="x; rel=next"; rel="last""#), None);
    }
}
