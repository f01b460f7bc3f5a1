//! Pictures in pages: workings in columns, number lines, charts. Each is drawn from a plain structure without storage,
//! and each has the same in words or in a table.

pub mod charts;
mod number_line;
mod told;
pub mod working;

use askama::Template;
use askama::filters::HtmlSafe;

/// A picture of letters and lines, all in px; its words stand beside it on the page.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "drawings/picture.html")]
pub struct Picture {
    /// What the picture is, in words.
    pub title: String,
    /// Width.
    pub width: i32,
    /// Height.
    pub height: i32,
    /// Letters.
    pub letters: Vec<Letters>,
    /// Lines.
    pub lines: Vec<Line>,
}

impl HtmlSafe for Picture {}

/// Letters of a [`Picture`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letters {
    /// Their middle, from the left.
    pub x: i32,
    /// Their foot, from the top.
    pub y: i32,
    /// What is written.
    pub text: String,
    /// Class in the style sheet.
    pub class: &'static str,
}

/// A straight line of a [`Picture`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Where it starts.
    pub from: (i32, i32),
    /// Where it ends.
    pub to: (i32, i32),
    /// Class in the style sheet.
    pub class: &'static str,
}
