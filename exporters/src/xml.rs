//! Writing XML as a stream of elements. [`reading`] alone knows the XML library.
//!
//! Nothing is kept but the current depth, so a document of any size takes no more memory than its deepest element.
//! Elements either hold child elements, each on its own indented line, or running content, written exactly as given:
//! spaces inside running content are the author's and reach the reader unchanged. It knows no vocabulary; the names
//! come from the modules of each standard.
//!
//! Elements and attributes go straight into a text that is written in large pieces: a package has a million of them, and the
//! library's writer makes each an object of its own first.
pub mod reading;

use std::io::{self, Write};

use crate::{archive::ArchiveError, source::SourceError};

/// Spaces a level of indentation, for as many levels as are usual.
const INDENT: &str = "\n                                                                ";
/// How much text is gathered before it is written.
const PIECE: usize = 32 << 10;
/// The most attributes of an element that we write, beside those that are the same in every document.
const MOST_ATTRIBUTES: usize = 7;

/// Why a document could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum XmlError {
    /// A text holds a character that XML 1.0 has no way to write (clause 2.2, `Char`).
    #[error("character U+{code:04X} in '{text}' cannot stand in XML; expected printable text")]
    Character {
        /// The code point.
        code: u32,
        /// The text around it, shortened.
        text: String,
    },
    /// The bytes could not be written where they should go.
    #[error("the document could not be written")]
    Write(#[from] io::Error),
    /// What the document tells of could not be had.
    #[error(transparent)]
    Source(#[from] SourceError),
    /// A name that the document has for a file is none.
    #[error(transparent)]
    Name(#[from] Box<ArchiveError>),
}

impl From<ArchiveError> for XmlError {
    fn from(error: ArchiveError) -> Self {
        Self::Name(Box::new(error))
    }
}

/// Puts a name down in the spelling of its vocabulary.
pub type Spell = fn(&str, &mut String);

/// The start of an element: its name and attributes in writing order.
#[derive(Clone, Copy, Debug)]
pub struct Element<'e> {
    name: &'e str,
    spell: [Spell; 2],
    first: &'e [(&'e str, &'e str)],
    attributes: [(&'e str, &'e str); MOST_ATTRIBUTES],
    count: usize,
}

impl<'e> Element<'e> {
    /// An element without attributes.
    #[must_use]
    pub fn new(name: &'e str) -> Self {
        let as_given: Spell = |name, text| text.push_str(name);
        Self::spelled(name, as_given, as_given)
    }

    /// An element whose name and whose attributes' names are put down by these.
    #[must_use]
    pub fn spelled(name: &'e str, element: Spell, attribute: Spell) -> Self {
        Self {
            name,
            spell: [element, attribute],
            first: &[],
            attributes: [("", ""); MOST_ATTRIBUTES],
            count: 0,
        }
    }

    /// Begins with these attributes.
    #[must_use]
    pub fn first_attributes(self, first: &'e [(&'e str, &'e str)]) -> Self {
        Self { first, ..self }
    }

    /// Adds an attribute; its value is escaped when written. Names must not repeat.
    ///
    /// # Panics
    /// With more than 7 attributes.
    #[must_use]
    pub fn attribute(mut self, name: &'e str, value: &'e str) -> Self {
        self.attributes[self.count] = (name, value);
        self.count += 1;
        self
    }

    /// Adds an attribute if there is a value.
    #[must_use]
    pub fn attribute_if(self, name: &'e str, value: Option<&'e str>) -> Self {
        match value {
            Some(value) => self.attribute(name, value),
            None => self,
        }
    }

    /// The tag, up to its end.
    fn put(&self, text: &mut String) -> Result<(), XmlError> {
        let [element, attribute] = self.spell;
        text.push('<');
        element(self.name, text);
        for (name, value) in self.first.iter().chain(&self.attributes[..self.count]) {
            text.push(' ');
            attribute(name, text);
            text.push_str("=\"");
            put_escaped(value, in_attribute, text)?;
            text.push('"');
        }
        Ok(())
    }
}

/// What an element holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// Child elements, each on its own line.
    Lines,
    /// Texts and elements one after another, with no white space added.
    Running,
}

/// An element that was begun and must be ended.
#[derive(Debug)]
#[must_use = "an element that is not ended leaves the document broken"]
pub struct Open<'e> {
    name: &'e str,
    spell: Spell,
    content: Content,
    around: Content,
}

/// Writes one document, top to bottom.
pub struct XmlWriter<W: Write> {
    out: W,
    /// What is not yet in `out`.
    text: String,
    depth: usize,
    content: Content,
}

impl<W: Write> XmlWriter<W> {
    /// Begins a document with its XML declaration.
    ///
    /// # Errors
    /// [`XmlError::Write`] if the bytes cannot be written; so for every method here.
    pub fn new(out: W) -> Result<Self, XmlError> {
        let mut writer = Self::fragment(out, 0);
        writer.text.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>");
        Ok(writer)
    }

    /// Begins a part of a document that stands inside so many elements with child elements.
    #[must_use]
    pub fn fragment(out: W, depth: usize) -> Self {
        Self { out, text: String::with_capacity(PIECE + PIECE / 4), depth, content: Content::Lines }
    }

    /// Begins an element whose content follows in further calls, up to [`XmlWriter::end`].
    ///
    /// # Errors
    /// [`XmlError::Character`] for an attribute.
    pub fn begin<'e>(&mut self, element: Element<'e>, content: Content) -> Result<Open<'e>, XmlError> {
        self.begin_line();
        element.put(&mut self.text)?;
        self.text.push('>');
        self.depth += 1;
        let (name, spell) = (element.name, element.spell[0]);
        Ok(Open { name, spell, content, around: std::mem::replace(&mut self.content, content) })
    }

    /// Goes on inside an element with child elements, in another such one, that an earlier part of the document has begun.
    pub fn resume<'e>(&mut self, element: &Element<'e>) -> Open<'e> {
        self.depth += 1;
        let (name, spell) = (element.name, element.spell[0]);
        Open { name, spell, content: Content::Lines, around: Content::Lines }
    }

    /// Ends the element that was begun last.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    #[expect(clippy::needless_pass_by_value, reason = "what was begun is ended once")]
    pub fn end(&mut self, open: Open<'_>) -> Result<(), XmlError> {
        let Open { name, spell, content, around } = open;
        self.depth -= 1;
        if content == Content::Lines {
            self.break_line();
        }
        self.content = around;
        self.text.push_str("</");
        spell(name, &mut self.text);
        self.text.push('>');
        self.spill(PIECE)
    }

    /// An element with child elements, each on its own line.
    ///
    /// # Errors
    /// Those of `children`, and [`XmlError::Character`] for an attribute.
    pub fn lines(
        &mut self,
        element: Element<'_>,
        children: impl FnOnce(&mut Self) -> Result<(), XmlError>,
    ) -> Result<(), XmlError> {
        let open = self.begin(element, Content::Lines)?;
        children(self)?;
        self.end(open)
    }

    /// An element that holds only text.
    ///
    /// # Errors
    /// [`XmlError::Character`] for the text or an attribute.
    pub fn text_element(&mut self, element: Element<'_>, text: &str) -> Result<(), XmlError> {
        let open = self.begin(element, Content::Running)?;
        self.text(text)?;
        self.end(open)
    }

    /// An element without content.
    ///
    /// # Errors
    /// [`XmlError::Character`] for an attribute.
    pub fn empty(&mut self, element: Element<'_>) -> Result<(), XmlError> {
        self.begin_line();
        element.put(&mut self.text)?;
        self.text.push_str("/>");
        self.spill(PIECE)
    }

    /// Text inside running content, escaped.
    ///
    /// # Errors
    /// [`XmlError::Character`] if XML cannot hold it.
    pub fn text(&mut self, text: &str) -> Result<(), XmlError> {
        put_escaped(text, in_text, &mut self.text)
    }

    /// A part that is already written, for a place inside so many elements, where it begins and ends with whole lines.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    pub fn written(&mut self, part: &str) -> Result<(), XmlError> {
        self.text.push_str(part);
        self.spill(PIECE)
    }

    /// Goes on inside so many elements that [`XmlWriter::written`] has begun and will end.
    ///
    /// # Errors
    /// Those of `children`.
    pub fn deeper(
        &mut self,
        levels: usize,
        children: impl FnOnce(&mut Self) -> Result<(), XmlError>,
    ) -> Result<(), XmlError> {
        self.depth += levels;
        children(self)?;
        self.depth -= levels;
        Ok(())
    }

    /// Ends the document with a line feed and hands back the writer below.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    pub fn finish(mut self) -> Result<W, XmlError> {
        self.text.push('\n');
        self.finish_fragment()
    }

    /// Ends a part of a document and hands back the writer below.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    pub fn finish_fragment(mut self) -> Result<W, XmlError> {
        self.spill(1)?;
        Ok(self.out)
    }

    /// Writes what is gathered, if it is so much.
    fn spill(&mut self, least: usize) -> Result<(), XmlError> {
        if self.text.len() >= least {
            self.out.write_all(self.text.as_bytes())?;
            self.text.clear();
        }
        Ok(())
    }

    fn begin_line(&mut self) {
        if self.content == Content::Lines {
            self.break_line();
        }
    }

    fn break_line(&mut self) {
        match INDENT.get(..1 + 2 * self.depth) {
            Some(indent) => self.text.push_str(indent),
            None => {
                self.text.push('\n');
                self.text.extend(std::iter::repeat_n("  ", self.depth));
            }
        }
    }
}

impl XmlWriter<Vec<u8>> {
    /// How many bytes are written: where something belongs that is left out of the document for now.
    ///
    /// # Errors
    /// Never.
    pub fn gap(&mut self) -> Result<usize, XmlError> {
        self.spill(1)?;
        Ok(self.out.len())
    }
}

/// Whether a text can be put down as it is. Nearly every one can; all bytes are looked at, which is quicker than stopping at one.
fn is_plain(text: &str) -> bool {
    let plain = |byte: u8| (byte >= b' ') & !matches!(byte, b'<' | b'>' | b'&' | b'\'' | b'"' | 0xEF);
    text.bytes().fold(true, |all, byte| all & plain(byte))
}

/// Puts a text down with what stands for signs that cannot stand in it.
///
/// # Errors
/// [`XmlError::Character`].
fn put_escaped(
    raw: &str,
    escaped: fn(u8) -> Option<&'static str>,
    text: &mut String,
) -> Result<(), XmlError> {
    if is_plain(raw) {
        text.push_str(raw);
        return Ok(());
    }
    check_characters(raw)?;
    let mut from = 0;
    for (at, byte) in raw.bytes().enumerate() {
        if let Some(escaped) = escaped(byte) {
            text.push_str(&raw[from..at]);
            text.push_str(escaped);
            from = at + 1;
        }
    }
    text.push_str(&raw[from..]);
    Ok(())
}

/// In text (XML 1.0 clause 2.4). A carriage return as itself would be taken for the end of a line (clause 2.11).
fn in_text(byte: u8) -> Option<&'static str> {
    match byte {
        b'<' => Some("&lt;"),
        b'>' => Some("&gt;"),
        b'&' => Some("&amp;"),
        b'\'' => Some("&apos;"),
        b'"' => Some("&quot;"),
        b'\r' => Some("&#13;"),
        _ => None,
    }
}

/// In the value of an attribute: there any white space but a blank would be taken for a blank (clause 3.3.3).
fn in_attribute(byte: u8) -> Option<&'static str> {
    match byte {
        b'\t' => Some("&#9;"),
        b'\n' => Some("&#10;"),
        other => in_text(other),
    }
}

/// XML 1.0 clause 2.2: tab, line feed, carriage return, and everything from space on but surrogates, U+FFFE, U+FFFF.
fn check_characters(text: &str) -> Result<(), XmlError> {
    // Most texts have no byte of which one of those characters could be made; all are looked at, as that is quicker.
    let harmless = |byte: u8| ((byte >= b' ') & (byte != 0xEF)) | matches!(byte, b'\t' | b'\n' | b'\r');
    if text.bytes().fold(true, |all, byte| all & harmless(byte)) {
        return Ok(());
    }
    let forbidden = |c: &char| matches!(c, '\u{0}'..='\u{8}' | '\u{B}' | '\u{C}' | '\u{E}'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}');
    match text.chars().find(forbidden) {
        None => Ok(()),
        Some(character) => Err(XmlError::Character {
            code: u32::from(character),
            text: text.chars().filter(|c| !forbidden(c)).take(40).collect(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(
        build: impl FnOnce(&mut XmlWriter<Vec<u8>>) -> Result<(), XmlError>,
    ) -> Result<String, XmlError> {
        let mut writer = XmlWriter::new(Vec::new())?;
        build(&mut writer)?;
        Ok(String::from_utf8(writer.finish()?).unwrap())
    }

    #[test]
    fn puts_child_elements_on_lines_and_leaves_running_content_alone() {
        let text = written(|w| {
            w.lines(Element::new("body"), |w| {
                let paragraph = w.begin(Element::new("p"), Content::Running)?;
                w.text("Total: ")?;
                w.empty(Element::new("input").attribute("id", "R"))?;
                w.text(" kg")?;
                w.end(paragraph)?;
                w.text_element(Element::new("pre"), "  12.40\n+  3.57")
            })
        })
        .unwrap();
        assert_eq!(
            text,
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<body>\n  <p>Total: <input id=\"R\"/> kg</p>\n  \
             <pre>  12.40\n+  3.57</pre>\n</body>\n"
        );
    }

    #[test]
    fn escapes_markup_in_text_and_attributes() {
        let text =
            written(|w| w.text_element(Element::new("p").attribute("title", "\"a\" < b"), "1 < 2 & 3 > 2"));
        assert!(text.unwrap().ends_with("<p title=\"&quot;a&quot; &lt; b\">1 &lt; 2 &amp; 3 &gt; 2</p>\n"));
    }

    #[test]
    fn refuses_characters_that_xml_cannot_hold() {
        for text in ["a\u{0}b", "a\u{1B}b", "a\u{FFFF}b"] {
            assert!(matches!(
                written(|w| w.text_element(Element::new("p"), text)),
                Err(XmlError::Character { .. })
            ));
            let element = Element::new("p").attribute("title", text);
            assert!(matches!(written(|w| w.empty(element)), Err(XmlError::Character { .. })));
        }
    }
}
