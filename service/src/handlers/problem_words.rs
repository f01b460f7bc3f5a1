//! Why a grade did not arrive, or a class list could not be read, in the reader's language.
//!
//! The outbox and the class lists store the sentence that was true when it happened, in English, as logs and the
//! programming interface tell it. Here it is found again by its pattern; what is not found, such as a sentence of another
//! version of the service, is quoted as it is.

use crate::texts::Texts;

/// Each sentence that is stored, with its message. `{}` stands for what differs: a status, or another sentence. The more
/// general ones come first.
const KNOWN: &[(&str, &str)] = &[
    ("{}; given up after three days", "problems-given-up"),
    ("{}, far ahead of our clock", "problems-far-ahead"),
    ("store: {}", "problems-store"),
    ("no access token: {}", "problems-no-token"),
    ("the platform refuses an access token: {}", "problems-token-refused"),
    ("status {}", "problems-status"),
    ("the service's own keys cannot be used just now", "problems-own-keys"),
    ("the platform's answer is not a token", "problems-no-token-answer"),
    ("the token is not a bearer token", "problems-not-bearer"),
    ("the platform grants less than the launch said", "problems-grants-less"),
    ("the address may not be called", "problems-address"),
    ("the platform took too long to answer", "problems-slow"),
    ("the platform could not be reached", "problems-unreachable"),
    ("the platform broke off its answer", "problems-broken-off"),
    ("the platform's answer is too large", "problems-too-large"),
    ("the platform does not accept our access token (401)", "problems-token-not-accepted"),
    ("the platform does not allow grades here; the activity may be closed (403)", "problems-not-allowed"),
    ("the platform is busy or out of order ({})", "problems-busy"),
    ("the platform does not understand our message ({})", "problems-not-understood"),
    ("the platform has a score with a later time (409)", "problems-later-score"),
    ("the gradebook column or the pupil is gone from the course (404)", "problems-gone"),
    ("the column is gone from the gradebook (404)", "problems-column-gone"),
    ("the quiz has been removed, or its platform is no longer registered", "problems-removed"),
    ("the platform takes no grades for this link", "problems-takes-none"),
    (
        "the platform does not let us send scores for this link; points stay visible here",
        "problems-no-scores",
    ),
    ("the platform does not let us read its gradebook", "problems-no-reading"),
    ("the quiz has no known column in the gradebook yet", "problems-no-column-yet"),
    ("the platform does not let us look for this link's gradebook column", "problems-no-looking"),
    ("this link has no column in the gradebook", "problems-no-column"),
    ("this link has several columns in the gradebook", "problems-several-columns"),
    ("the platform's new gradebook column cannot be read", "problems-new-column"),
    (
        "the gradebook has several columns that may be this quiz's, from a copied course; remove all but one",
        "problems-copied-columns",
    ),
    ("the platform's list of results has a mark that is no number", "problems-no-number"),
    ("the platform's list of {} cannot be read", "problems-list-unreadable"),
    ("the platform's list of {} goes on at another host", "problems-list-elsewhere"),
    ("the platform's list of {} does not end", "problems-list-endless"),
    ("results", "problems-results"),
    ("gradebook columns", "problems-columns"),
    ("the course does not give its class list ({})", "problems-roster-refused"),
    ("the course does not answer just now ({})", "problems-roster-busy"),
    ("the course's class list cannot be read", "problems-roster-unreadable"),
    ("the course's class list is too long", "problems-roster-long"),
    ("the course's class list goes on at another server", "problems-roster-elsewhere"),
    ("the course's class list does not come to an end", "problems-roster-endless"),
];

/// A stored problem for a reader of `texts`; begins with a small letter, where it is known.
pub(crate) fn told(texts: &Texts, stored: &str) -> String {
    known(texts, stored).unwrap_or_else(|| texts.with("problems-quoted", &[("text", stored.into())]))
}

fn known(texts: &Texts, stored: &str) -> Option<String> {
    KNOWN.iter().find_map(|(pattern, id)| {
        let Some((before, after)) = pattern.split_once("{}") else {
            return (*pattern == stored).then(|| texts.say(id));
        };
        let what = stored.strip_prefix(before)?.strip_suffix(after)?;
        Some(texts.with(id, &[("what", part(texts, what).into())]))
    })
}

/// What stands in a sentence: another sentence, or a status, of which the number is enough.
fn part(texts: &Texts, what: &str) -> String {
    known(texts, what).unwrap_or_else(|| match what.split_once(' ') {
        Some((status, _)) if status.len() == 3 && status.bytes().all(|sign| sign.is_ascii_digit()) => {
            status.to_owned()
        }
        _ => what.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    /// Where sentences are made that get stored.
    const MAKERS: [&str; 8] = [
        "lti/access_token.rs",
        "lti/roster.rs",
        "lti/grades/mod.rs",
        "lti/grades/paging.rs",
        "lti/grades/line_items.rs",
        "lti/grades/results.rs",
        "delivery/mod.rs",
        "delivery/gradebook.rs",
    ];

    /// The literals of a file's code that begin as sentences about a problem do; names in braces become a status.
    fn sentences(file: &str) -> Vec<String> {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(file);
        let source = std::fs::read_to_string(path).unwrap();
        let code = source.split("#[cfg(test)]").next().unwrap();
        let code: Vec<&str> = code.lines().filter(|line| !line.trim_start().starts_with("//")).collect();
        let literals = code
            .iter()
            .filter(|line| !line.contains("tracing::") && !line.contains(".expect("))
            .flat_map(|line| line.split('"').skip(1).step_by(2));
        let about = ["the ", "this link ", "no access token", "status ", "store: "];
        let begins = |text: &&str| about.iter().any(|word| text.starts_with(word));
        literals
            .filter(begins)
            .map(|text| {
                let (Some((before, _)), Some((_, after))) = (text.split_once('{'), text.split_once('}'))
                else {
                    return text.to_owned();
                };
                let hole = if before.ends_with("list of ") {
                    "gradebook columns"
                } else {
                    "503 Service Unavailable"
                };
                format!("{before}{hole}{after}")
            })
            .collect()
    }

    #[test]
    fn every_call_that_fails_has_its_message() {
        use crate::lti::outgoing::CallError::{Address, Broken, Connect, Timeout, TooLarge};
        for error in [Address, Timeout, Connect, Broken, TooLarge] {
            for texts in Texts::all() {
                assert!(known(texts, &error.to_string()).is_some(), "{error}");
            }
        }
    }

    #[test]
    fn every_sentence_that_is_stored_has_its_message() {
        let mut found = 0;
        for file in MAKERS {
            for sentence in sentences(file) {
                for texts in Texts::all() {
                    let told = known(texts, &sentence);
                    let told = told.unwrap_or_else(|| panic!("{file}: no message for '{sentence}'"));
                    assert!(!told.contains("problems-") && !told.contains("Unavailable"), "{told}");
                }
                found += 1;
            }
        }
        assert!(found > 30, "only {found} sentences were found");
    }

    #[test]
    fn sentences_inside_others_are_told_too() {
        let spanish = Texts::of("es-US");
        for (stored, told_as) in [
            (
                "the platform is busy or out of order (503); given up after three days",
                "la plataforma está ocupada o no funciona (503); se dejó de intentar después de tres días",
            ),
            (
                "no access token: the platform took too long to answer",
                "no hay token de acceso: la plataforma tardó demasiado en responder",
            ),
            (
                "the platform refuses an access token: invalid_client (400)",
                "la plataforma niega el token de acceso: invalid_client (400)",
            ),
            (
                "the course does not give its class list (403 Forbidden)",
                "el curso no da su lista de clase (403)",
            ),
            ("the moon is full", "«the moon is full»"),
        ] {
            assert_eq!(told(spanish, stored), told_as);
        }
        assert_eq!(told(Texts::of("en-US"), "the moon is full"), "“the moon is full”");
    }
}
