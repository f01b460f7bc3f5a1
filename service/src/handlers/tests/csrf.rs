//! Every address that takes a form, read from the route table itself: each is shown to refuse what another site could
//! have a browser post.

use actix_web::http::StatusCode;
use actix_web::test::TestRequest;

use super::*;

/// What the refusal says.
const REFUSAL: &str = "too old to be sent";
const TABLE: &str = concat!(include_str!("../../routes.rs"), include_str!("../district/mod.rs"));

/// What keeps another site from posting in a person's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Guard {
    /// The session's own value in the form.
    FormValue,
    /// The posts come from other sites by design; the login's state, held by the browser, is what protects them.
    LoginState,
    /// The browser's word for the page that posts.
    Origin,
    /// A token that no browser sends by itself.
    Bearer,
    /// As the first, for coordinators, whose session is another one.
    SignedIn,
    /// What is posted was sealed by us for whoever holds an invitation; nobody else can make it.
    Sealed,
}

/// The paths of all routes that take a post.
fn posts() -> Vec<(&'static str, Guard)> {
    let routes: Vec<_> = TABLE.split("web::post()").collect();
    let paths = routes[..routes.len() - 1].iter().map(|before| {
        let start = before.rfind(".route(\"").unwrap() + ".route(\"".len();
        before[start..].split('"').next().unwrap()
    });
    paths.map(|path| (path, guard(path))).collect()
}

/// A new address that takes forms has to be entered here.
fn guard(path: &str) -> Guard {
    match path {
        "/lti/login" | "/lti/launch" => Guard::LoginState,
        "/lti/launch/finish" | "/lti/window" => Guard::Origin,
        "/lti/register" => Guard::Sealed,
        path if path.starts_with("/district") => Guard::SignedIn,
        "/pools" | "/score" | "/held" | "/purge" => Guard::Bearer,
        path if ["/deliveries/", "/platforms/", "/keys/"].iter().any(|api| path.starts_with(api)) => {
            Guard::Bearer
        }
        path if path.starts_with("/quiz/") || path.starts_with("/class/") => Guard::FormValue,
        path => panic!("what keeps another site from posting to {path}?"),
    }
}

#[actix_web::test]
async fn every_form_is_refused_without_the_value_of_its_own_session() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (pupil, teacher, placing) =
        (school.pupil("ines").await, school.teacher().await, school.placing().await);
    let (_, attempt) = pupil.begin("ines").await;
    let foreign = school.pupil("jonte").await.csrf().await;
    let mut checked = 0;
    for (path, guard) in posts() {
        if guard != Guard::FormValue {
            continue;
        }
        let browser = match path {
            path if path.starts_with("/class/place") => &placing,
            path if path.starts_with("/class/") => &teacher,
            _ => &pupil,
        };
        let address = path
            .replace("{placement}", school.placement.id.as_str())
            .replace("{attempt}", attempt.id.as_str());
        assert!(!address.contains('{'), "{address}: a part that this test does not know");
        let before = school.attempts("ines").await;
        for csrf in [None, Some(String::new()), Some(foreign.clone())] {
            let fields: Vec<_> = csrf.into_iter().map(|value| ("csrf".to_owned(), value)).collect();
            let answer = browser.post(&address, &fields).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path} with {fields:?}");
            assert!(answer.body.contains(REFUSAL), "{path}: {}", answer.body);
        }
        assert_eq!(school.attempts("ines").await, before, "{path}: of what was refused nothing happened");
        let answer = browser.post(&address, &[("csrf".to_owned(), browser.csrf().await)]).await;
        assert!(!answer.body.contains(REFUSAL), "{path}: its own value is taken");
        checked += 1;
    }
    assert!(checked >= 5, "the table has at least the forms of quiz and class, not {checked}");
}

#[actix_web::test]
async fn what_carries_no_form_value_is_guarded_otherwise() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("ines").await;
    for (path, guard) in posts() {
        let (address, expected) = match guard {
            // `district` posts to all of these.
            Guard::FormValue | Guard::SignedIn => continue,
            Guard::Bearer => (format!("/api/v1{path}"), StatusCode::UNAUTHORIZED),
            // Neither names a platform or a login, and both say so.
            Guard::LoginState => (path.to_owned(), StatusCode::BAD_REQUEST),
            Guard::Sealed => (path.to_owned(), StatusCode::FORBIDDEN),
            Guard::Origin => (path.to_owned(), StatusCode::UNAUTHORIZED),
        };
        let fields = [("ticket", "guessed"), ("state", "guessed")];
        let fields = if guard == Guard::LoginState { &fields[..1] } else { &fields[..] };
        let request = TestRequest::post().uri(&address).insert_header(("origin", "https://evil.test"));
        let answer = pupil.send(request.set_form(fields)).await;
        assert_eq!(answer.status, expected, "{path}: {}", answer.body);
    }
}
