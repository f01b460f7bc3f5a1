//! What a pupil types, from several pages of one attempt, brought together without losing any of it.
//!
//! An attempt can be open on two pages at once: in two tabs, on a computer that was closed and one that was used since.
//! Each page has a name and knows the revision of the attempt that it shows. Each stored answer remembers the revision
//! that wrote it, and the page. An answer is refused when another page has written it since this one was shown: then the
//! stored one is the newer one, and the pupil is told both.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::storage::Responses;

/// How long the name of a page may be; [`crate::entropy::identifier`] is shorter.
const PAGE_LENGTH_MAX: usize = 40;

/// What one page brings.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typing {
    /// Name of the page.
    page: String,
    /// The revision of the attempt that the page shows.
    seen: u64,
    /// The answers by question and step; an empty one clears what is stored.
    pub responses: Responses,
}

/// Who wrote a stored answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Stamp {
    revision: u64,
    page: String,
}

/// Who wrote the stored answers, by question and step.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Stamps(BTreeMap<String, BTreeMap<String, Stamp>>);

/// The answers of an open attempt after a page brought its own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Kept {
    /// All answers; none of them is empty.
    pub responses: Responses,
    /// Grows by one with each change.
    pub revision: u64,
    /// What was refused, by question and step, because a newer answer is stored.
    pub refused: Responses,
}

impl Typing {
    /// What a page of that name brings. A page that does not name itself, or says nonsense, is one that was shown before
    /// anything was stored.
    pub fn from_page(page: &str, seen: &str, responses: Responses) -> Self {
        let page = page.chars().take(PAGE_LENGTH_MAX).collect();
        Self { page, seen: seen.parse().unwrap_or(0), responses }
    }
}

impl Kept {
    /// Brings what is stored and what a page brings together.
    #[must_use]
    pub fn with(mut self, stamps: &mut Stamps, typing: &Typing) -> Self {
        let next = self.revision + 1;
        for (question, step, text) in all(&typing.responses) {
            let stored =
                self.responses.get(question).and_then(|steps| steps.get(step)).map_or("", String::as_str);
            if stored == text {
                continue;
            }
            if stamps.newer(question, step, typing) {
                // A field that is empty there was hardly emptied on purpose: most are those that were never filled.
                if !text.is_empty() {
                    self.refused.entry(question.clone()).or_default().insert(step.clone(), text.clone());
                }
                continue;
            }
            let steps = self.responses.entry(question.clone()).or_default();
            if text.is_empty() {
                steps.remove(step)
            } else {
                steps.insert(step.clone(), text.clone())
            };
            stamps.write(question, step, Stamp { revision: next, page: typing.page.clone() });
            self.revision = next;
        }
        self
    }
}

impl Stamps {
    /// Whether another page has written that answer since this one was shown.
    fn newer(&self, question: &str, step: &str, typing: &Typing) -> bool {
        let stamp = self.0.get(question).and_then(|steps| steps.get(step));
        stamp.is_some_and(|stamp| stamp.revision > typing.seen && stamp.page != typing.page)
    }

    fn write(&mut self, question: &str, step: &str, stamp: Stamp) {
        self.0.entry(question.to_owned()).or_default().insert(step.to_owned(), stamp);
    }
}

/// Answers one by one, with question and step.
fn all(responses: &Responses) -> impl Iterator<Item = (&String, &String, &String)> {
    responses
        .iter()
        .flat_map(|(question, steps)| steps.iter().map(move |(step, text)| (question, step, text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(text: &str) -> Responses {
        [("q".to_owned(), [("step".to_owned(), text.to_owned())].into())].into()
    }

    fn stored(kept: &Kept) -> &str {
        kept.responses.get("q").and_then(|steps| steps.get("step")).map_or("", String::as_str)
    }

    /// One attempt, and what pages bring to it one after the other: page, revision seen, text, what is stored then and
    /// what was refused.
    fn played(moves: &[(&str, u64, &str, &str, &str)]) {
        let (mut kept, mut stamps) = (Kept::default(), Stamps::default());
        for (page, seen, text, expected, refused) in moves {
            let typing = Typing::from_page(page, &seen.to_string(), answer(text));
            kept = Kept { refused: Responses::new(), ..kept }.with(&mut stamps, &typing);
            let told = kept.refused.get("q").and_then(|steps| steps.get("step")).map_or("", String::as_str);
            assert_eq!((stored(&kept), told), (*expected, *refused), "{page} {seen} {text}");
        }
    }

    #[test]
    fn one_page_writes_over_what_it_wrote() {
        // The answer to the first save may be lost with the network, so the page still names revision 0.
        played(&[("a", 0, "1", "1", ""), ("a", 0, "12", "12", ""), ("a", 2, "", "", "")]);
    }

    #[test]
    fn an_older_page_does_not_write_over_a_newer_answer_and_it_is_told() {
        played(&[
            ("old", 0, "1", "1", ""),
            ("new", 1, "2", "2", ""),
            ("old", 1, "3", "2", "3"),
            ("old", 2, "3", "3", ""),
        ]);
    }

    #[test]
    fn empty_fields_of_an_older_page_leave_newer_answers_and_say_nothing() {
        played(&[("new", 0, "2", "2", ""), ("old", 0, "", "2", ""), ("old", 0, "2", "2", "")]);
    }

    #[test]
    fn a_page_that_saw_the_answer_may_change_it() {
        played(&[("a", 0, "1", "1", ""), ("b", 1, "2", "2", ""), ("c", 2, "", "", "")]);
    }

    #[test]
    fn what_is_the_same_is_no_change() {
        let (mut stamps, first) = (Stamps::default(), Typing::from_page("a", "0", answer("1")));
        let kept = Kept::default().with(&mut stamps, &first);
        assert_eq!(kept.revision, 1);
        assert_eq!(kept.with(&mut stamps, &first).revision, 1);
    }
}
