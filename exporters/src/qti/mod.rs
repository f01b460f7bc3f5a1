//! The open standard for questions and tests: items, a test and a manifest in one package.
//!
//! Supported: QTI 3.0, fixed questions answered by numbers, choices, orders and numbers in words. Later versions of
//! this crate add the 2.x spellings, items that vary themselves, results and cartridges; [`dialect`] and [`model`] are
//! made for that.
//! Never: adaptive items, operators of our own, scripts; such a package would not be portable.
//!
//! One way the data flows: [`qbank::pool::Pool`] -> [`from_item`] -> [`model`] -> [`mod@write`] -> archive.
pub mod dialect;
mod follow_through;
pub mod from_item;
mod from_step;
mod in_words;
mod judging;
mod manifest;
pub mod model;
mod numeral;
pub mod processing;
pub mod report;
pub mod template;
mod test;
pub mod v30;
mod wording;
pub mod write;

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{Seek, Write},
};

use qbank::{
    family::Family,
    pool::{Pool, Section},
    question::Item,
};

use self::{
    dialect::Dialect,
    model::IdentifierError,
    report::{ExportReport, ItemReport, StaysFixed},
    template::{Refusal, Template},
};
use crate::{
    archive::{ArchiveError, ArchiveWriter, MemberName},
    xml::XmlError,
};

/// A version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum QtiVersion {
    /// QTI 3.0
    #[default]
    V30,
}

impl QtiVersion {
    /// How the version spells things.
    #[must_use]
    pub fn dialect(self) -> &'static Dialect {
        match self {
            Self::V30 => &v30::DIALECT,
        }
    }
}

/// When a pupil sees the worked solution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Solution {
    /// Never; the working is not in the package.
    Withheld,
    /// After an answer that leaves nothing to gain: everything is right, or the last attempt is over. Never for a
    /// question left blank.
    #[default]
    AfterLastAttempt,
}

/// A statement of a curriculum as its publisher lists it (CASE 1.1, CFItem).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseItem {
    /// The published identifier, a GUID.
    pub identifier: String,
    /// Its address.
    pub uri: Option<String>,
}

/// How to write a package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackageOptions {
    /// The version of the standard.
    pub version: QtiVersion,
    /// When pupils see the worked solution.
    pub solution: Solution,
    /// How often a pupil may answer a question; 0 is without limit.
    pub attempts: u32,
    /// The time that every file in the package carries.
    pub timestamp: jiff::Timestamp,
    /// Published identifiers of curriculum codes, as far as the caller has them. Never made up.
    pub case_items: BTreeMap<String, CaseItem>,
}

impl PackageOptions {
    /// QTI 3.0, one attempt, the solution after it, no published identifiers.
    #[must_use]
    pub fn new(timestamp: jiff::Timestamp) -> Self {
        Self {
            version: QtiVersion::default(),
            solution: Solution::default(),
            attempts: 1,
            timestamp,
            case_items: BTreeMap::new(),
        }
    }
}

impl Default for PackageOptions {
    /// As [`PackageOptions::new`] with the earliest time that an archive can hold: equal pools give equal bytes.
    fn default() -> Self {
        Self::new(crate::archive::EARLIEST)
    }
}

/// Why a pool could not become a package.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// An item in a language for whose feedback there are no words, or with numbers that engines do not read: the
    /// standard writes floats with a point.
    #[error(
        "item '{item}' is in '{locale}'; expected English or Spanish of a region with a decimal point, \
         such as en-US or es-US"
    )]
    Locale {
        /// The question's id.
        item: String,
        /// Its locale.
        locale: String,
    },
    /// A name that the standard does not take.
    #[error("{place}: {source}")]
    Identifier {
        /// Item and step.
        place: String,
        /// The name, and what was expected.
        source: IdentifierError,
    },
    /// A value with too many digits.
    #[error("item '{item}', step '{step}': a value has too many digits to be exported; expected 28 at most")]
    TooLong {
        /// The question's id.
        item: String,
        /// The step's id.
        step: String,
    },
    /// A text that XML cannot hold, or bytes that could not be written.
    #[error("{member}: {source}")]
    Xml {
        /// The file in the package.
        member: String,
        /// Why.
        source: XmlError,
    },
    /// The archive could not be written.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
}

/// An item and its file.
#[derive(Clone, Debug)]
struct PlacedItem<'p> {
    /// Its identifier in the package.
    id: String,
    /// The question; of a template, one of the questions that it stands for.
    item: &'p Item,
    path: MemberName,
    /// The item, where the platform varies it.
    template: Option<Box<Template>>,
}

/// What the items of a package are.
struct Placed<'p> {
    items: Vec<PlacedItem<'p>>,
    stays_fixed: Vec<StaysFixed>,
}

/// Writes a pool as a package: manifest, test and one file an item, in this order. The same pool and options give
/// the same bytes. One item at a time is held in memory.
///
/// # Errors
/// [`ExportError`], naming the item and step or the file at fault. What was written until then is no package.
pub fn write_package(
    pool: &Pool,
    options: &PackageOptions,
    out: impl Write + Seek,
) -> Result<ExportReport, ExportError> {
    write_placed(pool, Placed { items: place_items(pool)?, stays_fixed: Vec::new() }, options, out)
}

/// Writes a pool as a package in which a section of one of these families has one item that the platform varies
/// itself, given as often as the section is drawn from. Sections that no template expresses keep their questions; the
/// report names them and says why.
///
/// # Errors
/// As [`write_package`].
pub fn write_template_package(
    pool: &Pool,
    families: &[Family],
    options: &PackageOptions,
    out: impl Write + Seek,
) -> Result<ExportReport, ExportError> {
    write_placed(pool, place_templates(pool, families, options)?, options, out)
}

fn write_placed(
    pool: &Pool,
    placed: Placed<'_>,
    options: &PackageOptions,
    out: impl Write + Seek,
) -> Result<ExportReport, ExportError> {
    let dialect = options.version.dialect();
    let Placed { items: placed, stays_fixed } = placed;
    let mut archive = ArchiveWriter::new(out, options.timestamp)?;
    let test = MemberName::new(TEST)?;
    write_member(&mut archive, &MemberName::new("imsmanifest.xml")?, |out| {
        manifest::write_manifest(out, &dialect.package, pool, &test, &placed, options)
    })?;
    write_member(&mut archive, &test, |out| test::write_test(out, dialect, pool, options, &placed))?;
    let mut items = Vec::with_capacity(placed.len());
    let mut left_out = Vec::new();
    for PlacedItem { id, item, path, template } in &placed {
        let (bytes, lost) = match template {
            Some(template) => {
                let write = |out: &mut dyn Write| write::write_item(out, dialect, &template.item);
                (write_member(&mut archive, path, write)?, template.left_out.clone())
            }
            None => {
                let mapped = from_item::map_item(item, options.solution, options.attempts)?;
                let write = |out: &mut dyn Write| write::write_item(out, dialect, &mapped.item);
                (write_member(&mut archive, path, write)?, mapped.left_out)
            }
        };
        items.push(ItemReport { item: id.clone(), path: path.as_str().to_owned(), bytes });
        left_out.extend(lost);
    }
    Ok(ExportReport { items, stays_fixed, left_out, bytes: archive.finish()? })
}

/// The test's file in a package.
const TEST: &str = "test.xml";

fn write_member<W: Write + Seek>(
    archive: &mut ArchiveWriter<W>,
    name: &MemberName,
    content: impl FnOnce(&mut dyn Write) -> Result<(), XmlError>,
) -> Result<u64, ExportError> {
    archive.member(name, |out| {
        content(out).map_err(|source| ExportError::Xml { member: name.as_str().to_owned(), source })
    })
}

/// Gives every item a file of its own. Ids that differ only in letter case get different names.
fn place_items(pool: &Pool) -> Result<Vec<PlacedItem<'_>>, ExportError> {
    let mut files = Files::default();
    pool.items().map(|item| files.placed(item.id.clone(), item, None)).collect()
}

/// One template for each section that has one, the questions of all others.
fn place_templates<'p>(
    pool: &'p Pool,
    families: &[Family],
    options: &PackageOptions,
) -> Result<Placed<'p>, ExportError> {
    let mut files = Files::default();
    let mut placed = Placed { items: Vec::new(), stays_fixed: Vec::new() };
    for section in &pool.sections {
        match section_template(pool, section, families, options) {
            Ok((item, template)) => {
                let id = template.item.identifier.to_string();
                if placed.items.iter().all(|known| known.id != id) {
                    placed.items.push(files.placed(id, item, Some(Box::new(template)))?);
                }
            }
            Err((family, reason)) => {
                placed.stays_fixed.push(StaysFixed { section: section.id.clone(), family, reason });
                for item in &section.items {
                    placed.items.push(files.placed(item.id.clone(), item, None)?);
                }
            }
        }
    }
    Ok(placed)
}

/// The template of a section's family; otherwise the family and why there is none.
fn section_template<'p>(
    pool: &Pool,
    section: &'p Section,
    families: &[Family],
    options: &PackageOptions,
) -> Result<(&'p Item, Template), (String, Refusal)> {
    let first = section.items.first().ok_or_else(|| (String::new(), Refusal::SeveralFamilies))?;
    let named = |reason: Refusal| (first.family.clone(), reason);
    let alike = |item: &Item| (&item.family, item.version) == (&first.family, first.version);
    if !section.items.iter().all(alike) {
        return Err(named(Refusal::SeveralFamilies));
    }
    let family = families.iter().find(|family| family.id == first.family && family.version == first.version);
    let family = family.ok_or_else(|| named(Refusal::UnknownFamily { version: first.version }))?;
    let template = template::map_family(family, &pool.locale, options.solution, options.attempts);
    template.map(|template| (first, template)).map_err(named)
}

/// The files of items, as far as they have names.
#[derive(Default)]
struct Files {
    taken: BTreeSet<MemberName>,
}

impl Files {
    fn placed<'p>(
        &mut self,
        id: String,
        item: &'p Item,
        template: Option<Box<Template>>,
    ) -> Result<PlacedItem<'p>, ExportError> {
        let name = id.to_ascii_lowercase();
        let mut path = MemberName::new(&format!("items/item-{name}.xml"))?;
        let mut copy = 2;
        while !self.taken.insert(path.clone()) {
            path = MemberName::new(&format!("items/item-{name}_{copy}.xml"))?;
            copy += 1;
        }
        Ok(PlacedItem { id, item, path, template })
    }
}
