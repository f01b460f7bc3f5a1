//! An item of the profile played by the rules of QTI 1.2.1: conditions in order, until one holds that does not continue.
//!
//! What is played is what was read from a document, ours or not. Texts are compared as they are, or without regard to
//! capital letters, as each test says; nothing is trimmed, because the standard does not say so.
use super::model::{CartridgeItem, Condition, Test};

/// What a response leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Played<'i> {
    /// The score as the item writes it, from 0 to 100; `None` where no condition that held sets one.
    pub score: Option<&'i str>,
    /// Identifiers of the feedback shown, in order.
    pub shown: Vec<&'i str>,
}

impl Played<'_> {
    /// Whether the response earns all points.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.score.and_then(|score| score.trim().parse::<f64>().ok()).is_some_and(|score| score >= 100.0)
    }
}

impl CartridgeItem {
    /// Plays one response: a typed text or the identifiers of the choices made; empty for none.
    #[must_use]
    pub fn play(&self, response: &[&str]) -> Played<'_> {
        let mut played = Played { score: None, shown: Vec::new() };
        for condition in self.conditions.iter().filter(|condition| condition.test.holds(response)) {
            let Condition { score, shows, continues, .. } = condition;
            played.score = score.as_deref().or(played.score);
            played.shown.extend(shows.iter().map(String::as_str));
            if !continues {
                break;
            }
        }
        played
    }
}

impl Test {
    /// Whether it holds for a response. Of several choices it is enough that one is meant.
    #[must_use]
    pub fn holds(&self, response: &[&str]) -> bool {
        match self {
            Self::Equals { text, case } => {
                response.iter().any(|given| folded(given, *case) == folded(text, *case))
            }
            Self::Contains { text, case } => {
                response.iter().any(|given| folded(given, *case).contains(&folded(text, *case)))
            }
            Self::Unanswered => response.iter().all(|given| given.is_empty()),
            Self::And(tests) => tests.iter().all(|test| test.holds(response)),
            Self::Or(tests) => tests.iter().any(|test| test.holds(response)),
            Self::Not(test) => !test.holds(response),
            Self::Other => true,
        }
    }

    /// The texts and identifiers that it names, wherever they stand in it.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        match self {
            Self::Equals { text, .. } | Self::Contains { text, .. } => vec![text],
            Self::And(tests) | Self::Or(tests) => tests.iter().flat_map(Self::names).collect(),
            Self::Not(test) => test.names(),
            Self::Unanswered | Self::Other => Vec::new(),
        }
    }
}

fn folded(text: &str, case: bool) -> String {
    if case { text.to_owned() } else { text.to_lowercase() }
}

#[cfg(test)]
mod tests {
    use super::Test;

    fn equals(text: &str) -> Test {
        Test::Equals { text: text.to_owned(), case: true }
    }

    #[test]
    fn tests_hold_as_the_standard_says() {
        let without_case = Test::Equals { text: "Kg".to_owned(), case: false };
        let part = Test::Contains { text: "five".to_owned(), case: false };
        let both = Test::And(vec![equals("A"), equals("C"), Test::Not(Box::new(equals("B")))]);
        for (test, response, expected) in [
            (&equals("0.5"), &["0.5"][..], true),
            (&equals("0.5"), &["0.50"], false),
            (&equals("0.5"), &[], false),
            (&without_case, &["kG"], true),
            (&part, &["Three and FIVE tenths"], true),
            (&both, &["C", "A"], true),
            (&both, &["A", "B", "C"], false),
            (&both, &["A"], false),
            (&Test::Unanswered, &[], true),
            (&Test::Unanswered, &[""], true),
            (&Test::Unanswered, &["0"], false),
            (&Test::Or(vec![equals("1"), Test::Unanswered]), &[], true),
            (&Test::Other, &[], true),
        ] {
            assert_eq!(test.holds(response), expected, "{test:?} for {response:?}");
        }
        assert_eq!(both.names(), ["A", "C", "B"]);
    }
}
