//! Seeded chance: what a test does at random, it does again for the same seed.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// SplitMix64 (Steele, Lea and Flood 2014): small, and the same on every machine.
#[derive(Debug, Clone)]
pub struct Chance(u64);

impl Chance {
    /// Begins with that seed.
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// A chance of its own for the `number`th of many that act at once.
    #[must_use]
    pub fn of(seed: u64, number: u64) -> Self {
        let mut chance = Self(seed ^ number.wrapping_mul(0xd134_2543_de82_ef95));
        chance.next();
        chance
    }

    /// A seed that no earlier run had, to be told and repeated.
    pub fn fresh_seed() -> u64 {
        let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        (u64::from(since_1970.subsec_nanos()) << 20 ^ since_1970.as_secs()) % 1_000_000_000
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number from 0 up to `bound`, which it never is.
    ///
    /// # Panics
    /// If `bound` is 0.
    pub fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    /// A time shorter than that.
    pub fn within(&mut self, longest: Duration) -> Duration {
        let longest_ms = u64::try_from(longest.as_millis()).unwrap_or(u64::MAX);
        Duration::from_millis(self.below(longest_ms.max(1)))
    }
}
