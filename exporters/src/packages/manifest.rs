//! The manifest: what kind of package, which resources with which files, and what catalogues know of them.
//!
//! It is read element by element and not held. Metadata that nothing here needs are passed over.
use std::{
    collections::{BTreeMap, BTreeSet},
    io::BufRead,
};

use smol_str::SmolStr;

use crate::{
    processor::{
        Fault, Problem,
        document::{Limits, told},
    },
    qti::{CaseItem, QtiVersion},
    xml::reading::{Started, Step, XmlReader},
};

/// Most resources of a package.
pub const MAX_RESOURCES: usize = 200_000;

/// What a package says of itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Manifest {
    /// What kind of package.
    pub kind: PackageKind,
    /// Its name for itself: schema and version.
    pub schema: String,
    /// The language of its general metadata.
    pub language: Option<String>,
    /// Its entries in catalogues.
    pub entries: Vec<CatalogEntry>,
    /// In the order written.
    pub resources: Vec<Resource>,
    /// Statements of a curriculum that it names by their publisher's identifier, by code.
    pub case_items: BTreeMap<String, CaseItem>,
}

/// A kind of package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PackageKind {
    /// Questions and tests.
    Qti(QtiVersion),
    /// A Common Cartridge 1.3.
    CommonCartridge13,
    /// Another kind, by its namespace.
    Other(String),
}

/// Something in a catalogue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CatalogEntry {
    /// The catalogue.
    pub catalog: String,
    /// The entry.
    pub entry: String,
}

/// A thing in the package with its files.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Resource {
    /// Its name.
    pub identifier: String,
    /// What it is, as written.
    pub type_name: String,
    /// Where it begins.
    pub href: Option<String>,
    /// All its files, each with its line.
    pub files: Vec<(String, u64)>,
    /// Names of resources that it needs, each with its line.
    pub dependencies: Vec<(String, u64)>,
    /// Its entries in catalogues.
    pub entries: Vec<CatalogEntry>,
    /// Where it stands, from 1.
    pub line: u64,
}

/// What a resource is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResourceKind {
    /// An item of QTI 3.0, 2.2 or 2.1.
    Item,
    /// A test of these versions.
    Test,
    /// Questions of QTI 1.2.1, as cartridges hold them.
    OldQuestions,
    /// Anything else.
    Other,
}

impl Resource {
    /// What it is, by its type.
    #[must_use]
    pub fn kind(&self) -> ResourceKind {
        let of = |stem: &str| {
            let version = self.type_name.strip_prefix(stem).and_then(|rest| rest.strip_prefix("_xml"));
            version.is_some_and(|version| ["v2p1", "v2p2", "v3p0"].contains(&version))
        };
        if of("imsqti_item") {
            ResourceKind::Item
        } else if of("imsqti_test") {
            ResourceKind::Test
        } else if self.type_name.starts_with("imsqti_xmlv1p2") {
            ResourceKind::OldQuestions
        } else {
            ResourceKind::Other
        }
    }
}

const CONTENT_PACKAGING: &str = "http://www.imsglobal.org/xsd/imscp_v1p1";
const CARTRIDGE: &str = "http://www.imsglobal.org/xsd/imsccv1p3/imscp_v1p1";

/// Reads a manifest and what is at fault in it.
///
/// # Errors
/// The fault that leaves no manifest to read.
pub(super) fn read_manifest(input: impl BufRead) -> Result<(Manifest, Vec<Fault>), Fault> {
    let mut xml = XmlReader::limited(input, Limits::LISTING.bytes);
    xml.advance()?;
    let root = xml.started();
    if root.name != "manifest" {
        let found = format!("the element '{}'", told(root.name));
        return Err(Fault::unexpected(root.line, found, "'manifest'"));
    }
    let mut reading = Reading { namespace: root.namespace.to_owned(), ..Reading::default() };
    reading.path.push(root.name.into());
    while let Some(step) = xml.advance()? {
        match step {
            Step::Start => reading.start(xml.started()),
            Step::Text => reading.text += xml.text_here(),
            Step::End => reading.end(),
        }
    }
    Ok(reading.finished())
}

#[derive(Default)]
struct Reading {
    namespace: String,
    path: Vec<SmolStr>,
    text: String,
    schema: Vec<String>,
    language: Option<String>,
    entries: Vec<CatalogEntry>,
    resources: Vec<Resource>,
    in_resource: bool,
    catalog: String,
    label: (String, Option<String>),
    case_items: BTreeMap<String, CaseItem>,
    faults: Vec<Fault>,
}

impl Reading {
    fn start(&mut self, tag: Started<'_>) {
        self.text.clear();
        let own = tag.namespace == self.namespace;
        match (own, tag.name) {
            (true, "resource") => self.resource(tag),
            (true, "file") => self.part(tag, "href", |resource| &mut resource.files),
            (true, "dependency") => self.part(tag, "identifierref", |resource| &mut resource.dependencies),
            (_, "labelledGUID") => self.label = (String::new(), None),
            _ => {}
        }
        self.path.push(tag.name.into());
    }

    fn resource(&mut self, tag: Started<'_>) {
        if self.resources.len() == MAX_RESOURCES {
            let problem = Problem::TooMany { what: "resources", most: MAX_RESOURCES };
            self.faults.push(Fault { line: tag.line, problem });
        }
        let identifier = self.attribute(tag, "identifier");
        let type_name = self.attribute(tag, "type");
        let href = tag.attribute("href").map(str::to_owned);
        self.in_resource = true;
        if self.resources.len() < MAX_RESOURCES {
            self.resources.push(Resource {
                identifier,
                type_name,
                href,
                line: tag.line,
                ..Resource::default()
            });
        }
    }

    fn part(&mut self, tag: Started<'_>, name: &str, list: fn(&mut Resource) -> &mut Vec<(String, u64)>) {
        let value = self.attribute(tag, name);
        if let Some(resource) = self.resources.last_mut().filter(|_| self.in_resource) {
            list(resource).push((value, tag.line));
        }
    }

    fn attribute(&mut self, tag: Started<'_>, name: &str) -> String {
        tag.attribute(name).map(str::to_owned).unwrap_or_else(|| {
            let found = format!("'{}' has no '{name}'", tag.name);
            self.faults.push(Fault::unexpected(tag.line, found, format!("the attribute '{name}'")));
            String::new()
        })
    }

    fn end(&mut self) {
        let name = self.path.pop().unwrap_or_default();
        let text = self.text.as_str();
        let within = self.path.last().map_or("", SmolStr::as_str);
        match (within, name.as_str()) {
            ("metadata", "schema" | "schemaversion") if !self.in_resource => {
                self.schema.push(text.trim().to_owned());
            }
            ("identifier", "catalog") => self.catalog = text.trim().to_owned(),
            ("identifier", "entry") if self.path.iter().any(|name| name == "general") => {
                let entry =
                    CatalogEntry { catalog: std::mem::take(&mut self.catalog), entry: text.to_owned() };
                match self.resources.last_mut().filter(|_| self.in_resource) {
                    Some(resource) => resource.entries.push(entry),
                    None => self.entries.push(entry),
                }
            }
            ("general", "language") if !self.in_resource => self.language = Some(text.trim().to_owned()),
            ("labelledGUID", "label") => self.label.0 = text.trim().to_owned(),
            ("labelledGUID", "caseItemURI") => self.label.1 = Some(text.trim().to_owned()),
            ("labelledGUID", "GUID") => {
                let (code, uri) = std::mem::take(&mut self.label);
                self.case_items.insert(code, CaseItem { identifier: text.trim().to_owned(), uri });
            }
            (_, "resource") => self.in_resource = false,
            _ => {}
        }
        self.text.clear();
    }

    fn finished(mut self) -> (Manifest, Vec<Fault>) {
        self.check_names();
        let schema = self.schema.join(" ");
        let kind = self.kind(&schema);
        self.faults.sort_by_key(|fault| fault.line);
        let Self { language, entries, resources, case_items, faults, .. } = self;
        (Manifest { kind, schema, language, entries, resources, case_items }, faults)
    }

    /// Versions 2.1 and 2.2 share a namespace: the schema's name tells them apart, or else the resources.
    fn kind(&self, schema: &str) -> PackageKind {
        let by_namespace =
            QtiVersion::ALL.into_iter().find(|version| version.dialect().package.namespace == self.namespace);
        match self.namespace.as_str() {
            CARTRIDGE => PackageKind::CommonCartridge13,
            CONTENT_PACKAGING => {
                let names = |version: &&(QtiVersion, &str, &str)| {
                    let (_, name, ending) = version;
                    schema.starts_with(name)
                        || self.resources.iter().any(|resource| resource.type_name.ends_with(ending))
                };
                let versions =
                    [(QtiVersion::V22, "QTIv2.2", "_xmlv2p2"), (QtiVersion::V21, "QTIv2.1", "_xmlv2p1")];
                let version = versions.iter().find(names).map(|(version, ..)| *version);
                version.map_or_else(|| PackageKind::Other(told(&self.namespace)), PackageKind::Qti)
            }
            other => by_namespace.map_or_else(|| PackageKind::Other(told(other)), PackageKind::Qti),
        }
    }

    fn check_names(&mut self) {
        let mut known = BTreeSet::new();
        for resource in &self.resources {
            if !known.insert(resource.identifier.as_str()) {
                let problem = Problem::Twice { what: "resource", name: told(&resource.identifier) };
                self.faults.push(Fault { line: resource.line, problem });
            }
        }
        for (name, line) in self.resources.iter().flat_map(|resource| &resource.dependencies) {
            if !known.contains(name.as_str()) {
                let problem = Problem::Unknown { what: "resource", name: told(name) };
                self.faults.push(Fault { line: *line, problem });
            }
        }
    }
}
