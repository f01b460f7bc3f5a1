//! Packages as any program may have written them, read: the manifest, tests, and items for the processor.
//!
//! Packages of QTI 3.0, 2.2 and 2.1 are read whole; of a Common Cartridge 1.3 the manifest, as its questions are of an
//! older version. Nothing is unpacked anywhere: members are read where they lie, one at a time. What is at fault is told
//! with member and line and stops nothing but itself.
//!
//! Our own packages also tell what each item was drawn from ([`claim`]); [`redraw`] draws it again.
pub mod claim;
mod fault;
pub mod hrefs;
pub mod manifest;
pub mod redraw;
pub mod test;

use std::{
    collections::BTreeMap,
    io::{self, BufReader, Read, Seek},
};

pub use self::{
    claim::Claim,
    fault::{OpenError, PackageFault},
    manifest::{Manifest, PackageKind, Resource, ResourceKind},
    test::{ItemRef, Test, TestSection},
};
use crate::{
    archive::reading::ArchiveReader,
    cartridge,
    processor::{
        Fault, Item, Problem,
        document::{Limits, read_document},
        read_item,
    },
    xml::reading::MAX_DOCUMENT,
};

/// Room for most items unpacked, in bytes; longer ones make room for themselves.
const USUAL_ITEM: usize = 16 << 10;

/// The manifest's place in every package.
pub const MANIFEST: &str = "imsmanifest.xml";

/// A package, opened.
pub struct Package<R> {
    archive: ArchiveReader<R>,
    members: BTreeMap<String, usize>,
    /// What it says of itself.
    pub manifest: Manifest,
    /// What is at fault in the manifest alone.
    pub faults: Vec<PackageFault>,
}

impl<R: Read + Seek> Package<R> {
    /// Opens a package and reads its manifest.
    ///
    /// # Errors
    /// [`OpenError`] where there is no package to read.
    pub fn open(input: R) -> Result<Self, OpenError> {
        let mut archive = ArchiveReader::new(input)?;
        let members: BTreeMap<String, usize> =
            archive.paths().into_iter().map(|(index, name)| (name, index)).collect();
        let index = *members.get(MANIFEST).ok_or(OpenError::NoManifest)?;
        let member = archive.member(index)?;
        let (manifest, faults) =
            manifest::read_manifest(BufReader::new(member)).map_err(OpenError::Manifest)?;
        let faults = faults.into_iter().map(|fault| PackageFault::of(MANIFEST, fault)).collect();
        Ok(Self { archive, members, manifest, faults })
    }

    /// The names of all members, in order.
    pub fn members(&self) -> impl Iterator<Item = &str> {
        self.members.keys().map(String::as_str)
    }

    /// Whether there is a member of that name.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.members.contains_key(name)
    }

    /// When the manifest was written, as the archive says.
    #[must_use]
    pub fn stamp(&mut self) -> Option<jiff::Timestamp> {
        let index = *self.members.get(MANIFEST)?;
        self.archive.stamp(index)
    }

    /// Reads an item.
    ///
    /// # Errors
    /// All faults found.
    pub fn item(&mut self, member: &str) -> Result<Item, Vec<PackageFault>> {
        self.content(member).map_err(|fault| vec![fault])?.item(member)
    }

    /// Unpacks a member, as far as a document may be long.
    ///
    /// # Errors
    /// If there is no such member.
    pub fn content(&mut self, member: &str) -> Result<Content, PackageFault> {
        let input = self.open_member(member)?;
        let mut bytes = Vec::with_capacity(USUAL_ITEM);
        let ended = input.take(MAX_DOCUMENT + 1).read_to_end(&mut bytes);
        Ok(Content { bytes, broken: ended.err() })
    }

    /// Reads a test, and what is at fault in it.
    ///
    /// # Errors
    /// The fault that leaves no test to read.
    pub fn test(&mut self, member: &str) -> Result<(Test, Vec<PackageFault>), PackageFault> {
        let input = self.open_member(member)?;
        let document = read_document(BufReader::new(input), &["assessment-test"], Limits::LISTING);
        let document = document.map_err(|fault| PackageFault::of(member, fault))?;
        let (test, faults) = test::read_test(document.root(), document.version);
        Ok((test, faults.into_iter().map(|fault| PackageFault::of(member, fault)).collect()))
    }

    /// Reads questions of QTI 1.2.1, as cartridges hold them.
    ///
    /// # Errors
    /// The fault that leaves none to read.
    pub fn old_questions(&mut self, member: &str) -> Result<cartridge::reading::Document, PackageFault> {
        let input = self.open_member(member)?;
        cartridge::reading::read_document(BufReader::new(input)).map_err(|error| PackageFault {
            member: member.to_owned(),
            line: None,
            problem: Problem::Xml(error.to_string()),
        })
    }

    fn open_member(&mut self, member: &str) -> Result<impl Read + '_, PackageFault> {
        let at = |problem| PackageFault { member: member.to_owned(), line: None, problem };
        let missing = || at(Problem::Unknown { what: "file in the package", name: member.to_owned() });
        let index = *self.members.get(member).ok_or_else(missing)?;
        self.archive.member(index).map_err(|error| at(Problem::Xml(error.to_string())))
    }
}

/// A member that is unpacked and not yet read.
#[derive(Debug)]
pub struct Content {
    bytes: Vec<u8>,
    /// What ended the unpacking too early.
    broken: Option<io::Error>,
}

impl Content {
    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Reads an item.
    ///
    /// # Errors
    /// All faults found.
    pub fn item(&self, member: &str) -> Result<Item, Vec<PackageFault>> {
        let item = match &self.broken {
            None => read_item(&self.bytes[..]),
            // Told in the line that was reached.
            Some(error) => read_item(BufReader::new(self.bytes.chain(Broken(error)))),
        };
        item.map_err(|faults| faults.into_iter().map(|fault| PackageFault::of(member, fault)).collect())
    }
}

/// The end of what could be unpacked.
struct Broken<'e>(&'e io::Error);

impl Read for Broken<'_> {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::Error::new(self.0.kind(), self.0.to_string()))
    }
}

impl PackageFault {
    pub(crate) fn of(member: &str, fault: Fault) -> Self {
        Self { member: member.to_owned(), line: Some(fault.line), problem: fault.problem }
    }
}
