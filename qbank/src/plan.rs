//! A plan: what a coordinator wants in a pool, as a TOML file, and the making of the pool.
use alloc::{
    boxed::Box,
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::Deserialize;

use crate::{
    family::{DrawError, Family},
    pool::{Pool, PoolError, Section},
    question::Item,
};

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
#[serde(deny_unknown_fields)]
pub struct PlannedSection {
    /// What teachers read.
    pub title: String,
    /// From which family its questions come.
    pub family: String,
    /// How many questions.
    pub count: u64,
    /// How many of them one pupil gets when the pool is a test.
    pub pick: u32,
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
    /// More questions than the family has.
    #[error(
        "section {section}: the family '{family}' yields {found} different questions, {wanted} are asked for"
    )]
    TooFew {
        /// Which section, from 1.
        section: usize,
        /// The family.
        family: String,
        /// How many could be drawn.
        found: usize,
        /// How many the plan asks for.
        wanted: u64,
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

fn us_english() -> String {
    "en-US".into()
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

    /// Draws and proves all questions. Sections of the same family go on where the one before stopped, so that no
    /// question stands twice in a pool.
    ///
    /// # Errors
    /// [`PlanError`], naming the section at fault.
    pub fn make(&self, families: &[Family], seed: Option<&str>) -> Result<Pool, PlanError> {
        let seed = seed.unwrap_or(&self.seed);
        let mut next_position = alloc::collections::BTreeMap::new();
        let mut sections = Vec::with_capacity(self.section.len());
        for (index, planned) in self.section.iter().enumerate() {
            let section = index + 1;
            let family = families
                .iter()
                .find(|family| family.id == planned.family)
                .ok_or_else(|| PlanError::UnknownFamily { section, family: planned.family.clone() })?;
            let from = next_position.entry(&planned.family).or_insert(0);
            let items = drawn(family, seed, *from, &self.locale, planned.count)
                .map_err(|source| PlanError::Draw { section, source: Box::new(source) })?;
            if (items.len() as u64) < planned.count {
                let (family, found, wanted) = (planned.family.clone(), items.len(), planned.count);
                return Err(PlanError::TooFew { section, family, found, wanted });
            }
            *from = items.last().map_or(*from, |item| item.position + 1);
            let id = format!("s{section}-{}", planned.family);
            sections.push(Section { id, title: planned.title.clone(), pick: planned.pick, items });
        }
        Ok(Pool::new(self.pool.clone(), self.title.clone(), self.locale.clone(), sections)?)
    }
}

fn drawn(family: &Family, seed: &str, from: u64, locale: &str, count: u64) -> Result<Vec<Item>, DrawError> {
    let wanted = usize::try_from(count).unwrap_or(usize::MAX);
    family.draws(seed, from, locale).take(wanted).collect()
}
