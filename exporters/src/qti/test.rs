//! A test of the standard from a pool: one section each, so many items drawn at random, points summed.
use std::io::Write;

use qbank::{
    pool::{Pool, Section},
    question::Item,
};

use super::{
    Ordering, PackageOptions, TimeLimit,
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

/// Writes the test of a pool; `href` gives the file of an item, relative to the test's own.
pub(super) fn write_test<'p>(
    out: impl Write,
    dialect: &'static Dialect,
    pool: &'p Pool,
    options: &PackageOptions,
    href: impl Fn(&'p str) -> String,
) -> Written {
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
        for section in sections_with_total(pool) {
            let identifier = section_score(section);
            let normal_maximum = section_maximum(section);
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
            let ordering = options.ordering;
            pool.sections.iter().try_for_each(|section| write_section(w, section, ordering, &href))
        })?;
        w.parent(w.tag("outcome-processing"), |w| {
            ["SCORE", "MAXSCORE"].iter().try_for_each(|name| write_total(w, name, name, None))?;
            sections_with_total(pool).iter().try_for_each(|section| {
                write_total(w, section_score(section).as_str(), "SCORE", Some(&section.id))
            })
        })
    })?;
    writer.finish()
}

/// The most points a pupil can get, where every draw has the same.
fn fixed_maximum(pool: &Pool) -> Option<u32> {
    pool.sections.iter().map(section_maximum).sum()
}

/// The same for what one section draws.
fn section_maximum(section: &Section) -> Option<u32> {
    let points = section.items.first()?.max_points();
    let all_drawn = section.pick as usize == section.items.len();
    if all_drawn {
        Some(section.items.iter().map(Item::max_points).sum())
    } else {
        let alike = section.items.iter().all(|item| item.max_points() == points);
        alike.then(|| points * section.pick)
    }
}

/// Sections whose points are told apart: all, where there are several.
fn sections_with_total(pool: &Pool) -> &[Section] {
    if pool.sections.len() > 1 { &pool.sections } else { &[] }
}

/// The outcome that holds a section's points.
fn section_score(section: &Section) -> Identifier {
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

fn write_section<'p, W: Write>(
    w: &mut QtiWriter<W>,
    section: &'p Section,
    ordering: Ordering,
    href: &impl Fn(&'p str) -> String,
) -> Written {
    let tag = w
        .tag("assessment-section")
        .attribute("identifier", &section.id)
        .attribute("title", &section.title)
        .attribute("visible", "true");
    w.parent(tag, |w| {
        let selection = w.tag("selection").attribute("select", &section.pick.to_string());
        w.empty(selection.attribute("with-replacement", "false"))?;
        let shuffle = if ordering == Ordering::Shuffled { "true" } else { "false" };
        w.empty(w.tag("ordering").attribute("shuffle", shuffle))?;
        section.items.iter().try_for_each(|item| {
            let reference = w
                .tag("assessment-item-ref")
                .attribute("identifier", &item.id)
                .attribute("href", &href(&item.id))
                .attribute("category", &item.family);
            w.parent(reference, |w| {
                w.empty(w.tag("weight").attribute("identifier", WEIGHT).attribute("value", "1"))
            })
        })
    })
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
