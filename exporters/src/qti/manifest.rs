//! The manifest of a package: every file, and what a catalogue wants to know of each item.
//!
//! Curriculum codes stand in two places. The general metadata classify an item by its codes, as the field writes
//! them (`5.NBT.B.7`). The curriculum standards metadata of the packages demand a GUID for each statement, the
//! identifier under which a publisher of standards lists it. A GUID made up from the code would claim a listing that
//! does not exist, so a statement is written there only when the caller knows its published identifier
//! ([`CaseItem`]), with the code as its label.
//!
//! Beside an item's own name stand what it was drawn from and its receipt, so that anyone with the families can draw it
//! again and compare. Everything else of a pool is in the test and in the package's title and language: a package can
//! be read back into the pool it was made from.
use qbank::question::{Item, ProvenStep, Step, StepKind};

use smol_str::SmolStr;

use super::{
    CaseItem, PackageOptions, Solution,
    dialect::PackageDialect,
    from_step::compared,
    package::{Around, Context, Entry},
    write::{SCHEMA_INSTANCE, TOOL_NAME, TOOL_VERSION},
};
use crate::{
    source::ItemSource,
    xml::{Content, Element, XmlError, XmlWriter},
};

type Written = Result<(), XmlError>;

const LOM: &str = "http://ltsc.ieee.org/xsd/LOM";
const LOM_SCHEME: &str = "LOMv1.0";
/// Catalogue of what an item was drawn from: family, version, position, locale and seed, a blank between each. The seed
/// comes last: it alone may hold blanks.
pub(crate) const DRAW_CATALOG: &str = "tenths draw";
/// Catalogue of receipts: the fingerprint of an item's record.
pub(crate) const RECEIPT_CATALOG: &str = "tenths receipt";
/// Catalogue of what the package does with worked solutions.
pub(crate) const SOLUTION_CATALOG: &str = "tenths solution";
/// Identifier of the manifest itself. The underscore keeps it apart from every id of a pool.
const MANIFEST: &str = "package_manifest";
/// The standards that a question's codes belong to.
const CODE_SOURCE: &str = "Common Core State Standards for Mathematics";

/// Catalogue of the families that templates come from: name, version and locale, a blank between each.
pub(crate) const FAMILY_CATALOG: &str = "tenths family";

/// In how many elements a resource stands, and what a resource depends on.
const DEPTHS: [usize; 2] = [2, 3];

/// Writes the manifest of a package of one test and its items, without what the test depends on and without the items' resources.
pub(super) fn around(
    context: &Context<'_>,
    source: &(impl ItemSource + ?Sized),
    test: &str,
) -> Result<Around<2>, XmlError> {
    let dialect = &context.options.version.dialect().package;
    let mut writer = ManifestWriter { xml: XmlWriter::new(Vec::new())?, dialect, options: context.options };
    let gaps = writer.manifest(source, test)?;
    Ok(Around { document: writer.xml.finish()?, gaps })
}

/// That the test depends on these items.
pub(super) fn dependencies_of<'e>(
    context: &Context<'_>,
    entries: impl Iterator<Item = Entry<'e>>,
) -> Result<Vec<u8>, XmlError> {
    let mut writer = ManifestWriter::part(context, DEPTHS[1]);
    for entry in entries {
        writer.xml.empty(Element::new("dependency").attribute("identifierref", entry.id))?;
    }
    writer.xml.finish_fragment()
}

/// The resources of these items.
pub(super) fn resources_of<'e>(
    context: &Context<'_>,
    mut entries: impl Iterator<Item = Entry<'e>>,
) -> Result<Vec<u8>, XmlError> {
    let mut writer = ManifestWriter::part(context, DEPTHS[0]);
    let mut known = Vec::new();
    entries.try_for_each(|entry| {
        let alike = match known.iter().position(|known: &Alike| known.has(&entry)) {
            Some(place) => place,
            None => {
                known.push(Alike::written(context, &entry)?);
                known.len() - 1
            }
        };
        writer.item_resource(&entry, &known[alike])
    })?;
    writer.xml.finish_fragment()
}

/// The metadata of items that differ in nothing but what identifies them, as most of a family do: written once.
struct Alike {
    template: bool,
    steps: usize,
    kinds: Vec<&'static str>,
    version: u32,
    locale: SmolStr,
    standards: Vec<SmolStr>,
    difficulty: u8,
    title: SmolStr,
    /// What stands before what identifies an item, and behind it.
    written: [String; 2],
}

impl Alike {
    fn written(context: &Context<'_>, entry: &Entry<'_>) -> Result<Self, XmlError> {
        let Entry { item, template, .. } = *entry;
        let mut writer = ManifestWriter::part(context, DEPTHS[0] + 1);
        let gap = writer.item_metadata(entry)?;
        let mut before = String::from_utf8(writer.xml.finish_fragment()?).expect("XML is written as text");
        let behind = before.split_off(gap);
        Ok(Self {
            template: template.is_some(),
            steps: item.steps.len(),
            kinds: interaction_types(item),
            version: item.version,
            locale: item.locale.clone(),
            standards: item.standards.clone(),
            difficulty: item.difficulty,
            title: item.title.clone(),
            written: [before, behind],
        })
    }

    fn has(&self, entry: &Entry<'_>) -> bool {
        let Entry { item, template, .. } = *entry;
        self.template == template.is_some()
            && self.steps == item.steps.len()
            && self.version == item.version
            && self.difficulty == item.difficulty
            && self.title == item.title
            && self.locale == item.locale
            && self.standards == item.standards
            && self.kinds == interaction_types(item)
    }
}

struct ManifestWriter<'o> {
    xml: XmlWriter<Vec<u8>>,
    dialect: &'static PackageDialect,
    options: &'o PackageOptions,
}

impl<'o> ManifestWriter<'o> {
    /// What stands inside so many elements.
    fn part(context: &Context<'o>, depth: usize) -> Self {
        let dialect = &context.options.version.dialect().package;
        Self { xml: XmlWriter::fragment(Vec::new(), depth), dialect, options: context.options }
    }
}

impl ManifestWriter<'_> {
    /// Tells where what is left out belongs.
    fn manifest(&mut self, source: &(impl ItemSource + ?Sized), test: &str) -> Result<[usize; 2], XmlError> {
        let PackageDialect { namespace, schema_location, .. } = self.dialect;
        let mut gaps = [0; 2];
        let manifest = Element::new("manifest")
            .attribute("xmlns", namespace)
            .attribute("xmlns:xsi", SCHEMA_INSTANCE)
            .attribute("xsi:schemaLocation", schema_location)
            .attribute("identifier", MANIFEST);
        self.parent(manifest, |w| {
            w.parent(Element::new("metadata"), |w| {
                w.text("schema", w.dialect.schema_name)?;
                w.text("schemaversion", w.dialect.schema_version)?;
                w.package_metadata(source)
            })?;
            w.xml.empty(Element::new("organizations"))?;
            w.parent(Element::new("resources"), |w| {
                w.parent(resource(source.id(), w.dialect.test_type, test), |w| {
                    w.xml.empty(Element::new("file").attribute("href", test))?;
                    gaps[0] = w.xml.gap()?;
                    Ok(())
                })?;
                gaps[1] = w.xml.gap()?;
                Ok(())
            })
        })?;
        Ok(gaps)
    }

    fn item_resource(&mut self, entry: &Entry<'_>, alike: &Alike) -> Written {
        let Entry { id, path, .. } = *entry;
        let [before, behind] = &alike.written;
        self.parent(resource(id, self.dialect.item_type, path.as_str()), |w| {
            w.xml.written(before)?;
            w.xml.deeper(METADATA_DEPTH, |xml| identifiers(xml, entry))?;
            w.xml.written(behind)?;
            w.xml.empty(Element::new("file").attribute("href", path.as_str()))
        })
    }

    fn parent(&mut self, element: Element<'_>, children: impl FnOnce(&mut Self) -> Written) -> Written {
        let open = self.xml.begin(element, Content::Lines)?;
        children(self)?;
        self.xml.end(open)
    }

    fn text(&mut self, name: &str, text: &str) -> Written {
        self.xml.text_element(Element::new(name), text)
    }
}

/// General metadata (IEEE LOM, XML binding).
impl ManifestWriter<'_> {
    fn package_metadata(&mut self, source: &(impl ItemSource + ?Sized)) -> Written {
        self.lom(|w| {
            let policy = [(SOLUTION_CATALOG, w.options.solution.name().to_owned())];
            w.general(source.title(), source.locale(), |w| {
                identifier(&mut w.xml, TOOL_NAME, source.id())?;
                policy.iter().try_for_each(|(catalog, entry)| identifier(&mut w.xml, catalog, entry))
            })?;
            w.meta_metadata()
        })
    }

    /// All metadata of an item, but for what identifies it; tells where that belongs.
    fn item_metadata(&mut self, entry: &Entry<'_>) -> Result<usize, XmlError> {
        let Entry { item, template, .. } = *entry;
        let mut gap = 0;
        self.parent(Element::new("metadata"), |w| {
            w.qti_metadata(item, template.is_some())?;
            w.curriculum_metadata(item)?;
            w.lom(|w| {
                w.general(&item.title, &item.locale, |w| {
                    gap = w.xml.gap()?;
                    Ok(())
                })?;
                w.parent(Element::new("lifeCycle"), |w| {
                    w.parent(Element::new("version"), |w| w.string("en", &item.version.to_string()))?;
                    w.vocabulary("status", "final")
                })?;
                w.meta_metadata()?;
                w.educational(item)?;
                if item.standards.is_empty() { Ok(()) } else { w.classification(&item.standards) }
            })
        })?;
        Ok(gap)
    }

    fn lom(&mut self, children: impl FnOnce(&mut Self) -> Written) -> Written {
        self.parent(Element::new("lom").attribute("xmlns", LOM), children)
    }

    fn general(
        &mut self,
        title: &str,
        language: &str,
        identifiers: impl FnOnce(&mut Self) -> Written,
    ) -> Written {
        self.parent(Element::new("general"), |w| {
            identifiers(w)?;
            w.parent(Element::new("title"), |w| w.string(language, title))?;
            w.text("language", language)
        })
    }

    fn meta_metadata(&mut self) -> Written {
        self.parent(Element::new("metaMetadata"), |w| {
            w.text("metadataSchema", LOM_SCHEME)?;
            w.text("metadataSchema", w.dialect.metadata_scheme)
        })
    }

    /// Who the item is for, and how hard it is for them (LOM 1.0, category 5).
    fn educational(&mut self, item: &Item) -> Written {
        self.parent(Element::new("educational"), |w| {
            w.vocabulary("interactivityType", "active")?;
            w.vocabulary("learningResourceType", "exercise")?;
            w.vocabulary("intendedEndUserRole", "learner")?;
            w.vocabulary("context", "school")?;
            if let Some(ages) = typical_ages(&item.standards) {
                w.parent(Element::new("typicalAgeRange"), |w| w.string("en", &ages))?;
            }
            w.vocabulary("difficulty", difficulty(item.difficulty))?;
            w.text("language", &item.locale)
        })
    }

    fn classification(&mut self, codes: &[SmolStr]) -> Written {
        self.parent(Element::new("classification"), |w| {
            w.vocabulary("purpose", "educational objective")?;
            codes.iter().try_for_each(|code| {
                w.parent(Element::new("taxonPath"), |w| {
                    w.parent(Element::new("source"), |w| w.string("en", CODE_SOURCE))?;
                    w.parent(Element::new("taxon"), |w| w.text("id", code))
                })
            })
        })
    }

    fn vocabulary(&mut self, name: &str, value: &str) -> Written {
        self.parent(Element::new(name), |w| {
            w.text("source", LOM_SCHEME)?;
            w.text("value", value)
        })
    }

    fn string(&mut self, language: &str, text: &str) -> Written {
        self.xml.text_element(Element::new("string").attribute("language", language), text)
    }
}

/// The standard's own metadata, and curriculum standards.
impl ManifestWriter<'_> {
    fn qti_metadata(&mut self, item: &Item, template: bool) -> Written {
        let metadata = Element::new("qtiMetadata").attribute("xmlns", self.dialect.metadata_namespace);
        self.parent(metadata, |w| {
            w.text("itemTemplate", if template { "true" } else { "false" })?;
            w.text("timeDependent", "false")?;
            w.text("composite", if item.steps.len() > 1 { "true" } else { "false" })?;
            interaction_types(item).iter().try_for_each(|kind| w.text("interactionType", kind))?;
            w.text("feedbackType", "nonadaptive")?;
            w.text(
                "solutionAvailable",
                if w.options.solution == Solution::Withheld { "false" } else { "true" },
            )?;
            if w.dialect.scoring_mode {
                w.text("scoringMode", "responseprocessing")?;
            }
            w.text("toolName", TOOL_NAME)?;
            w.text("toolVersion", TOOL_VERSION)
        })
    }

    fn curriculum_metadata(&mut self, item: &Item) -> Written {
        let case_items = &self.options.case_items;
        let known: Vec<(&SmolStr, &CaseItem)> =
            item.standards.iter().filter_map(|code| Some((code, case_items.get(code.as_str())?))).collect();
        let Some(namespace) = self.dialect.curriculum_namespace.filter(|_| !known.is_empty()) else {
            return Ok(());
        };
        let set = Element::new("curriculumStandardsMetadataSet").attribute("xmlns", namespace);
        self.parent(set, |w| {
            w.parent(Element::new("curriculumStandardsMetadata"), |w| {
                w.parent(Element::new("setOfGUIDs"), |w| {
                    known.iter().try_for_each(|(code, case_item)| w.labelled_guid(code, case_item))
                })
            })
        })
    }

    fn labelled_guid(&mut self, code: &str, case_item: &CaseItem) -> Written {
        self.parent(Element::new("labelledGUID"), |w| {
            w.text("label", code)?;
            if let (true, Some(uri)) = (w.dialect.case_item_uri, &case_item.uri) {
                w.text("caseItemURI", uri)?;
            }
            w.text("GUID", &case_item.identifier)
        })
    }
}

/// Inside how many elements what identifies an item stands in its resource: `metadata`, `lom` and `general`.
const METADATA_DEPTH: usize = 3;

/// What identifies an item: its name, what it was drawn from, and its receipt.
fn identifiers(xml: &mut XmlWriter<Vec<u8>>, entry: &Entry<'_>) -> Written {
    let Entry { id, item, template, .. } = *entry;
    identifier(xml, TOOL_NAME, id)?;
    if template.is_some() {
        let family = format!("{} {} {}", item.family, item.version, item.locale);
        return identifier(xml, FAMILY_CATALOG, &family);
    }
    identifier(xml, DRAW_CATALOG, &draw(item))?;
    identifier(xml, RECEIPT_CATALOG, &item.receipt)
}

fn identifier(xml: &mut XmlWriter<Vec<u8>>, catalog: &str, entry: &str) -> Written {
    xml.lines(Element::new("identifier"), |xml| {
        xml.text_element(Element::new("catalog"), catalog)?;
        xml.text_element(Element::new("entry"), entry)
    })
}

fn resource<'e>(identifier: &'e str, kind: &'e str, path: &'e str) -> Element<'e> {
    Element::new("resource")
        .attribute("identifier", identifier)
        .attribute("type", kind)
        .attribute("href", path)
}

/// What the item was drawn from, as an entry of [`DRAW_CATALOG`].
fn draw(item: &Item) -> String {
    format!("{} {} {} {} {}", item.family, item.version, item.position, item.locale, item.seed)
}

/// The ages of the grades for which codes such as `5.NBT.B.7` are, as in '9-11': pupils of grade 4 are 9 to 10.
fn typical_ages(codes: &[SmolStr]) -> Option<String> {
    let grades = codes.iter().filter_map(|code| code.split('.').next()?.parse::<u32>().ok());
    let (least, most) = grades.fold(None, |range: Option<(u32, u32)>, grade| {
        let (least, most) = range.unwrap_or((grade, grade));
        Some((least.min(grade), most.max(grade)))
    })?;
    Some(format!("{}-{}", least + 5, most + 6))
}

/// LOM 1.0, element 5.8.
fn difficulty(difficulty: u8) -> &'static str {
    match difficulty {
        0 | 1 => "very easy",
        2 => "easy",
        3 => "medium",
        4 => "difficult",
        _ => "very difficult",
    }
}

/// Each kind of interaction used, once.
fn interaction_types(item: &Item) -> Vec<&'static str> {
    let steps = item.steps_proven();
    let mut kinds: Vec<&'static str> =
        steps.map(|(step, proven)| interaction_type(item, step, proven)).collect();
    kinds.sort_unstable();
    kinds.dedup();
    kinds
}

fn interaction_type(item: &Item, step: &Step, proven: &ProvenStep) -> &'static str {
    match step.kind {
        StepKind::Choice if compared(item, step, proven).is_some() => "inlineChoiceInteraction",
        StepKind::Number | StepKind::Words => "textEntryInteraction",
        StepKind::Choice => "choiceInteraction",
        StepKind::Order => "orderInteraction",
    }
}
