//! The form fields for the windows of a quiz: typed texts to windows, and back.

use jiff::Timestamp;

use crate::pages::class::{WindowField, ZoneChoice};
use crate::texts::Texts;
use crate::windows::{Edge, Windows, Zone};

/// The ends of the windows as typed, in the order of [`Edge::ALL`].
pub(super) type Typed = [String; 4];

/// The windows as typed, or what is wrong in a sentence.
pub(super) fn read(texts: &Texts, typed: &Typed, zone: &Zone) -> Result<Windows, String> {
    let mut edges = Vec::new();
    for (edge, typed) in Edge::ALL.into_iter().zip(typed) {
        if !typed.is_empty() {
            let at = zone.read(typed).ok_or_else(|| {
                let which = edge.name().replace('_', "-");
                texts.with("class-times-bad", &[("which", which.into())])
            })?;
            edges.push((edge, at));
        }
    }
    let zone = (!edges.is_empty()).then(|| zone.clone());
    let windows = Windows::placed(edges, zone);
    match (windows.opens_at(), windows.closes_at()) {
        (Some(opens), Some(closes)) if closes <= opens => Err(texts.say("class-times-order")),
        _ => Ok(windows),
    }
}

/// The windows as they would be typed in that zone.
pub(super) fn typed(windows: &Windows, zone: &Zone) -> Typed {
    let written = |at: Timestamp| zone.written(at);
    Edge::ALL.map(|edge| windows.edges.get(&edge).map(|moment| written(moment.at)).unwrap_or_default())
}

/// The fields, their names with that prefix.
pub(super) fn fields(texts: &Texts, prefix: &str, typed: Typed) -> Vec<WindowField> {
    let field = |(edge, value): (Edge, String)| WindowField {
        name: format!("{prefix}{}", edge.name()),
        label: texts.say(label(edge)),
        value,
    };
    Edge::ALL.into_iter().zip(typed).map(field).collect()
}

/// All zones, one of them chosen.
pub(super) fn zones(chosen: &str) -> Vec<ZoneChoice> {
    let choice = |name: String| ZoneChoice { chosen: name == chosen, name };
    Zone::names().into_iter().map(choice).collect()
}

/// The message for an end of a window.
fn label(edge: Edge) -> &'static str {
    match edge {
        Edge::AvailableFrom => "class-times-available-from",
        Edge::AvailableUntil => "class-times-available-until",
        Edge::SubmissionFrom => "class-times-submission-from",
        Edge::SubmissionUntil => "class-times-submission-until",
    }
}
