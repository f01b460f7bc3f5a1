//! Common Cartridge 1.3: question banks and quizzes in its profile of QTI 1.2.1, and a link to the live quiz.
//!
//! For platforms that load no later version of the question standard. The profile has neither numbers nor variables nor
//! random selection: typed answers are compared with lists of texts ([`from_item`]), every step is an item of its own,
//! and a quiz holds fixed questions. What is lost by that is told by name ([`report`]). A platform that can launch a
//! tool loses nothing by the link to the live quiz.
//!
//! One way the data flows: [`ItemSource`] -> [`from_item`] -> [`model`] -> documents -> archive. [`reading`] goes from
//! a document back to the [`model`], and [`playing`] answers what was read.
pub mod from_item;
mod link;
mod manifest;
pub mod model;
pub mod playing;
pub mod reading;
pub mod report;
mod spelling;
pub mod write;

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{Seek, Write},
};

use self::{
    manifest::{Kind, Resource},
    model::CartridgeItem,
    report::{CartridgeReport, LeftOut},
};
use smol_str::SmolStr;

use crate::{
    archive::{ArchiveError, ArchiveWriter, EARLIEST, MemberName},
    qti::CaseItem,
    source::{ItemSource, SectionHead, SourceError, try_each},
    xml::XmlError,
};

/// Most items of one question bank. Banks are read as a whole by those who load them; a larger section becomes several.
const BANK_ITEMS: usize = 200;

/// How to write a cartridge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CartridgeOptions {
    /// The time that every file in the cartridge carries.
    pub timestamp: jiff::Timestamp,
    /// Published identifiers of curriculum codes, as far as the caller has them. Never made up.
    pub case_items: BTreeMap<String, CaseItem>,
    /// Whether there is a quiz for each section, with as many of its first questions as the section draws.
    pub quizzes: bool,
    /// The live quiz that the cartridge links to.
    pub live_quiz: Option<LiveQuiz>,
}

/// A quiz that a tool holds ready, and how it is launched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LiveQuiz {
    /// The tool's launch address, with `https` but for development.
    pub launch_url: String,
    /// Parameters that the platform sends along.
    pub custom: BTreeMap<String, String>,
}

impl Default for CartridgeOptions {
    /// With quizzes, without a link, and the earliest time that an archive can hold: equal pools give equal bytes.
    fn default() -> Self {
        Self { timestamp: EARLIEST, case_items: BTreeMap::new(), quizzes: true, live_quiz: None }
    }
}

/// Why items could not become a cartridge.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CartridgeError {
    /// An item in a language for whose feedback there are no words.
    #[error("item '{item}' is in '{locale}'; expected English or Spanish, such as en-US or es-ES")]
    Locale {
        /// The question's id.
        item: String,
        /// Its locale.
        locale: String,
    },
    /// An address that no platform could launch.
    #[error("'{0}' is no launch address; expected one that begins with https:// or http://")]
    LaunchUrl(String),
    /// No step of any item can be expressed.
    #[error("nothing of '{0}' can be carried over")]
    Nothing(String),
    /// A text that XML cannot hold, or bytes that could not be written.
    #[error("{member}: {source}")]
    Xml {
        /// The file in the cartridge.
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

/// Writes items as a cartridge: question banks, quizzes, the link, and last the manifest that lists them. The same items
/// and options give the same bytes. The report grows with what is left out; [`write_cartridge_telling`] keeps nothing.
///
/// # Errors
/// [`CartridgeError`]. What was written until then is no cartridge.
pub fn write_cartridge(
    source: &(impl ItemSource + ?Sized),
    options: &CartridgeOptions,
    out: impl Write + Seek,
) -> Result<CartridgeReport, CartridgeError> {
    let (mut items, mut left_out) = (0, Vec::new());
    let bytes = write_cartridge_telling(source, options, out, &mut |steps, losses| {
        items += steps as u64;
        left_out.extend(losses);
    })?;
    Ok(CartridgeReport { items, left_out, bytes })
}

/// Writes a cartridge as [`write_cartridge`] does, and tells of each question how many items it became and what is left
/// out. The source is gone through once; in memory are the items of one bank and of the quizzes. The size of the
/// cartridge is returned.
///
/// # Errors
/// As [`write_cartridge`].
pub fn write_cartridge_telling(
    source: &(impl ItemSource + ?Sized),
    options: &CartridgeOptions,
    out: impl Write + Seek,
    tell: &mut dyn FnMut(usize, Vec<LeftOut>),
) -> Result<u64, CartridgeError> {
    let mut cartridge = Cartridge {
        archive: ArchiveWriter::new(out, options.timestamp)?,
        sections: source.sections(),
        resources: Vec::new(),
        bank: Bank::default(),
        quizzes: BTreeMap::new(),
    };
    try_each(source, |section, item| {
        let mapped = from_item::map_item(item, &cartridge.sections[section].title)?;
        tell(mapped.items.len(), mapped.left_out);
        cartridge.add(section, mapped.items, &item.standards, options)
    })?;
    cartridge.end_bank()?;
    if cartridge.resources.is_empty() {
        return Err(CartridgeError::Nothing(source.id().to_owned()));
    }
    cartridge.write_quizzes()?;
    if let Some(live_quiz) = &options.live_quiz {
        cartridge.write_link(source.title(), live_quiz)?;
    }
    cartridge.finish(source, options)
}

/// A cartridge as far as it is written.
struct Cartridge<W: Write + Seek> {
    archive: ArchiveWriter<W>,
    sections: Vec<SectionHead>,
    resources: Vec<Resource>,
    bank: Bank,
    /// By section.
    quizzes: BTreeMap<usize, Quiz>,
}

/// The question bank that is being filled.
#[derive(Default)]
struct Bank {
    section: usize,
    /// Which bank of its section, from 1; 0 before the first.
    part: usize,
    items: Vec<CartridgeItem>,
    codes: BTreeSet<String>,
}

/// The items of a quiz.
#[derive(Default)]
struct Quiz {
    questions: u32,
    items: Vec<CartridgeItem>,
    codes: BTreeSet<String>,
}

impl<W: Write + Seek> Cartridge<W> {
    fn add(
        &mut self,
        section: usize,
        items: Vec<CartridgeItem>,
        codes: &[SmolStr],
        options: &CartridgeOptions,
    ) -> Result<(), CartridgeError> {
        if items.is_empty() {
            return Ok(());
        }
        if section != self.bank.section || self.bank.items.len() >= BANK_ITEMS {
            self.end_bank()?;
            let part = if section == self.bank.section { self.bank.part } else { 0 };
            self.bank = Bank { section, part, ..Bank::default() };
        }
        if options.quizzes {
            let quiz = self.quizzes.entry(section).or_default();
            if quiz.questions < self.sections[section].pick {
                quiz.questions += 1;
                quiz.items.extend_from_slice(&items);
                quiz.codes.extend(codes.iter().map(ToString::to_string));
            }
        }
        self.bank.codes.extend(codes.iter().map(ToString::to_string));
        self.bank.items.extend(items);
        Ok(())
    }

    fn end_bank(&mut self) -> Result<(), CartridgeError> {
        if self.bank.items.is_empty() {
            return Ok(());
        }
        self.bank.part += 1;
        let Bank { section, part, .. } = self.bank;
        let identifier = format!("bank_{}_{part}", section + 1);
        let path = MemberName::new(&format!("banks/section-{}-{part}.xml", section + 1))?;
        let items = std::mem::take(&mut self.bank.items);
        let codes = std::mem::take(&mut self.bank.codes);
        self.member(&path, |out| write::write_bank(out, &identifier, &items))?;
        let title = self.sections[section].title.clone();
        self.resources.push(Resource { identifier, path, title, kind: Kind::Bank, codes });
        Ok(())
    }

    fn write_quizzes(&mut self) -> Result<(), CartridgeError> {
        for (section, quiz) in std::mem::take(&mut self.quizzes) {
            let identifier = format!("quiz_{}", section + 1);
            let path = MemberName::new(&format!("quizzes/section-{}.xml", section + 1))?;
            let title = self.sections[section].title.clone();
            self.member(&path, |out| write::write_quiz(out, &identifier, &title, &quiz.items))?;
            self.resources.push(Resource { identifier, path, title, kind: Kind::Quiz, codes: quiz.codes });
        }
        Ok(())
    }

    fn write_link(&mut self, title: &str, live_quiz: &LiveQuiz) -> Result<(), CartridgeError> {
        let url = &live_quiz.launch_url;
        if !url.starts_with("https://") && !url.starts_with("http://") {
            return Err(CartridgeError::LaunchUrl(url.chars().take(80).collect()));
        }
        let path = MemberName::new("links/live-quiz.xml")?;
        self.member(&path, |out| link::write_link(out, title, live_quiz))?;
        self.resources.push(Resource {
            identifier: "live_quiz".to_owned(),
            path,
            title: title.to_owned(),
            kind: Kind::Link,
            codes: BTreeSet::new(),
        });
        Ok(())
    }

    fn finish(
        mut self,
        source: &(impl ItemSource + ?Sized),
        options: &CartridgeOptions,
    ) -> Result<u64, CartridgeError> {
        let manifest = MemberName::new("imsmanifest.xml")?;
        let resources = std::mem::take(&mut self.resources);
        let about = manifest::About { id: source.id(), title: source.title(), locale: source.locale() };
        self.member(&manifest, |out| manifest::write_manifest(out, &about, &resources, &options.case_items))?;
        Ok(self.archive.finish()?)
    }

    fn member(
        &mut self,
        name: &MemberName,
        content: impl FnOnce(&mut dyn Write) -> Result<(), XmlError>,
    ) -> Result<(), CartridgeError> {
        let written = self.archive.member(name, |out| {
            content(out).map_err(|source| CartridgeError::Xml { member: name.as_str().to_owned(), source })
        });
        written.map(drop)
    }
}
