//! Pools that were read from the store and proven, kept for the next request.
//!
//! Proving a pool works every answer again; once for each stored text is enough. A pool that was replaced in the
//! store is noticed, because the stored text is compared with the one that was proven. A pool that is placed is never
//! replaced ([`Storage::put_pool`]), so for a placement its text is read once.

use std::collections::HashMap;
use std::ops::Deref;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use actix_web::web;
use qbank::form::Strata;
use qbank::pool::Pool;
use qbank::question::Item;

use super::answer::PageError;
use crate::storage::{Placement, PlacementId, PoolId, Storage};

/// Of how many placements the pools are remembered; then all are looked up again.
const PLACEMENTS_MOST: usize = 10_000;
/// For how many lengths of form a pool is kept cut up.
const STRATA_MOST: usize = 16;

/// The pools proven so far.
#[derive(Default)]
pub struct ProvenPools {
    by_id: Mutex<HashMap<PoolId, Known>>,
    placed: Mutex<HashMap<PlacementId, Arc<ProvenPool>>>,
}

struct Known {
    json: String,
    pool: Arc<ProvenPool>,
}

/// A pool whose answers were proven, with what drawing from it needs each time.
pub(crate) struct ProvenPool {
    pool: Pool,
    /// By the number of questions.
    strata: Mutex<HashMap<usize, Arc<Strata>>>,
}

impl Deref for ProvenPool {
    type Target = Pool;

    fn deref(&self) -> &Pool {
        &self.pool
    }
}

impl ProvenPool {
    /// As [`qbank::form::draw`].
    pub(crate) fn draw(&self, count: usize, seed: &str) -> Vec<&Item> {
        // A pool has no more forms than it has items, and longer ones are the same.
        let count = count.min(self.pool.items().count());
        let known = locked(&self.strata).get(&count).cloned();
        let strata = known.unwrap_or_else(|| self.cut(count));
        strata.draw(&self.pool, seed)
    }

    fn cut(&self, count: usize) -> Arc<Strata> {
        let cut = Arc::new(Strata::of(&self.pool, count));
        let mut strata = locked(&self.strata);
        if strata.len() >= STRATA_MOST {
            strata.clear();
        }
        strata.insert(count, Arc::clone(&cut));
        cut
    }
}

impl ProvenPools {
    /// The pool, if it is stored.
    ///
    /// # Errors
    /// When the store fails, or holds a pool that cannot be proven.
    pub(crate) async fn find(
        &self,
        storage: &dyn Storage,
        id: &PoolId,
    ) -> Result<Option<Arc<ProvenPool>>, PageError> {
        let Some(stored) = storage.pool(id).await? else { return Ok(None) };
        if let Some(known) = locked(&self.by_id).get(id).filter(|known| known.json == stored.json) {
            return Ok(Some(Arc::clone(&known.pool)));
        }
        // Seconds for a large pool, so not on the thread that serves others.
        let (json, proven) = web::block(move || {
            let proven = Pool::from_json(&stored.json);
            (stored.json, proven)
        })
        .await
        .map_err(|_| PageError::Record("proving a pool was interrupted".into()))?;
        let pool = proven.map_err(|error| PageError::Record(format!("pool {id}: {error}")))?;
        let pool = Arc::new(ProvenPool { pool, strata: Mutex::default() });
        locked(&self.by_id).insert(id.clone(), Known { json, pool: Arc::clone(&pool) });
        Ok(Some(pool))
    }

    /// The pool of a placement that is stored.
    ///
    /// # Errors
    /// As [`ProvenPools::find`]; [`PageError::NoPool`] if there is none.
    pub(crate) async fn of_placement(
        &self,
        storage: &dyn Storage,
        placement: &Placement,
    ) -> Result<Arc<ProvenPool>, PageError> {
        if let Some(known) = locked(&self.placed).get(&placement.id) {
            return Ok(Arc::clone(known));
        }
        let id = &placement.quiz.pool;
        let pool = self.find(storage, id).await?.ok_or_else(|| PageError::NoPool(id.to_string()))?;
        let mut placed = locked(&self.placed);
        if placed.len() >= PLACEMENTS_MOST {
            placed.clear();
        }
        placed.insert(placement.id.clone(), Arc::clone(&pool));
        Ok(pool)
    }
}

/// A panic elsewhere leaves these maps whole: each is changed in one step.
fn locked<T>(map: &Mutex<T>) -> MutexGuard<'_, T> {
    map.lock().unwrap_or_else(PoisonError::into_inner)
}
