//! Private keys at rest, and tokens of the programming interface, with the real program.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use conformance::program::{Served, free_port, run, run_well, tenths};
use conformance::school::School;
use serde_json::Value;
use service::storage::{self, PrivateKey};
use tempfile::TempDir;

fn store_in(folder: &TempDir) -> String {
    format!("sqlite:{}", folder.path().join("tenths.db").display())
}

fn new_seal_key(folder: &TempDir, name: &str) -> String {
    let path = folder.path().join(name).display().to_string();
    run_well(["keys", "new-seal-key", "-o", &path]);
    path
}

/// All private keys in the store that are not sealed.
async fn plain_keys(store: &str) -> Vec<Vec<u8>> {
    let keys = storage::open(store).unwrap().tool_keys().await.unwrap();
    keys.into_iter()
        .filter_map(|key| match key.private {
            PrivateKey::Plain(pkcs8) => Some(pkcs8),
            _ => None,
        })
        .collect()
}

/// The files of the store, its write-ahead log among them.
fn files(folder: &TempDir) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().path());
    entries.filter(|path| path.file_name().unwrap().to_str().unwrap().starts_with("tenths.db")).collect()
}

fn holds(path: &Path, secret: &[u8]) -> bool {
    let content = std::fs::read(path).unwrap();
    // A part from the middle, since pages of the file may break a key.
    let part = &secret[secret.len() / 2..][..48];
    content.windows(part.len()).any(|window| window == part)
}

#[tokio::test(flavor = "multi_thread")]
async fn keys_are_sealed_at_the_next_start_and_leave_no_trace_in_the_clear() {
    let folder = tempfile::tempdir().unwrap();
    let (store, port, log) = (store_in(&folder), free_port(), folder.path().join("service.log"));
    let school = School::open(&format!("http://127.0.0.1:{port}")).await;
    school.register(&store, "d-1");
    let mut served = Served::start(port, &store, &log).await;
    let plain = plain_keys(&store).await.pop().expect("on loopback keys need not be sealed");
    assert!(files(&folder).iter().any(|path| holds(path, &plain)), "so it can be found while it is there");
    served.kill();
    assert!(std::fs::read_to_string(&log).unwrap().contains("private keys in the store are not sealed"));

    let right = new_seal_key(&folder, "right.key");
    let mut served = Served::start_with(port, &store, &log, &["--seal-key-file", &right]).await;
    let listed: Value =
        serde_json::from_str(&run_well(["keys", "list", "--store", &store, "--json"])).unwrap();
    assert_eq!(listed["sealed"], true);
    for path in files(&folder) {
        assert!(!holds(&path, &plain), "{} holds the key in the clear", path.display());
    }
    served.kill();
    // An ended process can no longer hold back what it had not written.
    for path in files(&folder) {
        assert!(!holds(&path, &plain), "{} holds the key in the clear", path.display());
    }

    let wrong = new_seal_key(&folder, "wrong.key");
    let url = format!("http://127.0.0.1:{port}");
    let serve =
        ["serve", "--allow-loopback", "--listen", "127.0.0.1:0", "--public-url", &url, "--store", &store];
    let refused = run(serve.iter().chain(&["--seal-key-file", &wrong]));
    assert!(refused.code == 1 && refused.stderr.contains("no new keys are made"), "{}", refused.stderr);
    let refused = run(serve);
    assert!(refused.code == 1 && refused.stderr.contains("TENTHS_SEAL_KEY"), "{}", refused.stderr);
    let rotate = ["keys", "rotate", "--all", "--store", &store];
    assert_eq!(run(rotate).code, 1, "a key that is not sealed would lie beside sealed ones");

    // Another seal key takes over.
    let reseal = ["keys", "reseal", "--store", &store, "--new-seal-key-file", &wrong];
    assert_eq!(run(reseal).code, 1, "the present one is needed");
    run_well(reseal.iter().chain(&["--seal-key-file", &right]));
    run_well(rotate.iter().chain(&["--seal-key-file", &wrong]));
    let told = std::fs::read_to_string(&log).unwrap() + &run_well(["audit", "--store", &store]);
    for path in [right, wrong] {
        let key = std::fs::read_to_string(path).unwrap();
        assert!(!told.contains(key.trim()), "a seal key is told");
    }
}

#[test]
fn a_service_does_not_start_with_a_seal_key_that_is_none() {
    let folder = tempfile::tempdir().unwrap();
    let store = store_in(&folder);
    let public = "https://quiz.example.org";
    let serve = ["serve", "--listen", "127.0.0.1:0", "--public-url", public, "--store", &store];
    let key = new_seal_key(&folder, "seal.key");
    assert_eq!(std::fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(run(["keys", "new-seal-key", "-o", &key]).code, 1, "a key that exists is not overwritten");
    let with_variable = |value: &str, more: &[&str]| {
        let mut command = tenths(serve.iter().chain(more));
        let ended = command.env("TENTHS_SEAL_KEY", value).output().unwrap();
        (ended.status.code(), String::from_utf8(ended.stderr).unwrap())
    };
    let (code, told) = with_variable("swordfish", &[]);
    assert!(code == Some(1) && told.contains("TENTHS_SEAL_KEY") && !told.contains("swordfish"), "{told}");
    let (code, told) = with_variable(&"A".repeat(43), &["--seal-key-file", &key]);
    assert!(code == Some(1) && told.contains("both given"), "{told}");
    std::fs::set_permissions(&key, std::fs::Permissions::from_mode(0o644)).unwrap();
    let refused = run(serve.iter().chain(&["--seal-key-file", &key]));
    assert!(refused.code == 1 && refused.stderr.contains("chmod 600"), "{}", refused.stderr);
}

#[tokio::test(flavor = "multi_thread")]
async fn tokens_are_made_listed_and_taken_back_while_the_service_runs() {
    let folder = tempfile::tempdir().unwrap();
    let (store, port) = (store_in(&folder), free_port());
    let _served = Served::start(port, &store, &folder.path().join("service.log")).await;
    let add = |more: &[&str]| {
        let base = ["token", "add", "--store", &store, "--role", "auditor"];
        run_well(base.iter().chain(more)).trim().to_owned()
    };
    let client = reqwest::Client::builder().no_proxy().build().unwrap();
    let call = async |token: &str| {
        let request = client.get(format!("http://127.0.0.1:{port}/api/v1/audit")).bearer_auth(token);
        let answer = request.send().await.unwrap();
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    let token = add(&["--note", "for the auditor", "--expires", "30d"]);
    let (status, trail) = call(&token).await;
    assert_eq!(status, 200, "{trail}");
    assert!(trail.contains("token_made") && !trail.contains(&token), "{trail}");
    let list = || run_well(["token", "list", "--store", &store, "--json"]);
    let entry: Value = serde_json::from_str(&list()).unwrap();
    assert_eq!((&entry["note"], &entry["state"]), (&"for the auditor".into(), &"valid".into()));
    assert!(entry["last_used_on"].is_string() && !list().contains(&token), "{entry}");
    run_well(["token", "revoke", entry["id"].as_str().unwrap(), "--store", &store]);
    let revoked = call(&token).await;
    assert_eq!(revoked.0, 401);
    assert_eq!(call(&add(&["--expires", "1ms"])).await, revoked, "ended and taken back are answered alike");
    assert_eq!(call("invented").await, revoked, "and so is one that never was");
    let again = run(["token", "revoke", entry["id"].as_str().unwrap(), "--store", &store]);
    assert_eq!(again.code, 1);
    assert_eq!(run(["token", "add", "--store", &store, "--role", "auditor", "--expires", "soon"]).code, 2);
}
