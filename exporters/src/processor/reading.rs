//! An item of the standard from the bytes of its file, whatever its version.
//!
//! All faults of an item are told, not only the first: a declaration, a rule or an interaction that cannot be read is
//! left out, and the rest is read on. What is well-formed but wrong in its references, [`super::references`] tells.
use std::io::BufRead;

use super::{
    body::{Body, InteractionKind},
    declarations::{self, Declaration, Role},
    document::{Element, Limits, read_document, told},
    fault::{Fault, Problem},
    rules::{self, Action, Rule},
};
use crate::qti::QtiVersion;

/// Most variables of one item.
pub const MAX_DECLARATIONS: usize = 2_000;

/// An item of the standard.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// The version it is written in.
    pub version: QtiVersion,
    /// Its name.
    pub identifier: String,
    /// Its title.
    pub title: String,
    /// Whether it goes on from attempt to attempt.
    pub adaptive: bool,
    /// Its variables, in the order written.
    pub declarations: Vec<Declaration>,
    /// Rules that run once, before the first attempt.
    pub template: Vec<Rule>,
    /// Interactions, printed variables and feedback.
    pub body: Body,
    /// How responses become outcomes.
    pub processing: Processing,
    /// Files beside it that it needs, such as pictures.
    pub files: Vec<NamedFile>,
}

/// A file that an item names by an address relative to its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedFile {
    /// The line where it is named, from 1.
    pub line: u64,
    /// The address.
    pub address: String,
}

/// How responses become outcomes.
#[derive(Clone, Debug, PartialEq)]
pub enum Processing {
    /// Not at all: somebody else scores.
    None,
    /// By these rules.
    Rules(Vec<Rule>),
    /// By rules that are not in the item, at this address.
    Elsewhere(String),
}

/// Reads an item.
///
/// # Errors
/// All faults found, in the order of the document.
pub fn read_item(input: impl BufRead) -> Result<Item, Vec<Fault>> {
    let document = read_document(input, &["assessment-item"], Limits::ITEM).map_err(|fault| vec![fault])?;
    let root = document.root();
    let mut faults = Vec::new();
    let identifier = root.required("identifier").unwrap_or_else(|fault| {
        faults.push(fault);
        ""
    });
    let adaptive = root.truth("adaptive", false).unwrap_or_else(|fault| {
        faults.push(fault);
        false
    });
    let mut item = Item {
        version: document.version,
        identifier: identifier.to_owned(),
        title: root.attribute("title").unwrap_or_default().to_owned(),
        adaptive,
        declarations: read_declarations(root, document.version, &mut faults),
        template: Vec::new(),
        body: Body::default(),
        processing: Processing::None,
        files: root.descendants().filter_map(named_file).collect(),
    };
    if let Some(template) = root.first("template-processing") {
        item.template = rules::read_template(template, &mut faults);
    }
    for part in root.children().filter(|part| ["item-body", "modal-feedback"].contains(&part.name)) {
        item.body.add(part, &mut faults);
    }
    if let Some(processing) = root.first("response-processing") {
        item.processing = read_processing(processing, document.version, &mut faults);
    }
    faults.sort_by_key(|fault| fault.line);
    if faults.is_empty() { Ok(item) } else { Err(faults) }
}

/// What an element shows, plays or is dressed by, unless it is at an address of the web or in the element itself.
fn named_file(element: Element<'_>) -> Option<NamedFile> {
    let address = element.attribute(match element.name {
        "img" | "audio" | "video" | "source" | "track" | "iframe" | "embed" => "src",
        "object" => "data",
        "stylesheet" | "assessment-stimulus-ref" => "href",
        _ => return None,
    })?;
    let address = address.trim();
    let elsewhere = address.starts_with("//") || address.split(['/', '?', '#']).next()?.contains(':');
    (!elsewhere).then(|| NamedFile { line: element.line, address: address.to_owned() })
}

fn read_declarations(root: Element<'_>, version: QtiVersion, faults: &mut Vec<Fault>) -> Vec<Declaration> {
    let kinds = ["response-declaration", "outcome-declaration", "template-declaration"];
    let mut found: Vec<Declaration> = Vec::new();
    for element in root.children().filter(|child| kinds.contains(&child.name)) {
        if found.len() == MAX_DECLARATIONS {
            let problem = Problem::TooMany { what: "declarations", most: MAX_DECLARATIONS };
            faults.push(Fault { line: element.line, problem });
            break;
        }
        match declarations::read(element, version) {
            Ok(one) if found.iter().any(|other| other.identifier == one.identifier) => {
                let problem = Problem::Twice { what: "variable", name: told(&one.identifier) };
                faults.push(Fault { line: element.line, problem });
            }
            Ok(one) => found.push(one),
            Err(fault) => faults.push(fault),
        }
    }
    found
}

fn read_processing(element: Element<'_>, version: QtiVersion, faults: &mut Vec<Fault>) -> Processing {
    let rules = rules::read_response(element, faults);
    let address = element.attribute("template").or(element.attribute("template-location"));
    match address.filter(|_| rules.is_empty()) {
        None => Processing::Rules(rules),
        Some(address) => match standard_template(address) {
            Some(text) => Processing::Rules(template_rules(text, version, element.line)),
            None => Processing::Elsewhere(told(address)),
        },
    }
}

/// The rules of a template of the standard, all set in the line where it is named.
fn template_rules(text: &str, version: QtiVersion, line: u64) -> Vec<Rule> {
    let namespace = QtiVersion::V30.dialect().namespace;
    let text = format!("<qti-response-processing xmlns='{namespace}'>{text}</qti-response-processing>");
    let mut document = read_document(text.as_bytes(), &["response-processing"], Limits::ITEM)
        .expect("a template written in this crate can be read");
    document.version = version;
    let mut faults = Vec::new();
    let mut rules = rules::read_response(document.root(), &mut faults);
    debug_assert!(faults.is_empty(), "a template written in this crate has no fault: {faults:?}");
    rules.iter_mut().for_each(|rule| rule.line = line);
    rules
}

/// The templates of the standard by the last part of their address. Addresses differ from version to version, and some
/// end in `.xml`.
fn standard_template(address: &str) -> Option<&'static str> {
    let name = address.trim().rsplit('/').next().unwrap_or_default();
    Some(match name.strip_suffix(".xml").unwrap_or(name) {
        "match_correct" | "CC2_match" | "CC2_match_basic" => {
            "<qti-response-condition><qti-response-if><qti-match><qti-variable identifier='RESPONSE'/><qti-correct \
             identifier='RESPONSE'/></qti-match><qti-set-outcome-value identifier='SCORE'><qti-base-value \
             base-type='float'>1</qti-base-value></qti-set-outcome-value></qti-response-if><qti-response-else>\
             <qti-set-outcome-value identifier='SCORE'><qti-base-value base-type='float'>0</qti-base-value>\
             </qti-set-outcome-value></qti-response-else></qti-response-condition>"
        }
        "map_response" | "CC2_map_response" => {
            "<qti-response-condition><qti-response-if><qti-is-null><qti-variable identifier='RESPONSE'/>\
             </qti-is-null><qti-set-outcome-value identifier='SCORE'><qti-base-value base-type='float'>0\
             </qti-base-value></qti-set-outcome-value></qti-response-if><qti-response-else><qti-set-outcome-value \
             identifier='SCORE'><qti-map-response identifier='RESPONSE'/></qti-set-outcome-value></qti-response-else>\
             </qti-response-condition>"
        }
        "map_response_point" => {
            "<qti-response-condition><qti-response-if><qti-is-null><qti-variable identifier='RESPONSE'/>\
             </qti-is-null><qti-set-outcome-value identifier='SCORE'><qti-base-value base-type='float'>0\
             </qti-base-value></qti-set-outcome-value></qti-response-if><qti-response-else><qti-set-outcome-value \
             identifier='SCORE'><qti-map-response-point identifier='RESPONSE'/></qti-set-outcome-value>\
             </qti-response-else></qti-response-condition>"
        }
        _ => return None,
    })
}

impl Item {
    /// The declaration of a variable.
    #[must_use]
    pub fn declaration(&self, identifier: &str) -> Option<&Declaration> {
        self.declarations.iter().find(|declaration| declaration.identifier == identifier)
    }

    /// Whether every session has numbers of its own.
    #[must_use]
    pub fn is_template(&self) -> bool {
        !self.template.is_empty()
    }

    /// The rules of response processing, as far as they are known.
    #[must_use]
    pub fn response_rules(&self) -> &[Rule] {
        match &self.processing {
            Processing::Rules(rules) => rules,
            Processing::None | Processing::Elsewhere(_) => &[],
        }
    }

    /// What keeps the item from being judged here, in words; `None` if nothing does.
    #[must_use]
    pub fn unjudged(&self) -> Option<String> {
        let other = self.body.interactions.iter().find_map(|interaction| match &interaction.kind {
            InteractionKind::Other(name) => Some(format!("the interaction '{name}' is not played here")),
            _ => None,
        });
        let scored = self.declarations.iter().find_map(|declaration| match &declaration.role {
            Role::Outcome { external: Some(who), .. } => {
                Some(format!("'{}' is scored outside of the item ({who})", declaration.identifier))
            }
            _ => None,
        });
        let processing = match &self.processing {
            Processing::None => Some("it has no response processing: somebody else scores it".to_owned()),
            Processing::Elsewhere(address) => {
                Some(format!("its response processing is elsewhere, at '{address}'"))
            }
            Processing::Rules(_) => None,
        };
        scored.or(processing).or(other).or_else(|| self.unjudged_rule())
    }

    fn unjudged_rule(&self) -> Option<String> {
        let rules = self.template.iter().chain(self.response_rules()).flat_map(Rule::all);
        rules.into_iter().find_map(|rule| {
            if let Action::Unsupported(what) = &rule.action {
                return Some(format!("it uses {what}"));
            }
            let inner = rule.expressions().into_iter().flat_map(|expression| expression.all());
            inner.into_iter().find_map(|expression| expression.operator.unjudged())
        })
    }
}

/// Whether a name is one of the standard's own variables of a session.
pub(super) fn is_built_in(name: &str) -> bool {
    matches!(name, "numAttempts" | "duration" | "completionStatus")
}
