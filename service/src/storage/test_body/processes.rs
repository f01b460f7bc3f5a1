//! Two processes on one store: what only one of them may do, one does, and both see it.

use tokio::task::JoinSet;

use super::*;

type Both = [Arc<dyn Storage>; 2];

macro_rules! on_every_store_of_two {
    ($($test:ident)+) => {
        mod in_a_file {
            use super::open;

            $(#[tokio::test(flavor = "multi_thread")]
            async fn $test() {
                let folder = tempfile::tempdir().unwrap();
                let address = format!("sqlite:{}", folder.path().join("store.db").display());
                super::$test([open(&address), open(&address)]).await;
            })+
        }

        mod in_postgres {
            use super::open;

            $(#[tokio::test(flavor = "multi_thread")]
            async fn $test() {
                if let Some(address) = super::super::server::database() {
                    super::$test([open(&address), open(&address)]).await;
                }
            })+
        }
    };
}

fn open(address: &str) -> Arc<dyn Storage> {
    crate::storage::open(address).unwrap()
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
