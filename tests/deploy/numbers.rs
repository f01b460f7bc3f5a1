//! The numbers that the service tells, its alert rules and its dashboard, by Prometheus' own tool.

use std::io::Write as _;
use std::process::Stdio;

use conformance::program::{Served, free_port};

use super::{file, run_well, text, tool};

const PACKAGE: &str = "Debian: prometheus";

#[test]
fn alert_rules_and_settings_are_read() {
    let Some(mut promtool) = tool("promtool", "alert rules", PACKAGE) else { return };
    let told = run_well(promtool.args(["check", "config"]).arg(file("prometheus.yaml")));
    assert!(told.contains("SUCCESS: 15 rules found"), "{told}");
}

#[test]
fn each_alert_stays_silent_and_tells() {
    let Some(mut promtool) = tool("promtool", "tests of alert rules", PACKAGE) else { return };
    run_well(promtool.args(["test", "rules"]).arg(file("alerts-test.yaml")));
    let played = text("alerts-test.yaml");
    for alert in text("alerts.yaml").lines().filter_map(|line| line.trim().strip_prefix("- alert: ")) {
        let rows: Vec<_> =
            played.lines().filter(|line| line.contains(&format!("alertname: {alert}"))).collect();
        assert!(!rows.is_empty(), "{alert} is not played");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_service_tells_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let (port, store) = (free_port(), format!("sqlite:{}", folder.path().join("tenths.db").display()));
    let log = folder.path().join("log");
    let _served = Served::start_with(port, &store, &log, &["--log-format", "json"]).await;
    let client = reqwest::Client::builder().no_proxy().build().unwrap();
    let get = async |path: &str| client.get(format!("http://127.0.0.1:{port}{path}")).send().await.unwrap();
    // A page, a refusal, an address that does not exist, a method that does not exist.
    get("/lti/keys").await;
    let refused = get("/lti/launch").await;
    let id = refused.headers()["x-request-id"].to_str().unwrap().to_owned();
    get("/pupils/of/mine").await;
    let strange = reqwest::Method::from_bytes(b"INVENTED").unwrap();
    client.request(strange, format!("http://127.0.0.1:{port}/quiz/mine")).send().await.unwrap();

    let numbers = get("/metrics").await;
    let kind = numbers.headers()["content-type"].to_str().unwrap().to_owned();
    assert!(kind.starts_with("application/openmetrics-text"), "{kind}");
    let numbers = numbers.text().await.unwrap();
    for told in [
        r#"request_duration_seconds_count{route="/lti/keys",method="GET",class="2xx"} 1"#,
        r#"request_duration_seconds_count{route="/lti/launch",method="GET",class="4xx"} 1"#,
        r#"request_duration_seconds_count{route="(no such address)",method="GET",class="4xx"} 1"#,
        r#"method="other",class="4xx"} 1"#,
        "ready 1",
        "build_info{version=\"0.1.0\"} 1",
        r#"store_wait_seconds_count{lane="read"} "#,
        r#"store_steps{lane="read"} "#,
    ] {
        assert!(numbers.contains(told), "{told}: {numbers}");
    }
    assert!(!numbers.contains("mine") && !numbers.contains("INVENTED"), "addresses as they were asked for");

    // One object a line; the lines of a request have its id, and its answer has it, too.
    let log = std::fs::read_to_string(log).unwrap();
    let lines: Vec<serde_json::Value> = log.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let of_refused: Vec<_> = lines.iter().filter(|line| line["spans"][0]["id"] == id).collect();
    let told: Vec<_> = of_refused.iter().map(|line| line["message"].as_str().unwrap()).collect();
    assert_eq!(told, ["a login or launch was refused", "answered"]);
    assert_eq!(of_refused[0]["check"], "post_required");

    let Some(mut promtool) = tool("promtool", "the numbers of the service", PACKAGE) else { return };
    let mut child = promtool
        .args(["check", "metrics"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(numbers.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let told = String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap();
    // OpenMetrics writes the help of a counter under its name without `_total`, which this tool does not know.
    let faults: Vec<_> = told.lines().filter(|line| !line.ends_with("_total no help text")).collect();
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn the_dashboard_can_be_read_and_overlaps_nowhere() {
    let dashboard: serde_json::Value = serde_json::from_str(&text("dashboard.json")).unwrap();
    let panels = dashboard["panels"].as_array().unwrap();
    let place =
        |panel: &serde_json::Value| ["x", "y", "w", "h"].map(|of| panel["gridPos"][of].as_u64().unwrap());
    for (index, panel) in panels.iter().enumerate() {
        let [x, y, w, h] = place(panel);
        assert!(x + w <= 24 && !panel["targets"].as_array().unwrap().is_empty(), "{panel}");
        for other in &panels[index + 1..] {
            let [x2, y2, w2, h2] = place(other);
            let apart = x + w <= x2 || x2 + w2 <= x || y + h <= y2 || y2 + h2 <= y;
            assert!(apart, "{} and {}", panel["title"], other["title"]);
        }
    }
}

/// Each query of the dashboard is one that Prometheus can read: it is checked as a rule.
#[test]
fn the_dashboards_queries_are_read() {
    let Some(mut promtool) = tool("promtool", "queries of the dashboard", PACKAGE) else { return };
    let dashboard: serde_json::Value = serde_json::from_str(&text("dashboard.json")).unwrap();
    let mut rules = "groups:\n  - name: dashboard\n    rules:\n".to_owned();
    let targets =
        dashboard["panels"].as_array().unwrap().iter().flat_map(|panel| panel["targets"].as_array().unwrap());
    let mut count = 0;
    for (index, target) in targets.enumerate() {
        // A JSON text is a YAML text.
        rules += &format!("      - {{record: \"dashboard:q{index}\", expr: {}}}\n", target["expr"]);
        count += 1;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("rules.yaml");
    std::fs::write(&path, rules).unwrap();
    let told = run_well(promtool.args(["check", "rules"]).arg(path));
    assert!(told.contains(&format!("SUCCESS: {count} rules found")), "{told}");
}
