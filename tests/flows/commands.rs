//! The question bank's commands as a person runs them: records, exit codes, and answers recomputed from outside.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Output, Stdio};

use conformance::program::{Ended, run, run_well};
use conformance::tools;
use qbank::decimal::Decimal;
use serde_json::{Value, json};

/// The records of a command that prints one a line.
fn records<'a>(arguments: impl IntoIterator<Item = &'a str>) -> Vec<Value> {
    run_well(arguments).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn record<const N: usize>(arguments: [&str; N]) -> Value {
    let [record] = <[Value; 1]>::try_from(records(arguments)).unwrap();
    record
}

fn text<'v>(value: &'v Value, field: &str) -> &'v str {
    value[field].as_str().unwrap_or_else(|| panic!("{field} is no text in {value}"))
}

fn list<'v>(value: &'v Value, field: &str) -> &'v [Value] {
    value[field].as_array().unwrap_or_else(|| panic!("{field} is no list in {value}"))
}

fn decimal(value: &Value, field: &str) -> Decimal {
    text(value, field).parse().unwrap_or_else(|_| panic!("{field} is no decimal in {value}"))
}

fn families() -> Vec<String> {
    records(["families", "--json"]).iter().map(|record| text(record, "family").to_owned()).collect()
}

fn assert_fails(ended: &Ended, code: i32, words: &[&str]) {
    assert_eq!(ended.code, code, "{}{}", ended.stdout, ended.stderr);
    for said in words {
        assert!(ended.stderr.contains(said), "'{said}' is not said: {}", ended.stderr);
    }
}

// --- families and draw ---

#[test]
fn families_tell_alignment_kinds_of_answer_and_capacity() {
    let records = records(["families", "--json"]);
    assert!(records.len() >= 10, "{} families", records.len());
    for record in &records {
        assert!(!list(record, "standards").is_empty(), "{record}");
        for kind in list(record, "kinds") {
            assert!(["number", "choice", "order", "words"].contains(&kind.as_str().unwrap()), "{record}");
        }
        let positions: u64 = text(&record["capacity"], "positions").parse().unwrap();
        assert!(positions >= 24, "a class of its own numbers each: {record}");
        let counts = text(&record["capacity"], "counts");
        assert!(["questions", "numbers", "bound"].contains(&counts), "{record}");
        assert_eq!(record["capacity"]["exact"], counts == "questions", "{record}");
        let void = record["capacity"]["void"].as_u64().unwrap();
        assert!(counts != "questions" || void == 0, "{record}");
    }
    let exact = records.iter().filter(|record| record["capacity"]["exact"] == true).count();
    assert!(exact >= 30, "{exact} families whose questions are counted exactly");
}

/// Every field of the contract's question record.
fn check_question(question: &Value) {
    for field in ["id", "family", "seed", "locale", "stem"] {
        text(question, field);
    }
    assert!(question["version"].is_u64() && question["position"].is_u64(), "{question}");
    assert!((1..=5).contains(&question["difficulty"].as_u64().unwrap()), "{question}");
    assert!(list(question, "standards").iter().all(Value::is_string), "{question}");
    assert!(text(question, "receipt").starts_with("sha256:"), "{question}");
    for given in list(question, "givens") {
        text(given, "name");
        decimal(given, "value");
    }
    assert!(!list(question, "steps").is_empty(), "{question}");
    for step in list(question, "steps") {
        check_step(step);
    }
}

fn check_step(step: &Value) {
    for field in ["id", "prompt", "expression"] {
        text(step, field);
    }
    assert!(step["points"].as_u64().unwrap() >= 1, "{step}");
    assert!(list(step, "solution").iter().all(Value::is_string), "{step}");
    assert!(["exact", "absolute", "relative", "rounded"].contains(&text(&step["accept"], "rule")), "{step}");
    let mut misconceptions = BTreeSet::new();
    for wrong in list(step, "predicted") {
        for name in text(wrong, "misconception").split(" | ") {
            // Among choices there can be two that one way of thinking takes for right; else it leads to one answer.
            let first = misconceptions.insert(name);
            assert!(first || text(step, "kind") == "choice", "{name} predicts two answers: {step}");
        }
    }
    let wrongs = list(step, "predicted");
    match text(step, "kind") {
        "number" => {
            assert!(step.get("choices").is_none(), "{step}");
            let mut answers = BTreeSet::from([decimal(step, "answer").value_key()]);
            assert!(
                wrongs.iter().all(|wrong| answers.insert(decimal(wrong, "answer").value_key())),
                "{step}"
            );
        }
        "choice" => {
            let ids: BTreeSet<&str> = list(step, "choices").iter().map(|choice| text(choice, "id")).collect();
            assert_eq!(ids.len(), list(step, "choices").len(), "{step}");
            let mut answers = BTreeSet::from([text(step, "answer")]);
            assert!(wrongs.iter().all(|wrong| answers.insert(text(wrong, "answer"))), "{step}");
            assert!(answers.is_subset(&ids), "{step}");
        }
        "order" => {
            let mut ids: Vec<&Value> = list(step, "choices").iter().map(|choice| &choice["id"]).collect();
            ids.sort_by_key(ToString::to_string);
            let mut answers = BTreeSet::from([step["answer"].to_string()]);
            for order in wrongs.iter().map(|wrong| &wrong["answer"]).chain([&step["answer"]]) {
                let mut order: Vec<&Value> = order.as_array().unwrap().iter().collect();
                order.sort_by_key(ToString::to_string);
                assert_eq!(order, ids, "{step}");
            }
            assert!(wrongs.iter().all(|wrong| answers.insert(wrong["answer"].to_string())), "{step}");
        }
        "words" => {
            assert!(step.get("choices").is_none(), "{step}");
            let mut answers = BTreeSet::from([text(step, "answer")]);
            assert!(wrongs.iter().all(|wrong| answers.insert(text(wrong, "answer"))), "{step}");
        }
        kind => panic!("steps have no kind {kind}: {step}"),
    }
}

/// Equal for equal values, whatever places they are written with.
trait ValueKey {
    fn value_key(&self) -> String;
}

impl ValueKey for Decimal {
    fn value_key(&self) -> String {
        let text = self.to_string();
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    }
}

#[test]
fn drawn_questions_have_every_field_of_the_record() {
    for family in families() {
        let questions = records(["draw", &family, "--count", "20", "--seed", "river", "--json"]);
        assert_eq!(questions.len(), 20);
        let receipts: BTreeSet<&str> = questions.iter().map(|question| text(question, "receipt")).collect();
        assert_eq!(receipts.len(), 20, "{family}: two questions are the same");
        // Positions at which the family's numbers do not fit its story are passed over.
        let positions: Vec<u64> =
            questions.iter().map(|question| question["position"].as_u64().unwrap()).collect();
        assert!(positions.is_sorted_by(|one, next| one < next), "{family}: {positions:?}");
        for question in &questions {
            check_question(question);
            assert_eq!((text(question, "family"), text(question, "seed")), (family.as_str(), "river"));
        }
    }
}

#[test]
fn a_seed_draws_the_same_bytes_in_two_processes_and_from_any_position() {
    for family in families() {
        let draw =
            |more: &[&str]| run_well(["draw", &family, "--json"].into_iter().chain(more.iter().copied()));
        let row = draw(&["--seed", "river", "--count", "20"]);
        assert_eq!(row, draw(&["--seed", "river", "--count", "20"]), "{family}");
        assert_ne!(row, draw(&["--seed", "bicycle", "--count", "20"]), "{family}");
        let late = row.lines().nth(15).unwrap();
        let position = serde_json::from_str::<Value>(late).unwrap()["position"].to_string();
        let on = draw(&["--seed", "river", "--from", &position, "--count", "5"]);
        assert_eq!(row.lines().skip(15).collect::<Vec<_>>(), on.lines().collect::<Vec<_>>(), "{family}");
    }
}

/// 300 questions of a family, or all that it has, none twice.
fn three_hundred(family: &str) -> String {
    let ended = run(["draw", family, "--count", "300", "--json"]);
    if ended.code != 0 {
        assert_fails(&ended, 1, &["has only"]);
    }
    let numbers = |line: &str| serde_json::from_str::<Value>(line).unwrap()["givens"].to_string();
    let different: BTreeSet<String> = ended.stdout.lines().map(numbers).collect();
    assert_eq!(different.len(), ended.stdout.lines().count(), "{family}");
    ended.stdout
}

/// Lets the outside script recompute records; none where there is no Python.
fn recompute(records: &str) -> Option<Output> {
    let script = tools::root().join("tests/outside/recompute.py");
    let mut python = tools::python()?;
    let piped = python.arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = piped.spawn().unwrap();
    child.stdin.take().unwrap().write_all(records.as_bytes()).unwrap();
    Some(child.wait_with_output().unwrap())
}

#[test]
fn answers_recomputed_from_outside_are_the_same() {
    let families = families();
    let drawn: String = families.iter().map(|family| three_hundred(family)).collect();
    let Some(output) = recompute(&drawn) else { return };
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    let questions = drawn.lines().count();
    assert!(said.starts_with(&format!("{questions} questions, ")), "{said}");
    assert!(questions > families.len() * 250, "{questions} questions of {} families", families.len());
    assert!(said.ends_with(" 0 differences\n"), "{said}");

    // The check itself can fail: one wrong answer in one record is found.
    let mut question = record(["draw", "add-equal", "--json"]);
    question["steps"][0]["answer"] = json!("0.01");
    let output = recompute(&question.to_string()).unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stdout).contains("the record says 1/100"));
}

// --- work and read ---

#[test]
fn work_shows_answer_working_and_what_misconceptions_give() {
    for (expression, read_as, answer) in [
        ("9.04 - 3.28", "9.04 - 3.28", "5.76"),
        ("4.5 + 2.75", "4.5 + 2.75", "7.25"),
        ("(1.2 + 0.35) * 3 - 0.05", "(1.2 + 0.35) * 3 - 0.05", "4.6"),
        ("10 - (2.5 - 0.75)", "10 - (2.5 - 0.75)", "8.25"),
        ("round(4.675, 2)", "round(4.675, 2)", "4.68"),
        ("round(2 / 3, 2)", "round(2 / 3, 2)", "0.67"),
        ("0.45 ? 0.5", "0.45 ? 0.5", "<"),
        ("0.50 ? 0.5", "0.50 ? 0.5", "="),
        ("6.3 ÷ 0.7", "6.3 / 0.7", "9"),
        ("2.5 × 0.4", "2.5 * 0.4", "1"),
        ("3.04 − 1.2", "3.04 - 1.2", "1.84"),
    ] {
        let worked = record(["work", expression, "--json"]);
        assert_eq!(text(&worked, "expression"), read_as);
        assert_eq!(text(&worked, "answer"), answer, "{expression}");
        assert!(!list(&worked, "working").is_empty(), "{expression}");
        assert!(list(&worked, "working").iter().all(Value::is_string), "{expression}");
        let mut answers = BTreeSet::from([answer]);
        for wrong in list(&worked, "predicted") {
            assert!(answers.insert(text(wrong, "answer")), "{worked}");
            assert!(!text(wrong, "misconception").is_empty(), "{worked}");
        }
    }
    let worked = record(["work", "9.04 - 3.28", "--json"]);
    let skipping = list(&worked, "predicted")
        .iter()
        .find(|wrong| wrong["misconception"].to_string().contains("skips-zero"));
    assert_eq!(text(skipping.unwrap(), "answer"), "4.86");
}

#[test]
fn expressions_without_a_value_are_told_with_their_place() {
    assert_fails(&run(["work", "1 +"]), 1, &["cannot read '1 +'", "character 4", "expected a number"]);
    assert_fails(&run(["work", "sqrt(4)"]), 1, &["unknown function 'sqrt'", "round"]);
    assert_fails(&run(["work", "4 / 0"]), 1, &["division by zero"]);
    assert_fails(&run(["work", "1 / 3"]), 1, &["round it"]);
}

#[test]
fn read_tells_value_unit_form_and_problem() {
    let read = |arguments: &[&str]| {
        let [record] =
            <[Value; 1]>::try_from(records(["read", "--json"].into_iter().chain(arguments.iter().copied())))
                .unwrap();
        record
    };
    for (arguments, value, unit, form) in [
        (&["35.35"][..], "35.35", None, "decimal"),
        (&["$3.50"], "3.50", Some("$"), "money"),
        (&["3/4"], "0.75", None, "fraction"),
        (&["1 1/2"], "1.5", None, "mixed"),
        (&["12.4 kg", "--unit", "kg"], "12.4", Some("kg"), "decimal"),
        (&["500 g", "--unit", "kg"], "0.500", Some("kg"), "decimal"),
        (&["12,4", "--locale", "de-DE"], "12.4", None, "decimal"),
        (&["-3.5"], "-3.5", None, "decimal"),
    ] {
        let read = read(arguments);
        assert_eq!((text(&read, "value"), text(&read, "form")), (value, form), "{arguments:?}");
        assert_eq!(read["unit"].as_str(), unit, "{arguments:?}");
        assert!(read["problem"].is_null(), "{arguments:?}");
    }
    for unreadable in ["", "abc", "1.2.3", "12,4"] {
        let read = read(&[unreadable]);
        assert!(read["value"].is_null() && !text(&read, "problem").is_empty(), "{unreadable}: {read}");
    }
}

// --- exit codes ---

#[test]
fn wrong_usage_exits_2() {
    for arguments in [
        &[][..],
        &["dance"],
        &["work"],
        &["draw", "add-equal", "--count", "many"],
        &["export", "pool.json", "--as", "paper", "-o", "x.zip"],
        &["demo", "--pupils", "0"],
        &["serve", "--listen", "nowhere", "--public-url", "http://127.0.0.1", "--store", "sqlite::memory:"],
    ] {
        let ended = run(arguments);
        assert_eq!(ended.code, 2, "{arguments:?}: {}", ended.stderr);
        assert!(ended.stdout.is_empty() && !ended.stderr.is_empty(), "{arguments:?}");
    }
    let help = run(["--help"]);
    assert_eq!(help.code, 0);
    assert!(help.stdout.contains("demo") && help.stderr.is_empty());
}

#[test]
fn bad_input_exits_1_and_names_the_place() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, content: &str| {
        let path = folder.path().join(name);
        fs::write(&path, content).unwrap();
        path.display().to_string()
    };
    assert_fails(&run(["draw", "add-everything"]), 1, &["no family 'add-everything'", "add-equal"]);
    assert_fails(&run(["read", "1", "--locale", "xx"]), 1, &["'xx' is no known locale", "en-US"]);
    assert_fails(&run(["read", "1", "--unit", "ells"]), 1, &["'ells' is no known unit"]);
    assert_fails(&run(["pool", "no-such-plan.toml"]), 1, &["cannot read no-such-plan.toml"]);

    let plan = PLAN.replace("count = 3", "count = \"three\"");
    assert_fails(&run(["pool", &file("count.toml", &plan)]), 1, &["count.toml", "line 8", "expected"]);
    let plan = PLAN.replace("story-samples", "story-of-nothing");
    assert_fails(&run(["pool", &file("family.toml", &plan)]), 1, &["section 2", "'story-of-nothing'"]);

    // A changed answer is met wherever a pool is read.
    let pool = pool(folder.path());
    let original = fs::read_to_string(&pool).unwrap();
    let changed = original.replacen("\"answer\": \"", "\"answer\": \"1", 1);
    assert_ne!(changed, original);
    let changed = file("changed.json", &changed);
    let store = format!("sqlite:{}", folder.path().join("s.db").display());
    let package = folder.path().join("x.zip").display().to_string();
    for arguments in
        [&["load", &changed, "--store", &store][..], &["export", &changed, "--as", "qti3", "-o", &package]]
    {
        let ended = run(arguments);
        assert_fails(&ended, 1, &["changed.json", "question 'add-ragged-", "receipt does not fit"]);
        assert_eq!(ended.stderr.matches("receipt does not fit").count(), 1, "told once: {}", ended.stderr);
    }
    assert!(!Path::new(&package).exists(), "no package of an unproven pool");
}

// --- pool and score ---

/// Single-step questions and a story whose steps build on each other.
const PLAN: &str = r#"pool = "river-day"
title = "River day"
seed = "river-day-1"

[[section]]
title = "Adding"
family = "add-ragged"
count = 3
pick = 1

[[section]]
title = "Samples"
family = "story-samples"
count = 2
pick = 1
"#;

/// Makes the pool of [`PLAN`] in a folder; returns its file.
fn pool(folder: &Path) -> String {
    let (plan, pool) = (folder.join("plan.toml"), folder.join("pool.json"));
    fs::write(&plan, PLAN).unwrap();
    run_well(["pool", plan.to_str().unwrap(), "-o", pool.to_str().unwrap()]);
    pool.display().to_string()
}

/// The first question of a section of a pool file.
fn question(pool: &str, section: usize) -> Value {
    let pool: Value = serde_json::from_str(&fs::read_to_string(pool).unwrap()).unwrap();
    pool["sections"][section]["questions"][0].clone()
}

fn marks(ended: &Ended) -> Vec<Value> {
    ended.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn verdicts(mark: &Value) -> Vec<&str> {
    list(mark, "steps").iter().map(|step| text(step, "verdict")).collect()
}

#[test]
fn pools_hold_what_the_plan_asks_for_and_print_the_same_bytes_to_stdout() {
    let folder = tempfile::tempdir().unwrap();
    let path = pool(folder.path());
    let written = fs::read_to_string(&path).unwrap();
    let pool: Value = serde_json::from_str(&written).unwrap();
    assert_eq!((text(&pool, "id"), text(&pool, "title")), ("river-day", "River day"));
    let sections = list(&pool, "sections");
    assert_eq!(sections.iter().map(|section| list(section, "questions").len()).collect::<Vec<_>>(), [3, 2]);
    sections.iter().flat_map(|section| list(section, "questions")).for_each(check_question);
    let plan = folder.path().join("plan.toml").display().to_string();
    assert_eq!(run_well(["pool", &plan]), written);
}

#[test]
fn score_marks_records_with_follow_through_and_named_misconceptions() {
    let folder = tempfile::tempdir().unwrap();
    let pool = pool(folder.path());
    let (adding, story) = (question(&pool, 0), question(&pool, 1));
    let wrong = &adding["steps"][0]["predicted"][0];
    let answers: serde_json::Map<String, Value> = list(&story, "steps")
        .iter()
        .map(|step| (text(step, "id").to_owned(), step["answer"].clone()))
        .collect();

    // One step wrong by 0.01, and all that builds on it right from the own value.
    let worked = |answer: &Value, more: &str| {
        let expression = format!("{} {more}", answer.as_str().unwrap());
        record(["work", &expression, "--json"])["answer"].clone()
    };
    let mut followed = answers.clone();
    followed["water"] = worked(&answers["water"], "+ 0.01");
    followed["total"] = worked(&answers["total"], "+ 0.01");
    followed["left"] = worked(&answers["left"], "- 0.01");

    let line = |pupil: &str, question: &Value, responses: Value| {
        json!({"pupil": pupil, "question": question["id"], "responses": responses, "at": "2026-03-02T09:15:00Z"})
            .to_string()
    };
    let responses = folder.path().join("r.ndjson");
    let lines = [
        line("p-01", &story, json!(answers)),
        line("p-02", &adding, json!({"total": wrong["answer"]})),
        line("p-03", &story, json!(followed)),
        line("p-04", &adding, json!({"total": "lots"})),
        line("p-05", &adding, json!({})),
    ];
    fs::write(&responses, lines.join("\n")).unwrap();
    let ended = run(["score", &pool, responses.to_str().unwrap()]);
    assert_eq!(ended.code, 0, "{}", ended.stderr);
    let marks = marks(&ended);
    assert_eq!(marks.len(), 5);
    assert_eq!(marks[0]["points"], marks[0]["max"]);
    assert_eq!(verdicts(&marks[0]), ["correct"; 5]);
    assert_eq!((verdicts(&marks[1]), &marks[1]["points"]), (vec!["wrong"], &json!(0)));
    let named = list(&marks[1]["steps"][0], "misconceptions");
    let names: Vec<&str> = named.iter().map(|name| name.as_str().unwrap()).collect();
    assert_eq!(names.join(" | "), text(wrong, "misconception"));
    assert_eq!(verdicts(&marks[2]), ["wrong", "correct", "follow_through", "correct", "follow_through"]);
    assert_eq!((verdicts(&marks[3]), verdicts(&marks[4])), (vec!["unreadable"], vec!["blank"]));
    for mark in &marks {
        text(mark, "pupil");
        for step in list(mark, "steps") {
            assert!(step["points"].is_u64() && step["max"].is_u64(), "{mark}");
            text(step, "response");
            text(step, "note");
        }
    }
}

#[test]
fn bad_records_are_told_by_line_and_never_stop_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let pool = pool(folder.path());
    let adding = question(&pool, 0);
    let (id, answer) = (text(&adding, "id"), text(&adding["steps"][0], "answer"));
    let responses = folder.path().join("r.ndjson");
    let good = json!({"pupil": "p-07", "question": id, "responses": {"total": answer}});
    let lines: [&[u8]; 7] = [
        b"\xff\xfe",
        br#"{"pupil": "p-01"}"#,
        b"not a record",
        b"",
        &good.to_string().into_bytes(),
        br#"{"pupil": "p-02", "question": "nowhere", "responses": {"total": "1"}}"#,
        &json!({"pupil": "p-03", "question": id, "responses": {"totl": "1"}}).to_string().into_bytes(),
    ];
    fs::write(&responses, lines.join(&b'\n')).unwrap();
    let output = folder.path().join("marks.ndjson");
    let ended = run(["score", &pool, responses.to_str().unwrap(), "-o", output.to_str().unwrap()]);
    assert_fails(
        &ended,
        1,
        &[
            "line 1: the line is not UTF-8",
            "line 2: column 17: missing field `question`\n",
            "line 3: ",
            "line 6: the pool has no question 'nowhere'",
            "line 7: the question '",
            "no step 'totl'",
            "1 answers marked, 5 rows not usable",
        ],
    );
    let marks = fs::read_to_string(output).unwrap();
    assert_eq!(marks.lines().count(), 1, "{marks}");
    assert_eq!(serde_json::from_str::<Value>(&marks).unwrap()["points"], json!(1));
}

#[test]
fn csv_rows_are_gathered_and_a_bad_row_takes_no_other_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let pool = pool(folder.path());
    let (adding, story) = (question(&pool, 0), question(&pool, 1));
    let (one, total) = (text(&adding, "id"), text(&adding["steps"][0], "answer"));
    let two = text(&story, "id");
    let step = |index: usize| (text(&story["steps"][index], "id"), text(&story["steps"][index], "answer"));
    let ((water, water_answer), (sand, sand_answer)) = (step(0), step(1));
    let responses = folder.path().join("r.csv");
    fs::write(
        &responses,
        format!(
            "pupil,question,step,response,at\n\
             p-01,{one},total,{total},2026-03-02T09:15:00Z\n\
             p-02,{two},{water},{water_answer}\n\
             p-02,{two},nonsense,1\n\
             p-02,{two},{sand},{sand_answer}\n\
             p-02,{two},{sand},0\n\
             p-03,nowhere,total,1\n\
             p-04,{one},total\n\
             p-05,{one},total,\n"
        ),
    )
    .unwrap();
    let ended = run(["score", &pool, responses.to_str().unwrap()]);
    assert_fails(
        &ended,
        1,
        &[
            "line 4: the question '",
            "no step 'nonsense'",
            "line 6: the step 'sand' was answered in an earlier row",
            "line 7: the pool has no question 'nowhere'",
            "line 8: the row ends before its response",
            "3 answers marked, 4 rows not usable",
        ],
    );
    let marks = marks(&ended);
    let points: Vec<&Value> = marks.iter().map(|mark| &mark["points"]).collect();
    assert_eq!(points, [&json!(1), &json!(2), &json!(0)], "{marks:?}");
    assert_eq!(verdicts(&marks[1])[..2], ["correct", "correct"]);
    assert_eq!(verdicts(&marks[2]), ["blank"]);

    let headless = folder.path().join("h.csv");
    fs::write(&headless, "pupil,question,step\n").unwrap();
    assert_fails(&run(["score", &pool, headless.to_str().unwrap()]), 1, &["header row lacks response"]);
    let other = folder.path().join("r.txt");
    fs::write(&other, "").unwrap();
    assert_fails(
        &run(["score", &pool, other.to_str().unwrap()]),
        1,
        &["r.txt", ".ndjson, .csv, .xml or .zip"],
    );
}
