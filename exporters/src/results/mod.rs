//! Reading result reports of the open standard, versions 2.1, 2.2 and 3.0: what a pupil answered on another platform.
//!
//! One report is one `assessmentResult`: a pupil in a session, and a result for each item. Element and attribute names
//! are the same in all versions; the namespace tells which it is. Read are the context, and of each item result its
//! identifier, its place in the session, when and how it ended, the candidate's responses, and the values of template
//! variables. Passed over are outcomes (points are ours to give), correct responses and whatever another namespace
//! brings. A report is a bounded document and is read as a
//! whole; many reports are read one after the other.
use std::{collections::BTreeMap, io::BufRead};

use crate::xml::reading::{Node, Tag, XmlReadError, XmlReader};

/// The namespaces of result reports.
const NAMESPACES: [(&str, ResultsVersion); 3] = [
    ("http://www.imsglobal.org/xsd/imsqti_result_v2p1", ResultsVersion::V21),
    ("http://www.imsglobal.org/xsd/imsqti_result_v2p2", ResultsVersion::V22),
    ("http://www.imsglobal.org/xsd/imsqti_result_v3p0", ResultsVersion::V30),
];
/// Most item results of a report: far more than a pupil answers in one session.
pub const MAX_ITEMS: usize = 20_000;
/// Most values of a response.
pub const MAX_VALUES: usize = 1_000;
/// Response variables that every item has, beside those of its interactions.
const BUILT_IN: [&str; 3] = ["numAttempts", "duration", "completionStatus"];
/// What the response of a step is called in items of ours: this, then the step's id.
const RESPONSE: &str = "RESPONSE_";
/// The same for the text as typed, before a platform made a number of it.
const RAW: &str = "RAW_";

/// A version of result reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ResultsVersion {
    /// QTI 2.1
    V21,
    /// QTI 2.2
    V22,
    /// QTI 3.0
    V30,
}

/// Why a document is no result report.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ResultsError {
    /// Not readable as XML.
    #[error(transparent)]
    Xml(#[from] XmlReadError),
    /// Another document, or another version.
    #[error(
        "line {line}: found '{name}' of the namespace '{namespace}'; expected 'assessmentResult' of QTI 2.1, 2.2 or 3.0"
    )]
    Root {
        /// Where.
        line: u64,
        /// The element at the top.
        name: String,
        /// Its namespace.
        namespace: String,
    },
    /// More item results than are read.
    #[error("line {line}: there are more than {MAX_ITEMS} item results")]
    TooMany {
        /// Where.
        line: u64,
    },
}

/// A result report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AssessmentResult {
    /// The version that its namespace names.
    pub version: ResultsVersion,
    /// Who answered: the context's `sourcedId`, else the first session's identifier.
    pub pupil: Option<String>,
    /// In the order of the document.
    pub items: Vec<ItemResult>,
    /// Parts that cannot be used.
    pub problems: Vec<Problem>,
}

/// A part of a report that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where, from 1.
    pub line: u64,
    /// Why.
    pub reason: String,
}

/// What a pupil did with one item.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemResult {
    /// Where it begins, from 1.
    pub line: u64,
    /// The item's identifier.
    pub identifier: String,
    /// When, in seconds since 1970 and nanoseconds; a time without a zone is taken as UTC.
    pub at: jiff::Timestamp,
    /// How far the pupil got.
    pub status: SessionStatus,
    /// Its place in the session, from 1, where the report tells: an item that the platform varies may come several
    /// times.
    pub sequence: Option<u32>,
    /// The responses, by variable.
    pub responses: Vec<Variable>,
    /// What the platform drew for an item that it varies.
    pub templates: Vec<Variable>,
}

/// How far an item session got.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SessionStatus {
    /// Begun.
    Initial,
    /// Answered, not handed in.
    PendingSubmission,
    /// Handed in, not yet scored there.
    PendingResponseProcessing,
    /// Handed in and scored.
    Final,
}

impl SessionStatus {
    const ALL: [(&'static str, Self); 4] = [
        ("initial", Self::Initial),
        ("pendingSubmission", Self::PendingSubmission),
        ("pendingResponseProcessing", Self::PendingResponseProcessing),
        ("final", Self::Final),
    ];

    /// Whether the pupil handed it in.
    #[must_use]
    pub fn is_complete(self) -> bool {
        matches!(self, Self::PendingResponseProcessing | Self::Final)
    }

    /// The standard's word.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, status)| *status == self).map_or("", |(name, _)| name)
    }
}

/// A variable with its values: a response variable with the candidate's response, where no values is no answer, or a
/// template variable with what was drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Variable {
    /// Where, from 1.
    pub line: u64,
    /// Its identifier.
    pub identifier: String,
    /// The values, in order.
    pub values: Vec<String>,
}

/// Responses by step, as far as variables belong to steps.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StepResponses {
    /// By step: the text as typed where the report has it, else the response; the values of an order with commas
    /// between them.
    pub responses: BTreeMap<String, String>,
    /// Variables whose names no item of ours gives.
    pub strange: Vec<Problem>,
}

impl ItemResult {
    /// The responses by the steps of a question, by the names that our exported items give their variables.
    #[must_use]
    pub fn by_step(&self) -> StepResponses {
        let mut by_step = StepResponses::default();
        for variable in &self.responses {
            let identifier = variable.identifier.as_str();
            let step = identifier.strip_prefix(RESPONSE).or_else(|| identifier.strip_prefix(RAW));
            let Some(step) = step.filter(|step| !step.is_empty()) else {
                if !BUILT_IN.contains(&identifier) {
                    let reason = format!("the response variable '{identifier}' belongs to no step");
                    by_step.strange.push(Problem { line: variable.line, reason });
                }
                continue;
            };
            let response = variable.values.join(", ");
            // As typed goes before what a platform made of it, wherever it stands; an empty one does not.
            let first = identifier.starts_with(RAW) && !response.is_empty();
            let known = by_step.responses.entry(step.to_owned()).or_default();
            if first || known.is_empty() {
                *known = response;
            }
        }
        by_step
    }
}

/// Reads a report.
///
/// # Errors
/// [`ResultsError`] where the document as a whole cannot be used.
pub fn read_results(input: impl BufRead) -> Result<AssessmentResult, ResultsError> {
    let mut xml = XmlReader::new(input);
    let Some(Node::Start(root)) = xml.next_node()? else { unreachable!("a document begins with an element") };
    let known = NAMESPACES.iter().find(|(namespace, _)| *namespace == root.namespace);
    let Some((namespace, version)) = known.filter(|_| root.name == "assessmentResult") else {
        return Err(ResultsError::Root {
            line: root.line,
            name: root.name.chars().take(60).collect(),
            namespace: root.namespace.chars().take(80).collect(),
        });
    };
    let mut report = Reading { xml, namespace, pupil: None, items: Vec::new(), problems: Vec::new() };
    report.children(|report, tag| match tag.name.as_str() {
        "context" => Ok(report.context(&tag)?),
        "itemResult" => report.item(&tag),
        _ => Ok(report.skip()?),
    })?;
    // What follows must still be well-formed.
    while report.xml.next_node()?.is_some() {}
    let Reading { pupil, items, problems, .. } = report;
    Ok(AssessmentResult { version: *version, pupil, items, problems })
}

/// A report as far as it is read.
struct Reading<R> {
    xml: XmlReader<R>,
    namespace: &'static str,
    pupil: Option<String>,
    items: Vec<ItemResult>,
    problems: Vec<Problem>,
}

impl<R: BufRead> Reading<R> {
    /// Reads the elements inside the one that began last, up to its end. `each` must read its element to the end.
    fn children<E: From<XmlReadError>>(
        &mut self,
        mut each: impl FnMut(&mut Self, Tag) -> Result<(), E>,
    ) -> Result<(), E> {
        loop {
            match self.xml.next_node()? {
                Some(Node::Start(tag)) if tag.namespace == self.namespace => each(self, tag)?,
                Some(Node::Start(_)) => self.xml.skip()?,
                Some(Node::Text(_)) => {}
                Some(Node::End) | None => return Ok(()),
            }
        }
    }

    fn skip(&mut self) -> Result<(), XmlReadError> {
        self.xml.skip()
    }

    fn context(&mut self, tag: &Tag) -> Result<(), XmlReadError> {
        let named = |tag: &Tag, attribute| {
            tag.attribute(attribute).map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned)
        };
        self.pupil = named(tag, "sourcedId");
        self.children(|report, tag| {
            if report.pupil.is_none() && tag.name == "sessionIdentifier" {
                report.pupil = named(&tag, "identifier");
            }
            report.skip()
        })
    }

    fn item(&mut self, tag: &Tag) -> Result<(), ResultsError> {
        if self.items.len() + self.problems.len() >= MAX_ITEMS {
            return Err(ResultsError::TooMany { line: tag.line });
        }
        let (mut responses, mut templates) = (Vec::new(), Vec::new());
        self.children(|report, tag| {
            let (values, variables) = match tag.name.as_str() {
                "responseVariable" => (report.candidate_response()?, &mut responses),
                "templateVariable" => (report.values()?, &mut templates),
                _ => return report.skip(),
            };
            let identifier = tag.attribute("identifier").unwrap_or_default().to_owned();
            if values.len() > MAX_VALUES {
                let identifier: String = identifier.chars().take(40).collect();
                let reason = format!("the variable '{identifier}' has more than {MAX_VALUES} values");
                report.problems.push(Problem { line: tag.line, reason });
                return Ok(());
            }
            variables.push(Variable { line: tag.line, identifier, values });
            Ok::<_, XmlReadError>(())
        })?;
        match item_result(tag, responses, templates) {
            Ok(item) => self.items.push(item),
            Err(reason) => self.problems.push(Problem { line: tag.line, reason }),
        }
        Ok(())
    }

    /// The values of the candidate's response inside the response variable that began last.
    fn candidate_response(&mut self) -> Result<Vec<String>, XmlReadError> {
        let mut values = Vec::new();
        self.children(|report, tag| match tag.name.as_str() {
            "candidateResponse" => {
                values = report.values()?;
                Ok(())
            }
            _ => report.skip(),
        })?;
        Ok(values)
    }

    /// The values inside the element that began last. Published examples write no value as an empty one, too.
    fn values(&mut self) -> Result<Vec<String>, XmlReadError> {
        let mut values = Vec::new();
        self.children(|report, tag| match tag.name.as_str() {
            "value" => {
                values.push(report.xml.text()?);
                Ok(())
            }
            _ => report.skip(),
        })?;
        values.retain(|value| !value.trim().is_empty());
        Ok(values)
    }
}

fn item_result(tag: &Tag, responses: Vec<Variable>, templates: Vec<Variable>) -> Result<ItemResult, String> {
    let required = |name: &str| {
        tag.attribute(name).map(str::trim).ok_or_else(|| format!("the item result has no attribute '{name}'"))
    };
    let identifier = required("identifier")?.to_owned();
    let stamp = required("datestamp")?;
    let at = stamp
        .parse::<jiff::Timestamp>()
        .or_else(|_| jiff::tz::TimeZone::UTC.to_timestamp(stamp.parse::<jiff::civil::DateTime>()?))
        .map_err(|_| {
            let stamp: String = stamp.chars().take(40).collect();
            format!("the datestamp '{stamp}' is no time; expected one as 2026-03-02T09:15:00Z")
        })?;
    let status = required("sessionStatus")?;
    let known = SessionStatus::ALL.iter().find(|(name, _)| *name == status);
    let Some((_, status)) = known else {
        let status: String = status.chars().take(40).collect();
        return Err(format!("the session status '{status}' is unknown"));
    };
    // Only tells repetitions apart, so one that is no number is as good as none.
    let sequence = tag.attribute("sequenceIndex").and_then(|index| index.trim().parse().ok());
    Ok(ItemResult { line: tag.line, identifier, at, status: *status, sequence, responses, templates })
}
