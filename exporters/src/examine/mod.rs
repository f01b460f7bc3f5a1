//! A package tried out before it is loaded: what holds, what does not, and what cannot be judged here.
//!
//! Any package: its structure, its manifest, the references in its tests and items; each item run by the processor of
//! the standard with its declared correct response, with none, and with wrong ones; a template with 200 clones; a
//! question of QTI 1.2.1 with each response that it lists. A package of ours also against what it claims: every question
//! is drawn again and compared. Nothing is taken from what
//! wrote the package; all that counts is what is in the file.
//!
//! Items are read one at a time; the [`Report`] holds a few lines for each. It tells, and decides nothing.
mod clones;
mod compared;
mod old_questions;
mod playing;
mod report;
mod structure;

use std::{
    collections::BTreeSet,
    convert::Infallible,
    io::{Read, Seek},
    num::NonZeroUsize,
    ops::ControlFlow,
};

use qbank::family::Family;

pub use self::report::{Check, Counts, Finding, Judgement, Report, Topic, Verdict};
use self::{clones::judge_clones, compared::Compared, playing::judge_answers};
use crate::{
    in_order::in_order,
    packages::{
        Claim, Content, OpenError, Package, PackageFault, Resource, ResourceKind, claim::ClaimError,
        hrefs::resolve,
    },
    processor::{Fault, Item, NamedFile, Problem, document::told, references},
    qti::PackageOptions,
};

/// How many items a thread takes at a time.
const BATCH: usize = 32;

/// A package about to be examined.
pub struct Examination<R> {
    package: Package<R>,
}

impl<R: Read + Seek> Examination<R> {
    /// Opens the package.
    ///
    /// # Errors
    /// [`OpenError`] where there is no package to examine.
    pub fn open(input: R) -> Result<Self, OpenError> {
        Ok(Self { package: Package::open(input)? })
    }

    /// The families that the package says its items come from.
    #[must_use]
    pub fn families(&self) -> BTreeSet<String> {
        let claims = self.package.manifest.resources.iter().map(|resource| Claim::of(&resource.entries));
        claims.filter_map(|claim| Some(claim.ok()??.family().to_owned())).collect()
    }

    /// How many items there are to examine.
    #[must_use]
    pub fn items(&self) -> usize {
        items(&self.package.manifest.resources).count()
    }

    /// Examines all of it. `families` are those to draw our own questions again from; `tell` is called after each item that
    /// [`Examination::items`] counts.
    pub fn run(self, families: &[Family], tell: impl FnMut(&Judgement)) -> Report {
        self.run_on(NonZeroUsize::MIN, families, tell)
    }

    /// Examines all of it as [`Examination::run`] does, on so many threads; the report is the same on any number of them.
    pub fn run_on(
        mut self,
        threads: NonZeroUsize,
        families: &[Family],
        mut tell: impl FnMut(&Judgement),
    ) -> Report {
        let structure = structure::examine(&mut self.package);
        let mut findings = structure.findings;
        let resources: Vec<Resource> = items(&self.package.manifest.resources).cloned().collect();
        let members: BTreeSet<String> = self.package.members().map(str::to_owned).collect();
        let mut names = BTreeSet::new();
        let mut judgements = Vec::with_capacity(resources.len());
        let judge = |(resource, content)| {
            OneItem { resource, families, options: &structure.options, members: &members }.examine(content)
        };
        let feed = |give: &mut dyn FnMut(Vec<_>) -> ControlFlow<()>| {
            let _ = resources.chunks(BATCH).try_for_each(|batch| {
                give(batch.iter().map(|one| (one, self.package.content(&member_of(one)))).collect())
            });
            Ok(())
        };
        let judged = |_: &mut (), batch: Vec<_>| batch.into_iter().map(judge).collect::<Vec<_>>();
        let done = in_order(
            threads,
            || (),
            judged,
            feed,
            |batch| {
                for (judgement, identifier) in batch {
                    if let Some(identifier) =
                        identifier.filter(|identifier| !names.insert(identifier.clone()))
                    {
                        let problem = format!(
                            "another item has the identifier '{identifier}', too; expected different ones"
                        );
                        findings.push(Finding { member: judgement.member.clone(), line: None, problem });
                    }
                    tell(&judgement);
                    judgements.push(judgement);
                }
                Ok::<(), Infallible>(())
            },
        );
        let Ok(()) = done;
        let old =
            self.package.manifest.resources.iter().filter(|one| one.kind() == ResourceKind::OldQuestions);
        let old: Vec<String> = old.map(member_of).collect();
        judgements.extend(old.iter().flat_map(|member| old_questions::judge(&mut self.package, member)));
        Report::new(&self.package.manifest, findings, judgements)
    }
}

fn items(resources: &[Resource]) -> impl Iterator<Item = &Resource> {
    resources.iter().filter(|resource| resource.kind() == ResourceKind::Item)
}

/// The file of a resource, or its name where it names none.
fn member_of(resource: &Resource) -> String {
    let file = resource.href.as_deref().or(resource.files.first().map(|(file, _)| file.as_str()));
    file.and_then(|file| resolve("", file)).unwrap_or_else(|| resource.identifier.clone())
}

/// One item and what is known of it.
struct OneItem<'e> {
    resource: &'e Resource,
    families: &'e [Family],
    options: &'e PackageOptions,
    /// What the package holds.
    members: &'e BTreeSet<String>,
}

impl OneItem<'_> {
    /// The judgement, and the identifier that the item gives itself.
    fn examine(&self, content: Result<Content, PackageFault>) -> (Judgement, Option<String>) {
        let member = member_of(self.resource);
        let content = content.map_err(|fault| vec![fault]);
        match content.and_then(|content| Ok((content.item(&member)?, content))) {
            Err(faults) => {
                let checks = faults.iter().map(|fault| Check::fails(Topic::Readable, &fault));
                (Judgement::new(member, checks.collect()), None)
            }
            Ok((item, content)) => {
                let checks = self.judge(&item, &member, content.bytes());
                (Judgement::new(member, checks), Some(item.identifier))
            }
        }
    }

    /// Files that the item names and the package does not hold.
    fn missing_files(&self, item: &Item, member: &str) -> Vec<Check> {
        let missing = item
            .files
            .iter()
            .filter(|file| !resolve(member, &file.address).is_some_and(|file| self.members.contains(&file)));
        let fault = |file: &NamedFile| {
            let problem = Problem::Unknown { what: "file", name: told(&file.address) };
            Check::fails(Topic::References, &Fault { line: file.line, problem })
        };
        missing.map(fault).collect()
    }

    fn judge(&self, item: &Item, member: &str, document: &[u8]) -> Vec<Check> {
        let mut checks: Vec<Check> =
            references::broken(item).iter().map(|fault| Check::fails(Topic::References, fault)).collect();
        checks.extend(self.missing_files(item, member));
        let compared = match Claim::of(&self.resource.entries) {
            Ok(claim) => claim.map(|claim| Compared::with(&claim, self.resource, self.families)),
            Err(ClaimError { .. }) => None,
        };
        if let Err(error) = Claim::of(&self.resource.entries) {
            checks.push(Check::fails(Topic::Claim, &error));
        }
        if let Some(reason) = item.unjudged() {
            checks.push(Check::new(Topic::CorrectResponse, Verdict::CannotJudge, reason));
            return checks;
        }
        if !checks.is_empty() {
            return checks;
        }
        let known = compared.as_ref().and_then(|compared| compared.as_ref().ok()).and_then(Option::as_ref);
        if item.is_template() {
            checks.extend(judge_clones(item, member));
        } else {
            checks.extend(judge_answers(item, known.map(Compared::right_responses)));
        }
        match compared {
            Some(Err(check)) => checks.push(check),
            Some(Ok(Some(compared))) => checks.extend(compared.judge(item, document, self.options)),
            Some(Ok(None)) | None => {}
        }
        checks
    }
}
