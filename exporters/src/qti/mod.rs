//! The open standard for questions and tests: items, a test and a manifest in one package.
//!
//! Supported: QTI 3.0, 2.2 and 2.1, fixed questions answered by numbers, choices, orders and numbers in words; the
//! versions differ in what [`dialect`] says and in nothing else.
//! Never: adaptive items, operators of our own, scripts; such a package would not be portable.
//!
//! One way the data flows: [`qbank::pool::Pool`] -> [`from_item`] -> [`model`] -> [`mod@write`] -> archive.
pub mod dialect;
mod follow_through;
pub mod from_item;
mod from_step;
pub(crate) mod in_words;
mod judging;
mod manifest;
pub mod model;
mod numeral;
pub mod processing;
pub mod report;
mod spoken;
pub mod template;
mod test;
pub mod v21;
pub mod v22;
pub mod v30;
pub(crate) mod wording;
pub mod write;

pub(crate) use manifest::{DRAW_CATALOG, FAMILY_CATALOG, RECEIPT_CATALOG, SOLUTION_CATALOG};

use std::{
    borrow::Cow,
    collections::{BTreeMap, HashSet},
    io::{Seek, Write},
    num::NonZeroU32,
    rc::Rc,
};

use qbank::{family::Family, question::Item};

use self::{
    dialect::Dialect,
    model::IdentifierError,
    report::{ExportReport, ItemReport, LeftOut, StaysFixed},
    template::{Refusal, Template},
};
use crate::{
    archive::{ArchiveError, ArchiveWriter, Fingerprint, MemberName},
    source::{ItemSource, SourceError, try_each},
    xml::XmlError,
};

/// A version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum QtiVersion {
    /// QTI 3.0
    #[default]
    V30,
    /// QTI 2.2
    V22,
    /// QTI 2.1
    V21,
}

impl QtiVersion {
    /// All versions, the newest first.
    pub const ALL: [Self; 3] = [Self::V30, Self::V22, Self::V21];

    /// Its number.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::V30 => "3.0",
            Self::V22 => "2.2",
            Self::V21 => "2.1",
        }
    }

    /// How the version spells things.
    #[must_use]
    pub fn dialect(self) -> &'static Dialect {
        match self {
            Self::V30 => &v30::DIALECT,
            Self::V22 => &v22::DIALECT,
            Self::V21 => &v21::DIALECT,
        }
    }
}

/// Who sees the worked solution, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Solution {
    /// Never; the working is not in the package.
    Withheld,
    /// After an answer that leaves nothing to gain: everything is right, or the last attempt is over. Never for a
    /// question left blank.
    #[default]
    AfterLastAttempt,
    /// Never; it stands in the part of the item that only scorers see.
    ForScorers,
}

impl Solution {
    /// Its name in packages and commands.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Withheld => "withheld",
            Self::AfterLastAttempt => "after-last-attempt",
            Self::ForScorers => "for-scorers",
        }
    }
}

/// How long a pupil may work on a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimeLimit {
    /// In seconds.
    pub seconds: NonZeroU32,
    /// Whether answers that come later are taken, too; the platform tells which they are.
    pub late_submission: bool,
}

/// In which order the questions that a test draws from a section come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ordering {
    /// In another order for each pupil.
    #[default]
    Shuffled,
    /// In the order of the pool.
    AsInPool,
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
    /// Who sees the worked solution, and when.
    pub solution: Solution,
    /// How often a pupil may answer a question; 0 is without limit.
    pub attempts: u32,
    /// How long a pupil may work on the whole test; without limit if there is none.
    pub time_limit: Option<TimeLimit>,
    /// In which order a section's questions come.
    pub ordering: Ordering,
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
            time_limit: None,
            ordering: Ordering::default(),
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
    /// The items could not be had.
    #[error(transparent)]
    Source(#[from] SourceError),
}

/// Writes items as a package: manifest, test and one file an item, in this order. The same items and options give
/// the same bytes. The report grows with the number of items; [`write_package_telling`] keeps nothing.
///
/// # Errors
/// [`ExportError`], naming the item and step or the file at fault. What was written until then is no package.
pub fn write_package(
    source: &(impl ItemSource + ?Sized),
    options: &PackageOptions,
    out: impl Write + Seek,
) -> Result<ExportReport, ExportError> {
    let (mut items, mut left_out) = (Vec::new(), Vec::new());
    let bytes = write_package_telling(source, options, out, &mut |item, losses| {
        items.push(item);
        left_out.extend(losses);
    })?;
    Ok(ExportReport { items, stays_fixed: Vec::new(), left_out, bytes })
}

/// Writes a package as [`write_package`] does, and tells of each item when it is written: where it is, and what it
/// loses. The source is gone through several times, and one item at a time is held in memory. The size of the
/// package is returned.
///
/// # Errors
/// As [`write_package`].
pub fn write_package_telling(
    source: &(impl ItemSource + ?Sized),
    options: &PackageOptions,
    out: impl Write + Seek,
    tell: &mut dyn FnMut(ItemReport, Vec<LeftOut>),
) -> Result<u64, ExportError> {
    write_entries(source, &SectionTemplates::default(), options, out, tell, &mut || ())
}

/// Writes a package in which a section of one of these families has one item that the platform varies itself, given as
/// often as the section is drawn from. Sections that no template expresses keep their questions; the report names them
/// and says why.
///
/// # Errors
/// As [`write_package`].
pub fn write_template_package(
    source: &(impl ItemSource + ?Sized),
    families: &[Family],
    options: &PackageOptions,
    out: impl Write + Seek,
) -> Result<ExportReport, ExportError> {
    write_template_package_telling(source, families, options, out, &mut || ())
}

/// As [`write_template_package`]; `step` is called twice for each section of the source: when it is known whether a template
/// stands for it, and when it begins to be written.
///
/// # Errors
/// As [`write_package`].
pub fn write_template_package_telling(
    source: &(impl ItemSource + ?Sized),
    families: &[Family],
    options: &PackageOptions,
    out: impl Write + Seek,
    step: &mut dyn FnMut(),
) -> Result<ExportReport, ExportError> {
    let templates = SectionTemplates::of(source, families, options, step)?;
    let (mut items, mut left_out) = (Vec::new(), Vec::new());
    let mut tell = |item, losses: Vec<LeftOut>| {
        items.push(item);
        left_out.extend(losses);
    };
    let bytes = write_entries(source, &templates, options, out, &mut tell, step)?;
    Ok(ExportReport { items, stays_fixed: templates.stays_fixed, left_out, bytes })
}

fn write_entries(
    source: &(impl ItemSource + ?Sized),
    templates: &SectionTemplates,
    options: &PackageOptions,
    out: impl Write + Seek,
    tell: &mut dyn FnMut(ItemReport, Vec<LeftOut>),
    section_begins: &mut dyn FnMut(),
) -> Result<u64, ExportError> {
    let dialect = options.version.dialect();
    let mut archive = ArchiveWriter::new(out, options.timestamp)?;
    let test = MemberName::new(TEST)?;
    write_member(&mut archive, &MemberName::new("imsmanifest.xml")?, |out| {
        manifest::write_manifest(out, &dialect.package, source, templates, &test, options)
    })?;
    write_member(&mut archive, &test, |out| test::write_test(out, dialect, source, templates, options))?;
    let mut last = None;
    try_each_entry(source, templates, |section, entry| {
        if last.replace(section) != Some(section) {
            section_begins();
        }
        if entry.again {
            return Ok(());
        }
        let (mapped, lost) = match entry.template {
            Some(template) => (Cow::Borrowed(&template.item), template.left_out.clone()),
            None => {
                let mapped = from_item::map_item(entry.item, options.solution, options.attempts)?;
                (Cow::Owned(mapped.item), mapped.left_out)
            }
        };
        let bytes = write_member(&mut archive, &entry.path, |out| write::write_item(out, dialect, &mapped))?;
        tell(ItemReport { item: entry.id.to_owned(), path: entry.path.as_str().to_owned(), bytes }, lost);
        Ok::<_, ExportError>(())
    })?;
    Ok(archive.finish()?)
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

/// The sections of a source that a template stands for.
#[derive(Default)]
struct SectionTemplates {
    /// By the section's place; none where its questions are written.
    by_section: Vec<Option<Rc<Template>>>,
    stays_fixed: Vec<StaysFixed>,
}

/// What the questions of a section are drawn from.
struct Origin {
    family: String,
    version: u32,
    /// Whether all are of the same family and version.
    alike: bool,
}

impl SectionTemplates {
    /// Goes through the source once and maps each family that has a section of its own.
    fn of(
        source: &(impl ItemSource + ?Sized),
        families: &[Family],
        options: &PackageOptions,
        section_known: &mut dyn FnMut(),
    ) -> Result<Self, ExportError> {
        let mut origins: Vec<Origin> = Vec::new();
        try_each(source, |section, item| {
            match origins.get_mut(section) {
                Some(origin) => {
                    origin.alike &= (&origin.family, origin.version) == (&item.family, item.version);
                }
                None => {
                    origins.push(Origin { family: item.family.clone(), version: item.version, alike: true });
                }
            }
            Ok::<_, ExportError>(())
        })?;
        let mut known = BTreeMap::new();
        let mut templates = Self::default();
        for (section, origin) in source.sections().iter().zip(&origins) {
            let key = (origin.family.as_str(), origin.version);
            let mapped = if origin.alike {
                let map = || origin.template(families, source.locale(), options).map(Rc::new);
                known.entry(key).or_insert_with(map).clone()
            } else {
                Err(Refusal::SeveralFamilies)
            };
            if let Err(reason) = &mapped {
                let (section, family) = (section.id.clone(), origin.family.clone());
                templates.stays_fixed.push(StaysFixed { section, family, reason: reason.clone() });
            }
            templates.by_section.push(mapped.ok());
            section_known();
        }
        Ok(templates)
    }
}

impl Origin {
    fn template(
        &self,
        families: &[Family],
        locale: &str,
        options: &PackageOptions,
    ) -> Result<Template, Refusal> {
        let version = self.version;
        let family = families.iter().find(|family| family.id == self.family && family.version == version);
        let family = family.ok_or(Refusal::UnknownFamily { version })?;
        template::map_family(family, locale, options.solution, options.attempts)
    }
}

/// One item of a package.
struct Entry<'e> {
    /// Its identifier in the package.
    id: &'e str,
    /// The question; of a template, one of those that it stands for.
    item: &'e Item,
    /// The item, where the platform varies it.
    template: Option<&'e Template>,
    path: MemberName,
    /// Whether an earlier section has the same template: it is written once.
    again: bool,
}

/// Goes through what a package holds: the questions of a source in order, one template in the place of a section's.
fn try_each_entry<E: From<SourceError> + From<ArchiveError>>(
    source: &(impl ItemSource + ?Sized),
    templates: &SectionTemplates,
    mut each: impl FnMut(usize, &Entry<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let mut placing = Placing::default();
    let mut written: BTreeMap<String, MemberName> = BTreeMap::new();
    let mut last = None;
    try_each(source, |section, item| {
        let first = last.replace(section) != Some(section);
        let Some(template) = templates.by_section.get(section).and_then(Option::as_deref) else {
            let path = placing.place(&item.id)?;
            return each(section, &Entry { id: &item.id, item, template: None, path, again: false });
        };
        if !first {
            return Ok(());
        }
        let id = template.item.identifier.as_str();
        let known = written.get(id).cloned();
        let again = known.is_some();
        let path = known.map_or_else(|| placing.place(id), Ok)?;
        written.insert(id.to_owned(), path.clone());
        each(section, &Entry { id, item, template: Some(template), path, again })
    })
}

/// Gives every item a file of its own, the same each time that the items are gone through in order. Ids that differ
/// only in letter case get different names.
#[derive(Default)]
struct Placing {
    taken: HashSet<Fingerprint>,
}

impl Placing {
    fn place(&mut self, id: &str) -> Result<MemberName, ArchiveError> {
        let name = id.to_ascii_lowercase();
        let mut path = MemberName::new(&format!("items/item-{name}.xml"))?;
        let mut copy = 2;
        while !self.taken.insert(path.fingerprint()) {
            path = MemberName::new(&format!("items/item-{name}_{copy}.xml"))?;
            copy += 1;
        }
        Ok(path)
    }
}
