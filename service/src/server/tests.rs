//! A server on loopback that has too much to do, or is about to end.

use std::net::Ipv4Addr;
use std::time::Duration;

use reqwest::{Client, Response};
use serde_json::Value;
use tokio::task::JoinSet;
use url::Url;

use super::*;
use crate::clock::SystemClock;
use crate::session::NewSession;
use crate::settings::ServeArguments;
use crate::storage::{self, Actor, Change, NewRegistration, SessionPurpose};

const FORM: &str = "application/x-www-form-urlencoded";

struct Stage {
    server: Server,
    client: Client,
    url: Url,
}

impl Stage {
    async fn set(store: &str, at_once: u32) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let listen = listener.local_addr().unwrap();
        let url: Url = format!("http://{listen}").parse().unwrap();
        let arguments = ServeArguments {
            requests_at_once: at_once.try_into().unwrap(),
            ..ServeArguments::on_loopback(listen, url.clone(), store)
        };
        let settings = Settings::check(arguments).unwrap();
        let storage = storage::open(store).unwrap();
        let server = Server::start(listener, settings, storage, Arc::new(SystemClock)).await.unwrap();
        let client =
            Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Self { server, client, url }
    }

    async fn get(&self, path: &str) -> Response {
        self.client.get(self.url.join(path).unwrap()).send().await.unwrap()
    }

    /// Why the server is not ready, if so.
    async fn not_ready(&self) -> Option<String> {
        assert_eq!(self.get("/health/live").await.status(), 200);
        let answer = self.get("/health/ready").await;
        let status = answer.status().as_u16();
        let told: Value = answer.json().await.unwrap();
        assert_eq!(status == 200, told["ready"].as_bool().unwrap(), "{told}");
        assert!(status == 200 || status == 503, "{status}");
        told["reason"].as_str().map(str::to_owned)
    }
}

fn seconds(answer: &Response) -> u64 {
    answer.headers()["retry-after"].to_str().unwrap().parse().unwrap()
}

#[actix_web::test]
async fn what_comes_beyond_the_requests_at_once_is_asked_to_come_again() {
    let stage = Stage::set("sqlite::memory:", 1).await;
    assert_eq!(stage.not_ready().await, None);
    let flight = stage.server.app.standing.enter().unwrap();
    assert_eq!(stage.not_ready().await.as_deref(), Some("requests"));
    for path in ["/metrics", "/static/tenths.css", "/static/again.js"] {
        assert_eq!(stage.get(path).await.status(), 200, "{path}");
    }

    // A page that was asked for tries again by itself, or by a link.
    let page = stage.get("/quiz/q1?question=2").await;
    assert_eq!(page.status(), 503);
    let after = seconds(&page);
    assert!((3..=10).contains(&after), "{after}");
    let page = page.text().await.unwrap();
    assert!(page.contains(&format!("data-seconds=\"{after}\"")), "{page}");
    assert!(page.contains("<a href=\"/quiz/q1?question=2\">Try again</a>"), "{page}");

    // A program hears the same in its own way.
    let answer = stage.get("/api/v1/pools").await;
    assert_eq!((answer.status().as_u16(), seconds(&answer) >= 3), (503, true));
    assert_eq!(answer.json::<Value>().await.unwrap()["code"], "busy");

    drop(flight);
    assert_eq!(stage.get("/quiz/q1").await.status(), 401, "nobody is signed in");
    stage.server.stop().await;
}

#[actix_web::test]
async fn the_page_that_asks_to_come_again_shows_in_the_frame_of_its_platform() {
    let stage = Stage::set("sqlite::memory:", 1).await;
    let app = &stage.server.app;
    let address = |path: &str| format!("https://platform.example.org/{path}").parse().unwrap();
    let platform = NewRegistration {
        issuer: "https://platform.example.org".into(),
        client_id: "client-1".into(),
        authorization_url: address("authorize"),
        token_url: address("token"),
        keys_url: address("keys"),
        audience: None,
        deployments: ["1".into()].into(),
    };
    let change = Change { at: app.clock.now(), by: Actor::CommandLine };
    let registration = app.storage.put_registration(platform, &change).await.unwrap();
    let session = NewSession {
        registration: &registration,
        deployment: "1".into(),
        user: Some("u1".into()),
        return_origin: None,
    };
    let (cookie, page) =
        session.open_unlaunched(app, SessionPurpose::Quiz { placement: "q1".into(), preview: false }).await;
    let cookie = cookie.to_str().unwrap().split(';').next().unwrap().to_owned();
    let _flight = app.standing.enter().unwrap();
    let asked = || stage.client.get(stage.url.join(&page).unwrap());
    for (request, framing) in [
        (asked().header("cookie", cookie), "frame-ancestors https://platform.example.org"),
        (asked(), "frame-ancestors 'none'"),
    ] {
        let answer = request.send().await.unwrap();
        assert_eq!(answer.status(), 503);
        let policy = answer.headers()["content-security-policy"].to_str().unwrap();
        assert!(policy.ends_with(framing), "{policy}");
    }
    stage.server.stop().await;
}

#[actix_web::test]
async fn a_form_that_could_not_be_taken_comes_back_with_all_that_was_typed() {
    let stage = Stage::set("sqlite::memory:", 1).await;
    let flight = stage.server.app.standing.enter().unwrap();
    let address = stage.url.join("/quiz/q1/a1/submit").unwrap();
    let typed = "csrf=c%22%3E&q1.answer=3%2C45&q2.why=a+%3Cb%3E%0D%0Ac&allow_empty=yes";
    let post = || stage.client.post(address.clone()).header("content-type", FORM).body(typed);
    let answer = post().header("accept-language", "es").send().await.unwrap();
    assert_eq!((answer.status().as_u16(), seconds(&answer) >= 3), (503, true));
    let policy = answer.headers()["content-security-policy"].to_str().unwrap().to_owned();
    let page = answer.text().await.unwrap();
    let page = scraper::Html::parse_document(&page);
    let select = |css: &str| scraper::Selector::parse(css).unwrap();
    let form = page.select(&select("form[data-again]")).next().unwrap();
    assert_eq!((form.attr("method"), form.attr("action")), (Some("post"), Some("/quiz/q1/a1/submit")));
    let fields: Vec<_> = form
        .select(&select("input[type=hidden]"))
        .map(|field| (field.attr("name").unwrap(), field.attr("value").unwrap()))
        .collect();
    // HTML reads CR LF as LF, and browsers send LF as CR LF again (from memory).
    let expected = [("csrf", "c\">"), ("q1.answer", "3,45"), ("q2.why", "a <b>\nc"), ("allow_empty", "yes")];
    assert_eq!(fields, expected);
    let button: String = form.select(&select("button")).next().unwrap().text().collect();
    assert_eq!(button, "Enviar otra vez");
    assert!(policy.contains("script-src 'self'") && policy.contains("form-action 'self'"), "{policy}");

    // The page's script keeps and sends again what it has, by itself.
    let answer = post().header("accept", "application/json").send().await.unwrap();
    assert_eq!((answer.status().as_u16(), seconds(&answer) >= 3), (503, true));
    assert_eq!(answer.json::<Value>().await.unwrap()["status"], 503);

    // Messages of platforms carry tokens, which stand on no page.
    let launch = stage.url.join("/lti/launch").unwrap();
    let launched = stage.client.post(launch).header("content-type", FORM).body("id_token=secret");
    let answer = launched.send().await.unwrap();
    assert_eq!(answer.status(), 503);
    let page = answer.text().await.unwrap();
    assert!(!page.contains("secret") && page.contains("Go back one page"), "{page}");

    // With room again the handler gets the form as it came.
    drop(flight);
    assert_eq!(post().send().await.unwrap().status(), 401, "nobody is signed in");
    stage.server.stop().await;
}

/// Somebody else holds the file; what is to be written waits until there is no room for more.
#[actix_web::test]
async fn a_store_that_takes_nothing_is_told_before_it_is_too_late() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tenths.db");
    let stage = Stage::set(&format!("sqlite:{}", path.display()), 1_000).await;
    assert_eq!(stage.not_ready().await, None);
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let room = stage.server.app.storage.queue().room;
    let mut waiting = JoinSet::new();
    for number in 0..=room + 200 {
        let storage = stage.server.app.storage.clone();
        waiting.spawn(async move { storage.give_up_claim(&format!("nothing {number}")).await });
    }
    let mut busy = 0;
    // Those for whom there is no place hear of it after two seconds, while the others wait for the file.
    while let Some(ended) = waiting.join_next().await {
        match ended.unwrap() {
            Err(StorageError::Busy) => busy += 1,
            other => panic!("{other:?}"),
        }
        if busy == 1 {
            assert!(stage.server.app.storage.queue().is_nearly_full());
            assert_eq!(stage.not_ready().await.as_deref(), Some("queue"));
        }
        if busy == 50 {
            break;
        }
    }
    other.execute_batch("ROLLBACK").unwrap();
    while let Some(ended) = waiting.join_next().await {
        assert!(matches!(ended.unwrap(), Ok(()) | Err(StorageError::Busy)));
    }
    for _ in 0..200 {
        if stage.not_ready().await.is_none() {
            stage.server.stop().await;
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("it does not get ready again: {:?}", stage.not_ready().await);
}

#[actix_web::test]
async fn a_full_disk_and_a_silent_store_are_told() {
    let stage = Stage::set("sqlite::memory:", 10).await;
    let standing = &stage.server.app.standing;
    standing.met(Some(&StorageError::Full("0 bytes are left".to_owned())));
    assert_eq!(stage.not_ready().await.as_deref(), Some("disk"));
    standing.met(Some(&StorageError::Unavailable("connection refused".to_owned())));
    assert_eq!(stage.not_ready().await.as_deref(), Some("store"));
    standing.met(None);
    assert_eq!(stage.not_ready().await, None);
    stage.server.stop().await;
}

#[actix_web::test]
async fn a_server_that_is_about_to_end_says_so_and_still_answers() {
    let stage = Stage::set("sqlite::memory:", 10).await;
    assert!(stage.get("/lti/keys").await.headers().get("connection").is_none());
    stage.server.app.standing.drain();
    assert_eq!(stage.not_ready().await.as_deref(), Some("draining"));
    let answer = stage.get("/lti/keys").await;
    assert_eq!(answer.status(), 200);
    assert_eq!(answer.headers()["connection"], "close", "the next request goes elsewhere");
    stage.server.stop().await;
}
