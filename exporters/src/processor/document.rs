//! A document of the standard as a tree of elements, whatever the version: names in the words of 3.0 without prefix.
//!
//! It knows how versions spell, not what names mean. Documents are held whole; the XML reader bounds their length and
//! depth, [`Limits`] the tree.
use std::io::BufRead;

use super::fault::{Fault, Problem};
use crate::{
    qti::{QtiVersion, dialect::Spelling},
    xml::reading::{MAX_DOCUMENT, Node, Tag, XmlReader},
};

/// How large a document may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// In bytes.
    pub bytes: u64,
    /// Elements.
    pub elements: usize,
}

impl Limits {
    /// One item.
    pub const ITEM: Self = Self { bytes: MAX_DOCUMENT, elements: 200_000 };
    /// What lists the items of a whole package: some kilobytes and elements for each of [`MAX_MEMBERS`].
    ///
    /// [`MAX_MEMBERS`]: crate::archive::reading::MAX_MEMBERS
    pub const LISTING: Self = Self { bytes: 1 << 30, elements: 2_000_000 };
}

/// How much of a strange name or text is told.
const TOLD: usize = 60;

/// An element and all that is in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Element {
    /// Its name in words of 3.0 (`text-entry-interaction`); names of other vocabularies as they are.
    pub name: String,
    /// Whether the name can be the standard's own; in 2.x, which has one namespace for both, also for HTML.
    pub standard: bool,
    /// Attributes by their names in words of 3.0, in the order written.
    pub attributes: Vec<(String, String)>,
    /// What is in it.
    pub content: Vec<Content>,
    /// The line where its tag ends, from 1.
    pub line: u64,
}

/// What stands in an element.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// An element.
    Element(Element),
    /// Text between elements.
    Text(String),
}

/// A whole document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// The version that its namespace names.
    pub version: QtiVersion,
    /// The element at the top.
    pub root: Element,
}

impl Element {
    /// The value of an attribute.
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The value of an attribute that must be there.
    ///
    /// # Errors
    /// [`Fault`] naming element and attribute.
    pub fn required(&self, name: &str) -> Result<&str, Fault> {
        let missing = || format!("the element '{}' has no attribute '{name}'", self.name);
        self.attribute(name).ok_or_else(|| Fault::unexpected(self.line, missing(), format!("'{name}'")))
    }

    /// An attribute of few words; `None` if it is not there.
    ///
    /// # Errors
    /// [`Fault`] telling the words.
    pub fn one_of<T: Copy>(&self, name: &str, words: &[(&str, T)]) -> Result<Option<T>, Fault> {
        let Some(text) = self.attribute(name) else { return Ok(None) };
        match words.iter().find(|(word, _)| *word == text.trim()) {
            Some((_, meaning)) => Ok(Some(*meaning)),
            None => {
                let words: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
                Err(self.strange(name, text, &format!("one of {}", words.join(", "))))
            }
        }
    }

    /// A truth value; `default` if it is not there.
    ///
    /// # Errors
    /// [`Fault`] if it is another word.
    pub fn truth(&self, name: &str, default: bool) -> Result<bool, Fault> {
        let words = [("true", true), ("false", false), ("1", true), ("0", false)];
        Ok(self.one_of(name, &words)?.unwrap_or(default))
    }

    /// A number; `None` if it is not there.
    ///
    /// # Errors
    /// [`Fault`] if it is none.
    pub fn number<T: std::str::FromStr>(&self, name: &str) -> Result<Option<T>, Fault> {
        let parsed = |text: &str| text.trim().parse().map_err(|_| self.strange(name, text, "a number"));
        self.attribute(name).map(parsed).transpose()
    }

    /// An attribute with a value that cannot be used.
    #[must_use]
    pub fn strange(&self, name: &str, value: &str, expected: &str) -> Fault {
        Fault::unexpected(self.line, format!("'{name}' of '{}' is '{}'", self.name, told(value)), expected)
    }

    /// The elements directly in it.
    pub fn children(&self) -> impl Iterator<Item = &Self> {
        self.content.iter().filter_map(|content| match content {
            Content::Element(element) => Some(element),
            Content::Text(_) => None,
        })
    }

    /// The elements of that name directly in it.
    pub fn all<'e>(&'e self, name: &'e str) -> impl Iterator<Item = &'e Self> {
        self.children().filter(move |child| child.standard && child.name == name)
    }

    /// The first element of that name directly in it.
    #[must_use]
    pub fn first(&self, name: &str) -> Option<&Self> {
        self.children().find(|child| child.standard && child.name == name)
    }

    /// It and everything in it, in the order written.
    pub fn descendants(&self) -> Vec<&Self> {
        let mut found = vec![self];
        let mut at = 0;
        while let Some(element) = found.get(at) {
            let children: Vec<&Self> = element.children().collect();
            found.splice(at + 1..at + 1, children);
            at += 1;
        }
        found
    }

    /// All text in it, blanks joined.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        self.gather(&mut text);
        text
    }

    fn gather(&self, text: &mut String) {
        for content in &self.content {
            match content {
                Content::Text(more) => *text += more,
                Content::Element(element) => element.gather(text),
            }
        }
    }
}

/// A text from a document, short enough for a message.
#[must_use]
pub fn told(text: &str) -> String {
    text.chars().map(|sign| if sign.is_control() { ' ' } else { sign }).take(TOLD).collect()
}

/// Reads a document whose element at the top is one of these, of any version.
///
/// # Errors
/// [`Fault`]; the first one, as nothing after it could be trusted.
pub fn read_document(input: impl BufRead, roots: &[&str], limits: Limits) -> Result<Document, Fault> {
    let mut xml = XmlReader::limited(input, limits.bytes);
    let Some(Node::Start(root)) = xml.next_node()? else { unreachable!("a document begins with an element") };
    let version = QtiVersion::ALL.into_iter().find(|version| version.dialect().namespace == root.namespace);
    let named = |version: QtiVersion| {
        let spelling = version.dialect().spelling;
        roots.iter().any(|name| spelling.element(name) == root.name)
    };
    let Some(version) = version.filter(|version| named(*version)) else {
        let found = format!("the element '{}' in '{}'", told(&root.name), told(&root.namespace));
        let expected = format!("'{}' of QTI 3.0, 2.2 or 2.1", roots.join("' or '"));
        return Err(Fault::unexpected(root.line, found, expected));
    };
    let mut tree = Tree { xml, version, elements: 0, most: limits.elements };
    let root = tree.element(root)?;
    // What follows must still be well-formed.
    while tree.xml.next_node()?.is_some() {}
    Ok(Document { version, root })
}

struct Tree<R> {
    xml: XmlReader<R>,
    version: QtiVersion,
    elements: usize,
    most: usize,
}

impl<R: BufRead> Tree<R> {
    /// The element that has just begun. It calls itself no deeper than the XML reader lets elements nest.
    fn element(&mut self, tag: Tag) -> Result<Element, Fault> {
        self.elements += 1;
        if self.elements > self.most {
            let problem = Problem::TooMany { what: "elements", most: self.most };
            return Err(Fault { line: tag.line, problem });
        }
        let mut element = self.named(tag);
        loop {
            match self.xml.next_node()? {
                Some(Node::Start(tag)) => {
                    let child = self.element(tag)?;
                    element.content.push(Content::Element(child));
                }
                Some(Node::Text(more)) => match element.content.last_mut() {
                    Some(Content::Text(text)) => *text += &more,
                    _ => element.content.push(Content::Text(more)),
                },
                Some(Node::End) | None => return Ok(element),
            }
        }
    }

    fn named(&self, tag: Tag) -> Element {
        let dialect = self.version.dialect();
        let own = tag.namespace == dialect.namespace;
        let name = own.then(|| canonical(dialect.spelling, &tag.name)).flatten();
        let attribute = |(name, value): (String, String)| match dialect.spelling {
            Spelling::Kebab => (name, value),
            Spelling::Camel => (if is_kebab(&name) { name } else { kebab(&name) }, value),
        };
        Element {
            standard: name.is_some(),
            name: name.unwrap_or(tag.name),
            attributes: tag.attributes.into_iter().map(attribute).collect(),
            content: Vec::new(),
            line: tag.line,
        }
    }
}

/// The name in words of 3.0 without prefix, if it can be the standard's own.
fn canonical(spelling: Spelling, name: &str) -> Option<String> {
    match spelling {
        Spelling::Kebab => name.strip_prefix("qti-").map(str::to_owned),
        Spelling::Camel => Some(kebab(name)),
    }
}

fn is_kebab(name: &str) -> bool {
    !name.bytes().any(|byte| byte.is_ascii_uppercase())
}

/// `durationGTE` and `baseType` as `duration-gte` and `base-type`.
fn kebab(name: &str) -> String {
    let mut words = String::with_capacity(name.len() + 8);
    let mut before = '-';
    for sign in name.chars() {
        if sign.is_ascii_uppercase() && !before.is_ascii_uppercase() && before != '-' {
            words.push('-');
        }
        words.push(sign.to_ascii_lowercase());
        before = sign;
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_versions_give_the_same_tree() {
        let new = "<qti-response-processing xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0'><qti-duration-gte \
                   base-type='x'/><p>a<b/>c</p></qti-response-processing>";
        let old = "<responseProcessing xmlns='http://www.imsglobal.org/xsd/imsqti_v2p1'><durationGTE \
                   baseType='x'/><p>a<b/>c</p></responseProcessing>";
        let [new, old] = [new, old]
            .map(|text| read_document(text.as_bytes(), &["response-processing"], Limits::ITEM).unwrap());
        assert_eq!((new.version, old.version), (QtiVersion::V30, QtiVersion::V21));
        let names = |document: &Document| {
            document.root.descendants().iter().map(|element| element.name.clone()).collect::<Vec<_>>()
        };
        assert_eq!(names(&new), ["response-processing", "duration-gte", "p", "b"]);
        assert_eq!(names(&new), names(&old));
        assert_eq!(old.root.first("duration-gte").unwrap().attribute("base-type"), Some("x"));
        assert!(!new.root.children().nth(1).unwrap().standard);
        assert_eq!(new.root.text(), "ac");
    }

    #[test]
    fn another_document_is_named_with_its_line() {
        let text = "<?xml version='1.0'?>\n<assessmentItem xmlns='urn:x'/>";
        let fault =
            read_document(text.as_bytes(), &["assessment-item"], Limits::ITEM).unwrap_err().to_string();
        assert_eq!(
            fault,
            "line 2: the element 'assessmentItem' in 'urn:x'; expected 'assessment-item' of QTI 3.0, 2.2 or 2.1"
        );
    }
}
