//! Our own packages, drawn again: from what a package claims of its items to the pool that it was written from.
use std::{
    collections::BTreeMap,
    io::{Read, Seek},
    num::NonZeroU32,
};

use qbank::{
    family::{DrawError, Family},
    pool::{Pool, PoolError, Section},
    question::{Item, ProofError, Question},
};

use super::{
    Claim, Package, PackageFault, PackageKind, ResourceKind, Test, TestSection,
    claim::{Drawn, SOLUTION_CATALOG},
    hrefs::resolve,
};
use crate::qti::{Ordering, PackageOptions, Solution, TimeLimit};

/// Why a question is not what its package claims.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RedrawError {
    /// Nobody has the family.
    #[error("there is no family '{0}' to draw it from")]
    NoFamily(String),
    /// The family has changed since.
    #[error("the family '{family}' is of version {known}, the question was drawn from version {claimed}")]
    Version {
        /// The family's name.
        family: String,
        /// The version there is.
        known: u32,
        /// The version claimed.
        claimed: u32,
    },
    /// There is no such question.
    #[error("it cannot be drawn: {0}")]
    Draw(Box<DrawError>),
    /// The question cannot have this name.
    #[error("it cannot be proven: {0}")]
    Proof(Box<ProofError>),
    /// It is another question.
    #[error("drawn again, its receipt is {found}, not {claimed}")]
    Receipt {
        /// As drawn.
        found: String,
        /// As claimed.
        claimed: String,
    },
}

impl From<DrawError> for RedrawError {
    fn from(error: DrawError) -> Self {
        Self::Draw(Box::new(error))
    }
}

impl From<ProofError> for RedrawError {
    fn from(error: ProofError) -> Self {
        Self::Proof(Box::new(error))
    }
}

/// Why a package gives no pool.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PoolReadError {
    /// Not a package of questions with one test.
    #[error("the package has {0} tests of QTI 3.0, 2.2 or 2.1; expected one")]
    Tests(usize),
    /// Something in it is at fault.
    #[error(transparent)]
    Fault(#[from] PackageFault),
    /// An item claims no draw.
    #[error("{member}: it does not say what it was drawn from")]
    NoClaim {
        /// The item's file.
        member: String,
    },
    /// An item is not what it claims.
    #[error("{member}: {source}")]
    Redraw {
        /// The item's file.
        member: String,
        /// Why.
        source: RedrawError,
    },
    /// The questions make no pool.
    #[error(transparent)]
    Pool(#[from] PoolError),
}

/// Draws a question again under the name it has in the package.
///
/// # Errors
/// [`RedrawError`].
pub fn redraw(claim: &Drawn, id: &str, families: &[Family]) -> Result<Item, RedrawError> {
    let family = families.iter().find(|family| family.id == claim.family);
    let family = family.ok_or_else(|| RedrawError::NoFamily(claim.family.clone()))?;
    if family.version != claim.version {
        let (known, claimed) = (family.version, claim.version);
        return Err(RedrawError::Version { family: claim.family.clone(), known, claimed });
    }
    let drawn = family.draw(&claim.seed, claim.position, &claim.locale)?;
    let item = if drawn.id == id {
        drawn
    } else {
        Question { id: id.into(), ..drawn.question().clone() }.sealed().verify()?
    };
    match &claim.receipt {
        Some(claimed) if *claimed != item.receipt => {
            Err(RedrawError::Receipt { found: item.receipt.clone(), claimed: claimed.clone() })
        }
        _ => Ok(item),
    }
}

/// The pool that one of our packages was written from, and how: written so again, it gives the same bytes.
///
/// # Errors
/// [`PoolReadError`], the first thing that stands against it.
pub fn read_pool<R: Read + Seek>(
    package: &mut Package<R>,
    families: &[Family],
) -> Result<(Pool, PackageOptions), PoolReadError> {
    let tests = package.manifest.resources.iter().filter(|resource| resource.kind() == ResourceKind::Test);
    let tests: Vec<String> = tests.filter_map(|resource| resolve("", resource.href.as_deref()?)).collect();
    let [member] = &tests[..] else { return Err(PoolReadError::Tests(tests.len())) };
    let (test, faults) = package.test(member)?;
    if let Some(fault) = faults.into_iter().next() {
        return Err(fault.into());
    }
    let claims = claims(package);
    let sections = test.sections.iter().map(|section| pool_section(section, member, &claims, families));
    let sections: Vec<Section> = sections.collect::<Result<_, _>>()?;
    let first = sections.iter().flat_map(|section| &section.items).next();
    let locale = package.manifest.language.clone().or_else(|| first.map(|item| item.locale.to_string()));
    let options = options(package, Some(&test));
    Ok((Pool::new(test.identifier, test.title, locale.unwrap_or_default(), sections)?, options))
}

type Claims = BTreeMap<String, (String, Drawn)>;

/// Names and claims of drawn items by their files.
fn claims<R: Read + Seek>(package: &Package<R>) -> Claims {
    let claim = |resource: &super::Resource| {
        let Ok(Some(Claim::Drawn(drawn))) = Claim::of(&resource.entries) else { return None };
        Some((resolve("", resource.href.as_deref()?)?, (resource.identifier.clone(), drawn)))
    };
    package.manifest.resources.iter().filter_map(claim).collect()
}

fn pool_section(
    section: &TestSection,
    test: &str,
    claims: &Claims,
    families: &[Family],
) -> Result<Section, PoolReadError> {
    let item = |reference: &super::ItemRef| {
        let member = resolve(test, &reference.href).unwrap_or_else(|| reference.href.clone());
        let Some((id, claim)) = claims.get(&member) else { return Err(PoolReadError::NoClaim { member }) };
        redraw(claim, id, families).map_err(|source| PoolReadError::Redraw { member, source })
    };
    let items: Vec<Item> = section.items.iter().map(item).collect::<Result<_, _>>()?;
    let all = u32::try_from(items.len()).unwrap_or(u32::MAX);
    Ok(Section {
        id: section.identifier.clone(),
        title: section.title.clone(),
        pick: section.select.unwrap_or(all),
        items,
    })
}

/// How a package was written, as far as it tells; the rest as packages usually are.
pub(crate) fn options<R: Read + Seek>(package: &mut Package<R>, test: Option<&Test>) -> PackageOptions {
    let unstamped = PackageOptions::default();
    let stamp = package.stamp().unwrap_or(unstamped.timestamp);
    let manifest = &package.manifest;
    let solution = manifest.entries.iter().find(|entry| entry.catalog == SOLUTION_CATALOG);
    let solutions = [Solution::Withheld, Solution::AfterLastAttempt, Solution::ForScorers];
    let solution =
        solution.and_then(|entry| solutions.into_iter().find(|solution| solution.name() == entry.entry));
    let time_limit = test.and_then(|test| test.time_limit).and_then(|(seconds, late_submission)| {
        Some(TimeLimit { seconds: NonZeroU32::new(seconds)?, late_submission })
    });
    let shuffled = test.is_none_or(|test| test.sections.iter().all(|section| section.shuffle));
    PackageOptions {
        version: match manifest.kind {
            PackageKind::Qti(version) => version,
            PackageKind::CommonCartridge13 | PackageKind::Other(_) => {
                test.map_or(unstamped.version, |test| test.version)
            }
        },
        solution: solution.unwrap_or(unstamped.solution),
        attempts: test.and_then(|test| test.attempts).unwrap_or(unstamped.attempts),
        time_limit,
        ordering: if shuffled { Ordering::Shuffled } else { Ordering::AsInPool },
        timestamp: stamp,
        case_items: manifest.case_items.clone(),
        threads: unstamped.threads,
        scratch: unstamped.scratch,
    }
}
