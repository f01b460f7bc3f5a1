//! Every page is looked at somewhere: the list of pages against the tables of addresses. Here, those that nobody is signed
//! in for: refusals, what is not there, a platform that may not register; in both languages. And those of the practice
//! platform. Pages of pupils, teachers and coordinators are looked at where they are used.

use std::collections::BTreeSet;
use std::path::Path;

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts};
use conformance::looks;
use conformance::page_list::{BOTH, LOOKS, NOT_PAGES, PRACTICE};
use conformance::stage::Stage;
use fantoccini::Locator;

/// The tables of addresses, below `service/src`, and the languages that their pages are told in.
const TABLES: [(&str, &[&str]); 3] =
    [("routes.rs", BOTH), ("handlers/district/mod.rs", BOTH), ("practice/routes.rs", PRACTICE)];

/// The addresses that a table answers GET for. Scopes are the programming interfaces, which answer with JSON.
fn addresses(table: &str) -> Vec<String> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../service/src").join(table);
    let source = std::fs::read_to_string(file).unwrap();
    let dense: String = source.chars().filter(|letter| !letter.is_whitespace()).collect();
    let mut parts = dense.split("web::scope(");
    let pages = parts.next().unwrap().to_owned();
    let after_scopes = parts.filter_map(|scope| scope.split_once(';')).map(|(_, after)| after);
    let pages = after_scopes.fold(pages, |pages, after| pages + after);
    let entries = pages.split(".route(\"").skip(1).flat_map(|entry| entry.split("web::resource(\""));
    entries
        .filter_map(|entry| entry.split_once('"'))
        .filter(|(_, answer)| answer.contains("get()"))
        .map(|(address, _)| address.to_owned())
        .collect()
}

#[test]
fn every_page_is_looked_at_in_every_language_it_is_told_in() {
    let mut known = Vec::new();
    for (table, languages) in TABLES {
        let found = addresses(table);
        assert!(found.len() > 10, "{table} was not understood: {found:?}");
        for address in found {
            let not_a_page = NOT_PAGES.iter().any(|(other, _)| *other == address);
            let seen = |language| {
                LOOKS.iter().any(|look| look.route == address && look.languages.contains(language))
            };
            assert!(
                not_a_page || languages.iter().all(seen),
                "{address} is neither looked at in {languages:?} nor among what is no page: tests/support/page_list.rs"
            );
            known.push(address);
        }
    }
    // The list holds nothing that is gone, and no page twice under one name.
    for (address, reason) in NOT_PAGES {
        assert!(known.iter().any(|other| other == address), "{address} ({reason}) is no address any more");
    }
    let names: BTreeSet<&str> = LOOKS.iter().map(|look| look.name).collect();
    assert_eq!(names.len(), LOOKS.len(), "two looks share a name");
    let flows = Path::new(env!("CARGO_MANIFEST_DIR")).join("flows");
    for look in LOOKS {
        let flow = std::fs::read_to_string(flows.join(look.flow).with_extension("rs")).unwrap();
        let ends = format!("looks::all_seen(\"{}\")", look.flow);
        assert!(flow.contains(&ends), "flow '{}' does not ask whether it has seen all", look.flow);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_that_say_no_are_as_readable_as_the_others() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let stage = Stage::set().await;
    let browser = driver.open(Screen::DESK, Scripts::On).await?;
    refusals(&browser, &stage).await.context("refusals")?;
    platform(&browser, &stage).await.context("the practice platform")?;
    browser.close().await?;
    looks::all_seen("looks")
}

async fn refusals(browser: &Browser, stage: &Stage) -> Result<()> {
    for (page, name, headings) in [
        ("/nowhere", "a page that is not here", ["This page is not here", "Esta página no está aquí"]),
        ("/quiz/another", "another pupil's quiz", ["This could not be opened", "Esto no se pudo abrir"]),
        ("/class/another", "another teacher's class", ["This could not be opened", "Esto no se pudo abrir"]),
        ("/lti/login", "a login that cannot be", ["This could not be opened", "Esto no se pudo abrir"]),
        ("/lti/launch", "a launch that cannot be", ["This could not be opened", "Esto no se pudo abrir"]),
        (
            "/lti/register?invitation=unknown",
            "a registration that is refused",
            ["Your platform was not registered", "Su plataforma no se registró"],
        ),
    ] {
        for (language, heading) in BOTH.iter().zip(headings) {
            browser.open(&format!("{}/language?to={language}&back={page}", stage.address())).await?;
            let shown = browser.text("h1").await?;
            ensure!(shown == heading, "{page} in {language} says '{shown}'");
            // The page itself is what its status makes the browser complain of.
            browser.complaints().await?;
            looks::inspect(browser, name).await?;
        }
    }
    Ok(())
}

async fn platform(browser: &Browser, stage: &Stage) -> Result<()> {
    let base = stage.school.practice.base_url();
    browser.open(base).await?;
    looks::inspect(browser, "the practice platform's front page").await?;
    browser.click(Locator::Css("ul[aria-labelledby=pupils] button")).await?;
    browser.find(Locator::Css("ul.activities h3")).await?;
    looks::inspect(browser, "the practice platform's course, for a pupil").await?;
    let (link, _) = stage.school.practice.links()[0].clone();
    browser.open(&format!("{base}/frame/links/{link}")).await?;
    looks::inspect(browser, "the practice platform's frame").await?;
    browser.open(&format!("{base}/registrations")).await?;
    looks::inspect(browser, "the practice platform's registrations").await?;
    browser.open(&format!("{base}/links/unknown/open")).await?;
    browser.complaints().await?;
    looks::inspect(browser, "a refusal of the practice platform").await.map(drop)
}
