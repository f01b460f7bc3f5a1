//! What launches say about a placed link beyond who launches: its windows, and which column is its own (checklist
//! sections 2 and 3).

use serde_json::{Value, json};
use service::storage::{LinkKey, Placement};
use service::windows::{Edge, NamedBy, Zone};

use crate::platform::DEPLOYMENT;
use crate::tool::Tool;

/// Launches a link with these parameters besides the usual ones, and returns its placement.
async fn launch(tool: &Tool, link: &str, parameters: Value) -> Placement {
    let login = tool.login().await;
    let mut claims = tool.claims(&login);
    claims["https://purl.imsglobal.org/spec/lti/claim/resource_link"]["id"] = json!(link);
    let custom = &mut claims["https://purl.imsglobal.org/spec/lti/claim/custom"];
    custom.as_object_mut().unwrap().extend(parameters.as_object().unwrap().clone());
    assert_eq!(tool.launch_with(&login, &claims).await.status(), 303);
    let registration = tool.storage.registrations().await.unwrap().pop().unwrap().id;
    let link = LinkKey { registration, deployment: DEPLOYMENT.into(), resource_link: link.into() };
    tool.storage.placement_of(&link).await.unwrap().unwrap()
}

fn edges(placement: &Placement) -> Vec<(Edge, String, NamedBy)> {
    let edges = placement.quiz.windows.edges.iter();
    edges.map(|(edge, moment)| (*edge, moment.at.to_string(), moment.by)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn placed_dates_hold_until_a_launch_names_others() {
    let tool = Tool::start().await;
    let placed = json!({
        "placed_available_from": "2026-03-02T09:00:00Z",
        "placed_submission_until": "2026-03-06T22:00:00Z",
        "time_zone": "America/Chicago",
        // As a platform leaves what it does not know, and as another one empties it.
        "available_from": "$ResourceLink.available.startDateTime",
        "submission_until": "",
    });
    let teacher = |edge, at: &str| (edge, at.to_owned(), NamedBy::Teacher);
    let placement = launch(&tool, "link-4", placed.clone()).await;
    assert_eq!(
        edges(&placement),
        [
            teacher(Edge::AvailableFrom, "2026-03-02T09:00:00Z"),
            teacher(Edge::SubmissionUntil, "2026-03-06T22:00:00Z")
        ]
    );
    assert_eq!(placement.quiz.windows.zone.as_ref().map(Zone::name), Some("America/Chicago"));

    let mut moved = placed.clone();
    moved["submission_until"] = json!("2026-03-09T17:00:00-05:00");
    moved["available_until"] = json!("2026-03-20T00:00:00.000+00:00");
    let platform = |edge, at: &str| (edge, at.to_owned(), NamedBy::Platform);
    assert_eq!(
        edges(&launch(&tool, "link-4", moved.clone()).await),
        [
            teacher(Edge::AvailableFrom, "2026-03-02T09:00:00Z"),
            platform(Edge::AvailableUntil, "2026-03-20T00:00:00Z"),
            platform(Edge::SubmissionUntil, "2026-03-09T22:00:00Z"),
        ]
    );
    moved["available_until"] = json!("");
    let placement = launch(&tool, "link-4", moved).await;
    assert_eq!(edges(&placement).len(), 2, "a date that the platform took back is gone");
    assert_eq!(placement.quiz.windows.zone.as_ref().map(Zone::name), Some("America/Chicago"));
}

/// A date that nobody can read is as good as none, and no reason to lock a class out.
#[tokio::test(flavor = "multi_thread")]
async fn dates_and_zones_that_cannot_be_read_are_left_out() {
    let tool = Tool::start().await;
    for value in ["next Monday", "2026-03-02", "2026-03-02T09:00:00", "9999999999999", "null"] {
        let parameters =
            json!({"available_from": value, "placed_available_until": value, "time_zone": value});
        let placement = launch(&tool, "link-4", parameters).await;
        assert_eq!(edges(&placement), [], "{value}");
        assert_eq!(placement.quiz.windows.zone, None, "{value}");
    }
}

/// Checklist section 3: a copied course repeats parameters and line items under other link ids, so the `resourceId` of
/// the copy is the same, and two links of one pool have different ones.
#[tokio::test(flavor = "multi_thread")]
async fn a_column_is_named_by_its_link_and_stays_named_so_in_a_copied_course() {
    let tool = Tool::start().await;
    let id = |placement: Placement| placement.quiz.resource_id;
    let monday = id(launch(&tool, "link-4", json!({"quiz": "quiz-monday"})).await);
    let friday = id(launch(&tool, "link-5", json!({"quiz": "quiz-friday"})).await);
    let copied = id(launch(&tool, "link-40", json!({"quiz": "quiz-monday"})).await);
    assert_eq!(
        (monday.as_str(), friday.as_str(), copied.as_str()),
        ("quiz-monday", "quiz-friday", "quiz-monday")
    );
    let changed = id(launch(&tool, "link-4", json!({"quiz": "quiz-friday"})).await);
    assert_eq!(changed, "quiz-monday", "what a placement began with stays");
    assert_eq!(id(launch(&tool, "link-6", json!({})).await), "river-day", "as links were placed before");
}
