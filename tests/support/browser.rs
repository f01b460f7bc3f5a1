//! A real browser for tests: headless Chromium, driven over WebDriver.
//!
//! A [`Driver`] is one chromedriver process on a port of its own; it opens any number of [`Browser`]s, each with its
//! own profile, and takes them along when it is dropped, also when a test fails. A browser can be used with keys alone
//! ([`Browser::tab_to`], [`Browser::press`]).
//!
//! It knows nothing of the pages it shows, and never sleeps: it waits for elements, for at most [`WITHIN`].

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};
use std::{env, fs};

use anyhow::{Context, Result, bail, ensure};
use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::wd::{PrintConfiguration, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use reqwest::{Method, Url};
use serde_json::{Value, json};
use tempfile::TempDir;

/// How long an element may take to appear.
pub const WITHIN: Duration = Duration::from_secs(15);
/// How often to look for it.
const EVERY: Duration = Duration::from_millis(40);
/// How many presses of Tab may lie between two fields.
const MOST_TABS: usize = 60;

/// The keys that are no letters, as WebDriver writes them.
pub mod keys {
    /// Moves the focus to the next control.
    pub const TAB: &str = "\u{e004}";
    /// Presses the focused button or follows the focused link.
    pub const ENTER: &str = "\u{e007}";
    /// Ticks the focused choice.
    pub const SPACE: &str = " ";
    /// Moves to the next choice of a group.
    pub const DOWN: &str = "\u{e015}";
    /// Moves to the left.
    pub const LEFT: &str = "\u{e012}";
    /// Moves to the right.
    pub const RIGHT: &str = "\u{e014}";
    /// Deletes to the left.
    pub const BACKSPACE: &str = "\u{e003}";
    /// Counts a number one up.
    pub const UP: &str = "\u{e013}";
}

/// The part of a page that can be seen at once.
#[derive(Debug, Clone, Copy)]
pub struct Screen {
    /// Width in CSS pixels.
    pub width: u32,
    /// Height in CSS pixels.
    pub height: u32,
    /// Pixels of a picture per CSS pixel.
    pub density: u32,
}

impl Screen {
    /// A window on a desk.
    pub const DESK: Self = Self { width: 1000, height: 860, density: 1 };
    /// A narrow phone.
    pub const PHONE: Self = Self { width: 360, height: 740, density: 2 };
}

/// Whether pages may run scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scripts {
    /// They may.
    On,
    /// They may not, as a school's policy can demand.
    Off,
}

/// Which cookies of pages inside another site's pages the browser keeps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cookies {
    /// All of them.
    All,
    /// Only those that are partitioned by the page around.
    Partitioned,
    /// None of `inner` inside pages of `outer`, both origins; in windows of its own `inner` may keep them.
    NoneInFrames {
        /// The origin inside.
        inner: String,
        /// The origin around.
        outer: String,
    },
}

impl Cookies {
    /// The browser's settings for that. All but the first also keep third-party cookies out.
    fn preferences(&self) -> Value {
        // 1 is 'block third-party cookies'; 2 of a content setting is 'block'.
        match self {
            Self::All => json!({"cookie_controls_mode": 0}),
            Self::Partitioned => json!({"cookie_controls_mode": 1, "block_third_party_cookies": true}),
            Self::NoneInFrames { inner, outer } => json!({
                "cookie_controls_mode": 1,
                "block_third_party_cookies": true,
                "content_settings": {"exceptions": {"cookies": {format!("{inner},{outer}"): {"setting": 2}}}},
            }),
        }
    }
}

/// A running chromedriver.
pub struct Driver {
    process: Child,
    /// Held open, so that the driver can always write to it.
    _output: BufReader<ChildStdout>,
    port: u16,
    chromium: PathBuf,
    profiles: TempDir,
}

/// An open browser with one page.
pub struct Browser {
    client: Client,
    screen: Screen,
    scripts: Scripts,
    profile: PathBuf,
}

impl Driver {
    /// Starts chromedriver. `None`, with a line on stderr, if it or Chromium is not installed.
    ///
    /// # Errors
    /// If the driver does not start.
    ///
    /// # Panics
    /// If a program is missing while `CI=true`, where nothing may be skipped.
    pub fn start() -> Result<Option<Self>> {
        let (Some(chromium), Some(chromedriver)) = (installed("chromium"), installed("chromedriver")) else {
            crate::skip("the browser test", "chromium and chromedriver are not installed");
            return Ok(None);
        };
        let mut process = Command::new(chromedriver)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .context("chromedriver could not be started")?;
        let output = process.stdout.take().context("chromedriver has no output")?;
        let mut driver = Self {
            process,
            _output: BufReader::new(output),
            port: 0,
            chromium,
            profiles: TempDir::with_prefix("tenths-browser-")?,
        };
        driver.port = driver.announced_port()?;
        Ok(Some(driver))
    }

    /// Opens a browser with an empty profile.
    ///
    /// # Errors
    /// If the browser does not start.
    pub async fn open(&self, screen: Screen, scripts: Scripts) -> Result<Browser> {
        self.open_keeping(screen, scripts, &Cookies::All).await
    }

    /// Opens a browser with an empty profile that keeps these cookies inside frames.
    ///
    /// # Errors
    /// If the browser does not start.
    pub async fn open_keeping(&self, screen: Screen, scripts: Scripts, cookies: &Cookies) -> Result<Browser> {
        let profile = TempDir::new_in(self.profiles.path())?.keep();
        self.open_profile(profile, screen, scripts, cookies).await
    }

    /// Opens the browser again that a profile belongs to, as after a crash.
    ///
    /// # Errors
    /// If the browser does not start.
    pub async fn open_again(&self, profile: PathBuf, screen: Screen) -> Result<Browser> {
        self.open_profile(profile, screen, Scripts::On, &Cookies::All).await
    }

    async fn open_profile(
        &self,
        profile: PathBuf,
        screen: Screen,
        scripts: Scripts,
        cookies: &Cookies,
    ) -> Result<Browser> {
        let Value::Object(capabilities) = self.capabilities(&profile, screen, scripts, cookies) else {
            bail!("capabilities are a JSON object");
        };
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .context("chromium could not be opened")?;
        Ok(Browser { client, screen, scripts, profile })
    }

    fn capabilities(&self, profile: &Path, screen: Screen, scripts: Scripts, cookies: &Cookies) -> Value {
        let arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
            "--lang=en-US",
        ];
        let mut arguments = arguments.map(str::to_owned).to_vec();
        arguments.push(format!("--user-data-dir={}", profile.display()));
        let scripts = if scripts == Scripts::On { 1 } else { 2 };
        let mut preferences = json!({"managed_default_content_settings": {"javascript": scripts}});
        if let (Value::Object(all), Value::Object(more)) = (&mut preferences, cookies.preferences()) {
            all.extend(more);
        }
        json!({
            "browserName": "chrome",
            "goog:loggingPrefs": {"browser": "ALL"},
            "goog:chromeOptions": {
                "binary": self.chromium,
                "args": arguments,
                "prefs": {"profile": preferences},
                // Not a "mobile" one: that would zoom out from a page that is too wide instead of showing it.
                "mobileEmulation": {"deviceMetrics": {
                    "width": screen.width,
                    "height": screen.height,
                    "pixelRatio": screen.density,
                    "mobile": false,
                    "touch": false,
                }},
            },
        })
    }

    /// The port that the driver chose, from the line that says so.
    fn announced_port(&mut self) -> Result<u16> {
        let mut line = String::new();
        while self._output.read_line(&mut line)? > 0 {
            if let Some((_, port)) =
                line.trim_end().trim_end_matches('.').split_once("started successfully on port ")
                && let Ok(port) = port.parse()
            {
                return Ok(port);
            }
            line.clear();
        }
        bail!("chromedriver ended without naming its port")
    }

    /// Asks the driver to close all browsers and end.
    fn shut_down(&self) -> std::io::Result<()> {
        let mut connection = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port))?;
        connection.set_read_timeout(Some(WITHIN))?;
        connection.write_all(b"GET /shutdown HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")?;
        connection.read_to_end(&mut Vec::new()).map(drop)
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // A driver that was killed would leave its browsers behind; killing is for one that does not answer.
        if self.port == 0 || self.shut_down().is_err() {
            let _ = self.process.kill();
        }
        let _ = self.process.wait();
    }
}

impl Browser {
    /// Whether pages may run scripts here.
    pub fn scripts(&self) -> Scripts {
        self.scripts
    }

    /// Opens an address.
    ///
    /// # Errors
    /// If nothing answers there.
    pub async fn open(&self, address: &str) -> Result<()> {
        self.client.goto(address).await.with_context(|| format!("{address} could not be opened"))
    }

    /// Loads the page again.
    ///
    /// # Errors
    /// If nothing answers any more.
    pub async fn reload(&self) -> Result<()> {
        Ok(self.client.refresh().await?)
    }

    /// The first such element, once it is there.
    ///
    /// # Errors
    /// If it does not appear [`WITHIN`] the limit; the error tells which page is shown instead.
    pub async fn find(&self, locator: Locator<'_>) -> Result<Element> {
        let until = Instant::now() + WITHIN;
        loop {
            let error = match self.client.wait().at_most(WITHIN).every(EVERY).for_element(locator).await {
                Ok(element) => return Ok(element),
                Err(error) => error,
            };
            // A page that goes on by itself can end a look at it; the next look sees the next page.
            if error.to_string().contains("aborted by navigation") && Instant::now() < until {
                tokio::time::sleep(EVERY).await;
                continue;
            }
            let page = self.client.current_url().await?;
            let title = self.client.title().await?;
            return Err(error).with_context(|| format!("'{title}' ({}) has no {locator:?}", page.path()));
        }
    }

    /// The texts of all elements of a CSS selector, as shown, once there is one.
    ///
    /// # Errors
    /// If none appears.
    pub async fn texts(&self, selector: &str) -> Result<Vec<String>> {
        self.find(Locator::Css(selector)).await?;
        let mut texts = Vec::new();
        for element in self.client.find_all(Locator::Css(selector)).await? {
            texts.push(self.seen(&element).await?);
        }
        Ok(texts)
    }

    /// The text of the first element of a CSS selector, as shown.
    ///
    /// # Errors
    /// If none appears.
    pub async fn text(&self, selector: &str) -> Result<String> {
        let element = self.find(Locator::Css(selector)).await?;
        self.seen(&element).await
    }

    /// The text of an element without what only voices say.
    async fn seen(&self, element: &Element) -> Result<String> {
        let script = "const spoken = arguments[0].querySelectorAll('.spoken');
            spoken.forEach(words => { words.hidden = true; });
            const seen = arguments[0].innerText;
            spoken.forEach(words => { words.hidden = false; });
            return seen.replaceAll('\\u00a0', ' ').trim();";
        let seen = self.client.execute(script, vec![serde_json::to_value(element)?]).await?;
        Ok(seen.as_str().unwrap_or_default().to_owned())
    }

    /// Clicks an element.
    ///
    /// # Errors
    /// If it does not appear or is covered.
    pub async fn click(&self, locator: Locator<'_>) -> Result<()> {
        Ok(self.find(locator).await?.click().await?)
    }

    /// Types over what a field holds.
    ///
    /// # Errors
    /// If the field does not appear.
    pub async fn fill(&self, selector: &str, text: &str) -> Result<()> {
        let field = self.find(Locator::Css(selector)).await?;
        field.clear().await?;
        Ok(field.send_keys(text).await?)
    }

    /// Presses one key after the other, wherever the focus is.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn press(&self, keys: &str) -> Result<()> {
        let strokes = keys.chars().fold(KeyActions::new("keyboard".into()), |strokes, value| {
            strokes.then(KeyAction::Down { value }).then(KeyAction::Up { value })
        });
        Ok(self.client.perform_actions(strokes).await?)
    }

    /// Moves the focus to an element with Tab alone.
    ///
    /// # Errors
    /// If the element does not appear, or Tab does not lead there.
    pub async fn tab_to(&self, locator: Locator<'_>) -> Result<()> {
        let target = self.find(locator).await?;
        for _ in 0..MOST_TABS {
            self.press(keys::TAB).await?;
            if self.client.active_element().await?.element_id() == target.element_id() {
                return Ok(());
            }
        }
        bail!("{MOST_TABS} presses of Tab do not lead to {locator:?}")
    }

    /// Chooses one of the choices of a field with keys alone.
    ///
    /// # Errors
    /// If there is no such choice.
    pub async fn choose_by_keys(&self, field: &str, value: &str) -> Result<()> {
        let first = format!("input[name='{field}']");
        self.tab_to(Locator::Css(&first)).await?;
        self.press(keys::SPACE).await?;
        let wanted = self.find(Locator::Css(&format!("{first}[value='{value}']"))).await?;
        let choices = self.client.find_all(Locator::Css(&first)).await?.len();
        for _ in 0..choices {
            if wanted.is_selected().await? {
                return Ok(());
            }
            self.press(keys::DOWN).await?;
        }
        bail!("the arrow keys do not lead to '{value}' of {field}")
    }

    /// Scrolls until an element is at the top. Needs scripts.
    ///
    /// # Errors
    /// If there is no such element.
    pub async fn scroll_to(&self, selector: &str) -> Result<()> {
        let script = "document.querySelector(arguments[0]).scrollIntoView();\
                      window.scrollBy(0, -16); document.activeElement.blur();";
        self.client.execute(script, vec![json!(selector)]).await?;
        Ok(())
    }

    /// Fails if the page is wider than the screen. Needs scripts.
    ///
    /// # Errors
    /// If it is, or the browser's own window is not as wide as asked.
    pub async fn fits(&self) -> Result<()> {
        let widths = "return [window.innerWidth, document.documentElement.scrollWidth];";
        let widths: [u32; 2] = serde_json::from_value(self.client.execute(widths, vec![]).await?)?;
        let [window, page] = widths;
        ensure!(window == self.screen.width, "the window is {window} wide, not {}", self.screen.width);
        let title = self.client.title().await?;
        ensure!(page <= window, "'{title}' is {page} wide on a screen of {window}");
        Ok(())
    }

    /// What can be seen now, as a PNG.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn picture(&self) -> Result<Vec<u8>> {
        Ok(self.client.screenshot().await?)
    }

    /// What can be seen of an element, as a PNG: less than the screen where a page is short.
    ///
    /// # Errors
    /// If there is no such element.
    pub async fn picture_of(&self, selector: &str) -> Result<Vec<u8>> {
        Ok(self.find(Locator::Css(selector)).await?.screenshot().await?)
    }

    /// The page as the browser prints it, a PDF.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn printed(&self) -> Result<Vec<u8>> {
        Ok(self.client.print(PrintConfiguration::default()).await?)
    }

    /// What was wrong with the pages so far, in the browser's own words: files that did not load, broken rules of a
    /// content policy, failed scripts.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn complaints(&self) -> Result<Vec<String>> {
        let log = self.client.issue_cmd(ReadLog).await?;
        let entries = log.as_array().context("the browser's log is a list")?.iter();
        let bad = entries.filter(|entry| matches!(entry["level"].as_str(), Some("SEVERE" | "WARNING")));
        Ok(bad.filter_map(|entry| entry["message"].as_str()).map(str::to_owned).collect())
    }

    /// Goes on inside a frame of the page, once it is there.
    ///
    /// # Errors
    /// If it does not appear.
    pub async fn enter_frame(&self, selector: &str) -> Result<()> {
        Ok(self.find(Locator::Css(selector)).await?.enter_frame().await?)
    }

    /// Goes on in the page around the frame.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn leave_frame(&self) -> Result<()> {
        Ok(self.client.enter_parent_frame().await?)
    }

    /// Goes on in another window, counted from 0 in the order of opening, once it is there.
    ///
    /// # Errors
    /// If it is not opened [`WITHIN`] the limit.
    pub async fn enter_window(&self, index: usize) -> Result<()> {
        let until = Instant::now() + WITHIN;
        loop {
            let windows = self.client.windows().await?;
            if let Some(window) = windows.get(index) {
                return Ok(self.client.switch_to_window(window.clone()).await?);
            }
            ensure!(Instant::now() < until, "there are {} windows, none with number {index}", windows.len());
            tokio::time::sleep(EVERY).await;
        }
    }

    /// Runs a script in the page and returns what it returns.
    ///
    /// # Errors
    /// If it fails.
    pub async fn run(&self, script: &str) -> Result<Value> {
        Ok(self.client.execute(script, vec![]).await?)
    }

    /// Runs a script that says by its last argument, a function, when it is done and with what.
    ///
    /// # Errors
    /// If it fails.
    pub async fn run_and_wait(&self, script: &str) -> Result<Value> {
        Ok(self.client.execute_async(script, vec![]).await?)
    }

    /// The screen that the browser was opened with.
    pub fn screen(&self) -> Screen {
        self.screen
    }

    /// Shows pages on another screen from now on.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn resize(&self, screen: Screen) -> Result<()> {
        let Screen { width, height, density } = screen;
        let metrics =
            json!({"width": width, "height": height, "deviceScaleFactor": density, "mobile": false});
        self.protocol("Emulation.setDeviceMetricsOverride", metrics).await
    }

    /// Tells pages which colours their reader prefers: media features with their values.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn colours(&self, features: Value) -> Result<()> {
        self.protocol("Emulation.setEmulatedMedia", json!({"features": features})).await
    }

    /// Lets pages believe that the screen is touched with fingers, or not any more.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn touched(&self, by_fingers: bool) -> Result<()> {
        self.protocol("Emulation.setTouchEmulationEnabled", json!({"enabled": by_fingers})).await
    }

    /// Taps the middle of an element with a finger; see [`Browser::touched`]. Needs scripts.
    ///
    /// # Errors
    /// If there is no such element.
    pub async fn tap(&self, selector: &str) -> Result<()> {
        let middle = "const element = document.querySelector(arguments[0]);
            element.scrollIntoView({block: 'center', inline: 'center', behavior: 'instant'});
            const box = element.getBoundingClientRect();
            return [box.left + box.width / 2, box.top + box.height / 2];";
        let middle = self.client.execute(middle, vec![json!(selector)]).await;
        let middle = middle.with_context(|| format!("{selector} cannot be tapped"))?;
        let at = json!([{"x": middle[0], "y": middle[1]}]);
        for (kind, points) in [("touchStart", at), ("touchEnd", json!([]))] {
            self.protocol("Input.dispatchTouchEvent", json!({"type": kind, "touchPoints": points})).await?;
        }
        Ok(())
    }

    /// Cuts the browser off the network, or puts it back.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn cut_off(&self, offline: bool) -> Result<()> {
        self.protocol("Network.enable", json!({})).await?;
        let conditions =
            json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
        self.protocol("Network.emulateNetworkConditions", conditions).await
    }

    /// One command of the browser's own protocol.
    async fn protocol(&self, command: &'static str, parameters: Value) -> Result<()> {
        self.client.issue_cmd(Protocol { command, parameters }).await?;
        Ok(())
    }

    /// Deletes all cookies of all sites.
    ///
    /// # Errors
    /// If the browser is gone.
    pub async fn forget_cookies(&self) -> Result<()> {
        self.protocol("Network.clearBrowserCookies", json!({})).await
    }

    /// Whether a text stands in what sites have had the browser keep on disk, as far as it is there by now.
    ///
    /// # Errors
    /// If the profile cannot be read.
    pub fn keeps_on_disk(&self, text: &str) -> Result<bool> {
        let folder = self.profile.join("Default/Local Storage/leveldb");
        let Ok(files) = fs::read_dir(folder) else { return Ok(false) };
        for file in files {
            // The browser may delete a file meanwhile.
            let bytes = fs::read(file?.path()).unwrap_or_default();
            if bytes.windows(text.len()).any(|window| window == text.as_bytes()) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Ends the browser as a power cut does: SIGKILL to its main process, no chance to finish anything. Returns the
    /// profile, for [`Driver::open_again`].
    ///
    /// # Errors
    /// If its process is not found, or does not end.
    pub async fn kill(self) -> Result<PathBuf> {
        let process = self.main_process()?;
        let killed = Command::new("kill").args(["-KILL", &process]).status()?;
        ensure!(killed.success(), "process {process} cannot be killed");
        let until = Instant::now() + WITHIN;
        while Path::new("/proc").join(&process).join("exe").exists() {
            ensure!(Instant::now() < until, "process {process} does not end");
            tokio::time::sleep(EVERY).await;
        }
        Ok(self.profile)
    }

    /// The process that has this profile and is not one of a browser's helpers.
    fn main_process(&self) -> Result<String> {
        let profile = format!("--user-data-dir={}", self.profile.display());
        for process in fs::read_dir("/proc")?.filter_map(Result::ok) {
            let Ok(command) = fs::read(process.path().join("cmdline")) else { continue };
            let command = String::from_utf8_lossy(&command);
            let mut arguments = command.split('\0');
            if arguments.clone().any(|one| one == profile) && !arguments.any(|one| one.starts_with("--type="))
            {
                return Ok(process.file_name().to_string_lossy().into_owned());
            }
        }
        bail!("no process has the profile {}", self.profile.display())
    }

    /// Closes the browser.
    ///
    /// # Errors
    /// If it is gone.
    pub async fn close(self) -> Result<()> {
        Ok(self.client.close().await?)
    }
}

/// Chromedriver's own command that hands over what pages wrote to the console.
#[derive(Debug)]
struct ReadLog;

impl WebDriverCompatibleCommand for ReadLog {
    fn endpoint(
        &self,
        base_url: &Url,
        session_id: Option<&str>,
    ) -> Result<Url, <Url as std::str::FromStr>::Err> {
        base_url.join(&format!("session/{}/se/log", session_id.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        (Method::POST, Some(json!({"type": "browser"}).to_string()))
    }
}

/// Chromedriver's way to the browser's own protocol.
#[derive(Debug)]
struct Protocol {
    command: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for Protocol {
    fn endpoint(
        &self,
        base_url: &Url,
        session_id: Option<&str>,
    ) -> Result<Url, <Url as std::str::FromStr>::Err> {
        base_url.join(&format!("session/{}/goog/cdp/execute", session_id.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        (Method::POST, Some(json!({"cmd": self.command, "params": self.parameters}).to_string()))
    }
}

/// Where a program is, by the search path.
fn installed(program: &str) -> Option<PathBuf> {
    let folders = env::var_os("PATH")?;
    env::split_paths(&folders).map(|folder| folder.join(program)).find(|path| path.is_file())
}
