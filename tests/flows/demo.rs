//! The demonstration: a class of 24 from pool to gradebook, in-process and as the command.

use conformance::program::run;
use serde_json::{Value, json};
use service::demo::{Demo, DemoSettings};

#[tokio::test(flavor = "multi_thread")]
async fn a_class_of_24_has_its_24_expected_grades() {
    let folder = tempfile::tempdir().unwrap();
    let settings = DemoSettings { port: 0, pupils: 24, folder: folder.path().to_owned() };
    let demo = Demo::start(&settings).await.unwrap();
    let mut handed_in = 0;
    let summary = demo.play(|| handed_in += 1).await.unwrap();
    demo.stop().await.unwrap();
    assert_eq!(handed_in, 24);
    assert_eq!((summary.pupils, summary.grades_expected, summary.grades_in_gradebook), (24, 24, 24));
    assert_eq!(summary.mismatches, 0);
    assert_eq!(summary.launches, 25, "24 pupils, and the teacher's deep linking");
}

#[test]
fn demo_once_prints_the_summary_record_and_exits_0() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    let ended = run(["demo", "--once", "--folder", path]);
    assert_eq!(ended.code, 0, "{}", ended.stderr);
    assert_eq!(ended.stdout.lines().count(), 1, "one record and nothing else: {}", ended.stdout);
    let summary: Value = serde_json::from_str(&ended.stdout).unwrap();
    for (field, expected) in [
        ("pupils", json!(24)),
        ("grades_expected", json!(24)),
        ("grades_in_gradebook", json!(24)),
        ("mismatches", json!(0)),
        ("launches", json!(25)),
    ] {
        assert_eq!(summary[field], expected, "{field} in {summary}");
    }
    assert!(summary["questions"].as_u64().unwrap() >= 24, "{summary}");
    let package = std::fs::read(summary["package"].as_str().unwrap()).unwrap();
    assert!(package.starts_with(b"PK"), "the package is a zip file");
}
