//! Launches inside frames whose browser keeps no cookies there, as an HTTP client sees them (checklist 1.9 and row 10 of
//! 1.4; postMessage storage and Fetch from memory). The scripts of these pages run in `tests/flows/frames.rs`.

use reqwest::header::{
    CONTENT_SECURITY_POLICY, COOKIE, HeaderMap, LOCATION, ORIGIN, REFERRER_POLICY, SET_COOKIE,
};
use reqwest::{Response, StatusCode};
use scraper::{Html, Selector};
use service::lti::FailedCheck;
use url::Url;

use crate::platform::{Signer, sign};
use crate::tool::{GOOD_HEADER, StartedLogin, Tool, assert_refused, change, registration};

/// A login whose secret the platform's window keeps, and no cookie.
struct KeptLogin {
    login: StartedLogin,
    secret: String,
}

/// The value of an attribute of the first element of a selector.
fn attribute(page: &str, selector: &str, name: &str) -> String {
    let document = Html::parse_document(page);
    let element = document.select(&Selector::parse(selector).unwrap()).next();
    let element = element.unwrap_or_else(|| panic!("no {selector} in {page}"));
    element.attr(name).unwrap_or_else(|| panic!("no {name} at {selector}")).to_owned()
}

fn policy(headers: &HeaderMap) -> String {
    headers[CONTENT_SECURITY_POLICY].to_str().unwrap().to_owned()
}

fn cookie_of(response: &Response) -> String {
    response.headers()[SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned()
}

impl Tool {
    async fn login_in_frame(&self) -> Response {
        let mut parameters = self.login_parameters();
        parameters.push(("lti_storage_target", "_parent".to_owned()));
        self.get_login(&parameters).await
    }

    async fn kept_login(&self) -> KeptLogin {
        let page = self.login_in_frame().await.text().await.unwrap();
        let data = |name: &str| attribute(&page, "#storage", name);
        let redirect: Url = data("data-onward").parse().unwrap();
        let state = data("data-state-key").strip_prefix("lti_state_").unwrap().to_owned();
        let nonce = data("data-nonce-value");
        let login = StartedLogin { state, nonce, cookie: String::new(), redirect };
        KeptLogin { login, secret: data("data-state-value") }
    }

    /// The fields that the page of the launch posts to finish it.
    fn finishing(&self, kept: &KeptLogin) -> Vec<(&'static str, String)> {
        let token = sign(GOOD_HEADER, &self.claims(&kept.login).to_string(), Signer::Own);
        vec![
            ("state", kept.login.state.clone()),
            ("id_token", token),
            ("kept_state", kept.secret.clone()),
            ("kept_nonce", kept.login.nonce.clone()),
        ]
    }

    async fn post_from(&self, origin: &str, path: &str, fields: &[(&str, String)], cookie: &str) -> Response {
        let mut request = self.client.post(format!("{}{path}", self.url)).form(fields);
        for (name, value) in [(ORIGIN, origin), (COOKIE, cookie)] {
            if !value.is_empty() {
                request = request.header(name, value);
            }
        }
        request.send().await.unwrap()
    }

    /// Finishes a launch as our own page does.
    async fn finish(&self, fields: &[(&str, String)]) -> Response {
        self.post_from(&self.url, "/lti/launch/finish", fields, "").await
    }

    /// A ticket for a window, as the page offers it after a launch without cookies.
    async fn ticket(&self) -> String {
        let kept = self.kept_login().await;
        let page = self.finish(&self.finishing(&kept)).await.text().await.unwrap();
        attribute(&page, "form[action='/lti/window'][target=_blank] input[name=ticket]", "value")
    }

    async fn open_window(&self, ticket: &str) -> Response {
        self.post_from(&self.url, "/lti/window", &[("ticket", ticket.to_owned())], "").await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_login_leaves_a_secret_with_the_platform_and_sends_it_nowhere_else() {
    let tool = Tool::start().await;
    let answer = tool.login_in_frame().await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(answer.headers()["cache-control"], "no-store");
    let policy = policy(answer.headers());
    assert!(policy.contains("script-src 'self'") && !policy.contains("unsafe"), "{policy}");
    assert!(policy.contains(&format!("frame-ancestors {}", tool.platform.url)), "{policy}");
    let page = answer.text().await.unwrap();
    let data = |name: &str| attribute(&page, "#storage", name);
    assert_eq!(data("data-origin"), tool.platform.url, "the origin of the registered authorization endpoint");
    assert_eq!(data("data-target"), "_parent");
    let onward: Url = data("data-onward").parse().unwrap();
    let sent = |name: &str| onward.query_pairs().find(|(known, _)| known == name).unwrap().1.into_owned();
    assert_eq!(data("data-state-key"), format!("lti_state_{}", sent("state")));
    assert_eq!(data("data-nonce-key"), format!("lti_nonce_{}", sent("nonce")));
    assert_eq!(data("data-nonce-value"), sent("nonce"));
    assert!(!onward.as_str().contains(&data("data-state-value")), "the secret is in no address");
    assert!(!data("data-otherwise").contains(&data("data-state-value")));

    let script = attribute(&page, "script", "src");
    let script = tool.client.get(format!("{}{script}", tool.url)).send().await.unwrap();
    assert_eq!(script.headers()["content-type"], "text/javascript; charset=utf-8");
    assert!(!page.contains("<script>"), "no script stands in the page");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_launch_without_the_cookie_asks_the_platform_and_is_finished_once() {
    let tool = Tool::start().await;
    let kept = tool.kept_login().await;
    let fields = tool.finishing(&kept);
    let posted: Vec<_> = fields[..2].iter().map(|(name, value)| (*name, value.as_str())).collect();
    // Asking does not use the login up: a browser may ask again.
    for _ in 0..2 {
        let answer = tool.launch("", &posted).await;
        assert_eq!(answer.status(), StatusCode::OK);
        assert_eq!(answer.headers()[REFERRER_POLICY], "same-origin");
        let page = answer.text().await.unwrap();
        assert_eq!(attribute(&page, "#storage", "data-origin"), tool.platform.url);
        assert_eq!(attribute(&page, "#storage", "data-state-key"), format!("lti_state_{}", kept.login.state));
        assert_eq!(attribute(&page, "form", "action"), "/lti/launch/finish");
        assert!(!page.contains(&kept.secret), "the secret is not told to whoever posts a state");
    }
    // A cookie comes back: the session can have one, too.
    let cookie = format!("tenths-browser={}", "c".repeat(43));
    let answer = tool.post_from(&tool.url, "/lti/launch/finish", &fields, &cookie).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    assert!(cookie_of(&answer).starts_with("tenths-session="));
    assert!(answer.headers()[LOCATION].to_str().unwrap().contains("/quiz/"));
    assert_refused(tool.finish(&fields).await, FailedCheck::StateUsed, "30").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn refuses_row_10_a_launch_that_does_not_show_what_the_platform_keeps() {
    let tool = Tool::start().await;
    let other = tool.kept_login().await;
    type Spoil = fn(&mut Vec<(&'static str, String)>, &KeptLogin);
    let rows: [(&str, Spoil); 7] = [
        ("nothing kept", |fields, _| fields.truncate(2)),
        ("empty values", |fields, _| (fields[2].1, fields[3].1) = (String::new(), String::new())),
        ("the state instead of the secret", |fields, _| fields[2].1 = fields[0].1.clone()),
        ("the secret of another login", |fields, other| fields[2].1 = other.secret.clone()),
        ("the nonce of another login", |fields, other| fields[3].1 = other.login.nonce.clone()),
        ("no nonce", |fields, _| fields.truncate(3)),
        ("no secret", |fields, _| drop(fields.remove(2))),
    ];
    for (case, spoil) in rows {
        let mut fields = tool.finishing(&tool.kept_login().await);
        spoil(&mut fields, &other);
        assert_refused(tool.finish(&fields).await, FailedCheck::Browser, case).await;
        assert_refused(tool.finish(&fields).await, FailedCheck::StateUsed, case).await;
    }
    // Whoever began a login knows its secret, and could have another person's browser post it.
    for origin in ["", "null", "https://evil.test", &tool.platform.url] {
        let fields = tool.finishing(&tool.kept_login().await);
        let answer = tool.post_from(origin, "/lti/launch/finish", &fields, "").await;
        assert_refused(answer, FailedCheck::Browser, origin).await;
    }
    // A login that left nothing with the platform is shown by its cookie alone.
    let by_cookie = KeptLogin { login: tool.login().await, secret: String::new() };
    let answer = tool.finish(&tool.finishing(&by_cookie)).await;
    assert_refused(answer, FailedCheck::Browser, "no storage").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finished_launch_is_checked_like_any_other() {
    let tool = Tool::start().await;
    let kept = tool.kept_login().await;
    let mut fields = tool.finishing(&kept);
    fields[1].1 = sign(GOOD_HEADER, &tool.claims(&kept.login).to_string(), Signer::Foreign);
    assert_refused(tool.finish(&fields).await, FailedCheck::Signature, "19").await;
    let (kept, other) = (tool.kept_login().await, tool.kept_login().await);
    let mut fields = tool.finishing(&kept);
    fields[1].1 = sign(GOOD_HEADER, &tool.claims(&other.login).to_string(), Signer::Own);
    assert_refused(tool.finish(&fields).await, FailedCheck::Nonce, "29").await;
    let kept = tool.kept_login().await;
    tool.clock.advance_ms(601_000);
    assert_refused(tool.finish(&tool.finishing(&kept)).await, FailedCheck::StateExpired, "9").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_of_a_login_is_told_before_the_token_answers_it() {
    let tool = Tool::start().await;
    let (kept, other) = (tool.kept_login().await, tool.kept_login().await);
    let rows = [
        (
            "19",
            sign(GOOD_HEADER, &tool.claims(&kept.login).to_string(), Signer::Foreign),
            FailedCheck::Signature,
        ),
        ("29", sign(GOOD_HEADER, &tool.claims(&other.login).to_string(), Signer::Own), FailedCheck::Nonce),
    ];
    for (row, token, check) in rows {
        let answer = tool.launch("", &[("state", &kept.login.state), ("id_token", &token)]).await;
        let page = assert_refused(answer, check, row).await;
        assert!(!page.contains(&kept.login.nonce), "{row}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_name_of_a_window_is_only_a_name() {
    let tool = Tool::start().await;
    let mut parameters = tool.login_parameters();
    let name = "\"><script src=https://evil.test/></script>";
    parameters.push(("lti_storage_target", name.to_owned()));
    let page = tool.get_login(&parameters).await.text().await.unwrap();
    assert_eq!(attribute(&page, "#storage", "data-target"), name);
    assert!(!page.contains("<script src=https"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ticket_opens_one_window_in_time_and_only_from_our_own_page() {
    let tool = Tool::start().await;
    let ticket = tool.ticket().await;
    for origin in ["", "null", "https://evil.test"] {
        let answer = tool.post_from(origin, "/lti/window", &[("ticket", ticket.clone())], "").await;
        assert_refused(answer, FailedCheck::Browser, origin).await;
    }
    let in_address =
        tool.client.get(format!("{}/lti/window?ticket={ticket}", tool.url)).send().await.unwrap();
    assert_eq!(in_address.status(), StatusCode::NOT_FOUND, "a ticket in an address is not looked at");
    let opened = tool.open_window(&ticket).await;
    assert_eq!(opened.status(), StatusCode::SEE_OTHER);
    let (page, session) = (opened.headers()[LOCATION].to_str().unwrap().to_owned(), cookie_of(&opened));
    let quiz = tool.client.get(page).header(COOKIE, session).send().await.unwrap();
    assert_ne!(quiz.status(), StatusCode::UNAUTHORIZED, "the session is there");
    assert_refused(tool.open_window(&ticket).await, FailedCheck::WindowTicket, "used").await;
    assert_refused(tool.open_window("guessed").await, FailedCheck::WindowTicket, "guessed").await;
    let late = tool.ticket().await;
    tool.clock.advance_ms(301_000);
    assert_refused(tool.open_window(&late).await, FailedCheck::WindowTicket, "late").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_storage_a_cookie_is_tried_once_and_then_a_window_is_offered() {
    let tool = Tool::start_on("localhost").await;
    let get = |url: String, cookie: Option<String>| {
        let request = tool.client.get(url).header("sec-fetch-dest", "iframe");
        let request = cookie.into_iter().fold(request, |request, cookie| request.header(COOKIE, cookie));
        async move { request.send().await.unwrap() }
    };
    let mut address: Url = format!("{}/lti/login", tool.url).parse().unwrap();
    address.query_pairs_mut().extend_pairs(tool.login_parameters());
    let first = get(address.to_string(), None).await;
    assert_eq!(first.status(), StatusCode::FOUND);
    let set = first.headers()[SET_COOKIE].to_str().unwrap();
    for attribute in ["HttpOnly", "Secure", "SameSite=None", "Partitioned"] {
        assert!(set.contains(attribute), "{set}");
    }
    let check = first.headers()[LOCATION].to_str().unwrap().to_owned();
    assert!(check.starts_with(&format!("{}/lti/login?", tool.url)), "{check}");

    let came = get(check.clone(), Some(cookie_of(&first))).await;
    assert_eq!(came.status(), StatusCode::FOUND);
    let onward = came.headers()[LOCATION].to_str().unwrap();
    assert!(onward.starts_with(&format!("{}/authorize?", tool.platform.url)), "{onward}");

    let lost = get(check, None).await;
    assert_eq!(lost.status(), StatusCode::OK, "a page, not yet another try");
    assert!(policy(lost.headers()).contains(&format!("frame-ancestors {}", tool.platform.url)));
    let page = lost.text().await.unwrap();
    assert_eq!(attribute(&page, "a.button", "target"), "_blank");
    let anew: Url = attribute(&page, "a.button", "href").parse().unwrap();
    let repeated: Vec<_> = anew.query_pairs().into_owned().collect();
    let mut sent: Vec<_> = tool.login_parameters().into_iter().map(|(n, v)| (n.to_owned(), v)).collect();
    sent.sort();
    let mut sorted = repeated.clone();
    sorted.sort();
    assert_eq!(sorted, sent, "the window makes the same request");
    // In a window of its own it goes straight on.
    let in_window = tool.client.get(anew).header("sec-fetch-dest", "document").send().await.unwrap();
    assert!(in_window.headers()[LOCATION].to_str().unwrap().starts_with(&tool.platform.url));
}

#[tokio::test(flavor = "multi_thread")]
async fn only_the_platform_of_a_page_may_frame_it() {
    let tool = Tool::start().await;
    let own = format!("frame-ancestors {}", tool.platform.url);
    let login = tool.login().await;
    let mut claims = tool.claims(&login);
    claims["https://purl.imsglobal.org/spec/lti/claim/launch_presentation"] =
        serde_json::json!({"return_url": "https://school-7.pages.example.org/course/1?x=1"});
    let launched = tool.launch_with(&login, &claims).await;
    let (page, session) = (launched.headers()[LOCATION].to_str().unwrap().to_owned(), cookie_of(&launched));
    let open = async |url: &str, cookie: &str| {
        let answer = tool.client.get(url).header(COOKIE, cookie).send().await.unwrap();
        assert!(answer.headers().get("x-frame-options").is_none());
        policy(answer.headers())
    };
    let with_return = format!("{own} https://school-7.pages.example.org");
    assert!(open(&page, &session).await.ends_with(&with_return), "the pages that the launch came from");
    assert!(open(&page, "").await.ends_with(&own), "why nothing opens can be read in the frame");
    let known = tool.storage.registrations_of(&tool.platform.url).await.unwrap().remove(0);
    let further = ["https://a.pages.example.org".to_owned()].into();
    tool.storage.set_frame_origins(known.id, &further, &change()).await.unwrap();
    let with_further = format!("{own} https://a.pages.example.org");
    assert!(open(&page, "").await.ends_with(&with_further), "as a coordinator named it");
    let login_page = tool.login_in_frame().await;
    assert!(policy(login_page.headers()).ends_with(&with_further), "the login, too");
    tool.storage.set_frame_origins(known.id, &[].into(), &change()).await.unwrap();
    for nobody in
        ["/health/live", "/static/tenths.css", "/api/openapi.json", "/class/place", "/nowhere", "/lti/launch"]
    {
        let policy = open(&format!("{}{nobody}", tool.url), "").await;
        assert!(policy.ends_with("frame-ancestors 'none'"), "{nobody}: {policy}");
    }
    // A refusal whose platform is known can be read in the frame.
    let again = tool.launch_with(&login, &claims).await;
    assert_eq!(again.status(), StatusCode::UNAUTHORIZED);
    assert!(policy(again.headers()).ends_with(&own));
}

#[tokio::test(flavor = "multi_thread")]
async fn sessions_and_tickets_end_with_their_registration() {
    let tool = Tool::start().await;
    let login = tool.login().await;
    let launched = tool.launch_with(&login, &tool.claims(&login)).await;
    let (page, session) = (launched.headers()[LOCATION].to_str().unwrap().to_owned(), cookie_of(&launched));
    let ticket = tool.ticket().await;
    let open = async || tool.client.get(&page).header(COOKIE, &session).send().await.unwrap().status();
    assert_ne!(open().await, StatusCode::UNAUTHORIZED);
    let known = registration(&tool.platform);
    assert!(tool.storage.remove_registration(&known.issuer, &known.client_id, &change()).await.unwrap());
    assert_eq!(open().await, StatusCode::UNAUTHORIZED);
    assert_refused(tool.open_window(&ticket).await, FailedCheck::WindowTicket, "removed").await;
    // Registered again, it is another registration: what had ended stays ended.
    tool.storage.put_registration(known, &change()).await.unwrap();
    assert_eq!(open().await, StatusCode::UNAUTHORIZED);
}
