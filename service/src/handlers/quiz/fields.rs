//! Names of the form's fields, and reading the typed answers out of a posted form.
//!
//! An order has a field for each of its places (`q3.order.1`).
//!
//! A field is named by the question's place on the page and the step's id (`q2.total`), never by the question's own
//! id, which would tell its family and where it was drawn.

use std::collections::{BTreeMap, BTreeSet};

use qbank::question::{Item, Step, StepKind};

use super::shown::Shown;
use crate::handlers::form::Fields;
use crate::handlers::marked_view::unbroken;
use crate::pages::quiz::{ANSWER_LENGTH_MAX, FieldLink};
use crate::storage::Responses;
use crate::texts::Texts;
use crate::typing::Typing;

/// What stands between the choices of an order, as marking reads them.
const PLACE_SIGN: &str = ",";
/// The field that names the page; see [`crate::typing`].
const PAGE_FIELD: &str = "page";
/// The field with the revision that the page shows.
const REVISION_FIELD: &str = "revision";

/// The field of one step: `number` counts questions on the page from 1.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct FieldName {
    number: usize,
    step: String,
}

impl FieldName {
    pub(super) fn new(number: usize, step: &Step) -> Self {
        Self { number, step: step.id.to_string() }
    }

    /// Its name in the posted form.
    pub(super) fn name(&self) -> String {
        format!("q{}.{}", self.number, self.step)
    }

    /// Its id on the page.
    pub(super) fn anchor(&self) -> String {
        format!("q{}-{}", self.number, self.step)
    }

    /// Name of the field of one place of an order, from 1.
    pub(super) fn place_name(&self, place: usize) -> String {
        format!("{}.{place}", self.name())
    }

    /// What was typed or chosen: for an order the choices place by place, empty where no place is filled. None where the
    /// form does not have the field.
    fn text(&self, step: &Step, fields: &Fields) -> Option<String> {
        if step.kind != StepKind::Order {
            return fields.find(&self.name()).map(str::to_owned);
        }
        let chosen: Vec<Option<&str>> =
            (1..=step.choices.len()).map(|place| fields.find(&self.place_name(place))).collect();
        if chosen.iter().all(Option::is_none) {
            return None;
        }
        let chosen: Vec<&str> = chosen.into_iter().map(Option::unwrap_or_default).collect();
        Some(if chosen.iter().all(|choice| choice.is_empty()) {
            String::new()
        } else {
            chosen.join(PLACE_SIGN)
        })
    }

    /// The fields that show `text`, each with its value.
    pub(super) fn values(&self, step: &Step, text: &str) -> Vec<(String, String)> {
        match step.kind {
            StepKind::Order => (1..)
                .zip(places(step, text))
                .map(|(place, choice)| (self.place_name(place), choice))
                .collect(),
            _ => vec![(self.name(), text.to_owned())],
        }
    }

    /// A link to it, from a page that shows that.
    pub(super) fn link(&self, texts: &Texts, step: &Step, shown: Shown) -> FieldLink {
        let variables = [("number", self.number.into()), ("prompt", unbroken(&step.prompt).into())];
        let anchor = self.anchor();
        FieldLink {
            address: match shown {
                Shown::Check => format!("?question={}#{anchor}", self.number),
                Shown::All | Shown::Question(_) => format!("#{anchor}"),
            },
            text: texts.with("quiz-field", &variables),
        }
    }
}

/// All fields of these questions, each with its question and step.
pub(super) fn all<'a>(questions: &[&'a Item]) -> impl Iterator<Item = (FieldName, &'a Item, &'a Step)> {
    let numbered: Vec<(usize, &'a Item)> = (1..).zip(questions.iter().copied()).collect();
    numbered.into_iter().flat_map(|(number, item)| {
        item.steps.iter().map(move |step| (FieldName::new(number, step), item, step))
    })
}

/// What a form brings: only of the steps whose fields it has, because a page may show one question alone.
#[derive(Debug, Clone, Default)]
pub(super) struct Typed {
    /// All of it as typed, to show again.
    pub(super) texts: BTreeMap<FieldName, String>,
    /// Fields whose text is longer than [`ANSWER_LENGTH_MAX`].
    pub(super) too_long: BTreeSet<FieldName>,
    /// What may be stored.
    storable: Responses,
}

impl Typed {
    /// Reads the answers to `questions` from a form; other fields are passed over.
    pub(super) fn read(fields: &Fields, questions: &[&Item]) -> Self {
        let mut typed = Self::default();
        for (field, item, step) in all(questions) {
            let Some(text) = field.text(step, fields) else { continue };
            if text.chars().count() > ANSWER_LENGTH_MAX {
                typed.too_long.insert(field.clone());
            } else {
                let steps = typed.storable.entry(item.id.to_string()).or_default();
                steps.insert(step.id.to_string(), text.clone());
            }
            typed.texts.insert(field, text);
        }
        typed
    }

    /// The same as the page that posted it brings it: everything but texts that are too long.
    pub(super) fn typing(&self, fields: &Fields) -> Typing {
        Typing::from_page(fields.value(PAGE_FIELD), fields.value(REVISION_FIELD), self.storable.clone())
    }
}

impl Typed {
    /// What was typed, but for texts that are too long.
    pub(super) fn into_responses(self) -> Responses {
        self.storable
    }
}

/// The stored answer to a step, empty where there is none.
pub(super) fn stored<'a>(responses: &'a Responses, item: &Item, step: &Step) -> &'a str {
    responses.get(item.id.as_str()).and_then(|steps| steps.get(step.id.as_str())).map_or("", String::as_str)
}

/// Whether a step with that answer still waits for one: an order, until every place is filled.
pub(super) fn is_empty(step: &Step, text: &str) -> bool {
    text.trim().is_empty() || places(step, text).iter().any(String::is_empty)
}

/// The choice at each place of an order, empty where none is chosen; nothing for other kinds of step.
pub(super) fn places(step: &Step, text: &str) -> Vec<String> {
    if step.kind != StepKind::Order {
        return Vec::new();
    }
    let mut chosen: Vec<String> = text.split(PLACE_SIGN).map(|choice| choice.trim().to_owned()).collect();
    chosen.resize(step.choices.len(), String::new());
    chosen
}
