//! The limits: what actix-web alone, or with one durable insert, or with one checked signature and one durable insert, does
//! on this machine. A process of its own, as the service is, with as many workers as actix-web takes by itself.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::str::FromStr as _;

use actix_web::http::StatusCode;
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::web::{Bytes, Data};
use actix_web::{App, HttpResponse, HttpServer, web};
use anyhow::Context as _;
use clap::Args;
use conformance::program::free_port;
use conformance::wait_for;
use jsonwebtoken::{Algorithm, DecodingKey, Validation};
use rusqlite::Connection;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use tokio::net::TcpStream;
use tokio::sync::{mpsc, oneshot};

use crate::message::Message;

/// How many inserts share a transaction at most: as many as there may wait.
const GROUP_SIZE: usize = 256;

/// What the process is told.
#[derive(Debug, Args)]
pub(crate) struct Arguments {
    #[arg(long)]
    listen: SocketAddr,
    /// Its database.
    #[arg(long)]
    database: PathBuf,
    /// The answers it gives, see [`Answers`].
    #[arg(long)]
    answers: PathBuf,
}

/// An answer of ours to give again: the same fields, the same bytes.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Recorded {
    status: u16,
    fields: Vec<(String, String)>,
    body: String,
}

impl Recorded {
    pub(crate) fn of(answer: Message<'_>) -> anyhow::Result<Self> {
        // Written by actix-web itself, by both.
        let own = |name: &str| {
            ["content-length", "date", "connection"].iter().any(|own| name.eq_ignore_ascii_case(own))
        };
        let fields = answer.fields().filter(|(name, _)| !own(name));
        Ok(Self {
            status: answer.status()?,
            fields: fields.map(|(name, value)| (name.to_owned(), value.to_owned())).collect(),
            body: answer.text()?.to_owned(),
        })
    }

    /// How many bytes its content has.
    pub(crate) fn length(&self) -> usize {
        self.body.len()
    }
}

/// What the process answers, and the keys it checks tokens by.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Answers {
    pub(crate) page: Recorded,
    pub(crate) insert: Recorded,
    pub(crate) key_set: Value,
}

/// The bare server as a process; it is killed when dropped.
pub(crate) struct Bare {
    child: Child,
    pub(crate) address: SocketAddr,
}

impl Bare {
    /// Starts it with files in that folder, and waits until it listens.
    pub(crate) async fn start(folder: &Path, answers: &Answers) -> anyhow::Result<Self> {
        let address = SocketAddr::from(([127, 0, 0, 1], free_port()));
        let told = folder.join("bare.json");
        std::fs::write(&told, serde_json::to_vec(answers)?)?;
        let mut command = Command::new(std::env::current_exe()?);
        command.args(["bare", "--listen", &address.to_string()]);
        command.arg("--database").arg(folder.join("bare.db")).arg("--answers").arg(told);
        let child = command.stdin(Stdio::null()).spawn()?;
        let bare = Self { child, address };
        let within = std::time::Duration::from_secs(10);
        wait_for("the bare server", within, async || TcpStream::connect(address).await.ok()).await;
        Ok(bare)
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        // If it has ended already there is nothing to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer in actix-web's own types.
#[derive(Clone)]
struct Ready {
    status: StatusCode,
    fields: Vec<(HeaderName, HeaderValue)>,
    body: Bytes,
}

impl Ready {
    fn of(recorded: Recorded) -> anyhow::Result<Self> {
        let field = |(name, value): (String, String)| {
            anyhow::Ok((HeaderName::from_str(&name)?, HeaderValue::from_str(&value)?))
        };
        Ok(Self {
            status: StatusCode::from_u16(recorded.status)?,
            fields: recorded.fields.into_iter().map(field).collect::<Result<_, _>>()?,
            body: Bytes::from(recorded.body),
        })
    }

    fn response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status);
        for (name, value) in &self.fields {
            response.append_header((name.clone(), value.clone()));
        }
        response.body(self.body.clone())
    }
}

/// What the handlers share.
struct Shared {
    page: Ready,
    inserted: Ready,
    rows: mpsc::Sender<Row>,
    key: DecodingKey,
}

/// A row to insert, and who waits for it to be on disk.
struct Row {
    text: Bytes,
    stored: oneshot::Sender<()>,
}

impl Shared {
    /// Returns when the row is on disk.
    async fn insert(&self, text: Bytes) -> HttpResponse {
        let (stored, is_stored) = oneshot::channel();
        let sent = self.rows.send(Row { text, stored }).await;
        if sent.is_err() || is_stored.await.is_err() {
            return HttpResponse::InternalServerError().finish();
        }
        self.inserted.response()
    }
}

/// The process: serves until it is killed.
pub(crate) fn serve(arguments: &Arguments) -> anyhow::Result<()> {
    let answers: Answers = serde_json::from_slice(&std::fs::read(&arguments.answers)?)?;
    let (rows, waiting) = mpsc::channel(4 * GROUP_SIZE);
    let database = open(&arguments.database)?;
    std::thread::spawn(move || write(&database, waiting));
    let key = &answers.key_set["keys"][0];
    let part = |name: &str| key[name].as_str().with_context(|| format!("the key has no {name}"));
    let shared = Data::new(Shared {
        page: Ready::of(answers.page)?,
        inserted: Ready::of(answers.insert)?,
        rows,
        key: DecodingKey::from_rsa_components(part("n")?, part("e")?)?,
    });
    actix_web::rt::System::new().block_on(async {
        let server = HttpServer::new(move || {
            App::new()
                .app_data(shared.clone())
                .route("/page", web::get().to(page))
                .route("/insert", web::post().to(insert))
                .route("/verify", web::post().to(verify))
        });
        server.bind(arguments.listen)?.run().await
    })?;
    Ok(())
}

async fn page(shared: Data<Shared>) -> HttpResponse {
    shared.page.response()
}

async fn insert(shared: Data<Shared>, body: Bytes) -> HttpResponse {
    shared.insert(body).await
}

/// Checks the signature of the form's token, and stores its subject.
async fn verify(shared: Data<Shared>, body: Bytes) -> HttpResponse {
    let token = url::form_urlencoded::parse(&body).find(|(name, _)| name == "id_token");
    let mut validation = Validation::new(Algorithm::RS256);
    validation.validate_aud = false;
    let claims = token.and_then(|(_, token)| {
        jsonwebtoken::decode::<Value>(token.as_bytes(), &shared.key, &validation).ok()
    });
    match claims {
        Some(claims) => shared.insert(Bytes::from(claims.claims["sub"].to_string())).await,
        None => HttpResponse::Forbidden().finish(),
    }
}

fn open(path: &Path) -> anyhow::Result<Connection> {
    let database = Connection::open(path)?;
    database.pragma_update(None, "journal_mode", "WAL")?;
    database.pragma_update(None, "synchronous", "FULL")?;
    database.execute_batch("CREATE TABLE rows (id INTEGER PRIMARY KEY, text BLOB NOT NULL)")?;
    Ok(database)
}

/// One thread writes: all that waits becomes one transaction, and is answered after it is on disk.
fn write(database: &Connection, mut waiting: mpsc::Receiver<Row>) {
    let mut group = Vec::with_capacity(GROUP_SIZE);
    while waiting.blocking_recv_many(&mut group, GROUP_SIZE) > 0 {
        if write_group(database, &group).is_err() {
            // Dropped, so that the callers answer 500 and the measurement ends.
            group.clear();
        }
        // A caller that has gone away needs no answer.
        for row in group.drain(..) {
            let _ = row.stored.send(());
        }
    }
}

fn write_group(database: &Connection, group: &[Row]) -> rusqlite::Result<()> {
    database.execute_batch("BEGIN IMMEDIATE")?;
    let mut insert = database.prepare_cached("INSERT INTO rows (text) VALUES (?)")?;
    for row in group {
        insert.execute([&row.text[..]])?;
    }
    database.execute_batch("COMMIT")
}
