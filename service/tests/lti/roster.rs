//! Class lists (NRPS; checklist section 4): how they are asked for, in pages and by changes, and what the class page
//! makes of them.

use std::net::TcpListener;
use std::sync::{Arc, Mutex};

use actix_web::{App, HttpRequest, HttpResponse, HttpServer, web};
use qbank::plan::Plan;
use reqwest::header::{COOKIE, LOCATION, SET_COOKIE};
use serde_json::{Value, json};
use service::storage::StoredPool;

use crate::tool::Tool;

const MEMBERSHIPS: &str = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";
const LEARNER: &str = "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner";
const PLAN: &str = r#"
pool = "river-day"
title = "River day"
seed = "river-day-1"
[[section]]
title = "Adding lengths"
family = "add-ragged"
count = 6
pick = 2
"#;

/// An answer of the list: status, links by relation, members.
type Answer = (u16, Vec<(&'static str, String)>, Vec<Value>);
type Answers = dyn Fn(&str) -> Answer + Send + Sync;

/// A class list at a server of its own.
#[derive(Clone)]
struct ClassList {
    url: String,
    /// Path and query of each request, in order.
    asked: Arc<Mutex<Vec<String>>>,
    answers: Arc<Answers>,
}

impl ClassList {
    /// Serves what `answers` gives for a path with its query.
    fn serve(answers: impl Fn(&str) -> Answer + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let url = format!("http://{}/roster?course=7", listener.local_addr().unwrap());
        let list = Self { url, asked: Arc::default(), answers: Arc::new(answers) };
        let shared = list.clone();
        let server = HttpServer::new(move || {
            App::new().app_data(web::Data::new(shared.clone())).default_service(web::get().to(answer))
        });
        tokio::spawn(server.workers(1).listen(listener).unwrap().disable_signals().run());
        list
    }

    fn asked(&self) -> Vec<String> {
        self.asked.lock().unwrap().drain(..).collect()
    }
}

async fn answer(list: web::Data<ClassList>, request: HttpRequest) -> HttpResponse {
    let header = |name| request.headers().get(name).unwrap().to_str().unwrap();
    assert_eq!(header("accept"), MEMBERSHIPS);
    assert!(header("authorization").starts_with("Bearer token-"));
    let asked = request.uri().to_string();
    let (status, links, members) = (list.answers)(&asked);
    list.asked.lock().unwrap().push(asked);
    let mut response = HttpResponse::build(status.try_into().unwrap());
    for (relation, target) in links {
        response.append_header(("link", format!("<{target}>; rel=\"{relation}\"")));
    }
    response.content_type(MEMBERSHIPS);
    response.json(json!({"id": list.url, "context": {"id": "course-1"}, "members": members}))
}

fn member(id: &str, status: Option<&str>, roles: &[&str]) -> Value {
    let mut member =
        json!({"user_id": id, "roles": roles, "name": format!("Person {id}"), "email": "x@example.org"});
    if let Some(status) = status {
        member["status"] = json!(status);
    }
    member
}

fn learner(id: &str) -> Value {
    member(id, None, &[LEARNER])
}

/// A teacher with the class page open.
struct Teacher<'t> {
    tool: &'t Tool,
    page: String,
    cookie: String,
}

impl<'t> Teacher<'t> {
    async fn launch(tool: &'t Tool, list: Option<&ClassList>) -> Self {
        let families = qbank::bank::families().unwrap();
        let pool = Plan::from_toml(PLAN).unwrap().make(&families, None).unwrap();
        tool.storage.put_pool(StoredPool::of(&pool)).await.unwrap();
        let instructor = "http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor";
        let (page, cookie) = launch(tool, "teacher-1", instructor, list).await;
        Self { tool, page, cookie }
    }

    async fn look(&self) -> String {
        let request = self.tool.client.get(&self.page).header(COOKIE, &self.cookie);
        let page = request.send().await.unwrap().text().await.unwrap();
        page.replace("&#39;", "'")
    }

    /// Presses "Read the class list again" after a while.
    async fn read_again(&self) -> String {
        self.tool.clock.advance_ms(20_000);
        let page = self.look().await;
        let csrf = page.split("name=\"csrf\" value=\"").nth(1).unwrap().split('"').next().unwrap();
        let request = self.tool.client.post(format!("{}/roster", self.page)).header(COOKIE, &self.cookie);
        assert_eq!(request.form(&[("csrf", csrf)]).send().await.unwrap().status(), 303);
        self.look().await
    }
}

/// A launch that names the list; the page it leads to, and its cookie.
async fn launch(tool: &Tool, user: &str, role: &str, list: Option<&ClassList>) -> (String, String) {
    let login = tool.login().await;
    let mut claims = tool.claims(&login);
    claims["sub"] = json!(user);
    claims["name"] = json!(format!("Person {user}"));
    claims["https://purl.imsglobal.org/spec/lti/claim/roles"] = json!([role]);
    if let Some(list) = list {
        claims["https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice"] =
            json!({"context_memberships_url": list.url, "service_versions": ["2.0"]});
    }
    let response = tool.launch_with(&login, &claims).await;
    assert_eq!(response.status(), 303);
    let header = |name| response.headers()[name].to_str().unwrap().to_owned();
    (header(LOCATION), header(SET_COOKIE).split(';').next().unwrap().to_owned())
}

#[tokio::test(flavor = "multi_thread")]
async fn all_pages_are_read_and_only_present_learners_count() {
    let list = ClassList::serve(|asked| {
        if asked.contains("page=2") {
            (
                200,
                vec![],
                vec![learner("p-03"), member("p-04", Some("Inactive"), &["Learner"]), learner("p-05")],
            )
        } else {
            let next = "/roster?opaque=1&page=2".to_owned();
            (
                200,
                vec![("next", next)],
                vec![learner("p-01"), member("t-1", Some("Active"), &["Instructor"]), learner("p-02")],
            )
        }
    });
    let tool = Tool::start().await;
    let teacher = Teacher::launch(&tool, Some(&list)).await;
    launch(&tool, "p-07", LEARNER, Some(&list)).await;
    let page = teacher.look().await;
    assert!(page.contains("Not started yet: 4") && page.contains("0 of 4 pupils, 0 have started"), "{page}");
    for (id, shown) in [("p-01", true), ("p-05", true), ("p-04", false), ("t-1", false), ("p-07", false)] {
        assert_eq!(page.contains(&format!(">{id}<")), shown, "{id}: {page}");
    }
    assert!(!page.contains("Person p-01"), "names are not kept unless the service is set to: {page}");
    let asked = list.asked();
    assert_eq!(asked.len(), 2);
    let query: Vec<(String, String)> = url::Url::parse(&format!("http://h{}", asked[0]))
        .unwrap()
        .query_pairs()
        .map(|(name, value)| (name.into_owned(), value.into_owned()))
        .collect();
    let pairs = [("course", "7"), ("role", LEARNER), ("rlid", "link-4"), ("limit", "200")];
    assert_eq!(query, pairs.map(|(name, value)| (name.to_owned(), value.to_owned())));
    assert_eq!(asked[1], "/roster?opaque=1&page=2", "followed as given");

    teacher.look().await;
    tool.clock.advance_ms(5 * 60 * 1000 - 1);
    teacher.look().await;
    assert_eq!(list.asked(), [] as [String; 0], "not again within some minutes");
    tool.clock.advance_ms(1);
    teacher.look().await;
    assert_eq!(list.asked().len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn filters_that_a_platform_does_not_take_are_left_out() {
    let list = ClassList::serve(|asked| match asked {
        asked if asked.contains("rlid") => (404, vec![], vec![]),
        asked if asked.contains("role") => (200, vec![], vec![]),
        _ => (
            200,
            vec![],
            vec![learner("p-01"), member("t-1", None, &["Instructor"]), member("m-1", None, &["Mentor"])],
        ),
    });
    let tool = Tool::start().await;
    let page = Teacher::launch(&tool, Some(&list)).await.look().await;
    assert!(page.contains("Not started yet: 1"), "{page}");
    assert_eq!(list.asked().len(), 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_changes_are_asked_for_where_the_platform_tells_them() {
    let list = ClassList::serve(|asked| match asked {
        "/roster/changes?since=1" => {
            let gone = member("p-01", Some("Deleted"), &[LEARNER]);
            (200, vec![("differences", "/roster/changes?since=2".into())], vec![gone, learner("p-09")])
        }
        "/roster/changes?since=2" => (410, vec![], vec![]),
        _ => (
            200,
            vec![("differences", "/roster/changes?since=1".into())],
            vec![learner("p-01"), learner("p-02")],
        ),
    });
    let tool = Tool::start().await;
    let teacher = Teacher::launch(&tool, Some(&list)).await;
    assert!(teacher.look().await.contains(">p-01<"));
    assert_eq!(list.asked().len(), 1);
    let page = teacher.read_again().await;
    assert!(!page.contains(">p-01<") && page.contains(">p-02<") && page.contains(">p-09<"), "{page}");
    assert_eq!(list.asked(), ["/roster/changes?since=1"], "the opaque address, not decorated");
    let page = teacher.read_again().await;
    assert!(page.contains(">p-01<") && !page.contains(">p-09<"), "the whole list again: {page}");
    assert_eq!(list.asked().len(), 2);
    let metrics =
        tool.client.get(format!("{}/metrics", tool.url)).send().await.unwrap().text().await.unwrap();
    for counted in [r#"outcome="whole"} 2"#, r#"outcome="changes"} 1"#] {
        assert!(metrics.contains(&format!("tenths_class_lists_total{{{counted}")), "{metrics}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_that_cannot_be_read_is_told_and_harms_nothing() {
    for (answer, words) in [
        ((503, vec![], vec![]), "does not answer just now (503"),
        ((403, vec![], vec![]), "does not give its class list (403"),
        (
            (200, vec![("next", "/roster?page=1".to_owned())], vec![learner("p-01")]),
            "does not come to an end",
        ),
        ((200, vec![("next", "http://127.0.0.1:9/roster".to_owned())], vec![]), "goes on at another server"),
        ((200, vec![], vec![json!({"id": "no user_id"})]), "class list cannot be read"),
    ] {
        let list = ClassList::serve(move |_| answer.clone());
        let tool = Tool::start().await;
        let page = Teacher::launch(&tool, Some(&list)).await.look().await;
        assert!(page.contains("could not be read") && page.contains(words), "{words}: {page}");
        assert!(page.contains("0 of 0 who started"), "{page}");
    }
    let tool = Tool::start().await;
    let page = Teacher::launch(&tool, None).await.look().await;
    assert!(
        page.contains("does not share its class list") && !page.contains("Read the class list again"),
        "{page}"
    );
}

/// The list's address comes from outside: it may not lead into a private network.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_at_an_address_that_may_not_be_called_is_none() {
    let tool = Tool::start().await;
    for url in
        ["http://10.0.0.8/roster", "http://platform.example.org/roster", "ftp://127.0.0.1/roster", "roster"]
    {
        let list = ClassList { url: url.to_owned(), ..ClassList::serve(|_| (200, vec![], vec![])) };
        let page = Teacher::launch(&tool, Some(&list)).await.look().await;
        assert!(page.contains("does not share its class list"), "{url}: {page}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn names_are_shown_where_they_are_kept_and_only_those_of_pupils() {
    let list =
        ClassList::serve(|_| (200, vec![], vec![learner("p-01"), member("t-1", None, &["Instructor"])]));
    let tool = Tool::start_with(|settings| settings.privacy.names = true).await;
    let teacher = Teacher::launch(&tool, Some(&list)).await;
    let page = teacher.look().await;
    assert!(page.contains("Person p-01"), "{page}");
    launch(&tool, "p-07", LEARNER, None).await;
    let placement = tool.storage.placements().await.unwrap().pop().unwrap();
    let members = tool.storage.members_at(&placement.id).await.unwrap();
    let named: Vec<_> = members.iter().map(|member| (member.user.as_str(), member.name.is_some())).collect();
    assert_eq!(named, [("p-01", true), ("p-07", true), ("teacher-1", false)]);
    assert!(!format!("{members:?}").contains("Person p-"), "a record does not tell names to a log");
}
