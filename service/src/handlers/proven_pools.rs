//! Pools that were read from the store and proven, kept for the next request.
//!
//! Proving a pool works every answer again; once for each stored text is enough. A pool that was replaced in the
//! store is noticed, because the stored text is compared with the one that was proven. A pool that is placed is never
//! replaced ([`Storage::put_pool`]), so for a placement its text is read once.

use std::collections::HashMap;
use std::ops::Deref;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use actix_web::web;
use qbank::accept::Credit;
use qbank::form::{Place, Strata};
use qbank::pool::Pool;
use qbank::question::Item;
use smol_str::SmolStr;
use tokio::sync::OnceCell;

use super::answer::PageError;
use crate::pages::quiz::AskedQuestion;
use crate::pages::spoken::Written;
use crate::remembered::Remembered;
use crate::storage::{Placement, PlacementId, PoolId, Storage};

/// Of how many placements the pools are remembered; then all are looked up again.
const PLACEMENTS_MOST: usize = 10_000;
/// For how many lengths of form a pool is kept cut up.
const LENGTHS_MOST: usize = 16;
/// How many forms of a length are kept, some 200 bytes each: a pupil's form is shown, saved and handed in.
const FORMS_MOST: usize = 16_000;
/// Of how many questions a pool keeps what they ask, and how many pieces of pages, some 2 kB each.
const ASKED_MOST: usize = 2_000;

/// The pools proven so far.
#[derive(Default)]
pub struct ProvenPools {
    by_id: Mutex<HashMap<PoolId, Known>>,
    /// A class comes all at once; whoever is first reads for all.
    placed: Mutex<HashMap<PlacementId, Arc<OnceCell<Arc<ProvenPool>>>>>,
}

struct Known {
    json: String,
    pool: Arc<ProvenPool>,
}

/// A pool whose answers were proven, with what drawing from it needs each time.
pub(crate) struct ProvenPool {
    pool: Pool,
    /// By the number of questions.
    cut: Remembered<usize, Arc<Cut>>,
    /// What questions ask, as pages show it, by item and by what its other forms earn.
    asked: Remembered<AskedKey, Arc<AskedQuestion>>,
    /// Questions as pages show them as long as nothing is answered, which is how nearly all are shown.
    unanswered: Remembered<(AskedKey, Numbered), Arc<Written>>,
}

/// A pool cut up for forms of one length, and the forms that were drawn from it. A seed draws the same for ever.
struct Cut {
    strata: Strata,
    /// By seed.
    forms: Remembered<String, Arc<[Place]>>,
}

/// An item, and what the right value in another form earns.
type AskedKey = (SmolStr, Option<&'static str>);

fn asked_key(item: &Item, credit: Option<Credit>) -> AskedKey {
    (item.id.clone(), credit.map(Credit::name))
}

/// The number of a question on its page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Numbered {
    /// From 1.
    pub(crate) number: usize,
    /// Of how many, where the page says so.
    pub(crate) of: Option<usize>,
}

impl Deref for ProvenPool {
    type Target = Pool;

    fn deref(&self) -> &Pool {
        &self.pool
    }
}

impl From<Pool> for ProvenPool {
    fn from(pool: Pool) -> Self {
        Self {
            pool,
            cut: Remembered::at_most(LENGTHS_MOST),
            asked: Remembered::at_most(ASKED_MOST),
            unanswered: Remembered::at_most(ASKED_MOST),
        }
    }
}

impl ProvenPool {
    /// As [`qbank::form::draw`].
    pub(crate) fn draw(&self, count: usize, seed: &str) -> Vec<&Item> {
        // A pool has no more forms than it has items, and longer ones are the same.
        let count = count.min(self.pool.items().count());
        let cut = self.cut.or(count, || {
            Arc::new(Cut { strata: Strata::of(&self.pool, count), forms: Remembered::at_most(FORMS_MOST) })
        });
        let form = cut.forms.or(seed.to_owned(), || cut.strata.places(&self.pool, seed).into());
        form.iter().filter_map(|place| place.of(&self.pool)).collect()
    }

    /// What an item of this pool asks, written by `write` the first time.
    pub(crate) fn asked(
        &self,
        item: &Item,
        credit: Option<Credit>,
        write: impl FnOnce() -> AskedQuestion,
    ) -> Arc<AskedQuestion> {
        self.asked.or(asked_key(item, credit), || Arc::new(write()))
    }

    /// An item of this pool with its number and without any answer, written by `write` the first time.
    pub(crate) fn unanswered(
        &self,
        item: &Item,
        credit: Option<Credit>,
        numbered: Numbered,
        write: impl FnOnce() -> Arc<Written>,
    ) -> Arc<Written> {
        self.unanswered.or((asked_key(item, credit), numbered), write)
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
        let pool = Arc::new(ProvenPool::from(pool));
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
        let known = self.place_of(&placement.id);
        let found = known.get_or_try_init(|| async {
            let id = &placement.quiz.pool;
            self.find(storage, id).await?.ok_or_else(|| PageError::NoPool(id.to_string()))
        });
        found.await.cloned()
    }

    fn place_of(&self, placement: &PlacementId) -> Arc<OnceCell<Arc<ProvenPool>>> {
        let mut placed = locked(&self.placed);
        if let Some(known) = placed.get(placement) {
            return Arc::clone(known);
        }
        if placed.len() >= PLACEMENTS_MOST {
            placed.clear();
        }
        Arc::clone(placed.entry(placement.clone()).or_default())
    }
}

/// A panic elsewhere leaves these maps whole: each is changed in one step.
fn locked<T>(map: &Mutex<T>) -> MutexGuard<'_, T> {
    map.lock().unwrap_or_else(PoisonError::into_inner)
}
