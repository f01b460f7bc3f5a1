//! A storm: a class that takes a quiz by HTTP at several processes while faults strike, and the check of its history.
//!
//! Pupils come through the platform, begin, save an answer, and hand in, at moments of their own chance. Each request goes
//! to the next process in turn. What is not answered, or answered 'not now', they send again after a short while, to another
//! process, as people at browsers do.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU16, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use anyhow::{Context as _, bail};
use jiff::Timestamp;
use qbank::pool::Pool;
use qbank::question::{Answer, Item, StepKind};
use service::demo::visitor::{Form, Visitor};
use service::practice::Person;
use service::storage::{self, DeliveryQuery, DeliveryState, Responses, Storage};
use tempfile::TempDir;
use tokio::task::JoinSet;

use crate::chance::Chance;
use crate::cluster::{Cluster, Ways};
use crate::history::{Asked, Disturbance, History, Kept, Line, Stage, Verdict, check};
use crate::program::run_well;
use crate::school::{self, School};
use crate::wait_for;

/// Attempts that the quiz allows, all of which every pupil takes.
pub const ATTEMPTS: u32 = 2;
/// How long a step may stay without an answer in all.
const ANSWERED_WITHIN: Duration = Duration::from_secs(90);
/// How many pupils open the quiz at once before a measurement.
const OPENING_AT_ONCE: usize = 16;
/// How long grades may take after the last submit.
const DELIVERED_WITHIN: Duration = Duration::from_secs(300);

/// A class and its pace.
#[derive(Debug, Clone)]
pub struct Class {
    /// How many pupils.
    pub pupils: u64,
    /// Over how long they come.
    pub arriving: Duration,
    /// The longest pause between two steps of a pupil.
    pub thinking: Duration,
    /// What they do at random.
    pub seed: u64,
}

/// A school with a placed quiz, several processes, and a history.
pub struct Storm {
    /// The platform and its people.
    pub school: School,
    /// The processes.
    pub cluster: Cluster,
    /// What struck so far.
    pub disturbances: Vec<Disturbance>,
    /// How many pupils have done all.
    pub done: Arc<AtomicUsize>,
    history: Arc<History>,
    class: Class,
    store: String,
    folder: TempDir,
}

/// The platform's id of a pupil.
fn id(number: u64) -> String {
    format!("p-{number:05}")
}

impl Storm {
    /// Registers the platform, loads the pool, starts the processes over `store` (or over a SQLite file of its own), and
    /// places the quiz.
    ///
    /// # Panics
    /// If any of it does not work; so for all that follows.
    pub async fn prepare(class: Class, processes: usize, store: Option<String>) -> Self {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let mut cluster = Cluster::prepare(processes, &folder.path().join("service.log"));
        let store = store.unwrap_or_else(|| format!("sqlite:{}", folder.path().join("tenths.db").display()));
        let person = |number| Person { id: id(number), name: format!("Pupil Number{number}") };
        let school =
            School::open_for(&cluster.ways().public_url(), (1..=class.pupils).map(person).collect()).await;
        school.register(&store, &school.practice.registration().deployment_id);
        load_pool(folder.path(), &store);
        cluster.serve(&store, &[]);
        cluster.start_all().await;
        school.place_quiz().await;
        let history = Arc::new(History::at(&folder.path().join("history.ndjson")));
        let (disturbances, done) = (Vec::new(), Arc::default());
        Self { school, cluster, disturbances, done, history, class, store, folder }
    }

    /// The store's address.
    pub fn store(&self) -> &str {
        &self.store
    }

    /// A file in the storm's folder.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// What was written down so far.
    pub fn history(&self) -> Arc<History> {
        self.history.clone()
    }

    /// Sends all pupils on their way.
    pub fn begin(&self) -> JoinSet<anyhow::Result<()>> {
        let pool = Arc::new(school::pool());
        let mut playing = JoinSet::new();
        for number in 1..=self.class.pupils {
            let pupil = self.pupil(number, pool.clone());
            let done = self.done.clone();
            playing.spawn(async move {
                pupil.play().await?;
                done.fetch_add(1, Ordering::Relaxed);
                Ok(())
            });
        }
        playing
    }

    /// Notes that something begins now that may keep processes from noting what they are told; the answer ends it.
    pub fn strike<T>(&mut self, what: &str, strike: impl FnOnce(&mut Self) -> T) -> T {
        let from = Timestamp::now() - jiff::SignedDuration::from_secs(1);
        let result = strike(self);
        // Connections are opened again within this time.
        let until = Timestamp::now() + jiff::SignedDuration::from_secs(1);
        self.disturbances.push(Disturbance { what: what.to_owned(), from, until });
        result
    }

    /// Waits until all pupils are done.
    pub async fn ended(&self, mut playing: JoinSet<anyhow::Result<()>>) {
        while let Some(pupil) = playing.join_next().await {
            if let Err(error) = pupil.expect("a pupil does not panic") {
                panic!("{error:#}\n{}", self.log_end());
            }
        }
    }

    /// Waits until no grade is under way.
    pub async fn delivered(&self) {
        let store = storage::open(&self.store).expect("the store can be opened");
        wait_for("all grades", DELIVERED_WITHIN, async || {
            let queue = store.delivery_queue().await.ok()?;
            assert_eq!((queue.parked, queue.held), (0, 0), "{:?}", needing_a_person(&*store).await);
            (queue.waiting == 0).then_some(())
        })
        .await;
    }

    /// Compares history, store and platform.
    pub async fn verdict(&self) -> Verdict {
        self.verdict_on(&self.history).await
    }

    /// Compares another history with store and platform.
    pub async fn verdict_on(&self, history: &History) -> Verdict {
        let store = storage::open(&self.store).expect("the store can be opened");
        let kept = Kept::read(&*store, &self.school.practice).await.expect("the store can be read");
        check(history, &kept, &self.disturbances)
    }

    /// Kills all processes at once.
    pub fn kill_all(&mut self) {
        for index in 0..self.cluster.count() {
            let disturbance = self.cluster.kill(index);
            self.disturbances.push(disturbance);
        }
    }

    /// Starts all processes over another store.
    pub async fn go_on_from(&mut self, store: String) {
        self.cluster.serve(&store, &[]);
        self.store = store;
        self.cluster.start_all().await;
    }

    /// Has that many pupils, from the `first` on, open their first attempt and fill it in, some at a time.
    ///
    /// # Panics
    /// If one of them cannot.
    pub async fn ready(&self, first: u64, count: u64) -> Vec<Ready> {
        let turns = Arc::new(tokio::sync::Semaphore::new(OPENING_AT_ONCE));
        let pool = Arc::new(school::pool());
        let mut opening = JoinSet::new();
        for number in first..first + count {
            let (mut pupil, turns) = (self.pupil(number, pool.clone()), turns.clone());
            opening.spawn(async move {
                let _turn = turns.acquire().await?;
                let visitor = pupil.open(1).await?;
                let filled = pupil.fill_in(&visitor)?;
                anyhow::Ok(Ready { pupil, visitor, filled })
            });
        }
        opening.join_all().await.into_iter().map(|ready| ready.expect("a pupil can open the quiz")).collect()
    }

    fn pupil(&self, number: u64, pool: Arc<Pool>) -> Pupil {
        Pupil {
            number,
            platform: self.school.practice.base_url().to_owned(),
            ways: self.cluster.ways().clone(),
            asked: Arc::default(),
            pool,
            history: self.history.clone(),
            chance: Chance::of(self.class.seed, number),
            class: self.class.clone(),
        }
    }

    /// The end of what the processes logged.
    pub fn log_end(&self) -> String {
        let log = std::fs::read_to_string(self.file("service.log")).unwrap_or_default();
        let lines: Vec<&str> = log.lines().filter(|line| !line.contains(" INFO ")).collect();
        lines[lines.len().saturating_sub(20)..].join("\n")
    }
}

/// Draws the pool of [`school::PLAN`] into a file of that folder and loads it.
///
/// # Panics
/// If it cannot be loaded.
pub fn load_pool(folder: &Path, store: &str) {
    let file = |name: &str| folder.join(name).to_str().expect("plain names").to_owned();
    let (plan, pool) = (file("plan.toml"), file("pool.json"));
    std::fs::write(&plan, school::PLAN).expect("a plan can be written");
    run_well(["pool", &plan, "-o", &pool]);
    run_well(["load", &pool, "--store", store]);
}

async fn needing_a_person(store: &dyn Storage) -> Vec<String> {
    let mut problems = Vec::new();
    for state in [DeliveryState::Parked, DeliveryState::Held] {
        let query = DeliveryQuery { state: Some(state), limit: 3, ..DeliveryQuery::default() };
        let found = store.deliveries(&query).await.unwrap_or_default();
        problems.extend(found.into_iter().filter_map(|delivery| delivery.problem));
    }
    problems
}

/// One pupil at a browser.
struct Pupil {
    number: u64,
    platform: String,
    ways: Ways,
    /// The process that was asked last.
    asked: Arc<AtomicU16>,
    pool: Arc<Pool>,
    history: Arc<History>,
    chance: Chance,
    class: Class,
}

/// A pupil who has only to press 'Hand in'.
pub struct Ready {
    pupil: Pupil,
    visitor: Visitor,
    filled: Filled,
}

impl Ready {
    /// Hands in; returns how long that took, result page included.
    ///
    /// # Errors
    /// If it is not acknowledged.
    pub async fn hand_in(mut self) -> anyhow::Result<Duration> {
        let began = Instant::now();
        self.pupil.submit(&mut self.visitor, &self.filled).await?;
        Ok(began.elapsed())
    }
}

/// An open attempt with the answers filled in.
struct Filled {
    attempt: String,
    form: Form,
    answers: Responses,
    points: u32,
}

impl Pupil {
    async fn play(mut self) -> anyhow::Result<()> {
        tokio::time::sleep(self.chance.within(self.class.arriving)).await;
        for number in 1..=ATTEMPTS {
            self.attempt(number).await.with_context(|| format!("pupil {}, attempt {number}", self.number))?;
        }
        Ok(())
    }

    async fn attempt(&mut self, number: u32) -> anyhow::Result<()> {
        let until = Instant::now() + ANSWERED_WITHIN;
        let mut visitor = loop {
            match self.open(number).await {
                Ok(visitor) => break visitor,
                Err(error) if Instant::now() > until => return Err(error.context("opening")),
                Err(_) => self.pause().await,
            }
        };
        let filled = self.fill_in(&visitor)?;
        self.think().await;
        self.save(&visitor, &filled).await?;
        self.think().await;
        self.submit(&mut visitor, &filled).await
    }

    async fn think(&mut self) {
        tokio::time::sleep(self.chance.within(self.class.thinking)).await;
    }

    /// A little longer than a reader needs to press 'again'.
    async fn pause(&mut self) {
        tokio::time::sleep(Duration::from_millis(150) + self.chance.within(Duration::from_millis(350))).await;
    }

    /// From the course page into an open attempt.
    async fn open(&self, number: u32) -> anyhow::Result<Visitor> {
        let (ways, asked) = (self.ways.clone(), self.asked.clone());
        let mut visitor = Visitor::new()?.routed(move |url| {
            let port = ways.next();
            let there = ways.at(port, url);
            if there.port() == Some(port) {
                asked.store(port, Ordering::Relaxed);
            }
            there
        });
        visitor.open(&format!("{}/course?as={}", self.platform, id(self.number))).await?;
        visitor.follow("Open").await?;
        if visitor.page()?.says("Go on with your attempt") {
            visitor.follow("Go on with your attempt").await?;
        } else {
            let button = if number == 1 { "Start" } else { "Try again" };
            let form = visitor.page()?.form_with_button(button)?;
            visitor.submit(form).await?;
        }
        visitor.page()?.form_with_button("Hand in")?;
        Ok(visitor)
    }

    /// The form with answers: the first question is mostly right, the second by chance right, or left empty.
    fn fill_in(&mut self, visitor: &Visitor) -> anyhow::Result<Filled> {
        let page = visitor.page()?;
        let mut form = page.form_with_button("Hand in")?.with("allow_empty", "yes");
        let attempt =
            page.url().path().rsplit('/').next().context("an attempt's page has its id")?.to_owned();
        let items: BTreeMap<&str, &Item> = self.pool.items().map(|item| (item.stem.as_str(), item)).collect();
        let (mut answers, mut points) = (Responses::new(), 0);
        for (place, story) in (1..).zip(page.texts("section.card .story")) {
            let item = items.get(story.as_str()).context("the question is one of the pool")?;
            for step in &item.steps {
                let Answer::Text(key) = &step.answer else { bail!("a step of another kind") };
                let right = self.chance.below(4) > 0;
                let wrong = if step.kind == StepKind::Number {
                    format!("7{}", self.chance.below(1000))
                } else {
                    String::new()
                };
                let text = if right { key.to_string() } else { wrong };
                form = form.with(&format!("q{place}.{}", step.id), &text);
                points += if right { step.points } else { 0 };
                if !text.is_empty() {
                    answers.entry(item.id.to_string()).or_default().insert(step.id.to_string(), text);
                }
            }
        }
        Ok(Filled { attempt, form, answers, points })
    }

    async fn save(&mut self, visitor: &Visitor, filled: &Filled) -> anyhow::Result<()> {
        // To the address of the form itself, not of the button that hands in.
        let form = visitor.page()?.form_with_button("Save")?;
        let form = filled.form.clone().sent_as(&form);
        let until = Instant::now() + ANSWERED_WITHIN;
        loop {
            self.note(filled, Asked::Save, Stage::Sent);
            match visitor.send_aside(form.clone()).await {
                Ok((200, _)) => break self.note(filled, Asked::Save, Stage::Acknowledged),
                Ok((status, text)) if (400..500).contains(&status) && status != 429 => {
                    bail!("saving: {status} {text}")
                }
                _ if Instant::now() > until => bail!("saving is not answered"),
                _ => self.note(filled, Asked::Save, Stage::Unanswered),
            }
            self.pause().await;
        }
        Ok(())
    }

    async fn submit(&mut self, visitor: &mut Visitor, filled: &Filled) -> anyhow::Result<()> {
        let until = Instant::now() + ANSWERED_WITHIN;
        loop {
            self.note(filled, Asked::Submit, Stage::Sent);
            let sent = visitor.submit(filled.form.clone()).await;
            let page = visitor.page()?;
            if sent.is_ok() && page.says("points") && page.form_with_button("Hand in").is_err() {
                self.note(filled, Asked::Submit, Stage::Acknowledged);
                return Ok(());
            }
            if sent.is_ok() {
                bail!("handing in led to {}: {}", page.url().path(), page.gist());
            }
            if Instant::now() > until {
                return sent.context("handing in is not answered");
            }
            self.note(filled, Asked::Submit, Stage::Unanswered);
            self.pause().await;
        }
    }

    fn note(&self, filled: &Filled, asked: Asked, stage: Stage) {
        self.history.note(Line {
            at: Timestamp::now(),
            pupil: id(self.number),
            attempt: filled.attempt.clone(),
            asked,
            stage,
            answers: filled.answers.clone(),
            points: filled.points,
            process: self.asked.load(Ordering::Relaxed),
        });
    }
}
