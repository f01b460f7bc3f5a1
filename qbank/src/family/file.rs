//! The family file as TOML spells it; nothing in it is checked yet. Values that [`super::check`] may complain of carry
//! their place in the file.
use alloc::{
    collections::BTreeMap,
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::Deserialize;
use toml::Spanned;

use crate::{
    accept::{Acceptance, Form, Rule},
    question::StepKind,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FamilyFile {
    pub(super) family: Spanned<String>,
    pub(super) version: Spanned<u32>,
    pub(super) standards: Vec<Spanned<String>>,
    #[serde(default)]
    pub(super) misconceptions: Vec<Spanned<String>>,
    pub(super) given: Vec<GivenFile>,
    #[serde(default)]
    pub(super) require: Vec<Spanned<RequireFile>>,
    pub(super) step: Vec<StepFile>,
    #[serde(default)]
    pub(super) words: WordLists,
    pub(super) text: BTreeMap<Spanned<String>, TextFile>,
}

/// Lists of words for slots.
pub(super) type WordLists = BTreeMap<String, Spanned<Vec<String>>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct GivenFile {
    pub(super) name: Spanned<String>,
    pub(super) unit: Option<Spanned<String>>,
    pub(super) from: Option<Spanned<String>>,
    pub(super) to: Option<Spanned<String>>,
    pub(super) step: Option<Spanned<String>>,
    pub(super) ends: Option<Spanned<Ends>>,
    #[serde(default)]
    pub(super) digits: BTreeMap<Spanned<String>, Spanned<String>>,
    pub(super) values: Option<Spanned<Vec<Spanned<String>>>>,
    pub(super) is: Option<Spanned<String>>,
    pub(super) places: Option<u32>,
    pub(super) mistaken: Option<Spanned<String>>,
    #[serde(default)]
    pub(super) by: Vec<Spanned<String>>,
}

#[derive(Clone, Copy, Deserialize, PartialEq)]
#[serde(rename_all = "lowercase")]
pub(super) enum Ends {
    Nonzero,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RequireFile {
    pub(super) relation: Option<Spanned<String>>,
    pub(super) any: Option<Vec<Spanned<String>>>,
    pub(super) of: Option<Spanned<String>>,
    pub(super) carries: Option<[usize; 2]>,
    pub(super) exchanges: Option<[usize; 2]>,
    pub(super) across_zero: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StepFile {
    pub(super) id: Spanned<String>,
    pub(super) kind: Spanned<StepKind>,
    pub(super) expression: Spanned<String>,
    pub(super) unit: Option<Spanned<String>>,
    #[serde(default = "one_point")]
    pub(super) points: Spanned<u32>,
    pub(super) accept: Option<Spanned<AcceptFile>>,
    pub(super) form: Option<Spanned<Form>>,
    pub(super) choices: Option<Vec<Spanned<String>>>,
    #[serde(default)]
    pub(super) separates: usize,
    #[serde(default)]
    pub(super) control: bool,
    #[serde(default)]
    pub(super) mistakes: Vec<MistakeFile>,
}

/// A rule of acceptance with all its keys and no others: a misspelt one would loosen the rule without a word.
#[derive(Deserialize)]
#[serde(try_from = "BTreeMap<String, toml::Value>")]
pub(super) struct AcceptFile(pub(super) Rule);

impl TryFrom<BTreeMap<String, toml::Value>> for AcceptFile {
    type Error = String;

    fn try_from(keys: BTreeMap<String, toml::Value>) -> Result<Self, String> {
        let name = keys.get("rule").and_then(toml::Value::as_str).unwrap_or_default().to_string();
        let known: &[&str] = match name.as_str() {
            "absolute" => &["tolerance"],
            "relative" => &["percent"],
            "rounded" => &["places", "figures", "ties"],
            "interval" => &["from", "to"],
            // Another name is refused by the rule itself.
            _ => &[],
        };
        if let Some(strange) = keys.keys().find(|key| *key != "rule" && !known.contains(&key.as_str())) {
            let expected = if known.is_empty() { "nothing".into() } else { known.join(", ") };
            return Err(format!(
                "'{strange}' does not belong to rule '{name}'; expected {expected} beside it"
            ));
        }
        toml::Value::Table(keys.into_iter().collect()).try_into().map(Self).map_err(|error| error.to_string())
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MistakeFile {
    pub(super) misconception: Spanned<String>,
    pub(super) expression: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TextFile {
    pub(super) title: Spanned<String>,
    #[serde(default)]
    pub(super) stem: Vec<Spanned<String>>,
    pub(super) prompt: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    pub(super) choice: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    pub(super) words: WordLists,
}

impl StepFile {
    pub(super) fn acceptance(&self) -> Acceptance {
        let rule = self.accept.as_ref().map_or(Rule::Exact, |accept| accept.get_ref().0.clone());
        let form = self.form.as_ref().map(|form| *form.get_ref()).unwrap_or_default();
        Acceptance { rule, form }
    }
}

fn one_point() -> Spanned<u32> {
    Spanned::new(0..0, 1)
}
