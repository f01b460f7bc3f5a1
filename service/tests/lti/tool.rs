//! The service under test: in this process, on a free port of the loopback, with a clock that the test sets.

use std::net::TcpListener;
use std::sync::{Arc, Mutex};

use jiff::Timestamp;
use reqwest::Response;
use reqwest::header::{COOKIE, LOCATION, SET_COOKIE};
use serde_json::{Value, json};
use service::clock::{Clock, SettableClock};
use service::lti::FailedCheck;
use service::server::Server;
use service::settings::{Privacy, PublicUrl, REQUESTS_AT_ONCE, Reach, Settings};
use service::storage::{self, Actor, Change, NewRegistration, Storage, StoredPool};
use service::windows::Zone;
use url::Url;

use crate::platform::{CLIENT_ID, DEPLOYMENT, Platform, Signer, sign};

/// The service, a platform that is registered with it, and a browser's way to both.
pub(crate) struct Tool {
    pub(crate) server: Server,
    pub(crate) storage: Arc<dyn Storage>,
    pub(crate) clock: Arc<SettableClock>,
    pub(crate) platform: Platform,
    pub(crate) url: String,
    pub(crate) client: reqwest::Client,
    refusals: Mutex<Vec<Refusal>>,
}

/// A refusal that named its check.
#[derive(Debug, Clone)]
pub(crate) struct Refusal {
    /// Begins with the row of the checklist, if it is one.
    pub(crate) case: String,
    pub(crate) check: FailedCheck,
}

/// A login that has been started: what a platform and a browser know of it.
#[derive(Debug, Clone)]
pub(crate) struct StartedLogin {
    pub(crate) state: String,
    pub(crate) nonce: String,
    pub(crate) cookie: String,
    pub(crate) redirect: Url,
}

/// Who registers the platform.
pub(crate) fn change() -> Change {
    Change { at: monday(), by: Actor::CommandLine }
}

pub(crate) fn monday() -> Timestamp {
    "2026-03-02T08:05:00Z".parse().unwrap()
}

pub(crate) fn settings(public_url: &str) -> Settings {
    Settings {
        listen: "127.0.0.1:0".parse().unwrap(),
        public_url: PublicUrl::new("public url", &public_url.parse().unwrap(), Reach::PublicAndLoopback)
            .unwrap(),
        store: "sqlite::memory:".to_owned(),
        reach: Reach::PublicAndLoopback,
        behind_proxy: false,
        requests_per_second: None,
        requests_at_once: REQUESTS_AT_ONCE,
        drain: std::time::Duration::ZERO,
        seal_key: None,
        privacy: Privacy::default(),
        time_zone: Zone::UTC,
    }
}

/// What is registered for a platform.
pub(crate) fn registration(platform: &Platform) -> NewRegistration {
    let address = |path: &str| format!("{}{path}", platform.url).parse().unwrap();
    NewRegistration {
        issuer: platform.url.clone(),
        client_id: CLIENT_ID.into(),
        authorization_url: address("/authorize?kept=1"),
        token_url: address("/token"),
        keys_url: address("/keys"),
        audience: None,
        deployments: [DEPLOYMENT.into()].into(),
    }
}

pub(crate) fn pool() -> StoredPool {
    StoredPool {
        id: "river-day".into(),
        title: "River day".to_owned(),
        item_count: 12,
        json: "{}".to_owned(),
    }
}

impl Tool {
    pub(crate) async fn start() -> Self {
        Self::start_as("127.0.0.1", |_| {}).await
    }

    /// A service with other settings.
    pub(crate) async fn start_with(change_settings: impl FnOnce(&mut Settings)) -> Self {
        Self::start_as("127.0.0.1", change_settings).await
    }

    /// A service that is reached under a name of the loopback; the platform is always `127.0.0.1`.
    pub(crate) async fn start_on(host: &str) -> Self {
        Self::start_as(host, |_| {}).await
    }

    async fn start_as(host: &str, change_settings: impl FnOnce(&mut Settings)) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let url = format!("http://{host}:{}", listener.local_addr().unwrap().port());
        let platform = Platform::start();
        let storage = storage::open("sqlite::memory:").unwrap();
        storage.put_registration(registration(&platform), &change()).await.unwrap();
        storage.put_pool(pool()).await.unwrap();
        let clock = Arc::new(SettableClock::at(monday()));
        let mut settings = settings(&url);
        change_settings(&mut settings);
        let server = Server::start(listener, settings, storage.clone(), clock.clone()).await.unwrap();
        let client = reqwest::Client::builder()
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .build()
            .unwrap();
        Self { server, storage, clock, platform, url, client, refusals: Mutex::default() }
    }

    /// The parameters of a good login request.
    pub(crate) fn login_parameters(&self) -> Vec<(&'static str, String)> {
        vec![
            ("iss", self.platform.url.clone()),
            ("login_hint", "hint 7".to_owned()),
            ("target_link_uri", format!("{}/lti/launch", self.url)),
            ("lti_message_hint", "link=4&x=1".to_owned()),
            ("client_id", CLIENT_ID.to_owned()),
            ("lti_deployment_id", DEPLOYMENT.to_owned()),
        ]
    }

    pub(crate) async fn get_login(&self, parameters: &[(&str, String)]) -> Response {
        let mut url: Url = format!("{}/lti/login", self.url).parse().unwrap();
        url.query_pairs_mut().extend_pairs(parameters);
        self.client.get(url).send().await.unwrap()
    }

    /// Starts a good login.
    pub(crate) async fn login(&self) -> StartedLogin {
        self.login_by(&self.login_parameters()).await
    }

    /// Starts a login by those parameters, which must be good ones.
    pub(crate) async fn login_by(&self, parameters: &[(&str, String)]) -> StartedLogin {
        let response = self.get_login(parameters).await;
        assert_eq!(response.status(), 302);
        let cookie = response.headers()[SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned();
        let redirect: Url = response.headers()[LOCATION].to_str().unwrap().parse().unwrap();
        let value = |wanted: &str| {
            redirect.query_pairs().find(|(name, _)| name == wanted).expect(wanted).1.into_owned()
        };
        StartedLogin { state: value("state"), nonce: value("nonce"), cookie, redirect: redirect.clone() }
    }

    /// The claims of a good launch by a pupil.
    pub(crate) fn claims(&self, login: &StartedLogin) -> Value {
        let now = self.clock.now().as_second();
        json!({
            "iss": self.platform.url,
            "aud": CLIENT_ID,
            "sub": "pupil-7",
            "iat": now,
            "exp": now + 300,
            "nonce": login.nonce,
            "https://purl.imsglobal.org/spec/lti/claim/message_type": "LtiResourceLinkRequest",
            "https://purl.imsglobal.org/spec/lti/claim/version": "1.3.0",
            "https://purl.imsglobal.org/spec/lti/claim/deployment_id": DEPLOYMENT,
            "https://purl.imsglobal.org/spec/lti/claim/target_link_uri": format!("{}/lti/launch", self.url),
            "https://purl.imsglobal.org/spec/lti/claim/resource_link": {"id": "link-4", "title": "Litres in the river"},
            "https://purl.imsglobal.org/spec/lti/claim/roles":
                ["http://purl.imsglobal.org/vocab/lis/v2/membership#Learner"],
            "https://purl.imsglobal.org/spec/lti/claim/context": {"id": "course-1"},
            "https://purl.imsglobal.org/spec/lti/claim/custom":
                {"pool": "river-day", "questions": "5", "attempts": "2"},
            "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint": {
                "scope": ["https://purl.imsglobal.org/spec/lti-ags/scope/score"],
                "lineitem": format!("{}/items/9", self.platform.url),
            },
        })
    }

    /// The claims of a good deep-linking request by a teacher.
    pub(crate) fn placing_claims(&self, login: &StartedLogin) -> Value {
        let mut claims = self.claims(login);
        let members = claims.as_object_mut().unwrap();
        members.remove("https://purl.imsglobal.org/spec/lti/claim/resource_link");
        members.remove("https://purl.imsglobal.org/spec/lti/claim/custom");
        claims["sub"] = json!("teacher-1");
        claims["https://purl.imsglobal.org/spec/lti/claim/message_type"] = json!("LtiDeepLinkingRequest");
        claims["https://purl.imsglobal.org/spec/lti/claim/roles"] =
            json!(["http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor"]);
        claims["https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings"] = json!({
            "deep_link_return_url": format!("{}/return", self.platform.url),
            "accept_types": ["ltiResourceLink", "link"],
            "accept_presentation_document_targets": ["iframe", "window"],
            "accept_multiple": "true",
            "data": "opaque-17",
        });
        claims
    }

    /// Posts a launch.
    pub(crate) async fn launch(&self, cookie: &str, fields: &[(&str, &str)]) -> Response {
        let request = self.client.post(format!("{}/lti/launch", self.url)).form(fields);
        let request = if cookie.is_empty() { request } else { request.header(COOKIE, cookie) };
        request.send().await.unwrap()
    }

    /// Asserts that an answer is a refusal that names `check`, keeps that in mind, and returns its page.
    pub(crate) async fn refused(&self, response: Response, check: FailedCheck, case: &str) -> String {
        let page = assert_refused(response, check, case).await;
        self.refusals.lock().unwrap().push(Refusal { case: case.to_owned(), check });
        page
    }

    /// All refusals so far.
    pub(crate) fn refusals(self) -> Vec<Refusal> {
        self.refusals.into_inner().unwrap()
    }

    /// Posts a launch with well-signed claims that answer `login`.
    pub(crate) async fn launch_with(&self, login: &StartedLogin, claims: &Value) -> Response {
        let token = sign(GOOD_HEADER, &claims.to_string(), Signer::Own);
        self.launch(&login.cookie, &[("state", &login.state), ("id_token", &token)]).await
    }
}

pub(crate) const GOOD_HEADER: &str = r#"{"alg":"RS256","typ":"JWT","kid":"own"}"#;

/// Asserts that an answer is a refusal that names `check`, and returns its page.
pub(crate) async fn assert_refused(response: Response, check: FailedCheck, case: &str) -> String {
    let status = response.status().as_u16();
    assert!(response.headers().get(SET_COOKIE).is_none(), "{case}: a refused launch opens no session");
    let page = response.text().await.unwrap();
    assert!(page.contains(&format!(">{}</code>", check.name())), "{case}: expected {check}, got {page}");
    assert_eq!(status, check.status(), "{case}");
    page
}
