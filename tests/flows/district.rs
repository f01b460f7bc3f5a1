//! The coordinator's whole circle in a real browser: families, a plan, a pool, a package, trying it out; platforms,
//! tokens, grades, use, changes. Every page is looked at in both languages.

use std::path::Path;

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts, keys};
use conformance::looks;
use conformance::pictures::Pictures;
use fantoccini::Locator;
use service::demo::{Demo, DemoSettings};
use tempfile::TempDir;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_coordinator_makes_a_pool_and_a_package_and_keeps_the_service_running() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let folder = TempDir::with_prefix("tenths-district-")?;
    let pictures = Pictures::into_folder(folder.path())?;
    let settings = DemoSettings { port: 0, pupils: 12, folder: folder.path().join("demo") };
    let demo = Demo::start(&settings).await?;
    // With a class that has handed in, there are figures to tell.
    demo.play(|| ()).await?;
    let address = demo.coordinator().0.trim_end_matches("/district");
    let browser = driver.open(Screen::DESK, Scripts::On).await?;
    sign_in(&browser, &demo).await.context("signing in")?;
    pages(&browser, address, &pictures).await?;
    pool(&browser, folder.path(), &pictures).await.context("making a pool")?;
    package(&browser, demo.package(), &pictures).await.context("packages")?;
    long_work(&browser, address, &pictures).await.context("a job that takes its time")?;
    people(&browser).await.context("platforms and tokens")?;
    browser.close().await?;

    // The same without scripts, with keys alone.
    let plain = driver.open(Screen::DESK, Scripts::Off).await?;
    plain.open(demo.coordinator().0).await?;
    plain.tab_to(Locator::Css("#sign-in-token")).await?;
    plain.press(demo.coordinator().1).await?;
    plain.press(keys::ENTER).await?;
    plain.tab_to(Locator::LinkText("Families")).await?;
    plain.press(keys::ENTER).await?;
    plain.tab_to(Locator::Css("#search-code")).await?;
    plain.press(keys::DOWN).await?;
    plain.press(keys::ENTER).await?;
    ensure!(plain.text("#found").await?.contains("famil"), "the families are listed");
    plain.close().await?;
    demo.stop().await?;
    looks::all_seen("district")
}

async fn sign_in(browser: &Browser, demo: &Demo) -> Result<()> {
    let (address, token) = demo.coordinator();
    browser.open(address).await?;
    looks::inspect_in_both(browser, "signing in").await?;
    browser.fill("#sign-in-token", token).await?;
    browser.press(keys::ENTER).await?;
    browser.find(Locator::Css("#attention")).await?;
    Ok(())
}

/// Every page that is listed, in both languages.
async fn pages(browser: &Browser, address: &str, pictures: &Pictures) -> Result<()> {
    for language in ["es-US", "en-US"] {
        for (page, name) in [
            ("", "the coordinator's overview"),
            ("/families", "all families"),
            ("/families/add-ragged", "a family"),
            ("/pools", "all pools"),
            ("/pools/plan", "a plan"),
            ("/pools/river-and-wheels", "a pool"),
            ("/examine", "trying out a package"),
            ("/jobs", "all jobs"),
            ("/platforms", "all platforms"),
            ("/platforms/1", "a platform"),
            ("/tokens", "all tokens"),
            ("/deliveries", "grades that wait"),
            ("/use", "use over all schools"),
            ("/audit", "all changes"),
        ] {
            browser.open(&format!("{address}/language?to={language}&back=/district{page}")).await?;
            browser.find(Locator::Css("nav.district-pages")).await?;
            looks::inspect(browser, name).await?;
            if language == "en-US"
                && ["/families/add-ragged", "/platforms", "/pools/plan", "/use"].contains(&page)
            {
                let name = format!("coordinator{}", page.replace("/add-ragged", "").replace('/', "-"));
                pictures.keep(&name, &browser.picture().await?)?;
            }
        }
    }
    Ok(())
}

/// A section by curriculum code, made, looked at, loaded.
async fn pool(browser: &Browser, folder: &Path, pictures: &Pictures) -> Result<()> {
    browser.click(Locator::LinkText("Pools")).await?;
    browser.click(Locator::LinkText("Make a pool")).await?;
    browser.fill("#add-title", "Orchard week").await?;
    browser.fill("#add-section", "Rounding").await?;
    browser.find(Locator::Css("#add-code option[value='5.NBT.A.4']")).await?.click().await?;
    browser.click(Locator::Css("button[value=add]")).await?;
    // The page before has a plan, too, without the code.
    browser.find(Locator::XPath("//textarea[contains(., '5.NBT.A.4')]")).await?;
    browser.find(Locator::Css("#add-code option[value='5.NBT.A.4']")).await?.click().await?;
    browser.find(Locator::Css("#add-level_to option[value='2']")).await?.click().await?;
    browser.click(Locator::Css("button[value=look]")).await?;
    browser.find(Locator::Css("#supply")).await?;
    looks::inspect(browser, "what there is for a choice").await?;
    browser.scroll_to("#supply").await?;
    pictures.keep("coordinator-supply", &browser.picture().await?)?;
    browser.click(Locator::Css("button[value=make]")).await?;
    let told = browser.text(".note").await?;
    ensure!(told.contains("24 questions"), "the page says '{told}'");
    looks::inspect(browser, "a pool that was made").await?;
    // The same plan from a file.
    let plan = browser.find(Locator::Css("#plan-plan")).await?.prop("value").await?.context("a plan")?;
    let file = folder.join("plan.toml");
    std::fs::write(&file, plan)?;
    browser.find(Locator::Css("#file-plan")).await?.send_keys(file.to_str().context("a plain path")?).await?;
    browser.click(Locator::Css("form[action$='/upload'] button")).await?;
    browser.find(Locator::XPath("//p[.='Orchard week: a plan with one section.']")).await?;
    browser.click(Locator::Css("button[value=load]")).await?;
    browser.find(Locator::Css("#export")).await?;
    ensure!(browser.text("h1").await? == "Orchard week", "the pool is shown");
    Ok(())
}

/// A package of the pool, and one tried out.
async fn package(browser: &Browser, package: &Path, pictures: &Pictures) -> Result<()> {
    browser.click(Locator::XPath("//button[normalize-space()='Make the package']")).await?;
    // The page looks again by itself until the package is there.
    browser.find(Locator::Css("a[href$='/file']")).await?;
    looks::inspect_in_both(browser, "a package that was made").await?;
    pictures.keep("coordinator-package", &browser.picture().await?)?;
    browser.click(Locator::LinkText("Try out")).await?;
    let file = browser.find(Locator::Css("input[type=file]")).await?;
    file.send_keys(package.to_str().context("a plain path")?).await?;
    browser.click(Locator::XPath("//button[normalize-space()='Try it out']")).await?;
    browser.find(Locator::Css("pre.working")).await?;
    let told = browser.text("section.card").await?;
    ensure!(told.contains("Done.") && !told.contains("does not hold"), "{told}");
    looks::inspect(browser, "a package that was tried out").await?;
    Ok(())
}

/// A package of many questions: a plan that is told what it lacks, how far the work is, and giving it up.
async fn long_work(browser: &Browser, address: &str, pictures: &Pictures) -> Result<()> {
    for (language, fault, stopped) in [
        ("es-US", "sección 1: no hay ninguna familia «add-moons».", "Usted lo detuvo."),
        ("en-US", "section 1: there is no family “add-moons”.", "You stopped it."),
    ] {
        browser.open(&format!("{address}/language?to={language}&back=/district/pools/plan")).await?;
        let name = language.to_lowercase();
        let plan = |family: &str| {
            format!(
                "pool = 'many-{name}'\ntitle = 'Many'\nseed = '1'\n[[section]]\ntitle = 'Sums'\nfamily = '{family}'\ncount = 5000\npick = 2\n"
            )
        };
        browser.fill("#plan-plan", &plan("add-moons")).await?;
        browser.click(Locator::Css("button[value=make]")).await?;
        let told = browser.text(".note.problem").await?;
        ensure!(told.contains(fault), "the page says '{told}'");
        // The refusal's status is what the browser complains of.
        browser.complaints().await?;
        browser.fill("#plan-plan", &plan("add-ragged")).await?;
        browser.click(Locator::Css("button[value=load]")).await?;
        browser.click(Locator::Css("section[aria-labelledby='export'] form button")).await?;
        browser.find(Locator::Css("progress")).await?;
        // It asks for itself again all the time, so it is looked at as it stands now.
        let page = browser.run("return document.documentElement.outerHTML").await?;
        let page = page.as_str().context("a page is text")?;
        ensure!(page.contains("<progress") && page.contains("/cancel\""), "{language}: work that goes on");
        let shown = browser.run("return location.href").await?;
        let shown = shown.as_str().context("an address is text")?;
        looks::inspect_still(browser, address, page, &format!("a package in the making ({language})"))
            .await?;
        pictures.keep("coordinator-package-in-the-making", &browser.picture().await?)?;
        browser.open(shown).await?;
        browser.click(Locator::Css("form[action$='/cancel'] button")).await?;
        let jobs = browser.text("table").await?;
        ensure!(jobs.contains(stopped), "{language}: {jobs}");
    }
    Ok(())
}

/// An invitation and a token are shown once; the new token is taken back.
async fn people(browser: &Browser) -> Result<()> {
    browser.click(Locator::LinkText("Platforms")).await?;
    browser.fill("#invitations-note", "Hill school").await?;
    browser.click(Locator::XPath("//button[normalize-space()='Make an invitation']")).await?;
    ensure!(browser.text(".once").await?.contains("/lti/register?invitation="), "the address is shown");
    browser.click(Locator::XPath("//tr/th/a[contains(@href, '/district/platforms/')]")).await?;
    browser.fill("#frames-origins", "https://school-7.example.org").await?;
    browser.click(Locator::XPath("//button[normalize-space()='Save these addresses']")).await?;
    // What is saved is in the page itself, not only in the field.
    browser.find(Locator::XPath("//textarea[contains(., 'school-7')]")).await?;
    browser.click(Locator::LinkText("Tokens")).await?;
    browser.fill("#tokens-note", "nightly copy").await?;
    browser.click(Locator::XPath("//button[normalize-space()='Make a token']")).await?;
    ensure!(browser.text(".once").await?.len() > 20, "the token is shown");
    looks::inspect(browser, "a token that was made").await?;
    browser.click(Locator::XPath("//tr[contains(., 'nightly copy')]//button")).await?;
    browser.find(Locator::XPath("//tr[contains(., 'nightly copy')]//*[contains(., 'taken back')]")).await?;
    browser.click(Locator::LinkText("Changes")).await?;
    let trail = browser.text("table").await?;
    for action in ["token_revoked", "token_made", "frame_origins_changed", "invitation_made"] {
        ensure!(trail.contains(action), "the trail lacks {action}: {trail}");
    }
    Ok(())
}
