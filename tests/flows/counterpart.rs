//! The service against a platform made of other people's code: `tests/outside/lti_platform.py`, which runs the Python
//! package lti1p3platform, a platform-side library of the standard, and has PyJWT check whatever the service signs.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader};
use std::process::{Child, Stdio};
use std::time::Duration;

use conformance::program::{Served, free_port, run_well};
use conformance::school::{PLAN, hand_in, press};
use conformance::{tools, wait_for};
use serde_json::Value;
use service::demo::visitor::Visitor;

/// Pupils of the platform who take the quiz; one more does not.
const PUPILS: usize = 7;
const CLAIM: &str = "https://purl.imsglobal.org/spec/lti/claim/";

/// The running script; it ends when dropped.
struct Counterpart {
    child: Child,
    known: Value,
}

impl Counterpart {
    fn start(tool: &str) -> Option<Self> {
        let mut command = tools::python_with("lti1p3platform", "the service against lti1p3platform")?;
        let script = tools::root().join("tests/outside/lti_platform.py");
        let mut child = command.arg(script).arg(tool).stdout(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Some(Self { child, known: serde_json::from_str(&line).unwrap() })
    }

    fn text(&self, name: &str) -> &str {
        self.known[name].as_str().unwrap()
    }

    /// A person whose launch the library has signed.
    async fn launched(&self, person: &str, hint: &str) -> Visitor {
        let mut visitor = Visitor::new().unwrap();
        let start = format!("{}/start?as={person}&hint={hint}", self.text("issuer"));
        visitor.open(&start).await.unwrap_or_else(|error| panic!("{person}: {error:#}"));
        visitor
    }

    /// What the platform has seen so far.
    async fn seen(&self) -> Value {
        reqwest::get(format!("{}/seen", self.text("issuer"))).await.unwrap().json().await.unwrap()
    }
}

impl Drop for Counterpart {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_class_on_an_independent_platform_gets_its_grades() {
    let port = free_port();
    let Some(platform) = Counterpart::start(&format!("http://127.0.0.1:{port}")) else { return };
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (store, plan, pool) = (format!("sqlite:{}", at("tenths.db")), at("plan.toml"), at("pool.json"));
    std::fs::write(&plan, PLAN).unwrap();
    run_well(["pool", &plan, "-o", &pool]);
    run_well(["load", &pool, "--store", &store]);
    let options = [
        ("--issuer", "issuer"),
        ("--client-id", "client_id"),
        ("--authorization-url", "authorization_url"),
        ("--token-url", "token_url"),
        ("--keys-url", "keys_url"),
        ("--deployment", "deployment_id"),
    ];
    let mut add = vec!["platform", "add", "--allow-loopback", "--store", &store];
    add.extend(options.iter().flat_map(|(option, name)| [*option, platform.text(name)]));
    run_well(add);
    let log = folder.path().join("service.log");
    let _served = Served::start_with(port, &store, &log, &["--log", "trace"]).await;

    let mut teacher = platform.launched("teacher-1", "place").await;
    let form = press(&teacher, "Place this quiz").with("pool", "river-day").with("questions", "2");
    teacher.submit(form).await.unwrap();
    assert!(teacher.page().unwrap().says("1 placed"), "{}", teacher.page().unwrap().gist());

    let mut expected = BTreeMap::new();
    for number in 1..=PUPILS {
        let person = format!("pupil-{number}");
        let mut pupil = platform.launched(&person, "0").await;
        pupil.submit(press(&pupil, "Start")).await.unwrap();
        hand_in(&mut pupil, number % 3).await;
        expected.insert(person, u64::try_from(number % 3).unwrap());
    }
    let seen = wait_for("the grades of the class", Duration::from_secs(20), async || {
        let seen = platform.seen().await;
        (grades(&seen) == expected).then_some(seen)
    })
    .await;
    assert_eq!(seen["line_items"].as_array().unwrap().len(), 1, "one column: {}", seen["line_items"]);
    assert_eq!(seen["line_items"][0]["resourceLinkId"], "link-0");
    assert_times_increase(&seen);
    assert_well_signed(&seen, &platform);
    let cookies = cookies_of_a_launch(&platform).await;
    let secrets = platform.seen().await["secrets"].clone();
    assert_silent(&std::fs::read_to_string(&log).unwrap(), &secrets, &cookies);

    // The class page opens for the teacher whom the library sends, and knows the library's class list, which has one more
    // pupil, on its last page; the teacher is none of them.
    let teacher = platform.launched("teacher-1", "0").await;
    let page = teacher.page().unwrap();
    assert!(page.url().path().starts_with("/class/"));
    assert!(
        page.says(&format!("{PUPILS} of {} pupils, {PUPILS} have started", PUPILS + 1)),
        "{}",
        page.html()
    );
}

/// The final points by pupil, of all columns.
fn grades(seen: &Value) -> BTreeMap<String, u64> {
    let columns = seen["scores"].as_object().unwrap().values();
    let scores = columns.flat_map(|column| column.as_object().unwrap());
    let graded = scores.filter(|(_, score)| score["gradingProgress"] == "FullyGraded");
    graded.map(|(person, score)| (person.clone(), score["scoreGiven"].as_u64().unwrap())).collect()
}

fn assert_times_increase(seen: &Value) {
    let mut last: BTreeMap<&str, jiff::Timestamp> = BTreeMap::new();
    for score in seen["journal"].as_array().unwrap() {
        let at = score["timestamp"].as_str().unwrap().parse().unwrap();
        let person = score["userId"].as_str().unwrap();
        assert!(last.insert(person, at).is_none_or(|before| before < at), "{person}: {seen}");
    }
    assert_eq!(last.len(), PUPILS);
}

/// Security Framework 4.1.1 and RFC 7523: what our assertions must say. Signature, audience, issuer and expiry were
/// checked by PyJWT, or the platform would have refused.
fn assert_well_signed(seen: &Value, platform: &Counterpart) {
    let signed = seen["assertions"].as_array().unwrap();
    let mut names = BTreeSet::new();
    for assertion in signed {
        assert_eq!(
            (&assertion["header"]["alg"], &assertion["header"]["typ"]),
            (&"RS256".into(), &"JWT".into())
        );
        assert!(!assertion["header"]["kid"].as_str().unwrap().is_empty());
        if let Some(placed) = assertion.get("deep_linking") {
            assert_eq!(placed[format!("{CLAIM}message_type")], "LtiDeepLinkingResponse");
            assert_eq!(placed[format!("{CLAIM}deployment_id")], "1");
            continue;
        }
        let claims = &assertion["assertion"];
        assert_eq!(
            (&claims["iss"], &claims["sub"]),
            (&platform.known["client_id"], &platform.known["client_id"])
        );
        assert_eq!(claims["aud"], platform.known["token_url"]);
        assert!(claims["iat"].is_i64() && claims["exp"].is_i64(), "times are numbers: {claims}");
        assert!(names.insert(claims["jti"].as_str().unwrap()), "an assertion is used once: {claims}");
    }
    assert!(signed.len() > names.len() && !names.is_empty(), "{signed:?}");
    // One token for each set of scopes, kept for the whole class.
    assert!(names.len() <= 5, "{} tokens were asked for", names.len());
}

/// The values of all cookies that a launch sets, by a client that keeps them where they can be seen.
async fn cookies_of_a_launch(platform: &Counterpart) -> Vec<String> {
    let client =
        reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).no_proxy().build().unwrap();
    let mut cookies = Vec::new();
    let mut keep = |answer: &reqwest::Response| {
        let set = answer.headers().get_all("set-cookie").iter();
        let pairs = set.map(|cookie| cookie.to_str().unwrap().split(';').next().unwrap().to_owned());
        cookies.extend(pairs);
        cookies.join("; ")
    };
    let get = async |url: &str| client.get(url).send().await.unwrap();
    let location = |answer: &reqwest::Response| answer.headers()["location"].to_str().unwrap().to_owned();
    let start = get(&format!("{}/start?as=pupil-1&hint=0", platform.text("issuer"))).await;
    let login = get(&location(&start)).await;
    let cookie = keep(&login);
    let form = get(&location(&login)).await.text().await.unwrap();
    let field = |name: &str| {
        let begins = format!("name=\"{name}\" value=\"");
        form.split(&begins).nth(1).unwrap().split('"').next().unwrap().to_owned()
    };
    let posted = [("id_token", field("id_token")), ("state", field("state"))];
    let launch = client.post(format!("{}/lti/launch", tool_of(&form))).form(&posted);
    let launched = launch.header("cookie", cookie).send().await.unwrap();
    assert!(launched.status().is_redirection() || launched.status().is_success(), "{}", launched.status());
    keep(&launched);
    let values = cookies.iter().map(|pair| pair.split_once('=').unwrap().1.to_owned());
    values.filter(|value| value.len() > 20).collect()
}

/// The origin that a form is posted to.
fn tool_of(form: &str) -> &str {
    form.split("action=\"").nth(1).unwrap().split("/lti/").next().unwrap()
}

/// Nothing secret and nobody's name is in the log, though it was kept as chatty as it can be.
fn assert_silent(log: &str, secrets: &Value, cookies: &[String]) {
    let secrets = secrets.as_array().unwrap().iter().map(|secret| secret.as_str().unwrap());
    let secrets: Vec<&str> = secrets.chain(cookies.iter().map(String::as_str)).collect();
    assert!(secrets.len() > 30 && cookies.len() >= 2, "{} secrets, {cookies:?}", secrets.len());
    for secret in &secrets {
        assert!(!log.contains(secret), "in the log: {secret}");
        // Of a token neither what it says nor its signature.
        for part in secret.split('.').skip(1).filter(|part| part.len() > 20) {
            assert!(!log.contains(part), "in the log: {part}");
        }
    }
    let names = (1..=PUPILS).map(|number| format!("pupil-{number}")).chain(["teacher-1".to_owned()]);
    for name in names {
        assert!(!log.contains(&name), "in the log: {name}");
    }
    let told = ["a grade was delivered", "answered", "TRACE"];
    assert!(told.iter().all(|told| log.contains(told)), "the log says what happens");
}
