//! A form: the questions that one pupil gets from a pool.
use alloc::{format, vec::Vec};

use crate::{draw::Draws, pool::Pool, question::Item};

/// A pupil's own selection of `count` items: sections in turn, so that each is practised, no item twice, in the
/// order of the sections. The same pool, count and seed give the same form; fewer items only if the pool has fewer.
#[must_use]
pub fn draw<'p>(pool: &'p Pool, count: usize, seed: &str) -> Vec<&'p Item> {
    let shuffled: Vec<Vec<&Item>> = pool
        .sections
        .iter()
        .map(|section| {
            let mut items: Vec<&Item> = section.items.iter().collect();
            Draws::keyed(&format!("form/{}/{}/{seed}", pool.id, section.id)).shuffle(&mut items);
            items
        })
        .collect();
    let mut shares = alloc::vec![0_usize; shuffled.len()];
    let mut left = count.min(shuffled.iter().map(Vec::len).sum());
    while left > 0 {
        for (share, items) in shares.iter_mut().zip(&shuffled) {
            if left > 0 && *share < items.len() {
                *share += 1;
                left -= 1;
            }
        }
    }
    shuffled.iter().zip(shares).flat_map(|(items, share)| items[..share].iter().copied()).collect()
}
