//! Pages that nobody is signed in for: refusals, what is not there, a platform that may not register; in both languages.
//! Pages of pupils, teachers and coordinators are looked at where they are used.

use anyhow::{Result, ensure};
use conformance::browser::{Driver, Screen, Scripts};
use conformance::looks;
use conformance::stage::Stage;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_that_say_no_are_as_readable_as_the_others() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set().await;
    let browser = driver.open(Screen::DESK, Scripts::On).await?;
    for (language, headings) in [
        ("en-US", ["This page is not here", "This could not be opened", "Your platform was not registered"]),
        ("es-US", ["Esta página no está aquí", "Esto no se pudo abrir", "Su plataforma no se registró"]),
    ] {
        let pages = ["/nowhere", "/quiz/another-pupils", "/lti/register?invitation=unknown"];
        for (page, heading) in pages.into_iter().zip(headings) {
            let back = format!("{}/language?to={language}&back={page}", stage.address());
            browser.open(&back).await?;
            let shown = browser.text("h1").await?;
            ensure!(shown == heading, "{page} in {language} says '{shown}'");
            // The page itself is what its status makes the browser complain of.
            browser.complaints().await?;
            looks::inspect(&browser, &format!("{page} in {language}")).await?;
        }
    }
    browser.close().await
}
