//! The real `tenths` program: built once, run as a person runs it.

use std::ffi::OsStr;
use std::fs::File;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use crate::wait_for;

/// How long a started service may take to answer, on a busy machine.
const START_WITHIN: Duration = Duration::from_secs(30);

static PROGRAM: OnceLock<PathBuf> = OnceLock::new();

/// The program's file, built in the profile and target folder of the running test unless another one was named.
///
/// # Panics
/// If it cannot be built.
pub fn program() -> &'static Path {
    PROGRAM.get_or_init(build)
}

/// Names a program that was built before.
///
/// # Panics
/// If one was used already.
pub fn use_program(file: PathBuf) {
    PROGRAM.set(file).expect("the program is named before it is used");
}

fn build() -> PathBuf {
    // A test runs from TARGET/PROFILE/deps/flows-HASH.
    let test = std::env::current_exe().expect("a test knows its own file");
    let folder = test.ancestors().nth(2).expect("cargo puts tests in a folder of the profile's");
    let target = folder.parent().expect("cargo puts profiles in the target folder");
    let profile = match folder.file_name().and_then(OsStr::to_str) {
        Some("debug") => "dev",
        Some(name) => name,
        None => panic!("{} names no profile", folder.display()),
    };
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["build", "--quiet", "--locked", "--workspace", "--bin", "tenths", "--profile", profile])
        .arg("--target-dir")
        .arg(target)
        .output()
        .expect("cargo runs, as it runs this test");
    assert!(built.status.success(), "tenths cannot be built: {}", String::from_utf8_lossy(&built.stderr));
    folder.join(format!("tenths{}", std::env::consts::EXE_SUFFIX))
}

/// A command of the program, without any of its settings from the test's own environment.
pub fn tenths<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Command {
    let mut command = clean(Command::new(program()));
    command.args(arguments);
    command
}

/// The same by another program, which runs what stands after its own arguments: `tenths` without arguments so far.
pub fn tenths_under(runner: &str, arguments: &[&str]) -> Command {
    let mut command = clean(Command::new(runner));
    command.args(arguments).arg(program());
    command
}

fn clean(mut command: Command) -> Command {
    let settings = [
        "TENTHS_LISTEN",
        "TENTHS_PUBLIC_URL",
        "TENTHS_STORE",
        "TENTHS_LOG",
        "TENTHS_SEAL_KEY",
        "TENTHS_SEAL_KEY_FILE",
        "TENTHS_NAMES",
        "TENTHS_KEEP",
        "TENTHS_TIME_ZONE",
        "TENTHS_BEHIND_PROXY",
        "TENTHS_REQUESTS_PER_SECOND",
        "TENTHS_REQUESTS_AT_ONCE",
        "TENTHS_DRAIN",
        "TENTHS_TRACES",
    ];
    for setting in settings {
        command.env_remove(setting);
    }
    command.stdin(Stdio::null());
    command
}

/// What a finished command came to.
#[derive(Debug)]
pub struct Ended {
    /// Its exit code; -1 if a signal ended it.
    pub code: i32,
    /// Its data.
    pub stdout: String,
    /// What it told a person.
    pub stderr: String,
}

/// Runs the program to its end.
///
/// # Panics
/// If it cannot be started or writes something other than UTF-8.
pub fn run<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Ended {
    let Output { status, stdout, stderr } = tenths(arguments).output().expect("the program can be started");
    Ended {
        code: status.code().unwrap_or(-1),
        stdout: String::from_utf8(stdout).expect("data is UTF-8"),
        stderr: String::from_utf8(stderr).expect("messages are UTF-8"),
    }
}

/// Runs the program and returns its data.
///
/// # Panics
/// As [`run`], and if it does not exit with 0.
pub fn run_well<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> String {
    let ended = run(arguments);
    assert_eq!(ended.code, 0, "{}", ended.stderr);
    ended.stdout
}

/// `tenths serve` as a process of its own. It is killed when dropped.
pub struct Served {
    child: Child,
    address: SocketAddr,
}

impl Served {
    /// Starts the service on that port of loopback and waits until it is ready. What it logs is added to `log`.
    ///
    /// # Panics
    /// If it ends at once or does not get ready.
    pub async fn start(port: u16, store: &str, log: &Path) -> Self {
        Self::start_with(port, store, log, &[]).await
    }

    /// Starts the service with more options.
    ///
    /// # Panics
    /// As [`Served::start`].
    pub async fn start_with(port: u16, store: &str, log: &Path, options: &[&str]) -> Self {
        Self::start_behind(port, &format!("http://127.0.0.1:{port}"), store, log, options).await
    }

    /// Starts the service on that port behind a proxy that browsers and platforms reach at `public_url`.
    ///
    /// # Panics
    /// As [`Served::start`].
    pub async fn start_behind(
        port: u16,
        public_url: &str,
        store: &str,
        log: &Path,
        options: &[&str],
    ) -> Self {
        let arguments = ["--public-url", public_url, "--store", store];
        Self::start_by(tenths(["serve"]), port, log, &[&arguments, options].concat()).await
    }

    /// Starts the service by a command to which its arguments are added.
    ///
    /// # Panics
    /// As [`Served::start`].
    pub async fn start_by(command: Command, port: u16, log: &Path, options: &[&str]) -> Self {
        let mut served = Self::spawn_by(command, port, log, options);
        served.ready().await;
        served
    }

    /// The same without waiting.
    ///
    /// # Panics
    /// If it cannot be started.
    pub fn spawn_by(mut command: Command, port: u16, log: &Path, options: &[&str]) -> Self {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        let log = File::options().create(true).append(true).open(log).expect("a log can be written");
        command.args(["--allow-loopback", "--listen", &address.to_string()]).args(options);
        let child = command.stderr(log).spawn().expect("the program can be started");
        Self { child, address }
    }

    /// Waits until it is ready.
    ///
    /// # Panics
    /// If it ends instead.
    pub async fn ready(&mut self) {
        let (child, ready) = (&mut self.child, format!("http://{}/health/ready", self.address));
        let client = reqwest::Client::builder().no_proxy().build().expect("a plain client can be made");
        wait_for("the service to get ready", START_WITHIN, async || {
            let ended = child.try_wait().expect("a child can be asked");
            assert!(ended.is_none(), "tenths serve ended: {ended:?}");
            let answer = client.get(&ready).send().await.ok()?;
            answer.status().is_success().then_some(())
        })
        .await;
    }

    /// Its number among the system's processes.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends the process as a power cut does: SIGKILL, no chance to finish anything.
    ///
    /// # Panics
    /// If it had ended before.
    pub fn kill(&mut self) {
        assert!(
            self.child.try_wait().expect("a child can be asked").is_none(),
            "the service ended by itself"
        );
        self.child.kill().expect("a running child can be killed");
        self.child.wait().expect("a killed child ends");
    }
}

impl Served {
    /// Asks the process to end, as service managers do (SIGTERM), and waits until it has. Its exit code, and how long that
    /// took.
    ///
    /// # Panics
    /// If it cannot be asked.
    pub fn end(mut self) -> (Option<i32>, Duration) {
        let asked = Instant::now();
        let kill = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(kill.expect("every machine has kill").success(), "the service cannot be asked to end");
        let status = self.child.wait().expect("a child can be waited for");
        (status.code(), asked.elapsed())
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // After `kill` there is nothing left to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A port of loopback that is free now.
///
/// # Panics
/// If there is none.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has free ports");
    listener.local_addr().expect("a bound listener has an address").port()
}
