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

use exporters::qti::{
    CaseItem, PackageOptions, QtiVersion, Solution, from_item::map_item, report::ExportReport,
    write::write_item, write_package,
};
use qbank::{
    accept::{Form, Precision, Rule, Ties},
    bank,
    locale::Language,
    pool::{Pool, Section},
    question::StepKind,
};

use crate::samples::{Sample, decimal};

/// A pool with a section for every family of the starter bank.
fn whole_bank(questions: usize) -> Pool {
    whole_bank_in("en-US", questions)
}

pub(crate) fn whole_bank_in(locale: &str, questions: usize) -> Pool {
    let section = |family: &qbank::family::Family| {
        let draws = family.draws("exporters test", 0, locale);
        Section {
            id: format!("section-{}", family.id),
            title: family.id.replace('-', " "),
            pick: 1,
            items: draws.take(questions).map(Result::unwrap).collect(),
        }
    };
    let sections = bank::families().unwrap().iter().map(section).collect();
    Pool::new("river-day".into(), "River day: decimals".into(), locale.into(), sections).unwrap()
}

pub(crate) fn options() -> PackageOptions {
    PackageOptions::new("2026-03-02T09:15:00Z".parse().unwrap())
}

fn exported(pool: &Pool, options: &PackageOptions) -> (Vec<u8>, ExportReport) {
    let mut out = Cursor::new(Vec::new());
    let report = write_package(pool, options, &mut out).unwrap();
    (out.into_inner(), report)
}

pub(crate) fn member(package: &[u8], name: &str) -> String {
    let mut text = String::new();
    let mut archive = zip::ZipArchive::new(Cursor::new(package)).unwrap();
    archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

/// The folder of the schema check; `None` after saying that it is skipped.
fn standards() -> Option<PathBuf> {
    let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/standards");
    let folder = std::env::var_os("STANDARDS_DIR").map_or_else(beside, PathBuf::from);
    let lxml = Command::new("python3").args(["-c", "import lxml"]).output();
    if !folder.join("check-package").is_file() {
        skip(&format!("no check-package in {}; set STANDARDS_DIR", folder.display()))
    } else if !lxml.is_ok_and(|out| out.status.success()) {
        skip("it needs python3 with lxml")
    } else {
        Some(folder)
    }
}

#[expect(clippy::print_stderr, reason = "a skipped check must be seen in the output of the tests")]
fn skip(why: &str) -> Option<PathBuf> {
    let ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
    assert!(!ci, "packages cannot be checked against the published schemas: {why}");
    eprintln!("SKIPPED: packages against the published schemas: {why}");
    None
}

pub(crate) fn assert_valid(packages: &[(&str, &[u8])]) {
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

/// Everything that the starter bank does not use: other rules, forms, units, choices and functions.
fn by_hand() -> Pool {
    let places = |places| Rule::Rounded { to: Precision::Places(places), ties: Ties::HalfUp };
    let form = |places, unit| Form { places, unit, ..Form::default() };
    let givens = [("a", "12.4"), ("b", "3.57"), ("c", "0.25")];
    let items = vec![
        Sample::new("rules", &givens)
            .number("near", "a + b", Rule::Absolute { tolerance: decimal("0.05") }, form(None, false), None)
            .number(
                "share",
                "near * c",
                Rule::Relative { percent: decimal("5") },
                form(None, false),
                Some("kg"),
            )
            .number("tenths", "round(share / c, 2) + a", places(1), form(Some(1), true), Some("kg"))
            .number(
                "figures",
                "a * b",
                Rule::Rounded { to: Precision::Figures(2), ties: Ties::HalfUp },
                form(None, false),
                None,
            )
            .item(),
        Sample::new("functions", &givens)
            .plain("first", "max(a, b) - min(a, c)")
            .plain("second", "max(first, b, 1) * 2 - min(first, c)")
            .choice("sign", "second ? first", &[("<", None), ("=", None), (">", None)])
            .choice("limit", "smallest_at_least(second, 20, 30)", &[("20", Some("20")), ("30", Some("30"))])
            .number("cost", "limit - second", Rule::Exact, form(Some(2), false), Some("$"))
            .plain("cut", "whole(second) + digit(first, 1)")
            .item(),
        Sample::new("kinds", &givens)
            .order("order", "descending(a, b, c)", &["12.4", "3.57", "0.25"])
            .words("said", "a + b")
            .item(),
    ];
    let section = Section { id: "all".into(), title: "By hand <&>".into(), pick: 3, items };
    Pool::new("by-hand".into(), "\"By hand\"".into(), "en-US".into(), vec![section]).unwrap()
}

#[test]
fn packages_have_no_problem_by_the_published_schemas() {
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
    let (by_hand, _) = exported(&by_hand(), &options());
    let packages: [(&str, &[u8]); 4] =
        [("plain.zip", &plain), ("listed.zip", &listed), ("thrice.zip", &thrice), ("by-hand.zip", &by_hand)];
    assert_valid(&packages);
}

/// The patterns of items, tried by the XML Schema processor of lxml: the right answer in words matches the pattern that
/// earns the points, another answer does not, and every other pattern can be read.
#[test]
fn patterns_are_regular_expressions_of_xml_schema() {
    if standards().is_none() {
        return;
    }
    let by_hand = by_hand();
    let families = ["say-hundredths", "add-ragged"].map(|id| bank::family(id).unwrap());
    let drawn: Vec<_> = families
        .iter()
        .flat_map(|family| {
            family.draws("patterns", 0, "en-US").take(3).map(Result::unwrap).collect::<Vec<_>>()
        })
        .collect();
    let mut tried = Vec::new();
    for item in by_hand.items().chain(&drawn) {
        let mapped = map_item(item, Solution::Withheld, 1).unwrap();
        let mut written = Vec::new();
        write_item(&mut written, QtiVersion::V30.dialect(), &mapped.item).unwrap();
        let answers: Vec<String> = item
            .steps
            .iter()
            .filter(|step| step.kind == StepKind::Words)
            .map(|step| step.answer.to_string())
            .collect();
        tried.push(serde_json::json!([String::from_utf8(written).unwrap(), answers]));
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("items.json");
    std::fs::write(&path, serde_json::Value::from(tried).to_string()).unwrap();
    let script = include_str!("patterns.py");
    let out = Command::new("python3").args(["-c", script]).arg(&path).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    assert_eq!(
        (out.status.code(), said.trim()),
        (Some(0), "all patterns can be read, 4 right answers match")
    );
}

#[test]
fn a_pool_in_spanish_has_feedback_in_spanish() {
    let pool = whole_bank_in("es-US", 2);
    let mut thrice = options();
    thrice.attempts = 3;
    let (package, report) = exported(&pool, &thrice);
    assert_valid(&[("spanish.zip", &package)]);
    let english =
        ["Right", "Not right", "There is no answer", "Step", "point", "Round", "Write", "Look", "the "];
    for (item, at) in pool.items().zip(&report.items) {
        let text = member(&package, &at.path);
        let (_, feedback) = text.split_once("</qti-response-processing>").unwrap();
        assert!(
            feedback.contains("<p>Aquí no hay respuesta.</p>") && feedback.contains("Correcto."),
            "{}",
            at.path
        );
        for id in
            item.proven_steps().iter().flat_map(|step| &step.wrong).flat_map(|wrong| &wrong.misconceptions)
        {
            let sentence = qbank::misconceptions::find(id).unwrap().pupil(Language::Spanish);
            assert!(feedback.contains(sentence), "{}: {sentence}", at.path);
        }
        // Names of misconceptions are not told to anybody and stay as they are, in attributes.
        let paragraphs = feedback.split("<p>").skip(1).filter_map(|rest| rest.split_once("</p>"));
        for (told, _) in paragraphs {
            for word in english {
                assert!(!told.contains(word), "{}: '{word}' in '{told}'", at.path);
            }
        }
        assert!(!feedback.contains("title=\"Step") && !feedback.contains("title=\"Worked"), "{}", at.path);
    }
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
fn the_manifest_names_each_kind_of_interaction_once_an_item() {
    let manifest = member(&exported(&by_hand(), &options()).0, "imsmanifest.xml");
    let of = |item: &str| {
        let resource = manifest.split("<resource ").find(|resource| resource.contains(item)).unwrap();
        let kinds = resource.split("<interactionType>").skip(1);
        kinds.map(|kind| kind.split_once('<').unwrap().0.to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(of("href=\"items/item-kinds.xml\""), ["orderInteraction", "textEntryInteraction"]);
    assert_eq!(of("href=\"items/item-functions.xml\""), ["choiceInteraction", "textEntryInteraction"]);
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

#[test]
fn an_item_is_written_as_it_always_was() {
    let item = Sample::new("golden", &[("a", "12.40"), ("b", "3.57")])
        .number("total", "a + b", Rule::Exact, Form { places: Some(2), ..Form::default() }, Some("$"))
        .choice("note", "smallest_at_least(total, 10, 20)", &[("$10", Some("10")), ("$20", Some("20"))])
        .item();
    let mapped = map_item(&item, Solution::AfterLastAttempt, 2).unwrap();
    let mut written = Vec::new();
    write_item(&mut written, QtiVersion::V30.dialect(), &mapped.item).unwrap();
    let written = String::from_utf8(written).unwrap();
    // The program's version is in every item and is not the item's content.
    let written =
        written.replace(concat!("tool-version=\"", env!("CARGO_PKG_VERSION"), "\""), "tool-version=\"\"");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/packages/golden.xml");
        std::fs::write(path, &written).unwrap();
    }
    assert!(written == include_str!("golden.xml"), "the written form of items has changed: {written}");
}

#[test]
fn a_fault_names_the_item_or_the_file() {
    let refused = |sample: Sample| {
        let items = vec![sample.item()];
        let section = Section { id: "all".into(), title: "All".into(), pick: 1, items };
        let pool = Pool::new("pool".into(), "Pool".into(), "en-US".into(), vec![section]).unwrap();
        write_package(&pool, &options(), Cursor::new(Vec::new())).unwrap_err()
    };
    let sample = || Sample::new("fault", &[("a", "1"), ("b", "2")]).plain("sum", "a + b");
    let message = "item 'fault' is in 'es-ES'; expected English or Spanish of a region with a decimal point, \
                   such as en-US or es-US";
    let decimal_comma = sample().with(|question| question.locale = "es-ES".into());
    assert_eq!(refused(decimal_comma).to_string(), message);
    let no_identifier = sample().with(|question| question.steps[0].id = "in all".into());
    assert!(
        refused(no_identifier)
            .to_string()
            .starts_with("item 'fault', step 'in all': 'RESPONSE_in all' is no identifier")
    );
    let control = sample().with(|question| question.stem = "a \u{7} bell".into());
    let message =
        "items/item-fault.xml: character U+0007 in 'a  bell' cannot stand in XML; expected printable text";
    assert_eq!(refused(control).to_string(), message);
}

#[test]
fn ids_that_differ_in_letter_case_get_files_of_their_own() {
    let item = |id: &str| Sample::new(id, &[("a", "1"), ("b", "2")]).plain("sum", "a + b").item();
    let section =
        Section { id: "all".into(), title: "All".into(), pick: 1, items: vec![item("Con"), item("con")] };
    let pool = Pool::new("pool".into(), "Pool".into(), "en-US".into(), vec![section]).unwrap();
    let (package, report) = exported(&pool, &options());
    let paths: Vec<&str> = report.items.iter().map(|item| item.path.as_str()).collect();
    assert_eq!(paths, ["items/item-con.xml", "items/item-con_2.xml"]);
    assert!(member(&package, "test.xml").contains("href=\"items/item-con_2.xml\""));
}

#[test]
fn the_test_draws_from_every_section_and_sums_what_was_drawn() {
    let pool = whole_bank(3);
    let mut twice = options();
    twice.attempts = 2;
    let test = member(&exported(&pool, &twice).0, "test.xml");
    let count = |text: &str| test.matches(text).count();
    assert_eq!(count("<qti-selection select=\"1\" with-replacement=\"false\"/>"), pool.sections.len());
    assert_eq!(count("<qti-ordering shuffle=\"true\"/>"), pool.sections.len());
    assert_eq!(count("<qti-assessment-item-ref "), pool.items().count());
    assert_eq!(count("max-attempts=\"2\""), 1);
    // Every draw has as many points, because the questions of a family have.
    let maximum: u32 = pool.sections.iter().map(|section| section.items[0].max_points()).sum();
    assert_eq!(
        count(&format!(
            "identifier=\"SCORE\" cardinality=\"single\" base-type=\"float\" normal-maximum=\"{maximum}\""
        )),
        1
    );
    assert_eq!(count("<qti-test-variables variable-identifier=\"SCORE\""), 1);
}

#[test]
fn a_maximum_is_stated_only_where_every_draw_has_it() {
    let steps = |id: &str, two: bool| {
        let sample = Sample::new(id, &[("a", "1"), ("b", "2")]).plain("sum", "a + b");
        if two { sample.plain("more", "sum + b").item() } else { sample.item() }
    };
    let test = |pick: u32| {
        let items = vec![steps("short", false), steps("long", true)];
        let section = Section { id: "all".into(), title: "All".into(), pick, items };
        let pool = Pool::new("pool".into(), "Pool".into(), "en-US".into(), vec![section]).unwrap();
        member(&exported(&pool, &options()).0, "test.xml")
    };
    assert!(!test(1).contains("normal-maximum"));
    assert!(test(2).contains("normal-maximum=\"6\""));
}
