//! A document of the standard as a tree of elements, whatever the version: names in the words of 3.0 without prefix.
//!
//! It knows how versions spell, not what names mean. Documents are held whole; the XML reader bounds their length and
//! depth, [`Limits`] the tree. The tree is flat: its elements and texts in the order written, all words in one text. An item
//! has a thousand elements, and nothing is allocated for one alone.
use std::{borrow::Cow, io::BufRead};

use super::fault::{Fault, Problem};
use crate::{
    qti::{QtiVersion, dialect::Spelling},
    xml::reading::{MAX_DOCUMENT, Started, Step, XmlReader},
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

/// Room for the words of most items; they have a word in 16 bytes.
const ROOM: usize = 32 << 10;

/// How much of a strange name or text is told.
const TOLD: usize = 60;

/// A whole document.
#[derive(Debug)]
pub struct Document {
    /// The version that its namespace names.
    pub version: QtiVersion,
    /// All names, values and texts.
    words: String,
    /// Names in words of 3.0, and values.
    attributes: Vec<[Words; 2]>,
    /// In the order written.
    nodes: Vec<Node>,
}

/// A part of a document's words: where it begins and ends.
#[derive(Clone, Copy, Debug)]
struct Words(u32, u32);

/// What stands in a document.
#[derive(Debug)]
enum Node {
    Element {
        name: Words,
        standard: bool,
        /// The first of its attributes, and the first behind them.
        attributes: (u32, u32),
        line: u64,
        /// The first node behind all that is in it.
        end: u32,
    },
    Text(Words),
}

/// An element of a document and all that is in it.
#[derive(Clone, Copy, Debug)]
pub struct Element<'d> {
    /// Its name in words of 3.0 (`text-entry-interaction`); names of other vocabularies as they are.
    pub name: &'d str,
    /// Whether the name can be the standard's own; in 2.x, which has one namespace for both, also for HTML.
    pub standard: bool,
    /// The line where its tag ends, from 1.
    pub line: u64,
    document: &'d Document,
    attributes: &'d [[Words; 2]],
    /// Its node, and the first behind it.
    nodes: (usize, usize),
}

impl Document {
    /// The element at the top.
    #[must_use]
    pub fn root(&self) -> Element<'_> {
        self.element(0).expect("a document begins with an element")
    }

    fn words(&self, Words(from, to): Words) -> &str {
        &self.words[from as usize..to as usize]
    }

    /// The element at a node, if it is one.
    fn element(&self, at: usize) -> Option<Element<'_>> {
        let Node::Element { name, standard, attributes, line, end } = *self.nodes.get(at)? else {
            return None;
        };
        Some(Element {
            name: self.words(name),
            standard,
            line,
            document: self,
            attributes: &self.attributes[attributes.0 as usize..attributes.1 as usize],
            nodes: (at, end as usize),
        })
    }
}

impl<'d> Element<'d> {
    /// The value of an attribute.
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&'d str> {
        let found = self.attributes.iter().find(|[known, _]| self.document.words(*known) == name);
        found.map(|[_, value]| self.document.words(*value))
    }

    /// The value of an attribute that must be there.
    ///
    /// # Errors
    /// [`Fault`] naming element and attribute.
    pub fn required(&self, name: &str) -> Result<&'d str, Fault> {
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
    pub fn children(&self) -> impl Iterator<Item = Self> + use<'d> {
        let Self { document, nodes: (at, end), .. } = *self;
        let mut next = at + 1;
        std::iter::from_fn(move || {
            while next < end {
                let child = document.element(next);
                next = child.map_or(next + 1, |child| child.nodes.1);
                if child.is_some() {
                    return child;
                }
            }
            None
        })
    }

    /// The elements of that name directly in it.
    pub fn all<'n>(&self, name: &'n str) -> impl Iterator<Item = Self> + use<'d, 'n> {
        self.children().filter(move |child| child.standard && child.name == name)
    }

    /// The first element of that name directly in it.
    #[must_use]
    pub fn first(&self, name: &str) -> Option<Self> {
        self.all(name).next()
    }

    /// It and everything in it, in the order written.
    pub fn descendants(&self) -> impl Iterator<Item = Self> + use<'d> {
        let document = self.document;
        (self.nodes.0..self.nodes.1).filter_map(|at| document.element(at))
    }

    /// All text in it.
    #[must_use]
    pub fn text(&self) -> Cow<'d, str> {
        let nodes = self.document.nodes[self.nodes.0..self.nodes.1].iter();
        let mut texts = nodes.filter_map(|node| match node {
            Node::Text(words) => Some(self.document.words(*words)),
            Node::Element { .. } => None,
        });
        let mut text = Cow::Borrowed(texts.next().unwrap_or_default());
        texts.for_each(|more| text.to_mut().push_str(more));
        text
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
    xml.advance()?;
    let root = xml.started();
    let version = QtiVersion::ALL.into_iter().find(|version| version.dialect().namespace == root.namespace);
    let named = |version: QtiVersion| {
        let spelling = version.dialect().spelling;
        roots.iter().any(|name| spelling.element(name) == root.name)
    };
    let Some(version) = version.filter(|version| named(*version)) else {
        let found = format!("the element '{}' in '{}'", told(root.name), told(root.namespace));
        let expected = format!("'{}' of QTI 3.0, 2.2 or 2.1", roots.join("' or '"));
        return Err(Fault::unexpected(root.line, found, expected));
    };
    let document = Document {
        version,
        words: String::with_capacity(ROOM),
        attributes: Vec::with_capacity(ROOM / 32),
        nodes: Vec::with_capacity(ROOM / 16),
    };
    let mut building =
        Building { document, open: Vec::new(), in_text: false, elements: 0, most: limits.elements };
    building.begin(root)?;
    // What follows the end of the root must still be well-formed.
    while let Some(step) = xml.advance()? {
        match step {
            Step::Start => building.begin(xml.started())?,
            Step::Text => building.text(xml.text_here()),
            Step::End => building.end(),
        }
    }
    Ok(building.document)
}

/// A document as far as it is read.
struct Building {
    document: Document,
    /// The elements that have not ended.
    open: Vec<usize>,
    /// Whether the last node is a text that more of the same can follow.
    in_text: bool,
    elements: usize,
    most: usize,
}

/// A place in a document, whose length is limited to a quarter of this.
fn place(at: usize) -> u32 {
    u32::try_from(at).expect("no document is longer than 1 GiB, and its names not twice as long")
}

impl Building {
    fn begin(&mut self, started: Started<'_>) -> Result<(), Fault> {
        self.in_text = false;
        self.elements += 1;
        if self.elements > self.most {
            let problem = Problem::TooMany { what: "elements", most: self.most };
            return Err(Fault { line: started.line, problem });
        }
        let dialect = self.document.version.dialect();
        let own = started.namespace == dialect.namespace;
        let (name, standard) = match dialect.spelling {
            Spelling::Camel if own => (self.words(|words| kebab(started.name, words)), true),
            Spelling::Kebab if own && let Some(name) = started.name.strip_prefix("qti-") => {
                (self.words(|words| words.push_str(name)), true)
            }
            _ => (self.words(|words| words.push_str(started.name)), false),
        };
        let first = place(self.document.attributes.len());
        for (name, value) in started.attributes() {
            let name = self.words(|words| match dialect.spelling {
                Spelling::Kebab => words.push_str(name),
                Spelling::Camel => kebab(name, words),
            });
            let value = self.words(|words| words.push_str(value));
            self.document.attributes.push([name, value]);
        }
        let attributes = (first, place(self.document.attributes.len()));
        self.open.push(self.document.nodes.len());
        self.document.nodes.push(Node::Element { name, standard, attributes, line: started.line, end: 0 });
        Ok(())
    }

    fn text(&mut self, text: &str) {
        let more = self.words(|words| words.push_str(text));
        // References and sections part a text that is one.
        match self.document.nodes.last_mut().filter(|_| self.in_text) {
            Some(Node::Text(before)) => before.1 = more.1,
            _ => self.document.nodes.push(Node::Text(more)),
        }
        self.in_text = true;
    }

    fn end(&mut self) {
        self.in_text = false;
        let behind = place(self.document.nodes.len());
        if let Some(Node::Element { end, .. }) = self.open.pop().map(|at| &mut self.document.nodes[at]) {
            *end = behind;
        }
    }

    /// Puts words down.
    fn words(&mut self, put: impl FnOnce(&mut String)) -> Words {
        let from = place(self.document.words.len());
        put(&mut self.document.words);
        Words(from, place(self.document.words.len()))
    }
}

/// Puts `durationGTE` and `baseType` down as `duration-gte` and `base-type`.
fn kebab(name: &str, words: &mut String) {
    let (mut from, mut before) = (0, b'-');
    for (at, byte) in name.bytes().enumerate() {
        if byte.is_ascii_uppercase() {
            words.push_str(&name[from..at]);
            if !before.is_ascii_uppercase() && before != b'-' {
                words.push('-');
            }
            words.push(char::from(byte.to_ascii_lowercase()));
            from = at + 1;
        }
        before = byte;
    }
    words.push_str(&name[from..]);
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
            document.root().descendants().map(|element| element.name.to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(names(&new), ["response-processing", "duration-gte", "p", "b"]);
        assert_eq!(names(&new), names(&old));
        assert_eq!(old.root().first("duration-gte").unwrap().attribute("base-type"), Some("x"));
        assert!(!new.root().children().nth(1).unwrap().standard);
        assert_eq!(new.root().text(), "ac");
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
