//! The service with a school before it: a store with a pool and a registered platform, pupils with sessions and open
//! attempts, all made by HTTP as in earnest. Stores are copied, so that each round finds the same one.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::Context as _;
use conformance::program::{Served, free_port, run_well, tenths};
use conformance::wait_for;
use tempfile::TempDir;
use tokio::net::TcpStream;
use url::Url;

use crate::client::{Load, Measured, Requests, expect_status};
use crate::form::{self, Form};
use crate::message::{Message, Messages};
use crate::platform::{CLIENT_ID, DEPLOYMENT_ID, Platform, Pupil};

/// Connections while something is prepared.
const PREPARING: usize = 64;
/// How long the platform may take to get all that pupils have begun.
const TOLD_WITHIN: Duration = Duration::from_secs(300);
/// The plan of the demonstration: eight kinds of question.
const PLAN: &str = include_str!("../../../service/src/demo/plan.toml");

/// The school: where things are.
pub(crate) struct School {
    pub(crate) platform: Platform,
    /// Where the service is started, whichever store it has; the stores know the address.
    port: u16,
    questions: u32,
    folder: TempDir,
}

/// A pupil with an open attempt, and what their browser sends.
#[derive(Debug, Clone)]
pub(crate) struct Ready {
    /// GET of the attempt's page.
    pub(crate) page: Vec<u8>,
    /// POST that hands it in.
    pub(crate) submit: Vec<u8>,
}

/// Logins and launches, each with what it took.
pub(crate) struct Launched {
    pub(crate) logins: Measured,
    pub(crate) launches: Measured,
    /// The POSTs.
    pub(crate) requests: Requests,
    pub(crate) sessions: Vec<Session>,
}

/// What a launch answers: the session's cookie, and its page.
#[derive(Debug, Clone)]
pub(crate) struct Session {
    cookie: String,
    page: String,
}

/// What a login answers.
struct Login {
    cookie: String,
    state: String,
    nonce: String,
}

impl School {
    /// A school whose quizzes ask that many questions.
    pub(crate) fn open(questions: u32) -> anyhow::Result<Self> {
        let (platform, port, folder) = (Platform::start()?, free_port(), tempfile::tempdir()?);
        let school = Self { platform, port, questions, folder };
        let (plan, pool) = (school.file("plan.toml"), school.file("pool.json"));
        std::fs::write(&plan, PLAN)?;
        run_well(["pool".as_ref(), plan.as_os_str(), "-o".as_ref(), pool.as_os_str()]);
        Ok(school)
    }

    /// A file in the school's folder.
    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The folder.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Where the service answers.
    pub(crate) fn address(&self) -> SocketAddr {
        SocketAddr::from(([127, 0, 0, 1], self.port))
    }

    fn tool(&self) -> String {
        format!("http://{}", self.address())
    }

    /// The address of a store in a file of the school's folder.
    pub(crate) fn store(&self, name: &str) -> String {
        sqlite(&self.file(name))
    }

    /// Gives a new store the pool and the platform.
    pub(crate) fn set_up(&self, store: &str) {
        let pool = self.file("pool.json");
        run_well(["load".as_ref(), pool.as_os_str(), "--store".as_ref(), store.as_ref()]);
        let url = |path: &str| self.platform.url(path);
        let add = ["platform", "add", "--allow-loopback", "--store", store];
        let (issuer, authorization, token, keys) = (url(""), url("/authorize"), url("/token"), url("/keys"));
        let known = [
            ["--issuer", &issuer],
            ["--client-id", CLIENT_ID],
            ["--authorization-url", &authorization],
            ["--token-url", &token],
            ["--keys-url", &keys],
            ["--deployment", DEPLOYMENT_ID],
        ];
        run_well([&add[..], known.as_flattened()].concat());
    }

    /// A copy of a store in a file that no process has open.
    pub(crate) fn copy(&self, store: &str, name: &str) -> anyhow::Result<String> {
        let (from, to) = (file_of(store), self.file(name));
        for end in ["", "-wal", "-shm"] {
            let with_end = |path: &Path| PathBuf::from(format!("{}{end}", path.display()));
            let (from, to) = (with_end(&from), with_end(&to));
            if from.exists() {
                std::fs::copy(from, to)?;
            } else if to.exists() {
                std::fs::remove_file(to)?;
            }
        }
        // What was copied is on disk before the clock starts.
        std::fs::File::open(&to)?.sync_all()?;
        Ok(sqlite(&to))
    }

    /// Starts the released program over a store, and waits until it is ready.
    pub(crate) async fn serve(&self, store: &str) -> Served {
        let mut served = self.spawn(store);
        served.ready().await;
        served
    }

    /// The same without waiting.
    pub(crate) fn spawn(&self, store: &str) -> Served {
        let options = ["--public-url", &self.tool(), "--store", store, "--requests-per-second", "0"];
        Served::spawn_by(tenths(["serve"]), self.port, &self.file("service.log"), &options)
    }

    /// Pupils come from the platform, all at once: first all log in, then all launch.
    pub(crate) async fn launch(&self, pupils: &[Pupil], connections: usize) -> anyhow::Result<Launched> {
        let load = Load { to: self.address(), connections };
        let logins: Requests = pupils.iter().map(|pupil| self.login(pupil)).collect();
        let (begun, logins) = load.gather(&logins, read_login).await?;
        let tokens = self.sign(pupils, &begun);
        let launch = |(login, token): (&Login, String)| {
            let form = [("state", login.state.as_str()), ("id_token", &token)];
            self.post("/lti/launch", &login.cookie, &form)
        };
        let requests: Requests = begun.iter().zip(tokens).map(launch).collect();
        let (sessions, launches) = load.gather(&requests, read_session).await?;
        Ok(Launched { logins, launches, requests, sessions })
    }

    /// Signs on all processors: a signature takes longer than anything else here.
    fn sign(&self, pupils: &[Pupil], begun: &[Login]) -> Vec<String> {
        let (tool, platform, questions) = (self.tool(), &self.platform, self.questions);
        let half = pupils.len().div_ceil(2).max(1);
        let sign = |(pupils, begun): (&[Pupil], &[Login])| -> Vec<String> {
            let both = pupils.iter().zip(begun);
            both.map(|(pupil, login)| platform.id_token(pupil, &login.nonce, &tool, questions)).collect()
        };
        std::thread::scope(|scope| {
            let halves = pupils.chunks(half).zip(begun.chunks(half));
            let sign = &sign;
            let signing: Vec<_> = halves.map(|half| scope.spawn(move || sign(half))).collect();
            signing.into_iter().flat_map(|half| half.join().expect("signing does not panic")).collect()
        })
    }

    /// Each pupil begins an attempt and fills it in.
    pub(crate) async fn begin(&self, sessions: &[Session]) -> anyhow::Result<Vec<Ready>> {
        let load = Load { to: self.address(), connections: PREPARING };
        let opens: Requests =
            sessions.iter().map(|session| self.get(&session.page, &session.cookie)).collect();
        let (tokens, _) = load.gather(&opens, read_csrf).await?;
        let begin = |(session, csrf): (&Session, &String)| {
            self.post(&session.page, &session.cookie, &[("csrf", csrf)])
        };
        let begins: Requests = sessions.iter().zip(&tokens).map(begin).collect();
        let (attempts, _) = load.gather(&begins, read_place).await?;
        let pages: Requests =
            attempts.iter().zip(sessions).map(|(place, session)| self.get(place, &session.cookie)).collect();
        let (forms, _) = load.gather(&pages, |page| form::filled_in(page.text()?)).await?;
        let submit = |((form, place), session): ((&Form, &String), &Session)| {
            self.post(&format!("{place}/submit"), &session.cookie, form)
        };
        let submits = forms.iter().zip(&attempts).zip(sessions).map(submit);
        Ok(submits.zip(pages.iter()).map(|(submit, page)| Ready { page: page.clone(), submit }).collect())
    }

    /// Waits until the service has nothing left to tell the platform.
    pub(crate) async fn told(&self) {
        wait_for("all grades", TOLD_WITHIN, async || (self.waiting().await.ok()? == 0.0).then_some(())).await;
    }

    /// How many grades the service still has to send.
    pub(crate) async fn waiting(&self) -> anyhow::Result<f64> {
        self.number("tenths_delivery_queue_depth").await
    }

    /// How many steps the service has taken at its store.
    pub(crate) async fn steps(&self) -> anyhow::Result<f64> {
        self.number("tenths_store_wait_seconds_count").await
    }

    /// One of the service's numbers about itself, summed over its labels.
    async fn number(&self, name: &str) -> anyhow::Result<f64> {
        let mut connection = Messages::on(TcpStream::connect(self.address()).await?);
        connection.send(&self.get("/metrics", "")).await?;
        let answer = connection.next().await?.context("the service ended the connection")?;
        let lines = answer.text()?.lines().filter_map(|line| line.strip_prefix(name));
        let own =
            lines.filter(|rest| rest.starts_with([' ', '{'])).filter_map(|rest| rest.rsplit(' ').next());
        let numbers: Vec<f64> = own.map(str::parse).collect::<Result<_, _>>()?;
        anyhow::ensure!(!numbers.is_empty(), "the service tells no {name}");
        Ok(numbers.into_iter().sum())
    }

    fn login(&self, pupil: &Pupil) -> Vec<u8> {
        let query = url::form_urlencoded::Serializer::new(String::new())
            .append_pair("iss", &self.platform.url(""))
            .append_pair("login_hint", &pupil.id)
            .append_pair("target_link_uri", &format!("{}/lti/launch", self.tool()))
            .append_pair("lti_message_hint", &format!("link-{}", pupil.class))
            .append_pair("client_id", CLIENT_ID)
            .append_pair("lti_deployment_id", DEPLOYMENT_ID)
            .finish();
        self.get(&format!("/lti/login?{query}"), "")
    }

    /// A request as a browser sends it, with as many header fields.
    fn get(&self, path: &str, cookie: &str) -> Vec<u8> {
        format!("GET {path} HTTP/1.1\r\n{}\r\n", self.fields(cookie)).into_bytes()
    }

    fn post(&self, path: &str, cookie: &str, form: &[(impl AsRef<str>, impl AsRef<str>)]) -> Vec<u8> {
        let body = url::form_urlencoded::Serializer::new(String::new()).extend_pairs(form).finish();
        let fields = self.fields(cookie);
        let content = format!(
            "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nOrigin: {}\r\n",
            body.len(),
            self.tool()
        );
        format!("POST {path} HTTP/1.1\r\n{fields}{content}\r\n{body}").into_bytes()
    }

    fn fields(&self, cookie: &str) -> String {
        let fields = format!(
            "Host: {}\r\nUser-Agent: tenths-bench\r\nAccept: text/html,application/xhtml+xml\r\n\
             Accept-Language: en-US,en;q=0.8\r\nAccept-Encoding: gzip, deflate\r\nSec-Fetch-Dest: document\r\n\
             Sec-Fetch-Mode: navigate\r\nSec-Fetch-Site: same-origin\r\n",
            self.address()
        );
        if cookie.is_empty() { fields } else { format!("{fields}Cookie: {cookie}\r\n") }
    }
}

fn read_login(answer: Message<'_>) -> anyhow::Result<Login> {
    expect_status(answer, 302)?;
    let onward = Url::parse(answer.field("location")?)?;
    let value = |wanted: &str| {
        let found = onward.query_pairs().find(|(name, _)| name == wanted);
        found.map(|(_, value)| value.into_owned()).with_context(|| format!("the redirect has no {wanted}"))
    };
    let cookie = answer.cookie("tenths-browser")?.to_owned();
    Ok(Login { cookie, state: value("state")?, nonce: value("nonce")? })
}

fn read_session(answer: Message<'_>) -> anyhow::Result<Session> {
    Ok(Session { cookie: answer.cookie("tenths-session")?.to_owned(), page: read_place(answer)? })
}

/// Where an answer sends the browser: the path.
fn read_place(answer: Message<'_>) -> anyhow::Result<String> {
    expect_status(answer, 303)?;
    let place = answer.field("location")?;
    Ok(Url::parse(place).map_or_else(|_| place.to_owned(), |url| url.path().to_owned()))
}

fn read_csrf(page: Message<'_>) -> anyhow::Result<String> {
    expect_status(page, 200)?;
    form::hidden(page.text()?, "csrf")
}

fn sqlite(file: &Path) -> String {
    format!("sqlite:{}", file.display())
}

fn file_of(store: &str) -> PathBuf {
    PathBuf::from(store.trim_start_matches("sqlite:"))
}
