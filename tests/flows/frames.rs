//! A pupil takes a whole quiz inside a frame of the platform, in a real browser that keeps fewer and fewer cookies there.
//!
//! The platform is `127.0.0.1`, the service `localhost`: two sites to a browser. What each browser keeps is looked at
//! first, so that no case passes because nothing was blocked. Checklist 1.9; postMessage storage from memory.

use std::net::{Ipv4Addr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Cookies, Driver, Screen, Scripts};
use conformance::school::{School, pool};
use conformance::wait_for;
use fantoccini::Locator;
use qbank::pool::Pool;
use qbank::question::StepKind;
use service::clock::{Clock, SystemClock};
use service::practice::{MessageStorage, Person};
use service::server::Server;
use service::settings::{ServeArguments, Settings};
use service::storage::{self, Actor, Change, ClientId, DeploymentId, NewRegistration, StoredPool};
use url::Url;

/// The frame of an activity on the platform's page.
const ACTIVITY: &str = "main iframe";
/// How long a grade may take into the gradebook.
const GRADE_WITHIN: Duration = Duration::from_secs(20);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_pupil_takes_a_quiz_in_a_frame_whatever_the_browser_keeps() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set(driver).await?;
    stage.nothing_is_blocked_by_itself().await.context("a browser that keeps all cookies")?;
    stage.storage_and_partitioned_cookies().await.context("storage, then a partitioned cookie")?;
    stage.partitioned_cookies_alone().await.context("partitioned cookies, no storage")?;
    stage.storage_alone().await.context("storage, no cookies")?;
    stage.neither().await.context("neither storage nor cookies")?;
    stage.no_scripts().await.context("no scripts")?;
    stage.platforms_that_answer_wrongly().await.context("wrong answers")?;
    stage.server.stop().await;
    Ok(())
}

/// Service and platform on two sites, with a placed quiz.
struct Stage {
    server: Server,
    school: School,
    tool: String,
    driver: Driver,
    pool: Pool,
}

impl Stage {
    async fn set(driver: Driver) -> Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        listener.set_nonblocking(true)?;
        let listen = listener.local_addr()?;
        let tool = format!("http://localhost:{}", listen.port());
        // One for each way to a whole quiz, so that each grade is of its own way.
        let pupils = ["p-01", "p-02", "p-03", "p-04"];
        let person = |id: &str| Person { id: id.into(), name: format!("Pupil {id}") };
        let school = School::open_for(&tool, pupils.map(person).into()).await;
        let (store, pool) = (storage::open("sqlite::memory:")?, pool());
        store.put_pool(StoredPool::of(&pool)).await?;
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
        let server =
            Server::start(listener, Settings::check(arguments)?, store, Arc::new(SystemClock)).await?;
        school.place_quiz().await;
        Ok(Self { server, school, tool, driver, pool })
    }

    async fn browser(&self, cookies: &Cookies) -> Result<Browser> {
        self.driver.open_keeping(Screen::DESK, Scripts::On, cookies).await
    }

    fn no_cookies_in_frames(&self) -> Cookies {
        let outer = self.school.practice.base_url().to_owned();
        Cookies::NoneInFrames { inner: self.tool.clone(), outer }
    }

    /// Opens the quiz in a frame and goes on inside it.
    async fn open_in_frame(&self, browser: &Browser, pupil: &str) -> Result<()> {
        browser.open(&format!("{}/course?as={pupil}", self.school.practice.base_url())).await?;
        browser.click(Locator::LinkText("Open in a frame")).await?;
        browser.enter_frame(ACTIVITY).await
    }

    /// Takes the quiz from its first page to the result, all right, and waits for the grade.
    async fn take_quiz(&self, browser: &Browser, pupil: &str) -> Result<()> {
        browser.click(Locator::Css("section[aria-label='About this quiz'] form button")).await?;
        let told = browser.texts("section.card .story").await?;
        let mut points = 0;
        for (number, story) in (1..).zip(&told) {
            let item = self.pool.items().find(|item| item.stem == *story);
            let item = item.with_context(|| format!("not from the pool: {story}"))?;
            let responses = item.right_responses();
            points += item.max_points();
            for step in &item.steps {
                let (field, response) = (format!("q{number}.{}", step.id), &responses[step.id.as_str()]);
                match step.kind {
                    StepKind::Choice => {
                        // The box itself is hidden below its label.
                        let choice = format!("//label[input[@name='{field}'][@value='{response}']]");
                        browser.click(Locator::XPath(&choice)).await?;
                    }
                    _ => browser.fill(&format!("input[name='{field}']"), response).await?,
                }
            }
        }
        browser.click(Locator::XPath("//button[normalize-space()='Hand in']")).await?;
        let shown = browser.text("section[aria-label='Your points'] .score strong").await?;
        ensure!(shown == points.to_string(), "the result shows {shown} points, not {points}");
        wait_for("the grade", GRADE_WITHIN, async || self.has_grade(pupil, points).then_some(())).await;
        Ok(())
    }

    /// Whether the gradebook holds these points of the pupil.
    fn has_grade(&self, pupil: &str, points: u32) -> bool {
        let gradebook = self.school.practice.gradebook();
        let row = gradebook.rows.iter().find(|row| row.pupil.id == pupil);
        let cells = row.into_iter().flat_map(|row| row.cells.iter().flatten());
        cells.filter_map(|cell| cell.points).any(|held| held.to_string() == points.to_string())
    }
}

/// What the service's page inside the frame may keep, as its own scripts would see it: third-party cookies, and
/// partitioned ones.
async fn kept_cookies(browser: &Browser) -> Result<(bool, bool)> {
    let script = "document.cookie = 'plain=1; SameSite=None; Secure'; \
                  document.cookie = 'divided=1; SameSite=None; Secure; Partitioned'; return document.cookie;";
    let seen = browser.run(script).await?;
    let seen = seen.as_str().context("cookies are text")?;
    Ok((seen.contains("plain=1"), seen.contains("divided=1")))
}

async fn expect_kept(browser: &Browser, expected: (bool, bool)) -> Result<()> {
    browser.find(Locator::Css("header.top .brand")).await?;
    let kept = kept_cookies(browser).await?;
    ensure!(kept == expected, "(third-party, partitioned) cookies are kept: {kept:?}, expected {expected:?}");
    Ok(())
}

/// How many values the platform's page keeps for the activity; seen from the page.
async fn values_kept(browser: &Browser) -> Result<String> {
    browser.leave_frame().await?;
    let kept = browser.text("#kept").await?;
    browser.enter_frame(ACTIVITY).await?;
    Ok(kept)
}

/// Closes a browser that had nothing to complain about: no policy was broken, no file missed, no script failed.
async fn leave(browser: Browser) -> Result<()> {
    let complaints = browser.complaints().await?;
    ensure!(complaints.is_empty(), "the browser complains: {complaints:?}");
    browser.close().await
}

/// Keeps a picture for people to look at, outside the tree.
async fn picture(browser: &Browser, name: &str) -> Result<()> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("frames");
    std::fs::create_dir_all(&folder)?;
    Ok(std::fs::write(folder.join(format!("{name}.png")), browser.picture().await?)?)
}

/// The cases.
impl Stage {
    /// The control: without the settings below, a frame may keep every cookie.
    async fn nothing_is_blocked_by_itself(&self) -> Result<()> {
        let browser = self.browser(&Cookies::All).await?;
        self.open_in_frame(&browser, "p-01").await?;
        browser.find(Locator::Css("section[aria-label='About this quiz']")).await?;
        expect_kept(&browser, (true, true)).await?;
        browser.close().await
    }

    /// Third-party cookies are blocked, and the login's cookie is lost on the way: what a frame beside the activity
    /// keeps shows that it is the same browser. The session has a partitioned cookie.
    async fn storage_and_partitioned_cookies(&self) -> Result<()> {
        let practice = &self.school.practice;
        practice.set_message_storage(MessageStorage::InFrame);
        practice.hold_launches(true);
        let browser = self.browser(&Cookies::Partitioned).await?;
        self.open_in_frame(&browser, "p-01").await?;
        let go_on = Locator::XPath("//button[normalize-space()='Continue']");
        browser.find(go_on).await?;
        browser.forget_cookies().await?;
        browser.click(go_on).await?;
        browser.find(Locator::Css("section[aria-label='About this quiz']")).await?;
        practice.hold_launches(false);
        expect_kept(&browser, (false, true)).await?;
        self.take_quiz(&browser, "p-01").await?;
        picture(&browser, "a-storage-and-partitioned-cookie").await?;
        leave(browser).await
    }

    /// The platform offers to keep values and never answers: a partitioned cookie shows that it is the same browser.
    async fn partitioned_cookies_alone(&self) -> Result<()> {
        self.school.practice.set_message_storage(MessageStorage::Silent);
        let browser = self.browser(&Cookies::Partitioned).await?;
        self.open_in_frame(&browser, "p-03").await?;
        browser.find(Locator::Css("section[aria-label='About this quiz']")).await?;
        expect_kept(&browser, (false, true)).await?;
        ensure!(values_kept(&browser).await? == "0", "the platform keeps nothing");
        self.take_quiz(&browser, "p-03").await?;
        picture(&browser, "b-partitioned-cookie").await?;
        leave(browser).await
    }

    /// No cookie sticks in the frame: the launch is shown to be this browser's by what the platform keeps, and a window
    /// of its own takes the session over.
    async fn storage_alone(&self) -> Result<()> {
        self.school.practice.set_message_storage(MessageStorage::Working);
        let browser = self.browser(&self.no_cookies_in_frames()).await?;
        self.open_in_frame(&browser, "p-02").await?;
        let open = Locator::XPath("//form[@action='/lti/window']//button");
        browser.find(open).await?;
        expect_kept(&browser, (false, false)).await?;
        ensure!(values_kept(&browser).await? == "2", "the platform keeps both values");
        browser.leave_frame().await?;
        picture(&browser, "d-window-by-ticket").await?;
        browser.enter_frame(ACTIVITY).await?;
        browser.click(open).await?;
        browser.enter_window(1).await?;
        self.take_quiz(&browser, "p-02").await?;
        picture(&browser, "d-in-the-window").await?;
        leave(browser).await
    }

    /// No cookie sticks in the frame and the platform offers nothing: the login begins anew in a window of its own.
    async fn neither(&self) -> Result<()> {
        self.school.practice.set_message_storage(MessageStorage::NotOffered);
        let browser = self.browser(&self.no_cookies_in_frames()).await?;
        self.open_in_frame(&browser, "p-04").await?;
        let open = Locator::LinkText("Open in a new window");
        browser.find(open).await?;
        expect_kept(&browser, (false, false)).await?;
        browser.leave_frame().await?;
        picture(&browser, "c-window-by-login").await?;
        browser.enter_frame(ACTIVITY).await?;
        browser.click(open).await?;
        browser.enter_window(1).await?;
        self.take_quiz(&browser, "p-04").await?;
        picture(&browser, "c-in-the-window").await?;
        leave(browser).await
    }

    /// Without scripts the platform cannot be asked, but a cookie can be tried by following a link.
    async fn no_scripts(&self) -> Result<()> {
        self.school.practice.set_message_storage(MessageStorage::Working);
        let browser = self.driver.open_keeping(Screen::DESK, Scripts::Off, &Cookies::Partitioned).await?;
        self.open_in_frame(&browser, "p-01").await?;
        browser.click(Locator::LinkText("Continue, if nothing happens")).await?;
        browser.click(Locator::XPath("//button[normalize-space()='Continue']")).await?;
        browser.find(Locator::Css("section[aria-label='About this quiz']")).await?;
        browser.close().await
    }

    /// Another site opens our login and listens: it learns what we ask the platform for, and no value.
    async fn a_stranger_hears_nothing(&self, browser: &Browser) -> Result<()> {
        // The platform's server under another name is another site.
        let stranger = self.school.practice.base_url().replace("127.0.0.1", "localhost");
        browser.open(&stranger).await?;
        let issuer = self.school.practice.base_url();
        let script = format!(
            "window.heard = []; addEventListener('message', (event) => window.heard.push(event.data.subject));
             window.open('{tool}/lti/login?lti_storage_target=_parent&login_hint=h&iss={issuer}'
                 + '&target_link_uri={tool}/lti/launch', 'stranger'); return true;",
            tool = self.tool,
        );
        browser.run(&script).await?;
        // The login goes on by its cookie when nobody has answered; the platform knows nothing of it and declines.
        browser.enter_window(1).await?;
        let check = browser.text("code.code").await?;
        ensure!(check == "platform_error", "the login ended with '{check}'");
        browser.enter_window(0).await?;
        let heard = browser.run("return window.heard;").await?;
        let expected = serde_json::json!(["lti.capabilities", "org.imsglobal.lti.capabilities"]);
        ensure!(heard == expected, "the stranger heard {heard}");
        Ok(())
    }

    /// Answers that do not count are as good as none; changed values refuse the launch (row 10 of 1.4).
    async fn platforms_that_answer_wrongly(&self) -> Result<()> {
        let browser = self.browser(&self.no_cookies_in_frames()).await?;
        let late = MessageStorage::Slow { delay_ms: 3000 };
        for storage in [MessageStorage::WrongOrigin, MessageStorage::WrongMessageId, late] {
            self.school.practice.set_message_storage(storage);
            self.open_in_frame(&browser, "p-02").await?;
            let offered = browser.find(Locator::LinkText("Open in a new window")).await;
            offered.with_context(|| format!("{storage:?}"))?;
        }
        self.school.practice.set_message_storage(MessageStorage::OtherValues);
        self.open_in_frame(&browser, "p-02").await?;
        let check = browser.text("code.code").await?;
        ensure!(check == "browser", "the refusal names the check '{check}'");
        browser.leave_frame().await?;
        picture(&browser, "e-refused").await?;
        self.a_stranger_hears_nothing(&browser).await.context("a stranger")?;
        browser.close().await
    }
}
