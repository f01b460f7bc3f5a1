//! What people see: view structs and the templates that draw them.
//!
//! A view struct holds words and addresses that are ready to show. Handlers fill it from the domain; the
//! template escapes every value and places it. Templates are compiled in, and so is the one style sheet.
//!
//! Never here: storage, sessions, marks or any other decision of the domain. A view struct for a running
//! attempt has no field that could hold an answer.

pub mod class;
pub mod deep_linking_return;
pub mod frames;
pub mod marked;
pub mod quiz;
pub mod refusal;
pub mod registration;

use std::sync::LazyLock;

use askama::Template;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

/// The style sheet of every page.
pub const STYLESHEET: &str = include_str!("../../static/tenths.css");

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
    /// Language of the page's text as a BCP 47 tag, for example `en-US`.
    pub language: String,
    /// Title in the browser's tab and the page's first heading.
    pub title: String,
    /// One or two words at the top that say where one is: "Quiz", "Class".
    pub place: &'static str,
    /// Whether the content may be wider than a comfortable line of text (tables).
    pub wide: bool,
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
            frame: Frame { language: "en-US".into(), title: "<script>".into(), place: "Quiz", wide: false },
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
