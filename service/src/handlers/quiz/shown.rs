//! Which part of an open attempt a page shows.

use qbank::question::Item;

use crate::storage::{Attempt, Layout, Responses};

/// What the address says for the last page.
const CHECK: &str = "check";

/// What a page of an open attempt shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shown {
    /// All questions.
    All,
    /// This one of them, counted from 1.
    Question(usize),
    /// No question, but which are answered; from here one hands in.
    Check,
}

impl Shown {
    /// What `asked` means in a quiz of that layout; without a usable word, the first question with something to do.
    pub(super) fn read(layout: Layout, asked: &str, attempt: &Attempt, questions: &[&Item]) -> Self {
        match (layout, asked) {
            (Layout::All, _) => Self::All,
            (Layout::One, CHECK) => Self::Check,
            (Layout::One, asked) => {
                let named = asked.parse().ok().filter(|number| (1..=questions.len()).contains(number));
                named
                    .or_else(|| first_open(&attempt.responses, questions))
                    .map_or(Self::Check, Self::Question)
            }
        }
    }

    /// What follows after the last page's form was refused: there the whole quiz is spoken of.
    pub(super) fn of_handing_in(layout: Layout) -> Self {
        match layout {
            Layout::All => Self::All,
            Layout::One => Self::Check,
        }
    }

    /// Its word in addresses; none where the address needs none.
    pub(super) fn word(self) -> Option<String> {
        match self {
            Self::All => None,
            Self::Question(number) => Some(number.to_string()),
            Self::Check => Some(CHECK.to_owned()),
        }
    }

    /// The next page, where pages follow each other.
    pub(super) fn next(self, count: usize) -> Option<Self> {
        match self {
            Self::Question(number) if number < count => Some(Self::Question(number + 1)),
            Self::Question(_) => Some(Self::Check),
            Self::All | Self::Check => None,
        }
    }

    /// The page before.
    pub(super) fn back(self) -> Option<Self> {
        match self {
            Self::Question(number) if number > 1 => Some(Self::Question(number - 1)),
            _ => None,
        }
    }
}

/// The first question with an empty step, counted from 1.
fn first_open(responses: &Responses, questions: &[&Item]) -> Option<usize> {
    let open = |item: &&Item| Filled::of(item, responses) != Filled::Whole;
    questions.iter().position(open).map(|index| index + 1)
}

/// How much of a question is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Filled {
    /// Every step.
    Whole,
    /// Some steps.
    Partly,
    /// None.
    Nothing,
}

impl Filled {
    /// What is answered of that question.
    pub(super) fn of(item: &Item, responses: &Responses) -> Self {
        let given = responses.get(item.id.as_str());
        let text = |id: &str| given.and_then(|steps| steps.get(id)).map_or("", String::as_str);
        let filled = item.steps.iter().filter(|step| !super::fields::is_empty(step, text(&step.id))).count();
        match filled {
            0 => Self::Nothing,
            filled if filled == item.steps.len() => Self::Whole,
            _ => Self::Partly,
        }
    }
}
