//! A test of the standard from a pool: one section each, so many items drawn at random, points summed.
use std::io::Write;

use super::{
    Ordering, PackageOptions, TimeLimit,
    model::{BaseType, Identifier, OutcomeDeclaration},
    package::{Around, Context, Entry},
    write::{QtiWriter, TOOL_NAME, TOOL_VERSION},
};
use crate::{
    source::{ItemSource, SectionHead, Tally},
    xml::{Open, XmlError},
};

type Written = Result<(), XmlError>;

/// Name of the only part of a test. The underscore keeps it apart from every id of a pool.
const PART: &str = "part_1";
/// Name of every item's weight.
const WEIGHT: &str = "WEIGHT";

/// In how many elements its sections stand.
const DEPTH: usize = 2;

/// Writes the test of a pool, which stands beside the folder of its items, without its sections. `last` is the section that has
/// begun last and is still to be ended.
pub(super) fn around(
    context: &Context<'_>,
    source: &(impl ItemSource + ?Sized),
    tallies: &[Tally],
    last: Option<usize>,
) -> Result<Around<1>, XmlError> {
    let Context { options, sections } = *context;
    let mut writer = QtiWriter::new(Vec::new(), options.version.dialect())?;
    let root = writer
        .root("assessment-test")
        .attribute("identifier", source.id())
        .attribute("title", source.title())
        .attribute("tool-name", TOOL_NAME)
        .attribute("tool-version", TOOL_VERSION);
    let mut gap = 0;
    writer.parent(root, |w| {
        write_outcomes(w, sections, tallies)?;
        write_time_limit(w, options)?;
        let part = w
            .tag("test-part")
            .attribute("identifier", PART)
            .attribute("navigation-mode", "nonlinear")
            .attribute("submission-mode", "individual");
        w.parent(part, |w| {
            item_session_control(w, options)?;
            gap = w.gap()?;
            last.map(|_| w.resume(&w.tag(SECTION))).map_or(Ok(()), |open| w.end(open))
        })?;
        w.parent(w.tag("outcome-processing"), |w| {
            ["SCORE", "MAXSCORE"].iter().try_for_each(|name| write_total(w, name, name, None))?;
            sections_with_total(sections).iter().try_for_each(|section| {
                write_total(w, section_score(section).as_str(), "SCORE", Some(&section.id))
            })
        })
    })?;
    Ok(Around { document: writer.finish()?, gaps: [gap] })
}

/// The part of a test's sections in which these items stand; `before` is the section that an earlier part has begun.
pub(super) fn sections_of<'e>(
    context: &Context<'_>,
    before: Option<usize>,
    entries: impl Iterator<Item = Entry<'e>>,
) -> Result<Vec<u8>, XmlError> {
    let Context { options, sections } = *context;
    let mut w = QtiWriter::fragment(Vec::new(), options.version.dialect(), DEPTH);
    let mut open = before.map(|section| (section, w.resume(&w.tag(SECTION))));
    for entry in entries {
        let section = &sections[entry.section];
        if open.as_ref().is_none_or(|(begun, _)| *begun != entry.section) {
            if let Some((_, earlier)) = open.take() {
                w.end(earlier)?;
            }
            open = Some((entry.section, begin_section(&mut w, section, options.ordering)?));
        }
        write_references(&mut w, &entry, section)?;
    }
    w.finish_fragment()
}

const SECTION: &str = "assessment-section";

fn write_outcomes<W: Write>(w: &mut QtiWriter<W>, sections: &[SectionHead], tallies: &[Tally]) -> Written {
    let outcome = |identifier, normal_maximum| OutcomeDeclaration {
        normal_maximum,
        ..OutcomeDeclaration::unset(identifier, BaseType::Float)
    };
    let fixed = |(section, tally): (&SectionHead, &Tally)| tally.fixed_points(section.pick);
    // The most points a pupil can get, where every draw has the same.
    let maximum = sections.iter().zip(tallies).map(fixed).sum();
    w.outcome_declaration(&outcome(Identifier::fixed("SCORE"), maximum))?;
    w.outcome_declaration(&outcome(Identifier::fixed("MAXSCORE"), None))?;
    sections_with_total(sections).iter().zip(tallies).try_for_each(|(section, tally)| {
        w.outcome_declaration(&outcome(section_score(section), fixed((section, tally))))
    })
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
    let seconds = seconds.to_string();
    let tag = w
        .tag("time-limits")
        .attribute("max-time", &seconds)
        .attribute("allow-late-submission", if late_submission { "true" } else { "false" });
    w.empty(tag)
}

fn item_session_control<W: Write>(w: &mut QtiWriter<W>, options: &PackageOptions) -> Written {
    let attempts = options.attempts.to_string();
    let tag = w
        .tag("item-session-control")
        .attribute("max-attempts", &attempts)
        .attribute("show-feedback", "true")
        .attribute("allow-review", "true")
        // Solutions come as feedback, when the item's own rules say so.
        .attribute("show-solution", "false")
        .attribute("allow-comment", "false")
        .attribute("allow-skipping", "true")
        .attribute("validate-responses", "false");
    w.empty(tag)
}

fn begin_section<'e, W: Write>(
    w: &mut QtiWriter<W>,
    section: &'e SectionHead,
    ordering: Ordering,
) -> Result<Open<'e>, XmlError> {
    let tag = w
        .tag(SECTION)
        .attribute("identifier", &section.id)
        .attribute("title", &section.title)
        .attribute("visible", "true");
    let open = w.begin(tag)?;
    let pick = section.pick.to_string();
    let selection = w.tag("selection").attribute("select", &pick);
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
