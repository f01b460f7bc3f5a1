//! The proxy's configuration: read by nginx, and at work between a client and two processes that record what they get.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use conformance::program::free_port;
use conformance::wait_for;
use reqwest::{Client, StatusCode, redirect};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

use super::{run_well, text, tool};

const HOST: &str = "quiz.example.org";

/// A process behind the proxy: keeps each request's head, and answers, or hangs up as one that dies does.
struct Upstream {
    address: SocketAddr,
    hangs_up: Arc<AtomicBool>,
    heard: Arc<Mutex<Vec<String>>>,
}

impl Upstream {
    async fn listen() -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap();
        let address = listener.local_addr().unwrap();
        let (hangs_up, heard): (Arc<AtomicBool>, Arc<Mutex<Vec<String>>>) = Default::default();
        let (hanging, hearing) = (hangs_up.clone(), heard.clone());
        tokio::spawn(async move {
            while let Ok((connection, _)) = listener.accept().await {
                tokio::spawn(converse(connection, hanging.clone(), hearing.clone()));
            }
        });
        Self { address, hangs_up, heard }
    }

    fn heard(&self) -> Vec<String> {
        self.heard.lock().unwrap().clone()
    }
}

async fn converse(mut connection: TcpStream, hangs_up: Arc<AtomicBool>, heard: Arc<Mutex<Vec<String>>>) {
    let mut bytes = Vec::new();
    loop {
        let end = loop {
            if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
                break end + 4;
            }
            match connection.read_buf(&mut bytes).await {
                Ok(1..) => {}
                _ => return,
            }
        };
        let head = String::from_utf8(bytes[..end].to_vec()).unwrap().to_lowercase();
        let length = header(&head, "content-length").map_or(0, |length| length.parse().unwrap());
        while bytes.len() < end + length {
            connection.read_buf(&mut bytes).await.unwrap();
        }
        bytes.drain(..end + length);
        heard.lock().unwrap().push(head);
        if hangs_up.load(Ordering::SeqCst) {
            return;
        }
        let answer = "HTTP/1.1 200 OK\r\ncontent-length: 6\r\ncontent-type: text/plain\r\n\r\ntenths";
        connection.write_all(answer.as_bytes()).await.unwrap();
    }
}

fn header<'a>(head: &'a str, name: &str) -> Option<&'a str> {
    head.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
}

/// nginx on ports of loopback.
struct Proxy {
    child: Child,
    upstreams: [Upstream; 2],
    client: Client,
    plain_port: u16,
    secure_port: u16,
    _folder: TempDir,
}

impl Drop for Proxy {
    fn drop(&mut self) {
        // The master process ends its workers when it is asked to, not when it is killed.
        let _ = Command::new("kill").arg(self.child.id().to_string()).status();
        let _ = self.child.wait();
    }
}

/// The configuration with other ports and places, and a certificate for a day.
fn prepare(folder: &Path, ports: [u16; 2], upstreams: [SocketAddr; 2]) -> Option<PathBuf> {
    let mut openssl = tool("openssl", "the proxy's configuration", "Debian: openssl")?;
    let subject = format!("/CN={HOST}");
    run_well(openssl.current_dir(folder).args([
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:prime256v1",
        "-nodes",
        "-days",
        "1",
        "-subj",
        &subject,
        "-keyout",
        "certificate.key",
        "-out",
        "certificate.pem",
    ]));
    let mut configuration = text("nginx.conf");
    let mut replace = |from: &str, to: &str| {
        assert!(configuration.contains(from), "nginx.conf has no {from:?}");
        configuration = configuration.replace(from, to);
    };
    for kind in ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"] {
        replace("http {\n", &format!("http {{\n    {kind}_temp_path {}/{kind};\n", folder.display()));
    }
    replace("listen [::]:80;", "");
    replace("listen [::]:443 ssl http2;", "");
    replace("listen 80;", &format!("listen 127.0.0.1:{};", ports[0]));
    replace("listen 443 ", &format!("listen 127.0.0.1:{} ", ports[1]));
    replace("tenths-1:8080", &upstreams[0].to_string());
    replace("tenths-2:8080", &upstreams[1].to_string());
    let path = folder.join("nginx.conf");
    std::fs::write(&path, configuration).unwrap();
    Some(path)
}

fn nginx(folder: &Path, configuration: &Path) -> Option<Command> {
    // Debian keeps it where only administrators look.
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders = std::env::split_paths(&path).chain(["/usr/sbin".into()]);
    let Some(program) = folders.map(|folder| folder.join("nginx")).find(|file| file.is_file()) else {
        conformance::skip("the proxy's configuration", "nginx is not installed (Debian: nginx-light)");
        return None;
    };
    let mut nginx = Command::new(program);
    nginx.arg("-p").arg(folder).arg("-c").arg(configuration);
    nginx.args(["-g", "pid nginx.pid; error_log error.log; daemon off;"]);
    Some(nginx)
}

impl Proxy {
    async fn start() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let upstreams = [Upstream::listen().await, Upstream::listen().await];
        let (plain_port, secure_port) = (free_port(), free_port());
        let addresses = [upstreams[0].address, upstreams[1].address];
        let configuration = prepare(folder.path(), [plain_port, secure_port], addresses)?;
        run_well(nginx(folder.path(), &configuration)?.arg("-t"));
        let child = nginx(folder.path(), &configuration)?.stderr(Stdio::null()).spawn().unwrap();
        let client = Client::builder()
            .no_proxy()
            .redirect(redirect::Policy::none())
            // Of our own making, for a day.
            .danger_accept_invalid_certs(true)
            .resolve(HOST, SocketAddr::from((Ipv4Addr::LOCALHOST, secure_port)))
            .build()
            .unwrap();
        let proxy = Self { child, upstreams, client, plain_port, secure_port, _folder: folder };
        wait_for("the proxy", Duration::from_secs(20), async || {
            TcpStream::connect((Ipv4Addr::LOCALHOST, secure_port)).await.ok()
        })
        .await;
        Some(proxy)
    }

    fn url(&self, path: &str) -> String {
        format!("https://{HOST}:{}{path}", self.secure_port)
    }

    async fn get(&self, path: &str) -> reqwest::Response {
        self.client.get(self.url(path)).header("x-forwarded-for", "203.0.113.9").send().await.unwrap()
    }

    async fn post(&self, path: &str, length: usize) -> reqwest::Response {
        self.client.post(self.url(path)).body("a".repeat(length)).send().await.unwrap()
    }

    fn heard(&self) -> Vec<String> {
        self.upstreams.iter().flat_map(Upstream::heard).collect()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn requests_arrive_over_tls_with_the_address_of_whoever_asks() {
    let Some(proxy) = Proxy::start().await else { return };
    let plain = format!("http://127.0.0.1:{}/quiz/7?a=b", proxy.plain_port);
    let sent_on = proxy.client.get(plain).send().await.unwrap();
    assert_eq!(sent_on.status(), StatusCode::MOVED_PERMANENTLY);
    assert_eq!(sent_on.headers()["location"], "https://quiz.example.org/quiz/7?a=b");
    assert!(proxy.heard().is_empty(), "nothing is answered without TLS");

    let answer = proxy.get("/quiz/7?a=b").await;
    assert_eq!(answer.headers()["strict-transport-security"], "max-age=31536000");
    assert_eq!(answer.text().await.unwrap(), "tenths");
    let heard = proxy.heard();
    assert!(heard[0].starts_with("get /quiz/7?a=b http/1.1"), "{heard:?}");
    assert_eq!(header(&heard[0], "host"), Some(HOST));
    // The last address of the last such header is believed, service/src/server/limits.rs: not what a client wrote.
    assert_eq!(heard[0].matches("x-forwarded-for").count(), 1, "{heard:?}");
    assert_eq!(header(&heard[0], "x-forwarded-for"), Some("127.0.0.1"));
    assert_eq!(header(&heard[0], "x-request-id").unwrap().len(), 32);
}

#[tokio::test(flavor = "multi_thread")]
async fn health_and_numbers_are_not_told_outside_and_bodies_are_as_large_as_the_service_takes_them() {
    let Some(proxy) = Proxy::start().await else { return };
    for path in ["/metrics", "/health/live", "/health/ready"] {
        assert_eq!(proxy.get(path).await.status(), StatusCode::NOT_FOUND, "{path}");
    }
    let form = 256 * 1024;
    assert_eq!(proxy.post("/quiz/7/8/submit", form + 1).await.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(proxy.heard().is_empty());
    assert_eq!(proxy.post("/quiz/7/8/submit", form).await.status(), StatusCode::OK);
    for path in ["/api/v1/pools", "/district/examine"] {
        assert_eq!(proxy.post(path, 65 * 1024 * 1024).await.status(), StatusCode::OK, "{path}");
    }
    assert_eq!(proxy.heard().len(), 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn another_process_is_asked_only_where_that_is_safe() {
    let Some(proxy) = Proxy::start().await else { return };
    for upstream in &proxy.upstreams {
        upstream.hangs_up.store(true, Ordering::SeqCst);
    }
    // A process got it and died: nobody knows whether it was stored, so nobody else gets it.
    let answer = proxy.post("/quiz/7/8/submit", 100).await;
    assert_eq!(answer.status(), StatusCode::SERVICE_UNAVAILABLE);
    assert_eq!(answer.headers()["retry-after"], "10");
    let page = answer.text().await.unwrap();
    assert!(page.contains("One moment, please") && page.contains("En este momento"), "{page}");
    assert_eq!(proxy.heard().len(), 1, "{:?}", proxy.heard());

    // Reading a page is safe: the other one is asked.
    let first = usize::from(proxy.upstreams[0].heard().is_empty());
    proxy.upstreams[1 - first].hangs_up.store(false, Ordering::SeqCst);
    for _ in 0..4 {
        assert_eq!(proxy.get("/quiz/7").await.status(), StatusCode::OK);
    }
}
