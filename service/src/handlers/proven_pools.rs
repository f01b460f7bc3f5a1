//! Pools that were read from the store and proven, kept for the next request.
//!
//! Proving a pool works every answer again; once for each stored text is enough. A pool that was replaced in the
//! store is noticed, because the stored text is compared with the one that was proven.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use actix_web::web;
use qbank::pool::Pool;

use super::answer::PageError;
use crate::storage::{PoolId, Storage};

/// The pools proven so far, by id.
#[derive(Default)]
pub struct ProvenPools(Mutex<HashMap<PoolId, Proven>>);

struct Proven {
    json: String,
    pool: Arc<Pool>,
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
    ) -> Result<Option<Arc<Pool>>, PageError> {
        let Some(stored) = storage.pool(id).await? else { return Ok(None) };
        if let Some(pool) = self.known(id, &stored.json) {
            return Ok(Some(pool));
        }
        // Seconds for a large pool, so not on the thread that serves others.
        let (json, proven) = web::block(move || {
            let proven = Pool::from_json(&stored.json);
            (stored.json, proven)
        })
        .await
        .map_err(|_| PageError::Record("proving a pool was interrupted".into()))?;
        let pool = Arc::new(proven.map_err(|error| PageError::Record(format!("pool {id}: {error}")))?);
        let entry = Proven { json, pool: Arc::clone(&pool) };
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(id.clone(), entry);
        Ok(Some(pool))
    }

    fn known(&self, id: &PoolId, json: &str) -> Option<Arc<Pool>> {
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.get(id).filter(|proven| proven.json == json).map(|proven| Arc::clone(&proven.pool))
    }
}
