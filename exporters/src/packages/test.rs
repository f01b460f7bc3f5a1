//! A test: its sections with what each draws, and where its items are.
use crate::{
    processor::{
        Fault, Problem,
        document::{Element, told},
    },
    qti::QtiVersion,
};

/// A test of the standard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Test {
    /// The version it is written in.
    pub version: QtiVersion,
    /// Its name.
    pub identifier: String,
    /// Its title.
    pub title: String,
    /// How often an item may be answered, where its first part says so; 0 is without limit.
    pub attempts: Option<u32>,
    /// How long it may take: seconds, and whether later answers are taken, too.
    pub time_limit: Option<(u32, bool)>,
    /// The sections of all parts.
    pub sections: Vec<TestSection>,
}

/// A section of a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TestSection {
    /// Its name.
    pub identifier: String,
    /// Its title.
    pub title: String,
    /// How many of its parts are drawn; all, if not said.
    pub select: Option<u32>,
    /// Whether one part can be drawn twice.
    pub with_replacement: bool,
    /// Whether its parts come in random order.
    pub shuffle: bool,
    /// Its items.
    pub items: Vec<ItemRef>,
    /// Sections in it.
    pub sections: Vec<TestSection>,
    /// Where it stands, from 1.
    pub line: u64,
}

/// An item of a section.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemRef {
    /// Its name in the test.
    pub identifier: String,
    /// Where it is, seen from the test.
    pub href: String,
    /// Where it stands, from 1.
    pub line: u64,
}

impl TestSection {
    /// Its items and those of sections in it.
    #[must_use]
    pub fn all_items(&self) -> Vec<&ItemRef> {
        self.items.iter().chain(self.sections.iter().flat_map(Self::all_items)).collect()
    }
}

/// Reads a test and what is at fault in it.
pub(super) fn read_test(root: Element<'_>, version: QtiVersion) -> (Test, Vec<Fault>) {
    let mut reading = Reading { faults: Vec::new() };
    let parts: Vec<Element<'_>> = root.all("test-part").collect();
    let control = parts.iter().find_map(|part| part.first("item-session-control"));
    let sections = parts.iter().flat_map(|part| part.all("assessment-section"));
    let test = Test {
        version,
        identifier: reading.attribute(root, "identifier"),
        title: root.attribute("title").unwrap_or_default().to_owned(),
        attempts: control.and_then(|control| reading.kept(control.number("max-attempts")).flatten()),
        time_limit: root.first("time-limits").and_then(|limits| reading.time_limit(limits)),
        sections: sections.map(|section| reading.section(section)).collect(),
    };
    if test.sections.is_empty() {
        reading.faults.push(Fault::unexpected(root.line, "the test has no section", "at least one"));
    }
    (test, reading.faults)
}

struct Reading {
    faults: Vec<Fault>,
}

impl Reading {
    fn kept<T>(&mut self, read: Result<T, Fault>) -> Option<T> {
        read.map_err(|fault| self.faults.push(fault)).ok()
    }

    fn attribute(&mut self, element: Element<'_>, name: &str) -> String {
        self.kept(element.required(name).map(str::to_owned)).unwrap_or_default()
    }

    fn time_limit(&mut self, limits: Element<'_>) -> Option<(u32, bool)> {
        let seconds = self.kept(limits.number("max-time"))??;
        let late = self.kept(limits.truth("allow-late-submission", false))?;
        Some((seconds, late))
    }

    /// Sections nest no deeper than the XML reader lets elements nest.
    fn section(&mut self, element: Element<'_>) -> TestSection {
        let selection = element.first("selection");
        let select = selection.and_then(|one| self.kept(one.number("select")).flatten());
        let replacement = selection.and_then(|one| self.kept(one.truth("with-replacement", false)));
        let ordering = element.first("ordering");
        let section = TestSection {
            identifier: self.attribute(element, "identifier"),
            title: element.attribute("title").unwrap_or_default().to_owned(),
            select,
            with_replacement: replacement.unwrap_or(false),
            shuffle: ordering.and_then(|one| self.kept(one.truth("shuffle", false))).unwrap_or(false),
            items: element.all("assessment-item-ref").map(|item| self.item(item)).collect(),
            sections: element.all("assessment-section").map(|section| self.section(section)).collect(),
            line: element.line,
        };
        self.check(&section);
        section
    }

    fn item(&mut self, element: Element<'_>) -> ItemRef {
        let (identifier, href) = (self.attribute(element, "identifier"), self.attribute(element, "href"));
        ItemRef { identifier, href, line: element.line }
    }

    fn check(&mut self, section: &TestSection) {
        let parts = section.items.len() + section.sections.len();
        let select = section.select.map_or(0, |select| usize::try_from(select).unwrap_or(usize::MAX));
        if select > parts && !section.with_replacement {
            let found = format!("the section '{}' draws {select} of {parts}", told(&section.identifier));
            self.faults.push(Fault::unexpected(section.line, found, "no more than there are"));
        }
    }
}

impl Test {
    /// Names that stand for two things in the test.
    #[must_use]
    pub fn names_twice(&self) -> Vec<Fault> {
        let mut known = std::collections::BTreeSet::new();
        let mut names: Vec<(&str, u64)> = Vec::new();
        self.sections.iter().for_each(|section| section.names(&mut names));
        let twice = names.into_iter().filter(|(name, _)| !known.insert(*name));
        let fault = |(name, line)| Fault { line, problem: Problem::Twice { what: "name", name: told(name) } };
        twice.map(fault).collect()
    }
}

impl TestSection {
    fn names<'s>(&'s self, names: &mut Vec<(&'s str, u64)>) {
        names.push((&self.identifier, self.line));
        names.extend(self.items.iter().map(|item| (item.identifier.as_str(), item.line)));
        self.sections.iter().for_each(|section| section.names(names));
    }
}
