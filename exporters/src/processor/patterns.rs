//! Regular expressions of XML Schema: anchored at both ends, without signs for start and end.
//!
//! The library has to compile a pattern before it can try it, which takes far longer than trying it: an item has a pattern for
//! each wrong answer, and each is of that item alone. So short texts are held against plain patterns as they are written
//! ([`short`]), and everything else is left to the library.
mod short;

use std::sync::OnceLock;

use regex_lite::Regex;

use self::short::Plain;

/// A pattern, ready to be tried.
#[derive(Clone, Debug)]
pub struct Pattern {
    text: String,
    /// For short texts, if they can be held against it as it is written.
    plain: Option<Plain>,
    /// Compiled where needed; `None` where the pattern uses what is not understood here.
    regex: OnceLock<Option<Regex>>,
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        self.text == other.text
    }
}

impl Pattern {
    /// Reads a pattern.
    pub(super) fn new(text: &str) -> Self {
        Self { text: text.to_owned(), plain: Plain::of(text), regex: OnceLock::new() }
    }

    /// The pattern as written.
    pub(super) fn as_str(&self) -> &str {
        &self.text
    }

    /// Whether a whole text matches; `None` if that is not known.
    pub(super) fn matches(&self, text: &str) -> Option<bool> {
        let short = self.plain.and_then(|plain| plain.matches(&self.text, text));
        short.or_else(|| Some(self.regex.get_or_init(|| compiled(&self.text)).as_ref()?.is_match(text)))
    }
}

fn compiled(text: &str) -> Option<Regex> {
    Regex::new(&format!("^(?:{})$", translated(text)?)).ok()
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
            assert_eq!(compiled(pattern).map(|regex| regex.is_match(text)), matches, "{pattern} on {text:?}");
        }
    }

    #[test]
    fn short_texts_are_held_against_plain_patterns_as_the_library_does() {
        let texts = [
            "",
            " ",
            "3.50 kg",
            "3.5",
            " 03.5Kilograms.",
            "1,250",
            "1250.0",
            "15.97",
            "15.970 kg",
            "aab",
            "ab",
            "aaaa",
            "-3",
            "abab",
            "ba",
            "\u{e1}rea",
            "$ 5",
            "x\ny",
            "^$",
            "a-b",
            "]",
            "aabbb",
            "0",
            "00.00",
            "five  tenths",
        ];
        for pattern in [
            r"\s*0*15[.]970*(\s*([Kk][Gg]|[Kk]gs|[Kk]ilogram|[Kk]ilograms)[.]?)?\s*",
            r"\s*0*3[.]50*(\s*([Kk][Gg]|[Kk]gs|[Kk]ilogram|[Kk]ilograms)[.]?)?\s*",
            r"\s*0*1,?250([.]0*)?\s*",
            r"\s*[-]?[0-9,]*[.][0-9]{2}\s*",
            r"\s*0+([.]0*)?\s*",
            r"([$]\s*)?[0-9]+",
            r"a*(a|ab)(c|bcd|)*",
            r"(a?){3}",
            r"(a|b){2,3}",
            r"(ab){2}|b{1,}a",
            r"(a*)*b?",
            r"((a+)+)+",
            r"[^a-c]+",
            r"[\u{e1}a]rea",
            r".*",
            r"\^\$",
            r"[a\-]+b",
            r"[]a]",
            r"a{,2}",
            r"a**",
            r"(a",
            r"a)",
            r"x|",
            r"\d+[\s.]*\d*",
            r"a{2}b{3}",
            r"[&~a]+",
            r"[a-]+b",
            r"five(\s+|[-])tenths?",
        ] {
            let regex = compiled(pattern);
            for text in texts {
                let library = regex.as_ref().map(|regex| regex.is_match(text));
                assert_eq!(Pattern::new(pattern).matches(text), library, "{pattern} on {text:?}");
            }
        }
    }
}
