//! Where the items of a package come from: something that hands out questions in a fixed order, each to be proven by whoever
//! takes it.
//!
//! A large pool does not fit into memory, and proving is most of the work of reading one. So a source hands out questions one
//! after the other, not yet proven, and a writer proves them on as many threads as it has and keeps none. A [`Pool`] is such a
//! source; so are [`Draws`] from a seed, and a file that is read anew each time. This module knows no files.
use std::{borrow::Cow, error::Error, ops::ControlFlow};

use qbank::{
    family::{DrawError, Family},
    pool::{Pool, Section},
    question::Item,
};

/// Why a source could not hand out its items: the cause is the source's own.
#[derive(Debug, thiserror::Error)]
#[error("the questions cannot be read: {0}")]
pub struct SourceError(pub Box<dyn Error + Send + Sync>);

/// What is known of a section before its items are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectionHead {
    /// Unique within the source.
    pub id: String,
    /// What teachers read.
    pub title: String,
    /// How many of its items a test draws for one pupil.
    pub pick: u32,
}

/// What the items of a section come to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// How many items there are.
    pub items: u32,
    /// The points of all items together.
    pub points: u32,
    /// The points of each item, if all have the same.
    points_each: Option<u32>,
}

impl Tally {
    /// Counts one more item.
    pub fn count(&mut self, item: &Item) {
        let points = item.max_points();
        self.points_each =
            if self.items == 0 { Some(points) } else { self.points_each.filter(|each| *each == points) };
        self.items += 1;
        self.points += points;
    }

    /// The most points a pupil can get who is given `pick` of the items, where every draw has the same.
    #[must_use]
    pub fn fixed_points(&self, pick: u32) -> Option<u32> {
        if pick == self.items { Some(self.points) } else { self.points_each.map(|each| each * pick) }
    }
}

impl From<&Section> for SectionHead {
    fn from(section: &Section) -> Self {
        Self { id: section.id.clone(), title: section.title.clone(), pick: section.pick }
    }
}

/// A question that a source has handed out.
pub struct Unproven<'s>(Box<Prove<'s>>);

type Prove<'s> = dyn FnOnce() -> Proven<'s> + Send + 's;

/// An item; none where a source turns out to have no question in that place.
pub type Proven<'s> = Result<Option<Cow<'s, Item>>, SourceError>;

impl<'s> Unproven<'s> {
    /// A question that is had and proven by this.
    pub fn new(prove: impl FnOnce() -> Proven<'s> + Send + 's) -> Self {
        Self(Box::new(prove))
    }

    /// The item: on whichever thread that is asked.
    ///
    /// # Errors
    /// [`SourceError`] if the question cannot be proven.
    pub fn prove(self) -> Proven<'s> {
        (self.0)()
    }
}

/// What is done with each question, and the number of its section.
pub type Visit<'s, 'v> = dyn FnMut(usize, Unproven<'s>) -> ControlFlow<()> + 'v;

/// Questions in sections.
pub trait ItemSource {
    /// Names the whole: letters, digits and hyphens, starting with a letter.
    fn id(&self) -> &str;

    /// What teachers read.
    fn title(&self) -> &str;

    /// Language and region of the texts.
    fn locale(&self) -> &str;

    /// The sections in their order.
    fn sections(&self) -> Vec<SectionHead>;

    /// Hands out every question, section by section, the same ones in the same order each time, until it is told to break.
    ///
    /// # Errors
    /// [`SourceError`] if a question cannot be had.
    fn visit<'s>(&'s self, each: &mut Visit<'s, '_>) -> Result<(), SourceError>;
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

    fn visit<'s>(&'s self, each: &mut Visit<'s, '_>) -> Result<(), SourceError> {
        for (index, section) in self.sections.iter().enumerate() {
            for item in &section.items {
                if each(index, Unproven::new(|| Ok(Some(Cow::Borrowed(item))))).is_break() {
                    return Ok(());
                }
            }
        }
        Ok(())
    }
}

/// A pool that is never held: its questions are drawn when they are needed.
pub struct Draws<'f> {
    /// Names it.
    pub id: String,
    /// What teachers read.
    pub title: String,
    /// Language and region.
    pub locale: String,
    /// Keys the draws.
    pub seed: String,
    /// Each with its family, and how many of its first positions are drawn; void ones are passed over.
    pub sections: Vec<(SectionHead, &'f Family, u32)>,
}

impl ItemSource for Draws<'_> {
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
        self.sections.iter().map(|(head, ..)| head.clone()).collect()
    }

    fn visit<'s>(&'s self, each: &mut Visit<'s, '_>) -> Result<(), SourceError> {
        for (index, (_, family, count)) in self.sections.iter().enumerate() {
            for position in 0..*count {
                let draw = move || match family.draw(&self.seed, position.into(), &self.locale) {
                    Ok(item) => Ok(Some(Cow::Owned(item))),
                    Err(DrawError::Void { .. }) => Ok(None),
                    Err(error) => Err(SourceError(error.into())),
                };
                if each(index, Unproven::new(draw)).is_break() {
                    return Ok(());
                }
            }
        }
        Ok(())
    }
}

/// Goes through a source and proves its items one after the other, until something fails.
///
/// # Errors
/// The first of `each`, or the source's own.
pub(crate) fn try_each<E: From<SourceError>>(
    source: &(impl ItemSource + ?Sized),
    mut each: impl FnMut(usize, &Item) -> Result<(), E>,
) -> Result<(), E> {
    let mut failed = None;
    source.visit(&mut |section, question| {
        failed = match question.prove() {
            Ok(item) => item.and_then(|item| each(section, &item).err()),
            Err(error) => Some(error.into()),
        };
        if failed.is_some() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })?;
    failed.map_or(Ok(()), Err)
}
