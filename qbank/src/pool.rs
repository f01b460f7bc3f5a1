//! A pool: proven items in sections, as a file that travels.
use alloc::{
    boxed::Box,
    collections::BTreeSet,
    string::{String, ToString},
    vec::Vec,
};

use serde::{Deserialize, Serialize};

use crate::{
    question::{Item, ProofError, Question, is_plain_id},
    receipt,
};

/// Proven items in sections.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pool {
    /// Names the pool in stores and packages: letters, digits and hyphens, starting with a letter.
    pub id: String,
    /// What teachers read.
    pub title: String,
    /// Language and region of its texts.
    pub locale: String,
    /// At least one.
    pub sections: Vec<Section>,
}

/// Items that practise one thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Section {
    /// Unique within the pool.
    pub id: String,
    /// What teachers read.
    pub title: String,
    /// How many of its items a test draws for one pupil, when the whole pool is one test.
    pub pick: u32,
    /// At least `pick` items.
    pub items: Vec<Item>,
}

/// Why a text is no pool.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PoolError {
    /// Not the JSON of a pool.
    #[error("not a pool file: {0}")]
    Malformed(#[from] serde_json::Error),
    /// A question in it cannot be proven.
    #[error("section '{section}': {source}")]
    Proof {
        /// The section's id.
        section: String,
        /// Which question, and why.
        source: Box<ProofError>,
    },
    /// The pool or a section has an id that cannot name a file, or shares it.
    #[error(
        "'{0}' is no usable id: it must start with a letter, hold letters, digits and hyphens only, and be there once"
    )]
    BadId(String),
    /// A section has fewer items than a test draws from it, or none.
    #[error("section '{section}' has {items} questions; a test draws {pick} of them")]
    TooFew {
        /// The section's id.
        section: String,
        /// What it holds.
        items: usize,
        /// What a test draws.
        pick: u32,
    },
    /// There is no section.
    #[error("a pool needs at least one section")]
    Empty,
}

/// The file's form: questions that nobody has proven yet.
#[derive(Deserialize)]
struct PoolRecord {
    id: String,
    title: String,
    locale: String,
    sections: Vec<SectionRecord>,
}

#[derive(Deserialize)]
struct SectionRecord {
    id: String,
    title: String,
    pick: u32,
    questions: Vec<Question>,
}

#[derive(Serialize)]
struct PoolFile<'p> {
    id: &'p str,
    title: &'p str,
    locale: &'p str,
    sections: Vec<SectionFile<'p>>,
}

#[derive(Serialize)]
struct SectionFile<'p> {
    id: &'p str,
    title: &'p str,
    pick: u32,
    questions: &'p [Item],
}

impl Pool {
    /// Makes a pool of proven items.
    ///
    /// # Errors
    /// [`PoolError::BadId`], [`PoolError::TooFew`], [`PoolError::Empty`].
    pub fn new(id: String, title: String, locale: String, sections: Vec<Section>) -> Result<Self, PoolError> {
        let mut ids = BTreeSet::new();
        let items = sections.iter().flat_map(|section| &section.items).map(|item| item.id.as_str());
        let all = sections.iter().map(|section| section.id.as_str()).chain([id.as_str()]).chain(items);
        for one in all {
            if !is_plain_id(one) || !ids.insert(one) {
                return Err(PoolError::BadId(one.to_string()));
            }
        }
        for section in &sections {
            let items = section.items.len();
            if items == 0 || section.pick == 0 || (section.pick as usize) > items {
                return Err(PoolError::TooFew { section: section.id.clone(), items, pick: section.pick });
            }
        }
        if sections.is_empty() {
            return Err(PoolError::Empty);
        }
        Ok(Self { id, title, locale, sections })
    }

    /// Reads a pool file and proves every question in it.
    ///
    /// # Errors
    /// [`PoolError`], naming the first question or section at fault.
    pub fn from_json(text: &str) -> Result<Self, PoolError> {
        let record: PoolRecord = serde_json::from_str(text)?;
        let sections = record.sections.into_iter().map(SectionRecord::proven).collect::<Result<_, _>>()?;
        Self::new(record.id, record.title, record.locale, sections)
    }

    /// The pool as a file: the same pool gives the same bytes.
    ///
    /// # Panics
    /// Never: all keys are texts.
    #[must_use]
    pub fn to_json(&self) -> String {
        let sections = self.sections.iter().map(|section| SectionFile {
            id: &section.id,
            title: &section.title,
            pick: section.pick,
            questions: &section.items,
        });
        let file =
            PoolFile { id: &self.id, title: &self.title, locale: &self.locale, sections: sections.collect() };
        serde_json::to_string_pretty(&file).expect("a pool has text keys only").to_string() + "\n"
    }

    /// All items, section by section.
    pub fn items(&self) -> impl Iterator<Item = &Item> {
        self.sections.iter().flat_map(|section| &section.items)
    }

    /// The item with that id.
    #[must_use]
    pub fn item(&self, id: &str) -> Option<&Item> {
        self.items().find(|item| item.id == id)
    }

    /// A fingerprint of the whole content.
    #[must_use]
    pub fn receipt(&self) -> String {
        receipt::of(self)
    }
}

impl SectionRecord {
    fn proven(self) -> Result<Section, PoolError> {
        let items = self.questions.into_iter().map(|question| {
            question
                .verify()
                .map_err(|source| PoolError::Proof { section: self.id.clone(), source: Box::new(source) })
        });
        Ok(Section {
            items: items.collect::<Result<_, _>>()?,
            id: self.id,
            title: self.title,
            pick: self.pick,
        })
    }
}
