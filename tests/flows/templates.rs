//! Items that a platform varies itself, from export to marks: what a platform drew, asked and scored comes back as a
//! result report, and `tenths score` gives the points that the platform gave.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::{self, File};
use std::path::Path;

use conformance::program::{run, run_well};
use exporters::archive::reading::ArchiveReader;
use exporters::processor::body::{Interaction, InteractionKind};
use exporters::processor::value::Scalar;
use exporters::processor::{Item, Play, Response, Session, Value, read_item};
use serde_json::Value as Json;

const PLAN: &str = r#"
pool = "river-day"
title = "River day: decimals"
seed = "river-day-1"

[[section]]
title = "Adding"
family = "add-ragged"
count = 4
pick = 2

[[section]]
title = "Comparing"
family = "compare-ragged"
count = 4
pick = 1

[[section]]
title = "A story"
family = "story-relay"
count = 4
pick = 1
"#;

/// A pool with its package of templates in a folder of its own.
struct Exported {
    folder: tempfile::TempDir,
    pool: String,
    items: Vec<Item>,
}

impl Exported {
    fn new(version: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name).display().to_string();
        let (plan, pool, package) = (at("plan.toml"), at("pool.json"), at("package.zip"));
        fs::write(&plan, PLAN).unwrap();
        run_well(["pool", &plan, "-o", &pool]);
        run_well(["export", &pool, "--as", version, "--templates", "-o", &package]);
        let items = items_of(Path::new(&package));
        assert_eq!(items.len(), 3, "one for each family");
        Self { folder, pool, items }
    }

    /// What the package's test calls the first question of the item's section.
    fn reference(&self, item: &Item) -> String {
        let pool: Json = serde_json::from_str(&fs::read_to_string(&self.pool).unwrap()).unwrap();
        let sections = pool["sections"].as_array().unwrap();
        let of_item = |section: &&Json| {
            let family = section["questions"][0]["family"].as_str().unwrap();
            item.identifier.starts_with(&format!("{family}-v"))
        };
        let section = sections.iter().find(of_item).unwrap()["id"].as_str().unwrap();
        format!("{section}_item_1")
    }

    fn score(&self, report: &str) -> conformance::program::Ended {
        let path = self.folder.path().join("report.xml");
        fs::write(&path, report).unwrap();
        run(["score", &self.pool, path.to_str().unwrap()])
    }
}

fn items_of(package: &Path) -> Vec<Item> {
    let mut archive = ArchiveReader::new(std::io::BufReader::new(File::open(package).unwrap())).unwrap();
    let names = archive.names();
    let names = names.iter().filter(|(_, name)| name.starts_with("items/"));
    names
        .map(|(index, _)| read_item(std::io::BufReader::new(archive.member(*index).unwrap())).unwrap())
        .collect()
}

/// Answers a clone: right, or in the step of this number as the first predicted misconception would.
fn responses(session: &Session<'_>, item: &Item, wrong: Option<usize>) -> BTreeMap<String, Response> {
    let answer = |(number, interaction): (usize, &Interaction)| {
        let name = &interaction.response;
        let step = name.strip_prefix("RESPONSE_").unwrap();
        let predicted = format!("WRONG_{step}_1");
        let declared = item.declarations.iter().any(|declared| declared.identifier == predicted);
        let led_astray = wrong == Some(number) && declared && !session.value(&predicted).is_null();
        let value = if led_astray { session.value(&predicted) } else { session.correct(name) };
        let response = match &interaction.kind {
            InteractionKind::TextEntry { .. } => Response::Text(value.as_float().unwrap().to_string()),
            _ => Response::Chosen(value.scalars().iter().map(as_told).collect()),
        };
        (name.clone(), response)
    };
    item.body.interactions.iter().enumerate().map(answer).collect()
}

fn as_told(scalar: &Scalar) -> String {
    match scalar {
        Scalar::Identifier(id) => id.to_string(),
        other => panic!("{other:?} where an identifier belongs"),
    }
}

/// What a platform reports of a clone after one attempt.
fn item_result(item: &Item, session: &Session<'_>, name: &str, given: &BTreeMap<String, Response>) -> String {
    let mut result = format!(
        "<itemResult identifier=\"{name}\" sequenceIndex=\"1\" datestamp=\"2026-03-02T09:33:40Z\" \
         sessionStatus=\"final\">"
    );
    for (name, response) in given {
        let values = match response {
            Response::Text(text) => vec![text.clone()],
            Response::Chosen(ids) => ids.clone(),
            Response::Value(value) => panic!("{value:?} is nothing that a pupil gives"),
        };
        let values: String = values.iter().map(|value| format!("<value>{value}</value>")).collect();
        write!(
            result,
            "<responseVariable identifier=\"{name}\" cardinality=\"single\" baseType=\"float\">\
             <candidateResponse>{values}</candidateResponse></responseVariable>"
        )
        .unwrap();
    }
    for declared in &item.declarations {
        let name = &declared.identifier;
        let is_drawn = name.starts_with("UNITS_") || name.starts_with("DRAW_");
        let Some(value) = session.value(name).as_float().filter(|_| is_drawn) else { continue };
        write!(
            result,
            "<templateVariable identifier=\"{name}\" cardinality=\"single\" baseType=\"integer\">\
             <value>{value}</value></templateVariable>"
        )
        .unwrap();
    }
    result + "</itemResult>"
}

fn report(pupil: &str, results: &str) -> String {
    format!(
        "<assessmentResult xmlns=\"http://www.imsglobal.org/xsd/imsqti_result_v3p0\">\
         <context sourcedId=\"{pupil}\"/>{results}</assessmentResult>"
    )
}

fn marks(text: &str) -> Vec<Json> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn questions_that_a_platform_drew_get_the_points_that_it_gave() {
    let exported = Exported::new("qti3");
    let (mut results, mut expected) = (String::new(), Vec::new());
    for (place, item) in exported.items.iter().enumerate() {
        for round in 0..8_usize {
            let mut session = Session::begin(item, Play::Drawn(&format!("{place}-{round}"))).unwrap();
            let wrong = round.checked_sub(3).map(|round| round % item.body.interactions.len());
            let given = responses(&session, item, wrong);
            session.attempt(&given).unwrap();
            // As the item is called, and as the test calls it.
            let name = if round % 2 == 0 { item.identifier.clone() } else { exported.reference(item) };
            let result = item_result(item, &session, &name, &given);
            results += &result.replace("sequenceIndex=\"1\"", &format!("sequenceIndex=\"{}\"", round + 1));
            expected.push((name, session.value("SCORE").as_float().unwrap()));
        }
    }
    let ended = exported.score(&report("p-07", &results));
    assert_eq!(ended.code, 0, "{}", ended.stderr);
    let marks = marks(&ended.stdout);
    let got: Vec<_> = marks
        .iter()
        .map(|mark| (mark["question"].as_str().unwrap().to_owned(), mark["points"].as_f64().unwrap()))
        .collect();
    assert_eq!(got, expected);
    assert!(marks.iter().any(|mark| mark["points"] != mark["max"]), "nothing was answered wrong");
    let mut steps = marks.iter().flat_map(|mark| mark["steps"].as_array().unwrap());
    assert!(steps.any(|step| !step["misconceptions"].as_array().unwrap().is_empty()));
}

#[test]
fn variables_that_are_missing_or_impossible_are_told() {
    let exported = Exported::new("qti21");
    let item = exported.items.iter().find(|item| item.identifier.starts_with("add-ragged")).unwrap();
    let mut session = Session::begin(item, Play::Drawn("one")).unwrap();
    let given = responses(&session, item, None);
    session.attempt(&given).unwrap();
    let whole = item_result(item, &session, &item.identifier, &given);
    let Value::Single(units) = session.value("UNITS_a") else { panic!("not drawn") };
    let units =
        format!("identifier=\"UNITS_a\" cardinality=\"single\" baseType=\"integer\"><value>{}</value>", {
            units.as_float().unwrap()
        });
    assert!(whole.contains(&units), "{whole}");
    let with = |other: &str| whole.replace(&units, other);
    let cases = [
        (
            with("identifier=\"OTHER\" cardinality=\"single\" baseType=\"integer\"><value>1</value>"),
            "the template variable 'UNITS_a' is missing",
        ),
        (
            with("identifier=\"UNITS_a\" cardinality=\"single\" baseType=\"integer\"><value>1.5</value>"),
            "the template variable 'UNITS_a' is '1.5', which the template never draws",
        ),
        (
            with(
                "identifier=\"UNITS_a\" cardinality=\"single\" baseType=\"integer\"><value>99999999</value>",
            ),
            "the template variable 'UNITS_a' is '99999999', which the template never draws",
        ),
        (whole.replace("RESPONSE_total", "RESPONSE_height"), "has no step 'height'"),
    ];
    for (results, said) in cases {
        let ended = exported.score(&report("p-07", &results));
        assert_eq!((ended.code, ended.stdout.as_str()), (1, ""), "{said}");
        assert!(ended.stderr.contains("line 1: ") && ended.stderr.contains(said), "{}", ended.stderr);
    }
}
