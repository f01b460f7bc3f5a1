//! What a request costs does not grow with what the store holds.
//!
//! Counted are pages that PostgreSQL touches, as it tells itself (`pg_statio_user_tables`): unlike times they come out alike on
//! a busy machine. An index grows by a level with each hundredfold or so, hence some room.

use std::io::Write as _;

use super::*;

/// Forty platforms, classes of 25, each pupil with a closed attempt; of every tenth the grade waits.
fn fill(rows: u32) -> String {
    format!(
        r#"INSERT INTO registrations (issuer, client_id, authorization_url, token_url, keys_url)
             SELECT 'https://p' || n, 'c', 'https://p/a', 'https://p/t', 'https://p/k' FROM generate_series(1, 40) n;
           INSERT INTO placements (id, registration, deployment, resource_link, title, pool, question_count,
                attempts_allowed, created_at)
             SELECT 'q' || n, (SELECT id FROM registrations WHERE issuer = 'https://p' || 1 + n % 40), 'd', 'l' || n,
                'Quiz', 'p1', 10, 3, 0 FROM generate_series(0, {rows} / 25) n;
           INSERT INTO attempts (id, placement, "user", number, seed, started_at, responses, submitted_at, marks,
                points, maximum)
             SELECT md5(n::text), 'q' || n / 25, 'u' || n, 1, 'seed', 1, '{{}}', 2, '[]', 7, 10
             FROM generate_series(1, {rows}) n;
           INSERT INTO outbox (placement, "user", version, progress, points, maximum, started_at, submitted_at, state,
                waiting_since, tries, next_try_at, registration)
             SELECT a.placement, a."user", 1, 'graded', 7, 10, 1, 2,
                CASE WHEN right(a."user", 1) = '0' THEN 'waiting' ELSE 'delivered' END, 2, 0, 2, p.registration
             FROM attempts a JOIN placements p ON p.id = a.placement;
           VACUUM ANALYZE;"#
    )
}

/// How many pages some submits, leases, deliveries and looks at a class touch in a store with so many rows.
async fn pages(rows: u32) -> Option<i64> {
    let address = server::database()?;
    let placed = placement(crate::storage::open(&address).unwrap().as_ref(), "l1", 1).await;
    for statement in fill(rows).split_inclusive(';') {
        server::order(&address, statement);
    }
    let before = server::number(&address, TOUCHED);
    let store = crate::storage::open(&address).unwrap();
    for number in 0..20 {
        submit(store.as_ref(), &placed, &format!("new {number}"), 5).await;
        let room = Room { each: 1, except: BTreeSet::new() };
        for grade in store.lease_grades(monday(), later(60_000), &room).await.unwrap() {
            store.finish_grade(&grade, &DeliveryOutcome::Delivered, monday()).await.unwrap();
        }
        store.next_grade_due(&BTreeSet::new()).await.unwrap();
        store.attempts_at(&"q3".into()).await.unwrap();
        store.deliveries_at(&"q3".into()).await.unwrap();
    }
    Some(touched_by(store, &address) - before)
}

/// Pages of tables and indexes that were touched so far.
const TOUCHED: &str = "SELECT coalesce(sum(heap_blks_read + heap_blks_hit + idx_blks_read + idx_blks_hit), 0)::bigint \
                       FROM pg_statio_user_tables";

/// The same once all has been told: sessions tell what they did when they end.
fn touched_by(store: Arc<dyn Storage>, address: &str) -> i64 {
    drop(store);
    std::thread::sleep(std::time::Duration::from_millis(500));
    server::number(address, TOUCHED)
}

/// How many pages some looks for what is due touch when so many grades wait that the database has not taken statistics of.
async fn pages_of_looks(waiting: u32) -> Option<i64> {
    let address = server::database()?;
    placement(crate::storage::open(&address).unwrap().as_ref(), "l1", 1).await;
    let delivered = "UPDATE outbox SET state = 'delivered'; VACUUM ANALYZE;";
    let begun = format!("UPDATE outbox SET state = 'waiting' WHERE substr(\"user\", 2)::int <= {waiting};");
    for statement in (fill(20_000) + delivered + &begun).split_inclusive(';') {
        server::order(&address, statement);
    }
    let before = server::number(&address, TOUCHED);
    let store = crate::storage::open(&address).unwrap();
    for _ in 0..20 {
        let room = Room { each: 1, except: BTreeSet::new() };
        assert_eq!(store.lease_grades(monday(), later(60_000), &room).await.unwrap().len(), 40);
        store.next_grade_due(&BTreeSet::new()).await.unwrap();
    }
    Some(touched_by(store, &address) - before)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_look_for_what_is_due_costs_no_more_when_many_begin_to_wait_at_once() {
    let (Some(few), Some(many)) = (pages_of_looks(1_000).await, pages_of_looks(20_000).await) else { return };
    let _ = writeln!(std::io::stderr(), "pages touched: {few} with 1,000 waiting, {many} with 20,000");
    assert!(few > 1_000, "{few}");
    assert!(many < 2 * few, "{few} pages with a thousand that wait, {many} with twenty thousand");
}

#[tokio::test(flavor = "multi_thread")]
async fn twenty_times_the_rows_touch_hardly_more_pages() {
    let (Some(few), Some(many)) = (pages(10_000).await, pages(200_000).await) else { return };
    // Straight to standard error, because the test harness swallows what is printed.
    let _ = writeln!(std::io::stderr(), "pages touched: {few} with 10,000 rows, {many} with 200,000");
    assert!(few > 1_000, "{few}");
    assert!(many < 2 * few, "{few} pages with ten thousand rows, {many} with two hundred thousand");
}
