//! Traces: a collector that speaks only as much of the protocol as it takes to be sent something, and what it is sent.

use std::net::Ipv4Addr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use conformance::stage::Stage;
use conformance::{school, wait_for};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

const WITHIN: Duration = Duration::from_secs(60);
/// The example of W3C Trace Context, section 3.2.
const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
const TRACEPARENT: &str = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";

/// Everything that was sent, head and body.
type Sent = Arc<Mutex<Vec<(String, Vec<u8>)>>>;

async fn collector() -> (String, Sent) {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap();
    let address = format!("http://{}/v1/traces", listener.local_addr().unwrap());
    let sent = Sent::default();
    let keep = sent.clone();
    tokio::spawn(async move {
        while let Ok((connection, _)) = listener.accept().await {
            tokio::spawn(take(connection, keep.clone()));
        }
    });
    (address, sent)
}

async fn take(mut connection: TcpStream, sent: Sent) {
    let mut bytes = Vec::new();
    while connection.read_buf(&mut bytes).await.is_ok_and(|read| read > 0) {
        let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") else { continue };
        let head = String::from_utf8(bytes[..end].to_vec()).unwrap().to_lowercase();
        let length = head.lines().find_map(|line| line.strip_prefix("content-length: "));
        let length: usize = length.map_or(0, |length| length.parse().unwrap());
        if bytes.len() < end + 4 + length {
            continue;
        }
        let body = bytes.drain(..end + 4 + length).skip(end + 4).collect();
        sent.lock().unwrap().push((head, body));
        // An empty ExportTraceServiceResponse.
        let answer = b"HTTP/1.1 200 OK\r\ncontent-type: application/x-protobuf\r\ncontent-length: 0\r\n\r\n";
        connection.write_all(answer).await.unwrap();
    }
}

/// Texts stand in the binary form as they are.
fn holds(sent: &Sent, what: &[u8]) -> bool {
    sent.lock().unwrap().iter().any(|(_, body)| body.windows(what.len()).any(|window| window == what))
}

fn trace_bytes() -> Vec<u8> {
    (0..TRACE.len()).step_by(2).map(|at| u8::from_str_radix(&TRACE[at..at + 2], 16).unwrap()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_collector_is_sent_requests_steps_calls_and_deliveries_and_nothing_about_people() {
    let (address, sent) = collector().await;
    let stage = Stage::set_with(&["--traces", &address, "--log-format", "json"]).await;
    let mut pupil = stage.school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 2).await;
    stage.school.grades_arrived(WITHIN).await;
    let client = reqwest::Client::builder().no_proxy().build().unwrap();
    let keys = client.get(format!("{}/lti/keys", stage.address())).header("traceparent", TRACEPARENT);
    assert!(keys.send().await.unwrap().status().is_success());

    let submit: &[u8] = b"POST /quiz/{placement}/{attempt}/submit";
    for what in [submit, b"GET /lti/keys", b"store", b"call", b"deliver", &trace_bytes()] {
        wait_for(&String::from_utf8_lossy(what), WITHIN, async || holds(&sent, what).then_some(())).await;
    }
    let (head, _) = sent.lock().unwrap()[0].clone();
    assert!(head.starts_with("post /v1/traces http/1.1"), "{head}");
    assert!(head.contains("content-type: application/x-protobuf"), "{head}");
    // The step is told by the function of the store that made it.
    assert!(holds(&sent, b"hand_in"));
    assert!(holds(&sent, b"127.0.0.1"), "the platform's host");
    assert!(!holds(&sent, b"/metrics") && !holds(&sent, b"/health/ready"), "machines ask all the time");
    for personal in [school::PUPIL_ID, "Ines", "Jonte", "Tannberg"] {
        assert!(!holds(&sent, personal.as_bytes()), "{personal}");
    }

    // The log leads to the trace, and holds nothing of its spans.
    let log = stage.log();
    let line = log.lines().find(|line| line.contains(TRACE)).expect("the request's line names its trace");
    let line: serde_json::Value = serde_json::from_str(line).unwrap();
    assert_eq!(line["route"], "/lti/keys");
    assert_eq!(line["spans"][0]["trace_id"], TRACE);
    assert_eq!(line["spans"][0]["id"].as_str().unwrap().len(), 32);
    assert!(!log.contains("otel."), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_collector_that_is_away_hinders_nobody() {
    let nobody = format!("http://127.0.0.1:{}/v1/traces", conformance::program::free_port());
    let stage = Stage::set_with(&["--traces", &nobody]).await;
    let mut pupil = stage.school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 1).await;
    assert_eq!(stage.school.grades_arrived(WITHIN).await, ["1"]);
}
