//! A response record whose texts stay where they were read, in a line of a file.
use std::borrow::Cow;

use serde::{
    Deserialize, Deserializer,
    de::{MapAccess, SeqAccess, Visitor},
};

/// One pupil's responses to one question. What is read here is read by [`super::ResponseRecord`] alike, which also tells
/// what is wrong with all else.
#[derive(Debug, Deserialize)]
pub(super) struct LentRecord<'l> {
    #[serde(borrow)]
    pub(super) pupil: Cow<'l, str>,
    #[serde(borrow)]
    pub(super) question: Cow<'l, str>,
    #[serde(borrow)]
    responses: LentResponses<'l>,
}

/// Responses by step id, in the order of the line.
#[derive(Debug)]
struct LentResponses<'l>(Vec<(Cow<'l, str>, Cow<'l, str>)>);

/// A text, or the ids of an order.
struct LentResponse<'l>(Cow<'l, str>);

/// A name, which most lines hold without escapes.
#[derive(Deserialize)]
struct Name<'l>(#[serde(borrow)] Cow<'l, str>);

impl LentRecord<'_> {
    /// The response to a step; of several the last.
    pub(super) fn response(&self, step: &str) -> &str {
        let LentResponses(responses) = &self.responses;
        let given = responses.iter().rev().find(|(id, _)| id == step);
        given.map_or("", |(_, response)| response)
    }

    /// The steps that are answered.
    pub(super) fn steps(&self) -> impl Iterator<Item = &str> {
        self.responses.0.iter().map(|(id, _)| id.as_ref())
    }
}

impl<'de: 'l, 'l> Deserialize<'de> for LentResponses<'l> {
    fn deserialize<D: Deserializer<'de>>(record: D) -> Result<Self, D::Error> {
        struct Steps;
        impl<'l> Visitor<'l> for Steps {
            type Value = LentResponses<'l>;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("responses by step")
            }

            fn visit_map<M: MapAccess<'l>>(self, mut map: M) -> Result<Self::Value, M::Error> {
                let mut responses = Vec::with_capacity(1);
                while let Some((Name(step), LentResponse(text))) = map.next_entry()? {
                    responses.push((step, text));
                }
                Ok(LentResponses(responses))
            }
        }
        record.deserialize_map(Steps)
    }
}

impl<'de: 'l, 'l> Deserialize<'de> for LentResponse<'l> {
    fn deserialize<D: Deserializer<'de>>(record: D) -> Result<Self, D::Error> {
        struct TextOrIds;
        impl<'l> Visitor<'l> for TextOrIds {
            type Value = LentResponse<'l>;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a text, or a list of ids for an order")
            }

            fn visit_borrowed_str<E>(self, text: &'l str) -> Result<Self::Value, E> {
                Ok(LentResponse(text.into()))
            }

            fn visit_str<E>(self, text: &str) -> Result<Self::Value, E> {
                Ok(LentResponse(text.to_owned().into()))
            }

            fn visit_seq<S: SeqAccess<'l>>(self, mut ids: S) -> Result<Self::Value, S::Error> {
                let mut all: Vec<String> = Vec::new();
                while let Some(id) = ids.next_element()? {
                    all.push(id);
                }
                Ok(LentResponse(all.join(", ").into()))
            }
        }
        record.deserialize_any(TextOrIds)
    }
}
