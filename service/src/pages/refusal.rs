//! The plain page that says why something was refused.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, ContentType};
use askama::Template;

use super::{Frame, Place};
use crate::texts::Texts;

/// Why a request was refused, for the person in front of it and for whoever helps them.
#[derive(Debug, Clone, Template)]
#[template(path = "refusal.html")]
pub struct RefusalPage {
    frame: Frame,
    /// The stable name of the failed check.
    check: &'static str,
    /// What failed, in plain words.
    sentence: String,
    /// What to do now.
    hint: String,
}

impl RefusalPage {
    /// The page for the failed check of this name, in the language of whoever asks.
    pub fn of(check: &'static str) -> Self {
        let texts = Texts::of_reader();
        // These pass by themselves.
        let waits = ["platform_keys", "store", "keys", "too_many_requests"].contains(&check);
        Self {
            frame: Frame::new(texts, Place::Nowhere, texts.say("refusals-title")),
            check,
            sentence: texts.say(&message_of(check)),
            hint: if waits { texts.say("refusals-next-wait") } else { texts.say("refusals-next") },
        }
    }

    /// The page as an answer.
    pub fn into_response(self, status: StatusCode) -> HttpResponse {
        let body = self.render().unwrap_or_else(|_| format!("{} ({})", self.sentence, self.check));
        HttpResponse::build(status)
            .content_type(ContentType::html())
            .insert_header((CACHE_CONTROL, "no-store"))
            .body(body)
    }
}

/// The message that tells a failed check.
fn message_of(check: &str) -> String {
    format!("refusals-{}", check.replace('_', "-"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lti::FailedCheck;

    #[test]
    fn every_failed_check_is_told_in_every_language() {
        let others =
            ["platform_keys", "store", "keys", "session", "session_scope", "csrf", "too_many_requests"];
        for check in FailedCheck::ALL.iter().map(|check| check.name()).chain(others) {
            let told = Texts::all().map(|texts| texts.say(&message_of(check)));
            assert!(told[0] != told[1] && told.iter().all(|told| told.ends_with('.')), "{check}: {told:?}");
        }
    }
}
