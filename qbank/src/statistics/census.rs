//! The first reading of the marks: who answered what, and who can be compared with whom.
use alloc::{
    collections::{BTreeMap, BTreeSet},
    string::String,
    vec::Vec,
};

use sha2::{Digest, Sha256};

use super::LEAST;
use crate::{marking::Mark, pool::Pool};

/// Texts by small numbers, in the order in which they came.
#[derive(Clone, Debug, Default)]
pub(super) struct Numbered(BTreeMap<String, u32>);

impl Numbered {
    /// The text's number, a new one if it has none.
    pub(super) fn number(&mut self, text: &str) -> u32 {
        if let Some(number) = self.0.get(text) {
            return *number;
        }
        let number = u32::try_from(self.0.len()).expect("memory ends long before 2^32 texts");
        self.0.insert(text.into(), number);
        number
    }

    pub(super) fn find(&self, text: &str) -> Option<u32> {
        self.0.get(text).copied()
    }

    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Each text with its number, in the order of the texts.
    pub(super) fn sorted(&self) -> impl Iterator<Item = (&str, u32)> {
        self.0.iter().map(|(text, number)| (text.as_str(), *number))
    }
}

/// Pupils with comparable totals.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Group {
    pub(super) pupils: u64,
    /// Sum of their totals.
    pub(super) total: u128,
    /// Sum of the totals' squares.
    pub(super) squares: u128,
}

/// A pupil's total, and the fingerprints of what the pupil answered: sums of digests, so that the order does not
/// matter, and 128 bits wide, so that different questions do not come to the same by chance.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Person {
    pub(super) total: u64,
    pub(super) questions: u128,
    pub(super) families: u128,
}

/// A question as marks name it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    fingerprint: u128,
    /// The number of its family.
    pub(super) family: Option<u32>,
}

/// Finds who answered what. Add every mark, then make a [`super::Tally`] of it and add every mark again.
#[derive(Clone, Debug, Default)]
pub struct Census {
    family_of_item: BTreeMap<String, String>,
    pub(super) names: Numbered,
    pub(super) people: Vec<Person>,
    pub(super) questions: Numbered,
    pub(super) asked: Vec<Asked>,
    pub(super) families: Numbered,
    /// Fingerprint of each family.
    family_fingerprints: Vec<u128>,
    /// Pupils who answered any question of each family.
    pub(super) family_pupils: Vec<u64>,
    seen: BTreeSet<(u32, u32)>,
    seen_families: BTreeSet<(u32, u32)>,
}

impl Census {
    /// A census of marks whose questions are in a pool, or in none that is at hand: then a question's id tells its
    /// family, see [`family_of`].
    #[must_use]
    pub fn new(pool: Option<&Pool>) -> Self {
        let items = pool.into_iter().flat_map(Pool::items);
        let family_of_item = items.map(|item| (item.id.clone().into(), item.family.clone().into())).collect();
        Self { family_of_item, ..Self::default() }
    }

    /// Counts a mark; a second one of the same pupil and question changes nothing.
    pub fn add(&mut self, mark: &Mark) {
        let pupil = self.names.number(&mark.pupil);
        let question = self.question(&mark.question);
        if !self.seen.insert((pupil, question)) {
            return;
        }
        if self.people.len() < self.names.len() {
            self.people.push(Person::default());
        }
        let Asked { fingerprint, family } = self.asked[question as usize];
        let person = &mut self.people[pupil as usize];
        person.total += u64::from(mark.points);
        person.questions = person.questions.wrapping_add(fingerprint);
        // A question without a family is comparable with itself alone.
        let alike = family.map_or(fingerprint, |family| self.family_fingerprints[family as usize]);
        person.families = person.families.wrapping_add(alike);
        if let Some(family) = family
            && self.seen_families.insert((family, pupil))
        {
            self.family_pupils[family as usize] += 1;
        }
    }

    fn question(&mut self, id: &str) -> u32 {
        let number = self.questions.number(id);
        if self.asked.len() < self.questions.len() {
            let known = self.family_of_item.get(id).map(String::as_str);
            let family = known.or_else(|| family_of(id)).map(|name| {
                let family = self.families.number(name);
                if self.family_pupils.len() < self.families.len() {
                    self.family_pupils.push(0);
                    self.family_fingerprints.push(fingerprint(name));
                }
                family
            });
            self.asked.push(Asked { fingerprint: fingerprint(id), family });
        }
        number
    }

    /// Frees what only the first reading needs.
    pub(super) fn ended(mut self) -> Self {
        self.seen = BTreeSet::new();
        self.seen_families = BTreeSet::new();
        self
    }

    /// Pupils by one of their fingerprints: groups of [`LEAST`] and more, and how many pupils are in smaller ones.
    pub(super) fn groups(&self, by: fn(&Person) -> u128) -> (BTreeMap<u128, Group>, u64) {
        let mut groups = BTreeMap::<u128, Group>::new();
        for person in &self.people {
            let group = groups.entry(by(person)).or_default();
            group.pupils += 1;
            group.total += u128::from(person.total);
            group.squares += u128::from(person.total).pow(2);
        }
        let small = groups.values().map(|group| group.pupils).filter(|pupils| *pupils < LEAST).sum();
        groups.retain(|_, group| group.pupils >= LEAST);
        (groups, small)
    }
}

/// The first 16 bytes of the SHA-256.
fn fingerprint(text: &str) -> u128 {
    let digest: [u8; 32] = Sha256::digest(text.as_bytes()).into();
    digest[..16].iter().fold(0, |sum, byte| sum << 8 | u128::from(*byte))
}

/// The family that a drawn question's id begins with: `add-ragged-v1-0f3c52aa-7` is of `add-ragged`. `None` for an id
/// of another form.
///
/// # Example
/// ```
/// use qbank::statistics::family_of;
/// assert_eq!(family_of("add-ragged-v1-0f3c52aa-7"), Some("add-ragged"));
/// assert_eq!(family_of("add-ragged"), None);
/// ```
#[must_use]
pub fn family_of(question: &str) -> Option<&str> {
    let mut parts = question.rsplitn(4, '-');
    let (position, seed, version) = (parts.next()?, parts.next()?, parts.next()?);
    let number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let drawn = number(position)
        && seed.len() == 8
        && seed.bytes().all(|byte| byte.is_ascii_hexdigit())
        && version.strip_prefix('v').is_some_and(number);
    parts.next().filter(|family| drawn && !family.is_empty())
}
