//! What stands before several processes of a service: it asks each whether it is ready, and gives requests to those that
//! are, one after the other in turn. It counts what was given to a process that did not answer it.

use std::io;
use std::net::Ipv4Addr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;

/// How often processes are asked whether they are ready.
const ASK_EVERY: Duration = Duration::from_millis(100);
/// The longest request that passes.
const LENGTH_MOST: usize = 1024 * 1024;

/// A proxy on loopback; it ends when it is dropped.
pub struct Proxy {
    port: u16,
    shared: Arc<Shared>,
    _tasks: JoinSet<()>,
}

struct Backend {
    port: u16,
    ready: AtomicBool,
    answered: AtomicUsize,
}

struct Shared {
    backends: Vec<Backend>,
    next: AtomicUsize,
    lost: AtomicUsize,
    /// So many of the next posts are answered 503 by the proxy itself.
    turned_away: AtomicUsize,
}

impl Proxy {
    /// Starts before processes that are going to listen on these ports of loopback.
    ///
    /// # Panics
    /// If it cannot listen.
    pub async fn start(ports: &[u16]) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback has free ports");
        let port = listener.local_addr().expect("a bound listener has an address").port();
        let backend = |port: &u16| Backend {
            port: *port,
            ready: AtomicBool::new(false),
            answered: AtomicUsize::default(),
        };
        let shared = Arc::new(Shared {
            backends: ports.iter().map(backend).collect(),
            next: AtomicUsize::default(),
            lost: AtomicUsize::default(),
            turned_away: AtomicUsize::default(),
        });
        let mut tasks = JoinSet::new();
        tasks.spawn(ask(shared.clone()));
        let accepting = shared.clone();
        tasks.spawn(async move {
            let mut passing = JoinSet::new();
            while let Ok((client, _)) = listener.accept().await {
                let shared = accepting.clone();
                // Whoever goes away before the answer has nothing to complain of.
                passing.spawn(async move { drop(shared.pass_on(client).await) });
                while passing.try_join_next().is_some() {}
            }
        });
        Self { port, shared, _tasks: tasks }
    }

    /// Where it answers.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Requests that a process got and did not answer whole.
    pub fn lost(&self) -> usize {
        self.shared.lost.load(Ordering::SeqCst)
    }

    /// How many requests each process answered.
    pub fn answered(&self) -> Vec<usize> {
        self.shared.backends.iter().map(|backend| backend.answered.load(Ordering::SeqCst)).collect()
    }

    /// Whether each process said last that it is ready.
    pub fn ready(&self) -> Vec<bool> {
        self.shared.backends.iter().map(|backend| backend.ready.load(Ordering::SeqCst)).collect()
    }

    /// Answers the next `count` posts with 503 and a second's pause, as a service that has too much to do.
    pub fn turn_away(&self, count: usize) {
        self.shared.turned_away.store(count, Ordering::SeqCst);
    }
}

/// Asks all processes again and again whether they are ready.
async fn ask(shared: Arc<Shared>) {
    loop {
        for backend in &shared.backends {
            let request = b"GET /health/ready HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
            let answer = answer_of(backend.port, request).await;
            let ready = answer.is_ok_and(|answer| answer.starts_with(b"HTTP/1.1 200"));
            backend.ready.store(ready, Ordering::SeqCst);
        }
        tokio::time::sleep(ASK_EVERY).await;
    }
}

async fn answer_of(port: u16, request: &[u8]) -> io::Result<Vec<u8>> {
    let mut server = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).await?;
    server.write_all(request).await?;
    let mut answer = Vec::new();
    server.read_to_end(&mut answer).await?;
    Ok(answer)
}

impl Shared {
    /// Reads one request and passes it on.
    async fn pass_on(&self, mut client: TcpStream) -> io::Result<()> {
        let request = read_request(&mut client).await?;
        if request.starts_with(b"POST") && self.is_turned_away() {
            let busy = b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 1\r\nContent-Length: 0\r\nConnection: close\r\n\r\n";
            return client.write_all(busy).await;
        }
        for _ in 0..2 * self.backends.len() {
            let turn = self.next.fetch_add(1, Ordering::SeqCst) % self.backends.len();
            let backend = &self.backends[turn];
            if !backend.ready.load(Ordering::SeqCst) {
                continue;
            }
            let answer = answer_of(backend.port, &request).await;
            match answer {
                Ok(answer) if is_whole(&answer) => {
                    backend.answered.fetch_add(1, Ordering::SeqCst);
                    return client.write_all(&answer).await;
                }
                // Nothing listened there, so nothing was taken.
                Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => {}
                _ => {
                    self.lost.fetch_add(1, Ordering::SeqCst);
                    break;
                }
            }
        }
        client.write_all(b"HTTP/1.1 502 Bad Gateway\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").await
    }

    fn is_turned_away(&self) -> bool {
        let less = |count: usize| count.checked_sub(1);
        self.turned_away.fetch_update(Ordering::SeqCst, Ordering::SeqCst, less).is_ok()
    }
}

/// Head and body of a request, which asks for the connection to be closed behind its answer.
async fn read_request(client: &mut TcpStream) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let end = loop {
        if let Some(end) = head_of(&bytes) {
            break end;
        }
        read_more(client, &mut bytes).await?;
    };
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let length = length_in(&head).unwrap_or(0);
    while bytes.len() < end + length {
        read_more(client, &mut bytes).await?;
    }
    let kept =
        head.trim_end().split("\r\n").filter(|line| !line.to_ascii_lowercase().starts_with("connection:"));
    let mut request = kept.collect::<Vec<_>>().join("\r\n").into_bytes();
    request.extend_from_slice(b"\r\nConnection: close\r\n\r\n");
    request.extend_from_slice(&bytes[end..]);
    Ok(request)
}

async fn read_more(client: &mut TcpStream, bytes: &mut Vec<u8>) -> io::Result<()> {
    if bytes.len() > LENGTH_MOST || client.read_buf(bytes).await? == 0 {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok(())
}

/// Where the body begins, once the head is there.
fn head_of(bytes: &[u8]) -> Option<usize> {
    bytes.windows(4).position(|four| four == b"\r\n\r\n").map(|at| at + 4)
}

fn length_in(head: &str) -> Option<usize> {
    let lines = head.split("\r\n").filter_map(|line| line.split_once(':'));
    let mut named = lines.filter(|(name, _)| name.eq_ignore_ascii_case("content-length"));
    named.next()?.1.trim().parse().ok()
}

/// Whether an answer has arrived to its end.
fn is_whole(answer: &[u8]) -> bool {
    let Some(end) = head_of(answer) else { return false };
    match length_in(&String::from_utf8_lossy(&answer[..end])) {
        Some(length) => answer.len() == end + length,
        // In chunks, of which the last is empty (RFC 9112, 7.1); or without a body.
        None => answer.len() == end || answer.ends_with(b"0\r\n\r\n"),
    }
}
