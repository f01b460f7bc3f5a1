//! The teacher's pages for printed sheets.

use askama::Template;

use super::Frame;
use crate::paper::{Sheet, Space};
use crate::texts::Texts;

/// The sheets of a quiz.
#[derive(Debug, Clone, Template)]
#[template(path = "paper/overview.html")]
pub struct PaperPage {
    /// Frame.
    pub frame: Frame,
    /// What was wrong with the last try.
    pub problem: Option<String>,
    /// The class page.
    pub class_url: String,
    /// This page; what can be asked for is below it.
    pub url: String,
    /// Token of the session.
    pub csrf: String,
    /// How many pupils of the course are known.
    pub pupils: usize,
    /// How many sheets were not typed in yet.
    pub waiting: usize,
    /// All sheets in the order of making.
    pub sheets: Vec<SheetRow>,
}

/// A sheet in the list.
#[derive(Debug, Clone)]
pub struct SheetRow {
    /// Its code.
    pub code: String,
    /// Whose it is, where that is known.
    pub pupil: Option<String>,
    /// Address of the attempt and its points, once it was typed in.
    pub typed: Option<(String, String)>,
}

/// Sheets to be printed from the browser.
#[derive(Debug, Clone, Template)]
#[template(path = "paper/print.html")]
pub struct PrintPage {
    /// Frame, in the teacher's language; its title is the quiz's title.
    pub frame: Frame,
    /// The sheets.
    pub sheets: Vec<Sheet>,
    /// The locale of their questions.
    pub language: String,
    /// What sheets say around their questions, in the same language.
    pub sheet_texts: &'static Texts,
    /// Whether there are squares to work in.
    pub squares: bool,
    /// The list of sheets.
    pub back: String,
}

impl PrintPage {
    fn code_of(&self, sheet: &Sheet) -> String {
        self.sheet_texts.with("paper-code", &[("code", sheet.code.to_string().into())])
    }

    /// What stands at the top of each printed page of a sheet.
    fn running(&self, sheet: &Sheet) -> String {
        let code = sheet.code.to_string();
        self.sheet_texts
            .with("paper-margin", &[("title", self.frame.title.as_str().into()), ("code", code.into())])
    }

    fn question(&self, number: usize) -> String {
        self.sheet_texts.with("paper-question", &[("number", number.into())])
    }
}

/// The questions of one sheet, to be typed in.
#[derive(Debug, Clone, Template)]
#[template(path = "paper/enter.html")]
pub struct EnterPage {
    /// Frame; its title names the code.
    pub frame: Frame,
    /// What was wrong with the last try.
    pub problem: Option<String>,
    /// Where the form goes.
    pub url: String,
    /// The list of sheets.
    pub back: String,
    /// Token of the session.
    pub csrf: String,
    /// The sheet's code.
    pub code: String,
    /// Whose sheet it is, where that is known.
    pub pupil: Option<String>,
    /// Whom to choose from, where it is not.
    pub pupils: Vec<PupilChoice>,
    /// The questions.
    pub questions: Vec<TypedQuestion>,
}

impl EnterPage {
    fn question(&self, number: usize) -> String {
        self.frame.texts.with("paper-question", &[("number", number.into())])
    }
}

/// A pupil to choose.
#[derive(Debug, Clone)]
pub struct PupilChoice {
    /// The platform's id.
    pub id: String,
    /// Name or label.
    pub name: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

/// A question to be typed in.
#[derive(Debug, Clone)]
pub struct TypedQuestion {
    /// From 1, as on the sheet.
    pub number: usize,
    /// The steps.
    pub steps: Vec<TypedStep>,
}

/// A step to be typed in.
#[derive(Debug, Clone)]
pub struct TypedStep {
    /// Name of its field.
    pub name: String,
    /// Id of its field on the page.
    pub anchor: String,
    /// `a`, `b` … where a question has several.
    pub letter: Option<char>,
    /// What was asked.
    pub prompt: String,
    /// What was typed so far.
    pub typed: String,
    /// Id and text of what can be ticked; empty for other kinds.
    pub choices: Vec<(String, String)>,
    /// The letters of an order with what they stand for.
    pub order: Option<String>,
    /// Whether words were asked for.
    pub words: bool,
}
