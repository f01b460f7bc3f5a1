//! The coordinator's pages: who gets in, and what is done there.

use actix_web::http::header::SET_COOKIE;

use super::*;
use crate::clock::plus_ms;
use crate::storage::{ApiRole, ApiToken, AuditQuery, DeploymentId};

/// Every address under `/district`, read from the table itself: path, and whether it takes a form.
fn addresses() -> Vec<(String, bool)> {
    let table = include_str!("../district/mod.rs");
    let routes = table.split(".route(\"").skip(1).map(|route| {
        let (path, rest) = route.split_once('"').unwrap();
        (
            path.replace("{family}", "add-ragged")
                .replace("{pool}", "river-day")
                .replace("{job}", "none")
                .replace("{platform}", "1"),
            rest.starts_with(", web::post()"),
        )
    });
    routes.filter(|(path, _)| path != "/district/sign-in").collect()
}

impl School {
    /// A token of that role.
    async fn named_token(&self, role: ApiRole) -> (String, String) {
        let (token, secret) = ApiToken::new(role, "a test", monday(), Some(plus_ms(monday(), 1000)));
        let id = token.id.clone();
        self.app.storage.add_api_token(token, &change()).await.unwrap();
        (id, secret)
    }

    async fn signing_in(&self, secret: &str, from: &str) -> (StatusCode, Option<Cookie<'static>>) {
        let service =
            init_service(actix_web::App::new().app_data(self.app.clone()).configure(routes::configure)).await;
        let request = TestRequest::post()
            .uri("/district/sign-in")
            .insert_header(("sec-fetch-site", from))
            .set_form([("token", secret)]);
        let answer = call_service(&service, request.to_request()).await;
        let cookie = answer
            .headers()
            .get(SET_COOKIE)
            .map(|cookie| Cookie::parse(cookie.to_str().unwrap()).unwrap().into_owned());
        (answer.status(), cookie)
    }

    /// Status, where it leads, and the page.
    async fn district(
        &self,
        cookie: Option<&Cookie<'static>>,
        path: &str,
        form: Option<&[(&str, &str)]>,
    ) -> (StatusCode, String, String) {
        let service =
            init_service(actix_web::App::new().app_data(self.app.clone()).configure(routes::configure)).await;
        let mut request = match form {
            Some(fields) => TestRequest::post().uri(path).set_form(fields),
            None => TestRequest::get().uri(path),
        };
        if let Some(cookie) = cookie {
            request = request.cookie(cookie.clone());
        }
        let answer = call_service(&service, request.to_request()).await;
        let leads = answer.headers().get(LOCATION).map_or("", |to| to.to_str().unwrap()).to_owned();
        let status = answer.status();
        (status, leads, String::from_utf8_lossy(&read_body(answer).await).into_owned())
    }
}

fn csrf(page: &str) -> String {
    page.split("name=\"csrf\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
}

#[actix_web::test]
async fn only_the_bearer_of_a_coordinators_token_gets_in_and_only_while_it_is_valid() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    for role in [ApiRole::Teacher, ApiRole::Auditor] {
        let (_, secret) = school.named_token(role).await;
        assert_eq!(
            school.signing_in(&secret, "same-origin").await,
            (StatusCode::UNAUTHORIZED, None),
            "{role}"
        );
    }
    assert_eq!(school.signing_in("guessed", "same-origin").await.0, StatusCode::UNAUTHORIZED);
    let (id, secret) = school.named_token(ApiRole::Coordinator).await;
    assert_eq!(school.signing_in(&secret, "cross-site").await, (StatusCode::FORBIDDEN, None));
    let (status, cookie) = school.signing_in(&secret, "same-origin").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    let cookie = cookie.unwrap();
    assert!(cookie.http_only().unwrap() && !cookie.value().contains(&secret), "{cookie}");
    assert_eq!(cookie.same_site(), Some(actix_web::cookie::SameSite::Strict));
    assert_eq!(school.district(Some(&cookie), "/district", None).await.0, StatusCode::OK);

    let changed = Cookie::new(cookie.name().to_owned(), format!("{}A", cookie.value()));
    let (status, leads, _) = school.district(Some(&changed), "/district", None).await;
    assert_eq!((status, leads.as_str()), (StatusCode::SEE_OTHER, "/district/sign-in"));
    school.clock.advance_ms(2000);
    assert_eq!(
        school.district(Some(&cookie), "/district", None).await.0,
        StatusCode::SEE_OTHER,
        "the token has ended"
    );
    school.clock.advance_ms(-2000);
    school.app.storage.revoke_api_token(&id, &change()).await.unwrap();
    assert_eq!(
        school.district(Some(&cookie), "/district", None).await.0,
        StatusCode::SEE_OTHER,
        "taken back"
    );
}

#[actix_web::test]
async fn every_address_leads_others_to_the_door_and_takes_no_form_without_its_value() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (_, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let addresses = addresses();
    assert!(addresses.len() > 25, "{addresses:?}");
    for (path, posts) in addresses {
        let form: Option<&[(&str, &str)]> = posts.then_some(&[("csrf", "guessed")]);
        let (status, leads, _) = school.district(None, &path, form).await;
        assert_eq!((status, leads.as_str()), (StatusCode::SEE_OTHER, "/district/sign-in"), "{path}");
        // Files come by another kind of form, whose parts are read before the session's value.
        let file = ["/district/examine", "/district/pools/plan/upload"].contains(&path.as_str());
        let refused = if file { StatusCode::UNSUPPORTED_MEDIA_TYPE } else { StatusCode::FORBIDDEN };
        if posts {
            let (status, _, body) = school.district(Some(&cookie), &path, form).await;
            assert_eq!(status, refused, "{path}: {body}");
        }
    }
}

#[actix_web::test]
async fn a_pupils_or_a_teachers_session_opens_no_page_of_a_coordinator() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    for browser in [school.pupil("ines").await, school.teacher().await] {
        let answer = browser.get("/district").await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
    }
}

#[actix_web::test]
async fn what_is_changed_is_noted_under_the_tokens_name() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (id, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let waiting = DeploymentId::from("d-new");
    school.app.storage.hold_deployment(school.registration.id, &waiting, &change()).await.unwrap();
    let csrf = csrf(&school.district(Some(&cookie), "/district/platforms", None).await.2);
    let (status, _, page) = school
        .district(
            Some(&cookie),
            "/district/platforms/invite",
            Some(&[("csrf", &csrf), ("note", "River school")]),
        )
        .await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("/lti/register?invitation=") && page.contains("River school"), "{page}");
    let platform = school.registration.id.0.to_string();
    let fields = [("csrf", csrf.as_str()), ("platform", &platform), ("deployment", "d-new")];
    assert_eq!(
        school.district(Some(&cookie), "/district/platforms/approve", Some(&fields)).await.0,
        StatusCode::SEE_OTHER
    );
    let known = school.app.storage.registration(school.registration.id).await.unwrap().unwrap();
    assert!(known.platform.deployments.contains(&waiting));
    let trail = school
        .app
        .storage
        .audit(&AuditQuery { registration: None, placement: None, before: None, limit: 2 })
        .await
        .unwrap();
    for entry in trail {
        let by = Actor::Token { role: ApiRole::Coordinator, id: Some(id.clone()) };
        assert_eq!(entry.change.by, by, "{entry:?}");
    }
    // Asked once more, a platform is removed; not before.
    let fields = [("csrf", csrf.as_str()), ("platform", &platform)];
    let (status, _, page) = school.district(Some(&cookie), "/district/platforms/remove", Some(&fields)).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("one placed quiz"), "{page}");
    assert!(school.app.storage.registration(school.registration.id).await.unwrap().is_some());
}

#[actix_web::test]
async fn a_plan_that_is_clicked_together_is_loaded_and_its_questions_are_shown() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (_, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let csrf = csrf(&school.district(Some(&cookie), "/district/pools/plan", None).await.2);
    let add = [
        ("csrf", csrf.as_str()),
        ("do", "add"),
        ("plan", ""),
        ("title", "Yard day"),
        ("locale", "en-US"),
        ("section", "Adding"),
        ("code", "5.NBT.B.7"),
        ("count", "4"),
        ("pick", "2"),
    ];
    let (status, _, page) = school.district(Some(&cookie), "/district/pools/plan", Some(&add)).await;
    assert_eq!(status, StatusCode::OK);
    let plan = page
        .split("<textarea")
        .nth(1)
        .unwrap()
        .split_once('>')
        .unwrap()
        .1
        .split("</textarea>")
        .next()
        .unwrap();
    let plan = plan.replace("&#34;", "\"").replace("&quot;", "\"");
    let load = [("csrf", csrf.as_str()), ("do", "load"), ("plan", plan.as_str())];
    let (status, leads, page) = school.district(Some(&cookie), "/district/pools/plan", Some(&load)).await;
    assert_eq!((status, leads.as_str()), (StatusCode::SEE_OTHER, "/district/pools/yard-day"), "{page}");
    let (status, _, page) = school.district(Some(&cookie), "/district/pools/yard-day", None).await;
    assert!(status == StatusCode::OK && page.contains("Question 4"), "{page}");
    assert!(page.contains("nowhere yet"), "where it is placed: {page}");

    let look = |more: &[(&'static str, &'static str)]| {
        let fixed = [("csrf", csrf.as_str()), ("do", "look"), ("locale", "en-US"), ("code", "5.NBT.B.7")];
        fixed.into_iter().chain(more.iter().copied()).collect::<Vec<_>>()
    };
    let asked = async |fields: &[(&str, &str)]| {
        school.district(Some(&cookie), "/district/pools/plan", Some(fields)).await
    };
    let (status, _, page) = asked(&look(&[("kind", "number")])).await;
    assert!(status == StatusCode::OK && page.contains("Up to "), "{page}");
    assert!(page.contains("<option value=\"number\" selected>"), "what was chosen stays: {page}");
    let (_, _, page) = asked(&look(&[("level_from", "4"), ("level_to", "5")])).await;
    assert!(page.contains("About ") && page.contains(" of 40 drawn"), "{page}");
    let (status, _, page) = asked(&look(&[("level_from", "5"), ("level_to", "4")])).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("lower level"), "{page}");
    // No family for adding decimals asks for numbers in words.
    let (_, _, page) = asked(&look(&[("kind", "words")])).await;
    assert!(page.contains("No family has such questions"), "{page}");

    let keep = [("csrf", csrf.as_str()), ("do", "download"), ("plan", plan.as_str())];
    let (status, _, file) = asked(&keep).await;
    assert_eq!((status, file.as_str()), (StatusCode::OK, plan.as_str()));
    let fault = [("csrf", csrf.as_str()), ("do", "make"), ("plan", "pool = ")];
    let (status, _, page) = school.district(Some(&cookie), "/district/pools/plan", Some(&fault)).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("line 1"), "{page}");
}

#[actix_web::test]
async fn signing_out_takes_the_cookie_away_and_signing_in_leaves_the_day() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (id, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let tokens = school.app.storage.api_tokens().await.unwrap();
    let used = tokens.iter().find(|token| token.id == id).unwrap().last_used_on;
    assert_eq!(used.unwrap().to_string(), "2026-03-02");
    let csrf = csrf(&school.district(Some(&cookie), "/district", None).await.2);
    let service =
        init_service(actix_web::App::new().app_data(school.app.clone()).configure(routes::configure)).await;
    let request = TestRequest::post().uri("/district/sign-out").cookie(cookie.clone());
    let answer = call_service(&service, request.set_form([("csrf", csrf)]).to_request()).await;
    let removal = answer.headers().get(SET_COOKIE).unwrap().to_str().unwrap();
    // RFC 6265bis, 4.1.3.1 (from memory): a name with the prefix __Secure- needs the attribute, else nothing is removed.
    assert!(removal.starts_with("__Secure-tenths-district=;") && removal.contains("Max-Age=0"), "{removal}");
    assert!(removal.contains("Secure;") || removal.ends_with("Secure"), "{removal}");
    assert!(removal.contains("Path=/district"), "{removal}");

    let foreign = TestRequest::post().uri("/district/sign-in").insert_header(("origin", "https://evil.test"));
    let answer = call_service(&service, foreign.set_form([("token", secret)]).to_request()).await;
    assert_eq!(answer.status(), StatusCode::FORBIDDEN);
}

#[actix_web::test]
async fn a_platform_is_added_with_the_checks_of_the_command_line() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (_, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let csrf = csrf(&school.district(Some(&cookie), "/district/platforms", None).await.2);
    let fields = |keys: &'static str, deployments: &'static str| {
        [
            ("csrf", csrf.clone()),
            ("issuer", "https://hill.example.org".into()),
            ("client_id", "c-9".into()),
            ("authorization_url", "https://hill.example.org/authorize".into()),
            ("token_url", "https://hill.example.org/token".into()),
            ("keys_url", keys.into()),
            ("deployments", deployments.into()),
            ("audience", String::new()),
        ]
    };
    let path = "/district/platforms/add";
    for (keys, deployments, told) in [
        ("http://hill.example.org/keys", "1", "Address of the public keys"),
        ("https://127.0.0.1/keys", "1", "Address of the public keys"),
        ("https://hill.example.org/keys", " \r\n", "Deployments"),
    ] {
        let fields = fields(keys, deployments);
        let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let (status, _, page) = school.district(Some(&cookie), path, Some(&fields)).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{keys}");
        assert!(page.contains(told) && page.contains("value=\"c-9\""), "what was typed stays: {page}");
    }
    let fields = fields("https://hill.example.org/keys", "1\r\n two \r\n");
    let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    assert_eq!(school.district(Some(&cookie), path, Some(&fields)).await.0, StatusCode::SEE_OTHER);
    let known = school.app.storage.registrations_of("https://hill.example.org").await.unwrap().remove(0);
    let deployments: Vec<_> = known.platform.deployments.iter().map(DeploymentId::as_str).collect();
    assert_eq!((deployments, &known.platform.audience), (vec!["1", "two"], &None));
}

#[actix_web::test]
async fn further_pages_for_frames_are_named_and_forgotten() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (_, secret) = school.named_token(ApiRole::Coordinator).await;
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let platform = format!("/district/platforms/{}", school.registration.id.0);
    let (status, _, page) = school.district(Some(&cookie), &platform, None).await;
    assert!(status == StatusCode::OK && page.contains("https://platform.example.org/keys"), "{page}");
    let (csrf, path) = (csrf(&page), format!("{platform}/frames"));
    let save = async |origins: &str| {
        let form = [("csrf", csrf.as_str()), ("origins", origins)];
        let status = school.district(Some(&cookie), &path, Some(&form)).await.0;
        (status, school.app.storage.frame_origins(school.registration.id).await.unwrap().len())
    };
    assert_eq!(save("https://a.example.org\r\nhttps://b.example.org/\r\n").await, (StatusCode::SEE_OTHER, 2));
    let fault = "https://c.example.org/with/path";
    assert_eq!(save(fault).await, (StatusCode::UNPROCESSABLE_ENTITY, 2), "nothing changes");
    assert_eq!(save("http://c.example.org").await, (StatusCode::UNPROCESSABLE_ENTITY, 2));
    assert_eq!(save("").await, (StatusCode::SEE_OTHER, 0));
    assert_eq!(school.district(Some(&cookie), "/district/platforms/99", None).await.0, StatusCode::NOT_FOUND);
}

#[actix_web::test]
async fn what_fewer_than_ten_pupils_did_is_on_no_page_and_in_no_file() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let (token, secret) = ApiToken::new(ApiRole::Coordinator, "a test", monday(), None);
    school.app.storage.add_api_token(token, &change()).await.unwrap();
    let cookie = school.signing_in(&secret, "same-origin").await.1.unwrap();
    let shown = async |path: &str| school.district(Some(&cookie), path, None).await.2;
    let hand_in = async |from: usize, to: usize| {
        for number in from..to {
            let user = format!("pupil-{number}");
            let pupil = school.pupil(&user).await;
            let (path, attempt) = pupil.begin(&user).await;
            let handed_in = pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
            assert_eq!(handed_in.status, StatusCode::SEE_OTHER);
        }
    };
    hand_in(0, 9).await;
    let page = shown("/district/use").await;
    assert!(page.contains("fewer than 10") && !page.contains("100%"), "{page}");
    let courses = shown("/district/use-courses.csv").await;
    assert_eq!(courses.lines().nth(1), Some("https://platform.example.org,course-1,1,,,"), "{courses}");
    assert_eq!(shown("/district/use.csv").await.lines().count(), 1, "the head alone");

    hand_in(9, 30).await;
    assert!(!shown("/district/use").await.contains("100%"), "kept for a minute");
    school.clock.advance_ms(61_000);
    let page = shown("/district/use").await;
    assert!(page.contains("100%") && page.contains("id=\"facility-caption\""), "{page}");
    let courses = shown("/district/use-courses.csv").await;
    assert!(courses.lines().nth(1).unwrap().ends_with(",1.0000"), "{courses}");
    assert!(shown("/district/use.csv").await.contains("add-ragged,"), "the family is told");
}
