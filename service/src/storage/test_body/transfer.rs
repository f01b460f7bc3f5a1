//! A store copied into another one, of every kind into every kind, is the same store.

use tempfile::TempDir;
use tokio::task::JoinSet;

use super::people::a_school_year;
use super::*;

/// An address of an empty store of each kind that can be had here.
fn empty_stores(folder: &TempDir, name: &str) -> Vec<String> {
    let file = format!("sqlite:{}", folder.path().join(name).display());
    [file].into_iter().chain(server::database()).collect()
}

/// Copying blocks, so it has a thread.
async fn copied(from: &str, to: &str) -> Result<Copied, StorageError> {
    let (from, to) = (from.to_owned(), to.to_owned());
    tokio::task::spawn_blocking(move || copy(&from, &to, Source::AtRest(monday()))).await.unwrap()
}

/// All that the interface tells of a store, as text.
async fn told(store: &dyn Storage) -> String {
    let mut told = format!("{:?}\n{:?}", store.registrations().await.unwrap(), store.pools().await.unwrap());
    for placement in store.placements().await.unwrap() {
        let id = &placement.id;
        told += &format!(
            "\n{placement:?}\n{:?}\n{:?}\n{:?}\n{:?}",
            store.attempts_at(id).await.unwrap(),
            store.members_at(id).await.unwrap(),
            store.deliveries_at(id).await.unwrap(),
            store.sheets_at(id).await.unwrap(),
        );
    }
    let trail = AuditQuery { registration: None, placement: None, before: None, limit: 1_000 };
    told + &format!(
        "\n{:?}\n{:?}\n{:?}\n{:?}",
        store.audit(&trail).await.unwrap(),
        store.tool_keys().await.unwrap(),
        store.api_tokens().await.unwrap(),
        store.invitations().await.unwrap(),
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_school_moves_without_losing_a_row_and_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    for (place, from) in empty_stores(&folder, "from.db").into_iter().enumerate() {
        let store = open(&from).unwrap();
        let [quiz, _] = a_school_year(store.as_ref()).await;
        let key = ToolKey {
            kid: "k1".to_owned(),
            registration: Some(quiz.quiz.link.registration),
            private: PrivateKey::Sealed { by: "seal".to_owned(), bytes: vec![0, 1, 255] },
            created_at: monday(),
            signs_from: monday(),
            retires_at: None,
        };
        assert!(store.add_first_tool_key(key, &change()).await.unwrap());
        let before = told(store.as_ref()).await;
        for to in empty_stores(&folder, &format!("to-{place}.db")) {
            let copied = copied(&from, &to).await.unwrap();
            assert!(copied.rows.contains(&("attempts", 4)), "{copied:?}");
            let moved = open(&to).unwrap();
            assert_eq!(told(moved.as_ref()).await, before);
            // Numbers that the database gives out go on behind those that came along.
            let other = moved.put_registration(registration("c2"), &change()).await.unwrap();
            assert!(other.id > quiz.quiz.link.registration);
            submit(moved.as_ref(), &quiz, "a new pupil", 7).await;
            let waiting = lease(moved.as_ref(), later(1_000)).await;
            assert!(waiting.iter().any(|grade| grade.user.as_str() == "a new pupil"));
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_in_memory_is_neither_copied_nor_filled() {
    let folder = tempfile::tempdir().unwrap();
    let file = format!("sqlite:{}", folder.path().join("a.db").display());
    drop(open(&file).unwrap());
    for (from, to) in [("sqlite::memory:", file.as_str()), (file.as_str(), "sqlite::memory:")] {
        let refused = copied(from, to).await.unwrap_err().to_string();
        assert!(refused.contains("gone with its process; expected sqlite:PATH"), "{refused}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_holds_something_is_not_filled() {
    let folder = tempfile::tempdir().unwrap();
    let from = format!("sqlite:{}", folder.path().join("from.db").display());
    a_school_year(open(&from).unwrap().as_ref()).await;
    for to in empty_stores(&folder, "to.db") {
        let store = open(&to).unwrap();
        let pool =
            StoredPool { id: "p9".into(), title: "Bridges".to_owned(), item_count: 1, json: "{}".to_owned() };
        store.put_pool(pool).await.unwrap();
        let before = told(store.as_ref()).await;
        assert_eq!(
            copied(&from, &to).await.unwrap_err().to_string().split(';').next(),
            Some("the store to fill is not empty: its table pools has rows")
        );
        assert_eq!(told(store.as_ref()).await, before);
    }
}

/// What was acknowledged before a copy began is in it, whole, although others go on handing in.
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_made_while_pupils_hand_in_is_of_one_moment() {
    let folder = tempfile::tempdir().unwrap();
    for from in empty_stores(&folder, "from.db") {
        let store = open(&from).unwrap();
        let placed = placement(store.as_ref(), "l1", 1).await;
        let hand_in = |number: u32| {
            let (store, placed) = (store.clone(), placed.clone());
            async move { submit(store.as_ref(), &placed, &format!("u{number}"), 5).await }
        };
        for number in 0..50 {
            hand_in(number).await;
        }
        let mut going_on = JoinSet::new();
        for number in 50..250 {
            going_on.spawn(hand_in(number));
        }
        let kind = from.split(':').next().unwrap();
        let to = format!("sqlite:{}", folder.path().join(format!("copy-of-{kind}.db")).display());
        copied(&from, &to).await.unwrap();
        going_on.join_all().await;
        let copy = open(&to).unwrap();
        let submitted = copy.attempts_at(&placed.id).await.unwrap();
        let submitted = submitted.iter().filter(|attempt| attempt.result.is_some()).count();
        assert!(submitted >= 50, "{submitted}");
        let graded = copy.deliveries_at(&placed.id).await.unwrap();
        let graded = graded.iter().filter(|delivery| delivery.progress.score().is_some()).count();
        assert_eq!(graded, submitted, "each closed attempt has its grade on its way");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_is_served_does_not_move() {
    let folder = tempfile::tempdir().unwrap();
    for from in empty_stores(&folder, "from.db") {
        let store = open(&from).unwrap();
        store.beat(later(-1_000)).await.unwrap();
        let to = format!("sqlite:{}", folder.path().join("to.db").display());
        assert!(matches!(copied(&from, &to).await, Err(StorageError::InUse { processes: 1 })));
        store.leave(monday()).await.unwrap();
        copied(&from, &to).await.unwrap();
        std::fs::remove_file(folder.path().join("to.db")).unwrap();
    }
}
