//! Pools, and the quizzes placed from them.

use super::*;

async fn pools_are_listed_and_replaced(store: Arc<dyn Storage>) {
    let pool = |title: &str| StoredPool {
        id: "p1".into(),
        title: title.to_owned(),
        item_count: 3,
        json: "{}".to_owned(),
    };
    assert_eq!(store.put_pool(pool("Rivers")).await.unwrap(), PutPool::New);
    assert_eq!(store.put_pool(pool("Bicycles")).await.unwrap(), PutPool::Replaced);
    assert_eq!(store.pool(&"p1".into()).await.unwrap(), Some(pool("Bicycles")));
    let listed = store.pools().await.unwrap();
    assert_eq!(listed.len(), 1);
    assert_eq!(listed[0].title, "Bicycles");
}

async fn a_placed_pool_keeps_its_content(store: Arc<dyn Storage>) {
    placement(store.as_ref(), "l1", 1).await;
    let pool = |json: &str| StoredPool {
        id: "p1".into(),
        title: "Rivers".to_owned(),
        item_count: 3,
        json: json.to_owned(),
    };
    assert_eq!(store.put_pool(pool("{}")).await.unwrap(), PutPool::Replaced, "the same content");
    assert_eq!(store.put_pool(pool(r#"{"other": 1}"#)).await.unwrap(), PutPool::InUse);
    assert_eq!(store.pool(&"p1".into()).await.unwrap(), Some(pool("{}")));
}

async fn a_found_line_item_stays_when_launches_name_none(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let endpoint = |line_item: Option<&str>| {
        Some(GradeEndpoint {
            line_item: line_item.map(|url| url.parse().unwrap()),
            line_items: Some("https://platform.example.org/items".parse().unwrap()),
            scopes: ["score".to_owned()].into(),
        })
    };
    let found = "https://platform.example.org/items/7";
    let relaunch = |line_item| NewPlacement { grades: endpoint(line_item), ..placed.quiz.clone() };
    place(store.as_ref(), relaunch(None)).await;
    store.set_line_item(&placed.id, &found.parse().unwrap()).await.unwrap();
    let again = place(store.as_ref(), relaunch(None)).await;
    assert_eq!(again.id, placed.id);
    assert_eq!(again.quiz.grades, endpoint(Some(found)));
    let moved = "https://platform.example.org/items/8";
    assert_eq!(place(store.as_ref(), relaunch(Some(moved))).await.quiz.grades, endpoint(Some(moved)));
    assert_eq!(store.placement_of(&placed.quiz.link).await.unwrap().map(|found| found.id), Some(placed.id));
}

on_every_store! {
    pools_are_listed_and_replaced
    a_placed_pool_keeps_its_content
    a_found_line_item_stays_when_launches_name_none
}
