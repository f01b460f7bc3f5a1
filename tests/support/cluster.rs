//! Several processes of the service over one store, behind one public address, as a proxy has them.
//!
//! The proxy is a plain one of this process: whoever connects to the public address is connected to the next process
//! that listens. Pupils of the tests do not use it: their requests go to one process after the other by [`Ways`], so that
//! any request meets any process.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use jiff::{SignedDuration, Timestamp};
use tokio::io::copy_bidirectional;
use tokio::net::TcpStream;
use tokio::task::JoinHandle;
use url::Url;

use crate::history::Disturbance;
use crate::program::{Served, free_port, tenths};

/// How long a platform's answer may have been under way when its receiver was killed.
const UNDER_WAY: SignedDuration = SignedDuration::from_millis(1_000);
/// The least time from a kill to anything that another process does because of it.
const SETTLED: SignedDuration = SignedDuration::from_millis(50);

/// The public port, and the ports of the processes.
#[derive(Debug, Clone)]
pub struct Ways {
    public: u16,
    ports: Arc<Vec<u16>>,
    next: Arc<AtomicUsize>,
}

impl Ways {
    /// The port of the next process in turn, whether it lives or not.
    pub fn next(&self) -> u16 {
        self.ports[self.next.fetch_add(1, Ordering::Relaxed) % self.ports.len()]
    }

    /// The public address.
    pub fn public_url(&self) -> String {
        format!("http://127.0.0.1:{}", self.public)
    }

    /// The same address at the process of `port`, if it is one of the service.
    pub fn at(&self, port: u16, mut url: Url) -> Url {
        let known = url.port().is_some_and(|port| port == self.public || self.ports.contains(&port));
        if known && url.set_port(Some(port)).is_err() {
            unreachable!("addresses of the web can have a port");
        }
        url
    }
}

/// The processes.
pub struct Cluster {
    processes: Vec<Option<Served>>,
    ways: Ways,
    store: String,
    log: PathBuf,
    options: Vec<String>,
    proxy: JoinHandle<()>,
    /// How often each process was killed.
    pub kills: Vec<usize>,
}

impl Cluster {
    /// Chooses ports and starts the proxy; no process yet.
    ///
    /// # Panics
    /// If loopback has no free ports; so for all that follows.
    pub fn prepare(count: usize, log: &Path) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has free ports");
        listener.set_nonblocking(true).expect("a fresh listener can be set up");
        let public = listener.local_addr().expect("a bound listener has an address").port();
        let ports = Arc::new((0..count).map(|_| free_port()).collect());
        let ways = Ways { public, ports, next: Arc::default() };
        let proxy = tokio::spawn(proxy(listener, ways.clone()));
        Self {
            processes: (0..count).map(|_| None).collect(),
            ways,
            store: String::new(),
            log: log.to_owned(),
            options: Vec::new(),
            proxy,
            kills: vec![0; count],
        }
    }

    /// Where requests can go.
    pub fn ways(&self) -> &Ways {
        &self.ways
    }

    /// Sets the store and further options of processes that are started from now on.
    pub fn serve(&mut self, store: &str, options: &[&str]) {
        store.clone_into(&mut self.store);
        self.options = options.iter().map(|&option| option.to_owned()).collect();
    }

    /// How many processes there are.
    pub fn count(&self) -> usize {
        self.processes.len()
    }

    /// Starts all processes at once.
    pub async fn start_all(&mut self) {
        for index in 0..self.count() {
            self.processes[index] = Some(self.spawned(index, tenths(["serve"])));
        }
        for process in self.processes.iter_mut().flatten() {
            process.ready().await;
        }
    }

    /// Starts a process, and waits until it is ready.
    pub async fn start(&mut self, index: usize) {
        self.start_by(index, tenths(["serve"])).await;
    }

    /// Starts a process by a command that runs `tenths serve` with more arguments.
    pub async fn start_by(&mut self, index: usize, command: Command) {
        let mut process = self.spawned(index, command);
        process.ready().await;
        self.processes[index] = Some(process);
    }

    fn spawned(&self, index: usize, command: Command) -> Served {
        let url = self.ways.public_url();
        let mut arguments = vec!["--public-url", &url, "--store", &self.store, "--requests-per-second", "0"];
        arguments.extend(self.options.iter().map(String::as_str));
        Served::spawn_by(command, self.ways.ports[index], &self.log, &arguments)
    }

    /// The system's number of a process that runs.
    pub fn id(&self, index: usize) -> u32 {
        self.processes[index].as_ref().expect("the process runs").id()
    }

    /// The address of one process.
    pub fn address(&self, index: usize) -> String {
        format!("http://127.0.0.1:{}", self.ways.ports[index])
    }

    /// Kills a process as a power cut does.
    pub fn kill(&mut self, index: usize) -> Disturbance {
        let from = Timestamp::now() - UNDER_WAY;
        let mut process = self.processes[index].take().expect("the process runs");
        process.kill();
        self.kills[index] += 1;
        Disturbance { what: format!("process {} killed", index + 1), from, until: Timestamp::now() + SETTLED }
    }

    /// Sends a process a signal, such as `STOP`.
    pub fn signal(&self, index: usize, signal: &str) {
        let id = self.id(index).to_string();
        let status = Command::new("kill").args(["-s", signal, &id]).status();
        assert!(status.expect("there is a kill command").success(), "no signal for {id}");
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        self.proxy.abort();
    }
}

async fn proxy(listener: TcpListener, ways: Ways) {
    let listener = tokio::net::TcpListener::from_std(listener).expect("a listener that does not block");
    while let Ok((mut client, _)) = listener.accept().await {
        let ways = ways.clone();
        tokio::spawn(async move {
            for _ in 0..ways.ports.len() {
                let process = SocketAddr::from((Ipv4Addr::LOCALHOST, ways.next()));
                if let Ok(mut process) = TcpStream::connect(process).await {
                    // However it ends, both sides see it end.
                    let _ = copy_bidirectional(&mut client, &mut process).await;
                    return;
                }
            }
        });
    }
}
