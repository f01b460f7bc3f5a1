//! Where the items of a package come from: something that can be gone through several times, in the same order.
//!
//! A package needs its items more than once (in the manifest, in the test, one by one), and a large pool does not fit
//! into memory. So writers ask a source for items one after the other and keep none. A [`Pool`] is such a source; a
//! file that is read anew each time is another. This module knows no files.
use std::error::Error;

use qbank::{
    pool::{Pool, Section},
    question::Item,
};

/// Why a source could not hand out its items: the cause is the source's own.
#[derive(Debug, thiserror::Error)]
#[error("the questions cannot be read: {0}")]
pub struct SourceError(pub Box<dyn Error + Send + Sync>);

/// What is known of a section without its items.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectionHead {
    /// Unique within the source.
    pub id: String,
    /// What teachers read.
    pub title: String,
    /// How many of its items a test draws for one pupil.
    pub pick: u32,
    /// How many items it holds.
    pub items: u32,
    /// The points of all items together.
    pub points: u32,
    /// The points of each item, if all have the same.
    pub points_each: Option<u32>,
}

impl SectionHead {
    /// A section that holds no item yet.
    #[must_use]
    pub fn new(id: String, title: String, pick: u32) -> Self {
        Self { id, title, pick, items: 0, points: 0, points_each: None }
    }

    /// Counts one more item.
    pub fn count(&mut self, item: &Item) {
        let points = item.max_points();
        self.points_each =
            if self.items == 0 { Some(points) } else { self.points_each.filter(|each| *each == points) };
        self.items += 1;
        self.points += points;
    }

    /// The most points a pupil can get in this section, where every draw has the same.
    #[must_use]
    pub fn fixed_points(&self) -> Option<u32> {
        if self.pick == self.items {
            Some(self.points)
        } else {
            self.points_each.map(|each| each * self.pick)
        }
    }
}

impl From<&Section> for SectionHead {
    fn from(section: &Section) -> Self {
        let mut head = Self::new(section.id.clone(), section.title.clone(), section.pick);
        section.items.iter().for_each(|item| head.count(item));
        head
    }
}

/// What is done with each item, and the number of its section.
pub type Visit<'v> = dyn FnMut(usize, &Item) + 'v;

/// Proven items in sections that can be gone through several times.
pub trait ItemSource {
    /// Names the whole: letters, digits and hyphens, starting with a letter.
    fn id(&self) -> &str;

    /// What teachers read.
    fn title(&self) -> &str;

    /// Language and region of the texts.
    fn locale(&self) -> &str;

    /// The sections in their order.
    fn sections(&self) -> Vec<SectionHead>;

    /// Hands out every item, section by section, the same ones in the same order each time.
    ///
    /// # Errors
    /// [`SourceError`] if an item cannot be had.
    fn visit(&self, each: &mut Visit<'_>) -> Result<(), SourceError>;
}

impl ItemSource for Pool {
    fn id(&self) -> &str {
        &self.id
    }

    fn title(&self) -> &str {
        &self.title
    }

    fn locale(&self) -> &str {
        &self.locale
    }

    fn sections(&self) -> Vec<SectionHead> {
        self.sections.iter().map(SectionHead::from).collect()
    }

    fn visit(&self, each: &mut Visit<'_>) -> Result<(), SourceError> {
        for (index, section) in self.sections.iter().enumerate() {
            section.items.iter().for_each(|item| each(index, item));
        }
        Ok(())
    }
}

/// Goes through a source until something fails.
///
/// # Errors
/// The first of `each`, or the source's own.
pub(crate) fn try_each<E: From<SourceError>>(
    source: &(impl ItemSource + ?Sized),
    mut each: impl FnMut(usize, &Item) -> Result<(), E>,
) -> Result<(), E> {
    let mut failed = None;
    source.visit(&mut |section, item| {
        // A source has no way to stop in between; what follows a failure is passed over.
        if failed.is_none() {
            failed = each(section, item).err();
        }
    })?;
    failed.map_or(Ok(()), Err)
}
