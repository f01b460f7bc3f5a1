//! Looking at a page as a careful visitor would: by the rules for accessible pages, on three screens, by day and by
//! night, at 400 % and in the reader's own colours.
//!
//! The rules are those of WCAG 2.2, levels A and AA, as axe-core (npm) checks them; what a machine cannot see is looked
//! at in the pictures. `target/tmp/looks.txt` gets a line for each page: bytes and time to the first answer, both measured.
//! Which pages there are to look at is in [`crate::page_list`].

use std::collections::BTreeSet;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock, PoisonError};

use anyhow::{Context, Result, ensure};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::browser::{Browser, Screen};
use crate::page_list::{self, LOOKS, Look};

/// The screens: a narrow phone, a tablet, a small laptop.
pub const SCREENS: [Screen; 3] = [
    Screen { width: 360, height: 740, density: 1 },
    Screen { width: 768, height: 1024, density: 1 },
    Screen { width: 1366, height: 768, density: 1 },
];

/// A window of 1280 by 1024 pixels at 400 %: 320 CSS pixels wide, each four pixels of the screen (WCAG 2.2, 1.4.10).
pub const ZOOMED: Screen = Screen { width: 320, height: 256, density: 4 };

/// How the page's colours are chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colours {
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
    /// Dark on light, with more contrast.
    MoreContrast,
    /// The reader's own few colours, light on dark, as systems put them over every page.
    Forced,
}

impl Colours {
    fn media_features(self) -> Value {
        let (scheme, contrast, forced) = match self {
            Self::Light => ("light", "no-preference", "none"),
            Self::Dark => ("dark", "no-preference", "none"),
            Self::MoreContrast => ("light", "more", "none"),
            Self::Forced => ("dark", "custom", "active"),
        };
        json!([
            {"name": "prefers-color-scheme", "value": scheme},
            {"name": "prefers-contrast", "value": contrast},
            {"name": "forced-colors", "value": forced},
        ])
    }
}

/// Shows the page in other colours from now on; `None` for the browser's own.
///
/// # Errors
/// If the browser is gone.
pub async fn wear(browser: &Browser, colours: Option<Colours>) -> Result<()> {
    browser.colours(colours.map_or_else(|| json!([]), Colours::media_features)).await
}

/// What loading a page took.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct Load {
    /// Bytes of the page and all its files on the wire, headers included; files from the browser's cache count nothing.
    pub bytes: u64,
    /// The same unpacked, without headers, and with files from the cache.
    pub unpacked_bytes: u64,
    /// From asking for the page to the first byte of the answer, in ms.
    pub first_answer_ms: f64,
    /// Sum of all layout shifts (no unit; 0 is none).
    pub shifts: f64,
}

/// Looks at the page that is shown: no rule of accessibility broken, no complaint in the console, nothing that moved
/// while loading, nothing wider than the screen. Leaves the browser's screen and colours as they were.
///
/// Without axe-core its rules are skipped, with a line on stderr; in CI that is a failure.
///
/// # Errors
/// If anything of that is not so, or the page is not the one that has that `name` in the list of pages; tells the name,
/// the screen and what.
pub async fn inspect(browser: &Browser, name: &str) -> Result<Load> {
    let (look, language) = listed(browser, name).await?;
    let load = inspect_unlisted(browser, &format!("{name} ({language})")).await?;
    SEEN.lock().unwrap_or_else(PoisonError::into_inner).insert((look.name, language));
    Ok(load)
}

/// What this process has looked at: names of looks, with languages.
static SEEN: Mutex<BTreeSet<(&str, String)>> = Mutex::new(BTreeSet::new());

/// Fails unless this process has looked at all that the list of pages has for a flow.
///
/// # Errors
/// If it has not; tells what is missing.
pub fn all_seen(flow: &str) -> Result<()> {
    let seen = SEEN.lock().unwrap_or_else(PoisonError::into_inner);
    let rows = LOOKS.iter().filter(|look| look.flow == flow);
    let wanted =
        rows.flat_map(|look| look.languages.iter().map(|language| (look.name, (*language).to_owned())));
    let missing: Vec<_> = wanted.filter(|one| !seen.contains(one)).collect();
    ensure!(missing.is_empty(), "flow '{flow}' has not looked at {missing:?}");
    Ok(())
}

/// Looks at the page that is shown, once in each language of the service, and leaves it in the first. For pages that can
/// be asked for again by their address.
///
/// # Errors
/// As [`inspect`].
pub async fn inspect_in_both(browser: &Browser, name: &str) -> Result<()> {
    for language in page_list::BOTH.iter().rev() {
        speak(browser, language).await?;
        inspect(browser, name).await?;
    }
    Ok(())
}

/// Asks for the page that is shown in another language.
///
/// # Errors
/// If the browser is gone.
pub async fn speak(browser: &Browser, language: &str) -> Result<()> {
    let here = browser.run("return [location.origin, location.pathname + location.search]").await?;
    let (origin, page): (String, String) = serde_json::from_value(here)?;
    let page: String = url::form_urlencoded::byte_serialize(page.as_bytes()).collect();
    browser.open(&format!("{origin}/language?to={language}&back={page}")).await
}

/// The row of the list, if the page that is shown is the one of that row; and the language it is told in.
async fn listed(browser: &Browser, name: &str) -> Result<(&'static Look, String)> {
    let look = LOOKS.iter().find(|look| look.name == name);
    let look = look.with_context(|| format!("'{name}' is not in the list of pages"))?;
    let shown = browser.run("return [location.pathname, document.documentElement.lang]").await?;
    let (path, language): (String, String) = serde_json::from_value(shown)?;
    ensure!(
        look.route == page_list::NOWHERE || page_list::fits(look.route, &path),
        "{name}: {path} is shown, which is not {}",
        look.route
    );
    ensure!(look.languages.contains(&language.as_str()), "{name}: told in '{language}'");
    Ok((look, language))
}

/// The same for what has no address of its own; nothing is noted as looked at.
///
/// # Errors
/// As [`inspect`].
pub async fn inspect_unlisted(browser: &Browser, name: &str) -> Result<Load> {
    let load = load(browser).await.with_context(|| format!("{name}: how it loaded"))?;
    ensure!(load.shifts < 0.001, "{name}: its parts moved while loading (sum of shifts {})", load.shifts);
    let complaints = browser.complaints().await?;
    ensure!(complaints.is_empty(), "{name}: the browser complains: {complaints:?}");
    for screen in SCREENS {
        browser.resize(screen).await?;
        is_no_wider(browser, name, screen).await?;
        for colours in [Colours::Light, Colours::Dark, Colours::MoreContrast] {
            browser.colours(colours.media_features()).await?;
            // The tablet adds no layout of its own, and more contrast none at all.
            let looked_at_before = colours == Colours::MoreContrast && screen.width != 360;
            if screen.width != 768 && !looked_at_before {
                breaks_no_rule(browser, name, screen, colours).await?;
            }
        }
    }
    browser.resize(ZOOMED).await?;
    is_no_wider(browser, name, ZOOMED).await?;
    browser.colours(Colours::Forced.media_features()).await?;
    breaks_no_rule(browser, name, ZOOMED, Colours::Forced).await?;
    let lost = browser.run(LOST_IN_FORCED_COLOURS).await?;
    ensure!(lost == json!([]), "{name}: in the reader's own colours nobody sees {lost}");
    browser.colours(json!([])).await?;
    browser.resize(browser.screen()).await?;
    // axe-core calls into frames of other origins, which the browser complains of.
    browser.complaints().await?;
    note(name, load)?;
    Ok(load)
}

/// Looks at a page that stands only for a moment, because it goes on or sends itself again: it is shown without its scripts,
/// from a file. `base` is where the service answers.
///
/// # Errors
/// As [`inspect`]; if the page has no style sheet of the service.
pub async fn inspect_still(browser: &Browser, base: &str, page: &str, name: &str) -> Result<()> {
    let (before, after) =
        page.split_once("<link rel=\"stylesheet\" href=\"").context("a page has a style sheet")?;
    let (sheet, after) = after.split_once('"').context("the address of a style sheet ends")?;
    let style = reqwest::get(format!("{base}{sheet}")).await?.error_for_status()?.text().await?;
    let folder = tempfile::tempdir()?;
    fs::write(folder.path().join("style.css"), style)?;
    let still = format!("{before}<link rel=\"stylesheet\" href=\"style.css\"{after}");
    let without_scripts =
        still.split("<script").map(|part| part.split_once("</script>").map_or(part, |(_, rest)| rest));
    let file = folder.path().join("page.html");
    fs::write(&file, without_scripts.collect::<String>())?;
    browser.open(&format!("file://{}", file.display())).await?;
    inspect_unlisted(browser, name).await.map(drop)
}

/// What would not be seen in forced colours, where backgrounds are gone: controls without a line around them, and letters
/// of pictures that are not in the reader's colour of text. Browsers force colours of text, borders and backgrounds, not
/// the fill of pictures (CSS Color Adjustment 1, 3.1; which properties, from memory).
const LOST_IN_FORCED_COLOURS: &str = "
    if (!matchMedia('(forced-colors: active)').matches) { return ['the page, which does not hear of forced colours']; }
    const probe = document.createElement('i');
    probe.style.color = 'CanvasText';
    document.body.append(probe);
    const ink = getComputedStyle(probe).color;
    probe.remove();
    const shown = element => element.checkVisibility();
    const controls = 'button, a.button, input:not([type=hidden], [type=radio], [type=checkbox], [type=file]), select, textarea';
    const bare = [...document.querySelectorAll(controls)].filter(shown).filter(control => {
        const style = getComputedStyle(control);
        return style.borderTopStyle === 'none' || style.borderTopWidth === '0px';
    });
    const faint = [...document.querySelectorAll('svg text')].filter(shown)
        .filter(letters => getComputedStyle(letters).fill !== ink);
    return [...bare, ...faint].slice(0, 5).map(lost => lost.outerHTML.slice(0, 160));";

async fn is_no_wider(browser: &Browser, name: &str, screen: Screen) -> Result<()> {
    let width = browser.run("return document.documentElement.scrollWidth").await?;
    let fits = width.as_u64().is_some_and(|width| width <= screen.width.into());
    ensure!(fits, "{name}: {width} wide on a screen of {}", screen.width);
    Ok(())
}

async fn breaks_no_rule(browser: &Browser, name: &str, screen: Screen, colours: Colours) -> Result<()> {
    let broken = broken_rules(browser).await?;
    let told = serde_json::to_string_pretty(&broken)?;
    ensure!(broken.is_empty(), "{name} at {} px, {colours:?}: {told}", screen.width);
    Ok(())
}

/// What loading the page took.
async fn load(browser: &Browser) -> Result<Load> {
    let script = "const done = arguments[arguments.length - 1];
        let shifts = 0;
        new PerformanceObserver(list => {
            for (const entry of list.getEntries()) { if (!entry.hadRecentInput) { shifts += entry.value; } }
        }).observe({type: 'layout-shift', buffered: true});
        // Buffered entries come with the next turn; two frames are enough for what was loaded.
        requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => {
            const page = performance.getEntriesByType('navigation')[0];
            const all = [page, ...performance.getEntriesByType('resource')];
            const sum = of => all.reduce((sum, entry) => sum + of(entry), 0);
            done({
                bytes: sum(entry => entry.transferSize),
                unpacked_bytes: sum(entry => entry.decodedBodySize),
                first_answer_ms: page.responseStart - page.requestStart,
                shifts,
            });
        }, 50)));";
    Ok(serde_json::from_value(browser.run_and_wait(script).await?)?)
}

/// The rules that the page breaks, each with the places.
async fn broken_rules(browser: &Browser) -> Result<Vec<Value>> {
    let Some(axe) = axe() else {
        crate::skip("rules of accessibility", "axe-core is not installed in target/node");
        return Ok(Vec::new());
    };
    if browser.run("return typeof axe").await? != "object" {
        browser.run(axe).await?;
    }
    let script = "const done = arguments[arguments.length - 1];
        axe.run(document, {
            runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'],
            rules: {'target-size': {enabled: true}},
            resultTypes: ['violations'],
        }).then(
            results => done(results.violations.map(rule => ({
                rule: rule.id,
                help: rule.help,
                places: rule.nodes.map(node => [node.target.join(' '), node.failureSummary]),
            }))),
            error => done([{failed: String(error)}]),
        );";
    let broken = browser.run_and_wait(script).await?;
    Ok(broken.as_array().context("axe gives a list")?.clone())
}

/// The source of axe-core.
fn axe() -> Option<&'static str> {
    static SOURCE: OnceLock<Option<String>> = OnceLock::new();
    let read = || fs::read_to_string(target().join("node/node_modules/axe-core/axe.min.js")).ok();
    SOURCE.get_or_init(read).as_deref()
}

fn note(name: &str, load: Load) -> Result<()> {
    let folder = target().join("tmp");
    fs::create_dir_all(&folder)?;
    let mut file = OpenOptions::new().create(true).append(true).open(folder.join("looks.txt"))?;
    let Load { bytes, unpacked_bytes, first_answer_ms, .. } = load;
    Ok(writeln!(
        file,
        "{name}: {bytes} B on the wire, {unpacked_bytes} B unpacked, first answer {first_answer_ms:.1} ms"
    )?)
}

fn target() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../target")
}
