//! Printed sheets: what other programs see in them.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use conformance::program::run_well;
use conformance::school::PLAN;
use conformance::tools;
use qbank::pool::Pool;
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
fn poppler(program: &str, arguments: &[&str], file: &Path) -> Option<String> {
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

/// A text without its blanks and line ends: lines are broken differently on paper.
fn squeezed(text: &str) -> String {
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
            let answer = chosen.map_or_else(|| step.answer.to_string(), |choice| choice.text.clone());
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
