//! The demonstration: the whole loop on one machine, from a plan to grades in a gradebook.
//!
//! It starts the service on an embedded store and the practice platform beside it, and connects the two as a
//! coordinator would: registration, pool, package. A scripted teacher and class then use both through their pages
//! only, as browsers do ([`visitor`]); nothing is handed over behind the pages' back. What grade each pupil must end
//! up with is worked out from the script (`class`), not from the service's marks.

mod class;
pub mod visitor;

use std::fs;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use exporters::qti::{PackageOptions, write_package};
use qbank::{plan::Plan, pool::Pool, question::StepKind};
use serde::Serialize;
use url::Url;

use self::class::{Class, Scripted};
use self::visitor::{Form, Page, Visitor};
use crate::cli::export::write_file;
use crate::clock::{Clock, SystemClock};
use crate::practice::{Gradebook, Person, Practice, PracticeSettings, ToolAddresses};
use crate::server::Server;
use crate::settings::{ServeArguments, Settings};
use crate::storage::{
    self, Actor, ApiRole, ApiToken, Change, ClientId, DeploymentId, NewRegistration, StoredPool,
};

/// The plan of the demonstration's pool.
pub const PLAN: &str = include_str!("plan.toml");
/// The demonstration's class.
pub const CLASS: &str = include_str!("class.toml");

/// Questions that each pupil gets.
const QUESTIONS: usize = 8;
/// How long grades may take into the gradebook once all pupils have handed in.
const DELIVERY_WITHIN: Duration = Duration::from_secs(20);

/// What to start.
#[derive(Debug, Clone)]
pub struct DemoSettings {
    /// Port of the practice platform on loopback; the service takes the next one. 0: any two free ports.
    pub port: u16,
    /// How many pupils the class has.
    pub pupils: usize,
    /// Where store and package go; made if missing.
    pub folder: PathBuf,
}

/// The service and the practice platform, connected and with a pool to place.
pub struct Demo {
    server: Server,
    practice: Practice,
    class: Class,
    pool: Pool,
    package: PathBuf,
    district: String,
    coordinator: String,
}

/// What a scripted class came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// Pupils of the class.
    pub pupils: usize,
    /// Questions in the pool.
    pub questions: usize,
    /// Grades that the script leads to.
    pub grades_expected: usize,
    /// Grades that the platform holds.
    pub grades_in_gradebook: usize,
    /// Pupils whose grade is missing or another than expected.
    pub mismatches: usize,
    /// The package's file.
    pub package: String,
    /// Launches made, deep linking included.
    pub launches: usize,
}

impl Demo {
    /// Makes the pool and its package, starts both parties and connects them. Needs a tokio runtime.
    ///
    /// # Errors
    /// If a port is taken, a file cannot be written, or the plan or the class is at fault.
    pub async fn start(settings: &DemoSettings) -> anyhow::Result<Self> {
        let class = Class::from_toml(CLASS, settings.pupils)?;
        let pool = Plan::from_toml(PLAN)?.make(&qbank::bank::families()?, None)?;
        fs::create_dir_all(&settings.folder)
            .with_context(|| format!("cannot make the folder {}", settings.folder.display()))?;
        let package = settings.folder.join(format!("{}.zip", pool.id));
        write_file(&package, |out| Ok(write_package(&pool, &PackageOptions::default(), out)?))?;

        let practice_listener = listen(settings.port)?;
        let tool_listener = listen(if settings.port == 0 { 0 } else { settings.port + 1 })?;
        let tool = Url::parse(&format!("http://{}", tool_listener.local_addr()?))?;
        let practice = Practice::start(practice_listener, practice_settings(&class, &tool)?).await?;
        let store = storage::open(&format!("sqlite:{}", fresh_store(&settings.folder)?.display()))?;
        store.put_pool(StoredPool::of(&pool)).await?;
        let change = Change { at: SystemClock.now(), by: Actor::Service };
        store.put_registration(registration(&practice)?, &change).await?;
        let (token, coordinator) =
            ApiToken::new(ApiRole::Coordinator, "the demonstration's coordinator", change.at, None);
        store.add_api_token(token, &change).await?;
        let district = format!("{tool}district");
        let arguments =
            ServeArguments::on_loopback(tool_listener.local_addr()?, tool, "the demonstration's own");
        let server =
            Server::start(tool_listener, Settings::check(arguments)?, store, Arc::new(SystemClock)).await?;
        Ok(Self { server, practice, class, pool, package, district, coordinator })
    }

    /// The front page of the practice platform, where a person starts.
    pub fn front_page(&self) -> &str {
        self.practice.base_url()
    }

    /// Where a coordinator signs in, and the token to do so with.
    pub fn coordinator(&self) -> (&str, &str) {
        (&self.district, &self.coordinator)
    }

    /// The pool that the teacher can place.
    pub fn pool(&self) -> &Pool {
        &self.pool
    }

    /// The file of the package.
    pub fn package(&self) -> &Path {
        &self.package
    }

    /// Plays the teacher and the whole class, waits for the grades, and compares.
    ///
    /// `progress` is called after each pupil.
    ///
    /// # Errors
    /// If a page does not look as a person would need it. A wrong or missing grade is no error but a mismatch.
    pub async fn play(&self, mut progress: impl FnMut()) -> anyhow::Result<Summary> {
        self.place().await.context("the teacher could not place the quiz")?;
        let mut expected = Vec::new();
        for pupil in &self.class.pupils {
            let points = self
                .sit(pupil)
                .await
                .with_context(|| format!("{} could not take the quiz", pupil.person.name))?;
            expected.push((pupil.person.id.clone(), points));
            progress();
        }
        let gradebook = self.delivered(expected.len()).await;
        let held = |id: &str| grades_of(&gradebook, id);
        let mismatches: Vec<_> =
            expected.iter().filter(|(id, points)| held(id) != [points.to_string()]).collect();
        for (id, points) in &mismatches {
            tracing::error!("pupil {id} should have {points} points, the gradebook holds {:?}", held(id));
        }
        Ok(Summary {
            pupils: self.class.pupils.len(),
            questions: self.pool.items().count(),
            grades_expected: expected.len(),
            grades_in_gradebook: expected.iter().filter(|(id, _)| !held(id).is_empty()).count(),
            mismatches: mismatches.len(),
            package: self.package.display().to_string(),
            launches: expected.len() + 1,
        })
    }

    /// Stops both parties.
    ///
    /// # Errors
    /// If the practice platform had already failed.
    pub async fn stop(self) -> anyhow::Result<()> {
        self.server.stop().await;
        Ok(self.practice.stop().await?)
    }

    /// The teacher places the quiz by deep linking.
    async fn place(&self) -> anyhow::Result<()> {
        let mut visitor = self.enter(&self.class.teacher).await?;
        visitor.follow("Add an activity").await?;
        let form = visitor.page()?.form_with_button("Place this quiz")?;
        let form =
            form.with("pool", &self.pool.id).with("questions", &QUESTIONS.to_string()).with("attempts", "2");
        visitor.submit(form).await?;
        if !visitor.page()?.says(&self.pool.title) {
            bail!("the course page does not list the quiz: {}", visitor.page()?.gist());
        }
        Ok(())
    }

    /// A pupil opens the quiz and answers every question as scripted. Returns the points this must earn.
    async fn sit(&self, pupil: &Scripted) -> anyhow::Result<u32> {
        let mut visitor = self.enter(&pupil.person).await?;
        visitor.follow("Open").await?;
        let start = visitor.page()?.form_with_button("Start")?;
        visitor.submit(start).await?;
        let page = visitor.page()?;
        let items = self.questions_on(page)?;
        let mut form = page.form_with_button("Hand in")?;
        let mut points = 0;
        for (index, item) in items.iter().enumerate() {
            let script = pupil.answer(item, index, items.len());
            points += script.points;
            for step in &item.steps {
                let Some(response) = script.responses.get(step.id.as_str()) else { continue };
                form = filled(form, &format!("q{}.{}", index + 1, step.id), step.kind, response);
            }
        }
        visitor.submit(form).await?;
        // A page with empty answers asks once more before it hands in.
        if let Ok(anyway) = visitor.page()?.form_with_button("Hand in anyway") {
            visitor.submit(anyway).await?;
        }
        if !visitor.page()?.says("points") {
            bail!("no result is shown after handing in: {}", visitor.page()?.gist());
        }
        Ok(points)
    }

    async fn enter(&self, person: &Person) -> anyhow::Result<Visitor> {
        let mut visitor = Visitor::new()?;
        visitor.open(self.front_page()).await?;
        let form = visitor.page()?.form_with_button(&person.name)?;
        visitor.submit(form).await?;
        Ok(visitor)
    }

    /// The pool's items that a page asks, by the stories it tells, in order.
    fn questions_on(&self, page: &Page) -> anyhow::Result<Vec<&qbank::question::Item>> {
        let told = page.texts("section.card .story");
        let items: Vec<_> = told
            .iter()
            .map(|story| {
                self.pool.items().find(|item| item.stem == *story).context("a story is not from the pool")
            })
            .collect::<Result<_, _>>()?;
        if items.len() == QUESTIONS { Ok(items) } else { bail!("the page asks {} questions", items.len()) }
    }

    /// The gradebook once it holds that many grades, or when the time is up.
    async fn delivered(&self, grades: usize) -> Gradebook {
        let until = Instant::now() + DELIVERY_WITHIN;
        loop {
            let gradebook = self.practice.gradebook();
            let arrived = gradebook
                .rows
                .iter()
                .filter(|row| row.cells.iter().flatten().any(|cell| cell.points.is_some()));
            if arrived.count() >= grades || Instant::now() >= until {
                return gradebook;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }
}

/// All grades that a pupil has, as text.
fn grades_of(gradebook: &Gradebook, pupil: &str) -> Vec<String> {
    let row = gradebook.rows.iter().find(|row| row.pupil.id == pupil);
    let cells = row.into_iter().flat_map(|row| row.cells.iter().flatten());
    cells.filter_map(|cell| cell.points).map(|points| points.to_string()).collect()
}

fn listen(port: u16) -> anyhow::Result<TcpListener> {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let listener = TcpListener::bind(address)
        .with_context(|| format!("cannot listen on {address}; choose another port with --port"))?;
    listener.set_nonblocking(true)?;
    Ok(listener)
}

/// An empty store: a demonstration begins where nothing has happened yet.
fn fresh_store(folder: &Path) -> anyhow::Result<PathBuf> {
    let path = folder.join("tenths.db");
    for name in ["tenths.db", "tenths.db-wal", "tenths.db-shm"] {
        match fs::remove_file(folder.join(name)) {
            Ok(()) => {}
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => return Err(error).with_context(|| format!("cannot clear {}", path.display())),
        }
    }
    Ok(path)
}

fn practice_settings(class: &Class, tool: &Url) -> anyhow::Result<PracticeSettings> {
    Ok(PracticeSettings {
        course_title: class.course.clone(),
        teacher: class.teacher.clone(),
        pupils: class.pupils.iter().map(|pupil| pupil.person.clone()).collect(),
        tool: ToolAddresses {
            login_url: tool.join("/lti/login")?,
            launch_url: tool.join("/lti/launch")?,
            keys_url: tool.join("/lti/keys")?,
            deep_linking_url: tool.join("/lti/launch")?,
        },
    })
}

fn registration(practice: &Practice) -> anyhow::Result<NewRegistration> {
    let known = practice.registration();
    Ok(NewRegistration {
        issuer: known.issuer,
        client_id: ClientId(known.client_id),
        authorization_url: Url::parse(&known.authorization_url)?,
        token_url: Url::parse(&known.token_url)?,
        keys_url: Url::parse(&known.keys_url)?,
        audience: None,
        deployments: [DeploymentId(known.deployment_id)].into(),
    })
}

/// A form with one step answered: an order has a field for each place.
fn filled(form: Form, field: &str, kind: StepKind, response: &str) -> Form {
    if kind != StepKind::Order {
        return form.with(field, response);
    }
    let places = (1..).zip(response.split(", "));
    places.fold(form, |form, (place, choice)| form.with(&format!("{field}.{place}"), choice))
}
