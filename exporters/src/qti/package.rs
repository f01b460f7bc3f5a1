//! A package from a source of questions, gone through once.
//!
//! Questions are taken in batches of a fixed number. A thread proves those of a batch, writes and packs their files, and with them
//! their share of the test and of the manifest ([`Share`]), which are long and packed in pieces. One thread puts all together in
//! order, so that the package has the same bytes on any number of threads. Items come first in it, then the test and the manifest,
//! whose shares are kept packed until then, in memory or in scratch files: some hundred bytes an item.
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    io::Write,
    ops::ControlFlow,
    sync::Arc,
};

use qbank::{family::Family, question::Item};

use super::{
    ExportError, PackageOptions, from_item, manifest,
    report::{ExportReport, ItemReport, LeftOut, StaysFixed},
    template::{self, Refusal, Template},
    test, write,
};
use crate::{
    archive::{
        ArchiveError, ArchiveWriter, MemberName,
        packing::{Packed, Packer, Piece, Pieces},
        scratch::Scratch,
    },
    in_order::in_order,
    source::{ItemSource, SectionHead, SourceError, Tally, Unproven, try_each},
    xml::XmlError,
};

/// How many questions a batch has. Fixed, because another number gives other pieces.
const BATCH: usize = 128;
/// The files of test and manifest.
const TEST: &str = "test.xml";
const MANIFEST: &str = "imsmanifest.xml";

/// Writes items as a package: one file an item, then the test and the manifest. The same items and options give the same bytes.
/// The report grows with the number of items; [`write_package_telling`] keeps nothing.
///
/// # Errors
/// [`ExportError`], naming the item and step or the file at fault. What was written until then is no package.
pub fn write_package(
    source: &(impl ItemSource + ?Sized),
    options: &PackageOptions,
    out: impl Write,
) -> Result<ExportReport, ExportError> {
    let (mut items, mut left_out) = (Vec::new(), Vec::new());
    let bytes = write_package_telling(source, options, out, &mut |item, losses| {
        items.push(item);
        left_out.extend(losses);
    })?;
    Ok(ExportReport { items, stays_fixed: Vec::new(), left_out, bytes })
}

/// Writes a package as [`write_package`] does, and tells of each item when it is written: where it is, and what it
/// loses. The source is gone through once, and a few batches of items are held in memory. The size of the package is returned.
///
/// # Errors
/// As [`write_package`].
pub fn write_package_telling(
    source: &(impl ItemSource + ?Sized),
    options: &PackageOptions,
    out: impl Write,
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
    out: impl Write,
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
    out: impl Write,
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
    out: impl Write,
    tell: &mut dyn FnMut(ItemReport, Vec<LeftOut>),
    section_begins: &mut dyn FnMut(),
) -> Result<u64, ExportError> {
    let sections = source.sections();
    let context = Context { options, sections: &sections };
    let mut package = Package {
        context: &context,
        archive: ArchiveWriter::with_scratch(out, options.timestamp, options.scratch)?,
        tallies: vec![Tally::default(); sections.len()],
        last: None,
        templates: BTreeMap::new(),
        shares: Shares::kept_in(options.scratch)?,
        tell,
        section_begins,
    };
    in_order(
        options.threads,
        Packer::default,
        |packer, batch| Done::of(&context, packer, batch),
        |give| Ok(templates.feed(source, give)?),
        |done| package.add(done?),
    )?;
    package.finish(source)
}

/// What every thread knows.
#[derive(Clone, Copy)]
pub(super) struct Context<'c> {
    pub(super) options: &'c PackageOptions,
    pub(super) sections: &'c [SectionHead],
}

/// Questions one after the other, on their way to a thread.
#[derive(Default)]
struct Batch<'s> {
    /// The section that has begun before the first of them.
    before: Option<usize>,
    questions: Vec<(usize, Unproven<'s>, Option<InPlace<'s>>)>,
}

/// A template in the place of a section's questions.
#[derive(Clone, Copy)]
struct InPlace<'t> {
    template: &'t Template,
    /// Whether an earlier section has the same one: it is written once.
    again: bool,
}

/// One item of a package.
pub(super) struct Entry<'e> {
    /// Where it stands.
    pub(super) section: usize,
    /// Its identifier in the package.
    pub(super) id: &'e str,
    /// The question; of a template, one of those that it stands for.
    pub(super) item: &'e Item,
    /// The item, where the platform varies it.
    pub(super) template: Option<&'e Template>,
    pub(super) path: &'e MemberName,
    /// Whether it is in the package already.
    again: bool,
}

/// What a batch adds to the long files: pieces of the test's sections, of the list of what the test depends on, and of the list of
/// resources.
struct Share {
    sections: Piece,
    dependencies: Piece,
    resources: Piece,
}

/// The shares of all batches.
struct Shares {
    sections: Pieces,
    dependencies: Pieces,
    resources: Pieces,
}

/// A batch that is proven, written and packed.
struct Done<'s> {
    before: Option<usize>,
    questions: Vec<(usize, Cow<'s, Item>, Option<InPlace<'s>>)>,
    /// Where each item stands, under the names that they have if no other items have them.
    files: Files,
}

/// The files of a batch.
struct Files {
    paths: Vec<MemberName>,
    /// The packed files one after the other, and how long each of them is; none where an item is in the package already.
    packed: Vec<u8>,
    told: Vec<Option<(Packed, Vec<LeftOut>)>>,
    /// None before they are written.
    share: Option<Share>,
}

impl<'s> Done<'s> {
    fn of(context: &Context<'_>, packer: &mut Packer, batch: Batch<'s>) -> Result<Self, ExportError> {
        let mut questions = Vec::with_capacity(batch.questions.len());
        for (section, question, in_place) in batch.questions {
            questions.extend(question.prove()?.map(|item| (section, item, in_place)));
        }
        let name = |(_, item, in_place): &(usize, Cow<'_, Item>, Option<InPlace<'_>>)| {
            path_of(in_place.map_or(&*item.id, |one| one.template.item.identifier.as_str()), 1)
        };
        let paths = questions.iter().map(name).collect::<Result<_, _>>()?;
        let mut done = Self { before: batch.before, questions, files: Files::none(paths) };
        done.write(context, packer)?;
        Ok(done)
    }

    fn entries(&self) -> impl Iterator<Item = Entry<'_>> {
        self.questions.iter().zip(&self.files.paths).map(|((section, item, in_place), path)| Entry {
            section: *section,
            id: in_place.map_or(&*item.id, |one| one.template.item.identifier.as_str()),
            item,
            template: in_place.map(|one| one.template),
            path,
            again: in_place.is_some_and(|one| one.again),
        })
    }

    /// Writes and packs all files, under the names given.
    fn write(&mut self, context: &Context<'_>, packer: &mut Packer) -> Result<(), ExportError> {
        let (mut packed, mut told) = (Vec::new(), Vec::new());
        let mut document = Vec::new();
        for entry in self.entries() {
            if entry.again {
                told.push(None);
                continue;
            }
            document.clear();
            let lost = write_item(context, &entry, &mut document)?;
            told.push(Some((packer.pack(&document, &mut packed), lost)));
        }
        let mut piece = |written: Result<Vec<u8>, XmlError>, member| {
            let written = written.map_err(|source| ExportError::Xml { member, source })?;
            Ok::<_, ExportError>(packer.piece(&written, false))
        };
        let sections = test::sections_of(context, self.before, self.entries());
        let once = || self.entries().filter(|entry| !entry.again);
        let share = Share {
            sections: piece(sections, TEST.to_owned())?,
            dependencies: piece(manifest::dependencies_of(context, once()), MANIFEST.to_owned())?,
            resources: piece(manifest::resources_of(context, once()), MANIFEST.to_owned())?,
        };
        self.files = Files { packed, told, share: Some(share), paths: std::mem::take(&mut self.files.paths) };
        Ok(())
    }
}

impl Files {
    fn none(paths: Vec<MemberName>) -> Self {
        Self { paths, packed: Vec::new(), told: Vec::new(), share: None }
    }
}

/// Writes one item, and tells what it loses.
fn write_item(
    context: &Context<'_>,
    entry: &Entry<'_>,
    document: &mut Vec<u8>,
) -> Result<Vec<LeftOut>, ExportError> {
    let PackageOptions { version, solution, attempts, .. } = *context.options;
    let (mapped, lost) = match entry.template {
        Some(template) => (Cow::Borrowed(&template.item), template.left_out.clone()),
        None => {
            let mapped = from_item::map_item(entry.item, solution, attempts)?;
            (Cow::Owned(mapped.item), mapped.left_out)
        }
    };
    write::write_item(document, version.dialect(), &mapped)
        .map_err(|source| ExportError::Xml { member: entry.path.as_str().to_owned(), source })?;
    Ok(lost)
}

/// The file of an item: its own, the same each time that the items come in the same order. Ids that differ only in letter case
/// get different names, by number.
fn path_of(id: &str, number: u32) -> Result<MemberName, ArchiveError> {
    let id = id.to_ascii_lowercase();
    match number {
        1 => MemberName::new(&format!("items/item-{id}.xml")),
        _ => MemberName::new(&format!("items/item-{id}_{number}.xml")),
    }
}

/// The package as far as it is written.
struct Package<'p, W: Write> {
    context: &'p Context<'p>,
    archive: ArchiveWriter<W>,
    tallies: Vec<Tally>,
    /// The section that has begun last.
    last: Option<usize>,
    /// Where templates are, of which a later section may have the same one.
    templates: BTreeMap<String, MemberName>,
    shares: Shares,
    tell: &'p mut dyn FnMut(ItemReport, Vec<LeftOut>),
    section_begins: &'p mut dyn FnMut(),
}

impl<W: Write> Package<'_, W> {
    fn add(&mut self, mut done: Done<'_>) -> Result<(), ExportError> {
        if let Some(paths) = self.other_paths(&done)? {
            done.files.paths = paths;
            done.write(self.context, &mut Packer::default())?;
        }
        let Files { packed, told, .. } = &done.files;
        let mut from = 0;
        for (entry, told) in done.entries().zip(told) {
            self.tallies[entry.section].count(entry.item);
            if self.last.replace(entry.section) != Some(entry.section) {
                (self.section_begins)();
            }
            let Some((told, lost)) = told else { continue };
            let to = from + usize::try_from(told.packed).expect("it is in memory");
            self.archive.packed_member(entry.path, told, &packed[from..to])?;
            from = to;
            let (item, path) = (entry.id.to_owned(), entry.path.as_str().to_owned());
            (self.tell)(ItemReport { item, path, bytes: told.unpacked }, lost.clone());
        }
        if let Some(share) = &done.files.share {
            self.shares.add(share)?;
        }
        Ok(())
    }

    /// Other names for the items of a batch, if some of theirs are taken by earlier ones.
    fn other_paths(&mut self, done: &Done<'_>) -> Result<Option<Vec<MemberName>>, ArchiveError> {
        let mut own = BTreeSet::new();
        let mut paths = Vec::new();
        for entry in done.entries() {
            let mut path = self.templates.get(entry.id).filter(|_| entry.again).unwrap_or(entry.path).clone();
            let mut number = 2;
            while !entry.again && (self.archive.holds(&path) || own.contains(&path)) {
                path = path_of(entry.id, number)?;
                number += 1;
            }
            if entry.template.is_some() {
                self.templates.insert(entry.id.to_owned(), path.clone());
            }
            own.insert(path.clone());
            paths.push(path);
        }
        Ok((paths != done.files.paths).then_some(paths))
    }

    /// Writes test and manifest, and ends the package.
    fn finish(self, source: &(impl ItemSource + ?Sized)) -> Result<u64, ExportError> {
        let Self { context, mut archive, tallies, last, shares, .. } = self;
        let Shares { sections, dependencies, resources } = shares;
        let in_test = |source| ExportError::Xml { member: TEST.to_owned(), source };
        let around = test::around(context, source, &tallies, last).map_err(in_test)?;
        write_pieces(&mut archive, TEST, around, [sections])?;
        let in_manifest = |source| ExportError::Xml { member: MANIFEST.to_owned(), source };
        let around = manifest::around(context, source, TEST).map_err(in_manifest)?;
        write_pieces(&mut archive, MANIFEST, around, [dependencies, resources])?;
        Ok(archive.finish()?)
    }
}

/// Writes a file of which everything but the shares is given, with the places where these belong.
fn write_pieces<const N: usize>(
    archive: &mut ArchiveWriter<impl Write>,
    name: &str,
    Around { document, gaps }: Around<N>,
    shares: [Pieces; N],
) -> Result<(), ArchiveError> {
    let mut packer = Packer::default();
    let mut given = |from: usize, to: usize, last| {
        let mut pieces = Pieces::kept_in(Scratch::MEMORY)?;
        pieces.add(&packer.piece(&document[from..to], last))?;
        Ok::<_, ArchiveError>(pieces)
    };
    let mut all = Vec::new();
    let mut from = 0;
    for (gap, share) in gaps.into_iter().zip(shares) {
        all.push(given(from, gap, false)?);
        all.push(share);
        from = gap;
    }
    all.push(given(from, document.len(), true)?);
    archive.pieced_member(&MemberName::new(name)?, all)
}

/// A document from which something is left out, and where.
pub(super) struct Around<const N: usize> {
    pub(super) document: Vec<u8>,
    pub(super) gaps: [usize; N],
}

impl Shares {
    fn kept_in(scratch: Scratch) -> Result<Self, ArchiveError> {
        let pieces = || Pieces::kept_in(scratch);
        Ok(Self { sections: pieces()?, dependencies: pieces()?, resources: pieces()? })
    }

    fn add(&mut self, share: &Share) -> Result<(), ArchiveError> {
        self.sections.add(&share.sections)?;
        self.dependencies.add(&share.dependencies)?;
        Ok(self.resources.add(&share.resources)?)
    }
}

/// The sections of a source that a template stands for.
#[derive(Default)]
struct SectionTemplates {
    /// By the section's place, with one of its items; none where its questions are written.
    by_section: Vec<Option<(Arc<Template>, Item)>>,
    stays_fixed: Vec<StaysFixed>,
}

/// What the questions of a section are drawn from.
struct Origin {
    first: Item,
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
                    origin.alike &=
                        (&origin.first.family, origin.first.version) == (&item.family, item.version);
                }
                None => origins.push(Origin { first: item.clone(), alike: true }),
            }
            Ok::<_, ExportError>(())
        })?;
        let mut known = BTreeMap::new();
        let mut templates = Self::default();
        for (section, origin) in source.sections().iter().zip(origins) {
            let key = (origin.first.family.clone(), origin.first.version);
            let mapped = if origin.alike {
                let map = || origin.template(families, source.locale(), options).map(Arc::new);
                known.entry(key).or_insert_with(map).clone()
            } else {
                Err(Refusal::SeveralFamilies)
            };
            if let Err(reason) = &mapped {
                let (section, family) = (section.id.clone(), origin.first.family.to_string());
                templates.stays_fixed.push(StaysFixed { section, family, reason: reason.clone() });
            }
            templates.by_section.push(mapped.ok().map(|template| (template, origin.first)));
            section_known();
        }
        Ok(templates)
    }

    /// Gives out what a package holds in batches: the questions of a source in order, one template in the place of a section's.
    fn feed<'s>(
        &'s self,
        source: &'s (impl ItemSource + ?Sized),
        give: &mut dyn FnMut(Batch<'s>) -> ControlFlow<()>,
    ) -> Result<(), SourceError> {
        let mut batch = Batch::default();
        let mut last = None;
        let mut written: BTreeSet<&str> = BTreeSet::new();
        let mut ended = ControlFlow::Continue(());
        source.visit(&mut |section, question| {
            let template = self.by_section.get(section).and_then(Option::as_ref);
            if template.is_some() && last == Some(section) {
                return ControlFlow::Continue(());
            }
            if batch.questions.len() == BATCH {
                ended = give(std::mem::replace(&mut batch, Batch { before: last, ..Batch::default() }));
            }
            last = Some(section);
            batch.questions.push(match template {
                None => (section, question, None),
                Some((template, item)) => {
                    let again = !written.insert(template.item.identifier.as_str());
                    let question = Unproven::new(|| Ok(Some(Cow::Borrowed(item))));
                    (section, question, Some(InPlace { template, again }))
                }
            });
            ended
        })?;
        if ended.is_continue() && !batch.questions.is_empty() {
            let _ = give(batch);
        }
        Ok(())
    }
}

impl Origin {
    fn template(
        &self,
        families: &[Family],
        locale: &str,
        options: &PackageOptions,
    ) -> Result<Template, Refusal> {
        let version = self.first.version;
        let family =
            families.iter().find(|family| family.id == self.first.family && family.version == version);
        let family = family.ok_or(Refusal::UnknownFamily { version })?;
        template::map_family(family, locale, options.solution, options.attempts)
    }
}
