//! Forged launches against the real service: each is refused with the failed check named, and opens nothing.

use conformance::program::run_well;
use conformance::school::press;
use conformance::stage::Stage;
use service::demo::visitor::{Page, Visitor};
use service::practice::Forgery;

/// One forgery and how it must be answered.
struct Row {
    forgery: Forgery,
    status: u16,
    check: &'static str,
    words: &'static str,
}

fn row(forgery: Forgery, status: u16, check: &'static str, words: &'static str) -> Row {
    Row { forgery, status, check, words }
}

fn missing(claim: &str, status: u16, check: &'static str, words: &'static str) -> Row {
    row(Forgery::MissingClaim { claim: claim.to_owned() }, status, check, words)
}

fn missing_lti(name: &str, check: &'static str, words: &'static str) -> Row {
    missing(&format!("https://purl.imsglobal.org/spec/lti/claim/{name}"), 400, check, words)
}

fn rows() -> Vec<Row> {
    vec![
        row(Forgery::WrongKey, 401, "signature", "The signature of the id_token is wrong."),
        row(Forgery::UnknownKeyId, 401, "key_unknown", "a key that the platform does not publish"),
        row(Forgery::MissingKeyId, 400, "key_id_missing", "does not name its key"),
        row(Forgery::ChangedPayload, 401, "signature", "The signature of the id_token is wrong."),
        row(Forgery::AlgorithmNone, 401, "algorithm", "not signed with RS256"),
        row(Forgery::PublicKeyAsSecret, 401, "algorithm", "not signed with RS256"),
        row(Forgery::Expired, 401, "expired", "has expired"),
        row(Forgery::IssuedInFuture, 401, "issued_in_future", "issued in the future"),
        row(Forgery::WrongIssuer, 401, "issuer", "issued by another platform"),
        row(Forgery::WrongAudience, 401, "audience", "meant for another service"),
        // The platform announces its deployment at login, so another one in the token is caught by that.
        row(Forgery::UnknownDeployment, 401, "deployment_hint", "another deployment than its login"),
        row(Forgery::WrongNonce, 401, "nonce", "does not carry the nonce of its login"),
        row(Forgery::Replayed, 401, "nonce", "does not carry the nonce of its login"),
        missing("iss", 401, "issuer", "issued by another platform"),
        missing("aud", 401, "audience", "meant for another service"),
        missing("sub", 400, "subject_missing", "does not say who is launching"),
        missing("nonce", 400, "nonce_missing", "does not carry a nonce"),
        missing("exp", 400, "expiry_missing", "does not say when it expires"),
        missing("iat", 400, "issued_at_missing", "does not say when it was issued"),
        missing_lti("message_type", "message_type_missing", "does not say what kind of message it is"),
        missing_lti("version", "version_missing", "which version of the standard"),
        missing_lti("deployment_id", "deployment_missing", "does not name its deployment"),
        missing_lti("resource_link", "resource_link", "does not name the link that was followed"),
        missing_lti("target_link_uri", "target_missing", "does not say where it leads"),
        missing_lti("roles", "roles_missing", "does not carry the list of roles"),
    ]
}

/// The token that the platform's last page passed on to the service.
fn token_passed_on(visitor: &Visitor) -> String {
    let passing = visitor.passed().last().expect("the platform's page passed the visitor on");
    let form = passing.form_with_button("Continue").unwrap();
    form.value("id_token").expect("the platform sends a token").to_owned()
}

fn assert_refused(page: &Page, status: u16, check: &str, words: &str, case: &str) {
    assert_eq!(page.status(), status, "{case}: {}", page.gist());
    assert_eq!(page.texts("code.code"), [check], "{case}");
    assert!(page.says(words), "{case}: {}", page.gist());
    assert!(!page.sets_cookies(), "{case}: a refusal opens no session");
}

/// Neither the token nor its content or signature may be repeated.
fn assert_silent_about(token: &str, text: &str, case: &str) {
    for part in token.split('.').skip(1).filter(|part| !part.is_empty()) {
        assert!(!text.contains(part), "{case}: a part of the token is shown");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_forged_launch_is_refused_by_name_and_opens_nothing() {
    let stage = Stage::set().await;
    for Row { forgery, status, check, words } in rows() {
        let case = format!("{forgery:?}");
        // An honest launch in between: the quiz's address, and a token for the replay.
        stage.school.practice.set_forgery(None);
        let mut honest = stage.school.pupil().await;
        honest.follow("Open").await.unwrap();
        let quiz = honest.page().unwrap().url().clone();

        stage.school.practice.set_forgery(Some(forgery));
        let mut victim = stage.school.pupil().await;
        assert!(victim.follow("Open").await.is_err(), "{case} was accepted");
        assert_refused(victim.page().unwrap(), status, check, words, &case);
        let token = token_passed_on(&victim);
        assert_silent_about(&token, victim.page().unwrap().html(), &case);

        assert!(victim.open(quiz.as_str()).await.is_err(), "{case}: the quiz opens without a launch");
        assert_refused(victim.page().unwrap(), 401, "session", "opened without your course", &case);
        let log = stage.log();
        assert!(log.contains(&format!("check=\"{check}\"")), "{case}: the log does not name the check");
        assert_silent_about(&token, &log, &case);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_launch_sent_twice_is_refused_the_second_time() {
    let stage = Stage::set().await;
    let mut pupil = stage.school.pupil().await;
    pupil.follow("Open").await.unwrap();
    let launch = pupil.passed().last().unwrap().form_with_button("Continue").unwrap();
    assert!(pupil.submit(launch.clone()).await.is_err());
    assert_refused(pupil.page().unwrap(), 401, "state_used", "has been used before", "same browser");

    let mut thief = Visitor::new().unwrap();
    assert!(thief.submit(launch).await.is_err());
    assert_eq!(thief.page().unwrap().status(), 401);
    assert!(!thief.page().unwrap().sets_cookies());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_forged_request_to_place_a_quiz_is_refused() {
    let stage = Stage::set().await;
    let settings = "https://purl.imsglobal.org/spec/lti-dl/claim/deep_linking_settings";
    for (claim, check, words) in [
        (settings, "deep_linking_settings", "does not say what may be placed"),
        ("nonce", "nonce_missing", "does not carry a nonce"),
    ] {
        let mut teacher = stage.school.teacher().await;
        stage.school.practice.set_forgery(Some(Forgery::MissingClaim { claim: claim.to_owned() }));
        assert!(teacher.follow("Add an activity").await.is_err(), "{claim} was not missed");
        assert_refused(teacher.page().unwrap(), 400, check, words, claim);
        stage.school.practice.set_forgery(None);
    }
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Add an activity").await.unwrap();
    press(&teacher, "Place this quiz");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deployment_that_is_not_registered_is_refused() {
    let stage = Stage::set().await;
    let known = stage.school.practice.registration();
    let store = stage.store();
    run_well([
        "platform",
        "remove",
        "--store",
        &store,
        "--issuer",
        &known.issuer,
        "--client-id",
        &known.client_id,
    ]);
    stage.school.register(&store, "another-deployment");
    let mut pupil = stage.school.pupil().await;
    assert!(pupil.follow("Open").await.is_err());
    assert_refused(
        pupil.page().unwrap(),
        403,
        "deployment_unknown",
        "This deployment of the platform is not registered here.",
        "unregistered deployment",
    );
}

/// Row 46 of the checklist: the launch opens, the list is passed over, and the log says so without naming anybody.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_of_mentored_people_without_the_mentors_role_is_passed_over_and_logged() {
    let stage = Stage::set().await;
    stage.school.practice.set_forgery(Some(Forgery::ReplacedClaim {
        claim: "https://purl.imsglobal.org/spec/lti/claim/role_scope_mentor".to_owned(),
        value: serde_json::json!(["p-02-secret"]),
    }));
    stage.school.pupil().await.follow("Open").await.unwrap();
    let log = stage.log();
    assert!(log.contains("a list of mentored people without the mentor's role was passed over"), "{log}");
    assert!(!log.contains("p-02-secret"), "{log}");
}
