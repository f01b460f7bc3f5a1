//! The manifest of a package: every file, and what a catalogue wants to know of each item.
//!
//! Curriculum codes stand in two places. The general metadata classify an item by its codes, as the field writes
//! them (`5.NBT.B.7`). The curriculum standards metadata of the packages demand a GUID for each statement, the
//! identifier under which a publisher of standards lists it. A GUID made up from the code would claim a listing that
//! does not exist, so a statement is written there only when the caller knows its published identifier
//! ([`CaseItem`]), with the code as its label.
use std::{collections::BTreeMap, io::Write};

use qbank::{
    pool::Pool,
    question::{Item, StepKind},
};

use super::{
    CaseItem, PackageOptions, PlacedItem,
    dialect::PackageDialect,
    write::{SCHEMA_INSTANCE, TOOL_NAME, TOOL_VERSION},
};
use crate::{
    archive::MemberName,
    xml::{Element, XmlError, XmlWriter},
};

type Written = Result<(), XmlError>;

const LOM: &str = "http://ltsc.ieee.org/xsd/LOM";
const LOM_SCHEME: &str = "LOMv1.0";
/// Identifier of the manifest itself. The underscore keeps it apart from every id of a pool.
const MANIFEST: &str = "package_manifest";
/// The standards that a question's codes belong to.
const CODE_SOURCE: &str = "Common Core State Standards for Mathematics";

/// Catalogue of the families that templates come from: name, version and locale.
const FAMILY_CATALOG: &str = "tenths family";

/// Writes the manifest of a package of one test and its items.
pub(super) fn write_manifest(
    out: impl Write,
    dialect: &'static PackageDialect,
    pool: &Pool,
    test: &MemberName,
    items: &[PlacedItem<'_>],
    options: &PackageOptions,
) -> Written {
    let mut writer = ManifestWriter { xml: XmlWriter::new(out)?, dialect, case_items: &options.case_items };
    writer.manifest(pool, test, items)?;
    writer.xml.finish().map(drop)
}

struct ManifestWriter<'o, W: Write> {
    xml: XmlWriter<W>,
    dialect: &'static PackageDialect,
    case_items: &'o BTreeMap<String, CaseItem>,
}

impl<W: Write> ManifestWriter<'_, W> {
    fn manifest(&mut self, pool: &Pool, test: &MemberName, items: &[PlacedItem<'_>]) -> Written {
        let manifest = Element::new("manifest")
            .attribute("xmlns", self.dialect.namespace)
            .attribute("xmlns:xsi", SCHEMA_INSTANCE)
            .attribute("identifier", MANIFEST);
        self.parent(manifest, |w| {
            w.parent(Element::new("metadata"), |w| {
                w.text("schema", w.dialect.schema_name)?;
                w.text("schemaversion", w.dialect.schema_version)?;
                w.package_metadata(pool)
            })?;
            w.xml.empty(Element::new("organizations"))?;
            w.parent(Element::new("resources"), |w| {
                w.test_resource(pool, test, items)?;
                items.iter().try_for_each(|placed| w.item_resource(placed))
            })
        })
    }

    fn test_resource(&mut self, pool: &Pool, test: &MemberName, items: &[PlacedItem<'_>]) -> Written {
        self.parent(resource(&pool.id, self.dialect.test_type, test), |w| {
            w.xml.empty(Element::new("file").attribute("href", test.as_str()))?;
            items.iter().try_for_each(|placed| {
                w.xml.empty(Element::new("dependency").attribute("identifierref", &placed.id))
            })
        })
    }

    fn item_resource(&mut self, placed: &PlacedItem<'_>) -> Written {
        let PlacedItem { id, item, path, template } = placed;
        self.parent(resource(id, self.dialect.item_type, path), |w| {
            w.parent(Element::new("metadata"), |w| {
                w.qti_metadata(item, template.is_some())?;
                w.curriculum_metadata(item)?;
                w.item_metadata(placed)
            })?;
            w.xml.empty(Element::new("file").attribute("href", path.as_str()))
        })
    }

    fn parent(&mut self, element: Element, children: impl FnOnce(&mut Self) -> Written) -> Written {
        let open = self.xml.begin(element, crate::xml::Content::Lines)?;
        children(self)?;
        self.xml.end(open)
    }

    fn text(&mut self, name: &str, text: &str) -> Written {
        self.xml.text_element(Element::new(name), text)
    }
}

/// General metadata (IEEE LOM, XML binding).
impl<W: Write> ManifestWriter<'_, W> {
    fn package_metadata(&mut self, pool: &Pool) -> Written {
        self.lom(|w| {
            w.general(&pool.id, &pool.title, &pool.locale, None)?;
            w.meta_metadata()
        })
    }

    fn item_metadata(&mut self, placed: &PlacedItem<'_>) -> Written {
        let PlacedItem { id, item, template, .. } = placed;
        let family = format!("{} {} {}", item.family, item.version, item.locale);
        let origin = template.as_ref().map(|_| (FAMILY_CATALOG, family.as_str()));
        self.lom(|w| {
            w.general(id, &item.title, &item.locale, origin)?;
            w.parent(Element::new("lifeCycle"), |w| {
                w.parent(Element::new("version"), |w| w.string("en", &item.version.to_string()))
            })?;
            w.meta_metadata()?;
            w.parent(Element::new("educational"), |w| {
                w.vocabulary("difficulty", difficulty(item.difficulty))
            })?;
            if item.standards.is_empty() { Ok(()) } else { w.classification(&item.standards) }
        })
    }

    fn lom(&mut self, children: impl FnOnce(&mut Self) -> Written) -> Written {
        self.parent(Element::new("lom").attribute("xmlns", LOM), children)
    }

    fn general(&mut self, id: &str, title: &str, language: &str, origin: Option<(&str, &str)>) -> Written {
        self.parent(Element::new("general"), |w| {
            for (catalog, entry) in [(TOOL_NAME, id)].into_iter().chain(origin) {
                w.parent(Element::new("identifier"), |w| {
                    w.text("catalog", catalog)?;
                    w.text("entry", entry)
                })?;
            }
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

    fn classification(&mut self, codes: &[String]) -> Written {
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
impl<W: Write> ManifestWriter<'_, W> {
    fn qti_metadata(&mut self, item: &Item, template: bool) -> Written {
        let metadata = Element::new("qtiMetadata").attribute("xmlns", self.dialect.metadata_namespace);
        self.parent(metadata, |w| {
            w.text("itemTemplate", if template { "true" } else { "false" })?;
            w.text("timeDependent", "false")?;
            w.text("composite", if item.steps.len() > 1 { "true" } else { "false" })?;
            interaction_types(item).iter().try_for_each(|kind| w.text("interactionType", kind))?;
            w.text("feedbackType", "nonadaptive")?;
            w.text("solutionAvailable", "true")?;
            w.text("scoringMode", "responseprocessing")?;
            w.text("toolName", TOOL_NAME)?;
            w.text("toolVersion", TOOL_VERSION)
        })
    }

    fn curriculum_metadata(&mut self, item: &Item) -> Written {
        let case_items = self.case_items;
        let known: Vec<(&String, &CaseItem)> =
            item.standards.iter().filter_map(|code| Some((code, case_items.get(code)?))).collect();
        if known.is_empty() {
            return Ok(());
        }
        let set = Element::new("curriculumStandardsMetadataSet")
            .attribute("xmlns", self.dialect.curriculum_namespace);
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

fn resource(identifier: &str, kind: &str, path: &MemberName) -> Element {
    Element::new("resource")
        .attribute("identifier", identifier)
        .attribute("type", kind)
        .attribute("href", path.as_str())
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
    let mut kinds: Vec<&'static str> = item.steps.iter().map(|step| interaction_type(step.kind)).collect();
    kinds.sort_unstable();
    kinds.dedup();
    kinds
}

fn interaction_type(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Number | StepKind::Words => "textEntryInteraction",
        StepKind::Choice => "choiceInteraction",
        StepKind::Order => "orderInteraction",
    }
}
