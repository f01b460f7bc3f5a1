//! The page that says that there is too much to do just now. It tries again by itself where scripts run, and carries what
//! was typed, so that nothing is lost without them either.

use askama::Template;

use super::{Frame, Place};
use crate::texts::Texts;

/// What was typed, to be sent once more.
#[derive(Debug, Clone)]
pub struct TypedForm {
    /// Where it goes.
    pub action: String,
    /// Names and values as they came.
    pub fields: Vec<(String, String)>,
}

/// The page.
#[derive(Debug, Clone, Template)]
#[template(path = "later.html")]
pub struct LaterPage {
    frame: Frame,
    seconds: u64,
    /// The page that was asked for; none where something was sent.
    asked: Option<String>,
    typed: Option<TypedForm>,
}

impl LaterPage {
    /// The page in the language of whoever asks.
    pub fn new(seconds: u64, asked: Option<String>, typed: Option<TypedForm>) -> Self {
        let texts = Texts::of_reader();
        Self { frame: Frame::new(texts, Place::Nowhere, texts.say("frame-later")), seconds, asked, typed }
    }

    /// What is told by what can be done now: what happened, what the page does where scripts run, what to do where not.
    fn messages(&self) -> [&'static str; 3] {
        match (&self.typed, &self.asked) {
            (Some(_), _) => ["frame-later-typed", "frame-later-typed-itself", "frame-later-typed-next"],
            (None, Some(_)) => ["frame-later-asked", "frame-later-asked-itself", "frame-later-asked-next"],
            (None, None) => ["frame-later-sent", "frame-later-sent-next", "frame-later-sent-next"],
        }
    }

    /// Whether it can try again by itself.
    fn tries_again(&self) -> bool {
        self.asked.is_some() || self.typed.is_some()
    }
}
