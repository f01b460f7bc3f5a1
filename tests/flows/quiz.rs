//! A pupil's quiz in a real browser: by keys alone, without scripts, one question at a time and all on a page, in both
//! languages, with the place-value grid; and with a network that is cut and a browser that is killed.
//!
//! What a first visit loads is measured; pictures are in `target/tmp/quiz`.

use std::net::{Ipv4Addr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts, keys};
use conformance::looks;
use conformance::school::{School, press};
use conformance::wait_for;
use fantoccini::Locator;
use qbank::plan::Plan;
use qbank::pool::Pool;
use qbank::question::{Item, StepKind};
use service::clock::{Clock, SystemClock};
use service::practice::Person;
use service::server::Server;
use service::settings::{ServeArguments, Settings};
use service::storage::{self, Actor, Attempt, Change, ClientId, DeploymentId, NewRegistration, StoredPool};
use url::Url;

use crate::browser::answer;
use crate::paper::{poppler, squeezed};

/// What everything that a pupil's first visit loads may weigh, in bytes.
const FIRST_VISIT_MAX: u64 = 60_000;
/// How long what is typed may take to the service, or to the disk: browsers write what sites keep every few seconds.
const KEPT_WITHIN: Duration = Duration::from_secs(30);

const PLAN: &str = r#"
pool = "{pool}"
title = "{title}"
seed = "river-day-1"
locale = "{locale}"

[[section]]
title = "1"
family = "add-ragged"
count = 6
pick = 1

[[section]]
title = "2"
family = "story-samples"
count = 6
pick = 1

[[section]]
title = "3"
family = "compare-ragged"
count = 6
pick = 1

[[section]]
title = "4"
family = "order-four"
count = 6
pick = 1
"#;
const QUESTIONS: usize = 4;

/// A pool in a language, and what its pages say there.
struct Told {
    pool: Pool,
    start: &'static str,
    next: &'static str,
    check: &'static str,
    hand_in: &'static str,
    hand_in_anyway: &'static str,
    /// What leads to practice, what marks it, and what it says of one point.
    practice: [&'static str; 3],
}

fn pool(id: &str, title: &str, locale: &str) -> Pool {
    let plan = PLAN.replace("{pool}", id).replace("{title}", title).replace("{locale}", locale);
    let families = qbank::bank::families().unwrap();
    Plan::from_toml(&plan).unwrap().make(&families, None).unwrap()
}

fn english() -> Told {
    Told {
        pool: pool("river-day", "River day: decimals", "en-US"),
        start: "Start",
        next: "Next question",
        check: "Check and hand in",
        hand_in: "Hand in",
        hand_in_anyway: "Hand in anyway",
        practice: ["Practice with new numbers", "See how I did", "Practice: 1 of 1"],
    }
}

fn spanish() -> Told {
    Told {
        pool: pool("dia-del-rio", "Día del río: decimales", "es-US"),
        start: "Empezar",
        next: "Pregunta siguiente",
        check: "Revisar y entregar",
        hand_in: "Entregar",
        hand_in_anyway: "Entregar así",
        practice: ["Practicar con números nuevos", "Ver cómo me fue", "Práctica: 1 de 1"],
    }
}

/// The service with both pools, beside a platform whose teacher has placed each of them in both layouts.
struct Stage {
    server: Server,
    school: School,
    storage: Arc<dyn storage::Storage>,
    driver: Driver,
}

/// The placed quizzes, by their place in the course.
const ENGLISH_ALL: usize = 1;
const ENGLISH_ONE: usize = 2;
const SPANISH_ALL: usize = 3;
const SPANISH_ONE: usize = 4;

impl Stage {
    async fn set(driver: Driver) -> Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        listener.set_nonblocking(true)?;
        let listen = listener.local_addr()?;
        let tool = format!("http://127.0.0.1:{}", listen.port());
        let pupils = ["p-01", "p-02", "p-03", "p-04", "p-05"];
        let person = |id: &str| Person { id: id.into(), name: format!("Pupil {id}") };
        let school = School::open_for(&tool, pupils.map(person).into()).await;
        let store = storage::open("sqlite::memory:")?;
        for told in [english(), spanish()] {
            store.put_pool(StoredPool::of(&told.pool)).await?;
        }
        let known = school.practice.registration();
        let registration = NewRegistration {
            issuer: known.issuer,
            client_id: ClientId(known.client_id),
            authorization_url: Url::parse(&known.authorization_url)?,
            token_url: Url::parse(&known.token_url)?,
            keys_url: Url::parse(&known.keys_url)?,
            audience: None,
            deployments: [DeploymentId(known.deployment_id)].into(),
        };
        let change = Change { at: SystemClock.now(), by: Actor::CommandLine };
        store.put_registration(registration, &change).await?;
        let arguments = ServeArguments::on_loopback(listen, Url::parse(&tool)?, "in memory");
        let settings = Settings::check(arguments)?;
        let server = Server::start(listener, settings, store.clone(), Arc::new(SystemClock)).await?;
        for (pool, layout, attempts) in [
            ("river-day", "", "2"),
            ("river-day", "one", "1"),
            ("dia-del-rio", "", "2"),
            ("dia-del-rio", "one", "1"),
        ] {
            let mut teacher = school.teacher().await;
            teacher.follow("Add an activity").await?;
            let form = press(&teacher, "Place this quiz").with("pool", pool).with("layout", layout);
            teacher.submit(form.with("questions", "4").with("attempts", attempts)).await?;
        }
        Ok(Self { server, school, storage: store, driver })
    }

    /// Opens the start page of a placed quiz.
    async fn open(&self, browser: &Browser, pupil: &str, quiz: usize) -> Result<()> {
        browser.open(&format!("{}/course?as={pupil}", self.school.practice.base_url())).await?;
        browser.click(Locator::XPath(&format!("(//a[normalize-space()='Open'])[{quiz}]"))).await?;
        if browser.scripts() == Scripts::Off {
            browser.click(Locator::XPath(&button("Continue"))).await?;
        }
        browser.find(Locator::Css(".facts")).await.map(drop)
    }

    /// The pupil's only attempt at the quiz whose page is open, as stored.
    async fn stored(&self, browser: &Browser, pupil: &str) -> Result<Attempt> {
        let path = browser.run("return location.pathname").await?;
        let placement = path.as_str().and_then(|path| path.split('/').nth(2)).context("a quiz is open")?;
        let attempts = self.storage.attempts_of(&placement.into(), &pupil.into()).await?;
        attempts.into_iter().next_back().context("there is an attempt")
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_pupil_takes_a_quiz_in_both_layouts_and_languages() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set(driver).await?;
    let (en, es) = (english(), spanish());
    let desk = stage.driver.open(Screen::DESK, Scripts::On).await?;
    stage
        .all_on_a_page(&desk, "p-01", &en, ENGLISH_ALL, "english")
        .await
        .context("English, all on a page")?;
    stage
        .all_on_a_page(&desk, "p-02", &es, SPANISH_ALL, "spanish")
        .await
        .context("Spanish, all on a page")?;
    stage
        .one_at_a_time(&desk, "p-01", &en, ENGLISH_ONE, "english")
        .await
        .context("English, one at a time")?;
    stage
        .one_at_a_time(&desk, "p-02", &es, SPANISH_ONE, "spanish")
        .await
        .context("Spanish, one at a time")?;
    leave(desk).await?;
    let bare = stage.driver.open(Screen::DESK, Scripts::Off).await?;
    stage.without_scripts(&bare, "p-03", &en, ENGLISH_ONE).await.context("no scripts, one at a time")?;
    stage.without_scripts(&bare, "p-04", &es, SPANISH_ALL).await.context("no scripts, all on a page")?;
    bare.close().await?;
    stage.server.stop().await;
    looks::all_seen("quiz")
}

impl Stage {
    /// Everything right, the first answer by the grid; what is loaded is measured.
    async fn all_on_a_page(
        &self,
        pupil: &Browser,
        id: &str,
        told: &Told,
        quiz: usize,
        name: &str,
    ) -> Result<()> {
        self.open(pupil, id, quiz).await?;
        let start = looks::inspect(pupil, "start of a quiz").await?;
        pictures(pupil, &format!("start-{name}")).await?;
        pupil.tab_to(Locator::XPath(&button(told.start))).await?;
        pupil.press(keys::ENTER).await?;
        pupil.find(Locator::Css("form[data-attempt]")).await?;
        let page = looks::inspect(pupil, "questions on a page").await?;
        // The style sheet comes with the start page, the script with the first question.
        if name == "english" {
            let (wire, unpacked) = (start.bytes + page.bytes, page.unpacked_bytes + start.unpacked_bytes);
            ensure!(wire < FIRST_VISIT_MAX, "a first visit loads {wire} bytes, unpacked {unpacked}");
            ensure!(page.unpacked_bytes < FIRST_VISIT_MAX, "unpacked {} bytes", page.unpacked_bytes);
        }
        let items = questions_on(pupil, &told.pool).await?;
        ensure!(items.len() == QUESTIONS, "{} questions are shown", items.len());
        for (index, item) in items.iter().enumerate() {
            match (index, name) {
                (0, "english") => by_grid(pupil, item).await?,
                (0, _) => by_touch(pupil, item).await.context("the grid, touched with a finger")?,
                _ => by_keys(pupil, index, item).await?,
            }
        }
        looks::inspect(pupil, "questions on a page with the grid").await?;
        pupil.scroll_to("section[aria-labelledby=q1]").await?;
        pictures(pupil, &format!("grid-{name}")).await?;
        zoomed(pupil, &format!("zoomed-{name}")).await?;
        pupil.tab_to(Locator::XPath(&button(told.hand_in))).await?;
        pupil.press(keys::ENTER).await?;
        expect_points(pupil, &items).await?;
        looks::inspect(pupil, "result").await?;
        prints_whole(pupil, name).await.context("the result on paper")?;
        pictures(pupil, &format!("result-{name}")).await
    }

    /// One question after the other; the third stays empty until the last page names it.
    async fn one_at_a_time(
        &self,
        pupil: &Browser,
        id: &str,
        told: &Told,
        quiz: usize,
        name: &str,
    ) -> Result<()> {
        self.open(pupil, id, quiz).await?;
        pupil.tab_to(Locator::XPath(&button(told.start))).await?;
        pupil.press(keys::ENTER).await?;
        let mut items = Vec::new();
        for number in 1..=QUESTIONS {
            pupil.find(Locator::Css(&format!("section[aria-labelledby=q{number}]"))).await?;
            let shown = questions_on(pupil, &told.pool).await?;
            ensure!(shown.len() == 1, "question {number} is shown with {} others", shown.len() - 1);
            if number == 2 {
                looks::inspect(pupil, "one question at a time").await?;
            }
            if number != 3 {
                by_keys(pupil, number - 1, shown[0]).await?;
            }
            if number == 2 {
                pictures(pupil, &format!("one-at-a-time-{name}")).await?;
            }
            items.extend(shown);
            let go = if number == QUESTIONS { told.check } else { told.next };
            pupil.tab_to(Locator::XPath(&button(go))).await?;
            pupil.press(keys::ENTER).await?;
        }
        let empty = pupil.texts("ul.empty a").await?;
        ensure!(empty.len() == items[2].steps.len(), "the last page names {empty:?} as empty");
        looks::inspect(pupil, "the last page").await?;
        pictures(pupil, &format!("check-{name}")).await?;
        pupil.tab_to(Locator::Css("ul.empty a")).await?;
        pupil.press(keys::ENTER).await?;
        pupil.find(Locator::Css("section[aria-labelledby=q3]")).await?;
        pupil.tab_to(Locator::XPath(&button(told.check))).await?;
        pupil.press(keys::ENTER).await?;
        let [link, see, done] = told.practice;
        pupil.tab_to(Locator::XPath(&button(told.hand_in_anyway))).await?;
        pupil.press(keys::ENTER).await?;
        let answered = [items[0], items[1], items[3]];
        expect_points(pupil, &answered).await?;
        pupil.tab_to(Locator::LinkText(link)).await?;
        pupil.press(keys::ENTER).await?;
        pupil.find(Locator::XPath(&button(see))).await?;
        let asked = questions_on(pupil, &told.pool).await?;
        ensure!(asked.len() == 1 && asked[0].family == items[2].family, "practice of the empty question");
        ensure!(asked[0].id != items[2].id, "practice has other numbers");
        by_keys(pupil, 0, asked[0]).await?;
        looks::inspect(pupil, "practice").await?;
        pupil.tab_to(Locator::XPath(&button(see))).await?;
        pupil.press(keys::ENTER).await?;
        let points = pupil.text("section[aria-label] > .lead").await?;
        ensure!(points == done, "practice says '{points}'");
        looks::inspect(pupil, "practice marked").await?;
        pictures(pupil, &format!("practice-{name}")).await
    }

    /// The last answer is forgotten, which is asked once.
    async fn without_scripts(&self, pupil: &Browser, id: &str, told: &Told, quiz: usize) -> Result<()> {
        self.open(pupil, id, quiz).await?;
        pupil.tab_to(Locator::XPath(&button(told.start))).await?;
        pupil.press(keys::ENTER).await?;
        pupil.find(Locator::Css("form[data-attempt]")).await?;
        let mut items = questions_on(pupil, &told.pool).await?;
        let one_at_a_time = items.len() == 1;
        for number in 1..=QUESTIONS {
            pupil.find(Locator::Css(&format!("section[aria-labelledby=q{number}]"))).await?;
            if one_at_a_time && number > 1 {
                items.extend(questions_on(pupil, &told.pool).await?);
            }
            let grid = pupil.find(Locator::Css(".grid-room, .places, .choices")).await?;
            ensure!(!grid.is_displayed().await? || grid.tag_name().await? != "div" || number > 2, "a grid");
            if number != QUESTIONS {
                by_keys(pupil, number - 1, items[number - 1]).await?;
            }
            if one_at_a_time {
                let go = if number == QUESTIONS { told.check } else { told.next };
                pupil.tab_to(Locator::XPath(&button(go))).await?;
                pupil.press(keys::ENTER).await?;
            }
        }
        if !one_at_a_time {
            pupil.tab_to(Locator::XPath(&button(told.hand_in))).await?;
            pupil.press(keys::ENTER).await?;
        }
        pupil.tab_to(Locator::XPath(&button(told.hand_in_anyway))).await?;
        pupil.press(keys::ENTER).await?;
        expect_points(pupil, &items[..QUESTIONS - 1]).await
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_typed_is_lost_when_the_service_has_too_much_to_do() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set(driver).await?;
    let en = english();
    // As many requests as are worked on at once.
    let all = || std::iter::from_fn(|| stage.server.app.standing.enter()).collect::<Vec<_>>();
    for (scripts, id) in [(Scripts::Off, "p-03"), (Scripts::On, "p-04")] {
        let pupil = stage.driver.open(Screen::DESK, scripts).await?;
        stage.open(&pupil, id, ENGLISH_ALL).await?;
        pupil.click(Locator::XPath(&button(en.start))).await?;
        pupil.find(Locator::Css("form[data-attempt]")).await?;
        let items = questions_on(&pupil, &en.pool).await?;
        for (index, item) in items.iter().enumerate() {
            by_keys(&pupil, index, item).await?;
        }
        let flights = all();
        ensure!(flights.len() == 1_000, "{} requests fly at once", flights.len());
        pupil.click(Locator::XPath(&button(en.hand_in))).await?;
        if scripts == Scripts::Off {
            pupil.find(Locator::XPath(&button("Send again"))).await?;
            pictures(&pupil, "too-much-to-do").await?;
            look_while_busy(&stage).await?;
            drop(flights);
            pupil.click(Locator::XPath(&button("Send again"))).await?;
        } else {
            expect_line(&pupil, "Very many people are working right now.").await?;
            // Nothing has to be pressed again.
            drop(flights);
            wait_for("the result", KEPT_WITHIN, async || {
                pupil
                    .run("return document.querySelector('[data-handed-in]')")
                    .await
                    .ok()?
                    .as_object()
                    .map(drop)
            })
            .await;
        }
        expect_points(&pupil, &items).await?;
        pupil.close().await?;
    }
    stage.server.stop().await;
    Ok(())
}

/// The pages that say so stand until they try again, those of a login inside a frame until it goes on: they are fetched
/// by HTTP, and looked at as they stand.
async fn look_while_busy(stage: &Stage) -> Result<()> {
    let base = format!("http://{}", stage.server.address());
    let browser = stage.driver.open(Screen::DESK, Scripts::On).await?;
    for language in ["en-US", "es-US"] {
        let ask = |request: reqwest::RequestBuilder| async move {
            let answer = request.header("Accept-Language", language).send().await?;
            ensure!(answer.status().as_u16() == 503, "the service takes more: {}", answer.status());
            Ok(answer.text().await?)
        };
        let client = reqwest::Client::new();
        let asked = ask(client.get(format!("{base}/quiz/q"))).await?;
        let typed = ask(client.post(format!("{base}/quiz/q/a")).form(&[("q1.answer", "3.45")])).await?;
        for (page, name) in [(asked, "too much to do, asked"), (typed, "too much to do, typed")] {
            ensure!(page.contains(&format!("lang=\"{language}\"")), "{name} is not told in {language}");
            looks::inspect_still(&browser, &base, &page, &format!("{name} ({language})")).await?;
        }
    }
    browser.close().await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_of_a_login_inside_a_frame_are_as_readable_as_the_others() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set(driver).await?;
    let base = format!("http://{}", stage.server.address());
    let platform = stage.school.practice.registration();
    let browser = stage.driver.open(Screen::DESK, Scripts::On).await?;
    for (language, opening, window) in
        [("en-US", "Opening", "One more step"), ("es-US", "Abriendo", "Un paso más")]
    {
        // Without cookies, as inside a frame that keeps none (the header is of Fetch Metadata, 2.1).
        let login = async |more: &[(&str, &str)]| {
            let query = [
                ("iss", platform.issuer.as_str()),
                ("client_id", &platform.client_id),
                ("login_hint", "p-01"),
                ("target_link_uri", &base),
            ];
            let request = reqwest::Client::new().get(format!("{base}/lti/login")).query(&query).query(more);
            let request = request.header("Accept-Language", language).header("Sec-Fetch-Dest", "iframe");
            request.send().await?.text().await
        };
        for (more, heading) in [(&[("lti_storage_target", "_parent")][..], opening), (&[], window)] {
            let page = login(more).await?;
            ensure!(page.contains(&format!("<h1>{heading}</h1>")), "not the page '{heading}': {page}");
            looks::inspect_still(&browser, &base, &page, &format!("{heading} ({language})")).await?;
        }
    }
    browser.close().await?;
    stage.server.stop().await;
    Ok(())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_typed_is_lost_when_the_network_is_cut_and_the_browser_killed() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set(driver).await?;
    let en = english();
    let pupil = stage.driver.open(Screen::DESK, Scripts::On).await?;
    stage.open(&pupil, "p-05", ENGLISH_ALL).await?;
    pupil.click(Locator::XPath(&button(en.start))).await?;
    pupil.find(Locator::Css("form[data-attempt]")).await?;
    let items = questions_on(&pupil, &en.pool).await?;
    let [first, second] = [field(0, items[0], 0), field(1, items[1], 0)];

    pupil.fill(&input(&first), "271.8").await?;
    wait_for("the first answer at the service", KEPT_WITHIN, async || {
        let stored = stage.stored(&pupil, "p-05").await.ok()?.responses;
        (stored.get(items[0].id.as_str())?.values().next()? == "271.8").then_some(())
    })
    .await;

    pupil.cut_off(true).await?;
    pupil.fill(&input(&second), "314.15").await?;
    pupil.fill(&input(&first), "271.82").await?;
    expect_line(&pupil, "No connection: your answers are kept on this computer").await?;
    pupil.click(Locator::XPath(&button(en.hand_in))).await?;
    expect_line(&pupil, "Not handed in: there is no connection.").await?;
    picture(&pupil, "no-connection").await?;
    wait_for("the answers on the disk", KEPT_WITHIN, async || {
        let kept = |text: &str| pupil.keeps_on_disk(text).unwrap();
        (kept("\"271.82\"") && kept("\"314.15\"")).then_some(())
    })
    .await;
    let before = stage.stored(&pupil, "p-05").await?;
    ensure!(!format!("{:?}", before.responses).contains("314.15"), "the service was cut off");
    let profile = pupil.kill().await?;

    let pupil = stage.driver.open_again(profile, Screen::DESK).await?;
    stage.open(&pupil, "p-05", ENGLISH_ALL).await?;
    pupil.click(Locator::LinkText("Go on with your attempt")).await?;
    for (field, text) in [(&first, "271.82"), (&second, "314.15")] {
        wait_for("the answer to be back in its field", KEPT_WITHIN, async || {
            let shown = pupil.find(Locator::Css(&input(field))).await.ok()?.prop("value").await.ok()??;
            (shown == text).then_some(())
        })
        .await;
    }
    expect_line(&pupil, "What you typed before the connection broke is here again.").await?;
    let after = stage.stored(&pupil, "p-05").await?;
    let stored = format!("{:?}", after.responses);
    ensure!(stored.contains("\"271.82\"") && stored.contains("\"314.15\""), "the service has {stored}");

    pupil.click(Locator::XPath(&button(en.hand_in))).await?;
    pupil.click(Locator::XPath(&button(en.hand_in_anyway))).await?;
    pupil.find(Locator::Css("[data-handed-in]")).await?;
    let kept =
        pupil.run("return Object.keys(localStorage).filter(key => key.startsWith('tenths:')).length").await?;
    ensure!(kept == 0, "{kept} entries are left in the browser");
    ensure!(stage.stored(&pupil, "p-05").await?.result.is_some(), "it is handed in");
    pupil.close().await?;
    stage.server.stop().await;
    Ok(())
}

/// Answers a question with its key, by keys alone.
async fn by_keys(pupil: &Browser, index: usize, item: &Item) -> Result<()> {
    answer(pupil, index, item, &item.right_responses()).await
}

/// Writes the first answer into the grid, with a slip that is taken back; the plain field shows it.
async fn by_grid(pupil: &Browser, item: &Item) -> Result<()> {
    let [step] = item.steps.as_slice() else { return by_keys(pupil, 0, item).await };
    ensure!(step.kind == StepKind::Number, "the first question asks for a number");
    let response = step.answer.to_string();
    let anchor = format!("q1-{}", step.id);
    let toggle = format!("button[data-grid='{anchor}']");
    pupil.tab_to(Locator::Css(&toggle)).await?;
    if pupil.find(Locator::Css(&toggle)).await?.attr("aria-expanded").await?.as_deref() == Some("true") {
        // It was open on the last page, so it is on this one.
        pupil.press(keys::TAB).await?;
    } else {
        pupil.press(keys::ENTER).await?;
    }
    // The grid begins at the tens.
    let whole = response.split('.').next().unwrap_or_default().len();
    for _ in whole..2 {
        pupil.press(keys::RIGHT).await?;
    }
    for _ in 2..whole {
        pupil.press(keys::LEFT).await?;
    }
    pupil.press("7").await?;
    pupil.press(keys::BACKSPACE).await?;
    pupil.press(&response).await?;
    let shown = pupil.find(Locator::Css(&format!("#{anchor}"))).await?.prop("value").await?;
    ensure!(shown.as_deref() == Some(response.as_str()), "the field shows {shown:?}, not {response}");
    Ok(())
}

/// Writes the first answer into the grid of a narrow phone: a tap opens it, a tap chooses a place, each as large as a
/// finger.
async fn by_touch(pupil: &Browser, item: &Item) -> Result<()> {
    let [step] = item.steps.as_slice() else { return by_keys(pupil, 0, item).await };
    let response = step.answer.to_string();
    let anchor = format!("q1-{}", step.id);
    pupil.resize(looks::SCREENS[0]).await?;
    pupil.touched(true).await?;
    let toggle = format!("button[data-grid='{anchor}']");
    if pupil.find(Locator::Css(&toggle)).await?.attr("aria-expanded").await?.as_deref() != Some("true") {
        pupil.tap(&toggle).await?;
    }
    pupil.find(Locator::Css(".place-grid input")).await?;
    // 44 CSS pixels each way: WCAG 2.2, 2.5.5 (AAA), for whom small places are hardest.
    let small = "return [...document.querySelectorAll('.place-grid label:not([hidden]) input')]
        .map(cell => cell.getBoundingClientRect()).filter(box => box.width < 43.9 || box.height < 43.9).length";
    ensure!(pupil.run(small).await? == 0, "a place of the grid is smaller than a finger");
    // The grid begins at the tens.
    let whole = response.split('.').next().unwrap_or_default().len();
    let first = if whole == 1 { 2 } else { 1 };
    let mark = format!(
        "document.querySelectorAll('[data-grid-of=\"{anchor}\"] .place-grid label:not([hidden]) input')[{}].id = 'tapped'",
        first - 1
    );
    pupil.run(&mark).await?;
    pupil.tap("#tapped").await?;
    for _ in 2..whole {
        pupil.press(keys::LEFT).await?;
    }
    pupil.press(&response).await?;
    let shown = pupil.find(Locator::Css(&format!("#{anchor}"))).await?.prop("value").await?;
    ensure!(shown.as_deref() == Some(response.as_str()), "the field shows {shown:?}, not {response}");
    pupil.touched(false).await?;
    pupil.resize(pupil.screen()).await
}

/// Everything that a result page tells stands on paper, too.
async fn prints_whole(pupil: &Browser, name: &str) -> Result<()> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("quiz");
    std::fs::create_dir_all(&folder)?;
    let file = folder.join(format!("result-{name}.pdf"));
    std::fs::write(&file, pupil.printed().await?)?;
    let Some(printed) = poppler("pdftotext", &[], &file) else { return Ok(()) };
    let printed = squeezed(&printed);
    for told in pupil.texts("h1, .score, .card h2, .story, .steps h3, .typed, .verdict").await? {
        ensure!(printed.contains(&squeezed(&told)), "'{told}' is not on paper: {printed}");
    }
    Ok(())
}

/// The pool's items that a page asks, by the stories it tells, in order.
async fn questions_on<'a>(pupil: &Browser, pool: &'a Pool) -> Result<Vec<&'a Item>> {
    let told = pupil.texts("section.card .story").await?;
    // A no-break space between a number and its unit is shown as such.
    let find = |story: &String| pool.items().find(|item| item.stem == story.replace('\u{a0}', " "));
    told.iter().map(|story| find(story).with_context(|| format!("not from the pool: {story}"))).collect()
}

/// Name of the field of a step; both counted from 0.
fn field(question: usize, item: &Item, step: usize) -> String {
    format!("q{}.{}", question + 1, item.steps[step].id)
}

fn input(field: &str) -> String {
    format!("input[name='{field}']")
}

/// Waits until the line below the questions says that.
async fn expect_line(pupil: &Browser, text: &str) -> Result<()> {
    wait_for(text, KEPT_WITHIN, async || {
        let shown = pupil.text(".keep").await.ok()?;
        shown.contains(text).then_some(())
    })
    .await;
    Ok(())
}

/// The result shows all points of these questions.
async fn expect_points(pupil: &Browser, items: &[&Item]) -> Result<()> {
    let points: u32 = items.iter().map(|item| item.max_points()).sum();
    let shown = pupil.text("[data-handed-in] .score strong").await?;
    ensure!(shown == points.to_string(), "the result shows {shown} points, not {points}");
    Ok(())
}

/// Pictures on a narrow phone and on a small laptop.
async fn pictures(browser: &Browser, name: &str) -> Result<()> {
    for screen in [looks::SCREENS[0], looks::SCREENS[2]] {
        browser.resize(screen).await?;
        picture(browser, &format!("{name}-{}", screen.width)).await?;
    }
    browser.resize(browser.screen()).await
}

/// A picture at 400 %; that nothing is too wide is seen to at every look.
async fn zoomed(browser: &Browser, name: &str) -> Result<()> {
    browser.resize(looks::ZOOMED).await?;
    picture(browser, name).await?;
    browser.resize(browser.screen()).await
}

/// Keeps a picture for people to look at, outside the tree.
async fn picture(browser: &Browser, name: &str) -> Result<()> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("quiz");
    std::fs::create_dir_all(&folder)?;
    Ok(std::fs::write(folder.join(format!("{name}.png")), browser.picture().await?)?)
}

/// Closes a browser that had nothing to complain about.
async fn leave(browser: Browser) -> Result<()> {
    let complaints = browser.complaints().await?;
    ensure!(complaints.is_empty(), "the browser complains: {complaints:?}");
    browser.close().await
}

/// Finds the button that says `text`.
fn button(text: &str) -> String {
    format!("//button[normalize-space()='{text}']")
}
