//! Whole packages from the starter bank: judged by the published schemas, and the same bytes every time.
//!
//! The schemas are not part of this project. `STANDARDS_DIR` names the folder that holds `check-package`; the default
//! is `../shared/standards` beside the repository. Without it the check is skipped and says so; with `CI=true` it
//! fails.
use std::{
    fs::File,
    io::{Cursor, Read},
    path::{Path, PathBuf},
    process::Command,
};

use exporters::qti::{CaseItem, PackageOptions, Solution, report::ExportReport, write_package};
use qbank::{
    bank,
    pool::{Pool, Section},
};

/// A pool with a section for every family of the starter bank.
fn whole_bank(questions: u64) -> Pool {
    let section = |family: &qbank::family::Family| {
        let draw = |position| family.draw("exporters test", position, "en-US").unwrap();
        Section {
            id: format!("section-{}", family.id),
            title: family.id.replace('-', " "),
            pick: 1,
            items: (0..questions).map(draw).collect(),
        }
    };
    let sections = bank::families().unwrap().iter().map(section).collect();
    Pool::new("river-day".into(), "River day: decimals".into(), "en-US".into(), sections).unwrap()
}

fn options() -> PackageOptions {
    PackageOptions::new("2026-03-02T09:15:00Z".parse().unwrap())
}

fn exported(pool: &Pool, options: &PackageOptions) -> (Vec<u8>, ExportReport) {
    let mut out = Cursor::new(Vec::new());
    let report = write_package(pool, options, &mut out).unwrap();
    (out.into_inner(), report)
}

fn member(package: &[u8], name: &str) -> String {
    let mut text = String::new();
    let mut archive = zip::ZipArchive::new(Cursor::new(package)).unwrap();
    archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

/// The folder of the schema check; `None` after saying that it is skipped.
#[expect(clippy::print_stderr, reason = "a skipped check must be seen in the output of the tests")]
fn standards() -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/standards");
    let folder = std::env::var_os("STANDARDS_DIR").map_or_else(beside, PathBuf::from);
    if folder.join("check-package").is_file() {
        return Some(folder);
    }
    let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
    assert!(!ci, "no check-package in {}; set STANDARDS_DIR", folder.display());
    eprintln!("SKIPPED: packages against the published schemas; no check-package in {}", folder.display());
    None
}

fn assert_valid(packages: &[(&str, &[u8])]) {
    let Some(standards) = standards() else { return };
    let folder = tempfile::tempdir().unwrap();
    let paths = packages.iter().map(|(name, bytes)| {
        let path = folder.path().join(name);
        std::io::copy(&mut &bytes[..], &mut File::create(&path).unwrap()).unwrap();
        path
    });
    let paths: Vec<PathBuf> = paths.collect();
    let out = Command::new("python3").arg(standards.join("check-package")).args(&paths).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.contains(" 0 problems"), "{said}");
}

#[test]
fn packages_of_the_whole_bank_have_no_problem_by_the_published_schemas() {
    let pool = whole_bank(4);
    let (plain, _) = exported(&pool, &options());
    let mut other = options();
    other.solution = Solution::Withheld;
    other.attempts = 0;
    // An invented listing: the published identifiers are the caller's to bring.
    let listed = CaseItem {
        identifier: "00000000-0000-4000-8000-000000000001".into(),
        uri: Some(
            "https://standards.example/ims/case/v1p0/CFItems/00000000-0000-4000-8000-000000000001".into(),
        ),
    };
    other.case_items.insert("5.NBT.B.7".into(), listed);
    let (listed, _) = exported(&pool, &other);
    let mut thrice = options();
    thrice.attempts = 3;
    let (thrice, _) = exported(&pool, &thrice);
    assert_valid(&[("plain.zip", &plain), ("listed.zip", &listed), ("thrice.zip", &thrice)]);
}

#[test]
fn the_same_pool_gives_the_same_bytes() {
    let pool = whole_bank(2);
    let (first, report) = exported(&pool, &options());
    assert_eq!(first, exported(&pool, &options()).0);
    assert_eq!(report.bytes, first.len() as u64);
    let reread = Pool::from_json(&pool.to_json()).unwrap();
    assert_eq!(first, exported(&reread, &options()).0);
}

#[test]
fn the_report_lists_every_item_and_loses_nothing_of_the_starter_bank() {
    let pool = whole_bank(2);
    let (package, report) = exported(&pool, &options());
    let items: Vec<&str> = report.items.iter().map(|item| item.item.as_str()).collect();
    assert_eq!(items, pool.items().map(|item| item.id.as_str()).collect::<Vec<_>>());
    for item in &report.items {
        assert_eq!(member(&package, &item.path).len() as u64, item.bytes);
    }
    let left_out: Vec<String> = report.left_out.iter().map(ToString::to_string).collect();
    assert_eq!(left_out, Vec::<String>::new());
}

#[test]
fn the_manifest_names_curriculum_codes_and_only_published_identifiers() {
    let pool = whole_bank(1);
    let manifest = member(&exported(&pool, &options()).0, "imsmanifest.xml");
    assert!(manifest.contains("<id>5.NBT.B.7</id>"));
    assert!(!manifest.contains("GUID"));
    let mut listed = options();
    listed
        .case_items
        .insert("5.NBT.B.7".into(), CaseItem { identifier: "a-published-one".into(), uri: None });
    let manifest = member(&exported(&pool, &listed).0, "imsmanifest.xml");
    assert!(manifest.contains("<label>5.NBT.B.7</label>"));
    assert_eq!(manifest.matches("<GUID>").count(), manifest.matches("<GUID>a-published-one</GUID>").count());
}

#[test]
fn a_withheld_solution_is_not_in_the_package() {
    let pool = whole_bank(1);
    let mut withheld = options();
    withheld.solution = Solution::Withheld;
    let (with, report) = exported(&pool, &options());
    let (without, _) = exported(&pool, &withheld);
    for item in &report.items {
        assert!(member(&with, &item.path).contains("outcome-identifier=\"SOLUTION\""));
        assert!(!member(&without, &item.path).contains("SOLUTION"));
        assert!(!member(&without, &item.path).contains("<pre>"));
    }
}
