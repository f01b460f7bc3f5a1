//! Names of the form's fields, and reading the typed answers out of a posted form.
//!
//! An order has a field for each of its places (`q3.order.1`).
//!
//! A field is named by the question's place on the page and the step's id (`q2.total`), never by the question's own
//! id, which would tell its family and where it was drawn.

use std::collections::BTreeSet;

use qbank::question::{Item, Step, StepKind};

use crate::handlers::form::Fields;
use crate::pages::quiz::{ANSWER_LENGTH_MAX, FieldLink};
use crate::storage::Responses;

/// What stands between the choices of an order, as marking reads them.
const PLACE_SIGN: &str = ",";

/// The field of one step: `number` counts questions on the page from 1.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct FieldName {
    number: usize,
    step: String,
}

impl FieldName {
    pub(super) fn new(number: usize, step: &Step) -> Self {
        Self { number, step: step.id.clone() }
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

    /// What was typed or chosen: for an order the choices place by place, empty where no place is filled.
    fn text(&self, step: &Step, fields: &Fields) -> String {
        if step.kind != StepKind::Order {
            return fields.value(&self.name()).to_owned();
        }
        let chosen: Vec<&str> =
            (1..=step.choices.len()).map(|place| fields.value(&self.place_name(place))).collect();
        if chosen.iter().all(|choice| choice.is_empty()) { String::new() } else { chosen.join(PLACE_SIGN) }
    }

    /// A link to it.
    pub(super) fn link(&self, step: &Step) -> FieldLink {
        FieldLink { anchor: self.anchor(), text: format!("Question {}: {}", self.number, step.prompt) }
    }
}

/// What a pupil typed.
#[derive(Debug, Clone, Default)]
pub(super) struct Typed {
    /// All of it, to show again.
    pub(super) all: Responses,
    /// Links to fields with nothing in them.
    pub(super) empty: Vec<FieldLink>,
    /// Fields whose text is longer than [`ANSWER_LENGTH_MAX`].
    pub(super) too_long: BTreeSet<FieldName>,
    /// Links to those fields.
    pub(super) too_long_links: Vec<FieldLink>,
}

impl Typed {
    /// Reads the answers to `questions` from a form; other fields are passed over.
    pub(super) fn read(fields: &Fields, questions: &[&Item]) -> Self {
        let mut typed = Self::default();
        for (item, number) in questions.iter().zip(1..) {
            let steps = typed.all.entry(item.id.clone()).or_default();
            for step in &item.steps {
                let field = FieldName::new(number, step);
                let text = field.text(step, fields);
                steps.insert(step.id.clone(), text.clone());
                if text.chars().count() > ANSWER_LENGTH_MAX {
                    typed.too_long_links.push(field.link(step));
                    typed.too_long.insert(field);
                } else if text.trim().is_empty() || places(step, &text).iter().any(String::is_empty) {
                    typed.empty.push(field.link(step));
                }
            }
        }
        typed
    }

    /// What may be stored: everything but texts that are too long. Where nothing was typed nothing is stored, but a
    /// question always stands, so that clearing an answer clears the stored one.
    pub(super) fn storable(&self) -> Responses {
        let mut responses = self.all.clone();
        for steps in responses.values_mut() {
            steps.retain(|_, text| !text.is_empty() && text.chars().count() <= ANSWER_LENGTH_MAX);
        }
        responses
    }
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
