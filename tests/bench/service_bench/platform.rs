//! A platform that answers at once: it signs id tokens, gives out access tokens, takes scores and notes them in the order
//! in which they come. Nothing is checked, because its own time is not what is measured.

use std::collections::{BTreeMap, HashMap};
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::rsa::{KeyPair, KeySize};
use aws_lc_rs::signature::{KeyPair as _, RSA_PKCS1_SHA256};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::message::{Message, Messages};

/// What the platform calls us.
pub(crate) const CLIENT_ID: &str = "tool-1";
/// Our deployment there.
pub(crate) const DEPLOYMENT_ID: &str = "deployment-1";
/// How many pupils share a quiz, as in a class.
pub(crate) const PUPILS_A_CLASS: usize = 30;
const KEY_ID: &str = "key-1";
/// How long an id token is good for; tokens are signed some time before they are sent.
const TOKEN_LIFETIME_S: i64 = 3_600;

/// A score as it came (AGS 2.0, section 3.4).
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(crate) struct Score {
    user_id: String,
    timestamp: Timestamp,
    activity_progress: String,
}

/// A pupil's launch, but for nonce and signature.
#[derive(Debug, Clone)]
pub(crate) struct Pupil {
    pub(crate) id: String,
    pub(crate) class: usize,
}

impl Pupil {
    pub(crate) fn numbered(number: usize) -> Self {
        Self { id: format!("p-{number:06}"), class: number / PUPILS_A_CLASS }
    }
}

/// The platform, running on a thread of its own.
pub(crate) struct Platform {
    address: SocketAddr,
    key: KeyPair,
    shared: Arc<Shared>,
}

struct Shared {
    key_set: String,
    /// Scores are answered 503, for later.
    closed: AtomicBool,
    heard: Mutex<Heard>,
}

#[derive(Default)]
struct Heard {
    scores: Vec<Score>,
    first: Option<Instant>,
    last: Option<Instant>,
}

impl Shared {
    fn heard(&self) -> std::sync::MutexGuard<'_, Heard> {
        // Scores are only added, so a panic elsewhere leaves the list whole.
        self.heard.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Platform {
    pub(crate) fn start() -> anyhow::Result<Self> {
        let key = KeyPair::generate(KeySize::Rsa2048).context("a key can be made")?;
        let public = key.public_key();
        let key_set = json!({ "keys": [{
            "kty": "RSA", "use": "sig", "alg": "RS256", "kid": KEY_ID,
            "n": URL_SAFE_NO_PAD.encode(public.modulus().big_endian_without_leading_zero()),
            "e": URL_SAFE_NO_PAD.encode(public.exponent().big_endian_without_leading_zero()),
        }]});
        let shared = Arc::new(Shared {
            key_set: key_set.to_string(),
            closed: AtomicBool::new(false),
            heard: Mutex::default(),
        });
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?;
        let serving = shared.clone();
        std::thread::Builder::new().name("platform".into()).spawn(move || serve(listener, &serving))?;
        Ok(Self { address, key, shared })
    }

    /// Its own address with that path.
    pub(crate) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    /// Its published keys.
    pub(crate) fn key_set(&self) -> &str {
        &self.shared.key_set
    }

    /// An id token for a pupil who follows the link of their class (LTI 1.3 core, section 5.3; AGS 2.0, section 3.1).
    pub(crate) fn id_token(&self, pupil: &Pupil, nonce: &str, tool: &str, questions: u32) -> String {
        let (class, now) = (pupil.class, Timestamp::now().as_second());
        let lti = |name: &str| format!("https://purl.imsglobal.org/spec/lti/claim/{name}");
        let ags = |name: &str| format!("https://purl.imsglobal.org/spec/lti-ags/scope/{name}");
        let claims = json!({
            "iss": self.url(""),
            "aud": CLIENT_ID,
            "sub": pupil.id,
            "iat": now,
            "exp": now + TOKEN_LIFETIME_S,
            "nonce": nonce,
            "name": "Ines Tannberg",
            "locale": "en-US",
            (lti("version")): "1.3.0",
            (lti("message_type")): "LtiResourceLinkRequest",
            (lti("deployment_id")): DEPLOYMENT_ID,
            (lti("target_link_uri")): format!("{tool}/lti/launch"),
            (lti("roles")): ["http://purl.imsglobal.org/vocab/lis/v2/membership#Learner"],
            (lti("context")): { "id": format!("course-{class}"), "title": "Grade 5" },
            (lti("resource_link")): { "id": format!("link-{class}"), "title": "River day" },
            (lti("launch_presentation")): { "return_url": self.url("/course") },
            (lti("custom")): {
                "pool": "river-and-wheels", "questions": questions.to_string(), "attempts": "2",
                "quiz": format!("quiz-{class}"),
            },
            "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint": {
                "scope": [ags("lineitem"), ags("result.readonly"), ags("score")],
                "lineitems": self.url("/columns"),
                "lineitem": self.url(&format!("/columns/{class}")),
            },
            "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice": {
                "context_memberships_url": self.url(&format!("/members/{class}")),
                "service_versions": ["2.0"],
            },
        });
        let header = json!({ "typ": "JWT", "alg": "RS256", "kid": KEY_ID });
        let part = |part: &Value| URL_SAFE_NO_PAD.encode(part.to_string());
        let input = format!("{}.{}", part(&header), part(&claims));
        let mut signature = vec![0; self.key.public_modulus_len()];
        self.key
            .sign(&RSA_PKCS1_SHA256, &SystemRandom::new(), input.as_bytes(), &mut signature)
            .expect("a valid RSA key signs any message when the buffer is as long as its modulus");
        format!("{input}.{}", URL_SAFE_NO_PAD.encode(signature))
    }

    /// Whether scores are taken, or answered 'later'.
    pub(crate) fn take_scores(&self, taken: bool) {
        self.shared.closed.store(!taken, Ordering::Relaxed);
    }

    /// How many scores were taken.
    pub(crate) fn taken(&self) -> usize {
        self.shared.heard().scores.len()
    }

    /// Forgets all scores.
    pub(crate) fn forget(&self) {
        *self.shared.heard() = Heard::default();
    }

    /// The scores in the order in which they came, and the time from the first to the last.
    pub(crate) fn scores(&self) -> (Vec<Score>, Duration) {
        let heard = self.shared.heard();
        let took = heard.first.zip(heard.last).map(|(first, last)| last - first);
        (heard.scores.clone(), took.unwrap_or_default())
    }
}

/// How many of these scores came before one with an earlier or the same timestamp of the same pupil.
pub(crate) fn out_of_order(scores: &[Score]) -> usize {
    let mut last: HashMap<&str, Timestamp> = HashMap::new();
    let before = scores.iter().map(|score| (score, last.insert(&score.user_id, score.timestamp)));
    before.filter(|(score, before)| before.is_some_and(|before| before >= score.timestamp)).count()
}

/// How many pupils the last score of each says have completed the quiz.
pub(crate) fn completed(scores: &[Score]) -> usize {
    let last: BTreeMap<&str, &str> =
        scores.iter().map(|score| (score.user_id.as_str(), score.activity_progress.as_str())).collect();
    last.values().filter(|progress| **progress == "Completed").count()
}

fn serve(listener: TcpListener, shared: &Arc<Shared>) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.expect("a runtime of one thread can be made").block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener).expect("a listener that does not block");
        while let Ok((stream, _)) = listener.accept().await {
            let shared = shared.clone();
            tokio::spawn(async move {
                let mut messages = Messages::on(stream);
                // However a connection ends, the service opens another one.
                while let Ok(Some(request)) = messages.next().await {
                    let answer = answer(&shared, request);
                    if messages.send(answer.as_bytes()).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
}

fn answer(shared: &Shared, request: Message<'_>) -> String {
    let path = request.head.split(' ').nth(1).unwrap_or_default();
    let of = |kind: &str, body: &str| {
        format!("HTTP/1.1 200 OK\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n\r\n{body}", body.len())
    };
    if path == "/keys" {
        return of("application/json", &shared.key_set);
    }
    if path == "/token" {
        let token = json!({ "access_token": "token-1", "token_type": "Bearer", "expires_in": 3600 });
        return of("application/json", &token.to_string());
    }
    if path.contains("/results") {
        return of("application/vnd.ims.lis.v2.resultcontainer+json", "[]");
    }
    if !path.ends_with("/scores") {
        return "HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n".to_owned();
    }
    if shared.closed.load(Ordering::Relaxed) {
        return "HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\n\r\n".to_owned();
    }
    let Ok(score) = serde_json::from_slice(request.body) else {
        return "HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n".to_owned();
    };
    let mut heard = shared.heard();
    heard.scores.push(score);
    heard.last = Some(Instant::now());
    if heard.first.is_none() {
        heard.first = heard.last;
    }
    "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n".to_owned()
}
