//! Plays exported items from the bytes of their files, in every version in turn: what is judged is what is written.
use std::{cell::Cell, collections::BTreeMap};

use exporters::{
    processor::{self, Play, Response, Session, Value, body::InteractionKind, read_item},
    qti::{QtiVersion, model::AssessmentItem, write::write_item},
};

/// An exported item, read back from its file in every version.
pub(crate) struct Player {
    items: [processor::Item; 3],
    turn: Cell<usize>,
}

/// All variables after the last attempt.
pub(crate) struct Played(BTreeMap<String, Value>);

impl Player {
    pub(crate) fn of(item: &AssessmentItem) -> Self {
        Self { items: QtiVersion::ALL.map(|version| written(item, version)), turn: Cell::new(0) }
    }

    /// Answers the item's steps so many times alike, and keeps what the variables hold then.
    pub(crate) fn play(&self, given: &BTreeMap<String, String>, attempts: u32) -> Played {
        let turn = self.turn.get();
        self.turn.set(turn + 1);
        let item = &self.items[turn % self.items.len()];
        let mut session = Session::begin(item, Play::Drawn("as told")).unwrap();
        let responses = responses(item, given);
        for _ in 0..attempts {
            session.attempt(&responses).unwrap();
        }
        let names = item.declarations.iter().map(|declaration| declaration.identifier.clone());
        Played(names.map(|name| (name.clone(), session.value(&name).clone())).collect())
    }
}

/// An item as it stands in the file of that version.
pub(crate) fn written(item: &AssessmentItem, version: QtiVersion) -> processor::Item {
    let mut bytes = Vec::new();
    write_item(&mut bytes, version.dialect(), item).unwrap();
    let item = read_item(&bytes[..]).unwrap_or_else(|faults| panic!("{faults:?}"));
    assert_eq!(processor::references::broken(&item), []);
    assert_eq!((item.version, item.unjudged()), (version, None));
    item
}

/// Responses by step as responses by variable; the ids of an order have commas between them.
pub(crate) fn responses(
    item: &processor::Item,
    given: &BTreeMap<String, String>,
) -> BTreeMap<String, Response> {
    let mut responses = BTreeMap::new();
    for interaction in &item.body.interactions {
        let step = interaction.response.strip_prefix("RESPONSE_").unwrap();
        let Some(text) = given.get(step).filter(|text| !text.is_empty()) else { continue };
        let response = match &interaction.kind {
            InteractionKind::TextEntry { .. } => Response::Text(text.clone()),
            _ => Response::Chosen(text.split(", ").map(str::to_owned).collect()),
        };
        responses.insert(interaction.response.clone(), response);
    }
    responses
}

impl Played {
    pub(crate) fn float(&self, name: &str) -> Option<f64> {
        self.0.get(name)?.as_float()
    }

    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        self.0.get(name)?.as_text()
    }
}
