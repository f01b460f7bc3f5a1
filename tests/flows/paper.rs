//! Printed sheets: what other programs see in them, and the way from paper to the gradebook in a real browser.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts, WITHIN, keys};
use conformance::looks;
use conformance::pictures::Pictures;
use conformance::program::run_well;
use conformance::school::PLAN;
use conformance::tools;
use fantoccini::Locator;
use qbank::form;
use qbank::pool::Pool;
use qbank::question::{Item, StepKind};
use service::demo::{Demo, DemoSettings};
use service::paper::SheetCode;
use tempfile::TempDir;

/// Sheets of a class of 30 in a folder, with the pool that they are from.
fn class(options: &[&str]) -> (TempDir, Pool) {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    std::fs::write(file("plan.toml"), PLAN).unwrap();
    run_well(["pool", &file("plan.toml"), "--seed", "paper", "-o", &file("pool.json")]);
    let (pool, out) = (file("pool.json"), folder.path().to_str().unwrap().to_owned());
    let mut arguments = vec!["worksheet", &pool, "--pupils", "30", "-o", &out];
    arguments.extend(options);
    run_well(arguments);
    let pool = Pool::from_json(&std::fs::read_to_string(file("pool.json")).unwrap()).unwrap();
    (folder, pool)
}

/// What a program of poppler prints of a file.
pub(crate) fn poppler(program: &str, arguments: &[&str], file: &Path) -> Option<String> {
    if !tools::installed(program) {
        conformance::skip("printed sheets", &format!("{program} is not installed"));
        return None;
    }
    let mut command = Command::new(program);
    command.args(arguments).arg(file);
    if program == "pdftotext" {
        command.arg("-");
    }
    let output = command.output().unwrap();
    assert!(output.status.success(), "{program}: {}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

/// The first page of a file as a PNG.
fn first_page(file: &Path) -> Option<Vec<u8>> {
    if !tools::installed("pdftoppm") {
        conformance::skip("pictures of printed sheets", "pdftoppm is not installed");
        return None;
    }
    let arguments = ["-r", "80", "-f", "1", "-l", "1", "-png", "-singlefile"];
    let output = Command::new("pdftoppm").args(arguments).arg(file).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Some(output.stdout)
}

#[test]
fn sheets_and_key_can_be_drawn() {
    let (folder, _) = class(&["--grid"]);
    let pictures = Pictures::into_folder(folder.path()).unwrap();
    for (file, name) in [("sheets.pdf", "paper-sheet"), ("key.pdf", "paper-key")] {
        let Some(picture) = first_page(&folder.path().join(file)) else { return };
        assert!(picture.len() > 10_000, "{file} is drawn as {} bytes", picture.len());
        pictures.keep(name, &picture).unwrap();
    }
}

/// A text without its blanks and line ends: lines are broken differently on paper.
pub(crate) fn squeezed(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_whitespace()).collect()
}

#[test]
fn a_class_of_thirty_is_in_one_file_with_selectable_text_and_embedded_fonts() {
    let (folder, pool) = class(&["--grid"]);
    let sheets = folder.path().join("sheets.pdf");
    let Some(text) = poppler("pdftotext", &[], &sheets) else { return };
    let list = std::fs::read_to_string(folder.path().join("sheets.csv")).unwrap();
    let rows: Vec<Vec<&str>> = list.lines().skip(1).map(|line| line.split(',').collect()).collect();
    let codes: BTreeSet<&str> = rows.iter().map(|row| row[0]).collect();
    assert_eq!(codes.len(), 30);

    // Pages are apart by form feeds; each names the sheet that it belongs to.
    let pages: Vec<&str> = text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
    for code in codes {
        let of_sheet: String = pages.iter().filter(|page| page.contains(code)).copied().collect();
        let told = squeezed(&of_sheet);
        let items = rows.iter().filter(|row| row[0] == code);
        for row in items {
            let item = pool.item(row[2]).unwrap_or_else(|| panic!("{} is not in the pool", row[2]));
            for asked in item.stem.lines().chain(item.steps.iter().map(|step| step.prompt.as_str())) {
                assert!(told.contains(&squeezed(asked)), "sheet {code} lacks '{asked}'");
            }
        }
    }
    assert!(pages.iter().all(|page| rows.iter().any(|row| page.contains(row[0]))), "a page without a code");

    let fonts = poppler("pdffonts", &[], &sheets).unwrap_or_default();
    let fonts: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!fonts.is_empty());
    for font in fonts {
        // The columns are: embedded, subset, mapped to Unicode.
        assert!(font.contains("yes yes yes"), "{font}");
    }
    assert!(poppler("pdfinfo", &[], &sheets).unwrap_or_default().contains("Tagged:          yes"));
}

#[test]
fn the_key_answers_every_step_of_every_sheet() {
    let (folder, pool) = class(&[]);
    let Some(text) = poppler("pdftotext", &[], &folder.path().join("key.pdf")) else { return };
    let text = squeezed(&text);
    let list = std::fs::read_to_string(folder.path().join("sheets.csv")).unwrap();
    let mut last = "";
    let mut from = 0;
    for row in list.lines().skip(1).map(|line| line.split(',').collect::<Vec<_>>()) {
        if row[0] != last {
            // Answers are looked for behind their sheet's code.
            from = text.find(row[0]).unwrap_or_else(|| panic!("the key lacks {}", row[0]));
            last = list[list.find(row[0]).unwrap()..].split(',').next().unwrap();
        }
        for step in &pool.item(row[2]).unwrap().steps {
            let chosen = step.choices.iter().find(|choice| choice.id == step.answer.to_string());
            let answer = chosen.map_or_else(|| step.answer.to_string(), |choice| choice.text.to_string());
            let answer = squeezed(answer.trim_start_matches('$'));
            assert!(text[from..].contains(&answer), "the key lacks {answer} of sheet {}", row[0]);
        }
    }
}

#[test]
fn the_same_seed_prints_the_same_bytes_and_another_one_other_numbers() {
    let read = |options: &[&str]| {
        let (folder, _) = class(options);
        ["sheets.pdf", "key.pdf", "sheets.csv"].map(|name| std::fs::read(folder.path().join(name)).unwrap())
    };
    let first = read(&[]);
    assert!(first == read(&[]), "two runs differ");
    let other = read(&["--seed", "another"]);
    assert!(first.iter().zip(&other).all(|(one, other)| one != other));
}

#[test]
fn sheets_that_cannot_be_made_are_told() {
    let (folder, _) = class(&[]);
    let pool = folder.path().join("pool.json");
    let pool = pool.to_str().unwrap();
    let out = folder.path().join("out");
    let out = out.to_str().unwrap();
    for (options, told) in [
        (&["--questions", "100"][..], "too few for 100 on a sheet"),
        (&["--paper", "b5"], "expected letter or a4"),
        (&["--pupils", "0"], "0 is not in 1..=1000"),
    ] {
        let mut arguments = vec!["worksheet", pool, "-o", out];
        if options[0] != "--pupils" {
            arguments.extend(["--pupils", "2"]);
        }
        arguments.extend(options);
        let ended = conformance::program::run(arguments);
        assert!(ended.code != 0 && ended.stderr.contains(told), "{options:?}: {}", ended.stderr);
    }
}

/// Questions of the quiz on the screen.
const QUESTIONS: usize = 5;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sheet_is_printed_typed_in_and_graded() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let folder = TempDir::with_prefix("tenths-paper-")?;
    let pictures = Pictures::into_folder(folder.path())?;
    let settings = DemoSettings { port: 0, pupils: 3, folder: folder.path().join("demo") };
    let demo = Demo::start(&settings).await?;
    let teacher = driver.open(Screen::DESK, Scripts::On).await?;
    place(&teacher, &demo).await.context("placing")?;

    teacher.click(Locator::LinkText("Open")).await?;
    teacher.click(Locator::Css("a[href$='/paper']")).await?;
    teacher.click(Locator::Css("button[value=class]")).await?;
    let codes = teacher.texts("tbody th .code").await?;
    ensure!(codes.len() == 3, "a sheet for each pupil of the class list, not {codes:?}");
    looks::inspect(&teacher, "sheets of a quiz").await?;
    pictures.keep("paper-sheets", &teacher.picture_of("body").await?)?;

    teacher.click(Locator::Css("button[formaction$='/print']")).await?;
    teacher.find(Locator::Css("article.sheet")).await?;
    looks::inspect(&teacher, "sheets to be printed").await?;
    pictures.keep("paper-printed-page", &teacher.picture().await?)?;
    let items = drawn(&demo, &codes[0])?;
    let printed = teacher.text("article.sheet").await?;
    ensure!(items.iter().all(|item| squeezed(&printed).contains(&squeezed(&item.stem))), "{printed}");
    every_printed_page_tells_its_sheet(&teacher, folder.path(), &codes).await?;
    teacher.click(Locator::LinkText("Back to the list of sheets")).await?;

    mistype(&teacher, &codes[0]).await?;
    teacher.fill("#code", &codes[0].to_lowercase()).await?;
    teacher.press(keys::ENTER).await?;
    teacher.find(Locator::Css("form input[name=code][type=hidden]")).await?;
    looks::inspect(&teacher, "a sheet to be typed in").await?;
    pictures.keep("paper-typing-in", &teacher.picture().await?)?;
    type_in(&teacher, &items).await?;
    let total: u32 = items.iter().map(|item| item.max_points()).sum();
    let shown = teacher.text(".score strong").await?;
    ensure!(shown == total.to_string(), "the attempt shows {shown} of {total}");
    find_grade(&teacher, &demo, &format!("{total} of {total}")).await.context("the gradebook")?;

    in_spanish(&teacher, &demo, &codes[1]).await.context("in Spanish")?;
    ensure!(teacher.complaints().await?.is_empty(), "the browser complains");
    teacher.close().await?;
    demo.stop().await?;
    looks::all_seen("paper")
}

/// The same pages for a teacher who reads Spanish.
async fn in_spanish(teacher: &Browser, demo: &Demo, code: &str) -> Result<()> {
    open_class(teacher, demo).await?;
    teacher.click(Locator::Css("a[href$='/paper']")).await?;
    looks::inspect_in_both(teacher, "paper for a quiz").await?;
    looks::speak(teacher, "es-US").await?;
    teacher.click(Locator::Css("button[value=count]")).await?;
    teacher.find(Locator::Css("tbody tr:nth-child(4)")).await?;
    looks::inspect(teacher, "sheets of a quiz").await?;
    teacher.fill("#code", "AAAA").await?;
    teacher.press(keys::ENTER).await?;
    teacher.find(Locator::Css(".note.problem")).await?;
    teacher.complaints().await?;
    looks::inspect(teacher, "a code that no sheet has").await?;
    teacher.fill("#code", code).await?;
    teacher.press(keys::ENTER).await?;
    teacher.find(Locator::Css("form input[name=code][type=hidden]")).await?;
    looks::inspect(teacher, "a sheet to be typed in").await?;
    teacher.click(Locator::LinkText("Volver a la lista de hojas")).await?;
    teacher.click(Locator::Css("button[formaction$='/print']")).await?;
    teacher.find(Locator::Css("article.sheet")).await?;
    looks::inspect(teacher, "sheets to be printed").await?;
    looks::speak(teacher, "en-US").await
}

/// The class page of the placed quiz.
async fn open_class(teacher: &Browser, demo: &Demo) -> Result<()> {
    teacher.open(demo.front_page()).await?;
    teacher.click(Locator::Css("ul[aria-labelledby=teacher] button")).await?;
    teacher.click(Locator::LinkText("Open")).await
}

/// Pages of a sheet get apart on a teacher's table, so each of them has the code.
async fn every_printed_page_tells_its_sheet(
    teacher: &Browser,
    folder: &Path,
    codes: &[String],
) -> Result<()> {
    let file = folder.join("printed.pdf");
    std::fs::write(&file, teacher.printed().await?)?;
    let Some(text) = poppler("pdftotext", &[], &file) else { return Ok(()) };
    let pages: Vec<&str> = text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
    ensure!(pages.len() > codes.len(), "{} pages show nothing about second pages", pages.len());
    for page in pages {
        let told = codes.iter().filter(|code| page.contains(code.as_str())).count();
        ensure!(told == 1, "a page tells {told} codes: {page}");
    }
    Ok(())
}

async fn place(teacher: &Browser, demo: &Demo) -> Result<()> {
    teacher.open(demo.front_page()).await?;
    teacher.click(Locator::Css("ul[aria-labelledby=teacher] button")).await?;
    teacher.click(Locator::LinkText("Add an activity")).await?;
    teacher.click(Locator::Css("input[name=pool]")).await?;
    teacher.fill("#questions", &QUESTIONS.to_string()).await?;
    teacher.click(Locator::XPath("//button[normalize-space()='Place this quiz']")).await?;
    teacher.find(Locator::Css("ul.activities h3")).await?;
    Ok(())
}

/// The questions that a code draws, as anybody can who has the pool.
fn drawn<'d>(demo: &'d Demo, code: &str) -> Result<Vec<&'d Item>> {
    Ok(form::draw(demo.pool(), QUESTIONS, &code.parse::<SheetCode>()?.seed()))
}

/// Two signs that changed places are told, and no sheet is opened.
async fn mistype(teacher: &Browser, code: &str) -> Result<()> {
    let mut signs: Vec<char> = code.chars().collect();
    let place =
        (0..3).find(|place| signs[*place] != signs[place + 1]).context("a code of four equal signs")?;
    signs.swap(place, place + 1);
    teacher.fill("#code", &signs.iter().collect::<String>()).await?;
    teacher.press(keys::ENTER).await?;
    let told = teacher.text(".note.problem").await?;
    ensure!(told.contains("changed places"), "the page says '{told}'");
    // It comes back as an unprocessable form, which browsers complain of.
    let complaints = teacher.complaints().await?;
    ensure!(complaints.iter().all(|complaint| complaint.contains("422")), "{complaints:?}");
    looks::inspect(teacher, "a code that no sheet has").await.map(drop)
}

/// Types right answers in with keys alone.
async fn type_in(teacher: &Browser, items: &[&Item]) -> Result<()> {
    for (item, number) in items.iter().zip(1..) {
        let responses = item.right_responses();
        for step in &item.steps {
            let field = format!("q{number}.{}", step.id);
            let response = &responses[step.id.as_str()];
            if step.kind == StepKind::Choice {
                teacher.choose_by_keys(&field, response).await?;
            } else {
                teacher.tab_to(Locator::Css(&format!("input[name='{field}']"))).await?;
                teacher.press(&response.replace(", ", "")).await?;
            }
        }
    }
    teacher.tab_to(Locator::XPath("//button[normalize-space()='Mark and hand in']")).await?;
    teacher.press(keys::ENTER).await
}

async fn find_grade(teacher: &Browser, demo: &Demo, expected: &str) -> Result<()> {
    teacher.open(demo.front_page()).await?;
    teacher.click(Locator::Css("ul[aria-labelledby=teacher] button")).await?;
    teacher.click(Locator::LinkText("Gradebook")).await?;
    let until = Instant::now() + WITHIN;
    loop {
        let cells = teacher.texts("tbody td").await?;
        if cells.iter().any(|cell| cell.starts_with(expected)) {
            return Ok(());
        }
        ensure!(Instant::now() < until, "the gradebook shows {cells:?}, expected {expected}");
        tokio::time::sleep(Duration::from_millis(50)).await;
        teacher.reload().await?;
    }
}
