//! A running platform, and a minimal tool: a key pair, a key set on a port of its own, and the messages it signs.

use std::net::TcpListener;
use std::sync::LazyLock;

use actix_web::{App, HttpResponse, HttpServer, web};
use reqwest::{Client, RequestBuilder, Response, StatusCode, redirect};
use serde_json::{Value, json};

use crate::practice::keys::SigningKey;
use crate::practice::{Person, Practice, PracticeSettings, Registration, ToolAddresses, clock};

/// The tool's published key; made once, since making one is slow.
pub(super) static TOOL_KEY: LazyLock<SigningKey> = LazyLock::new(|| SigningKey::generate().unwrap());
/// A key that nobody published.
pub(super) static OTHER_KEY: LazyLock<SigningKey> = LazyLock::new(|| SigningKey::generate().unwrap());

pub(super) const SCORE_SCOPE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";
pub(super) const LINE_ITEM_SCOPE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem";
pub(super) const READ_ONLY_SCOPE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem.readonly";
pub(super) const RESULT_SCOPE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly";
pub(super) const ROSTER_SCOPE: &str =
    "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly";
pub(super) const ITEM_TYPE: &str = "application/vnd.ims.lis.v2.lineitem+json";
pub(super) const ITEMS_TYPE: &str = "application/vnd.ims.lis.v2.lineitemcontainer+json";
pub(super) const SCORE_TYPE: &str = "application/vnd.ims.lis.v1.score+json";

pub(super) struct Stage {
    pub(super) practice: Practice,
    pub(super) client: Client,
    pub(super) tool: ToolAddresses,
}

impl Stage {
    /// A platform with a teacher (`t-1`) and 24 pupils (`p-01` to `p-24`).
    pub(super) async fn new() -> Stage {
        let tool = serve_tool_keys();
        let pupils = (1..=24).map(|n| Person { id: format!("p-{n:02}"), name: format!("Pupil Number{n}") });
        let settings = PracticeSettings {
            course_title: "River and bicycle days".to_owned(),
            teacher: Person { id: "t-1".to_owned(), name: "Ilse Brook".to_owned() },
            pupils: pupils.collect(),
            tool: tool.clone(),
        };
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let practice = Practice::start(listener, settings).await.unwrap();
        let client = Client::builder().no_proxy().redirect(redirect::Policy::none()).build().unwrap();
        Stage { practice, client, tool }
    }

    pub(super) fn registration(&self) -> Registration {
        self.practice.registration()
    }

    pub(super) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.practice.base_url())
    }

    /// A token for `scopes`, which must be granted.
    pub(super) async fn token(&self, scopes: &[&str]) -> String {
        let response = self.ask_token(&TOOL_KEY.sign(&TOOL_KEY.header(), &self.assertion()), scopes).await;
        assert_eq!(response.status(), StatusCode::OK);
        let body: Value = response.json().await.unwrap();
        body["access_token"].as_str().unwrap().to_owned()
    }

    /// The claims of a valid assertion.
    pub(super) fn assertion(&self) -> Value {
        let registration = self.registration();
        let now = clock::now().as_second();
        json!({
            "iss": registration.client_id,
            "sub": registration.client_id,
            "aud": registration.token_url,
            "iat": now,
            "exp": now + 300,
            "jti": clock::unguessable(),
        })
    }

    pub(super) async fn ask_token(&self, assertion: &str, scopes: &[&str]) -> Response {
        let form = [
            ("grant_type", "client_credentials"),
            ("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"),
            ("client_assertion", assertion),
            ("scope", &scopes.join(" ")),
        ];
        self.client.post(self.registration().token_url).form(&form).send().await.unwrap()
    }

    /// A request to a service with a token for `scope`.
    pub(super) async fn with_token(&self, request: RequestBuilder, scope: &str) -> Response {
        request.bearer_auth(self.token(&[scope]).await).send().await.unwrap()
    }
}

fn serve_tool_keys() -> ToolAddresses {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let keys = || async { HttpResponse::Ok().json(TOOL_KEY.key_set()) };
    let server = HttpServer::new(move || App::new().route("/keys", web::get().to(keys)));
    tokio::spawn(server.workers(1).disable_signals().listen(listener).unwrap().run());
    let address = |path: &str| format!("{base}{path}").parse().unwrap();
    ToolAddresses {
        login_url: address("/login"),
        launch_url: address("/launch"),
        keys_url: address("/keys"),
        deep_linking_url: address("/place"),
    }
}

/// Adds `/scores` or `/results` to the path of a line item's address and keeps its query.
pub(super) fn below(line_item: &str, name: &str) -> String {
    let (path, query) = line_item.split_once('?').unwrap();
    format!("{path}/{name}?{query}")
}
