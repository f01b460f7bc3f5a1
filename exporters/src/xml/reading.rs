//! Reading foreign XML, strictly: one document, element by element, without holding it.
//!
//! Refused: a DOCTYPE and any entity but the five of XML itself, so that nothing expands or fetches; another encoding
//! than UTF-8; another version than 1.0; anything not well-formed, prefixes without a namespace among it; elements nested
//! deeper than [`MAX_DEPTH`]; more than [`MAX_ATTRIBUTES`], attributes longer than [`MAX_ATTRIBUTE`], texts longer than
//! [`MAX_TEXT`], names longer than [`MAX_NAME`]; more than [`MAX_NAMESPACES`] declared at a time; documents longer than
//! [`MAX_DOCUMENT`]. Comments and processing instructions are passed over. It knows no vocabulary and
//! validates against no schema.
use std::{
    borrow::Cow,
    io::{self, BufRead, Read},
};

use quick_xml::{
    Reader, XmlVersion,
    escape::resolve_predefined_entity,
    events::{BytesDecl, BytesRef, BytesStart, Event, attributes::Attribute},
    name::{NamespaceResolver, QName, ResolveResult},
};
use smallvec::SmallVec;

use super::check_characters;

/// Deepest nesting of elements.
pub const MAX_DEPTH: usize = 64;
/// Most attributes of an element, declarations of namespaces among them.
pub const MAX_ATTRIBUTES: usize = 64;
/// Longest value of an attribute in bytes: the longest patterns of this project take an eighth of it.
pub const MAX_ATTRIBUTE: usize = 128 * 1024;
/// Longest name of an element or attribute in bytes, its prefix included.
pub const MAX_NAME: usize = 256;
/// Longest text in bytes, up to the next element, reference or section. Reports hold whole files that pupils handed in.
pub const MAX_TEXT: usize = 8 * 1024 * 1024;
/// Most namespaces declared by an element and those around it. Each name is looked up among them.
pub const MAX_NAMESPACES: usize = 64;
/// Longest document in bytes, where the reader of it sets no other limit.
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
    /// Something in it is too long or too many.
    #[error("{what}; expected {most} at most")]
    TooMuch {
        /// What.
        what: &'static str,
        /// The limit.
        most: usize,
    },
    /// Too long.
    #[error("the document is longer than {} MiB", .0 / (1024 * 1024))]
    TooLong(u64),
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

/// What [`XmlReader::advance`] has come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// An element begins, see [`XmlReader::started`].
    Start,
    /// The element that began last, and has not ended, ends.
    End,
    /// Text, see [`XmlReader::text_here`].
    Text,
}

/// The start of an element, as long as the reader stands there.
#[derive(Clone, Copy, Debug)]
pub struct Started<'r> {
    /// Its name without prefix.
    pub name: &'r str,
    /// The namespace of the element, empty for none.
    pub namespace: &'r str,
    /// The line where the tag ends, from 1.
    pub line: u64,
    here: &'r Here,
}

impl<'r> Started<'r> {
    /// Attributes of no namespace, in the order written.
    pub fn attributes(&self) -> impl Iterator<Item = (&'r str, &'r str)> + use<'r> {
        let here = self.here;
        here.attributes
            .iter()
            .map(|[from, middle, to]| (&here.text[*from..*middle], &here.text[*middle..*to]))
    }

    /// The value of an attribute.
    #[must_use]
    pub fn attribute(&self, name: &str) -> Option<&'r str> {
        self.attributes().find(|(known, _)| *known == name).map(|(_, value)| value)
    }
}

impl From<Started<'_>> for Tag {
    fn from(started: Started<'_>) -> Self {
        let attributes = started.attributes().map(|(name, value)| (name.to_owned(), value.to_owned()));
        Self {
            name: started.name.to_owned(),
            namespace: started.namespace.to_owned(),
            attributes: attributes.collect(),
            line: started.line,
        }
    }
}

/// What is read of the place where a reader stands, in memory that is used for each place again.
#[derive(Debug, Default)]
struct Here {
    /// The text; of an element its name and then its attributes, names and values.
    text: String,
    /// How long the name is.
    name: usize,
    /// Where the name and the value of each attribute begin, and where it ends.
    attributes: Vec<[usize; 3]>,
    /// The namespace of the element that began last, as it is written in its declaration and as it reads.
    namespace: [String; 2],
    /// How many namespaces the element declares.
    declared: usize,
}

/// Reads one document, top to bottom.
pub struct XmlReader<R> {
    reader: Reader<Counted<R>>,
    resolver: NamespaceResolver,
    buffer: Vec<u8>,
    here: Here,
    limit: u64,
    depth: usize,
    /// How many namespaces each open element declares, and all of them together.
    declared: Vec<usize>,
    namespaces: usize,
    /// Whether anything was read.
    begun: bool,
    /// Whether the one element at the top has ended.
    ended: bool,
}

impl<R: BufRead> XmlReader<R> {
    /// Begins to read a document of [`MAX_DOCUMENT`] bytes at most.
    pub fn new(input: R) -> Self {
        Self::limited(input, MAX_DOCUMENT)
    }

    /// Begins to read a document of so many bytes at most: for those that list a whole package.
    pub fn limited(input: R, limit: u64) -> Self {
        let mut reader = Reader::from_reader(Counted { input, line: 1, left: limit, cut: false });
        let config = reader.config_mut();
        config.expand_empty_elements = true;
        config.check_comments = true;
        Self {
            reader,
            resolver: NamespaceResolver::default(),
            buffer: Vec::new(),
            here: Here::default(),
            limit,
            depth: 0,
            declared: Vec::new(),
            namespaces: 0,
            begun: false,
            ended: false,
        }
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
        Ok(self.advance()?.map(|step| match step {
            Step::Start => Node::Start(self.started().into()),
            Step::End => Node::End,
            Step::Text => Node::Text(self.here.text.clone()),
        }))
    }

    /// Goes on to the next start, end or text as [`XmlReader::next_node`] does, and makes nothing of it: what stands there is
    /// to be looked at, for those that read a million elements.
    ///
    /// # Errors
    /// As [`XmlReader::next_node`].
    pub fn advance(&mut self) -> Result<Option<Step>, XmlReadError> {
        self.step().map_err(|fault| {
            let fault = if self.reader.get_ref().cut { XmlFault::TooLong(self.limit) } else { fault };
            XmlReadError { line: self.line(), fault }
        })
    }

    /// The element that has just begun.
    pub fn started(&self) -> Started<'_> {
        let here = &self.here;
        Started { name: &here.text[..here.name], namespace: &here.namespace[1], line: self.line(), here }
    }

    /// The text that has just been come to.
    pub fn text_here(&self) -> &str {
        &self.here.text
    }

    /// Passes over all that is left of the element that began last, its end too.
    ///
    /// # Errors
    /// As [`XmlReader::next_node`].
    pub fn skip(&mut self) -> Result<(), XmlReadError> {
        let within = self.depth;
        while self.depth >= within && self.advance()?.is_some() {}
        Ok(())
    }

    /// The text of the element that began last, up to its end. Elements inside it are passed over.
    ///
    /// # Errors
    /// As [`XmlReader::next_node`].
    pub fn text(&mut self) -> Result<String, XmlReadError> {
        let mut text = String::new();
        loop {
            match self.advance()? {
                Some(Step::Text) => text += self.text_here(),
                Some(Step::Start) => self.skip()?,
                Some(Step::End) | None => return Ok(text),
            }
        }
    }

    fn step(&mut self) -> Result<Option<Step>, XmlFault> {
        let first = !std::mem::replace(&mut self.begun, true);
        if first {
            self.check_encoding()?;
        }
        let mut may_declare = first;
        loop {
            self.buffer.clear();
            let event = self.reader.read_event_into(&mut self.buffer).map_err(told)?;
            let may_declare = std::mem::replace(&mut may_declare, false);
            match event {
                Event::Start(start) => {
                    self.here.begin(&start, &mut self.resolver)?;
                    return self.begin().map(Some);
                }
                Event::End(_) => return Ok(Some(self.end())),
                Event::Text(text) => self.here.set_text(checked_text(&text.xml10_content())?),
                Event::CData(_) if self.depth == 0 => {
                    return Err(XmlFault::Malformed("a section outside of the element at the top".into()));
                }
                Event::CData(text) => self.here.set_text(&text.xml10_content()),
                Event::GeneralRef(reference) => self.here.set_text(&resolved(&reference)?),
                Event::Decl(declaration) if may_declare => {
                    check_declaration(&declaration)?;
                    continue;
                }
                Event::Decl(_) => {
                    return Err(XmlFault::Malformed("an XML declaration after the beginning".into()));
                }
                Event::DocType(_) => return Err(XmlFault::Doctype),
                Event::Comment(comment) => {
                    check_characters(&comment.xml10_content()).map_err(XmlFault::malformed)?;
                    continue;
                }
                Event::PI(instruction) => {
                    check_characters(instruction.content()).map_err(XmlFault::malformed)?;
                    continue;
                }
                Event::Eof => return self.finish(),
                Event::Empty(_) => unreachable!("empty elements are told as start and end"),
            }
            if self.is_text()? {
                return Ok(Some(Step::Text));
            }
        }
    }

    /// Whether the text stands inside an element; outside there are only blanks.
    fn is_text(&self) -> Result<bool, XmlFault> {
        let text = self.text_here();
        check_characters(text).map_err(XmlFault::malformed)?;
        if text.len() > MAX_TEXT {
            return Err(XmlFault::TooMuch { what: "a text has too many bytes", most: MAX_TEXT });
        }
        if self.depth == 0 && !text.trim_matches([' ', '\t', '\r', '\n', '\u{FEFF}']).is_empty() {
            return Err(XmlFault::Malformed("text outside of the element at the top".into()));
        }
        Ok(self.depth > 0)
    }

    /// Texts in two bytes a character begin with a mark of their order, or with a zero among the first two bytes.
    fn check_encoding(&mut self) -> Result<(), XmlFault> {
        let begins = self.reader.get_mut().fill_buf().map_err(|error| told(quick_xml::Error::from(error)))?;
        if matches!(begins, [0xFE, 0xFF, ..] | [0xFF, 0xFE, ..] | [0, ..] | [_, 0, ..]) {
            return Err(XmlFault::Declared("UTF-16 or UTF-32".into()));
        }
        Ok(())
    }

    fn begin(&mut self) -> Result<Step, XmlFault> {
        if self.ended {
            return Err(XmlFault::Malformed("more than one element at the top".into()));
        }
        self.depth += 1;
        if self.depth > MAX_DEPTH {
            return Err(XmlFault::TooDeep);
        }
        self.declared.push(self.here.declared);
        self.namespaces += self.here.declared;
        if self.namespaces > MAX_NAMESPACES {
            let what = "too many namespaces are declared at a time";
            return Err(XmlFault::TooMuch { what, most: MAX_NAMESPACES });
        }
        Ok(Step::Start)
    }

    fn end(&mut self) -> Step {
        self.depth -= 1;
        self.resolver.pop();
        self.namespaces -= self.declared.pop().unwrap_or_default();
        self.ended = self.depth == 0;
        Step::End
    }

    fn finish(&self) -> Result<Option<Step>, XmlFault> {
        if self.reader.get_ref().cut {
            Err(XmlFault::TooLong(self.limit))
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

impl Here {
    fn set_text(&mut self, text: &str) {
        self.text.clear();
        self.text.push_str(text);
    }

    /// Reads the start of an element.
    fn begin(&mut self, start: &BytesStart<'_>, resolver: &mut NamespaceResolver) -> Result<(), XmlFault> {
        let name = start.name();
        let prefixed = check_name(name.into_inner())?;
        self.set_text(if prefixed { name.local_name().into_inner() } else { name.into_inner() });
        self.name = self.text.len();
        self.attributes.clear();
        self.declared = 0;
        let mut prefixes = false;
        // The library would make a list of them for each element. Hardly any element has more than these.
        let mut keys: SmallVec<[&str; 8]> = SmallVec::new();
        for attribute in start.attributes().with_checks(false) {
            if keys.len() == MAX_ATTRIBUTES {
                return Err(XmlFault::TooMuch {
                    what: "an element has too many attributes",
                    most: MAX_ATTRIBUTES,
                });
            }
            let attribute = attribute.map_err(XmlFault::malformed)?;
            let key = attribute.key.into_inner();
            if keys.contains(&key) {
                return Err(XmlFault::Malformed(format!(
                    "the attribute '{}' is there twice",
                    shortened(key)
                )));
            }
            keys.push(key);
            prefixes |= self.add(&attribute)?;
        }
        // Hardly any element declares a namespace, and looking for one takes as long as all of this.
        let none = BytesStart::new("");
        let declares = if self.declared > 0 { start } else { &none };
        resolver.push(declares).map_err(|error| told(error.into()))?;
        if prefixes {
            let keys = start.attributes().flatten().map(|attribute| attribute.key);
            keys.filter(|key| key.as_namespace_binding().is_none())
                .try_for_each(|key| check_prefix(&resolver.resolve_attribute(key).0))?;
        }
        self.enter_namespace(&resolver.resolve_prefix(start.name().prefix(), true))
    }

    /// Keeps an attribute, and tells whether its name has a prefix.
    fn add(&mut self, attribute: &Attribute<'_>) -> Result<bool, XmlFault> {
        let (key, raw) = (attribute.key, &attribute.value);
        if raw.len() > MAX_ATTRIBUTE {
            return Err(XmlFault::TooMuch { what: "an attribute has too many bytes", most: MAX_ATTRIBUTE });
        }
        let prefixed = check_name(key.into_inner())?;
        let value = value_of(attribute)?;
        if key.as_namespace_binding().is_some() {
            self.declared += 1;
        } else if !prefixed {
            let from = self.text.len();
            self.text.push_str(key.into_inner());
            let middle = self.text.len();
            self.text.push_str(&value);
            self.attributes.push([from, middle, self.text.len()]);
        }
        Ok(prefixed)
    }

    /// Keeps the namespace of an element, empty for none; nearly always it is that of the element before.
    fn enter_namespace(&mut self, resolved: &ResolveResult<'_>) -> Result<(), XmlFault> {
        let written = match resolved {
            ResolveResult::Bound(namespace) => namespace.into_inner(),
            ResolveResult::Unbound => "",
            ResolveResult::Unknown(prefix) => return Err(no_namespace(prefix)),
        };
        if self.namespace[0] != written {
            // The library resolves to the attribute as it is written.
            let attribute = Attribute { key: QName("xmlns"), value: Cow::Borrowed(written) };
            let reads = value_of(&attribute)?.into_owned();
            self.namespace = [written.to_owned(), reads];
        }
        Ok(())
    }
}

/// What an attribute says: references resolved, line ends and tabs as blanks.
fn value_of<'a>(attribute: &Attribute<'a>) -> Result<Cow<'a, str>, XmlFault> {
    // All bytes are looked at, which is quicker than stopping at one.
    let plain = |byte: u8| (byte >= b' ') & !matches!(byte, b'&' | b'<' | 0xEF);
    if let Cow::Borrowed(raw) = &attribute.value
        && raw.bytes().fold(true, |all, byte| all & plain(byte))
    {
        return Ok(Cow::Borrowed(raw));
    }
    if attribute.value.contains('<') {
        return Err(XmlFault::Malformed("'<' inside an attribute".into()));
    }
    let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(XmlFault::malformed)?;
    check_characters(&value).map_err(XmlFault::malformed)?;
    Ok(value)
}

/// Checks a name, and tells whether it has a prefix (Namespaces in XML 1.0, `QName`).
fn check_name(name: &str) -> Result<bool, XmlFault> {
    if name.len() > MAX_NAME {
        return Err(XmlFault::TooMuch { what: "a name has too many bytes", most: MAX_NAME });
    }
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.');
    if name.bytes().next().is_some_and(|first| first.is_ascii_alphabetic()) && name.bytes().all(plain) {
        return Ok(false);
    }
    let part = |part: &str| {
        let mut characters = part.chars();
        characters.next().is_some_and(begins_name) && characters.all(continues_name)
    };
    let (named, prefixed) = match name.split_once(':') {
        Some((prefix, local)) => (part(prefix) && part(local), true),
        None => (part(name), false),
    };
    if named { Ok(prefixed) } else { Err(XmlFault::Malformed(format!("'{}' is no name", shortened(name)))) }
}

/// XML 1.0 clause 2.3, `NameStartChar` without the colon.
fn begins_name(c: char) -> bool {
    matches!(c,
        'A'..='Z' | '_' | 'a'..='z' | '\u{C0}'..='\u{D6}' | '\u{D8}'..='\u{F6}' | '\u{F8}'..='\u{2FF}'
        | '\u{370}'..='\u{37D}' | '\u{37F}'..='\u{1FFF}' | '\u{200C}'..='\u{200D}' | '\u{2070}'..='\u{218F}'
        | '\u{2C00}'..='\u{2FEF}' | '\u{3001}'..='\u{D7FF}' | '\u{F900}'..='\u{FDCF}'
        | '\u{FDF0}'..='\u{FFFD}' | '\u{10000}'..='\u{EFFFF}')
}

/// XML 1.0 clause 2.3, `NameChar` without the colon.
fn continues_name(c: char) -> bool {
    begins_name(c)
        || matches!(c, '-' | '.' | '0'..='9' | '\u{B7}' | '\u{300}'..='\u{36F}' | '\u{203F}'..='\u{2040}')
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

fn check_prefix(resolved: &ResolveResult<'_>) -> Result<(), XmlFault> {
    match resolved {
        ResolveResult::Unknown(prefix) => Err(no_namespace(prefix)),
        ResolveResult::Bound(_) | ResolveResult::Unbound => Ok(()),
    }
}

fn no_namespace(prefix: &str) -> XmlFault {
    XmlFault::Malformed(format!("the prefix '{}' has no namespace", shortened(prefix)))
}

/// A text in which no section ends.
fn checked_text(text: &str) -> Result<&str, XmlFault> {
    // Hardly any text has such a bracket, and one sign is found more quickly than three.
    if text.as_bytes().contains(&b']') && text.contains("]]>") {
        Err(XmlFault::Malformed("']]>' inside a text".into()))
    } else {
        Ok(text)
    }
}

/// The character that a reference stands for.
fn resolved(reference: &BytesRef<'_>) -> Result<String, XmlFault> {
    if let Some(character) = reference.resolve_char_ref().map_err(XmlFault::malformed)? {
        return Ok(character.to_string());
    }
    let name = reference.xml10_content();
    resolve_predefined_entity(&name).map(str::to_owned).ok_or_else(|| XmlFault::Entity(shortened(&name)))
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
    fn namespaces_are_what_their_declarations_say_not_how_they_are_written() {
        let document = "<a:r xmlns:a='urn:x?1&amp;&#50;\t3'/>";
        let [Node::Start(root), Node::End] = &read(document.as_bytes()).unwrap()[..] else { panic!() };
        assert_eq!(root.namespace, "urn:x?1&2 3");
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
