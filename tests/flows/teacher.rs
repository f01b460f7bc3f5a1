//! A teacher with four minutes, in a real browser: places a quiz after a look at what three pupils would get, sees who
//! needs what, changes the points of an answer, allows another attempt, takes the table home. Once with keys alone, and
//! once more without scripts.

use std::time::{Duration, Instant};

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts, WITHIN, keys};
use conformance::looks;
use conformance::pictures::Pictures;
use fantoccini::Locator;
use service::demo::{Demo, DemoSettings};
use tempfile::TempDir;

/// The scripts of the demonstration's class go round after 24 pupils, so that some misunderstandings are held by two.
const PUPILS: usize = 28;
/// What the class page and its files may weigh for so many, in bytes, unpacked.
const CLASS_PAGE_MAX: u64 = 100_000;
const REASON: &str = "You showed me your way on paper";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_teacher_sees_who_needs_what_and_acts_on_it() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let folder = TempDir::with_prefix("tenths-teacher-")?;
    let pictures = Pictures::into_folder(folder.path())?;
    let settings = DemoSettings { port: 0, pupils: PUPILS, folder: folder.path().join("demo") };
    let demo = Demo::start(&settings).await?;
    let played = demo.play(|| {}).await?;
    ensure!(played.mismatches == 0, "the class was not played as scripted");

    let teacher = driver.open(Screen::DESK, Scripts::On).await?;
    look_at_the_class(&teacher, &demo, &pictures).await.context("the class page")?;
    act(&teacher, &pictures).await.context("what the teacher does")?;
    place(&teacher, &demo, Some(&pictures)).await.context("placing with a preview")?;
    ensure!(teacher.complaints().await?.is_empty(), "the browser complains");
    teacher.close().await?;

    let plain = driver.open(Screen::DESK, Scripts::Off).await?;
    open_class(&plain, &demo).await.context("the class page without scripts")?;
    act_again(&plain).await.context("what the teacher does without scripts")?;
    place(&plain, &demo, None).await.context("placing without scripts")?;
    plain.close().await?;
    demo.stop().await?;
    looks::all_seen("teacher")
}

/// Moves to an element with Tab and presses Enter.
async fn press(browser: &Browser, locator: Locator<'_>) -> Result<()> {
    browser.tab_to(locator).await?;
    browser.press(keys::ENTER).await
}

fn button(text: &str) -> String {
    format!("//button[normalize-space()='{text}']")
}

async fn enter(browser: &Browser, demo: &Demo) -> Result<()> {
    browser.open(demo.front_page()).await?;
    press(browser, Locator::Css("ul[aria-labelledby=teacher] button")).await
}

async fn open_class(browser: &Browser, demo: &Demo) -> Result<()> {
    enter(browser, demo).await?;
    press(browser, Locator::LinkText("Open")).await?;
    if browser.scripts() == Scripts::Off {
        press(browser, Locator::XPath(&button("Continue"))).await?;
    }
    browser.find(Locator::Css("#needs")).await.map(drop)
}

async fn look_at_the_class(teacher: &Browser, demo: &Demo, pictures: &Pictures) -> Result<()> {
    open_class(teacher, demo).await?;
    let groups = teacher.texts(".need h3").await?;
    ensure!(groups[0].starts_with("2 pupils"), "the largest group comes first: {groups:?}");
    ensure!(groups.iter().all(|group| group.contains("Answers consistent with")), "{groups:?}");
    let rows = teacher.texts("table.map tbody th").await?;
    ensure!(rows.len() == PUPILS, "the map has {} pupils", rows.len());
    let load = looks::inspect(teacher, "who needs what").await?;
    ensure!(load.unpacked_bytes < CLASS_PAGE_MAX, "{} bytes for {PUPILS} pupils", load.unpacked_bytes);
    pictures.keep("class-needs", &teacher.picture().await?)?;
    teacher.scroll_to("#map").await?;
    pictures.keep("class-map", &teacher.picture().await?)?;
    press(teacher, Locator::XPath("//details[.//table[@class='map']]/summary")).await?;
    looks::inspect(teacher, "the class, question by question").await?;
    past_the_table(teacher).await?;
    teacher.scroll_to("table.map").await?;
    pictures.keep("class-map-table", &teacher.picture().await?)?;
    teacher.resize(Screen::PHONE).await?;
    teacher.scroll_to("h1").await?;
    pictures.keep("class-needs-on-a-phone", &teacher.picture().await?)?;
    teacher.scroll_to("#map").await?;
    pictures.keep("class-map-on-a-phone", &teacher.picture().await?)?;
    looks::wear(teacher, Some(looks::Colours::Forced)).await?;
    pictures.keep("class-map-in-forced-colours", &teacher.picture().await?)?;
    looks::wear(teacher, None).await?;
    teacher.resize(Screen::DESK).await?;
    teacher.reload().await?;
    press(teacher, Locator::XPath(&button("Español"))).await?;
    teacher.find(Locator::Css("html[lang='es-US'] #needs")).await?;
    ensure!(teacher.text("#needs").await? == "Quién necesita qué", "the page changes its language");
    looks::inspect(teacher, "who needs what").await?;
    teacher.click(Locator::XPath("//details[.//table[@class='map']]/summary")).await?;
    looks::inspect(teacher, "the class, question by question").await?;
    press(teacher, Locator::XPath(&button("English"))).await?;
    teacher.find(Locator::Css("html[lang='en-US'] #needs")).await?;
    press(teacher, Locator::Css("a[href$='/times']")).await?;
    looks::inspect_in_both(teacher, "the times of a quiz").await?;
    open_class(teacher, demo).await
}

/// The open table has a stop a pupil; one press goes past all of them.
async fn past_the_table(teacher: &Browser) -> Result<()> {
    press(teacher, Locator::Css("a.past")).await?;
    teacher.press(keys::TAB).await?;
    let behind = "const focused = document.activeElement;
        return !focused.closest('.map') && !!(document.querySelector('table.map')
            .compareDocumentPosition(focused) & Node.DOCUMENT_POSITION_FOLLOWING)";
    ensure!(teacher.run(behind).await? == true, "a press goes past the table");
    Ok(())
}

/// Points of an answer are changed, and one more attempt is allowed, with keys alone.
async fn act(teacher: &Browser, pictures: &Pictures) -> Result<()> {
    press(teacher, Locator::LinkText("Points and grades")).await?;
    teacher.find(Locator::Css("#gradebook")).await?;
    looks::inspect_in_both(teacher, "points and grades").await?;
    pictures.keep("class-grades", &teacher.picture().await?)?;
    let last = "(//table[contains(@class, 'rows')]//tbody/tr)[last()]";
    press(teacher, Locator::XPath(&format!("{last}//summary"))).await?;
    press(teacher, Locator::XPath(&format!("{last}//form[contains(@action, '/attempts')]//button"))).await?;
    let extra = format!("{last}/td[2]/span[.='1 attempt more than the others']");
    teacher.find(Locator::XPath(&extra)).await.context("the extra attempt is shown")?;

    press(teacher, Locator::XPath(&format!("{last}//ul[@class='tries']//a"))).await?;
    let before: u32 = teacher.text(".score strong").await?.parse()?;
    looks::inspect_in_both(teacher, "an attempt, for the teacher").await?;
    let wrong = "(//li[.//span[contains(@class, 'verdict') and not(contains(@class, 'right'))]]\
                 //details[@class='points'])[1]";
    press(teacher, Locator::XPath(&format!("{wrong}/summary"))).await?;
    // The field holds the points as they are; the arrow key counts one up.
    teacher.tab_to(Locator::XPath(&format!("{wrong}//input[@name='points']"))).await?;
    teacher.press(keys::UP).await?;
    teacher.tab_to(Locator::XPath(&format!("{wrong}//input[@name='reason']"))).await?;
    teacher.press(REASON).await?;
    press(teacher, Locator::XPath(&format!("{wrong}//button[not(@name)]"))).await?;
    let note = teacher.text(".steps .note").await?;
    ensure!(note.contains("You changed the points from 0 to 1") && note.contains(REASON), "{note}");
    let after: u32 = teacher.text(".score strong").await?.parse()?;
    ensure!(after == before + 1, "{before} points became {after}");
    teacher.scroll_to(".steps .note").await?;
    pictures.keep("class-changed-points", &teacher.picture().await?)?;
    looks::inspect_in_both(teacher, "an attempt with changed points").await?;
    // Back to the link behind the table.
    press(teacher, Locator::LinkText("Back to points and grades")).await?;
    let table = teacher.find(Locator::Css("a[href$='/marks.csv']")).await?;
    ensure!(table.is_displayed().await?, "the table is offered");
    Ok(())
}

/// The change is taken back without scripts.
async fn act_again(plain: &Browser) -> Result<()> {
    press(plain, Locator::LinkText("Points and grades")).await?;
    // With a point more the pupil may stand further up; the extra attempt tells who it is.
    let theirs =
        "(//table[contains(@class, 'rows')]//tbody/tr[.//span[.='1 attempt more than the others']])[1]";
    press(plain, Locator::XPath(&format!("{theirs}//ul[@class='tries']//a"))).await?;
    let changed = "//li[p[@class='note']]/details[@class='points']";
    press(plain, Locator::XPath(&format!("{changed}/summary"))).await?;
    press(plain, Locator::XPath(&format!("{changed}//button[@name='restore']"))).await?;
    // The page before may still be there for a moment.
    let restore = Locator::XPath("//details[@class='points']//button[@name='restore']");
    let until = Instant::now() + WITHIN;
    while tokio::time::timeout(Duration::from_millis(500), plain.find(restore)).await.is_ok() {
        ensure!(Instant::now() < until, "nothing is left to be taken back");
    }
    press(plain, Locator::LinkText("Back to the class")).await
}

/// Three presses from the launch: a pool, the preview, the button.
async fn place(teacher: &Browser, demo: &Demo, pictures: Option<&Pictures>) -> Result<()> {
    enter(teacher, demo).await?;
    let activities = teacher.texts("ul.activities h3").await?.len();
    press(teacher, Locator::LinkText("Add an activity")).await?;
    if teacher.scripts() == Scripts::Off {
        press(teacher, Locator::XPath(&button("Continue"))).await?;
    }
    if let Some(pictures) = pictures {
        looks::inspect_in_both(teacher, "the teacher chooses a pool").await?;
        pictures.keep("class-place", &teacher.picture().await?)?;
    }
    if pictures.is_some() {
        preview_in_spanish(teacher).await?;
    }
    teacher.tab_to(Locator::Css("input[name=pool]")).await?;
    teacher.press(keys::SPACE).await?;
    press(teacher, Locator::XPath(&button("See what three pupils get"))).await?;
    let versions = teacher.texts(".versions article").await?;
    ensure!(versions.len() == 3 && versions[0] != versions[1], "{versions:?}");
    if let Some(pictures) = pictures {
        looks::inspect(teacher, "what three pupils would get").await?;
        pictures.keep("class-preview", &teacher.picture().await?)?;
        teacher.resize(Screen::PHONE).await?;
        pictures.keep("class-preview-on-a-phone", &teacher.picture().await?)?;
        teacher.resize(Screen::DESK).await?;
    }
    press(teacher, Locator::XPath(&button("Place this quiz"))).await?;
    if teacher.scripts() == Scripts::Off {
        press(teacher, Locator::XPath(&button("Continue"))).await?;
    }
    teacher
        .find(Locator::XPath(&format!("(//ul[contains(@class, 'activities')]//h3)[{}]", activities + 1)))
        .await?;
    Ok(())
}

/// What three pupils get is told in the teacher's language around the questions, which keep that of their pool.
async fn preview_in_spanish(teacher: &Browser) -> Result<()> {
    looks::speak(teacher, "es-US").await?;
    teacher.click(Locator::Css("input[name=pool]")).await?;
    teacher.click(Locator::Css("button[formaction$='/preview']")).await?;
    teacher.find(Locator::Css(".versions article")).await?;
    looks::inspect(teacher, "what three pupils would get").await?;
    teacher.click(Locator::Css("button[name=edit]")).await?;
    // The preview, too, has these fields, but hidden: only the form says that the press has led somewhere.
    teacher.find(Locator::Css("html[lang='es-US'] input[name=pool]:not([type=hidden])")).await?;
    looks::speak(teacher, "en-US").await
}
