//! Pictures of workings and charts, all on one page, as a browser draws them: nothing breaks the rules for accessible
//! pages, and letters lie inside their picture. For people to look at: `target/tmp/drawings`.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use anyhow::{Result, ensure};
use conformance::browser::{Driver, Screen, Scripts};
use conformance::looks::{self, SCREENS};
use qbank::expression::Names;
use qbank::working::blocks;
use serde_json::json;
use service::pages::STYLESHEET;
use service::pages::drawings::charts::{Bar, Bars, Cell, ClassMap, IntervalRow, Intervals, MapRow, Share};
use service::pages::drawings::working::Painter;
use service::texts::Texts;

/// One of each kind of working, the widest of its kind among them.
const WORKINGS: [&str; 14] = [
    "18.49 + 8.92 + 1.65",
    "4.6 + 0.75",
    "9.04 - 3.28",
    "20 - 14.655",
    "48.85 - 13.99",
    "10.6 - 9.5",
    "2.3 * 1.45",
    "0.4 * 0.2",
    "7.5 / 6",
    "7.2 / 0.36",
    "round(20 / 7, 2)",
    "round(4.68, 1)",
    "0.35 ? 0.8",
    "digit(1234.987, 2)",
];

fn workings(locale: &str) -> String {
    let mut html = String::new();
    for expression in WORKINGS {
        let blocks = blocks(&expression.parse().unwrap(), &Names::new()).unwrap();
        let by_shift = expression.starts_with("48") || expression.starts_with("10.6");
        for worked in Painter::new(locale).paint(&blocks, by_shift) {
            html.push_str("<section class=\"card\"><div class=\"worked\">");
            for picture in &worked.pictures {
                write!(html, "{picture}").unwrap();
            }
            html.push_str("<ul class=\"told\">");
            for sentence in &worked.told {
                write!(html, "<li>{sentence}</li>").unwrap();
            }
            html.push_str("</ul></div></section>");
        }
    }
    html
}

fn charts(texts: &'static Texts) -> String {
    let names = ["Amaya", "Bruno", "Chiara Bartholomäa Constanze", "Dario", "Elif", "Femi"];
    let row = |(at, name): (usize, &str)| MapRow {
        pupil: name.into(),
        cells: (0..10).map(|question| Cell::ALL[(question * (at + 1) + at) % 6]).collect(),
    };
    let map = ClassMap {
        texts,
        id: "map",
        title: "Pupils by questions".into(),
        questions: (1..=10).map(|number| number.to_string()).collect(),
        rows: names.into_iter().enumerate().map(row).collect(),
    };
    let labels = [
        "carries are dropped",
        "digits are lined up at the right edge, whatever their places, as for whole numbers",
    ];
    let bars = Bars {
        texts,
        id: "bars",
        title: "Answers consistent with".into(),
        label_heading: "Answers consistent with".into(),
        count_heading: "Pupils".into(),
        bars: labels
            .iter()
            .zip([11, 4])
            .map(|(label, count)| Bar { label: (*label).into(), count })
            .collect(),
        whole: 28,
    };
    let shares =
        [Some(Share { low: 612, at: 750, high: 851 }), Some(Share { low: 0, at: 30, high: 160 }), None];
    let rows = shares.into_iter().enumerate();
    let intervals = Intervals {
        texts,
        id: "facility",
        title: "How many answered rightly".into(),
        label_heading: "Question".into(),
        rows: rows.map(|(at, share)| IntervalRow { label: format!("Question {}", at + 1), share }).collect(),
    };
    [map.to_string(), bars.to_string(), intervals.to_string()]
        .map(|chart| format!("<section class=\"card\">{chart}</section>"))
        .concat()
}

fn page(texts: &'static Texts) -> String {
    format!(
        "<!doctype html><html lang=\"{}\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\"><title>Drawings</title><link rel=\"icon\" href=\"data:,\">\
         <style>{STYLESHEET}</style></head><body><main class=\"wide\"><h1>Drawings</h1>{}{}</main></body></html>",
        texts.tag(),
        workings(texts.tag()),
        charts(texts),
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn drawings_are_accessible_and_nothing_is_cut() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("drawings");
    fs::create_dir_all(&folder)?;
    let browser = driver.open(Screen::DESK, Scripts::On).await?;
    for texts in Texts::all() {
        let file = folder.join(format!("{}.html", texts.tag()));
        fs::write(&file, page(texts))?;
        browser.open(&format!("file://{}", file.display())).await?;
        looks::inspect_unlisted(&browser, &format!("drawings in {}", texts.tag())).await?;
        let outside = "return [...document.querySelectorAll('svg')].flatMap(svg => {
            const frame = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text, use')].filter(text => !text.closest('defs')).filter(text => {
                const box = text.getBoundingClientRect();
                return box.left < frame.left - 1 || box.right > frame.right + 1
                    || box.top < frame.top - 2 || box.bottom > frame.bottom + 2;
            }).map(text => text.textContent);
        })";
        let outside = browser.run(outside).await?;
        ensure!(outside == json!([]), "{}: outside of their picture: {outside}", texts.tag());
        for (screen, scheme) in [(SCREENS[0], "light"), (SCREENS[2], "light"), (SCREENS[2], "dark")] {
            let height = if screen.width == 360 { 10400 } else { 7600 };
            browser.resize(Screen { height, ..screen }).await?;
            browser.colours(json!([{"name": "prefers-color-scheme", "value": scheme}])).await?;
            let name = format!("{}-{}-{scheme}.png", texts.tag(), screen.width);
            fs::write(folder.join(name), browser.picture().await?)?;
        }
        browser.colours(json!([])).await?;
        browser.resize(browser.screen()).await?;
    }
    browser.close().await
}
