//! A platform registers itself: from an invitation to a grade, with the real program and nothing typed in by hand.

use std::path::Path;
use std::time::Duration;

use conformance::browser::{Driver, Screen, Scripts};
use conformance::looks;
use conformance::program::{Served, free_port, run, run_well};
use conformance::school::{self, PLAN, School, press};
use conformance::wait_for;
use fantoccini::Locator;
use serde_json::Value;
use service::demo::visitor::Visitor;
use tempfile::TempDir;

/// How long the service may take to see what a command changed, and a grade to arrive, on a busy machine.
const WITHIN: Duration = Duration::from_secs(60);

/// The service on a fresh store with a pool, and a platform that neither knows it nor is known to it.
struct Strangers {
    school: School,
    store: String,
    url: String,
    folder: TempDir,
    _served: Served,
}

impl Strangers {
    async fn meet() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = format!("sqlite:{}", folder.path().join("tenths.db").display());
        let (plan, pool) = (folder.path().join("plan.toml"), folder.path().join("pool.json"));
        std::fs::write(&plan, PLAN).unwrap();
        run_well([Path::new("pool"), &plan, Path::new("-o"), &pool]);
        run_well(["load", pool.to_str().unwrap(), "--store", &store]);
        let port = free_port();
        let served = Served::start(port, &store, &folder.path().join("service.log")).await;
        // Where no tool is: whatever works later, the registration has told the platform.
        let school = School::open("http://127.0.0.1:9").await;
        Self { school, store, url: format!("http://127.0.0.1:{port}"), folder, _served: served }
    }

    fn invite(&self, more: &[&str]) -> String {
        let base = ["invite", "--store", &self.store, "--public-url", &self.url, "--allow-loopback"];
        run_well(base.iter().chain(more)).trim().to_owned()
    }

    /// The platform's administrator pastes an address and is led to the service.
    async fn administrator(&self, address: &str) -> (Visitor, bool) {
        let mut visitor = Visitor::new().unwrap();
        visitor.open(self.school.practice.base_url()).await.unwrap();
        visitor.follow("Register a tool").await.unwrap();
        let form = press(&visitor, "Open the registration").with("address", address);
        let opened = visitor.submit(form).await.is_ok();
        (visitor, opened)
    }

    fn lines(&self, command: &[&str]) -> Vec<Value> {
        let output = run_well(command.iter().chain(&["--store", &self.store, "--json"]));
        output.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("service.log")).unwrap()
    }

    async fn published_keys(&self) -> usize {
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        let answer = client.get(format!("{}/lti/keys", self.url)).send().await.unwrap();
        let set: Value = serde_json::from_str(&answer.text().await.unwrap()).unwrap();
        set["keys"].as_array().unwrap().len()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_invited_platform_registers_is_approved_and_gets_grades() {
    let strangers = Strangers::meet().await;
    let school = &strangers.school;
    let address = strangers.invite(&["--note", "for the river school"]);
    let (mut administrator, opened) = strangers.administrator(&address).await;
    assert!(opened, "{}", administrator.page().unwrap().gist());
    assert!(administrator.page().unwrap().says(school.practice.base_url()));
    administrator.submit(press(&administrator, "Register this platform")).await.unwrap();
    assert!(administrator.page().unwrap().says("Your platform is registered"));
    let page = administrator.page().unwrap().html();
    assert!(page.contains("<script src=\"/static/close.js\"></script>"), "{page}");
    administrator.open(&format!("{}/registrations", school.practice.base_url())).await.unwrap();
    assert!(administrator.page().unwrap().says("tenths is registered"));

    // The platform named no deployment, so its first launch is held.
    let mut teacher = school.teacher().await;
    assert!(teacher.follow("Add an activity").await.is_err());
    assert_eq!(teacher.page().unwrap().status(), 403);
    assert_eq!(teacher.page().unwrap().texts("code.code"), ["deployment_unknown"]);
    let waiting = strangers.lines(&["platform", "deployments"]).pop().unwrap();
    let known = school.practice.registration();
    assert_eq!(waiting["issuer"], known.issuer.as_str());
    let [client, deployment] = ["client_id", "deployment"].map(|name| waiting[name].as_str().unwrap());
    assert_eq!((client, deployment), (known.client_id.as_str(), known.deployment_id.as_str()));
    let approve = ["platform", "approve", "--issuer", &known.issuer, "--client-id", client];
    run_well(approve.iter().chain(&["--deployment", deployment, "--store", &strangers.store]));
    school.place_quiz().await;
    let mut pupil = school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 2).await;
    assert_eq!(school.grades_arrived(WITHIN).await, ["2"]);

    let trail = strangers.lines(&["audit"]);
    let actions: Vec<&str> = trail.iter().rev().map(|entry| entry["action"].as_str().unwrap()).collect();
    assert_eq!(
        actions,
        [
            "invitation_made",
            "registration_added",
            "invitation_used",
            "key_made",
            "deployment_held",
            "deployment_approved"
        ]
    );
    assert_eq!(trail[4]["by"], format!("platform {}", known.issuer));
    let secret = address.split('=').next_back().unwrap();
    for told in [strangers.log(), format!("{trail:?}{:?}", strangers.lines(&["invite", "list"]))] {
        assert!(!told.contains(secret), "an invitation's secret is told: {told}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_invitation_that_is_used_ended_or_taken_back_registers_nothing() {
    let strangers = Strangers::meet().await;
    let refused = async |address: &str, problem: &str| {
        let (administrator, opened) = strangers.administrator(address).await;
        assert!(!opened, "{problem}");
        assert_eq!(administrator.page().unwrap().status(), 403, "{problem}");
        assert_eq!(administrator.page().unwrap().texts("code.code"), [problem]);
    };
    let revoked = strangers.invite(&[]);
    let id = strangers.lines(&["invite", "list"])[0]["id"].as_str().unwrap().to_owned();
    run_well(["invite", "revoke", &id, "--store", &strangers.store]);
    assert_eq!(run(["invite", "revoke", &id, "--store", &strangers.store]).code, 1);
    refused(&revoked, "invitation_revoked").await;
    let ended = strangers.invite(&["--expires", "1ms"]);
    refused(&ended, "invitation_expired").await;
    refused(&format!("{}/lti/register?invitation=invented", strangers.url), "invitation_unknown").await;
    refused(&format!("{}/lti/register", strangers.url), "invitation_missing").await;

    let used = strangers.invite(&[]);
    let (mut administrator, _) = strangers.administrator(&used).await;
    let form = press(&administrator, "Register this platform");
    administrator.submit(form.clone()).await.unwrap();
    refused(&used, "invitation_used").await;
    assert!(administrator.submit(form).await.is_err(), "the form is good for one registration");
    assert_eq!(administrator.page().unwrap().texts("code.code"), ["invitation_used"]);
    assert_eq!(strangers.lines(&["platform", "list"]).len(), 1);
    let states: Vec<Value> =
        strangers.lines(&["invite", "list"]).into_iter().map(|entry| entry["state"].clone()).collect();
    assert_eq!(states, ["used", "ended", "revoked"]);
}

/// In a real browser, inside a frame of the platform, with a policy that lets nobody else frame the pages: the last one
/// tells the platform that it may close.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_platform_is_told_when_the_registration_in_its_frame_is_done() -> anyhow::Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let strangers = Strangers::meet().await;
    let browser = driver.open(Screen::DESK, Scripts::On).await?;
    let registrations = format!("{}/registrations", strangers.school.practice.base_url());
    browser.open(&registrations).await?;
    browser.fill("#address", &strangers.invite(&[])).await?;
    browser.click(Locator::XPath("//button[.='Open the registration']")).await?;
    browser.find(Locator::Css("input[name=offer]")).await?;
    looks::inspect_in_both(&browser, "a registration to be confirmed").await?;
    browser.open(&registrations).await?;
    browser.fill("#address", &strangers.invite(&[])).await?;
    browser.click(Locator::Css("button[value='frame']")).await?;
    browser.enter_frame("#tool").await?;
    browser.click(Locator::XPath("//button[starts-with(., 'Register this platform')]")).await?;
    browser.leave_frame().await?;
    assert_eq!(browser.text("p.notice").await?, "tenths is registered.");
    assert_eq!(browser.complaints().await?, Vec::<String>::new());
    browser.close().await?;
    assert_eq!(strangers.lines(&["platform", "list"]).len(), 1);
    looks::all_seen("registration")
}

/// The service runs on while its keys are changed by commands beside it.
#[tokio::test(flavor = "multi_thread")]
async fn keys_are_rotated_while_the_service_runs() {
    let strangers = Strangers::meet().await;
    let school = &strangers.school;
    let store = strangers.store.as_str();
    school.register(store, &school.practice.registration().deployment_id);
    let (mut administrator, _) = strangers.administrator(&strangers.invite(&[])).await;
    // Already registered by hand; the platform learns the addresses all the same.
    let confirmed = administrator.submit(press(&administrator, "Register this platform")).await;
    assert!(confirmed.is_err());
    assert_eq!(administrator.page().unwrap().texts("code.code"), ["known"]);

    school.place_quiz().await;
    let old = strangers.lines(&["keys", "list"]).pop().unwrap();
    assert_eq!((&old["stage"], &old["sealed"]), (&Value::from("signing"), &Value::from(false)));
    let new = run_well(["keys", "rotate", "--all", "--now", "--store", store]);
    wait_for("the new key to be published", WITHIN, async || {
        (strangers.published_keys().await == 2).then_some(())
    })
    .await;
    // The platform checks what the service signs by the key set: the answer of deep linking, and the request for a token.
    school.place_quiz().await;
    run_well(["keys", "retire", old["kid"].as_str().unwrap(), "--now", "--store", store]);
    wait_for("the old key to leave", WITHIN, async || (strangers.published_keys().await == 1).then_some(()))
        .await;
    let mut pupil = school.pupil().await;
    school::begin(&mut pupil, "Start").await;
    school::hand_in(&mut pupil, 1).await;
    assert_eq!(school.grades_arrived(WITHIN).await, ["1"]);
    let stages: Vec<(Value, Value)> = strangers
        .lines(&["keys", "list"])
        .into_iter()
        .map(|key| (key["kid"].clone(), key["stage"].clone()))
        .collect();
    assert_eq!(stages, [(old["kid"].clone(), "retired".into()), (new.trim().into(), "signing".into())]);
    let refused = run(["keys", "retire", new.trim(), "--now", "--store", store]);
    assert!(refused.code == 1 && refused.stderr.contains("rotate first"), "{}", refused.stderr);
}
