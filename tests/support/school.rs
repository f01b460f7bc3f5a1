//! A school on the practice platform: its people use the pages of platform and service as browsers do.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, TcpListener};
use std::time::Duration;

use qbank::pool::Pool;
use qbank::question::{Answer, Item};
use service::demo::visitor::{Form, Visitor};
use service::practice::{JournalEntry, Person, Practice, PracticeSettings, ToolAddresses};
use url::Url;

use crate::program::run_well;
use crate::wait_for;

/// The teacher.
const TEACHER: &str = "Mr. Tannberg";
/// The pupil of flows that need only one.
const PUPIL: &str = "Ines";
/// The pupil's id on the platform.
pub const PUPIL_ID: &str = "p-01";

/// The plan of the school's pool: small, and each question has one step, so that points are easily told.
pub const PLAN: &str = r#"
pool = "river-day"
title = "River day: decimals"
seed = "river-day-1"

[[section]]
title = "Adding"
family = "add-ragged"
count = 6
pick = 1

[[section]]
title = "Comparing"
family = "compare-ragged"
count = 6
pick = 1
"#;

/// The pool of [`PLAN`].
///
/// # Panics
/// If the plan or the starter bank is at fault.
pub fn pool() -> Pool {
    let families = qbank::bank::families().expect("the starter bank is sound");
    let plan = qbank::plan::Plan::from_toml(PLAN).expect("the plan is well-formed");
    plan.make(&families, None).expect("the families hold enough questions")
}

/// The practice platform with one course, and the people in it.
pub struct School {
    /// The platform.
    pub practice: Practice,
}

impl School {
    /// Starts the platform for a tool at `tool`, an origin such as `http://127.0.0.1:8701`.
    ///
    /// # Panics
    /// If it cannot be started.
    pub async fn open(tool: &str) -> Self {
        let pupil = |id: &str, name: &str| Person { id: id.into(), name: name.into() };
        Self::open_for(tool, vec![pupil(PUPIL_ID, PUPIL), pupil("p-02", "Jonte")]).await
    }

    /// Starts the platform with these pupils.
    ///
    /// # Panics
    /// If it cannot be started.
    pub async fn open_for(tool: &str, pupils: Vec<Person>) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has free ports");
        listener.set_nonblocking(true).expect("a fresh listener can be set up");
        let at = |path: &str| Url::parse(&format!("{tool}{path}")).expect("the tool's origin is an address");
        let settings = PracticeSettings {
            course_title: "Grade 5: River day".into(),
            teacher: Person { id: "t-01".into(), name: TEACHER.into() },
            pupils,
            tool: ToolAddresses {
                login_url: at("/lti/login"),
                launch_url: at("/lti/launch"),
                keys_url: at("/lti/keys"),
                deep_linking_url: at("/lti/launch"),
            },
        };
        let practice = Practice::start(listener, settings).await.expect("the practice platform starts");
        Self { practice }
    }

    /// Registers the platform in a store with `tenths platform add`, with that deployment.
    ///
    /// # Panics
    /// If the command fails.
    pub fn register(&self, store: &str, deployment: &str) {
        let known = self.practice.registration();
        run_well([
            "platform",
            "add",
            "--allow-loopback",
            "--store",
            store,
            "--issuer",
            &known.issuer,
            "--client-id",
            &known.client_id,
            "--authorization-url",
            &known.authorization_url,
            "--token-url",
            &known.token_url,
            "--keys-url",
            &known.keys_url,
            "--deployment",
            deployment,
        ]);
    }

    /// The person of that name, on the course page.
    ///
    /// # Panics
    /// If there is none.
    pub async fn enter(&self, name: &str) -> Visitor {
        let mut visitor = Visitor::new().expect("a client can be made");
        visitor.open(self.practice.base_url()).await.expect("the front page opens");
        let form = visitor.page().and_then(|page| page.form_with_button(name)).expect("the person is listed");
        visitor.submit(form).await.expect("the course page opens");
        visitor
    }

    /// The pupil, on the course page.
    ///
    /// # Panics
    /// If the page does not look as a person would need it; so for all that follows.
    pub async fn pupil(&self) -> Visitor {
        self.enter(PUPIL).await
    }

    /// The teacher, on the course page.
    pub async fn teacher(&self) -> Visitor {
        self.enter(TEACHER).await
    }

    /// The teacher places two questions of the pool by deep linking, with two attempts.
    pub async fn place_quiz(&self) {
        let mut teacher = self.teacher().await;
        teacher.follow("Add an activity").await.expect("the choice of quizzes opens");
        let form = press(&teacher, "Place this quiz").with("pool", "river-day");
        teacher.submit(form.with("questions", "2").with("attempts", "2")).await.expect("the quiz is placed");
        assert!(teacher.page().expect("a page is open").says("River day"), "the course lists the quiz");
    }

    /// What the platform heard of the pupil, in order of arrival.
    pub fn heard(&self) -> Vec<JournalEntry> {
        let journal = self.practice.journal().into_iter();
        journal.filter(|entry| entry.message.user_id == PUPIL_ID).collect()
    }

    /// What the platform heard of the pupil's points, in order of arrival: not of beginnings.
    pub fn graded(&self) -> Vec<JournalEntry> {
        self.heard().into_iter().filter(|entry| entry.message.score_given.is_some()).collect()
    }

    /// The pupil's final points in the gradebook, one for each column that has any.
    pub fn grades(&self) -> Vec<String> {
        let gradebook = self.practice.gradebook();
        let rows = gradebook.rows.iter().filter(|row| row.pupil.id == PUPIL_ID);
        let cells = rows.flat_map(|row| row.cells.iter().flatten());
        cells.filter_map(|cell| cell.points).map(|points| points.to_string()).collect()
    }

    /// Waits until the pupil has a grade, and returns all of them.
    pub async fn grades_arrived(&self, within: Duration) -> Vec<String> {
        wait_for("the grade to arrive", within, async || {
            Some(self.grades()).filter(|grades| !grades.is_empty())
        })
        .await
    }
}

/// The form of a button on the visitor's page.
///
/// # Panics
/// If there is no such button.
pub fn press(visitor: &Visitor, button: &str) -> Form {
    let form = visitor.page().and_then(|page| page.form_with_button(button));
    form.unwrap_or_else(|error| panic!("{error:#}"))
}

/// A pupil on the course page opens the quiz and begins an attempt with that button.
///
/// # Panics
/// If the pages do not lead there.
pub async fn begin(pupil: &mut Visitor, button: &str) {
    pupil.follow("Open").await.expect("the quiz opens");
    pupil.submit(press(pupil, button)).await.expect("an attempt begins");
}

/// Answers the first `right` questions of the page with their keys and hands in; the rest stays blank.
///
/// # Panics
/// If the pages do not look as a person would need them.
pub async fn hand_in(pupil: &mut Visitor, right: usize) {
    let form = answered(pupil, right, &pool());
    pupil.submit(form).await.expect("the answers are taken");
    if right < 2 {
        pupil.submit(press(pupil, "Hand in anyway")).await.expect("blank answers are taken when confirmed");
    }
    assert!(pupil.page().expect("a page is open").says("points"), "a result is shown");
}

/// The form that hands in, with the first `right` questions of the page answered by their keys in `pool`.
///
/// # Panics
/// If the page does not ask two questions of the pool.
pub fn answered(pupil: &Visitor, right: usize, pool: &Pool) -> Form {
    let stories = pupil.page().expect("an attempt is open").texts("section.card .story");
    assert_eq!(stories.len(), 2, "two questions are asked");
    let items: BTreeMap<&str, &Item> = pool.items().map(|item| (item.stem.as_str(), item)).collect();
    let mut form = press(pupil, "Hand in");
    for (index, story) in stories.iter().take(right).enumerate() {
        for step in &items[story.as_str()].steps {
            let field = format!("q{}.{}", index + 1, step.id);
            form = match &step.answer {
                Answer::Text(answer) => form.with(&field, answer),
                Answer::Sequence(ids) => {
                    (1..).zip(ids).fold(form, |form, (place, id)| form.with(&format!("{field}.{place}"), id))
                }
            };
        }
    }
    form
}
