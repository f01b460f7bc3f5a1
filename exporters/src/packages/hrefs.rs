//! From an address in a package's file to the name of a member.

/// The member that an address names, seen from a file of the package; `None` for one that leaves the package or is no
/// path at all.
#[must_use]
pub fn resolve(from: &str, href: &str) -> Option<String> {
    let path = href.split(['#', '?']).next().unwrap_or_default();
    let outside = path.starts_with('/') || path.contains('\\') || path.split('/').next()?.contains(':');
    if path.is_empty() || outside {
        return None;
    }
    let folder = from.rsplit_once('/').map_or("", |(folder, _)| folder);
    let mut parts: Vec<&str> = folder.split('/').filter(|part| !part.is_empty()).collect();
    let decoded = decoded(path)?;
    for part in decoded.split('/') {
        match part {
            "" | "." => {}
            ".." => drop(parts.pop()?),
            name => parts.push(name),
        }
    }
    Some(parts.join("/"))
}

/// The text with `%20` and the like as what they stand for.
fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((first, more)) = rest.split_first() {
        rest = more;
        if *first == b'%' {
            let digits = std::str::from_utf8(more.get(..2)?).ok()?;
            bytes.push(u8::from_str_radix(digits, 16).ok()?);
            rest = &more[2..];
        } else {
            bytes.push(*first);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::resolve;

    #[test]
    fn addresses_stay_in_the_package() {
        for (from, href, member) in [
            ("test.xml", "items/a.xml", Some("items/a.xml")),
            ("tests/t.xml", "../items/a.xml#x", Some("items/a.xml")),
            ("tests/t.xml", "./a%20b.xml", Some("tests/a b.xml")),
            ("test.xml", "../a.xml", None),
            ("test.xml", "%2e%2e/a.xml", None),
            ("test.xml", "/a.xml", None),
            ("test.xml", "https://example.org/a.xml", None),
            ("test.xml", "a%zz.xml", None),
            ("test.xml", "", None),
        ] {
            assert_eq!(resolve(from, href).as_deref(), member, "{href}");
        }
    }
}
