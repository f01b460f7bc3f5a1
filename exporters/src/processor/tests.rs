//! Items read and played: what sessions do with templates, attempts, responses and rules.
use std::collections::BTreeMap;

use super::{Fault, Item, Play, Response, Session, Value, read_item, references};

fn item(parts: &str) -> String {
    format!(
        "<qti-assessment-item xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0' identifier='i' title='t' \
         adaptive='false' time-dependent='false'>\n{parts}</qti-assessment-item>"
    )
}

fn read(parts: &str) -> Item {
    let item = read_item(item(parts).as_bytes()).unwrap_or_else(|faults| panic!("{faults:?}"));
    assert_eq!(references::broken(&item), []);
    item
}

fn declaration(kind: &str, name: &str, types: &str, default: &str) -> String {
    let default = if default.is_empty() {
        String::new()
    } else {
        format!("<qti-default-value><qti-value>{default}</qti-value></qti-default-value>")
    };
    let (cardinality, base_type) = types.split_once(' ').unwrap();
    format!(
        "<qti-{kind}-declaration identifier='{name}' cardinality='{cardinality}' base-type='{base_type}'>{default}\
         </qti-{kind}-declaration>\n"
    )
}

fn set(kind: &str, name: &str, value: &str) -> String {
    format!("<qti-set-{kind} identifier='{name}'>{value}</qti-set-{kind}>")
}

fn integer(number: i32) -> String {
    format!("<qti-base-value base-type='integer'>{number}</qti-base-value>")
}

fn variable(name: &str) -> String {
    format!("<qti-variable identifier='{name}'/>")
}

fn responses(given: &[(&str, Response)]) -> BTreeMap<String, Response> {
    given.iter().map(|(name, response)| ((*name).to_owned(), response.clone())).collect()
}

fn text(text: &str) -> Response {
    Response::Text(text.to_owned())
}

fn chosen(ids: &[&str]) -> Response {
    Response::Chosen(ids.iter().map(|id| (*id).to_owned()).collect())
}

/// Two drawn numbers, a constraint, and their sum.
fn drawn(constraint: &str) -> Item {
    read(
        &[
            declaration("template", "A", "single integer", "7"),
            declaration("template", "B", "single integer", "8"),
            declaration("template", "SUM", "single integer", ""),
            "<qti-template-processing>".to_owned(),
            set("template-value", "A", "<qti-random-integer max='9'/>"),
            format!("<qti-template-constraint>{constraint}</qti-template-constraint>"),
            set("template-value", "B", "<qti-random-integer max='9'/>"),
            set("template-value", "SUM", &format!("<qti-sum>{}{}</qti-sum>", variable("A"), variable("B"))),
            "</qti-template-processing>".to_owned(),
        ]
        .concat(),
    )
}

#[test]
fn template_processing_begins_again_until_a_constraint_is_met() {
    let item = drawn(&format!("<qti-gt>{}{}</qti-gt>", variable("A"), integer(6)));
    let mut seen = std::collections::BTreeSet::new();
    for number in 0..100 {
        let key = number.to_string();
        let session = Session::begin(&item, Play::Drawn(&key)).unwrap();
        let value = |name| session.value(name).as_float().unwrap();
        assert!(value("A") > 6.0 && !session.gave_up());
        assert_eq!(value("SUM"), value("A") + value("B"));
        seen.insert(session.value("A").to_string());
        let again = Session::begin(&item, Play::Drawn(&key)).unwrap();
        assert_eq!(again.value("SUM"), session.value("SUM"), "the same key draws the same");
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), ["7", "8", "9"]);
}

#[test]
fn a_constraint_that_is_never_met_leaves_the_defaults_and_the_next_rule_runs() {
    // NULL does not hold, either.
    for constraint in [format!("<qti-gt>{}{}</qti-gt>", variable("A"), integer(9)), "<qti-null/>".to_owned()]
    {
        let item = drawn(&constraint);
        let session = Session::begin(&item, Play::Drawn("any")).unwrap();
        assert!(session.gave_up());
        assert_eq!(session.broken_default(), Some(5), "the default 7 does not meet it");
        assert_eq!(session.value("A"), &Value::integer(7));
        assert_eq!(session.value("SUM").as_float(), session.value("B").as_float().map(|b| b + 7.0));
    }
    let item = drawn(&format!("<qti-equal>{}{}</qti-equal>", variable("A"), integer(7)));
    let session = Session::begin(&item, Play::Defaults).unwrap();
    assert_eq!((session.gave_up(), session.broken_default()), (true, None));
}

#[test]
fn templates_set_defaults_and_correct_responses_and_can_end_early() {
    let item = read(&[
        declaration("response", "R", "single float", ""),
        declaration("outcome", "SCORE", "single float", ""),
        declaration("template", "A", "single integer", "2"),
        "<qti-template-processing>".to_owned(),
        "<qti-template-condition><qti-template-if><qti-gt>".to_owned(),
        variable("A"),
        integer(1),
        "</qti-gt>".to_owned(),
        set("correct-response", "R", &variable("A")),
        set("default-value", "SCORE", &integer(3)),
        "<qti-exit-template/></qti-template-if></qti-template-condition>".to_owned(),
        set("template-value", "A", &integer(5)),
        "</qti-template-processing><qti-item-body><p><qti-text-entry-interaction response-identifier='R'/></p>".to_owned(),
        "</qti-item-body>".to_owned(),
    ]
    .concat());
    let session = Session::begin(&item, Play::Drawn("any")).unwrap();
    assert_eq!(session.correct("R"), &Value::float(2.0));
    assert_eq!((session.value("SCORE"), session.value("A")), (&Value::float(3.0), &Value::integer(2)));
}

const ENTRY: &str = "<qti-item-body><p><qti-text-entry-interaction response-identifier='R' string-identifier='RAW'/>\
                     </p></qti-item-body>";

#[test]
fn a_text_that_is_no_number_is_kept_as_typed_and_leaves_the_number_null() {
    for (types, typed, value) in [
        ("single float", " 1.50 ", "1.5"),
        ("single float", "1,5", "NULL"),
        ("single float", "inf", "NULL"),
        ("single float", "1.5 kg", "NULL"),
        ("single integer", "12", "12"),
        ("single integer", "1.5", "NULL"),
        ("single string", " a ", " a "),
    ] {
        let item = read(
            &[
                declaration("response", "R", types, ""),
                declaration("response", "RAW", "single string", ""),
                ENTRY.to_owned(),
            ]
            .concat(),
        );
        let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
        session.attempt(&responses(&[("R", text(typed))])).unwrap();
        assert_eq!(session.value("R").to_string(), value, "{types} {typed}");
        assert_eq!(session.value("RAW").as_text(), Some(typed));
        session.attempt(&responses(&[("R", text(""))])).unwrap();
        assert!(session.value("R").is_null() && session.value("RAW").is_null());
    }
}

#[test]
fn a_record_tells_how_a_number_is_written() {
    let item = read(
        "<qti-response-declaration identifier='R' cardinality='record'/><qti-item-body><p>\
         <qti-text-entry-interaction response-identifier='R'/></p></qti-item-body>",
    );
    let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
    session.attempt(&responses(&[("R", text("0.50"))])).unwrap();
    assert_eq!(
        session.value("R").to_string(),
        "{floatValue: 0.5, leftDigits: 1, ndp: 2, nsf: 2, rightDigits: 2, stringValue: 0.50}"
    );
}

#[test]
fn only_choices_that_there_are_can_be_chosen_and_as_many_as_allowed() {
    let choices = "<qti-simple-choice identifier='A'>a</qti-simple-choice><qti-simple-choice \
                   identifier='B'>b</qti-simple-choice>";
    let item = read(&[
        declaration("response", "ONE", "single identifier", ""),
        declaration("response", "MANY", "multiple identifier", ""),
        declaration("response", "ORDER", "ordered identifier", ""),
        format!("<qti-item-body><qti-choice-interaction response-identifier='ONE' max-choices='1'>{choices}"),
        format!("</qti-choice-interaction><qti-choice-interaction response-identifier='MANY' max-choices='0'>{choices}"),
        format!("</qti-choice-interaction><qti-order-interaction response-identifier='ORDER'>{choices}"),
        "</qti-order-interaction></qti-item-body>".to_owned(),
    ]
    .concat());
    let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
    let all = [("ONE", chosen(&["A"])), ("MANY", chosen(&["B", "A"])), ("ORDER", chosen(&["B", "A"]))];
    session.attempt(&responses(&all)).unwrap();
    let told = ["ONE", "MANY", "ORDER"].map(|name| session.value(name).to_string());
    assert_eq!(told, ["A", "B, A", "B, A"]);
    for (name, ids) in [("ONE", &["A", "B"][..]), ("ONE", &["C"]), ("MANY", &["A", "A"])] {
        let failure = session.attempt(&responses(&[(name, chosen(ids))])).unwrap_err();
        assert!(failure.to_string().contains("cannot give"), "{failure}");
    }
}

#[test]
fn rules_run_until_one_ends_them_and_outcomes_start_anew_in_each_attempt() {
    let outcome = |name: &str| declaration("outcome", name, "single integer", "");
    let add = |name: &str| {
        set("outcome-value", name, &format!("<qti-sum>{}{}</qti-sum>", variable(name), integer(1)))
    };
    let item = read(
        &[
            outcome("FIRST"),
            outcome("SECOND"),
            "<qti-response-processing><qti-response-processing-fragment>".to_owned(),
            add("FIRST"),
            "</qti-response-processing-fragment><qti-response-condition><qti-response-if><qti-gte>"
                .to_owned(),
            variable("numAttempts"),
            integer(2),
            "</qti-gte><qti-exit-response/></qti-response-if></qti-response-condition>".to_owned(),
            add("SECOND"),
            "</qti-response-processing>".to_owned(),
        ]
        .concat(),
    );
    let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
    for second in [1, 0] {
        session.attempt(&BTreeMap::new()).unwrap();
        assert_eq!(session.value("FIRST"), &Value::integer(1));
        assert_eq!(session.value("SECOND"), &Value::integer(second));
    }
}

#[test]
fn tables_give_an_outcome_the_value_of_a_number() {
    let item = read(
        "<qti-outcome-declaration identifier='GRADE' cardinality='single' base-type='identifier'>\
         <qti-interpolation-table default-value='LOW'><qti-interpolation-table-entry source-value='5' \
         target-value='HIGH'/><qti-interpolation-table-entry source-value='3' include-boundary='false' \
         target-value='MIDDLE'/></qti-interpolation-table></qti-outcome-declaration><qti-response-declaration \
         identifier='R' cardinality='single' base-type='integer'/><qti-item-body><p><qti-text-entry-interaction \
         response-identifier='R'/></p></qti-item-body><qti-response-processing><qti-lookup-outcome-value \
         identifier='GRADE'><qti-variable identifier='R'/></qti-lookup-outcome-value></qti-response-processing>",
    );
    for (given, grade) in [("7", "HIGH"), ("5", "HIGH"), ("4", "MIDDLE"), ("3", "LOW"), ("", "LOW")] {
        let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
        session.attempt(&responses(&[("R", text(given))])).unwrap();
        assert_eq!(session.value("GRADE").as_text(), Some(grade), "{given}");
    }
}

#[test]
fn templates_of_the_standard_are_known_by_every_address() {
    let declared = "<qti-response-declaration identifier='RESPONSE' cardinality='single' base-type='string'>\
        <qti-correct-response><qti-value>a</qti-value></qti-correct-response><qti-mapping default-value='0.5'>\
        <qti-map-entry map-key='a' mapped-value='2' case-sensitive='true'/></qti-mapping>\
        </qti-response-declaration><qti-outcome-declaration identifier='SCORE' cardinality='single' \
        base-type='float'/><qti-item-body><p><qti-text-entry-interaction response-identifier='RESPONSE'/></p>\
        </qti-item-body>";
    for (address, right, wrong, blank) in [
        ("https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct", 1.0, 0.0, 0.0),
        ("https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct.xml", 1.0, 0.0, 0.0),
        ("http://www.imsglobal.org/question/qti_v2p2/rptemplates/match_correct", 1.0, 0.0, 0.0),
        ("http://www.imsglobal.org/question/qti_v2p1/rptemplates/map_response", 2.0, 0.5, 0.0),
        ("https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/CC2_match.xml", 1.0, 0.0, 0.0),
        ("https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/CC2_map_response", 2.0, 0.5, 0.0),
    ] {
        let item = read(&format!("{declared}<qti-response-processing template='{address}'/>"));
        for (given, score) in [("a", right), ("b", wrong), ("", blank)] {
            let mut session = Session::begin(&item, Play::Drawn("any")).unwrap();
            session.attempt(&responses(&[("RESPONSE", text(given))])).unwrap();
            assert_eq!(session.value("SCORE"), &Value::float(score), "{address} {given}");
        }
    }
}

#[test]
fn all_faults_are_told_each_with_its_line() {
    let parts = "<qti-response-declaration identifier='1R' cardinality='single' base-type='float'/>\n\
        <qti-response-declaration identifier='R' cardinality='one' base-type='float'/>\n\
        <qti-response-declaration identifier='S' cardinality='single' base-type='float'><qti-correct-response>\
        <qti-value>x</qti-value></qti-correct-response></qti-response-declaration>\n\
        <qti-outcome-declaration identifier='T' cardinality='single'/>\n\
        <qti-template-processing><qti-template-condition><qti-template-else/></qti-template-condition>\
        </qti-template-processing>\n\
        <qti-item-body><qti-choice-interaction/></qti-item-body>\n\
        <qti-response-processing><qti-set-outcome-value identifier='T'/><qti-sum/></qti-response-processing>";
    let faults = read_item(item(parts).as_bytes()).unwrap_err();
    let lines: Vec<u64> = faults.iter().map(|fault| fault.line).collect();
    assert_eq!(lines, [2, 3, 4, 5, 6, 7, 8, 8], "{faults:?}");
    let told: Vec<String> = faults.iter().map(Fault::to_string).collect();
    for (index, said) in [
        (0, "'identifier' of 'response-declaration' is '1R'; expected a letter"),
        (1, "expected one of single, multiple, ordered, record"),
        (2, "the value 'x'; expected a value of the base type float"),
        (3, "expected the attribute 'base-type'"),
        (4, "expected 'template-if', then 'template-else-if'"),
        (5, "has no attribute 'response-identifier'"),
        (6, "'set-outcome-value' is empty; expected one expression"),
        (7, "the element 'sum'; expected a rule of response processing"),
    ] {
        assert!(told[index].contains(said), "{}", told[index]);
    }
}

#[test]
fn names_that_stand_for_nothing_are_told() {
    let parts = "<qti-response-declaration identifier='R' cardinality='single' base-type='identifier'>\
        <qti-correct-response><qti-value>C</qti-value></qti-correct-response></qti-response-declaration>\
        <qti-outcome-declaration identifier='F' cardinality='single' base-type='identifier'/>\n\
        <qti-item-body><qti-choice-interaction response-identifier='R' max-choices='1'><qti-simple-choice \
        identifier='A'>a</qti-simple-choice></qti-choice-interaction>\n\
        <p><qti-text-entry-interaction response-identifier='X' string-identifier='RAW'/>\
        <qti-printed-variable identifier='R'/></p></qti-item-body>\n\
        <qti-response-processing><qti-set-outcome-value identifier='G'><qti-variable identifier='Y'/>\
        </qti-set-outcome-value></qti-response-processing>\n\
        <qti-modal-feedback outcome-identifier='F' identifier='NEVER' show-hide='show'/>\n\
        <qti-modal-feedback outcome-identifier='E' identifier='NEVER' show-hide='show'/>";
    let item = read_item(item(parts).as_bytes()).unwrap();
    let told: Vec<String> = references::broken(&item).iter().map(Fault::to_string).collect();
    assert_eq!(
        told,
        [
            "line 2: there is no choice 'C'",
            "line 4: there is no response variable 'X'",
            "line 4: there is no response variable 'RAW'",
            "line 4: there is no variable 'R'",
            "line 5: there is no outcome variable 'G'",
            "line 5: there is no variable 'Y'",
            "line 6: there is no rule that sets the feedback 'NEVER'",
            "line 7: there is no outcome variable 'E'",
            "line 7: there is no rule that sets the feedback 'NEVER'",
        ]
    );
}
