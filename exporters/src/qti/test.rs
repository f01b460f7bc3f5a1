//! A test of the standard from a pool: one section each, so many items drawn at random, points summed.
use std::io::Write;

use super::{
    Entry, Ordering, PackageOptions, SectionTemplates, TimeLimit,
    dialect::Dialect,
    model::{BaseType, Identifier, OutcomeDeclaration},
    try_each_entry,
    write::{QtiWriter, TOOL_NAME, TOOL_VERSION},
};
use crate::{
    source::{ItemSource, SectionHead},
    xml::{Open, XmlError},
};

type Written = Result<(), XmlError>;

/// Name of the only part of a test. The underscore keeps it apart from every id of a pool.
const PART: &str = "part_1";
/// Name of every item's weight.
const WEIGHT: &str = "WEIGHT";

/// Writes the test of a pool, which stands beside the folder of its items.
pub(super) fn write_test(
    out: impl Write,
    dialect: &'static Dialect,
    source: &(impl ItemSource + ?Sized),
    templates: &SectionTemplates,
    options: &PackageOptions,
) -> Written {
    let mut writer = QtiWriter::new(out, dialect)?;
    let root = writer
        .root("assessment-test")
        .attribute("identifier", source.id())
        .attribute("title", source.title())
        .attribute("tool-name", TOOL_NAME)
        .attribute("tool-version", TOOL_VERSION);
    writer.parent(root, |w| {
        let outcome = |name, maximum| OutcomeDeclaration {
            normal_maximum: maximum,
            ..OutcomeDeclaration::unset(Identifier::fixed(name), BaseType::Float)
        };
        let sections = source.sections();
        w.outcome_declaration(&outcome("SCORE", fixed_maximum(&sections)))?;
        w.outcome_declaration(&outcome("MAXSCORE", None))?;
        for section in sections_with_total(&sections) {
            let identifier = section_score(section);
            let normal_maximum = section.fixed_points();
            w.outcome_declaration(&OutcomeDeclaration {
                normal_maximum,
                ..OutcomeDeclaration::unset(identifier, BaseType::Float)
            })?;
        }
        write_time_limit(w, options)?;
        let part = w
            .tag("test-part")
            .attribute("identifier", PART)
            .attribute("navigation-mode", "nonlinear")
            .attribute("submission-mode", "individual");
        w.parent(part, |w| {
            item_session_control(w, options)?;
            write_sections(w, source, templates, options.ordering)
        })?;
        w.parent(w.tag("outcome-processing"), |w| {
            ["SCORE", "MAXSCORE"].iter().try_for_each(|name| write_total(w, name, name, None))?;
            sections_with_total(&sections).iter().try_for_each(|section| {
                write_total(w, section_score(section).as_str(), "SCORE", Some(&section.id))
            })
        })
    })?;
    writer.finish()
}

/// The most points a pupil can get, where every draw has the same.
fn fixed_maximum(sections: &[SectionHead]) -> Option<u32> {
    sections.iter().map(SectionHead::fixed_points).sum()
}

/// Sections whose points are told apart: all, where there are several.
fn sections_with_total(sections: &[SectionHead]) -> &[SectionHead] {
    if sections.len() > 1 { sections } else { &[] }
}

/// The outcome that holds a section's points.
fn section_score(section: &SectionHead) -> Identifier {
    Identifier::new(&format!("SCORE_{}", section.id)).expect("a section's id has letters, digits and hyphens")
}

fn write_time_limit<W: Write>(w: &mut QtiWriter<W>, options: &PackageOptions) -> Written {
    let Some(TimeLimit { seconds, late_submission }) = options.time_limit else { return Ok(()) };
    let tag = w
        .tag("time-limits")
        .attribute("max-time", &seconds.to_string())
        .attribute("allow-late-submission", if late_submission { "true" } else { "false" });
    w.empty(tag)
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

/// Every section with its items, begun and ended as the items come.
fn write_sections<W: Write>(
    w: &mut QtiWriter<W>,
    source: &(impl ItemSource + ?Sized),
    templates: &SectionTemplates,
    ordering: Ordering,
) -> Written {
    let sections = source.sections();
    let mut open = None;
    try_each_entry(source, templates, |index, entry| {
        if open.as_ref().is_none_or(|(begun, _)| *begun != index) {
            if let Some((_, section)) = open.take() {
                w.end(section)?;
            }
            open = Some((index, begin_section(w, &sections[index], ordering)?));
        }
        write_references(w, entry, &sections[index])
    })?;
    open.map_or(Ok(()), |(_, section)| w.end(section))
}

fn begin_section<W: Write>(
    w: &mut QtiWriter<W>,
    section: &SectionHead,
    ordering: Ordering,
) -> Result<Open, XmlError> {
    let tag = w
        .tag("assessment-section")
        .attribute("identifier", &section.id)
        .attribute("title", &section.title)
        .attribute("visible", "true");
    let open = w.begin(tag)?;
    let selection = w.tag("selection").attribute("select", &section.pick.to_string());
    w.empty(selection.attribute("with-replacement", "false"))?;
    let shuffle = if ordering == Ordering::Shuffled { "true" } else { "false" };
    w.empty(w.tag("ordering").attribute("shuffle", shuffle))?;
    Ok(open)
}

/// What a section draws from: a question, or one template as often as the section is drawn from.
fn write_references<W: Write>(w: &mut QtiWriter<W>, entry: &Entry<'_>, section: &SectionHead) -> Written {
    match entry.template {
        None => write_reference(w, entry.id, entry),
        Some(_) => (1..=section.pick).try_for_each(|number| {
            write_reference(w, &super::template::reference_name(&section.id, number), entry)
        }),
    }
}

fn write_reference<W: Write>(w: &mut QtiWriter<W>, identifier: &str, entry: &Entry<'_>) -> Written {
    let reference = w
        .tag("assessment-item-ref")
        .attribute("identifier", identifier)
        .attribute("href", entry.path.as_str())
        .attribute("category", &entry.item.family);
    w.parent(reference, |w| w.empty(w.tag("weight").attribute("identifier", WEIGHT).attribute("value", "1")))
}

/// Sums a variable of the items that were drawn, in one section or in all, into an outcome of the test.
fn write_total<W: Write>(
    w: &mut QtiWriter<W>,
    outcome: &str,
    variable: &str,
    section: Option<&str>,
) -> Written {
    w.parent(w.tag("set-outcome-value").attribute("identifier", outcome), |w| {
        w.parent(w.tag("sum"), |w| {
            let variables = w
                .tag("test-variables")
                .attribute_if("section-identifier", section)
                .attribute("variable-identifier", variable);
            w.empty(variables.attribute("weight-identifier", WEIGHT))
        })
    })
}
