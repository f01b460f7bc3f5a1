//! A PostgreSQL of this test process: started once from Debian's package, one empty database a test, gone with the process.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

static SERVER: LazyLock<Option<Server>> = LazyLock::new(Server::start);
static DATABASES: AtomicU32 = AtomicU32::new(0);

struct Server {
    /// Where its socket is.
    folder: PathBuf,
}

/// The address of a new empty database; None, said aloud, where PostgreSQL is not installed.
pub(in crate::storage) fn database() -> Option<String> {
    let server = SERVER.as_ref()?;
    let name = format!("t{}", DATABASES.fetch_add(1, Ordering::Relaxed));
    server.order(&format!("CREATE DATABASE {name}")).unwrap();
    Some(server.address(&name))
}

/// Ends all sessions at a database.
pub(super) fn cut_connections(address: &str) {
    let name = address.trim_start_matches("postgres://postgres@/").split('?').next().unwrap();
    let cut = format!("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'");
    SERVER.as_ref().unwrap().order(&cut).unwrap();
}

/// Has a database run a statement.
pub(in crate::storage) fn order(address: &str, sql: &str) {
    let (address, sql) = (address.to_owned(), sql.to_owned());
    let ordering = move || postgres::Client::connect(&address, postgres::NoTls)?.batch_execute(&sql);
    std::thread::spawn(ordering).join().unwrap().unwrap();
}

/// The number that a statement gives.
pub(in crate::storage) fn number(address: &str, sql: &str) -> i64 {
    let (address, sql) = (address.to_owned(), sql.to_owned());
    let asking = move || postgres::Client::connect(&address, postgres::NoTls)?.query_one(&sql, &[]);
    std::thread::spawn(asking).join().unwrap().unwrap().get(0)
}

impl Server {
    fn address(&self, database: &str) -> String {
        format!("postgres://postgres@/{database}?host={}", self.folder.display())
    }

    fn order(&self, sql: &str) -> Result<(), postgres::Error> {
        let (address, sql) = (self.address("postgres"), sql.to_owned());
        // Its client must not be used on the threads of a test's runtime.
        let ordering = move || postgres::Client::connect(&address, postgres::NoTls)?.batch_execute(&sql);
        std::thread::spawn(ordering).join().unwrap()
    }

    fn start() -> Option<Self> {
        let Some(programs) = programs() else {
            let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
            assert!(!ci, "PostgreSQL is not installed (Debian: postgresql)");
            // Straight to standard error, because the test harness swallows what is printed.
            let _ = writeln!(std::io::stderr(), "SKIPPED: the store on PostgreSQL: it is not installed");
            return None;
        };
        let folder = std::env::temp_dir().join(format!("tenths-postgres-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        // It refuses to run as root.
        let root = rights(&folder);
        let data = folder.join("data");
        let made = as_server(root, &programs.join("initdb"))
            .args(["--no-sync", "--auth=trust", "--username=postgres", "--encoding=UTF8", "--pgdata"])
            .arg(&data)
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let server = Self { folder };
        server.run(root, &programs.join("postgres"), &data);
        let until = Instant::now() + Duration::from_secs(60);
        while let Err(error) = server.order("SELECT 1") {
            assert!(Instant::now() < until, "PostgreSQL does not start: {error}");
            std::thread::sleep(Duration::from_millis(50));
        }
        Some(server)
    }

    /// Starts it so that it ends, and its files are gone, when the thread that started it ends: with this process.
    fn run(&self, root: bool, program: &Path, data: &Path) {
        let script = r#"trap 'kill -QUIT $server' TERM; "$1" -D "$2" -k "$3" -c listen_addresses= -c fsync=off -c max_connections=400 >"$3/log" 2>&1 & server=$!
            wait; wait; rm -rf "$3""#;
        let mut command = if root { as_server(true, Path::new("setpriv")) } else { Command::new("setpriv") };
        command
            .args(["--pdeathsig", "TERM", "sh", "-c", script, "sh"])
            .arg(program)
            .arg(data)
            .arg(&self.folder);
        command.stdin(Stdio::null());
        std::thread::spawn(move || command.status());
    }
}

/// Where the server's programs are; Debian keeps them out of the way.
fn programs() -> Option<PathBuf> {
    let mut versions: Vec<_> = std::fs::read_dir("/usr/lib/postgresql")
        .ok()?
        .flatten()
        .map(|version| version.path().join("bin"))
        .collect();
    versions.sort();
    versions.into_iter().rev().find(|programs| programs.join("initdb").exists())
}

/// Whether this process is root's; then the folder is given to the server's user.
fn rights(folder: &Path) -> bool {
    let id = Command::new("id").arg("-u").output().unwrap();
    let root = id.stdout == b"0\n";
    if root {
        assert!(Command::new("chown").arg("postgres:").arg(folder).status().unwrap().success());
    }
    root
}

fn as_server(root: bool, program: &Path) -> Command {
    if !root {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid", "postgres", "--regid", "postgres", "--clear-groups"]).arg(program);
    command.current_dir("/");
    command
}
