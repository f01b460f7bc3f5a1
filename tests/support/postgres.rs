//! A PostgreSQL server of a test's own, from Debian's package: in a temporary folder, at a socket there, without any port.
//!
//! It writes as in earnest (`fsync=on`), can be restarted and killed, and ends with the test, whatever ends the test: a
//! shell waits for the end of its standard input, which this process holds open, and then stops the server.

use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// The user that Debian's package makes; PostgreSQL refuses to run as root.
const USER: &str = "postgres";

/// A running server. It is stopped, and its folder removed, when this is dropped.
pub struct Postgres {
    programs: PathBuf,
    folder: PathBuf,
    as_root: bool,
    keeper: Child,
    /// Closed when this is dropped or the process ends.
    keeper_waits: Option<ChildStdin>,
}

impl Postgres {
    /// Makes a server and starts it; none, said aloud, where PostgreSQL is not installed.
    ///
    /// # Panics
    /// If it is installed and cannot be started; with `CI=true` also if it is not installed.
    pub fn start() -> Option<Self> {
        let Some(programs) = programs() else {
            crate::skip("the store on PostgreSQL", "it is not installed (Debian: postgresql)");
            return None;
        };
        let as_root = is_root();
        let folder = new_folder(as_root);
        let mut initdb = as_server(as_root, &programs.join("initdb"));
        initdb.args(["--auth=trust", "--username=postgres", "--encoding=UTF8", "--pgdata"]);
        done(initdb.arg(folder.join("data")));
        let mut keeper = as_server(as_root, Path::new("sh"))
            .args(["-c", r#"read -r _; "$1" -D "$2/data" -m immediate -w stop; rm -rf "$2""#, "sh"])
            .arg(programs.join("pg_ctl"))
            .arg(&folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a shell can be started");
        let keeper_waits = keeper.stdin.take();
        let server = Self { programs, folder, as_root, keeper, keeper_waits };
        server.control("start", "fast");
        Some(server)
    }

    /// The address of a new empty database.
    pub fn database(&self) -> String {
        self.database_like("template1")
    }

    /// The address of a new copy of a database to which nobody is connected.
    pub fn copy_of(&self, address: &str) -> String {
        self.database_like(name_of(address))
    }

    fn database_like(&self, template: &str) -> String {
        static DATABASES: AtomicU32 = AtomicU32::new(1);
        let name = format!("school{}", DATABASES.fetch_add(1, Ordering::Relaxed));
        self.order("postgres", &format!("CREATE DATABASE {name} TEMPLATE {template}"));
        format!("postgres://postgres@/{name}?host={}", self.folder.display())
    }

    /// Runs SQL at a database of [`Postgres::database`]; returns what it prints.
    ///
    /// # Panics
    /// If it fails.
    pub fn run_at(&self, address: &str, sql: &str) -> String {
        self.order(name_of(address), sql)
    }

    /// Ends all sessions at its databases.
    pub fn cut_connections(&self) {
        let others = "backend_type = 'client backend' AND pid <> pg_backend_pid()";
        self.order(
            "postgres",
            &format!("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}"),
        );
    }

    /// Stops it in good order, cutting off whoever is connected, and starts it again.
    pub fn restart(&self) {
        self.control("restart", "fast");
    }

    /// Stops it without any order, as a power cut does; what was committed is found again by recovery at the next start.
    pub fn crash(&self) {
        self.control("stop", "immediate");
    }

    /// Starts it again after a crash.
    pub fn start_again(&self) {
        self.control("start", "fast");
    }

    fn order(&self, database: &str, sql: &str) -> String {
        let mut psql = as_server(self.as_root, &self.programs.join("psql"));
        psql.args(["-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-U", "postgres", "-d", database, "-h"]);
        done(psql.arg(&self.folder).args(["-c", sql]))
    }

    fn control(&self, what: &str, mode: &str) {
        let options = format!(
            "-k {} -c listen_addresses= -c fsync=on -c max_connections=200 -c log_min_messages=fatal",
            self.folder.display()
        );
        let mut pg_ctl = as_server(self.as_root, &self.programs.join("pg_ctl"));
        pg_ctl.args(["-w", "-m", mode, "-o", &options, "-D"]).arg(self.folder.join("data"));
        pg_ctl.arg("-l").arg(self.folder.join("log"));
        // The server inherits what it is given; a pipe would never end.
        let status = pg_ctl.arg(what).stdout(Stdio::null()).stderr(Stdio::null()).status();
        let status = status.expect("pg_ctl can be started");
        let log = || std::fs::read_to_string(self.folder.join("log")).unwrap_or_default();
        assert!(status.success(), "PostgreSQL does not {what}: {}", log());
    }
}

impl Drop for Postgres {
    fn drop(&mut self) {
        drop(self.keeper_waits.take());
        // If it fails there is nobody left to tell.
        let _ = self.keeper.wait();
    }
}

/// The name of a database of [`Postgres::database`].
fn name_of(address: &str) -> &str {
    let name = address.trim_start_matches("postgres://postgres@/").split('?').next();
    name.expect("a split has a first part")
}

/// The folder of the newest version's programs; Debian keeps them out of the search path.
fn programs() -> Option<PathBuf> {
    let versions = std::fs::read_dir("/usr/lib/postgresql").ok()?.flatten();
    let mut versions: Vec<(u32, PathBuf)> = versions
        .filter_map(|version| Some((version.file_name().to_str()?.parse().ok()?, version.path().join("bin"))))
        .filter(|(_, programs)| programs.join("initdb").exists())
        .collect();
    versions.sort();
    versions.pop().map(|(_, programs)| programs)
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|id| id.stdout == b"0\n")
}

/// A folder of the server's user. It outlives this value: the keeper removes it.
fn new_folder(as_root: bool) -> PathBuf {
    let folder =
        tempfile::Builder::new().prefix("tenths-postgres-").tempdir().expect("a folder can be made").keep();
    if as_root {
        done(Command::new("chown").arg(format!("{USER}:")).arg(&folder));
    }
    folder
}

fn as_server(as_root: bool, program: &Path) -> Command {
    if !as_root {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid", USER, "--regid", USER, "--clear-groups"]).arg(program).current_dir("/");
    command
}

fn done(command: &mut Command) -> String {
    let output = command.stdin(Stdio::null()).output().expect("the command can be started");
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("PostgreSQL answers in UTF-8")
}
