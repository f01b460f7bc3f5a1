//! What was made before and is the same whenever it is made again, kept until it is too many.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Values by key; of more than are kept at most all are made anew.
#[derive(Debug)]
pub(crate) struct Remembered<K, V> {
    most: usize,
    known: Mutex<HashMap<K, V>>,
}

impl<K: Eq + Hash, V: Clone> Remembered<K, V> {
    /// None yet, and never more than `most`.
    pub(crate) fn at_most(most: usize) -> Self {
        Self { most, known: Mutex::default() }
    }

    /// What is known by this key, or else what `make` makes, while others go on asking.
    pub(crate) fn or(&self, key: K, make: impl FnOnce() -> V) -> V {
        if let Some(known) = self.locked().get(&key) {
            return known.clone();
        }
        let made = make();
        let mut known = self.locked();
        if known.len() >= self.most {
            known.clear();
        }
        known.insert(key, made.clone());
        made
    }

    /// A panic elsewhere leaves the map whole: it is changed in one step.
    fn locked(&self) -> MutexGuard<'_, HashMap<K, V>> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_known_is_not_made_again_until_there_is_too_much() {
        let remembered = Remembered::at_most(2);
        let made = std::cell::Cell::new(0);
        let ask = |key: u32| {
            let value = remembered.or(key, || {
                made.set(made.get() + 1);
                key * key
            });
            (value, made.get())
        };
        assert_eq!([3, 3, 4, 3, 4].map(ask), [(9, 1), (9, 1), (16, 2), (9, 2), (16, 2)]);
        // There is room for two: with the third, the others go.
        assert_eq!([5, 3, 5].map(ask), [(25, 3), (9, 4), (25, 4)]);
    }
}
