//! A test of the standard from a pool: one section each, so many items drawn at random, points summed.
use std::{collections::BTreeMap, io::Write};

use qbank::{
    pool::{Pool, Section},
    question::Item,
};

use super::{
    PackageOptions, PlacedItem,
    dialect::Dialect,
    model::{BaseType, Identifier, OutcomeDeclaration},
    write::{QtiWriter, TOOL_NAME, TOOL_VERSION},
};
use crate::xml::XmlError;

type Written = Result<(), XmlError>;

/// Name of the only part of a test. The underscore keeps it apart from every id of a pool.
const PART: &str = "part_1";
/// Name of every item's weight.
const WEIGHT: &str = "WEIGHT";

/// Writes the test of a pool; the paths of items are relative to the test's own.
pub(super) fn write_test(
    out: impl Write,
    dialect: &'static Dialect,
    pool: &Pool,
    options: &PackageOptions,
    placed: &[PlacedItem<'_>],
) -> Written {
    let references = References::of(placed);
    let mut writer = QtiWriter::new(out, dialect)?;
    let root = writer
        .root("assessment-test")
        .attribute("identifier", &pool.id)
        .attribute("title", &pool.title)
        .attribute("tool-name", TOOL_NAME)
        .attribute("tool-version", TOOL_VERSION);
    writer.parent(root, |w| {
        let outcome = |name, maximum| OutcomeDeclaration {
            normal_maximum: maximum,
            ..OutcomeDeclaration::unset(Identifier::fixed(name), BaseType::Float)
        };
        w.outcome_declaration(&outcome("SCORE", fixed_maximum(pool)))?;
        w.outcome_declaration(&outcome("MAXSCORE", None))?;
        let part = w
            .tag("test-part")
            .attribute("identifier", PART)
            .attribute("navigation-mode", "nonlinear")
            .attribute("submission-mode", "individual");
        w.parent(part, |w| {
            item_session_control(w, options)?;
            pool.sections.iter().try_for_each(|section| write_section(w, section, &references))
        })?;
        w.parent(w.tag("outcome-processing"), |w| {
            ["SCORE", "MAXSCORE"].iter().try_for_each(|name| write_total(w, name))
        })
    })?;
    writer.finish()
}

/// The most points a pupil can get, where every draw has the same.
fn fixed_maximum(pool: &Pool) -> Option<u32> {
    let section_maximum = |section: &Section| {
        let points = section.items.first()?.max_points();
        let all_drawn = section.pick as usize == section.items.len();
        if all_drawn {
            Some(section.items.iter().map(Item::max_points).sum())
        } else {
            let alike = section.items.iter().all(|item| item.max_points() == points);
            alike.then(|| points * section.pick)
        }
    };
    pool.sections.iter().map(section_maximum).sum()
}

fn item_session_control<W: Write>(w: &mut QtiWriter<W>, options: &PackageOptions) -> Written {
    let tag = w
        .tag("item-session-control")
        .attribute("max-attempts", &options.attempts.to_string())
        .attribute("show-feedback", "true")
        .attribute("allow-review", "true")
        // Solutions come as feedback, when the item's own rules say so.
        .attribute("show-solution", "false")
        .attribute("allow-comment", "false")
        .attribute("allow-skipping", "true")
        .attribute("validate-responses", "false");
    w.empty(tag)
}

/// Where the items of a test are.
struct References<'p> {
    /// The file of each fixed question.
    fixed: BTreeMap<&'p str, &'p str>,
    /// The file of each template by one of the questions that it stands for.
    templates: BTreeMap<(&'p str, u32), &'p str>,
}

impl<'p> References<'p> {
    fn of(placed: &'p [PlacedItem<'p>]) -> Self {
        let of = |template: bool| placed.iter().filter(move |one| one.template.is_some() == template);
        Self {
            fixed: of(false).map(|one| (&*one.id, one.path.as_str())).collect(),
            templates: of(true)
                .map(|one| ((&*one.item.family, one.item.version), one.path.as_str()))
                .collect(),
        }
    }

    /// Identifier and file of everything that a section draws from: its questions, or one template as often as the
    /// section is drawn from. The underscores keep the latter apart from every id of a pool.
    fn section(&self, section: &Section) -> Vec<(String, &'p str)> {
        let fixed = section.items.iter().map(|item| Some((item.id.clone(), *self.fixed.get(&*item.id)?)));
        let fixed: Option<Vec<_>> = fixed.collect();
        let first = section.items.first().map(|item| (&*item.family, item.version));
        fixed.unwrap_or_else(|| {
            let path = first.and_then(|first| self.templates.get(&first)).copied().unwrap_or_default();
            (1..=section.pick).map(|number| (format!("{}_item_{number}", section.id), path)).collect()
        })
    }
}

fn write_section<W: Write>(w: &mut QtiWriter<W>, section: &Section, references: &References<'_>) -> Written {
    let family = section.items.first().map_or("", |item| &item.family);
    let tag = w
        .tag("assessment-section")
        .attribute("identifier", &section.id)
        .attribute("title", &section.title)
        .attribute("visible", "true");
    w.parent(tag, |w| {
        let selection = w.tag("selection").attribute("select", &section.pick.to_string());
        w.empty(selection.attribute("with-replacement", "false"))?;
        w.empty(w.tag("ordering").attribute("shuffle", "true"))?;
        references.section(section).iter().try_for_each(|(identifier, href)| {
            let item = section.items.iter().find(|item| item.id == *identifier);
            let reference = w
                .tag("assessment-item-ref")
                .attribute("identifier", identifier)
                .attribute("href", href)
                .attribute("category", item.map_or(family, |item| &item.family));
            w.parent(reference, |w| {
                w.empty(w.tag("weight").attribute("identifier", WEIGHT).attribute("value", "1"))
            })
        })
    })
}

/// Sums an outcome of the items that were drawn.
fn write_total<W: Write>(w: &mut QtiWriter<W>, name: &str) -> Written {
    w.parent(w.tag("set-outcome-value").attribute("identifier", name), |w| {
        w.parent(w.tag("sum"), |w| {
            let variables = w.tag("test-variables").attribute("variable-identifier", name);
            w.empty(variables.attribute("weight-identifier", WEIGHT))
        })
    })
}
