//! The settings sample and the program's own list of settings.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::time::Duration;

use conformance::program::{free_port, run_well, tenths};
use conformance::wait_for;

use super::{names, text};

/// Every variable that `tenths serve` reads, as its help names them.
pub(crate) fn known() -> BTreeSet<String> {
    names(&run_well(["serve", "--help"]), "TENTHS_")
}

/// The sample's variables: those that are set, and those that stand in a comment.
fn sample() -> (BTreeMap<String, String>, BTreeSet<String>) {
    let (mut set, mut all) = (BTreeMap::new(), BTreeSet::new());
    for line in text("settings.env").lines() {
        let bare = line.strip_prefix('#').unwrap_or(line);
        let Some((name, value)) = bare.split_once('=').filter(|(name, _)| name.starts_with("TENTHS_")) else {
            continue;
        };
        all.insert(name.to_owned());
        if bare == line {
            set.insert(name.to_owned(), value.to_owned());
        }
    }
    (set, all)
}

#[test]
fn the_sample_names_every_setting_and_no_other() {
    let (set, all) = sample();
    assert!(set.contains_key("TENTHS_STORE") && all.len() > set.len());
    assert_eq!(all, known());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_starts_with_the_sample() {
    let folder = tempfile::tempdir().unwrap();
    let (mut settings, _) = sample();
    // Other places than those of an installed service; all else is the sample's.
    let port = free_port();
    settings.insert("TENTHS_LISTEN".to_owned(), format!("127.0.0.1:{port}"));
    settings.insert("TENTHS_STORE".to_owned(), format!("sqlite:{}/tenths.db", folder.path().display()));
    let log = File::create(folder.path().join("log")).unwrap();
    let mut service = tenths(["serve"]).envs(&settings).stderr(log).spawn().unwrap();
    let client = reqwest::Client::builder().no_proxy().build().unwrap();
    let ready = wait_for("the service to get ready", Duration::from_secs(30), async || {
        if service.try_wait().unwrap().is_some() {
            return Some(false);
        }
        let answer = client.get(format!("http://127.0.0.1:{port}/health/ready")).send().await.ok()?;
        answer.status().is_success().then_some(true)
    })
    .await;
    let _ = service.kill();
    service.wait().unwrap();
    let log = std::fs::read_to_string(folder.path().join("log")).unwrap();
    assert!(ready && log.contains("serving") && !log.contains("ERROR"), "{log}");
}
