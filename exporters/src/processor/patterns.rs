//! Regular expressions of XML Schema: anchored at both ends, without signs for start and end.
use regex_lite::Regex;

/// A pattern, ready to be tried.
#[derive(Clone, Debug)]
pub struct Pattern {
    text: String,
    /// `None` where the pattern uses what is not understood here.
    regex: Option<Regex>,
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        self.text == other.text
    }
}

impl Pattern {
    /// Reads a pattern.
    pub(super) fn new(text: &str) -> Self {
        let regex = translated(text).and_then(|pattern| Regex::new(&format!("^(?:{pattern})$")).ok());
        Self { text: text.to_owned(), regex }
    }

    /// The pattern as written.
    pub(super) fn as_str(&self) -> &str {
        &self.text
    }

    /// Whether a whole text matches; `None` if that is not known.
    pub(super) fn matches(&self, text: &str) -> Option<bool> {
        Some(self.regex.as_ref()?.is_match(text))
    }
}

/// The pattern in the syntax of the library: `^` and `$` are signs like others in XML Schema, names have classes of their
/// own. `None` for categories of characters, blocks, and classes taken from classes.
fn translated(pattern: &str) -> Option<String> {
    let mut signs = pattern.chars().peekable();
    let mut translated = String::new();
    let mut in_class = 0_u32;
    while let Some(sign) = signs.next() {
        match (sign, in_class) {
            ('\\', _) => translated += &escaped(signs.next()?, in_class > 0)?,
            ('^' | '$', 0) => translated.extend(['\\', sign]),
            ('[', 0) => {
                in_class = 1;
                translated.push('[');
                if signs.next_if_eq(&'^').is_some() {
                    translated.push('^');
                }
            }
            // A class inside a class is taken away from it, which the library cannot say.
            ('[', _) => return None,
            (']', 1) => {
                in_class = 0;
                translated.push(']');
            }
            ('&' | '~', 1) => translated.extend(['\\', sign]),
            ('.', 0) => translated += r"[^\n\r]",
            ('(', 0) if signs.peek() == Some(&'?') => return None,
            _ => translated.push(sign),
        }
    }
    Some(translated)
}

fn escaped(sign: char, in_class: bool) -> Option<String> {
    Some(match sign {
        'p' | 'P' => return None,
        'i' if in_class => r"A-Za-z_:".to_owned(),
        'c' if in_class => r"A-Za-z0-9_:.\-".to_owned(),
        'i' => "[A-Za-z_:]".to_owned(),
        'c' => r"[A-Za-z0-9_:.\-]".to_owned(),
        'I' | 'C' => return None,
        _ => format!("\\{sign}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_text_matches_or_nothing() {
        for (pattern, text, matches) in [
            (r"[0-9]+", "12", Some(true)),
            (r"[0-9]+", "12a", Some(false)),
            (r"a|b", "ab", Some(false)),
            (r"^$", "^$", Some(true)),
            (r"[$]\s*[0-9]+", "$ 5", Some(true)),
            (r"[^a]", "b", Some(true)),
            (r".", "\n", Some(false)),
            (r"\d\.\d", "1.5", Some(true)),
            (r"\i\c*", "a-1", Some(true)),
            (r"\p{L}", "a", None),
            (r"[a-z-[b]]", "a", None),
            ("", "", Some(true)),
        ] {
            assert_eq!(Pattern::new(pattern).matches(text), matches, "{pattern} on {text:?}");
        }
    }
}
