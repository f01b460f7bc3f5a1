//! The package as a whole: its manifest against its members, and its tests against its manifest.
use std::{
    collections::{BTreeMap, BTreeSet},
    io::{Read, Seek},
};

use super::{Finding, member_of};
use crate::{
    packages::{
        MANIFEST, Package, PackageFault, PackageKind, Resource, ResourceKind, Test, TestSection,
        hrefs::resolve, redraw::options,
    },
    qti::PackageOptions,
};

/// What was found, and how one of our packages was written.
pub(super) struct Structure {
    pub(super) findings: Vec<Finding>,
    pub(super) options: PackageOptions,
}

/// Looks at all but the items.
pub(super) fn examine<R: Read + Seek>(package: &mut Package<R>) -> Structure {
    let mut findings: Vec<Finding> = package.faults.drain(..).map(Finding::from).collect();
    if let PackageKind::Other(namespace) = &package.manifest.kind {
        let problem = format!(
            "the manifest is in '{namespace}'; expected one of QTI 3.0, 2.2 or 2.1, or of a Common Cartridge 1.3"
        );
        findings.push(Finding { member: MANIFEST.into(), line: None, problem });
    }
    let mut check = Check { findings, listed: BTreeMap::new() };
    check.files(package);
    check.unlisted(package);
    let options = check.tests(package);
    let Check { findings, .. } = check;
    Structure { findings, options }
}

struct Check {
    findings: Vec<Finding>,
    /// The resource that lists a file.
    listed: BTreeMap<String, String>,
}

impl Check {
    fn tell(&mut self, member: &str, line: Option<u64>, problem: String) {
        self.findings.push(Finding { member: member.to_owned(), line, problem });
    }

    fn files<R: Read + Seek>(&mut self, package: &Package<R>) {
        let mut starts: BTreeSet<String> = BTreeSet::new();
        for resource in &package.manifest.resources {
            let line = Some(resource.line);
            for (file, line) in &resource.files {
                self.file(package, resource, file, *line);
            }
            let Some(href) = &resource.href else { continue };
            let Some(member) = resolve("", href) else {
                // An address elsewhere is no file of the package, which only some kinds of resources may be.
                if resource.kind() != ResourceKind::Other {
                    self.tell(MANIFEST, line, format!("'{href}' is no path inside the package"));
                }
                continue;
            };
            if !resource.files.iter().any(|(file, _)| resolve("", file).as_ref() == Some(&member)) {
                let name = &resource.identifier;
                self.tell(
                    MANIFEST,
                    line,
                    format!("the resource '{name}' does not list its own file '{href}'"),
                );
            }
            let file = resource.kind() != ResourceKind::Other;
            if file && !starts.insert(member.clone()) {
                self.tell(
                    MANIFEST,
                    line,
                    format!("'{member}' is there twice; expected a resource for each file"),
                );
            }
        }
    }

    fn file<R: Read + Seek>(&mut self, package: &Package<R>, resource: &Resource, file: &str, line: u64) {
        match resolve("", file) {
            None => self.tell(MANIFEST, Some(line), format!("'{file}' is no path inside the package")),
            Some(member) => {
                if !package.has(&member) {
                    self.tell(MANIFEST, Some(line), format!("there is no file '{member}' in the package"));
                }
                self.listed.insert(member, resource.identifier.clone());
            }
        }
    }

    fn unlisted<R: Read + Seek>(&mut self, package: &Package<R>) {
        let unlisted =
            package.members().filter(|member| *member != MANIFEST && !self.listed.contains_key(*member));
        let unlisted: Vec<String> = unlisted.map(str::to_owned).collect();
        for member in unlisted {
            self.tell(&member, None, "no resource of the manifest lists this file".into());
        }
    }

    /// Looks at all tests; how the first was written.
    fn tests<R: Read + Seek>(&mut self, package: &mut Package<R>) -> PackageOptions {
        let of = |resource: &&Resource| resource.kind() == ResourceKind::Test;
        let tests: Vec<Resource> = package.manifest.resources.iter().filter(of).cloned().collect();
        let mut first = None;
        for resource in &tests {
            let member = member_of(resource);
            match package.test(&member) {
                Err(fault) => self.findings.push(fault.into()),
                Ok((test, faults)) => {
                    self.findings.extend(faults.into_iter().map(Finding::from));
                    self.test(package, &test, &member, resource);
                    first.get_or_insert(test);
                }
            }
        }
        options(package, first.as_ref())
    }

    fn test<R: Read + Seek>(&mut self, package: &Package<R>, test: &Test, member: &str, resource: &Resource) {
        let twice = test.names_twice().into_iter().map(|fault| PackageFault::of(member, fault).into());
        self.findings.extend(twice);
        let items: BTreeMap<String, &str> = super::items(&package.manifest.resources)
            .map(|item| (member_of(item), item.identifier.as_str()))
            .collect();
        let needed: BTreeSet<&str> = resource.dependencies.iter().map(|(name, _)| name.as_str()).collect();
        for reference in test.sections.iter().flat_map(TestSection::all_items) {
            let item = resolve(member, &reference.href).and_then(|path| items.get(&path).copied());
            let problem = match item {
                None => format!("'{}' is no item of the manifest", reference.href),
                Some(name) if !needed.contains(name) => {
                    format!("the test draws '{name}', which its resource in the manifest does not depend on")
                }
                Some(_) => continue,
            };
            self.tell(member, Some(reference.line), problem);
        }
    }
}
