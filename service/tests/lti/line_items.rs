//! The gradebook column of a link (AGS 2.0, 3.1 and 3.2; checklist section 3): named, found, made, or missing, and never
//! made twice.

use serde_json::{Value, json};
use service::storage::{DeliveryState, GradeEndpoint, LinkKey, NewPlacement};

use crate::delivery::{Delivery, LINE_ITEM, SCORE, place, submit};
use crate::platform::Platform;

const READ_ONLY: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem.readonly";

fn endpoint(platform: &Platform, scope: &str) -> GradeEndpoint {
    GradeEndpoint {
        line_item: None,
        line_items: Some(format!("{}/items", platform.url).parse().unwrap()),
        scopes: [SCORE.to_owned(), scope.to_owned()].into(),
    }
}

/// A platform that names no line item in launches, with these there already.
async fn with_items(scope: &str, items: &[Value]) -> Delivery {
    let platform = Platform::start();
    for (item, number) in items.iter().zip(1..) {
        let mut item = item.clone();
        item["id"] = json!(format!("{}/items/{number}", platform.url));
        platform.book.lock().unwrap().line_items.push(item);
    }
    let endpoint = endpoint(&platform, scope);
    Delivery::open("sqlite::memory:", platform, Some(endpoint)).await
}

/// The number of the line item that a grade went to, or why it went nowhere.
async fn sent_to(delivery: &Delivery) -> Result<String, String> {
    delivery.submit("pupil-7", 7).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-7").await;
    if state != DeliveryState::Delivered {
        return Err(problem.unwrap());
    }
    let placement = delivery.storage.placement(&delivery.placement.id).await.unwrap().unwrap();
    let line_item = placement.quiz.grades.unwrap().line_item.expect("remembered");
    Ok(line_item.path().rsplit('/').next().unwrap().to_owned())
}

fn items(delivery: &Delivery) -> Vec<Value> {
    delivery.platform.book.lock().unwrap().line_items.clone()
}

fn item(link: Option<&str>, resource: &str, tag: &str) -> Value {
    match link {
        Some(link) => {
            json!({"label": "x", "scoreMaximum": 5, "resourceLinkId": link, "resourceId": resource, "tag": tag})
        }
        None => json!({"label": "x", "scoreMaximum": 5, "resourceId": resource, "tag": tag}),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_class_that_hands_in_together_makes_one_column() {
    let delivery = with_items(LINE_ITEM, &[item(Some("link-5"), "other", "grade")]).await;
    delivery.submit("pupil-7", 7).await;
    delivery.submit("pupil-8", 8).await;
    delivery.deliver().await;
    let points = |user| delivery.platform.points(user);
    assert_eq!((points("pupil-7"), points("pupil-8")), (Some(7), Some(8)));
    let items = items(&delivery);
    assert_eq!(items.len(), 2, "one more than before: {items:?}");
    let made = json!({"id": format!("{}/items/2", delivery.platform.url), "label": "Litres in the river",
        "scoreMaximum": 10, "resourceLinkId": "link-4", "resourceId": "river-day", "tag": "grade"});
    assert_eq!(items[1], made);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_processes_that_send_at_the_same_moment_make_one_column() {
    let folder = tempfile::tempdir().unwrap();
    let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
    let platform = Platform::start();
    let endpoint = endpoint(&platform, LINE_ITEM);
    let delivery = Delivery::open(&store, platform, Some(endpoint)).await;
    let other = delivery.another_process(&store).await;
    // More than one process takes at once, so that there is something for both.
    for pupil in 0..128 {
        delivery.submit(&format!("pupil-{pupil}"), 7).await;
    }
    let (here, there) = (delivery.app.deliverer.clone(), other.deliverer.clone());
    let (here, there) = tokio::join!(here.deliver_due(), there.deliver_due());
    assert_eq!((here.unwrap(), there.unwrap()), (64, 64));
    assert_eq!(items(&delivery).len(), 1);
    for pupil in 0..128 {
        assert_eq!(delivery.platform.points(&format!("pupil-{pupil}")), Some(7), "{pupil}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_links_own_column_is_found_on_whichever_page_it_is() {
    let mut others: Vec<_> = (0..5).map(|_| item(Some("link-4"), "something", "else")).collect();
    others.push(item(Some("link-4"), "river-day", "grade"));
    for scope in [LINE_ITEM, READ_ONLY] {
        let delivery = with_items(scope, &others).await;
        assert_eq!(sent_to(&delivery).await, Ok("6".to_owned()), "{scope}");
        let lists = delivery.platform.book.lock().unwrap().lists.clone();
        let link = "resource_link_id=link-4";
        let expected = [link.to_owned(), format!("{link}&page=1"), format!("{link}&page=2")];
        assert_eq!(lists, expected, "next pages as given");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn where_columns_may_only_be_read_exactly_one_must_fit() {
    let read_only = async |items: &[Value]| sent_to(&with_items(READ_ONLY, items).await).await;
    assert_eq!(read_only(&[item(Some("link-4"), "x", "y")]).await, Ok("1".to_owned()));
    assert!(read_only(&[]).await.unwrap_err().contains("no column"));
    let two = [item(Some("link-4"), "x", "y"), item(Some("link-4"), "x", "y")];
    assert!(read_only(&two).await.unwrap_err().contains("several columns"));
}

#[tokio::test(flavor = "multi_thread")]
async fn in_a_copied_course_the_copied_column_is_used_and_no_second_made() {
    for copied in
        [item(None, "river-day", "grade"), item(Some("link-of-the-old-course"), "river-day", "grade")]
    {
        let delivery = with_items(LINE_ITEM, &[item(None, "other", "grade"), copied]).await;
        assert_eq!(sent_to(&delivery).await, Ok("2".to_owned()));
        assert_eq!(items(&delivery).len(), 2, "none made");
    }
    let two = [item(None, "river-day", "grade"), item(None, "river-day", "grade")];
    let delivery = with_items(LINE_ITEM, &two).await;
    assert!(sent_to(&delivery).await.unwrap_err().contains("several columns"));
    assert_eq!(items(&delivery).len(), 2, "none made");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_quiz_of_the_same_pool_gets_a_column_of_its_own() {
    let delivery = with_items(LINE_ITEM, &[]).await;
    assert_eq!(sent_to(&delivery).await, Ok("1".to_owned()));
    let link = LinkKey { resource_link: "link-5".into(), ..delivery.placement.quiz.link.clone() };
    let grades = Some(endpoint(&delivery.platform, LINE_ITEM));
    let quiz = NewPlacement { link, grades, ..delivery.placement.quiz.clone() };
    let second = place(delivery.storage.as_ref(), quiz).await;
    submit(delivery.storage.as_ref(), &second, "pupil-7", 3).await;
    delivery.deliver().await;
    let links: Vec<_> = items(&delivery).iter().map(|item| item["resourceLinkId"].clone()).collect();
    assert_eq!(links, ["link-4", "link-5"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_column_of_a_link_without_a_title_has_the_pools() {
    let delivery = with_items(LINE_ITEM, &[]).await;
    let quiz = NewPlacement { title: " ".to_owned(), ..delivery.placement.quiz.clone() };
    place(delivery.storage.as_ref(), quiz).await;
    assert_eq!(sent_to(&delivery).await, Ok("1".to_owned()));
    assert_eq!(items(&delivery)[0]["label"], "River day");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_that_does_not_end_or_leads_elsewhere_makes_no_column() {
    for (next, why) in [
        ("/items?resource_link_id=link-4", "does not end"),
        ("http://192.0.2.1/items?page=2", "another host"),
    ] {
        let delivery = with_items(LINE_ITEM, &[]).await;
        delivery.platform.book.lock().unwrap().next_page = Some(next.to_owned());
        let problem = sent_to(&delivery).await.unwrap_err();
        assert!(problem.contains(why), "{problem}");
        assert!(items(&delivery).is_empty(), "a column that was not seen would be made twice");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_moved_column_is_found_once_by_a_whole_class_and_a_missing_pupil_is_parked() {
    let delivery = with_items(LINE_ITEM, &[item(Some("link-4"), "river-day", "grade")]).await;
    assert_eq!(sent_to(&delivery).await, Ok("1".to_owned()));
    {
        let mut book = delivery.platform.book.lock().unwrap();
        book.gone.push("1".to_owned());
        book.line_items.clear();
        let moved = format!("{}/items/44", delivery.platform.url);
        book.line_items
            .push(json!({"id": moved, "label": "x", "scoreMaximum": 5, "resourceLinkId": "link-4"}));
    }
    for number in 0..8 {
        delivery.submit(&format!("pupil-{number}"), 5).await;
    }
    delivery.deliver().await;
    assert_eq!(items(&delivery).len(), 1, "none made");
    for number in 0..7 {
        assert_eq!(delivery.platform.points(&format!("pupil-{number}")), Some(5));
    }
    delivery.platform.book.lock().unwrap().gone.push("44".to_owned());
    delivery.submit("pupil-9", 9).await;
    delivery.deliver().await;
    let (state, problem) = delivery.state("pupil-9").await;
    assert_eq!(state, DeliveryState::Parked);
    assert!(problem.unwrap().contains("404"));
}
