//! From responses in all formats to marks, and from marks to a report, as a person runs it.

use std::fs;
use std::io::{Cursor, Write as _};
use std::process::Command;

use conformance::program::{run, run_well};
use conformance::{skip, tools};
use qbank::statistics::{Divisor, Figure, PairSums, alpha};
use serde_json::{Value, json};

const PLAN: &str = r#"pool = "river-day"
title = "River day"
seed = "river-day-1"

[[section]]
title = "Adding"
family = "add-ragged"
count = 2
pick = 1

[[section]]
title = "Samples"
family = "story-samples"
count = 1
pick = 1

[[section]]
title = "Comparing"
family = "compare-ragged"
count = 1
pick = 1

[[section]]
title = "Order"
family = "order-thousandths"
count = 1
pick = 1
"#;

struct Bank {
    folder: tempfile::TempDir,
    pool: String,
    questions: Vec<Value>,
}

impl Bank {
    /// A pool of two sums, a story, a comparison and an order.
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (plan, pool) = (folder.path().join("plan.toml"), folder.path().join("pool.json"));
        fs::write(&plan, PLAN).unwrap();
        run_well(["pool", plan.to_str().unwrap(), "-o", pool.to_str().unwrap()]);
        let record: Value = serde_json::from_str(&fs::read_to_string(&pool).unwrap()).unwrap();
        let sections = record["sections"].as_array().unwrap();
        let questions = sections.iter().flat_map(|section| section["questions"].as_array().unwrap().clone());
        Self { questions: questions.collect(), pool: pool.display().to_string(), folder }
    }

    fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.folder.path().join(name);
        fs::write(&path, content).unwrap();
        path.display().to_string()
    }

    fn id(&self, question: usize) -> &str {
        self.questions[question]["id"].as_str().unwrap()
    }

    /// A report of the exporters' tests, with questions of this pool.
    fn results(&self, version: &str) -> String {
        let path = tools::root().join(format!("exporters/tests/packages/results/{version}.xml"));
        let text = fs::read_to_string(path).unwrap();
        let [adding, second, story, order] =
            [0, 1, 2, 4].map(|question| format!("\"{}\"", self.id(question)));
        let text = text.replace("\"ADDING\"", &adding).replace("\"ADDING-2\"", &second);
        let text = text.replace("\"STORY\"", &story).replace("\"ORDER\"", &order);
        let right = self.questions[4]["steps"][0]["answer"].as_array().unwrap();
        let right: String =
            right.iter().map(|id| format!("<value>{}</value>", id.as_str().unwrap())).collect();
        text.replace("<value>B</value><value>A</value><value>C</value>", &right)
    }
}

fn marks(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn verdicts(mark: &Value) -> Vec<&str> {
    mark["steps"].as_array().unwrap().iter().map(|step| step["verdict"].as_str().unwrap()).collect()
}

fn told(stderr: &str, said: &[&str]) {
    for said in said {
        assert!(stderr.contains(said), "'{said}' is not said: {stderr}");
    }
}

// --- result reports ---

#[test]
fn a_result_report_is_marked_and_what_cannot_be_used_is_told_by_line() {
    let bank = Bank::new();
    let report = bank.file("r.xml", bank.results("v30"));
    let ended = run(["score", &bank.pool, &report]);
    assert_eq!(ended.code, 1);
    told(
        &ended.stderr,
        &[
            "line 42: the attempt was not handed in, its status is 'pendingSubmission'",
            "3 answers marked, 1 rows not usable",
        ],
    );
    let marks = marks(&ended.stdout);
    let questions: Vec<&Value> = marks.iter().map(|mark| &mark["question"]).collect();
    assert_eq!(questions, [0, 4, 2].map(|question| &bank.questions[question]["id"]));
    assert!(marks.iter().all(|mark| mark["pupil"] == "p-07"));
    // As typed, with the unit, not what the platform made of it.
    assert_eq!(marks[0]["steps"][0]["response"], "15.40\u{a0}kg");
    assert_eq!(verdicts(&marks[1]), ["correct"]);
    assert_eq!(marks[2]["steps"][0]["response"], "1.5");
    assert_eq!(verdicts(&marks[2])[1..], ["blank"; 4]);
}

#[test]
fn reports_of_older_versions_are_marked_with_the_last_complete_attempt() {
    let bank = Bank::new();
    let ended = run(["score", &bank.pool, &bank.file("r.xml", bank.results("v22"))]);
    told(
        &ended.stderr,
        &["line 20: the attempt was not handed in", "1 earlier attempts passed over", "1 answers marked"],
    );
    let [mark] = &marks(&ended.stdout)[..] else { panic!("{}", ended.stdout) };
    assert_eq!((&mark["pupil"], &mark["steps"][0]["response"]), (&json!("p-08"), &json!("later")));

    let ended = run(["score", &bank.pool, &bank.file("r.xml", bank.results("v21"))]);
    told(
        &ended.stderr,
        &[
            "line 8: the response variable 'MOOD' belongs to no step",
            "line 13: the pool has no question 'of-another-bank'",
            "1 answers marked, 2 rows not usable",
        ],
    );
    assert_eq!(marks(&ended.stdout)[0]["steps"][0]["response"], "12.5");
}

#[test]
fn an_archive_of_reports_is_marked_and_a_bad_one_stops_no_other() {
    let bank = Bank::new();
    let later =
        bank.results("v21").replace("2026-03-02T09:15:00Z", "2026-03-03T08:00:00Z").replace("12.5", "7.5");
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in [
        ("imsmanifest.xml", "<manifest/>"),
        ("a/later.xml", &later),
        ("a/first.xml", &bank.results("v21")),
        ("b.xml", &bank.results("v22").replace("</context>", "")),
        ("c.xml", "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/hosts'>]><x>&e;</x>"),
        ("readme.txt", "not a report"),
    ] {
        archive.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        archive.write_all(content.as_bytes()).unwrap();
    }
    let bytes = archive.finish().unwrap().into_inner();
    let ended = run(["score", &bank.pool, &bank.file("all.zip", bytes)]);
    assert_eq!(ended.code, 1);
    told(
        &ended.stderr,
        &[
            "a/first.xml, line 13: the pool has no question 'of-another-bank'",
            "b.xml: line 21: not well-formed XML",
            "c.xml: line 1: a DOCTYPE is not accepted",
            "2 earlier attempts passed over",
            "1 answers marked",
        ],
    );
    assert!(!ended.stderr.contains("imsmanifest") && !ended.stderr.contains("readme"), "{}", ended.stderr);
    let [mark] = &marks(&ended.stdout)[..] else { panic!("{}", ended.stdout) };
    assert_eq!((&mark["pupil"], &mark["steps"][0]["response"]), (&json!("p-09"), &json!("7.5")));

    let ended = run(["score", &bank.pool, &bank.file("no.zip", "PK")]);
    assert_eq!(ended.code, 1);
    told(&ended.stderr, &["no.zip", "not a readable zip archive"]);
}

// --- rows ---

#[test]
fn csv_rows_are_gathered_in_any_order_and_told_by_their_line() {
    let bank = Bank::new();
    let (sum, story) = (bank.id(0), bank.id(2));
    let steps: Vec<&str> = bank.questions[2]["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| step["id"].as_str().unwrap())
        .collect();
    // A blank line, a response of two lines and both line ends; rows by step, not by pupil.
    let rows = format!(
        "pupil,question,step,response\n\n\np-01,{story},{first},1\r\np-02,{story},{first},1\n\np-01,{story},{second},\"2\n2\"\n\
         \r\np-02,{story},nonsense,2\np-02,{story},{second},2\np-03,{sum},total,1\np-03,{sum},total,2",
        first = steps[0],
        second = steps[1],
    );
    let ended = run(["score", &bank.pool, &bank.file("r.csv", rows)]);
    told(
        &ended.stderr,
        &[
            "line 10: the question '",
            "no step 'nonsense'",
            "line 13: the step 'total' was answered in an earlier row",
            "3 answers marked, 2 rows not usable",
        ],
    );
    let marks = marks(&ended.stdout);
    let pupils: Vec<&Value> = marks.iter().map(|mark| &mark["pupil"]).collect();
    assert_eq!(pupils, ["p-01", "p-02", "p-03"]);
    assert_eq!(
        (&marks[0]["steps"][1]["response"], &marks[1]["steps"][1]["response"]),
        (&json!("2\n2"), &json!("2"))
    );
}

// --- reports ---

/// Twelve pupils: a sum that two thirds get right and the others as a misconception predicts, and a comparison.
fn class(bank: &Bank) -> String {
    let (sum, comparison) = (&bank.questions[0], &bank.questions[3]);
    let predicted = &sum["steps"][0]["predicted"][0]["answer"];
    let choices = comparison["steps"][0]["choices"].as_array().unwrap();
    let compared = comparison["steps"][0]["id"].as_str().unwrap();
    let mut lines = String::new();
    for pupil in 0..12 {
        let total = if pupil % 3 == 0 { predicted } else { &sum["steps"][0]["answer"] };
        let choice = &choices[pupil % 2]["id"];
        for record in [
            json!({"pupil": format!("p-{pupil:02}"), "question": sum["id"], "responses": {"total": total}}),
            json!({"pupil": format!("p-{pupil:02}"), "question": comparison["id"], "responses": {compared: choice}}),
        ] {
            lines += &format!("{record}\n");
        }
    }
    let responses = bank.file("class.ndjson", lines);
    let marks = bank.folder.path().join("marks.ndjson").display().to_string();
    run_well(["score", &bank.pool, &responses, "-o", &marks]);
    marks
}

#[test]
fn a_report_tells_facility_distractors_choices_and_patterns() {
    let bank = Bank::new();
    let marks = class(&bank);
    let report: Value =
        serde_json::from_str(&run_well(["report", &marks, "--pool", &bank.pool, "--json"])).unwrap();
    assert_eq!(
        (&report["pupils"], &report["marks"], &report["pool"]["id"]),
        (&json!(12), &json!(24), &json!("river-day"))
    );
    let of = |list: &str, key: &str, value: &str| {
        report[list].as_array().unwrap().iter().find(|one| one[key] == value).unwrap().clone()
    };
    let sum = of("questions", "question", bank.id(0));
    assert_eq!((&sum["pupils"], &sum["family"]), (&json!(12), &json!("add-ragged")));
    let figures = &sum["figures"];
    assert_eq!(figures["facility"], "0.6667");
    assert_eq!(figures["interval_95"], json!(["0.3906", "0.8619"]));
    assert_eq!((&figures["verdicts"]["correct"], &figures["verdicts"]["wrong"]), (&json!(8), &json!(4)));
    let predicted = bank.questions[0]["steps"][0]["predicted"].as_array().unwrap();
    let distractors = figures["distractors"].as_array().unwrap();
    assert_eq!(distractors.len(), predicted.len(), "predicted in vain, too");
    let first = &predicted[0];
    assert_eq!(
        distractors[0],
        json!({"misconception": first["misconception"], "answer": first["answer"], "count": 4})
    );
    assert!(distractors[1..].iter().all(|one| one["count"] == 0));

    let choices = of("questions", "question", bank.id(3))["figures"]["choices"].clone();
    assert_eq!(
        (&choices[0]["count"], &choices[1]["count"], &choices[2]["count"]),
        (&json!(6), &json!(6), &json!(0))
    );
    assert_eq!(of("families", "family", "add-ragged")["figures"]["facility"], "0.6667");
    let class = report["class"].as_array().unwrap();
    let pattern = class.iter().find(|one| one["misconception"] == first["misconception"]).unwrap();
    assert_eq!((&pattern["pupils"], &pattern["steps"]), (&json!(4), &json!(4)));
    let pupil = of("by_pupil", "pupil", "p-00");
    assert!(
        pupil["consistent_with"]
            .as_array()
            .unwrap()
            .contains(&json!({"misconception": first["misconception"], "steps": 1}))
    );
    let form = &report["forms"][0];
    assert_eq!((&form["pupils"], form["steps"].as_array().unwrap().len()), (&json!(12), 2));

    // Without the pool: the same numbers, without texts and choices.
    let bare: Value = serde_json::from_str(&run_well(["report", &marks, "--json"])).unwrap();
    assert_eq!(
        (&bare["verdicts"], &bare["forms"], &bare["class"]),
        (&report["verdicts"], &report["forms"], &report["class"])
    );
    assert!(bare.get("pool").is_none() && bare["families"][0]["family"] == "add-ragged");

    let text = run_well(["report", &marks, "--pool", &bank.pool]);
    told(
        &text,
        &[
            "River day\n24 answers of 12 pupils",
            "facility 0.67 (95 %: 0.39 to 0.86, rough)",
            "answers consistent with",
            "chosen: A (",
        ],
    );
}

/// Three pupils with four sums: one always answers as a misconception leads to, one once, one always rightly.
#[test]
fn a_report_names_what_a_pupils_answers_together_are_consistent_with() {
    const HELD: &str = "add-two-whole-numbers";
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let plan = "pool = \"sums\"\ntitle = \"Sums\"\nseed = \"sums\"\n[[section]]\ntitle = \"Adding\"\n\
                family = \"add-ragged\"\ncount = 4\npick = 4\n";
    fs::write(file("plan.toml"), plan).unwrap();
    run_well(["pool", &file("plan.toml"), "-o", &file("pool.json")]);
    let pool: Value = serde_json::from_str(&fs::read_to_string(file("pool.json")).unwrap()).unwrap();
    let mut responses = String::new();
    for (place, question) in pool["sections"][0]["questions"].as_array().unwrap().iter().enumerate() {
        let step = &question["steps"][0];
        let predicted = step["predicted"].as_array().unwrap();
        let held = predicted.iter().find(|wrong| wrong["misconception"] == HELD);
        let held = &held.expect("it leads to an answer of its own in each of these questions")["answer"];
        let right = &step["answer"];
        for (pupil, answer) in
            [("holds", held), ("once", if place == 0 { held } else { right }), ("right", right)]
        {
            let record = json!({"pupil": pupil, "question": question["id"], "responses": {"total": answer}});
            responses += &format!("{record}\n");
        }
    }
    fs::write(file("responses.ndjson"), responses).unwrap();
    run_well(["score", &file("pool.json"), &file("responses.ndjson"), "-o", &file("marks.ndjson")]);
    let report = ["report", &file("marks.ndjson"), "--pool", &file("pool.json")];
    let json: Value = serde_json::from_str(&run_well([&report[..], &["--json"]].concat())).unwrap();
    let diagnoses = json["diagnoses"].as_array().unwrap();
    assert_eq!(diagnoses.len(), 1, "{diagnoses:?}");
    let one = &diagnoses[0];
    assert_eq!((&one["pupil"], &one["named"]), (&json!("holds"), &json!([HELD])));
    assert!(one["says"].as_str().unwrap().starts_with("answers consistent with "), "{one}");
    assert!(!one["next"].as_array().unwrap().is_empty());
    told(
        &run_well(report),
        &["Judged from all answers of a pupil together", "holds: answers consistent with "],
    );
    assert!(json.get("next").is_none());
    let next: Value =
        serde_json::from_str(&run_well([&report[..], &["--json", "--next", "2"]].concat())).unwrap();
    let next = &next["next"];
    assert_eq!(
        next["class"].as_array().unwrap().len(),
        2,
        "all have answered all: the fewest are asked again"
    );
    assert_eq!(next["pupils"], json!({"holds": [], "once": [], "right": []}));
    // The first question only: of the others the one that shows what was held is asked.
    let marks = fs::read_to_string(file("marks.ndjson")).unwrap();
    let first: Vec<&str> = marks.lines().take(3).collect();
    fs::write(file("first.ndjson"), first.join("\n")).unwrap();
    let begun = ["report", &file("first.ndjson"), "--pool", &file("pool.json"), "--next", "1"];
    let begun_json: Value = serde_json::from_str(&run_well([&begun[..], &["--json"]].concat())).unwrap();
    assert_eq!(begun_json["next"]["pupils"]["holds"][0]["shows"][0], HELD, "{begun_json}");
    told(&run_well(begun), &["To ask next: the answers would tell most", "the class: ", "would show: "]);
    // Marks alone do not tell what an answer would have shown.
    let bare: Value = serde_json::from_str(&run_well(["report", &file("marks.ndjson"), "--json"])).unwrap();
    assert!(bare.get("diagnoses").is_none());
}

#[test]
fn a_report_tells_nothing_about_fewer_than_ten_pupils_but_each_pupils_own() {
    let bank = Bank::new();
    let marks = class(&bank);
    let few: String =
        fs::read_to_string(&marks).unwrap().lines().take(18).map(|line| format!("{line}\n")).collect();
    let few = bank.file("few.ndjson", few + "no mark\n");
    let ended = run(["report", &few, "--json"]);
    assert_eq!(ended.code, 1);
    told(&ended.stderr, &["line 19: column", "1 lines are no marks"]);
    let report: Value = serde_json::from_str(&ended.stdout).unwrap();
    let withheld = json!({"withheld": "fewer_than_10_pupils"});
    assert_eq!((&report["pupils"], &report["verdicts"], &report["class"]), (&json!(9), &withheld, &withheld));
    assert!(report["questions"].as_array().unwrap().iter().all(|step| step["figures"] == withheld));
    assert_eq!((&report["forms"], &report["ungrouped"]["forms"]), (&json!([]), &json!(9)));
    assert_eq!(report["by_pupil"].as_array().unwrap().len(), 9);
    let text = run(["report", &few]).stdout;
    told(&text, &["not told (fewer than 10 pupils)"]);
    assert!(!text.contains("facility"), "{text}");
}

// --- against outside programs ---

/// What the script exits with where what it needs is not installed.
const NOT_INSTALLED: i32 = 3;

/// Runs the script; `None` after saying why not.
fn outside(check: &str, arguments: &[&str]) -> Option<String> {
    let script = tools::root().join("tests/outside/item_statistics.py");
    let Ok(out) = Command::new("python3").arg(script).args(arguments).output() else {
        skip(check, "python3 does not start");
        return None;
    };
    let said = String::from_utf8(out.stdout).unwrap();
    if out.status.code() == Some(NOT_INSTALLED) {
        skip(check, said.trim());
        return None;
    }
    assert!(out.status.success(), "{said}{}", String::from_utf8_lossy(&out.stderr));
    Some(said)
}

#[test]
fn a_report_agrees_with_numpy() {
    let bank = Bank::new();
    // Invented marks of 150 pupils: steps of up to three points that go together with a pupil's strength, as a
    // generator of the simplest kind gives them.
    let mut state = 7_u64;
    let mut draw = |below: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let mut lines = String::new();
    for pupil in 0..150 {
        let strength = draw(10);
        for question in 0..8_u64 {
            let max = 1 + question % 3;
            let points = (0..max).filter(|_| draw(10) + draw(4) < strength + question / 2).count();
            let step = json!({"id": "total", "response": "1", "points": points, "max": max, "verdict": "wrong", "misconceptions": [], "note": ""});
            let mark = json!({"pupil": format!("p-{pupil}"), "question": format!("q{question}"), "points": points, "max": max, "steps": [step]});
            lines += &format!("{mark}\n");
        }
    }
    let marks = bank.file("marks.ndjson", lines);
    let report = bank.file("report.json", run_well(["report", &marks, "--json"]));
    let Some(said) = outside("a report against numpy", &["check", &marks, &report]) else { return };
    // Facility and interval of 8 steps, two correlations each; alpha, mean, deviation and standard error.
    assert_eq!(said.trim(), "44 compared, 0 different");
}

/// Data sets that the package pingouin 0.7.0 brings, and the values of alpha that its documentation prints: complete
/// rows, blanks as the item's median, ratings. With blanks as wrong, as marks have them, alpha is another one.
#[test]
fn alpha_agrees_with_published_data_sets() {
    let Some(data) = outside("alpha against pingouin's data sets", &["data"]) else { return };
    let data: Value = serde_json::from_str(&data).unwrap();
    for (name, rows, places, published) in [
        ("complete", 9, 13, "0.8016949152542"),
        ("median", 12, 13, "0.7380191693291"),
        ("wrong", 12, 4, "0.6932"),
        ("ratings", 15, 13, "0.5917188485996"),
    ] {
        let table: Vec<Vec<u64>> = serde_json::from_value(data[name].clone()).unwrap();
        assert_eq!(table.len(), rows, "{name}");
        assert_eq!(alpha_of(&table).written(places), published, "{name}");
    }
}

fn alpha_of(table: &[Vec<u64>]) -> Figure {
    let steps = table[0].len();
    let mut columns = vec![PairSums::default(); steps];
    let mut total = PairSums::default();
    for row in table {
        let sum = row.iter().sum();
        total.add(sum, 0);
        columns.iter_mut().zip(row).for_each(|(column, points)| column.add(*points, sum));
    }
    let variances = columns.iter().map(|column| column.variance(Divisor::Population).unwrap());
    let variances = variances.reduce(|sum, next| sum.plus(&next)).unwrap();
    alpha(steps as u64, &variances, &total.variance(Divisor::Population).unwrap()).unwrap()
}
