//! Reading documents of the cartridge's question profile, ours and others'.
//!
//! Read are the items of a question bank or of a quiz, into the [`model`](super::model). Passed over are what the
//! profile lets stand around them: objectives, rubrics, hints, solutions, pictures. An item that uses what the profile
//! does not have, or more than one response, is told as a [`Problem`] with its line and left out; the rest is read. A
//! document is bounded by [`crate::xml::reading`].
use std::{collections::BTreeSet, io::BufRead};

use super::{
    model::{CartridgeItem, Choice, Choices, Condition, Feedback, Interaction, Material, Profile, Test},
    write::NAMESPACE,
};
use crate::xml::reading::{Node, Tag, XmlReadError, XmlReader};

/// Most items of a document.
pub const MAX_ITEMS: usize = 20_000;

/// Why a document is no bank or quiz of the profile.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CartridgeReadError {
    /// Not readable as XML.
    #[error(transparent)]
    Xml(#[from] XmlReadError),
    /// Another document.
    #[error(
        "line {line}: found '{name}' of the namespace '{namespace}'; expected 'questestinterop' of QTI 1.2.1 in Common \
         Cartridge"
    )]
    Root {
        /// Where.
        line: u64,
        /// The element at the top.
        name: String,
        /// Its namespace.
        namespace: String,
    },
    /// Neither a bank nor a quiz is inside, or more than one.
    #[error("line {line}: found '{name}'; expected one 'objectbank' or one 'assessment'")]
    Content {
        /// Where.
        line: u64,
        /// The element.
        name: String,
    },
    /// More items than are read.
    #[error("line {line}: there are more than {MAX_ITEMS} items")]
    TooMany {
        /// Where.
        line: u64,
    },
}

/// What a document holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// Whether it is a question bank; else it is a quiz.
    pub is_bank: bool,
    /// Its identifier.
    pub identifier: String,
    /// Its items, in order.
    pub items: Vec<CartridgeItem>,
    /// Items that cannot be used, and why.
    pub problems: Vec<Problem>,
}

/// A part of a document that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where, from 1.
    pub line: u64,
    /// Why.
    pub reason: String,
}

/// Reads a document.
///
/// # Errors
/// [`CartridgeReadError`] where the document as a whole cannot be used.
pub fn read_document(input: impl BufRead) -> Result<Document, CartridgeReadError> {
    let mut xml = XmlReader::new(input);
    let Some(Node::Start(root)) = xml.next_node()? else { unreachable!("a document begins with an element") };
    if root.namespace != NAMESPACE || root.name != "questestinterop" {
        return Err(CartridgeReadError::Root {
            line: root.line,
            name: shortened(&root.name),
            namespace: shortened(&root.namespace),
        });
    }
    let mut reading = Reading { xml, document: None, identifiers: BTreeSet::new(), problem: None };
    while let Some(tag) = reading.child()? {
        reading.top(&tag)?;
    }
    let line = reading.xml.line();
    // What follows must still be well-formed.
    while reading.xml.next_node()?.is_some() {}
    reading.document.ok_or(CartridgeReadError::Content { line, name: "nothing".into() })
}

/// A document as far as it is read.
struct Reading<R> {
    xml: XmlReader<R>,
    document: Option<Document>,
    identifiers: BTreeSet<String>,
    /// The first problem of the item that is being read.
    problem: Option<Problem>,
}

/// The parts of an item in any order.
#[derive(Default)]
struct Parts {
    fields: Vec<(String, String)>,
    prompt: Option<Material>,
    interaction: Option<Interaction>,
    /// The name of the response.
    response: String,
    conditions: Vec<Condition>,
    feedback: Vec<Feedback>,
}

impl<R: BufRead> Reading<R> {
    /// The next element inside the one that began last; `None` at its end. Elements of other namespaces are passed
    /// over.
    fn child(&mut self) -> Result<Option<Tag>, XmlReadError> {
        loop {
            match self.xml.next_node()? {
                Some(Node::Start(tag)) if tag.namespace == NAMESPACE => return Ok(Some(tag)),
                Some(Node::Start(_)) => self.xml.skip()?,
                Some(Node::Text(_)) => {}
                Some(Node::End) | None => return Ok(None),
            }
        }
    }

    fn at_fault(&mut self, line: u64, reason: impl Into<String>) {
        self.problem.get_or_insert_with(|| Problem { line, reason: reason.into() });
    }

    fn top(&mut self, tag: &Tag) -> Result<(), CartridgeReadError> {
        let is_bank = tag.name == "objectbank";
        if self.document.is_some() || !(is_bank || tag.name == "assessment") {
            return Err(CartridgeReadError::Content { line: tag.line, name: shortened(&tag.name) });
        }
        let identifier = tag.attribute("ident").unwrap_or_default().to_owned();
        let mut document = Document { is_bank, identifier, items: Vec::new(), problems: Vec::new() };
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "item" if is_bank => self.item(&tag, &mut document)?,
                "section" if !is_bank => self.section(&mut document)?,
                _ => self.xml.skip()?,
            }
        }
        self.document = Some(document);
        Ok(())
    }

    fn section(&mut self, document: &mut Document) -> Result<(), CartridgeReadError> {
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "item" => self.item(&tag, document)?,
                _ => self.xml.skip()?,
            }
        }
        Ok(())
    }

    fn item(&mut self, tag: &Tag, document: &mut Document) -> Result<(), CartridgeReadError> {
        if document.items.len() + document.problems.len() >= MAX_ITEMS {
            return Err(CartridgeReadError::TooMany { line: tag.line });
        }
        self.problem = None;
        let mut parts = Parts::default();
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "itemmetadata" => self.metadata(&mut parts)?,
                "presentation" | "flow" => self.presentation(&mut parts)?,
                "resprocessing" => self.processing(&mut parts)?,
                "itemfeedback" => self.feedback(&tag, &mut parts)?,
                _ => self.xml.skip()?,
            }
        }
        let item = self.whole(tag, parts);
        match (item, self.problem.take()) {
            (Some(item), None) => document.items.push(item),
            (_, problem) => document.problems.extend(problem),
        }
        Ok(())
    }

    /// The item, if its parts make one.
    fn whole(&mut self, tag: &Tag, parts: Parts) -> Option<CartridgeItem> {
        let field =
            |name| parts.fields.iter().find(|(label, _)| label == name).map(|(_, entry)| entry.clone());
        let named = field("cc_profile");
        let identifier = tag.attribute("ident").unwrap_or_default().to_owned();
        let profile = named.as_deref().and_then(Profile::by_name);
        let again = !identifier.is_empty() && !self.identifiers.insert(identifier.clone());
        let fault = match (&profile, &parts.interaction) {
            _ if identifier.is_empty() => Some("the item has no attribute 'ident'".to_owned()),
            _ if again => Some(format!("the item '{}' stands here twice", shortened(&identifier))),
            (None, _) => Some(match &named {
                Some(name) => format!("the profile '{}' is unknown", shortened(name)),
                None => "the item names no 'cc_profile'".to_owned(),
            }),
            (_, None) => Some("the item has no 'response_str' or 'response_lid'".to_owned()),
            _ => shows_unknown(&parts),
        };
        if let Some(fault) = fault {
            self.at_fault(tag.line, fault);
        }
        Some(CartridgeItem {
            identifier,
            title: tag.attribute("title").unwrap_or_default().to_owned(),
            profile: profile?,
            weighting: field("cc_weighting"),
            category: field("cc_question_category"),
            prompt: parts.prompt.unwrap_or(Material::Plain(String::new())),
            interaction: parts.interaction?,
            conditions: parts.conditions,
            feedback: parts.feedback,
        })
    }

    /// Fields of metadata, however deep in the element that began last.
    fn metadata(&mut self, parts: &mut Parts) -> Result<(), XmlReadError> {
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "qtimetadata" => self.metadata(parts)?,
                "qtimetadatafield" => self.field(parts)?,
                _ => self.xml.skip()?,
            }
        }
        Ok(())
    }

    fn field(&mut self, parts: &mut Parts) -> Result<(), XmlReadError> {
        let mut field = (String::new(), String::new());
        while let Some(tag) = self.child()? {
            let text = self.xml.text()?;
            match tag.name.as_str() {
                "fieldlabel" => field.0 = text.trim().to_owned(),
                "fieldentry" => field.1 = text,
                _ => {}
            }
        }
        parts.fields.push(field);
        Ok(())
    }

    fn presentation(&mut self, parts: &mut Parts) -> Result<(), XmlReadError> {
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "flow" => self.presentation(parts)?,
                "material" => {
                    let material = self.material()?;
                    parts.prompt = parts.prompt.take().or(material);
                }
                "response_str" | "response_lid" => self.response(&tag, parts)?,
                name if name.starts_with("response_") => {
                    self.at_fault(tag.line, format!("'{}' is not in the profile", shortened(name)));
                    self.xml.skip()?;
                }
                _ => self.xml.skip()?,
            }
        }
        Ok(())
    }

    /// The first text of a material, if there is one.
    fn material(&mut self) -> Result<Option<Material>, XmlReadError> {
        let mut material = None;
        while let Some(tag) = self.child()? {
            if tag.name != "mattext" || material.is_some() {
                self.xml.skip()?;
                continue;
            }
            let text = self.xml.text()?;
            let html = tag.attribute("texttype") == Some("text/html");
            material = Some(if html { Material::Html(text) } else { Material::Plain(text) });
        }
        Ok(material)
    }

    fn response(&mut self, tag: &Tag, parts: &mut Parts) -> Result<(), XmlReadError> {
        if parts.interaction.is_some() {
            self.at_fault(tag.line, "the item has more than one response");
        }
        parts.response = tag.attribute("ident").unwrap_or_default().to_owned();
        let mut choices = Choices { shuffle: false, choices: Vec::new() };
        while let Some(inner) = self.child()? {
            if inner.name == "render_choice" {
                choices.shuffle = inner.attribute("shuffle") == Some("Yes");
                self.choices(&mut choices.choices)?;
            } else {
                self.xml.skip()?;
            }
        }
        let several = tag.attribute("rcardinality") == Some("Multiple");
        parts.interaction = Some(match (tag.name.as_str(), several) {
            ("response_str", _) => Interaction::Text,
            (_, true) => Interaction::Several(choices),
            (_, false) => Interaction::One(choices),
        });
        Ok(())
    }

    fn choices(&mut self, choices: &mut Vec<Choice>) -> Result<(), XmlReadError> {
        while let Some(tag) = self.child()? {
            match tag.name.as_str() {
                "flow_label" => self.choices(choices)?,
                "response_label" => {
                    let identifier = tag.attribute("ident").unwrap_or_default().to_owned();
                    if identifier.is_empty() || choices.iter().any(|known| known.identifier == identifier) {
                        self.at_fault(tag.line, "a choice has no 'ident' of its own");
                    }
                    let text = self.text_of()?.unwrap_or(Material::Plain(String::new()));
                    choices.push(Choice { identifier, text });
                }
                _ => self.xml.skip()?,
            }
        }
        Ok(())
    }

    /// The first text inside the element that began last, straight or in a flow.
    fn text_of(&mut self) -> Result<Option<Material>, XmlReadError> {
        let mut text = None;
        while let Some(tag) = self.child()? {
            let found = match tag.name.as_str() {
                "material" => self.material()?,
                "flow_mat" => self.text_of()?,
                _ => {
                    self.xml.skip()?;
                    None
                }
            };
            text = text.or(found);
        }
        Ok(text)
    }

    fn processing(&mut self, parts: &mut Parts) -> Result<(), XmlReadError> {
        while let Some(tag) = self.child()? {
            if tag.name == "respcondition" {
                let condition = self.condition(&tag, &parts.response)?;
                parts.conditions.extend(condition);
            } else {
                self.xml.skip()?;
            }
        }
        Ok(())
    }

    fn condition(&mut self, tag: &Tag, response: &str) -> Result<Option<Condition>, XmlReadError> {
        let (mut test, mut score, mut shows) = (None, None, Vec::new());
        while let Some(inner) = self.child()? {
            match inner.name.as_str() {
                "conditionvar" => {
                    let tests = self.tests(response)?;
                    test = test.or(joined(tests));
                }
                "setvar" => {
                    let line = inner.line;
                    let to = self.xml.text()?.trim().to_owned();
                    let name = inner.attribute("varname").unwrap_or("SCORE");
                    let sets = inner.attribute("action").unwrap_or("Set") == "Set";
                    if name != "SCORE" || !sets || !is_score(&to) {
                        self.at_fault(line, "a condition does not set SCORE to a number from 0 to 100");
                    }
                    score = Some(to);
                }
                "displayfeedback" => {
                    shows.extend(inner.attribute("linkrefid").map(str::to_owned));
                    self.xml.skip()?;
                }
                _ => self.xml.skip()?,
            }
        }
        let Some(test) = test else {
            self.at_fault(tag.line, "a condition tests nothing");
            return Ok(None);
        };
        let continues = tag.attribute("continue") == Some("Yes");
        Ok(Some(Condition { test, score, shows, continues }))
    }

    /// The tests inside the element that began last. The depth is limited by that of the document.
    fn tests(&mut self, response: &str) -> Result<Vec<Test>, XmlReadError> {
        let mut tests = Vec::new();
        while let Some(tag) = self.child()? {
            let case = tag.attribute("case") == Some("Yes");
            if tag.attribute("respident").is_some_and(|named| named != response) {
                self.at_fault(tag.line, "a test is about a response that the item does not have");
            }
            match tag.name.as_str() {
                "varequal" => tests.push(Test::Equals { text: self.xml.text()?, case }),
                "varsubstring" => tests.push(Test::Contains { text: self.xml.text()?, case }),
                "unanswered" => {
                    self.xml.skip()?;
                    tests.push(Test::Unanswered);
                }
                "other" => {
                    self.xml.skip()?;
                    tests.push(Test::Other);
                }
                "and" => tests.push(Test::And(self.tests(response)?)),
                "or" => tests.push(Test::Or(self.tests(response)?)),
                "not" => match joined(self.tests(response)?) {
                    Some(test) => tests.push(Test::Not(Box::new(test))),
                    None => self.at_fault(tag.line, "'not' holds nothing"),
                },
                name => {
                    self.at_fault(tag.line, format!("the test '{}' is not in the profile", shortened(name)));
                    self.xml.skip()?;
                }
            }
        }
        Ok(tests)
    }

    fn feedback(&mut self, tag: &Tag, parts: &mut Parts) -> Result<(), XmlReadError> {
        let identifier = tag.attribute("ident").unwrap_or_default().to_owned();
        if identifier.is_empty() || parts.feedback.iter().any(|known| known.identifier == identifier) {
            self.at_fault(tag.line, "feedback has no 'ident' of its own");
        }
        let text = self.text_of()?.unwrap_or(Material::Plain(String::new()));
        parts.feedback.push(Feedback { identifier, text });
        Ok(())
    }
}

/// Several tests side by side. Two texts cannot both be the response, so they are taken as alternatives; all else must
/// hold together, as the standard says.
fn joined(mut tests: Vec<Test>) -> Option<Test> {
    let texts = tests.iter().all(|test| matches!(test, Test::Equals { .. } | Test::Contains { .. }));
    match tests.len() {
        0 => None,
        1 => tests.pop(),
        _ if texts => Some(Test::Or(tests)),
        _ => Some(Test::And(tests)),
    }
}

/// A number from 0 to 100 in digits, perhaps with a point.
fn is_score(text: &str) -> bool {
    let hundred = qbank::decimal::Decimal::from(100_u32);
    text.parse::<qbank::decimal::Decimal>().is_ok_and(|score| !score.is_negative() && score <= hundred)
}

fn shows_unknown(parts: &Parts) -> Option<String> {
    let known = |name: &&String| parts.feedback.iter().any(|feedback| feedback.identifier == **name);
    let mut shown = parts.conditions.iter().flat_map(|condition| &condition.shows);
    let unknown = shown.find(|name| !known(name))?;
    Some(format!("the feedback '{}' is shown but not there", shortened(unknown)))
}

fn shortened(text: &str) -> String {
    text.chars().take(60).collect()
}
