//! A form: the questions that one pupil gets from a pool, and how alike the forms of many pupils are.
//!
//! Every pupil gets other numbers, and nobody should get the harder ones by chance. So a section's items are sorted by
//! the score of their profile ([`crate::profile`]) and cut into as many strata as questions are drawn; each stratum
//! gives one. A form then holds something of the easy end and something of the hard end of each section.
use alloc::{
    collections::{BTreeMap, BTreeSet},
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;

use crate::{
    draw::Draws,
    pool::{Pool, Section},
    profile::{Feature, Profile},
    question::Item,
};

/// A pupil's own selection of `count` items: sections in turn, so that each is practised, no item twice, in the
/// order of the sections and from easy to hard within one. The same pool, count and seed give the same form; fewer
/// items only if the pool has fewer. Every item of a section that gives any can be drawn.
#[must_use]
pub fn draw<'p>(pool: &'p Pool, count: usize, seed: &str) -> Vec<&'p Item> {
    Strata::of(pool, count).draw(pool, seed)
}

/// A pool's items, cut up for forms of one length. Cutting sorts the whole pool, so whoever draws many forms keeps it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Strata {
    /// By section: its strata, from easy to hard, none of them empty; of each item its place in the section.
    sections: Vec<Vec<Vec<usize>>>,
}

impl Strata {
    /// Cuts up a pool for forms of `count` items.
    #[must_use]
    pub fn of(pool: &Pool, count: usize) -> Self {
        let sections = pool.sections.iter().zip(shares(pool, count));
        Self { sections: sections.map(|(section, share)| strata(section, share)).collect() }
    }

    /// As [`draw`], from the pool that was cut up.
    #[must_use]
    pub fn draw<'p>(&self, pool: &'p Pool, seed: &str) -> Vec<&'p Item> {
        self.places(pool, seed).iter().filter_map(|place| place.of(pool)).collect()
    }

    /// Where in the pool that was cut up the items of a form stand, for whoever shows one form many times.
    #[must_use]
    pub fn places(&self, pool: &Pool, seed: &str) -> Vec<Place> {
        let sections = pool.sections.iter().zip(&self.sections).enumerate();
        let drawn = sections.flat_map(|(at, (section, strata))| {
            let mut draws = Draws::keyed(&format!("form/{}/{}/{seed}", pool.id, section.id));
            let items = strata.iter().filter_map(move |stratum| draws.one_of(stratum));
            items.map(move |item| Place { section: at, item: *item })
        });
        drawn.collect()
    }
}

/// Where an item stands in its pool.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    section: usize,
    item: usize,
}

impl Place {
    /// The item that stands there; none in a pool that is smaller than the one that was cut up.
    #[must_use]
    pub fn of(self, pool: &Pool) -> Option<&Item> {
        pool.sections.get(self.section)?.items.get(self.item)
    }
}

/// How many items each section gives: one each in turn, until the form is full or the pool empty.
fn shares(pool: &Pool, count: usize) -> Vec<usize> {
    let mut shares = alloc::vec![0_usize; pool.sections.len()];
    let mut left = count.min(pool.items().count());
    while left > 0 {
        for (share, section) in shares.iter_mut().zip(&pool.sections) {
            if left > 0 && *share < section.items.len() {
                *share += 1;
                left -= 1;
            }
        }
    }
    shares
}

/// The items from easy to hard, in `count` parts whose sizes differ by one at most. Items of one score lie by their
/// features, so that forms are alike in those, too; then by id.
fn strata(section: &Section, count: usize) -> Vec<Vec<usize>> {
    let mut items: Vec<usize> = (0..section.items.len()).collect();
    items.sort_by_cached_key(|place| {
        let item = &section.items[*place];
        let profile = item.profile();
        (profile.score(), profile, item.id.as_str())
    });
    let cut = |part: usize| part * items.len() / count.max(1);
    (0..count).map(|part| items[cut(part)..cut(part + 1)].to_vec()).collect()
}

/// How forms of one length from one pool differ.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spread {
    /// How many questions a form was asked to hold.
    pub count: usize,
    /// The scores of whole forms.
    pub score: Extent,
    /// How often each feature shows in a form.
    pub features: BTreeMap<Feature, Extent>,
}

/// Least, mean and greatest of a number that was counted for each of many forms.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extent {
    /// The least.
    pub least: u32,
    /// The greatest.
    pub greatest: u32,
    sum: u64,
    forms: u64,
}

/// Draws `forms` forms of `count` questions, with the seeds `0`, `1`, …, and tells how they differ.
#[must_use]
pub fn spread(pool: &Pool, count: usize, forms: u32) -> Spread {
    let strata = Strata::of(pool, count);
    let profiles = (0..forms).map(|form| {
        let items = strata.draw(pool, &form.to_string());
        items.iter().fold(Profile::default(), |sum, item| sum.with(item.profile()))
    });
    let profiles: Vec<Profile> = profiles.collect();
    let features: BTreeSet<Feature> =
        profiles.iter().flat_map(Profile::iter).map(|(feature, _)| feature).collect();
    let of = |feature: Feature| profiles.iter().map(|profile| profile.count(feature)).collect();
    Spread {
        count,
        score: profiles.iter().map(Profile::score).collect(),
        features: features.into_iter().map(|feature| (feature, of(feature))).collect(),
    }
}

impl Extent {
    /// The mean in tenths, rounded half up; 0 where there is no form.
    #[must_use]
    pub fn mean_tenths(&self) -> u64 {
        (20 * self.sum + self.forms).checked_div(2 * self.forms).unwrap_or(0)
    }

    /// Over how many forms it was counted.
    #[must_use]
    pub fn forms(&self) -> u64 {
        self.forms
    }

    /// From the least to the greatest.
    #[must_use]
    pub fn width(&self) -> u32 {
        self.greatest - self.least
    }
}

impl FromIterator<u32> for Extent {
    fn from_iter<I: IntoIterator<Item = u32>>(numbers: I) -> Self {
        numbers.into_iter().fold(Self::default(), |extent, number| Self {
            least: if extent.forms == 0 { number } else { extent.least.min(number) },
            greatest: extent.greatest.max(number),
            sum: extent.sum + u64::from(number),
            forms: extent.forms + 1,
        })
    }
}

impl fmt::Display for Extent {
    /// `31 to 35, mean 33.1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mean = self.mean_tenths();
        write!(f, "{} to {}, mean {}.{}", self.least, self.greatest, mean / 10, mean % 10)
    }
}

impl fmt::Display for Spread {
    /// `parallel forms of 6 questions: score 31 to 35, mean 33.1, over 1,000 forms`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (count, score, forms) = (self.count, self.score, grouped(self.score.forms));
        write!(f, "parallel forms of {count} questions: score {score}, over {forms} forms")
    }
}

/// A whole number with commas between groups of three digits.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut grouped = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_extent_tells_least_greatest_and_mean() {
        let extent: Extent = [33, 31, 35, 34].into_iter().collect();
        assert_eq!(extent.to_string(), "31 to 35, mean 33.3");
        assert_eq!((extent.width(), extent.forms()), (4, 4));
        assert_eq!(Extent::default().to_string(), "0 to 0, mean 0.0");
    }

    #[test]
    fn long_numbers_are_grouped() {
        assert_eq!([7, 100, 1_000, 1_234_567].map(grouped), ["7", "100", "1,000", "1,234,567"]);
    }
}
