//! The pages, with and without cookies, and starting and stopping.

use std::net::TcpListener;

use reqwest::{Client, StatusCode, redirect};
use serde_json::json;

use super::browser::{authorization, authorize, claims, initiate, placed_quiz};
use super::stage::Stage;
use crate::practice::{Person, Practice, PracticeError, PracticeSettings};

async fn text(stage: &Stage, path: &str) -> String {
    stage.client.get(stage.url(path)).send().await.unwrap().text().await.unwrap()
}

/// Enters as a person and returns the cookie.
async fn enter(stage: &Stage, person: &str) -> String {
    let request = stage.client.post(stage.url("/enter")).form(&[("person", person)]);
    let response = request.send().await.unwrap();
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    let cookie = response.headers()["set-cookie"].to_str().unwrap();
    cookie.split(';').next().unwrap().to_owned()
}

#[actix_web::test]
async fn the_front_page_names_the_course_and_everyone_in_it() {
    let stage = Stage::new().await;
    let page = text(&stage, "/").await;
    assert!(page.contains("<h1>River and bicycle days</h1>"));
    assert_eq!(page.matches("<button name=\"person\"").count(), 25);
}

#[actix_web::test]
async fn pages_ask_who_is_there() {
    let stage = Stage::new().await;
    let response = stage.client.get(stage.url("/course")).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::UNAUTHORIZED);
    let response = stage.client.get(stage.url("/course?as=nobody")).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::NOT_FOUND);
}

#[actix_web::test]
async fn the_gradebook_is_for_the_teacher() {
    let stage = Stage::new().await;
    placed_quiz(&stage, "p-01").await;
    assert!(text(&stage, "/gradebook?as=t-1").await.contains("Hundredths"));
    let response = stage.client.get(stage.url("/gradebook?as=p-01")).send().await.unwrap();
    assert_eq!(response.status(), StatusCode::FORBIDDEN);
}

#[actix_web::test]
async fn a_launch_by_cookie_needs_the_same_person_at_the_authorization_endpoint() {
    let stage = Stage::new().await;
    let teacher = enter(&stage, "t-1").await;
    let pupil = enter(&stage, "p-01").await;
    let begin = stage.client.get(stage.url("/activities/add")).header("cookie", &teacher);
    let response = begin.send().await.unwrap();
    let location: url::Url = response.headers()["location"].to_str().unwrap().parse().unwrap();
    let login = location.query_pairs().into_owned().collect();

    assert_eq!(authorize(&stage, &authorization(&stage, &login)).await["error"], "login_required");
    for (cookie, expected) in [(pupil, "login_required"), (teacher, "id_token")] {
        let parameters = authorization(&stage, &login);
        let request = stage.client.get(stage.registration().authorization_url).query(&parameters);
        let page = request.header("cookie", cookie).send().await.unwrap().text().await.unwrap();
        assert!(page.contains(expected));
    }
}

#[actix_web::test]
async fn leaving_ends_the_session() {
    let stage = Stage::new().await;
    let cookie = enter(&stage, "p-01").await;
    let course = || stage.client.get(stage.url("/course")).header("cookie", &cookie);
    assert_eq!(course().send().await.unwrap().status(), StatusCode::OK);
    stage.client.post(stage.url("/leave")).header("cookie", &cookie).send().await.unwrap();
    assert_eq!(course().send().await.unwrap().status(), StatusCode::UNAUTHORIZED);
}

#[actix_web::test]
async fn a_frame_page_opens_the_activity_inside_itself() {
    let stage = Stage::new().await;
    let launched = placed_quiz(&stage, "p-01").await;
    let link = launched[&super::browser::lti("resource_link")]["id"].as_str().unwrap();
    let page = text(&stage, &format!("/frame/links/{link}?as=p-01")).await;
    assert!(
        page.contains(&format!("<iframe src=\"/links/{link}/open?as=p-01&#38;target=iframe\"")),
        "{page}"
    );
}

#[actix_web::test]
async fn what_a_test_in_another_process_needs_is_under_admin() {
    let stage = Stage::new().await;
    let registration: serde_json::Value =
        serde_json::from_str(&text(&stage, "/admin/registration").await).unwrap();
    assert_eq!(registration, json!(stage.registration()));
    assert_eq!(text(&stage, "/admin/journal").await, "[]");
    assert!(text(&stage, "/admin/gradebook").await.contains("\"p-24\""));
}

#[actix_web::test]
async fn stopping_frees_the_port() {
    let stage = Stage::new().await;
    claims(&stage, "/activities/add?as=t-1").await;
    initiate(&stage, "/activities/add?as=t-1").await;
    let base = stage.practice.base_url().to_owned();
    stage.practice.stop().await.unwrap();
    // A client of its own, without connections from before.
    let client = Client::builder().no_proxy().redirect(redirect::Policy::none()).build().unwrap();
    assert!(client.get(base).send().await.unwrap_err().is_connect());
}

#[actix_web::test]
async fn refuses_to_be_seen_by_other_machines_and_ids_used_twice() {
    let stage = Stage::new().await;
    let person = |id: &str| Person { id: id.to_owned(), name: "Someone".to_owned() };
    let settings = PracticeSettings {
        course_title: "Days".to_owned(),
        teacher: person("a"),
        pupils: vec![person("a")],
        tool: stage.tool.clone(),
    };
    let open = TcpListener::bind("0.0.0.0:0").unwrap();
    let refused = Practice::start(open, settings.clone()).await.err().unwrap();
    assert!(matches!(refused, PracticeError::NotLoopback(_)));
    let local = TcpListener::bind("127.0.0.1:0").unwrap();
    let refused = Practice::start(local, settings).await.err().unwrap();
    assert!(matches!(refused, PracticeError::PersonId(id) if id == "a"));
}
