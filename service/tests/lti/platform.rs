//! A small platform of our own: it signs tokens, right or wrong, and keeps a gradebook with planned faults. It shares
//! no code with the service.

use std::collections::{BTreeMap, VecDeque};
use std::net::TcpListener;
use std::pin::Pin;
use std::sync::{Arc, LazyLock, Mutex};
use std::task::{Context, Poll};

use actix_web::body::{BodySize, MessageBody};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer, web};
use aws_lc_rs::encoding::AsDer;
use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::rsa::KeySize;
use aws_lc_rs::signature::{RSA_PKCS1_SHA256, RsaKeyPair, RsaPublicKeyComponents};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use serde_json::{Value, json};

pub(crate) const CLIENT_ID: &str = "river-day-tool";
pub(crate) const DEPLOYMENT: &str = "deployment-1";

/// The platform's key, and one that it does not publish.
static OWN_KEY: LazyLock<RsaKeyPair> = LazyLock::new(|| RsaKeyPair::generate(KeySize::Rsa2048).unwrap());
static FOREIGN_KEY: LazyLock<RsaKeyPair> = LazyLock::new(|| RsaKeyPair::generate(KeySize::Rsa2048).unwrap());

/// What the gradebook does with the next score.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Fault {
    /// Answers with a status, without taking the score.
    Status(u16),
    /// Asks for a pause in seconds.
    Busy(u64),
    /// Takes the score and breaks off the answer.
    DropAfterProcessing,
}

/// What a key set should not be.
#[derive(Debug, Clone, Copy)]
pub(crate) enum KeysInstead {
    /// A redirect, if only to the same host.
    Elsewhere,
    /// The keys, and more than a key set can need.
    Huge,
    /// Text for people.
    Prose,
}

/// Everything the platform has seen.
#[derive(Default)]
pub(crate) struct Book {
    /// Planned faults, first come first served.
    pub(crate) faults: VecDeque<Fault>,
    /// Every score message that arrived, refused ones too.
    pub(crate) journal: Vec<Value>,
    /// The score on record for each learner.
    pub(crate) scores: BTreeMap<String, Value>,
    /// How many tokens were given out.
    pub(crate) tokens: usize,
    /// How many times the key set was read.
    pub(crate) key_reads: usize,
    /// Answer for the key set instead of the keys.
    pub(crate) keys_broken: bool,
    /// What is answered for the key set otherwise.
    pub(crate) keys_instead: Option<KeysInstead>,
    /// Line items made by the tool, or there before.
    pub(crate) line_items: Vec<Value>,
    /// Filters of every list of line items that was asked for.
    pub(crate) lists: Vec<String>,
    /// What every page of a list names as its next one, in place of the truth.
    pub(crate) next_page: Option<String>,
    /// Line items whose scores and results are gone.
    pub(crate) gone: Vec<String>,
    /// Marks that a teacher has put over the scores.
    pub(crate) teachers_marks: BTreeMap<String, Value>,
    /// What tokens are granted instead of what was asked for.
    pub(crate) granted: Option<String>,
    /// How long each score takes.
    pub(crate) pause_ms: u64,
    /// Scores being processed now, and the most there were at once.
    pub(crate) at_once: (usize, usize),
    /// How often results were read.
    pub(crate) result_reads: usize,
}

/// A running platform. It ends with the test's runtime.
#[derive(Clone)]
pub(crate) struct Platform {
    pub(crate) url: String,
    pub(crate) book: Arc<Mutex<Book>>,
}

impl Platform {
    pub(crate) fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let platform = Self { url, book: Arc::default() };
        let shared = platform.clone();
        let server = HttpServer::new(move || {
            App::new()
                .app_data(web::Data::new(shared.clone()))
                .route("/keys", web::get().to(keys))
                .route("/token", web::post().to(token))
                .route("/items", web::get().to(list_items))
                .route("/items", web::post().to(make_item))
                .route("/items/{item}/scores", web::post().to(score))
                .route("/items/{item}/results", web::get().to(results))
        })
        .workers(1)
        .listen(listener)
        .unwrap()
        .disable_signals()
        .run();
        tokio::spawn(server);
        platform
    }

    /// Plans faults for the next scores.
    pub(crate) fn plan(&self, faults: &[Fault]) {
        self.book.lock().unwrap().faults.extend(faults);
    }

    /// No more faults than have happened.
    pub(crate) fn recover(&self) {
        self.book.lock().unwrap().faults.clear();
    }

    /// The timestamps of all score messages that arrived, in order.
    pub(crate) fn timestamps(&self) -> Vec<jiff::Timestamp> {
        let book = self.book.lock().unwrap();
        book.journal.iter().map(|score| score["timestamp"].as_str().unwrap().parse().unwrap()).collect()
    }

    /// The points on record for a learner.
    pub(crate) fn points(&self, user: &str) -> Option<u64> {
        self.book.lock().unwrap().scores.get(user).and_then(|score| score["scoreGiven"].as_u64())
    }
}

/// The key that signs a token.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Signer {
    Own,
    Foreign,
    /// HS256 with the text of the public key as the secret.
    PublicKeyAsSecret,
    Nobody,
}

/// A token from any header and any claims, well-formed or not.
pub(crate) fn sign(header: &str, claims: &str, signer: Signer) -> String {
    let signed = format!("{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(claims));
    let signature = match signer {
        Signer::Own => rsa(&OWN_KEY, signed.as_bytes()),
        Signer::Foreign => rsa(&FOREIGN_KEY, signed.as_bytes()),
        Signer::PublicKeyAsSecret => {
            let secret = public_key(&OWN_KEY, "own").to_string();
            let key = aws_lc_rs::hmac::Key::new(aws_lc_rs::hmac::HMAC_SHA256, secret.as_bytes());
            aws_lc_rs::hmac::sign(&key, signed.as_bytes()).as_ref().to_vec()
        }
        Signer::Nobody => Vec::new(),
    };
    format!("{signed}.{}", URL_SAFE_NO_PAD.encode(signature))
}

fn rsa(key: &RsaKeyPair, message: &[u8]) -> Vec<u8> {
    let mut signature = vec![0; key.public_modulus_len()];
    key.sign(&RSA_PKCS1_SHA256, &SystemRandom::new(), message, &mut signature).unwrap();
    signature
}

/// The public half of the key that the platform does not publish, for tokens that bring their own.
pub(crate) fn foreign_public_key() -> Value {
    public_key(&FOREIGN_KEY, "own")
}

fn public_key(key: &RsaKeyPair, kid: &str) -> Value {
    use aws_lc_rs::signature::KeyPair;
    assert!(key.as_der().is_ok());
    let numbers = RsaPublicKeyComponents::<Vec<u8>>::from(key.public_key());
    json!({"kty": "RSA", "kid": kid, "use": "sig", "alg": "RS256",
        "n": URL_SAFE_NO_PAD.encode(numbers.n), "e": URL_SAFE_NO_PAD.encode(numbers.e)})
}

async fn keys(platform: web::Data<Platform>) -> HttpResponse {
    let mut book = platform.book.lock().unwrap();
    book.key_reads += 1;
    if book.keys_broken {
        return HttpResponse::InternalServerError().finish();
    }
    match book.keys_instead {
        Some(KeysInstead::Elsewhere) => {
            return HttpResponse::Found().insert_header(("location", "/keys?elsewhere")).finish();
        }
        Some(KeysInstead::Huge) => {
            let filling = "x".repeat(1024 * 1024);
            return HttpResponse::Ok()
                .json(json!({"keys": [public_key(&OWN_KEY, "own")], "filling": filling}));
        }
        Some(KeysInstead::Prose) => return HttpResponse::Ok().body("<p>Keys are on another page.</p>"),
        None => {}
    }
    HttpResponse::Ok().json(json!({"keys": [public_key(&OWN_KEY, "own")]}))
}

/// Checks the form of the request; the whole-flow tests check the assertion's signature.
async fn token(platform: web::Data<Platform>, form: web::Form<BTreeMap<String, String>>) -> HttpResponse {
    assert_eq!(form["grant_type"], "client_credentials");
    assert_eq!(form["client_assertion_type"], "urn:ietf:params:oauth:client-assertion-type:jwt-bearer");
    let claims = form["client_assertion"].split('.').nth(1).unwrap();
    let claims: Value = serde_json::from_slice(&URL_SAFE_NO_PAD.decode(claims).unwrap()).unwrap();
    assert_eq!(claims["iss"], CLIENT_ID);
    assert_eq!(claims["sub"], CLIENT_ID);
    assert_eq!(claims["aud"], format!("{}/token", platform.url));
    assert!(claims["iat"].is_i64() && claims["exp"].is_i64() && claims["jti"].is_string());
    let mut book = platform.book.lock().unwrap();
    book.tokens += 1;
    let token = format!("token-{}", book.tokens);
    let scope = book.granted.as_ref().unwrap_or(&form["scope"]).clone();
    HttpResponse::Ok().json(json!({"access_token": token, "token_type": "Bearer", "expires_in": 3600,
        "scope": scope}))
}

/// Lists two line items a page.
async fn list_items(platform: web::Data<Platform>, request: HttpRequest) -> HttpResponse {
    assert_eq!(request.headers().get("accept").unwrap(), "application/vnd.ims.lis.v2.lineitemcontainer+json");
    let query = web::Query::<BTreeMap<String, String>>::from_query(request.query_string()).unwrap();
    let mut book = platform.book.lock().unwrap();
    book.lists.push(request.query_string().to_owned());
    let filters = [("resource_link_id", "resourceLinkId"), ("resource_id", "resourceId"), ("tag", "tag")];
    let fits = |item: &&Value| {
        filters.iter().all(|(name, field)| query.get(*name).is_none_or(|wanted| item[field] == **wanted))
    };
    let page: usize = query.get("page").map_or(0, |page| page.parse().unwrap());
    let fitting: Vec<_> = book.line_items.iter().filter(fits).collect();
    let shown: Vec<_> = fitting.iter().skip(2 * page).take(2).collect();
    let mut answer = HttpResponse::Ok();
    answer.content_type("application/vnd.ims.lis.v2.lineitemcontainer+json");
    if let Some(next) = &book.next_page {
        answer.insert_header(("link", format!("<{next}>; rel=\"next\"")));
    } else if fitting.len() > 2 * (page + 1) {
        let filters = request.query_string().split('&').filter(|one| !one.starts_with("page="));
        let query = filters.collect::<Vec<_>>().join("&");
        let next = format!("{}/items?{query}&page={}", platform.url, page + 1);
        answer.insert_header(("link", format!("<{next}>; rel=\"next\"")));
    }
    answer.json(shown)
}

/// Everybody's results, or one person's, on a scale of 100.
async fn results(
    platform: web::Data<Platform>,
    item: web::Path<String>,
    request: HttpRequest,
) -> HttpResponse {
    assert_eq!(request.headers().get("accept").unwrap(), "application/vnd.ims.lis.v2.resultcontainer+json");
    let query = web::Query::<BTreeMap<String, String>>::from_query(request.query_string()).unwrap();
    let mut book = platform.book.lock().unwrap();
    book.result_reads += 1;
    if book.gone.contains(&item) {
        return HttpResponse::NotFound().finish();
    }
    let sent = book.scores.iter().map(|(user, score)| {
        let percent =
            score["scoreGiven"].as_f64().map(|given| given * 100.0 / score["scoreMaximum"].as_f64().unwrap());
        (user.clone(), json!(percent))
    });
    let mut shown: BTreeMap<String, Value> = sent.collect();
    shown.extend(book.teachers_marks.clone());
    let shown =
        shown.into_iter().filter(|(user, _)| query.get("user_id").is_none_or(|wanted| wanted == user));
    let records: Vec<_> = shown
        .map(|(user, percent)| match percent {
            Value::Null => json!({"userId": user}),
            percent => json!({"userId": user, "resultScore": percent, "resultMaximum": 100}),
        })
        .collect();
    HttpResponse::Ok().content_type("application/vnd.ims.lis.v2.resultcontainer+json").json(records)
}

async fn make_item(platform: web::Data<Platform>, body: web::Bytes) -> HttpResponse {
    let mut item: Value = serde_json::from_slice(&body).unwrap();
    let mut book = platform.book.lock().unwrap();
    item["id"] = json!(format!("{}/items/{}", platform.url, book.line_items.len() + 1));
    book.line_items.push(item.clone());
    HttpResponse::Created().json(item)
}

async fn score(
    platform: web::Data<Platform>,
    item: web::Path<String>,
    request: HttpRequest,
    body: web::Bytes,
) -> HttpResponse {
    assert_eq!(request.headers().get("content-type").unwrap(), "application/vnd.ims.lis.v1.score+json");
    let message: Value = serde_json::from_slice(&body).unwrap();
    let pause_ms = {
        let mut book = platform.book.lock().unwrap();
        book.at_once.0 += 1;
        book.at_once.1 = book.at_once.1.max(book.at_once.0);
        book.pause_ms
    };
    tokio::time::sleep(std::time::Duration::from_millis(pause_ms)).await;
    let mut book = platform.book.lock().unwrap();
    book.at_once.0 -= 1;
    book.journal.push(message.clone());
    if book.gone.contains(&item) {
        return HttpResponse::NotFound().finish();
    }
    match book.faults.pop_front() {
        Some(Fault::Status(status)) => {
            return HttpResponse::build(status.try_into().unwrap()).finish();
        }
        Some(Fault::Busy(seconds)) => {
            return HttpResponse::TooManyRequests().insert_header(("retry-after", seconds)).finish();
        }
        Some(Fault::DropAfterProcessing) => {
            record(&mut book, message);
            return HttpResponse::Ok().body(BrokenBody);
        }
        None => {}
    }
    if record(&mut book, message) {
        HttpResponse::NoContent().finish()
    } else {
        HttpResponse::Conflict().finish()
    }
}

/// Records a score unless one with the same or a later timestamp is there.
fn record(book: &mut Book, message: Value) -> bool {
    let user = message["userId"].as_str().unwrap().to_owned();
    let later = book
        .scores
        .get(&user)
        .is_none_or(|known| known["timestamp"].as_str().unwrap() < message["timestamp"].as_str().unwrap());
    if later {
        // A score that is taken wins over the teacher's mark: the tool has to take care.
        book.teachers_marks.remove(&user);
        book.scores.insert(user, message);
    }
    later
}

/// An answer that breaks off.
struct BrokenBody;

impl MessageBody for BrokenBody {
    type Error = std::io::Error;

    fn size(&self) -> BodySize {
        BodySize::Sized(64)
    }

    fn poll_next(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<web::Bytes, Self::Error>>> {
        Poll::Ready(Some(Err(std::io::Error::other("planned fault"))))
    }
}
