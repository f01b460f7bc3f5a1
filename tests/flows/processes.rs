//! Several processes of the real program over one store: any of them takes any request, and one that ends loses nothing.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use conformance::program::{Served, free_port, run_well};
use conformance::proxy::Proxy;
use conformance::school::{self, PLAN, School};
use conformance::wait_for;
use qbank::pool::Pool;
use service::demo::visitor::{Form, Visitor};
use service::practice::Person;
use tempfile::TempDir;
use tokio::task::JoinSet;

const DELIVERED_WITHIN: Duration = Duration::from_secs(60);

/// Two processes behind a proxy, and a school that has placed a quiz.
struct Stage {
    school: School,
    proxy: Proxy,
    served: Vec<Served>,
    folder: TempDir,
}

fn pupil(number: usize) -> String {
    format!("Pupil Number{number:03}")
}

fn id(number: usize) -> String {
    format!("p-{number:03}")
}

impl Stage {
    async fn set(pupils: usize, options: &[&str]) -> Self {
        let ports = [free_port(), free_port()];
        let proxy = Proxy::start(&ports).await;
        let person = |number| Person { id: id(number), name: pupil(number) };
        let school = School::open_for(&proxy.url(), (1..=pupils).map(person).collect()).await;
        let folder = tempfile::tempdir().unwrap();
        let stage = Self { school, proxy, served: Vec::new(), folder };
        stage.school.register(&stage.store(), &stage.school.practice.registration().deployment_id);
        let (plan, pool) = (stage.file("plan.toml"), stage.file("pool.json"));
        std::fs::write(&plan, PLAN).unwrap();
        run_well(["pool", plan.to_str().unwrap(), "--seed", "river-day-1", "-o", pool.to_str().unwrap()]);
        run_well(["load", pool.to_str().unwrap(), "--store", &stage.store()]);
        let (log, url) = (stage.file("service.log"), stage.proxy.url());
        let start = |port| {
            let (store, log, url) = (stage.store(), log.clone(), url.clone());
            async move { Served::start_behind(port, &url, &store, &log, options).await }
        };
        // At the same moment: of both, one makes what both share.
        let (first, second) = tokio::join!(start(ports[0]), start(ports[1]));
        let stage = Self { served: vec![first, second], ..stage };
        wait_for("the proxy to see both", Duration::from_secs(10), async || {
            stage.proxy.ready().iter().all(|ready| *ready).then_some(())
        })
        .await;
        stage.school.place_quiz().await;
        stage
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn store(&self) -> String {
        format!("sqlite:{}", self.file("tenths.db").display())
    }

    /// Pupils with a grade in the gradebook.
    fn graded(&self) -> usize {
        let rows = self.school.practice.gradebook().rows;
        let has_points = |cell: &service::practice::Cell| cell.points.is_some();
        rows.iter().filter(|row| row.cells.iter().flatten().any(has_points)).count()
    }
}

/// A pupil with an attempt open and all answered.
async fn ready(school: &School, number: usize, pool: &Pool) -> (Visitor, Form) {
    let mut visitor = school.enter(&pupil(number)).await;
    school::begin(&mut visitor, "Start").await;
    let form = school::answered(&visitor, 2, pool);
    (visitor, form)
}

#[tokio::test(flavor = "multi_thread")]
async fn any_process_takes_any_request_of_pupils_teachers_and_coordinators() {
    let stage = Stage::set(4, &[]).await;
    let pool = school::pool();
    for number in 1..=4 {
        let (mut visitor, form) = ready(&stage.school, number, &pool).await;
        if number % 2 == 0 {
            // So that each step is taken by the other process than before.
            visitor.open(&format!("{}/health/live", stage.proxy.url())).await.unwrap();
            visitor.submit(form).await.unwrap();
        } else {
            visitor.submit(form).await.unwrap();
        }
        assert!(visitor.page().unwrap().says("points"), "a result is shown");
    }
    wait_for("all grades", DELIVERED_WITHIN, async || (stage.graded() == 4).then_some(())).await;
    let mut teacher = stage.school.teacher().await;
    teacher.follow("Open").await.unwrap();
    assert!(teacher.page().unwrap().says("4"), "{}", teacher.page().unwrap().gist());

    let token = run_well(["token", "add", "--role", "coordinator", "--store", &stage.store()]);
    coordinate(&stage, token.trim()).await;

    let answered = stage.proxy.answered();
    assert!(answered.iter().all(|count| *count > 20), "both work: {answered:?}");
    assert_eq!(stage.proxy.lost(), 0);
}

/// The coordinator signs in and has a package made: each request goes to another process than the one before.
async fn coordinate(stage: &Stage, token: &str) {
    let mut visitor = Visitor::new().unwrap();
    visitor.open(&format!("{}/district/sign-in", stage.proxy.url())).await.unwrap();
    let form = visitor.page().unwrap().form_with_button("Sign in").unwrap().with("token", token);
    visitor.submit(form).await.unwrap();
    for page in ["Pools", "River day: decimals"] {
        visitor.follow(page).await.unwrap();
    }
    let form = visitor.page().unwrap().form_with_button("Make the package").unwrap();
    visitor.submit(form).await.unwrap();
    let job = visitor.page().unwrap().url().clone();
    let until = Instant::now() + Duration::from_secs(60);
    let mut seen = 0;
    // Both show how it stands, and what it came to.
    while seen < 2 {
        assert!(Instant::now() < until, "the job does not end: {}", visitor.page().unwrap().gist());
        visitor.open(job.as_str()).await.unwrap();
        seen = if visitor.page().unwrap().says("Download") { seen + 1 } else { 0 };
    }
    for _ in 0..2 {
        visitor.open(&format!("{job}/file")).await.unwrap();
        assert!(visitor.page().unwrap().html().starts_with("PK"), "a package is a zip");
        visitor.open(&format!("{}/health/live", stage.proxy.url())).await.unwrap();
    }
    visitor.open(job.as_str()).await.unwrap();
    visitor.submit(school::press(&visitor, "Forget it")).await.unwrap();
    let list = visitor.page().unwrap();
    assert!(
        list.url().path() == "/district/jobs" && list.says("Nothing is being worked on"),
        "{}",
        list.gist()
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_process_that_is_asked_to_end_under_load_loses_nothing() {
    const PUPILS: usize = 24;
    let mut stage = Stage::set(PUPILS, &["--drain", "1"]).await;
    let pool = school::pool();
    let mut prepared = Vec::new();
    for number in 1..=PUPILS {
        prepared.push(ready(&stage.school, number, &pool).await);
    }
    let mut handing_in = JoinSet::new();
    let mut ending = None;
    for (number, (mut visitor, form)) in prepared.into_iter().enumerate() {
        handing_in.spawn(async move {
            let taken = visitor.submit(form).await;
            taken.map(|()| visitor.page().is_ok_and(|page| page.says("points")))
        });
        if number == PUPILS / 4 {
            let ended = stage.served.remove(0);
            ending = Some(tokio::task::spawn_blocking(move || ended.end()));
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let answers = handing_in.join_all().await;
    assert!(answers.iter().all(|answer| *answer.as_ref().unwrap()), "{answers:?}");
    let (code, took) = ending.unwrap().await.unwrap();
    assert_eq!(code, Some(0), "it ends well");
    assert!(took >= Duration::from_secs(1), "the proxy had its second: {took:?}");
    assert_eq!(stage.proxy.lost(), 0);
    assert_eq!(stage.proxy.ready(), [false, true]);
    wait_for("all grades", DELIVERED_WITHIN, async || (stage.graded() == PUPILS).then_some(())).await;
    let log = std::fs::read_to_string(stage.file("service.log")).unwrap();
    assert!(log.contains("stopped"), "{log}");
}
