//! What people see: view structs and the templates that draw them.
//!
//! A view struct holds words and addresses that are ready to show. Handlers fill it from the domain; the
//! template escapes every value and places it. Templates are compiled in, and so is the one style sheet.
//!
//! Never here: storage, sessions, marks or any other decision of the domain. A view struct for a running
//! attempt has no field that could hold an answer.

pub mod board;
pub mod class;
pub mod deep_linking_return;
pub mod drawings;
pub mod frames;
pub mod later;
pub mod marked;
pub mod paper;
pub mod quiz;
pub mod refusal;
pub mod registration;
pub mod spoken;

use std::sync::LazyLock;

use askama::Template;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use crate::texts::Texts;

/// The style sheet of every page, put together from a file for each part.
pub const STYLESHEET: &str = concat!(
    include_str!("../../static/tenths.css"),
    include_str!("../../static/quiz.css"),
    include_str!("../../static/drawings.css"),
    include_str!("../../static/class.css"),
    include_str!("../../static/print.css"),
    include_str!("../../static/district.css"),
);

/// Where the style sheet is served. The address changes with the content, so that browsers may keep it for ever.
pub fn stylesheet_url() -> &'static str {
    static URL: LazyLock<String> = LazyLock::new(|| versioned("/static/tenths.css", STYLESHEET));
    &URL
}

/// An address that changes with the content.
fn versioned(path: &str, content: &str) -> String {
    let digest = Sha256::digest(content.as_bytes());
    format!("{path}?v={}", URL_SAFE_NO_PAD.encode(&digest[..9]))
}

/// What surrounds the content of every page.
#[derive(Debug, Clone)]
pub struct Frame {
    /// What the page says, in the language of its reader.
    pub texts: &'static Texts,
    /// Language of the page's text as a BCP 47 tag, for example `en-US`; a quiz may be told in a region of its own.
    pub language: String,
    /// Title in the browser's tab and the page's first heading.
    pub title: String,
    /// Where one is.
    pub place: Place,
    /// Whether the content may be wider than a comfortable line of text (tables).
    pub wide: bool,
    /// The page's own address, if another language is offered at its foot.
    pub again_in_another_language: Option<String>,
}

impl Frame {
    /// The frame of a page in the language of `texts`.
    pub fn new(texts: &'static Texts, place: Place, title: impl Into<String>) -> Self {
        Self {
            texts,
            language: texts.tag().to_owned(),
            title: title.into(),
            place,
            wide: false,
            again_in_another_language: None,
        }
    }

    /// The same in a quiz's own locale, such as `es-MX`.
    pub fn of_locale(locale: &str, place: Place, title: impl Into<String>) -> Self {
        Self { language: locale.to_owned(), ..Self::new(Texts::of(locale), place, title) }
    }

    /// The same for content that may be wider than a comfortable line of text.
    #[must_use]
    pub fn wide(self) -> Self {
        Self { wide: true, ..self }
    }

    /// The same with other languages to choose at the foot. Only for pages that can be asked for again as they are.
    #[must_use]
    pub fn with_languages(self) -> Self {
        Self { again_in_another_language: Texts::readers_address(), ..self }
    }

    /// Languages to change to.
    pub fn other_languages(&self) -> Vec<&'static Texts> {
        Texts::all().into_iter().filter(|texts| texts.tag() != self.texts.tag()).collect()
    }
}

/// Which part of the service a page belongs to; said at its top.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// A pupil's pages.
    Quiz,
    /// A teacher's.
    Class,
    /// A coordinator's.
    District,
    /// Where a platform's administrator registers it.
    Registration,
    /// None of them.
    Nowhere,
}

impl Place {
    /// The message that names it.
    pub fn message(self) -> Option<&'static str> {
        match self {
            Self::Quiz => Some("frame-place-quiz"),
            Self::Class => Some("frame-place-class"),
            Self::District => Some("frame-place-district"),
            Self::Registration => Some("frame-place-registration"),
            Self::Nowhere => None,
        }
    }
}

/// A link or a link-like button.
#[derive(Debug, Clone)]
pub struct Link {
    /// Address inside the service.
    pub url: String,
    /// What the link says.
    pub text: String,
}

/// A page that says one thing: an error in plain words, or that something is done.
#[derive(Debug, Clone, Template)]
#[template(path = "notice.html")]
pub struct NoticePage {
    /// Frame; its title names what happened.
    pub frame: Frame,
    /// One sentence in plain words.
    pub sentence: String,
    /// What to do next.
    pub hint: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_what_a_person_typed() {
        let page = NoticePage {
            frame: Frame::of_locale("en-US", Place::Quiz, "<script>"),
            sentence: "\"><img src=x>".into(),
            hint: None,
        };
        let html = page.render().unwrap();
        assert!(!html.contains("<script>"), "{html}");
        assert!(!html.contains("<img"), "{html}");
    }

    #[test]
    fn the_style_sheet_fetches_nothing() {
        assert!(!STYLESHEET.contains("url("), "a strict policy allows no further files");
        assert!(!STYLESHEET.contains("@import"));
    }
}
