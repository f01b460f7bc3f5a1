//! Cookies as an https service sets them: they work inside a frame of another site, and nowhere but over https.

use actix_web::http::header::SET_COOKIE;
use actix_web::test::{TestRequest, call_service, init_service};

use super::*;

fn has_all(cookie: &str, attributes: &[&str]) {
    let parts: Vec<_> = cookie.split("; ").skip(1).collect();
    for attribute in attributes {
        assert!(parts.contains(attribute), "{attribute} is not in {cookie}");
    }
    // A cookie without Domain goes to this host alone.
    assert!(!parts.iter().any(|part| part.starts_with("Domain")), "{cookie}");
}

#[actix_web::test]
async fn a_session_has_a_partitioned_cookie_for_its_own_page() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let session = NewSession {
        registration: &school.registration,
        deployment: deployment(),
        user: Some(UserId::from("ines")),
        return_origin: None,
    };
    let (cookie, page) = session
        .open_unlaunched(
            &school.app,
            SessionPurpose::Quiz { placement: school.placement.id.clone(), preview: false },
        )
        .await;
    let cookie = cookie.to_str().unwrap();
    assert!(cookie.starts_with("__Secure-tenths-session="), "{cookie}");
    has_all(cookie, &["HttpOnly", "Secure", "SameSite=None", "Partitioned", &format!("Path={page}")]);
}

#[actix_web::test]
async fn a_login_has_a_partitioned_cookie_for_this_host() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let app = actix_web::App::new().app_data(school.app.clone()).configure(routes::configure);
    let service = init_service(app).await;
    let login = "/lti/login?iss=https%3A%2F%2Fplatform.example.org&login_hint=h\
                 &target_link_uri=https%3A%2F%2Fquiz.example.org%2Flti%2Flaunch";
    let answer = call_service(&service, TestRequest::get().uri(login).to_request()).await;
    let cookie = answer.headers().get(SET_COOKIE).unwrap().to_str().unwrap();
    // The prefix makes browsers refuse it with another path, a domain, or without Secure.
    assert!(cookie.starts_with("__Host-tenths-browser="), "{cookie}");
    has_all(cookie, &["HttpOnly", "Secure", "SameSite=None", "Partitioned", "Path=/"]);
}
