//! The manifest of a cartridge: what it holds, and what teachers find in its table of contents.
//!
//! Question banks are not in the table of contents, quizzes and the link are. Curriculum statements stand here under
//! their published identifiers alone, see [`crate::qti::CaseItem`].
use std::{
    collections::{BTreeMap, BTreeSet},
    io::Write,
};

use crate::{
    archive::MemberName,
    qti::{CaseItem, write::TOOL_NAME},
    xml::{Element, XmlError, XmlWriter},
};

type Written = Result<(), XmlError>;

const NAMESPACE: &str = "http://www.imsglobal.org/xsd/imsccv1p3/imscp_v1p1";
const LOM_MANIFEST: &str = "http://ltsc.ieee.org/xsd/imsccv1p3/LOM/manifest";
const LOM_RESOURCE: &str = "http://ltsc.ieee.org/xsd/imsccv1p3/LOM/resource";
const CURRICULUM: &str = "http://www.imsglobal.org/xsd/imsccv1p3/imscsmd_v1p0";

/// A kind of resource.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Bank,
    Quiz,
    Link,
}

impl Kind {
    fn type_name(self) -> &'static str {
        match self {
            Self::Bank => "imsqti_xmlv1p2/imscc_xmlv1p3/question-bank",
            Self::Quiz => "imsqti_xmlv1p2/imscc_xmlv1p3/assessment",
            Self::Link => "imsbasiclti_xmlv1p3",
        }
    }
}

/// A file of the cartridge.
#[derive(Clone, Debug)]
pub(super) struct Resource {
    /// With an underscore, so that it meets no id of the manifest's own.
    pub(super) identifier: String,
    pub(super) path: MemberName,
    pub(super) title: String,
    pub(super) kind: Kind,
    /// Curriculum codes of its items.
    pub(super) codes: BTreeSet<String>,
}

/// The cartridge as a whole.
pub(super) struct About<'s> {
    pub(super) id: &'s str,
    pub(super) title: &'s str,
    pub(super) locale: &'s str,
}

pub(super) fn write_manifest<W: Write>(
    out: W,
    about: &About<'_>,
    resources: &[Resource],
    case_items: &BTreeMap<String, CaseItem>,
) -> Written {
    let mut xml = XmlWriter::new(out)?;
    let root = Element::new("manifest").attribute("xmlns", NAMESPACE).attribute("identifier", "cartridge");
    xml.lines(root, |xml| {
        xml.lines(Element::new("metadata"), |xml| {
            xml.text_element(Element::new("schema"), "IMS Common Cartridge")?;
            xml.text_element(Element::new("schemaversion"), "1.3.0")?;
            lom(xml, LOM_MANIFEST, about.id, about.title, about.locale)
        })?;
        xml.lines(Element::new("organizations"), |xml| organization(xml, resources))?;
        xml.lines(Element::new("resources"), |xml| {
            resources.iter().try_for_each(|one| resource(xml, one, about.locale, case_items))
        })
    })?;
    xml.finish().map(drop)
}

fn organization<W: Write>(xml: &mut XmlWriter<W>, resources: &[Resource]) -> Written {
    let organization = Element::new("organization")
        .attribute("identifier", "organization")
        .attribute("structure", "rooted-hierarchy");
    xml.lines(organization, |xml| {
        xml.lines(Element::new("item").attribute("identifier", "root"), |xml| {
            let shown = resources.iter().filter(|resource| resource.kind != Kind::Bank);
            shown.enumerate().try_for_each(|(index, resource)| {
                let identifier = format!("item_{}", index + 1);
                let item = Element::new("item")
                    .attribute("identifier", &identifier)
                    .attribute("identifierref", &resource.identifier);
                xml.lines(item, |xml| xml.text_element(Element::new("title"), &resource.title))
            })
        })
    })
}

fn resource<W: Write>(
    xml: &mut XmlWriter<W>,
    resource: &Resource,
    locale: &str,
    case_items: &BTreeMap<String, CaseItem>,
) -> Written {
    let element = Element::new("resource")
        .attribute("identifier", &resource.identifier)
        .attribute("type", resource.kind.type_name());
    xml.lines(element, |xml| {
        xml.lines(Element::new("metadata"), |xml| {
            lom(xml, LOM_RESOURCE, &resource.identifier, &resource.title, locale)?;
            curriculum(xml, &resource.codes, case_items)
        })?;
        xml.empty(Element::new("file").attribute("href", resource.path.as_str()))
    })
}

fn lom<W: Write>(xml: &mut XmlWriter<W>, namespace: &str, id: &str, title: &str, locale: &str) -> Written {
    xml.lines(Element::new("lom").attribute("xmlns", namespace), |xml| {
        xml.lines(Element::new("general"), |xml| {
            xml.lines(Element::new("identifier"), |xml| {
                xml.text_element(Element::new("catalog"), TOOL_NAME)?;
                xml.text_element(Element::new("entry"), id)
            })?;
            xml.lines(Element::new("title"), |xml| {
                xml.text_element(Element::new("string").attribute("language", locale), title)
            })?;
            xml.text_element(Element::new("language"), locale)
        })
    })
}

fn curriculum<W: Write>(
    xml: &mut XmlWriter<W>,
    codes: &BTreeSet<String>,
    case_items: &BTreeMap<String, CaseItem>,
) -> Written {
    let known = codes.iter().filter_map(|code| Some((code, case_items.get(code)?)));
    let known: Vec<(&String, &CaseItem)> = known.collect();
    if known.is_empty() {
        return Ok(());
    }
    xml.lines(Element::new("curriculumStandardsMetadataSet").attribute("xmlns", CURRICULUM), |xml| {
        xml.lines(Element::new("curriculumStandardsMetadata"), |xml| {
            xml.lines(Element::new("setOfGUIDs"), |xml| {
                known.iter().try_for_each(|(code, case_item)| {
                    xml.lines(Element::new("labelledGUID"), |xml| {
                        xml.text_element(Element::new("label"), code)?;
                        xml.text_element(Element::new("GUID"), &case_item.identifier)
                    })
                })
            })
        })
    })
}
