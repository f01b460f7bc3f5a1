//! A plan: what a coordinator wants in a pool, as a TOML file, and the making of the pool.
use alloc::{
    boxed::Box,
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::{fmt, ops::RangeInclusive};

use serde::Deserialize;
use smol_str::SmolStr;

use crate::{
    family::{DrawError, Family, Seeded},
    pool::{Pool, PoolError, Section},
    question::{Item, StepKind},
};

/// After how many questions in a row outside the levels asked for a family is given up: it hardly ever meets them.
const PATIENCE: u32 = 200;

/// What a pool shall hold.
///
/// ```toml
/// pool = "river-day"
/// title = "River day: decimals"
/// seed = "river-day-1"
/// locale = "en-US"
///
/// [[section]]
/// title = "Adding lengths"
/// family = "add-ragged"
/// count = 24
/// pick = 2
///
/// [[section]]
/// title = "Sums and differences, not too hard"
/// standards = ["5.NBT.B.7"]
/// difficulty = [2, 3]
/// kind = "number"
/// count = 60
/// pick = 4
/// ```
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// The pool's id.
    pub pool: String,
    /// What teachers read.
    pub title: String,
    /// Keys the draws, unless another seed is given.
    pub seed: String,
    /// Language and region.
    #[serde(default = "us_english")]
    pub locale: String,
    /// At least one.
    pub section: Vec<PlannedSection>,
}

/// What a section shall hold.
#[derive(Clone, Debug, Deserialize)]
#[serde(try_from = "SectionFile")]
pub struct PlannedSection {
    /// What teachers read.
    pub title: String,
    /// From which families its questions come.
    pub source: Source,
    /// Which levels of difficulty its questions have; `difficulty = [from, to]` in the file, all without it.
    pub levels: RangeInclusive<u8>,
    /// At least one step of each question is of this kind, if one is named.
    pub kind: Option<StepKind>,
    /// How many questions.
    pub count: u64,
    /// How many of them one pupil gets when the pool is a test.
    pub pick: u32,
}

/// Where a section's questions come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// The family of that name.
    Family(String),
    /// All families for any of these curriculum codes, in turn.
    Standards(Vec<String>),
}

/// Which questions a section asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// From which families.
    pub source: Source,
    /// Of which levels of difficulty.
    pub levels: RangeInclusive<u8>,
    /// With a step of which kind, if one is named.
    pub kind: Option<StepKind>,
}

/// `questions of the family 'add-ragged' of levels 2 to 3 with a step of kind number`.
impl fmt::Display for Asked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.source {
            Source::Family(family) => write!(f, "questions of the family '{family}'")?,
            Source::Standards(codes) => write!(f, "questions for {}", codes.join(" or "))?,
        }
        match (self.levels.start(), self.levels.end()) {
            (1, 5) => {}
            (from, to) if from == to => write!(f, " of level {from}")?,
            (from, to) => write!(f, " of levels {from} to {to}")?,
        }
        self.kind.map_or(Ok(()), |kind| write!(f, " with a step of kind {}", kind.name()))
    }
}

/// A section as TOML spells it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SectionFile {
    title: String,
    family: Option<String>,
    standards: Option<Vec<String>>,
    difficulty: Option<[u8; 2]>,
    kind: Option<StepKind>,
    count: u64,
    pick: u32,
}

/// Why a plan makes no pool.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The file is no plan.
    #[error("line {line}, column {column}: {message}")]
    Malformed {
        /// From 1.
        line: usize,
        /// From 1.
        column: usize,
        /// What is wrong.
        message: String,
    },
    /// A family that is not at hand.
    #[error("section {section}: there is no family '{family}'; `tenths families` lists them")]
    UnknownFamily {
        /// Which section, from 1.
        section: usize,
        /// The family asked for.
        family: String,
    },
    /// A curriculum code that no family is for.
    #[error("section {section}: no family is for '{standard}'; there are families for {known}")]
    UnknownStandard {
        /// Which section, from 1.
        section: usize,
        /// The code asked for.
        standard: String,
        /// All codes that families are for.
        known: String,
    },
    /// Families are there, but none with such steps, or none that speaks the language.
    #[error("section {section}: no family has {asked} in {locale}")]
    NoFamily {
        /// Which section, from 1.
        section: usize,
        /// What was asked for.
        asked: Asked,
        /// The plan's language.
        locale: String,
    },
    /// More questions than there are.
    #[error("section {section}: {wanted} {asked} are asked for, {} different ones were found: {}",
        .found.iter().map(|family| family.count).sum::<usize>(),
        .found.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))]
    TooFew {
        /// Which section, from 1.
        section: usize,
        /// What was asked for.
        asked: Asked,
        /// How many the plan asks for.
        wanted: u64,
        /// How many could be drawn, by family.
        found: Vec<FamilyCount>,
    },
    /// A question could not be drawn.
    #[error("section {section}: {source}")]
    Draw {
        /// Which section, from 1.
        section: usize,
        /// Why.
        source: Box<DrawError>,
    },
    /// The questions make no pool.
    #[error(transparent)]
    Pool(#[from] PoolError),
}

/// What a family gave to a section.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FamilyCount {
    /// The family.
    pub family: String,
    /// How many questions that fit.
    pub count: usize,
    /// Whether it was given up, because it hardly ever meets the levels asked for; else it is used up.
    pub given_up: bool,
}

impl fmt::Display for FamilyCount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.family, self.count)?;
        if self.given_up { write!(f, " (then {PATIENCE} in a row of other levels)") } else { Ok(()) }
    }
}

fn us_english() -> String {
    "en-US".into()
}

impl TryFrom<SectionFile> for PlannedSection {
    type Error = &'static str;

    fn try_from(file: SectionFile) -> Result<Self, Self::Error> {
        let source = match (file.family, file.standards) {
            (Some(family), None) => Source::Family(family),
            (None, Some(standards)) if !standards.is_empty() => Source::Standards(standards),
            _ => return Err("a section takes either 'family', or 'standards' with one code or more"),
        };
        let [from, to] = file.difficulty.unwrap_or([1, 5]);
        if !(1 <= from && from <= to && to <= 5) {
            return Err("difficulty is [from, to], two levels from 1 to 5, the lower one first");
        }
        let (title, kind, count, pick) = (file.title, file.kind, file.count, file.pick);
        Ok(Self { title, source, levels: from..=to, kind, count, pick })
    }
}

impl PlannedSection {
    fn asked(&self) -> Asked {
        Asked { source: self.source.clone(), levels: self.levels.clone(), kind: self.kind }
    }

    /// A plain id, unique by its number.
    fn id(&self, number: usize) -> String {
        match &self.source {
            Source::Family(family) => format!("s{number}-{family}"),
            Source::Standards(codes) => format!("s{number}-{}", codes[0].replace('.', "-")),
        }
    }

    fn has_kind(&self, family: &Family) -> bool {
        self.kind.is_none_or(|kind| family.steps.iter().any(|step| step.kind == kind))
    }
}

impl Plan {
    /// Reads a plan file.
    ///
    /// # Errors
    /// [`PlanError::Malformed`] with line and column.
    pub fn from_toml(text: &str) -> Result<Self, PlanError> {
        toml::from_str(text).map_err(|error| {
            let start = error.span().map_or(0, |span| span.start);
            let before = text.get(..start).unwrap_or_default();
            PlanError::Malformed {
                line: before.matches('\n').count() + 1,
                column: before.rsplit('\n').next().unwrap_or_default().chars().count() + 1,
                message: error.message().to_string(),
            }
        })
    }

    /// The families that the plan names; `None` if a section chooses by curriculum code, and all must be at hand.
    #[must_use]
    pub fn families(&self) -> Option<BTreeSet<&str>> {
        self.section
            .iter()
            .map(|section| match &section.source {
                Source::Family(family) => Some(family.as_str()),
                Source::Standards(_) => None,
            })
            .collect()
    }

    /// Draws and proves all questions.
    ///
    /// A section that chooses by curriculum code takes one question of each fitting family in turn, by name, passing
    /// over families that are used up or that hardly ever meet the levels. No question stands twice in a pool: a
    /// section takes from a family what sections before it left.
    ///
    /// # Errors
    /// [`PlanError`], naming the section at fault.
    pub fn make(&self, families: &[Family], seed: Option<&str>) -> Result<Pool, PlanError> {
        let seed = seed.unwrap_or(&self.seed);
        let mut drawing = Drawing { families, seed, locale: &self.locale, used: BTreeMap::new() };
        let sections = self.section.iter().zip(1..).map(|(planned, number)| {
            let items = drawing.items(planned, number)?;
            Ok(Section { id: planned.id(number), title: planned.title.clone(), pick: planned.pick, items })
        });
        let sections = sections.collect::<Result<Vec<Section>, PlanError>>()?;
        Ok(Pool::new(self.pool.clone(), self.title.clone(), self.locale.clone(), sections)?)
    }
}

/// The making of one pool.
struct Drawing<'d> {
    families: &'d [Family],
    seed: &'d str,
    locale: &'d str,
    /// Positions that stand in the pool, by family.
    used: BTreeMap<&'d str, BTreeSet<u64>>,
}

/// A family that a section draws from.
struct Supply<'d> {
    family: &'d Family,
    seeded: Result<Seeded<'d>, DrawError>,
    next: u64,
    count: usize,
    /// Questions of other levels since the last one that fits.
    misses: u32,
    ended: bool,
}

impl<'d> Drawing<'d> {
    fn items(&mut self, planned: &PlannedSection, section: usize) -> Result<Vec<Item>, PlanError> {
        let wanted = usize::try_from(planned.count).unwrap_or(usize::MAX);
        let fitting = self.fitting(planned, section)?.into_iter();
        let mut supplies: Vec<Supply<'d>> =
            fitting.map(|family| Supply::of(family, self.seed, self.locale)).collect();
        let mut items = Vec::new();
        while items.len() < wanted && supplies.iter().any(|supply| !supply.ended) {
            for supply in supplies.iter_mut().filter(|supply| !supply.ended) {
                if items.len() == wanted {
                    break;
                }
                let drawn = self.next(supply, &planned.levels);
                items.extend(drawn.map_err(|source| PlanError::Draw { section, source: Box::new(source) })?);
            }
        }
        if items.len() < wanted {
            let found = supplies.iter().map(Supply::told).collect();
            return Err(PlanError::TooFew { section, asked: planned.asked(), wanted: planned.count, found });
        }
        Ok(items)
    }

    /// The families that a section can draw from, by name.
    fn fitting(&self, planned: &PlannedSection, section: usize) -> Result<Vec<&'d Family>, PlanError> {
        let families = self.families.iter();
        let mut fitting: Vec<&Family> = match &planned.source {
            Source::Family(name) => {
                let found = families.filter(|family| family.id == *name).collect::<Vec<_>>();
                if found.is_empty() {
                    return Err(PlanError::UnknownFamily { section, family: name.clone() });
                }
                found.into_iter().filter(|family| planned.has_kind(family)).collect()
            }
            Source::Standards(codes) => {
                self.known_codes(codes, section)?;
                let serves = |family: &&Family| {
                    family.standards.iter().any(|code| codes.iter().any(|asked| asked == code))
                };
                let speaks = |family: &&Family| family.texts.contains_key(self.locale);
                families.filter(serves).filter(speaks).filter(|family| planned.has_kind(family)).collect()
            }
        };
        if fitting.is_empty() {
            let (asked, locale) = (planned.asked(), self.locale.to_string());
            return Err(PlanError::NoFamily { section, asked, locale });
        }
        fitting.sort_by(|one, other| one.id.cmp(&other.id));
        Ok(fitting)
    }

    fn known_codes(&self, codes: &[String], section: usize) -> Result<(), PlanError> {
        let known: BTreeSet<&str> =
            self.families.iter().flat_map(|family| &family.standards).map(SmolStr::as_str).collect();
        match codes.iter().find(|code| !known.contains(code.as_str())) {
            None => Ok(()),
            Some(standard) => Err(PlanError::UnknownStandard {
                section,
                standard: standard.clone(),
                known: known.into_iter().collect::<Vec<_>>().join(", "),
            }),
        }
    }

    /// The family's next question of these levels that is not yet in the pool.
    fn next(
        &mut self,
        supply: &mut Supply<'d>,
        levels: &RangeInclusive<u8>,
    ) -> Result<Option<Item>, DrawError> {
        let used = self.used.entry(&supply.family.id).or_default();
        while supply.misses < PATIENCE && u128::from(supply.next) < supply.family.capacity() {
            let position = supply.next;
            supply.next += 1;
            if used.contains(&position) {
                continue;
            }
            match supply.seeded.as_ref().map_err(Clone::clone)?.draw(position) {
                Ok(item) if levels.contains(&item.difficulty) => {
                    used.insert(position);
                    (supply.count, supply.misses) = (supply.count + 1, 0);
                    return Ok(Some(item));
                }
                Ok(_) => supply.misses += 1,
                Err(DrawError::Void { .. }) => {}
                Err(error) => return Err(error),
            }
        }
        supply.ended = true;
        Ok(None)
    }
}

impl<'d> Supply<'d> {
    fn of(family: &'d Family, seed: &'d str, locale: &str) -> Self {
        let seeded = family.seeded(seed, locale);
        Self { family, seeded, next: 0, count: 0, misses: 0, ended: false }
    }

    fn told(&self) -> FamilyCount {
        FamilyCount {
            family: self.family.id.to_string(),
            count: self.count,
            given_up: self.misses >= PATIENCE,
        }
    }
}
