//! The coordinator's pages: all of them are boards of sections with texts, a table and forms, drawn by one template.

use std::sync::LazyLock;

use askama::Template;

use super::Frame;
use super::drawings::charts::{Bars, Intervals};
use super::marked::Tone;

/// The script that looks again while something is being worked on.
pub const AGAIN_SCRIPT: &str = include_str!("../../static/again.js");

/// Where the script is served; see [`super::stylesheet_url`].
pub fn again_script_url() -> &'static str {
    static URL: LazyLock<String> = LazyLock::new(|| super::versioned("/static/again.js", AGAIN_SCRIPT));
    &URL
}

/// A page of the coordinator's.
#[derive(Debug, Clone, Template)]
#[template(path = "district/board.html")]
pub struct Board {
    /// Frame.
    pub frame: Frame,
    /// The coordinator's pages; none before signing in.
    pub pages: Vec<PageLink>,
    /// What just happened, or what was wrong.
    pub notice: Option<Notice>,
    /// The page asks for itself again after so many seconds, where scripts run, while something is being worked on.
    pub again_after_s: Option<u32>,
    /// Token of the session, in every posted form.
    pub csrf: String,
    /// The sections in order.
    pub sections: Vec<Section>,
}

/// A page among the coordinator's.
#[derive(Debug, Clone)]
pub struct PageLink {
    /// Its address.
    pub url: &'static str,
    /// Its name.
    pub text: String,
    /// Whether it is the one that is shown.
    pub here: bool,
}

/// What is told at the top.
#[derive(Debug, Clone)]
pub struct Notice {
    /// The sentence.
    pub text: String,
    /// Whether something is wrong.
    pub problem: bool,
    /// Something that is shown this once, to be copied.
    pub secret: Option<String>,
}

/// A part of a board.
#[derive(Debug, Clone, Default)]
pub struct Section {
    /// Id on the page.
    pub id: &'static str,
    /// Heading.
    pub heading: String,
    /// Paragraphs.
    pub texts: Vec<String>,
    /// Facts: name and value.
    pub facts: Vec<(String, String)>,
    /// How far something is, in hundredths.
    pub progress: Option<Progress>,
    /// Text in equal-width letters, as a file has it.
    pub file: Option<String>,
    /// Pictures, each with its table.
    pub charts: Vec<Chart>,
    /// A table.
    pub table: Option<Table>,
    /// What stands behind a fold each: summary and paragraphs.
    pub folds: Vec<(String, Vec<String>)>,
    /// Forms.
    pub forms: Vec<Form>,
    /// Links.
    pub links: Vec<(String, String)>,
}

/// A picture.
#[derive(Debug, Clone)]
pub enum Chart {
    /// Counts out of a whole.
    Bars(Bars),
    /// Shares with their intervals.
    Intervals(Intervals),
}

/// How far something is.
#[derive(Debug, Clone)]
pub struct Progress {
    /// In hundredths; none while that is not known.
    pub percent: Option<u64>,
    /// In words.
    pub text: String,
}

/// A table with a heading for each column.
#[derive(Debug, Clone)]
pub struct Table {
    /// What it lists, for those who cannot see where it stands.
    pub caption: String,
    /// Headings of the columns.
    pub columns: Vec<String>,
    /// The rows; the first cell of each names it.
    pub rows: Vec<Vec<Cell>>,
    /// What is said where there are none.
    pub empty: String,
}

/// A cell of a table.
#[derive(Debug, Clone)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A number, lined up at the right.
    Number(String),
    /// An identifier.
    Code(String),
    /// A link: address and words.
    Link(String, String),
    /// A state with its colour and sign.
    State(Tone, String),
    /// Buttons.
    Acts(Vec<Act>),
}

/// A button that does something to a row.
#[derive(Debug, Clone)]
pub struct Act {
    /// Where it posts to.
    pub action: String,
    /// Names and values that go along.
    pub values: Vec<(&'static str, String)>,
    /// What the button says.
    pub text: String,
    /// What it says to those who do not see the row.
    pub label: String,
}

/// A form.
#[derive(Debug, Clone)]
pub struct Form {
    /// Where it goes.
    pub action: String,
    /// Whether it changes something.
    pub posts: bool,
    /// Whether it carries a file.
    pub carries_file: bool,
    /// Its fields.
    pub fields: Vec<Field>,
    /// Its buttons: name, value and words; the first is the main one.
    pub buttons: Vec<(&'static str, String, String)>,
}

/// A field of a form.
#[derive(Debug, Clone)]
pub struct Field {
    /// Its name, also its id on the page.
    pub name: &'static str,
    /// Words beside it.
    pub label: String,
    /// A sentence below the words.
    pub hint: String,
    /// What it is.
    pub kind: FieldKind,
}

/// Kinds of field.
#[derive(Debug, Clone)]
pub enum FieldKind {
    /// A line of text: what is in it, and its type in HTML.
    Line(String, &'static str),
    /// Several lines of text.
    Lines(String),
    /// One of several: value, words, whether chosen.
    Choice(Vec<(String, String, bool)>),
    /// Yes or no: whether ticked.
    Tick(bool),
    /// A file, of these kinds as HTML lists them.
    File(&'static str),
    /// Not shown; its value.
    Hidden(String),
}

impl Field {
    /// A line of text.
    pub fn line(name: &'static str, label: String, value: impl Into<String>) -> Self {
        Self { name, label, hint: String::new(), kind: FieldKind::Line(value.into(), "text") }
    }

    /// A number.
    pub fn number(name: &'static str, label: String, value: impl Into<String>) -> Self {
        Self { kind: FieldKind::Line(value.into(), "number"), ..Self::line(name, label, "") }
    }

    /// One of several.
    pub fn choice(name: &'static str, label: String, options: Vec<(String, String, bool)>) -> Self {
        Self { kind: FieldKind::Choice(options), ..Self::line(name, label, "") }
    }

    /// Yes or no.
    pub fn tick(name: &'static str, label: String) -> Self {
        Self { kind: FieldKind::Tick(false), ..Self::line(name, label, "") }
    }

    /// A value that is not shown.
    pub fn hidden(name: &'static str, value: impl Into<String>) -> Self {
        Self { kind: FieldKind::Hidden(value.into()), ..Self::line(name, String::new(), "") }
    }

    /// The same with a sentence below its words.
    #[must_use]
    pub fn hint(self, hint: String) -> Self {
        Self { hint, ..self }
    }
}

impl Form {
    /// A form that changes something.
    pub fn post(action: impl Into<String>, button: String, fields: Vec<Field>) -> Self {
        Self {
            action: action.into(),
            posts: true,
            carries_file: false,
            fields,
            buttons: vec![("", String::new(), button)],
        }
    }

    /// A form that asks for something.
    pub fn get(action: impl Into<String>, button: String, fields: Vec<Field>) -> Self {
        Self { posts: false, ..Self::post(action, button, fields) }
    }
}

impl Section {
    /// A section with a heading.
    pub fn new(id: &'static str, heading: String) -> Self {
        Self { id, heading, ..Self::default() }
    }

    /// The same with a paragraph more.
    #[must_use]
    pub fn text(mut self, text: String) -> Self {
        self.texts.push(text);
        self
    }

    /// The same with a table.
    #[must_use]
    pub fn table(self, table: Table) -> Self {
        Self { table: Some(table), ..self }
    }

    /// The same with a form more.
    #[must_use]
    pub fn form(mut self, form: Form) -> Self {
        self.forms.push(form);
        self
    }

    /// The same with a link more.
    #[must_use]
    pub fn link(mut self, url: impl Into<String>, text: String) -> Self {
        self.links.push((url.into(), text));
        self
    }
}

impl Table {
    /// A table.
    pub fn new(caption: String, columns: Vec<String>, rows: Vec<Vec<Cell>>, empty: String) -> Self {
        Self { caption, columns, rows, empty }
    }

    fn heading(&self, column: &usize) -> &str {
        self.columns.get(*column).map_or("", String::as_str)
    }
}
