//! Writing XML as a stream of elements. This file and [`reading`] alone know the XML library.
//!
//! Nothing is kept but the current depth, so a document of any size takes no more memory than its deepest element.
//! Elements either hold child elements, each on its own indented line, or running content, written exactly as given:
//! spaces inside running content are the author's and reach the reader unchanged. It knows no vocabulary; the names
//! come from the modules of each standard.
pub mod reading;

use std::io::{self, Write};

use quick_xml::{
    Writer,
    events::{BytesDecl, BytesEnd, BytesRef, BytesStart, BytesText, Event},
};

use crate::{archive::ArchiveError, source::SourceError};

/// Spaces a level of indentation.
const INDENT: &str = "  ";

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

/// The start of an element: its name and attributes in writing order.
#[derive(Debug)]
pub struct Element {
    start: BytesStart<'static>,
    unwritable: Option<XmlError>,
}

impl Element {
    /// An element without attributes.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        Self { start: BytesStart::new(name.into()), unwritable: None }
    }

    /// Adds an attribute; its value is escaped when written. Names must not repeat.
    #[must_use]
    pub fn attribute(mut self, name: &str, value: &str) -> Self {
        match check_characters(value) {
            Ok(()) => self.start.push_attribute((name, value)),
            Err(error) => self.unwritable = Some(error),
        }
        self
    }

    /// Adds an attribute if there is a value.
    #[must_use]
    pub fn attribute_if(self, name: &str, value: Option<&str>) -> Self {
        match value {
            Some(value) => self.attribute(name, value),
            None => self,
        }
    }

    fn checked(self) -> Result<BytesStart<'static>, XmlError> {
        self.unwritable.map_or(Ok(self.start), Err)
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
pub struct Open {
    end: BytesEnd<'static>,
    content: Content,
    around: Content,
}

/// Writes one document, top to bottom.
pub struct XmlWriter<W: Write> {
    out: Writer<W>,
    depth: usize,
    content: Content,
}

impl<W: Write> XmlWriter<W> {
    /// Begins a document with its XML declaration.
    ///
    /// # Errors
    /// [`XmlError::Write`] if the bytes cannot be written; so for every method here.
    pub fn new(out: W) -> Result<Self, XmlError> {
        let mut out = Writer::new(out);
        out.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        Ok(Self { out, depth: 0, content: Content::Lines })
    }

    /// Begins an element whose content follows in further calls, up to [`XmlWriter::end`].
    ///
    /// # Errors
    /// [`XmlError::Character`] for an attribute.
    pub fn begin(&mut self, element: Element, content: Content) -> Result<Open, XmlError> {
        let start = element.checked()?;
        let end = start.to_end().into_owned();
        self.begin_line()?;
        self.out.write_event(Event::Start(start))?;
        self.depth += 1;
        Ok(Open { end, content, around: std::mem::replace(&mut self.content, content) })
    }

    /// Ends the element that was begun last.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    pub fn end(&mut self, open: Open) -> Result<(), XmlError> {
        self.depth -= 1;
        if open.content == Content::Lines {
            self.break_line()?;
        }
        self.content = open.around;
        self.out.write_event(Event::End(open.end))?;
        Ok(())
    }

    /// An element with child elements, each on its own line.
    ///
    /// # Errors
    /// Those of `children`, and [`XmlError::Character`] for an attribute.
    pub fn lines(
        &mut self,
        element: Element,
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
    pub fn text_element(&mut self, element: Element, text: &str) -> Result<(), XmlError> {
        let open = self.begin(element, Content::Running)?;
        self.text(text)?;
        self.end(open)
    }

    /// An element without content.
    ///
    /// # Errors
    /// [`XmlError::Character`] for an attribute.
    pub fn empty(&mut self, element: Element) -> Result<(), XmlError> {
        self.begin_line()?;
        self.out.write_event(Event::Empty(element.checked()?))?;
        Ok(())
    }

    /// Text inside running content, escaped.
    ///
    /// # Errors
    /// [`XmlError::Character`] if XML cannot hold it.
    pub fn text(&mut self, text: &str) -> Result<(), XmlError> {
        check_characters(text)?;
        for (index, line) in text.split('\r').enumerate() {
            if index > 0 {
                // As itself, a reader would take it for the end of a line (XML 1.0 clause 2.11).
                self.out.write_event(Event::GeneralRef(BytesRef::new("#13")))?;
            }
            self.out.write_event(Event::Text(BytesText::new(line)))?;
        }
        Ok(())
    }

    /// Ends the document with a line feed and hands back the writer below.
    ///
    /// # Errors
    /// [`XmlError::Write`].
    pub fn finish(mut self) -> Result<W, XmlError> {
        self.out.get_mut().write_all(b"\n")?;
        Ok(self.out.into_inner())
    }

    fn begin_line(&mut self) -> Result<(), XmlError> {
        match self.content {
            Content::Lines => self.break_line(),
            Content::Running => Ok(()),
        }
    }

    fn break_line(&mut self) -> Result<(), XmlError> {
        let out = self.out.get_mut();
        out.write_all(b"\n")?;
        for _ in 0..self.depth {
            out.write_all(INDENT.as_bytes())?;
        }
        Ok(())
    }
}

/// XML 1.0 clause 2.2: tab, line feed, carriage return, and everything from space on but surrogates, U+FFFE, U+FFFF.
fn check_characters(text: &str) -> Result<(), XmlError> {
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
