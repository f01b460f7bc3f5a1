//! Reading foreign XML, strictly: one document, element by element, without holding it.
//!
//! Refused: a DOCTYPE and any entity but the five of XML itself, so that nothing expands or fetches; another encoding
//! than UTF-8; another version than 1.0; anything not well-formed; elements nested deeper than [`MAX_DEPTH`]; documents
//! longer than [`MAX_DOCUMENT`]. Comments and processing instructions are passed over. It knows no vocabulary and
//! validates against no schema.
use std::io::{self, BufRead, Read};

use quick_xml::{
    NsReader, XmlVersion,
    escape::resolve_predefined_entity,
    events::{BytesDecl, BytesRef, BytesStart, Event},
    name::ResolveResult,
};

use super::check_characters;

/// Deepest nesting of elements.
pub const MAX_DEPTH: usize = 64;
/// Longest document in bytes.
pub const MAX_DOCUMENT: u64 = 16 * 1024 * 1024;

/// Why a document is refused, and in which line.
#[derive(Debug, thiserror::Error)]
#[error("line {line}: {fault}")]
pub struct XmlReadError {
    /// From 1.
    pub line: u64,
    /// What is wrong.
    #[source]
    pub fault: XmlFault,
}

/// What is wrong with a document.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum XmlFault {
    /// Not well-formed.
    #[error("not well-formed XML: {0}")]
    Malformed(String),
    /// A DOCTYPE, which could declare entities.
    #[error("a DOCTYPE is not accepted")]
    Doctype,
    /// An entity that XML itself does not have.
    #[error(
        "the entity '&{0};' is not accepted; expected &lt; &gt; &amp; &apos; &quot; or a character reference"
    )]
    Entity(String),
    /// Declared in another encoding or version.
    #[error("the document is declared as {0}; expected XML 1.0 in UTF-8")]
    Declared(String),
    /// Nested too deeply.
    #[error("elements are nested deeper than {MAX_DEPTH}")]
    TooDeep,
    /// Too long.
    #[error("the document is longer than 16 MiB")]
    TooLong,
    /// Not readable at all.
    #[error("the document cannot be read: {0}")]
    Read(io::Error),
}

impl XmlFault {
    #[expect(clippy::needless_pass_by_value, reason = "it is passed to map_err by name")]
    fn malformed(problem: impl ToString) -> Self {
        Self::Malformed(problem.to_string())
    }
}

/// The next thing in a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Node {
    /// An element begins. An empty element begins and ends.
    Start(Tag),
    /// The element that began last, and has not ended, ends.
    End,
    /// Text, possibly a part of it: more can follow at once.
    Text(String),
}

/// The start of an element.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tag {
    /// Its name without prefix.
    pub name: String,
    /// The namespace of the element, empty for none.
    pub namespace: String,
    /// Attributes of no namespace, in the order written.
    pub attributes: Vec<(String, String)>,
    /// The line where the tag ends, from 1.
    pub line: u64,
}

impl Tag {
    /// The value of an attribute.
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// Reads one document, top to bottom.
pub struct XmlReader<R> {
    reader: NsReader<Counted<R>>,
    buffer: Vec<u8>,
    depth: usize,
    /// Whether the one element at the top has ended.
    ended: bool,
}

impl<R: BufRead> XmlReader<R> {
    /// Begins to read.
    pub fn new(input: R) -> Self {
        let mut reader = NsReader::from_reader(Counted { input, line: 1, left: MAX_DOCUMENT, cut: false });
        let config = reader.config_mut();
        config.expand_empty_elements = true;
        config.check_comments = true;
        Self { reader, buffer: Vec::new(), depth: 0, ended: false }
    }

    /// The line that has been reached, from 1.
    pub fn line(&self) -> u64 {
        self.reader.get_ref().line
    }

    /// The next start, end or text; `None` after the end of a whole document.
    ///
    /// # Errors
    /// [`XmlReadError`]; nothing can be read after it.
    pub fn next_node(&mut self) -> Result<Option<Node>, XmlReadError> {
        self.step().map_err(|fault| {
            let fault = if self.reader.get_ref().cut { XmlFault::TooLong } else { fault };
            XmlReadError { line: self.line(), fault }
        })
    }

    /// Passes over all that is left of the element that began last, its end too.
    ///
    /// # Errors
    /// As [`XmlReader::next_node`].
    pub fn skip(&mut self) -> Result<(), XmlReadError> {
        let within = self.depth;
        while self.depth >= within && self.next_node()?.is_some() {}
        Ok(())
    }

    /// The text of the element that began last, up to its end. Elements inside it are passed over.
    ///
    /// # Errors
    /// As [`XmlReader::next_node`].
    pub fn text(&mut self) -> Result<String, XmlReadError> {
        let mut text = String::new();
        loop {
            match self.next_node()? {
                Some(Node::Text(more)) => text += &more,
                Some(Node::Start(_)) => self.skip()?,
                Some(Node::End) | None => return Ok(text),
            }
        }
    }

    fn step(&mut self) -> Result<Option<Node>, XmlFault> {
        loop {
            self.buffer.clear();
            let (namespace, event) = self.reader.read_resolved_event_into(&mut self.buffer).map_err(told)?;
            let text = match event {
                Event::Start(start) => {
                    let namespace = match namespace {
                        ResolveResult::Bound(namespace) => namespace.into_inner().to_string(),
                        ResolveResult::Unbound => String::new(),
                        ResolveResult::Unknown(prefix) => {
                            return Err(XmlFault::Malformed(format!(
                                "the prefix '{prefix:?}' has no namespace"
                            )));
                        }
                    };
                    let tag = tag(&start, namespace)?;
                    return self.begin(tag).map(Some);
                }
                Event::End(_) => {
                    self.depth -= 1;
                    self.ended = self.depth == 0;
                    return Ok(Some(Node::End));
                }
                Event::Text(text) => text.xml10_content().into_owned(),
                Event::CData(text) => text.xml10_content().into_owned(),
                Event::GeneralRef(reference) => resolved(&reference)?,
                Event::Decl(declaration) => {
                    check_declaration(&declaration)?;
                    continue;
                }
                Event::DocType(_) => return Err(XmlFault::Doctype),
                Event::Comment(_) | Event::PI(_) => continue,
                Event::Eof => return self.end(),
                Event::Empty(_) => unreachable!("empty elements are told as start and end"),
            };
            check_characters(&text).map_err(XmlFault::malformed)?;
            if self.depth > 0 {
                return Ok(Some(Node::Text(text)));
            }
            if !text.trim_matches([' ', '\t', '\r', '\n', '\u{FEFF}']).is_empty() {
                return Err(XmlFault::Malformed("text outside of the element at the top".into()));
            }
        }
    }

    fn begin(&mut self, mut tag: Tag) -> Result<Node, XmlFault> {
        if self.ended {
            return Err(XmlFault::Malformed("more than one element at the top".into()));
        }
        self.depth += 1;
        if self.depth > MAX_DEPTH {
            return Err(XmlFault::TooDeep);
        }
        tag.line = self.line();
        Ok(Node::Start(tag))
    }

    fn end(&self) -> Result<Option<Node>, XmlFault> {
        if self.reader.get_ref().cut {
            Err(XmlFault::TooLong)
        } else if self.depth > 0 {
            Err(XmlFault::Malformed("the document ends inside an element".into()))
        } else if self.ended {
            Ok(None)
        } else {
            Err(XmlFault::Malformed("there is no element".into()))
        }
    }
}

fn told(error: quick_xml::Error) -> XmlFault {
    match error {
        quick_xml::Error::Io(error) => XmlFault::Read(io::Error::new(error.kind(), error.to_string())),
        other => XmlFault::malformed(other),
    }
}

fn tag(start: &BytesStart<'_>, namespace: String) -> Result<Tag, XmlFault> {
    let mut attributes = Vec::new();
    for attribute in start.attributes() {
        let attribute = attribute.map_err(XmlFault::malformed)?;
        let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(XmlFault::malformed)?;
        check_characters(&value).map_err(XmlFault::malformed)?;
        if attribute.key.prefix().is_none() && attribute.key.as_namespace_binding().is_none() {
            attributes.push((attribute.key.local_name().into_inner().to_string(), value.into_owned()));
        }
    }
    Ok(Tag { name: start.local_name().into_inner().to_string(), namespace, attributes, line: 0 })
}

/// The character that a reference stands for.
fn resolved(reference: &BytesRef<'_>) -> Result<String, XmlFault> {
    if let Some(character) = reference.resolve_char_ref().map_err(XmlFault::malformed)? {
        return Ok(character.to_string());
    }
    let name = reference.xml10_content();
    resolve_predefined_entity(&name)
        .map(str::to_owned)
        .ok_or_else(|| XmlFault::Entity(name.chars().take(40).collect()))
}

fn check_declaration(declaration: &BytesDecl<'_>) -> Result<(), XmlFault> {
    let version = declaration.version().map_err(XmlFault::malformed)?;
    if version != "1.0" {
        return Err(XmlFault::Declared(format!("XML {version}")));
    }
    if let Some(encoding) = declaration.encoding() {
        let encoding = encoding.map_err(XmlFault::malformed)?;
        if !encoding.eq_ignore_ascii_case("utf-8") && !encoding.eq_ignore_ascii_case("us-ascii") {
            return Err(XmlFault::Declared(encoding.into_owned()));
        }
    }
    Ok(())
}

/// Counts lines, and ends a document that is too long.
struct Counted<R> {
    input: R,
    line: u64,
    left: u64,
    /// Whether there was more.
    cut: bool,
}

impl<R: BufRead> Read for Counted<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.fill_buf()?.read(into)?;
        self.consume(read);
        Ok(read)
    }
}

impl<R: BufRead> BufRead for Counted<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        let bytes = self.input.fill_buf()?;
        let allowed = usize::try_from(self.left).unwrap_or(usize::MAX).min(bytes.len());
        self.cut |= self.left == 0 && !bytes.is_empty();
        Ok(&bytes[..allowed])
    }

    fn consume(&mut self, amount: usize) {
        if let Ok(bytes) = self.input.fill_buf() {
            let read = &bytes[..amount.min(bytes.len())];
            self.line += read.iter().filter(|byte| **byte == b'\n').count() as u64;
        }
        self.left -= amount as u64;
        self.input.consume(amount);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Result<Vec<Node>, String> {
        let mut reader = XmlReader::new(text);
        let mut nodes = Vec::new();
        while let Some(node) = reader.next_node().map_err(|error| error.to_string())? {
            nodes.push(node);
        }
        Ok(nodes)
    }

    fn text_of(document: &str) -> Result<String, String> {
        let nodes = read(document.as_bytes())?;
        let text = |node| if let Node::Text(text) = node { text } else { String::new() };
        Ok(nodes.into_iter().map(text).collect())
    }

    #[test]
    fn tells_elements_with_namespaces_attributes_and_lines() {
        let document = "\u{FEFF}<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- c --><a:r xmlns:a='urn:x' \
                        a:y='no' n='1 &lt; &#x32;'>\n<b/>t</a:r>\n";
        let [Node::Start(root), Node::Text(_), Node::Start(b), Node::End, Node::Text(text), Node::End] =
            &read(document.as_bytes()).unwrap()[..]
        else {
            panic!("{:?}", read(document.as_bytes()))
        };
        assert_eq!((root.name.as_str(), root.namespace.as_str(), root.line), ("r", "urn:x", 2));
        assert_eq!(root.attributes, [("n".to_owned(), "1 < 2".to_owned())]);
        assert_eq!((b.name.as_str(), b.namespace.as_str(), b.line), ("b", "", 3));
        assert_eq!(text, "t");
    }

    #[test]
    fn joins_text_references_and_sections() {
        assert_eq!(text_of("<v>3 &lt; <![CDATA[4 & 5]]> &#54;</v>").unwrap(), "3 < 4 & 5 6");
        let mut reader = XmlReader::new(&b"<r><v>1<x>2<y/></x>&amp;3</v><w/></r>"[..]);
        reader.next_node().unwrap();
        reader.next_node().unwrap();
        assert_eq!(reader.text().unwrap(), "1&3");
        assert!(matches!(reader.next_node().unwrap(), Some(Node::Start(tag)) if tag.name == "w"));
    }

    #[test]
    fn refuses_what_could_expand_or_mislead() {
        let deep = "<a>".repeat(MAX_DEPTH + 1);
        for (document, said) in [
            ("<!DOCTYPE r [<!ENTITY e 'x'>]><r>&e;</r>", "line 1: a DOCTYPE is not accepted"),
            ("<r>\n&e;</r>", "line 2: the entity '&e;' is not accepted"),
            ("<r a='&e;'/>", "not well-formed XML"),
            ("<r a='1' a='2'/>", "not well-formed XML"),
            ("<r><a></r>", "not well-formed XML"),
            ("<r>", "not well-formed XML"),
            ("", "there is no element"),
            ("<r/><r/>", "more than one element at the top"),
            ("<r/>x", "text outside of the element at the top"),
            ("<p:r/>", "not well-formed XML"),
            ("<r>&#7;</r>", "not well-formed XML"),
            ("<?xml version=\"1.1\"?><r/>", "declared as XML 1.1"),
            ("<?xml version=\"1.0\" encoding=\"latin1\"?><r/>", "declared as latin1"),
            (&deep, "nested deeper than 64"),
        ] {
            let error = read(document.as_bytes()).unwrap_err();
            assert!(error.starts_with("line ") && error.contains(said), "{document}: {error}");
        }
        assert!(read(b"<r>\xff</r>").unwrap_err().contains("line 1"));
    }

    #[test]
    fn refuses_documents_that_are_too_long() {
        let limit = usize::try_from(MAX_DOCUMENT).unwrap();
        let spaces = " ".repeat(limit);
        for document in [format!("<r>{spaces}</r>"), format!("<r/>{spaces}")] {
            assert!(read(document.as_bytes()).unwrap_err().contains("longer than 16 MiB"));
        }
    }
}
