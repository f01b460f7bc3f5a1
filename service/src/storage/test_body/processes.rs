//! Two processes on one store: what only one of them may do, one does, and both see it.

use tokio::task::JoinSet;

use super::*;

type Both = [Arc<dyn Storage>; 2];

macro_rules! on_every_store_of_two {
    ($($test:ident)+) => {
        mod in_a_file {
            use super::both;

            $(#[tokio::test(flavor = "multi_thread")]
            async fn $test() {
                let folder = tempfile::tempdir().unwrap();
                let address = format!("sqlite:{}", folder.path().join("store.db").display());
                super::$test(both(&address)).await;
            })+
        }

        mod in_postgres {
            use super::both;

            $(#[tokio::test(flavor = "multi_thread")]
            async fn $test() {
                if let Some(address) = super::super::server::database() {
                    super::$test(both(&address)).await;
                }
            })+
        }
    };
}

fn open(address: &str) -> Arc<dyn Storage> {
    crate::storage::open(address).unwrap()
}

/// Opened at the same moment, as by processes that start together over an empty store.
fn both(address: &str) -> Both {
    let opening = [(); 2].map(|()| {
        let address = address.to_owned();
        std::thread::spawn(move || open(&address))
    });
    opening.map(|opening| opening.join().unwrap())
}

on_every_store_of_two! {
    both_can_write_at_once
    both_make_the_tables_of_an_empty_store
    a_login_state_is_taken_by_one
    a_pupil_who_begins_at_both_has_one_attempt
    an_attempt_handed_in_at_both_is_closed_once
    a_better_attempt_wins_whichever_is_handed_in_last
    a_grade_is_leased_by_one
    a_first_key_is_made_by_one
    what_a_process_sends_is_free_once_it_is_gone
    processes_whose_clocks_lie_apart_know_of_each_other_that_they_live
    one_of_both_may_do_what_is_claimed
    both_know_the_same_secret
    requests_are_counted_together
    a_job_is_seen_by_both_and_worked_on_by_one
    a_job_ends_with_its_process
}

/// Runs the same at both, many times over, and returns all outcomes.
async fn race<T: Send + 'static, F>(
    stores: &Both,
    times: usize,
    act: impl Fn(Arc<dyn Storage>, usize) -> F,
) -> Vec<T>
where
    F: Future<Output = T> + Send + 'static,
{
    let mut racing = JoinSet::new();
    for number in 0..times {
        for store in stores {
            racing.spawn(act(store.clone(), number));
        }
    }
    racing.join_all().await
}

/// As when `tenths load` writes while the service serves.
async fn both_can_write_at_once(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 1).await;
    let mut tasks = JoinSet::new();
    for number in 0..100 {
        let (store, placed) = (stores[number % 2].clone(), placed.clone());
        tasks.spawn(async move { submit(store.as_ref(), &placed, &format!("u{number}"), 5).await });
    }
    tasks.join_all().await;
    for store in stores {
        assert_eq!(store.delivery_queue().await.unwrap().waiting, 100);
    }
}

async fn both_make_the_tables_of_an_empty_store(stores: Both) {
    placement(stores[1].as_ref(), "l1", 1).await;
    assert_eq!(stores[0].placements().await.unwrap().len(), 1);
}

async fn a_login_state_is_taken_by_one(stores: Both) {
    let registered = stores[0].put_registration(registration("c1"), &change()).await.unwrap();
    for number in 0..20 {
        stores[0].add_login_state(login_state(registered.id, &format!("s{number}"))).await.unwrap();
    }
    let taken = race(&stores, 20, |store, number| async move {
        store.take_login_state(&Fingerprint::of(&format!("s{number}")), monday()).await.unwrap()
    });
    let taken = taken.await;
    assert_eq!(taken.iter().filter(|taken| matches!(taken, TakenState::Fresh(_))).count(), 20);
    assert_eq!(taken.iter().filter(|taken| matches!(taken, TakenState::Used)).count(), 20);
}

async fn a_pupil_who_begins_at_both_has_one_attempt(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 3).await;
    let begun = race(&stores, 20, |store, number| {
        let id = placed.id.clone();
        async move {
            let user = format!("u{number}").as_str().into();
            let announce = Announce::Begun { maximum: 10 };
            match store.start_attempt(&id, &user, "seed", announce, monday()).await.unwrap() {
                Started::Open(attempt) => attempt.id,
                other => panic!("{other:?}"),
            }
        }
    });
    let begun: BTreeSet<_> = begun.await.into_iter().collect();
    assert_eq!(begun.len(), 20);
}

async fn an_attempt_handed_in_at_both_is_closed_once(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 1).await;
    let mut open = Vec::new();
    for number in 0..20 {
        open.push(open_attempt(stores[0].as_ref(), &placed, &format!("u{number}")).await);
    }
    let closed = race(&stores, 20, |store, number| {
        let submission = submission(&open[number], 5);
        async move { matches!(store.submit_attempt(submission).await.unwrap(), Submitted::Closed(_)) }
    });
    assert_eq!(closed.await.into_iter().filter(|closed| *closed).count(), 20);
    assert_eq!(stores[1].delivery_queue().await.unwrap().waiting, 20);
}

/// A teacher changes the points of the first attempt while the second is handed in elsewhere.
async fn a_better_attempt_wins_whichever_is_handed_in_last(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 2).await;
    let mut second = Vec::new();
    for number in 0..20 {
        let user = format!("u{number}");
        submit(stores[0].as_ref(), &placed, &user, 3).await;
        second.push(open_attempt(stores[0].as_ref(), &placed, &user).await);
    }
    race(&stores, 20, |store, number| {
        let (placed, submission) = (placed.clone(), submission(&second[number], 8));
        async move {
            store.submit_attempt(submission).await.unwrap();
            store.send_again(&placed.id, None, &change()).await.unwrap();
        }
    })
    .await;
    let points: BTreeSet<_> = stores[0]
        .deliveries_at(&placed.id)
        .await
        .unwrap()
        .into_iter()
        .map(|delivery| delivery.progress.score().unwrap().points)
        .collect();
    assert_eq!(points, [8].into());
}

async fn a_grade_is_leased_by_one(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 1).await;
    for number in 0..60 {
        submit(stores[number % 2].as_ref(), &placed, &format!("u{number}"), 5).await;
    }
    let leased = race(&stores, 10, |store, _| async move {
        let room = Room { each: 4, except: BTreeSet::new() };
        let leased = store.lease_grades(monday(), later(60_000), &room).await.unwrap();
        leased.into_iter().map(|grade| grade.user).collect::<Vec<_>>()
    });
    let leased: Vec<_> = leased.await.into_iter().flatten().collect();
    let different: BTreeSet<_> = leased.iter().collect();
    assert_eq!(different.len(), leased.len(), "nobody's grade is sent by two");
    assert!(!leased.is_empty());
}

async fn a_first_key_is_made_by_one(stores: Both) {
    let registered = stores[0].put_registration(registration("c1"), &change()).await.unwrap();
    let made = race(&stores, 10, |store, number| async move {
        let key = ToolKey {
            kid: format!("k{number}-{:p}", Arc::as_ptr(&store).cast::<u8>()),
            registration: Some(registered.id),
            private: PrivateKey::Plain(vec![1]),
            created_at: monday(),
            signs_from: monday(),
            retires_at: None,
        };
        store.add_first_tool_key(key, &change()).await.unwrap()
    });
    assert_eq!(made.await.into_iter().filter(|made| *made).count(), 1);
}

async fn leased(store: &dyn Storage, now: Timestamp) -> usize {
    lease(store, now).await.len()
}

async fn what_a_process_sends_is_free_once_it_is_gone(stores: Both) {
    let placed = placement(stores[0].as_ref(), "l1", 1).await;
    for user in ["u1", "u2"] {
        submit(stores[0].as_ref(), &placed, user, 5).await;
    }
    for store in &stores {
        assert_eq!(store.beat(monday()).await.unwrap(), Beat::default());
    }
    let far = later(600_000);
    let first = stores[0].lease_grades(monday(), far, &room(&[])).await.unwrap();
    assert_eq!(first.len(), 2);
    // Both live: nothing is taken away.
    assert_eq!(signs(stores[1].as_ref(), 1..GONE_AFTER_SIGNS).await, Beat::default());
    assert_eq!(leased(stores[1].as_ref(), later(60)).await, 0);
    // The first has been silent for too long.
    let found = stores[1].beat(later(61)).await.unwrap();
    assert_eq!(found, Beat { gone: 1, released: 2, interrupted: 0 });
    let again = stores[1].lease_grades(later(62), far, &room(&[])).await.unwrap();
    assert_eq!(again.len(), 2);
    assert!(again[0].timestamp > first[0].timestamp);
    // It was only slow: what it says now counts no more, and it is one of the living again.
    finish(stores[0].as_ref(), &first[0], DeliveryOutcome::Delivered).await;
    assert_eq!(standing(stores[1].as_ref(), &placed, "u1").await.state, DeliveryState::Waiting);
    assert_eq!(stores[0].beat(later(63)).await.unwrap(), Beat::default());
    assert_eq!(stores[1].beat(later(64)).await.unwrap(), Beat::default());
    // Whoever ends says so.
    stores[1].leave(later(65)).await.unwrap();
    assert_eq!(leased(stores[0].as_ref(), later(66)).await, 2);
}

/// Signs of life of one process, at those moments; what they found together.
async fn signs(store: &dyn Storage, moments: impl IntoIterator<Item = u32>) -> Beat {
    let mut all = Beat::default();
    for moment in moments {
        let found = store.beat(later(i64::from(moment))).await.unwrap();
        all.gone += found.gone;
        all.released += found.released;
        all.interrupted += found.interrupted;
    }
    all
}

/// One clock is right, the other lies an hour behind and is set forward by two hours.
async fn processes_whose_clocks_lie_apart_know_of_each_other_that_they_live([here, there]: Both) {
    let hour = 3_600_000;
    for moment in 0..3 * i64::from(GONE_AFTER_SIGNS) {
        let off = if moment < 8 { -hour } else { hour };
        assert_eq!(here.beat(later(moment)).await.unwrap(), Beat::default(), "{moment}");
        assert_eq!(there.beat(later(moment + off)).await.unwrap(), Beat::default(), "{moment}");
    }
    // Of one that is gone it makes no difference what its clock had been.
    assert_eq!(signs(here.as_ref(), 100..100 + GONE_AFTER_SIGNS).await, Beat::default());
    assert_eq!(here.beat(later(200)).await.unwrap().gone, 1);
}

async fn one_of_both_may_do_what_is_claimed(stores: Both) {
    let until = later(1_000);
    let claimed =
        race(
            &stores,
            10,
            |store, _| async move { store.claim("columns of 1", monday(), until).await.unwrap() },
        );
    assert_eq!(claimed.await.into_iter().filter(|claimed| *claimed).count(), 1);
    assert!(stores[0].claim("columns of 2", monday(), until).await.unwrap());
    // Another's claim is not ended; it runs out.
    stores[1].give_up_claim("columns of 2").await.unwrap();
    assert!(!stores[1].claim("columns of 2", later(999), until).await.unwrap());
    assert!(stores[1].claim("columns of 2", until, later(2_000)).await.unwrap());
    stores[1].give_up_claim("columns of 2").await.unwrap();
    assert!(stores[0].claim("columns of 2", until, later(2_000)).await.unwrap());
}

async fn both_know_the_same_secret(stores: Both) {
    let secrets = race(&stores, 5, |store, number| async move {
        let fresh = format!("fresh {number} of {:p}", Arc::as_ptr(&store).cast::<u8>());
        store.shared_secret("forms", &fresh).await.unwrap()
    });
    let secrets: BTreeSet<_> = secrets.await.into_iter().collect();
    assert_eq!(secrets.len(), 1, "{secrets:?}");
    assert_eq!(stores[0].shared_secret("others", "mine").await.unwrap(), "mine");
}

async fn requests_are_counted_together(stores: Both) {
    // More than one statement takes, and some of them alone.
    let counts = |number: u64| -> Vec<RequestCount> {
        let count = |sender| RequestCount { sender: format!("s{sender:03}"), began_at: monday(), number };
        (0..150).rev().map(count).collect()
    };
    race(&stores, 5, move |store, _| async move { store.count_requests(counts(2)).await.unwrap() }).await;
    let mut totals = stores[0].count_requests(counts(1)).await.unwrap();
    totals.sort();
    assert_eq!(totals, counts(21).into_iter().rev().collect::<Vec<_>>());
    let next = RequestCount { sender: "s000".to_owned(), began_at: later(20_000), number: 3 };
    let first = stores[1].count_requests(vec![next.clone()]).await.unwrap();
    assert_eq!(first, std::slice::from_ref(&next));
    assert_eq!(stores[1].forget_request_counts(later(20_000)).await.unwrap(), 150);
    let again = stores[0].count_requests(vec![next]).await.unwrap();
    assert_eq!(again[0].number, 6, "what is newer stays");
}

async fn begin_job(store: &dyn Storage, id: &str, owner: &str, at: Timestamp) -> bool {
    let job = NewJob { id: id.to_owned(), owner: owner.to_owned(), title: format!("Package {id}") };
    store.begin_job(&job, 3, &Change { at, ..change() }).await.unwrap()
}

async fn state_of(store: &dyn Storage, id: &str) -> Option<JobState> {
    store.job("k", id).await.unwrap().map(|job| job.state)
}

fn package(length: usize) -> JobOutcome {
    let file = JobFile { name: "package.zip".to_owned(), length };
    JobOutcome { holds: true, lines: vec!["done".to_owned()], file: Some(file) }
}

async fn a_job_is_seen_by_both_and_worked_on_by_one([here, there]: Both) {
    assert!(begin_job(here.as_ref(), "a", "k", monday()).await);
    assert_eq!(state_of(there.as_ref(), "a").await, Some(JobState::Running { done: 0, parts: None }));
    assert!(here.note_job_progress("a", 1, 4).await.unwrap());
    assert!(!there.note_job_progress("a", 4, 4).await.unwrap(), "it works elsewhere");
    assert_eq!(state_of(there.as_ref(), "a").await, Some(JobState::Running { done: 1, parts: Some(4) }));
    for (place, bytes) in [vec![1, 2], vec![3]].into_iter().enumerate() {
        assert!(here.add_job_piece("a", place, bytes).await.unwrap());
    }
    assert_eq!(there.job_piece("k", "a", 0).await.unwrap(), None, "nothing is given out before it is done");
    assert!(here.end_job("a", &Ok(package(3)), later(1)).await.unwrap());
    assert!(!here.end_job("a", &Err("again".to_owned()), later(2)).await.unwrap());
    assert_eq!(state_of(there.as_ref(), "a").await, Some(JobState::Done(package(3))));
    assert_eq!(there.job_piece("k", "a", 1).await.unwrap(), Some(vec![3]));
    assert_eq!(there.job_piece("k", "a", 2).await.unwrap(), None);
    // It is nobody else's business.
    assert_eq!(there.job("another", "a").await.unwrap(), None);
    assert_eq!(there.job_piece("another", "a", 0).await.unwrap(), None);
    assert!(!there.forget_job("another", "a", &change()).await.unwrap());

    assert!(begin_job(there.as_ref(), "b", "k", later(10)).await);
    assert!(!here.forget_job("k", "b", &change()).await.unwrap(), "it runs");
    assert!(here.cancel_job("k", "b", &change()).await.unwrap());
    assert!(!there.note_job_progress("b", 1, 1).await.unwrap());
    assert!(!there.add_job_piece("b", 0, vec![1]).await.unwrap());
    assert!(!there.end_job("b", &Ok(package(1)), later(11)).await.unwrap());
    assert_eq!(state_of(here.as_ref(), "b").await, Some(JobState::Cancelled));

    // Of those that have ended the oldest makes room; those that run do not.
    for id in ["c", "d"] {
        assert!(begin_job(here.as_ref(), id, "k", later(20)).await);
    }
    let names: Vec<_> = there.jobs("k").await.unwrap().into_iter().map(|job| job.id).collect();
    assert_eq!(names, ["c", "d", "b"]);
    assert!(begin_job(there.as_ref(), "e", "k", later(30)).await);
    assert!(!begin_job(there.as_ref(), "f", "k", later(30)).await, "three run");
    assert!(begin_job(there.as_ref(), "f", "another", later(30)).await);
    assert!(here.end_job("c", &Err("no room".to_owned()), later(31)).await.unwrap());
    assert_eq!(state_of(there.as_ref(), "c").await, Some(JobState::Failed("no room".to_owned())));
    assert!(there.forget_job("k", "c", &change()).await.unwrap());
    assert!(here.end_job("d", &Ok(package(0)), later(32)).await.unwrap());
    assert_eq!(there.forget_old_jobs(later(32)).await.unwrap(), 0);
    assert_eq!(there.forget_old_jobs(later(33)).await.unwrap(), 1);
    let actions: Vec<_> = there
        .audit(&AuditQuery { registration: None, placement: None, before: None, limit: 50 })
        .await
        .unwrap()
        .into_iter()
        .map(|entry| entry.action)
        .collect();
    let begun = actions.iter().filter(|action| **action == Action::JobBegun).count();
    assert_eq!((begun, actions[0], actions.contains(&Action::JobCancelled)), (6, Action::JobForgotten, true));
}

async fn a_job_ends_with_its_process([here, there]: Both) {
    for store in [&here, &there] {
        store.beat(monday()).await.unwrap();
    }
    assert!(begin_job(here.as_ref(), "a", "k", monday()).await);
    assert!(begin_job(there.as_ref(), "b", "k", monday()).await);
    here.add_job_piece("a", 0, vec![1]).await.unwrap();
    let found = signs(there.as_ref(), 1..=GONE_AFTER_SIGNS).await;
    assert_eq!(found, Beat { gone: 1, released: 0, interrupted: 1 });
    assert_eq!(state_of(there.as_ref(), "a").await, Some(JobState::Interrupted));
    assert!(state_of(there.as_ref(), "b").await.unwrap().is_running());
    assert!(!here.end_job("a", &Ok(package(1)), later(1)).await.unwrap(), "it was told to be interrupted");
    there.leave(later(10)).await.unwrap();
    assert_eq!(state_of(here.as_ref(), "b").await, Some(JobState::Interrupted));
}

/// The connections are cut again and again while pupils hand in; they wait a little and are not told of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_connection_that_is_cut_is_opened_again() {
    let Some(address) = server::database() else { return };
    let store = open(&address);
    let placed = placement(store.as_ref(), "l1", 1).await;
    let mut told = 0;
    for number in 0..30 {
        if number % 3 == 0 {
            server::cut_connections(&address);
        }
        let user = format!("u{number}");
        let attempt = open_attempt(store.as_ref(), &placed, &user).await;
        let submitted = store.submit_attempt(submission(&attempt, 5)).await;
        told += usize::from(matches!(submitted, Ok(Submitted::Closed(_) | Submitted::AlreadyClosed(_))));
    }
    assert_eq!(told, 30);
    assert_eq!(store.delivery_queue().await.unwrap().waiting, 30);
}

/// The server of these tests has no certificate: who asks for an encrypted connection must not get another one.
#[tokio::test(flavor = "multi_thread")]
async fn no_connection_is_better_than_one_that_is_not_encrypted() {
    let Some(address) = server::database() else { return };
    let refused = crate::storage::open(&format!("{address}&sslmode=require")).err().unwrap().to_string();
    assert!(refused.contains("TLS"), "{refused}");
}
