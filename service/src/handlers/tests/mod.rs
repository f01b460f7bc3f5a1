//! Whole requests against the route table, with a store in memory and a clock that stands still.

mod api;
mod class;
mod cookies;
mod csrf;
mod district;
mod paper;
mod quiz;
mod retention;
mod windows;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use actix_web::cookie::Cookie;
use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT, CONTENT_SECURITY_POLICY, LOCATION};
use actix_web::test::{TestRequest, call_service, init_service, read_body};
use actix_web::web;
use jiff::Timestamp;
use qbank::form;
use qbank::marking::Policy;
use qbank::plan::Plan;
use qbank::pool::Pool;
use qbank::question::Item;

use crate::app::App;
use crate::clock::SettableClock;
use crate::routes;
use crate::session::NewSession;
use crate::settings::{Privacy, PublicUrl, REQUESTS_AT_ONCE, Reach, Settings};
use crate::storage::test_launch::{follow, link_to, place};
use crate::storage::{
    self, Actor, Attempt, Change, ContextId, DeploymentId, GradeEndpoint, Layout, LinkKey, Member,
    MemberStatus, NewPlacement, NewRegistration, Part, Placement, PlacingRequest, Registration,
    SessionPurpose, StoredPool, UserId,
};
use crate::windows::{Windows, Zone};

const PLAN: &str = r#"
pool = "river-day"
title = "River day: decimals"
seed = "river-day-1"

[[section]]
title = "Samples for the trailer"
family = "story-samples"
count = 4
pick = 1

[[section]]
title = "Adding lengths"
family = "add-ragged"
count = 6
pick = 2
"#;

/// A school with one course, one pool and one placed quiz.
struct School {
    app: web::Data<App>,
    clock: Arc<SettableClock>,
    registration: Registration,
    placement: Placement,
    pool: Pool,
}

/// How the school's quiz is placed.
struct Placed {
    questions: u32,
    attempts: u32,
    policy: Policy,
    layout: Layout,
}

const TWO_QUESTIONS_TWO_ATTEMPTS: Placed = Placed {
    questions: 2,
    attempts: 2,
    policy: Policy { follow_through: true, form_credit: None },
    layout: Layout::All,
};

fn monday() -> Timestamp {
    "2026-03-02T09:15:00Z".parse().unwrap()
}

/// Who registers the platform of these tests.
fn change() -> Change {
    Change { at: Timestamp::UNIX_EPOCH, by: Actor::CommandLine }
}

/// A person of the course, without a name.
fn member(user: &str, part: Part) -> Member {
    Member { user: user.into(), part, status: MemberStatus::Active, name: None, seen_at: monday() }
}

impl School {
    async fn open(placed: Placed) -> Self {
        Self::open_with(placed, settings()).await
    }

    async fn open_with(placed: Placed, settings: Settings) -> Self {
        Self::open_plan(PLAN, placed, settings).await
    }

    /// The same with questions in that language.
    async fn open_told_in(locale: &str, placed: Placed) -> Self {
        let plan = format!("locale = \"{locale}\"\n{PLAN}");
        Self::open_plan(&plan, placed, settings()).await
    }

    async fn open_plan(plan: &str, placed: Placed, settings: Settings) -> Self {
        let storage = storage::open("sqlite::memory:").unwrap();
        let families = qbank::bank::families().unwrap();
        let pool = Plan::from_toml(plan).unwrap().make(&families, None).unwrap();
        storage.put_pool(StoredPool::of(&pool)).await.unwrap();
        let registration = storage.put_registration(registration(), &change()).await.unwrap();
        let placement = place(storage.as_ref(), placement(&registration, &pool, &placed)).await;
        let clock = Arc::new(SettableClock::at(monday()));
        let app = web::Data::new(App::new(settings, storage, clock.clone()).await.unwrap());
        Self { app, clock, registration, placement, pool }
    }

    /// The same school before a pool was loaded.
    async fn without_pool() -> Self {
        let school = Self::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
        let storage = storage::open("sqlite::memory:").unwrap();
        storage.put_registration(registration(), &change()).await.unwrap();
        let app = App::new(settings(), storage, Arc::new(SettableClock::at(monday()))).await.unwrap();
        Self { app: web::Data::new(app), ..school }
    }

    /// Has a person follow the quiz's link.
    async fn launch(&self, member: Member) {
        follow(self.app.storage.as_ref(), link_to(&self.placement, member)).await;
    }

    /// A browser with a session of that purpose.
    async fn browser(&self, user: &str, purpose: SessionPurpose) -> Browser<'_> {
        let session = NewSession {
            registration: &self.registration,
            deployment: deployment(),
            user: Some(UserId::from(user)),
            return_origin: None,
        };
        let (cookie, page) = session.open_unlaunched(&self.app, purpose).await;
        let cookie = Cookie::parse(cookie.to_str().unwrap()).unwrap().into_owned();
        Browser { school: self, cookie: Some(cookie), start: page }
    }

    async fn pupil(&self, user: &str) -> Browser<'_> {
        let placement = self.placement.id.clone();
        self.browser(user, SessionPurpose::Quiz { placement, preview: false }).await
    }

    async fn teacher(&self) -> Browser<'_> {
        self.browser("teacher", SessionPurpose::Class { placement: self.placement.id.clone() }).await
    }

    async fn placing(&self) -> Browser<'_> {
        self.placing_with(|_| {}).await
    }

    /// A teacher whose platform asks for something else than usual.
    async fn placing_with(&self, change: impl FnOnce(&mut PlacingRequest)) -> Browser<'_> {
        let mut request = PlacingRequest {
            return_url: "https://platform.example.org/return".parse().unwrap(),
            accept_types: vec!["ltiResourceLink".into()],
            accept_multiple: false,
            accept_line_item: Some(true),
            data: None,
            title: None,
            context: Some(ContextId::from("course-1")),
        };
        change(&mut request);
        self.browser("teacher", SessionPurpose::Placing { request }).await
    }

    fn stranger(&self) -> Browser<'_> {
        Browser { school: self, cookie: None, start: format!("/quiz/{}", self.placement.id) }
    }

    async fn attempts(&self, user: &str) -> Vec<Attempt> {
        self.app.storage.attempts_of(&self.placement.id, &UserId::from(user)).await.unwrap()
    }

    /// The questions of an attempt in the order of the page.
    fn questions(&self, attempt: &Attempt) -> Vec<&Item> {
        form::draw(&self.pool, self.placement.quiz.question_count as usize, &attempt.seed)
    }

    /// Form fields that answer every step as `answer` says for question and step.
    fn fields(&self, attempt: &Attempt, answer: impl Fn(&Item, &str) -> String) -> Vec<(String, String)> {
        let questions = self.questions(attempt).into_iter().zip(1..);
        questions
            .flat_map(|(item, number)| item.steps.iter().map(move |step| (item, number, step)))
            .map(|(item, number, step)| (format!("q{number}.{}", step.id), answer(item, &step.id)))
            .collect()
    }
}

/// The right answer to a step.
fn right(item: &Item, step: &str) -> String {
    item.right_responses()[step].clone()
}

struct Browser<'s> {
    school: &'s School,
    cookie: Option<Cookie<'static>>,
    start: String,
}

struct Answer {
    status: StatusCode,
    location: String,
    policy: String,
    /// The body with the template's escapes undone.
    body: String,
}

impl Browser<'_> {
    async fn get(&self, path: &str) -> Answer {
        self.send(TestRequest::get().uri(path)).await
    }

    /// Posts a form with exactly these fields.
    async fn post(&self, path: &str, fields: &[(String, String)]) -> Answer {
        self.send(TestRequest::post().uri(path).set_form(fields)).await
    }

    /// Posts a form with the token that the start page shows.
    async fn post_form(&self, path: &str, fields: &[(String, String)]) -> Answer {
        let mut fields = fields.to_vec();
        fields.push(("csrf".into(), self.csrf().await));
        self.post(path, &fields).await
    }

    /// Saves as the page's script does.
    async fn save_by_script(&self, attempt: &str, fields: &[(String, String)]) -> Answer {
        let mut fields = fields.to_vec();
        fields.push(("csrf".into(), self.csrf().await));
        let request = TestRequest::post().uri(&format!("{attempt}/save")).set_form(fields);
        self.send(request.insert_header((ACCEPT, "application/json"))).await
    }

    async fn csrf(&self) -> String {
        let cookie = self.cookie.as_ref().unwrap();
        let storage = &self.school.app.storage;
        let id = storage::Fingerprint::of(cookie.value());
        storage.session(&id, self.school.app.clock.now()).await.unwrap().unwrap().csrf
    }

    /// The teacher's page of points and grades.
    async fn grades(&self) -> String {
        self.get(&format!("{}/grades", self.start)).await.body
    }

    /// Begins an attempt and returns its path and record.
    async fn begin(&self, user: &str) -> (String, Attempt) {
        let answer = self.post_form(&self.start, &[]).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        (answer.location, self.school.attempts(user).await.pop().unwrap())
    }

    async fn send(&self, request: TestRequest) -> Answer {
        let app = actix_web::App::new().app_data(self.school.app.clone()).configure(routes::configure);
        let service = init_service(app).await;
        let request = match &self.cookie {
            Some(cookie) => request.cookie(cookie.clone()),
            None => request,
        };
        let response = call_service(&service, request.to_request()).await;
        let header =
            |name| response.headers().get(name).map_or("", |value| value.to_str().unwrap()).to_owned();
        let (location, policy) = (header(LOCATION), header(CONTENT_SECURITY_POLICY));
        let status = response.status();
        let body = String::from_utf8(read_body(response).await.to_vec()).unwrap();
        Answer { status, location, policy, body: unescaped(&body) }
    }
}

fn unescaped(html: &str) -> String {
    let entities = [("&#39;", "'"), ("&#34;", "\""), ("&#60;", "<"), ("&#62;", ">"), ("&#38;", "&")];
    entities.iter().fold(html.to_owned(), |text, (entity, sign)| text.replace(entity, sign))
}

fn deployment() -> DeploymentId {
    DeploymentId::from("1")
}

fn settings() -> Settings {
    let url = "https://quiz.example.org".parse().unwrap();
    Settings {
        listen: "127.0.0.1:0".parse().unwrap(),
        public_url: PublicUrl::new("--public-url", &url, Reach::Public).unwrap(),
        store: "sqlite::memory:".into(),
        reach: Reach::Public,
        behind_proxy: false,
        requests_per_second: None,
        requests_at_once: REQUESTS_AT_ONCE,
        drain: Duration::ZERO,
        seal_key: None,
        privacy: Privacy::default(),
        time_zone: Zone::UTC,
    }
}

fn registration() -> NewRegistration {
    NewRegistration {
        issuer: "https://platform.example.org".into(),
        client_id: storage::ClientId::from("client-1"),
        authorization_url: "https://platform.example.org/authorize".parse().unwrap(),
        token_url: "https://platform.example.org/token".parse().unwrap(),
        keys_url: "https://platform.example.org/keys".parse().unwrap(),
        audience: None,
        deployments: [deployment()].into(),
    }
}

fn placement(registration: &Registration, pool: &Pool, placed: &Placed) -> NewPlacement {
    NewPlacement {
        link: LinkKey {
            registration: registration.id,
            deployment: deployment(),
            resource_link: storage::ResourceLinkId::from("link-1"),
        },
        context: Some(ContextId::from("course-1")),
        title: "River day".into(),
        pool: storage::PoolId::from(pool.id.as_str()),
        question_count: placed.questions,
        attempts_allowed: placed.attempts,
        policy: placed.policy,
        layout: placed.layout,
        resource_id: "quiz-1".into(),
        windows: Windows::default(),
        grades: Some(GradeEndpoint {
            line_item: Some("https://platform.example.org/items/1".parse().unwrap()),
            line_items: None,
            scopes: ["https://purl.imsglobal.org/spec/lti-ags/scope/score".to_owned()].into(),
        }),
        created_at: "2026-03-02T08:00:00Z".parse().unwrap(),
    }
}

/// Answers in which one number step is wrong as a misconception predicts and every later one is worked from it.
fn one_slip(item: &Item) -> BTreeMap<String, String> {
    use qbank::arithmetic::{Columns, evaluate};
    let first = &item.steps[0];
    let slip = first.predicted[0].answer.to_string();
    let mut names = item.given_names();
    names.insert(first.id.clone(), slip.parse().unwrap());
    let mut answers = BTreeMap::from([(first.id.to_string(), slip)]);
    for step in &item.steps[1..] {
        let value = evaluate(&Columns, &step.expression.parse().unwrap(), &names).unwrap();
        let key = step.key_for(&value).unwrap();
        names.extend(step.value_of(&key).map(|value| (step.id.clone(), value)));
        answers.insert(step.id.to_string(), key.to_string());
    }
    answers
}
