//! Published marking practice: money, rounding, equivalent forms, follow-through and its limits. The keys in brackets
//! are the sources of the trade's notes. Dollars and cents stand for pounds and pence.
use std::collections::BTreeMap;

use qbank::{
    accept::Credit,
    locale::Language,
    marking::{
        ABSURD_FACTOR, Limit, Mark, Policy, StepMark, Verdict, mark, mark_with, notes_in, worked_with,
    },
    question::{Fault, Item, ProofError, Question},
};
use serde_json::{Value, json};

/// A number step: id, expression, answer, and what is not as usual.
fn step(id: &str, expression: &str, answer: &str, more: &Value) -> Value {
    let mut step = json!({
        "id": id, "kind": "number", "prompt": "?", "expression": expression, "answer": answer,
        "accept": {"rule": "exact"}, "points": 1, "predicted": [], "solution": [],
    });
    let more = more.as_object().cloned().unwrap_or_default();
    step.as_object_mut().unwrap().extend(more);
    step
}

fn proven(locale: &str, givens: &[(&str, &str)], steps: &[Value]) -> Result<Item, ProofError> {
    let givens: Vec<Value> =
        givens.iter().map(|(name, value)| json!({"name": name, "value": value})).collect();
    let question = json!({
        "id": "case", "family": "by-hand", "version": 1, "seed": "s", "position": 0, "locale": locale,
        "standards": [], "difficulty": 1, "title": "", "stem": "", "givens": givens, "steps": steps, "receipt": "",
    });
    serde_json::from_value::<Question>(question).unwrap().sealed().verify()
}

fn item(givens: &[(&str, &str)], steps: &[Value]) -> Item {
    proven("en-US", givens, steps).unwrap_or_else(|error| panic!("{error}"))
}

fn responses(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
    pairs.iter().map(|(step, response)| (step.to_string(), response.to_string())).collect()
}

fn marked(item: &Item, pairs: &[(&str, &str)]) -> Mark {
    mark(item, "p-01", &responses(pairs))
}

fn only(item: &Item, response: &str) -> StepMark {
    marked(item, &[(item.steps[0].id.as_str(), response)]).steps.remove(0)
}

/// One step whose answer is given as it stands.
fn of_value(answer: &str, more: &Value) -> Item {
    item(&[("a", answer)], &[step("it", "a", answer, more)])
}

fn money(answer: &str) -> Item {
    of_value(answer, &json!({"unit": "$", "accept": {"rule": "exact", "form": {"places": 2}}}))
}

#[test]
fn money_is_marked_as_published() {
    // [KS2M] money marks of England's past papers; [Y8MS] no full marks for 156.4 in place of 156.40.
    let cases: [(&str, &[&str], &[&str]); 4] = [
        ("2.40", &["$2.40", "$2.40c", "$2 40"], &["$2.4", "$240", "$240c"]),
        ("2.97", &["$2.97", "297c", "297¢", "2.97"], &["$297", "$297c", "2.97c"]),
        ("0.90", &["90c", "90¢", "$0.90", "0.90", "$.90", ".90", "$0 90"], &["$0.9", "$90", "$90c", "0.90c"]),
        ("156.40", &["156.40"], &["156.4"]),
    ];
    for (answer, accepted, refused) in cases {
        let item = money(answer);
        for text in accepted {
            let judged = only(&item, text);
            assert_eq!((judged.verdict, judged.points), (Verdict::Correct, 1), "{answer}: {text}");
        }
        for text in refused {
            let judged = only(&item, text);
            assert_ne!(judged.verdict, Verdict::Correct, "{answer}: {text}");
            assert_eq!(judged.points, 0, "{answer}: {text}");
        }
    }
    // On paper, where no unit stands beside the box, a bare 297 or 90 is taken for pence [KS2M]. Here the asked unit
    // stands there, and 297 dollars for 2.97 is a misconception with a name, so it is not taken.
    assert_eq!(only(&money("2.97"), "297").verdict, Verdict::Wrong);
    assert_eq!(only(&money("0.90"), "90").verdict, Verdict::Wrong);
}

#[test]
fn rounding_is_marked_as_published() {
    // [O51, practice]: half up decides 0.845; the end zero belongs to the published keys 0.30 and 4.10. A note and
    // full points where it is missing, outside money, is common practice.
    for (exact, places, key, short) in [
        ("0.845", 2, "0.85", None),
        ("5.7932", 2, "5.79", None),
        ("0.299", 2, "0.30", Some("0.3")),
        ("4.098", 2, "4.10", Some("4.1")),
        ("63.479", 0, "63", None),
        // [O52 Ex5.20, TI5.40, practice]: to the cent.
        ("0.16625", 2, "0.17", None),
    ] {
        let form = json!({"places": places, "credit": "full"});
        let accept = json!({"accept": {"rule": "rounded", "places": places, "form": form}});
        let item = of_value(exact, &accept);
        assert_eq!(only(&item, key).verdict, Verdict::Correct, "{exact}");
        assert_eq!(only(&item, exact).verdict, Verdict::Wrong, "{exact}");
        if let Some(short) = short {
            let judged = only(&item, short);
            assert_eq!((judged.verdict, judged.points), (Verdict::RightValueWrongForm, 1), "{short}");
            assert_eq!(judged.note, "the value is right; write it with 2 places after the point");
        }
    }
    // [HARTNELL]: 21.45 to the even digit, where a family says so, also from a pupil's own value.
    let even = json!({"accept": {"rule": "rounded", "places": 1, "ties": "even"}});
    let item = item(
        &[("a", "20"), ("b", "1.45")],
        &[step("sum", "a + b", "21.45", &json!({})), step("to", "sum", "21.45", &even)],
    );
    let verdict = |sum, to| marked(&item, &[("sum", sum), ("to", to)]).steps[1].verdict;
    assert_eq!(verdict("21.45", "21.4"), Verdict::Correct);
    assert_eq!(verdict("21.45", "21.5"), Verdict::Wrong);
    assert_eq!(verdict("21.55", "21.6"), Verdict::FollowThrough);
    assert_eq!(verdict("21.65", "21.7"), Verdict::Wrong);
}

#[test]
fn equivalent_forms_are_right_unless_one_is_asked_for() {
    // [AQA, MS] 'oe': any equivalent form. A textbook's key itself has '.276 grams' [O].
    let half = of_value("0.5", &json!({}));
    for text in ["1/2", "0.50", "½", "50 %", "five tenths", "5/10"] {
        assert_eq!(only(&half, text).verdict, Verdict::Correct, "{text}");
    }
    assert_eq!(only(&of_value("0.276", &json!({"unit": "g"})), ".276 grams").verdict, Verdict::Correct);
    // Fractions are right unless the task asks for a decimal (common practice).
    let decimal = of_value("0.37", &json!({"accept": {"rule": "exact", "form": {"decimal": true}}}));
    for text in ["37/100", "37 %", "thirty-seven hundredths"] {
        let judged = only(&decimal, text);
        assert_eq!((judged.verdict, judged.points), (Verdict::RightValueWrongForm, 0), "{text}");
        assert_eq!(judged.note, "the value is right; write it as a decimal");
    }
    assert_eq!(only(&decimal, ".370").verdict, Verdict::Correct);
}

#[test]
fn forms_compose_and_earn_what_their_credit_says() {
    let form = |credit: &str| json!({"places": 2, "figures": 3, "unit": true, "credit": credit});
    for (credit, points) in [("none", 0), ("part", 1), ("full", 3)] {
        let accept = json!({"rule": "exact", "form": form(credit)});
        let item = of_value("2.5", &json!({"unit": "kg", "points": 3, "accept": accept}));
        assert_eq!(only(&item, "2.50 kg").points, 3);
        let judged = only(&item, "2.5");
        assert_eq!((judged.verdict, judged.points), (Verdict::RightValueWrongForm, points), "{credit}");
        assert_eq!(
            judged.note,
            "the value is right; write it with 2 places after the point; write it with 3 significant figures; \
             write the unit, too"
        );
        // A quiz can decide otherwise.
        for (form_credit, points) in [(Credit::None, 0), (Credit::Part, 1), (Credit::Full, 3)] {
            let policy = Policy { form_credit: Some(form_credit), ..Policy::default() };
            assert_eq!(mark_with(&item, "p", &responses(&[("it", "2.5")]), policy).points, points);
        }
    }
    let lowest = of_value("0.75", &json!({"accept": {"rule": "exact", "form": {"lowest_terms": true}}}));
    assert_eq!(only(&lowest, "6/8").verdict, Verdict::RightValueWrongForm);
    assert_eq!(only(&lowest, "3/4").verdict, Verdict::Correct);
    // [E29]: 32.00 states four figures.
    let figures = of_value("32", &json!({"accept": {"rule": "exact", "form": {"figures": 4}}}));
    assert_eq!(only(&figures, "32.00").verdict, Verdict::Correct);
    assert_eq!(only(&figures, "32.0").verdict, Verdict::RightValueWrongForm);
}

#[test]
fn an_interval_takes_estimates_and_must_hold_the_answer() {
    // [AQA]: '[a, b]' is an inclusive interval.
    let between = |from, to| json!({"accept": {"rule": "interval", "from": from, "to": to}});
    let item = of_value("42.3", &between("40", "45"));
    for (text, verdict) in [
        ("40", Verdict::Correct),
        ("45.0", Verdict::Correct),
        ("39.99", Verdict::Wrong),
        ("45 1/100", Verdict::Wrong),
    ] {
        assert_eq!(only(&item, text).verdict, verdict, "{text}");
    }
    let outside = proven("en-US", &[("a", "42.3")], &[step("it", "a", "42.3", &between("43", "45"))]);
    assert_eq!(outside.unwrap_err().fault, Fault::OutsideInterval("42.3".into()));
}

#[test]
fn follow_through_is_right_use_of_an_earlier_wrong_value() {
    // [AQA, MS] 'ft'. The stories are worked examples [O52 Ex5.27, TI5.54, practice]; the slips are ours.
    let cases = [
        ([("6", "0.22"), ("4", "0.49")], ["1.32", "1.96", "3.28"], "1.22", "3.18"),
        ([("2", "9.50"), ("4", "6.00")], ["19", "24", "43"], "18", "42"),
        ([("4", "29.95"), ("7", "19.95")], ["119.8", "139.65", "259.45"], "119.6", "259.25"),
    ];
    for ([(n, a), (m, b)], [first, second, total], slip, followed) in cases {
        let steps = [
            step("first", "n * a", first, &json!({})),
            step("second", "m * b", second, &json!({})),
            step("total", "first + second", total, &json!({"points": 2})),
        ];
        let item = item(&[("n", n), ("a", a), ("m", m), ("b", b)], &steps);
        let given = [("first", slip), ("second", second), ("total", followed)];
        let mark = marked(&item, &given);
        assert_eq!((mark.steps[0].verdict, mark.steps[1].verdict), (Verdict::Wrong, Verdict::Correct));
        assert_eq!((mark.steps[2].verdict, mark.points), (Verdict::FollowThrough, 3), "{mark:?}");
        // 'cao': this answer only, no follow-through [AQA].
        let policy = Policy { follow_through: false, ..Policy::default() };
        let mark = mark_with(&item, "p-01", &responses(&given), policy);
        assert_eq!((mark.steps[2].verdict, mark.points), (Verdict::Wrong, 1));
        assert!(mark.steps[2].note.contains("this quiz gives no points for that"), "{mark:?}");
        // The right answer after a slip is right, whatever the own value.
        let mark = marked(&item, &[("first", slip), ("second", second), ("total", total)]);
        assert_eq!(mark.steps[2].verdict, Verdict::Correct);
    }
}

#[test]
fn a_right_own_value_in_another_form_is_told_as_both() {
    // [AQA, MS] 'ft' and form are judged apart: the value follows, its form is not the one asked for.
    let form = json!({"accept": {"rule": "exact", "form": {"places": 2, "credit": "part"}}, "points": 2});
    let steps = [step("first", "a + b", "4.50", &json!({})), step("next", "first + c", "5.60", &form)];
    let item = item(&[("a", "2.25"), ("b", "2.25"), ("c", "1.10")], &steps);
    let marked = marked(&item, &[("first", "4.40"), ("next", "5.5")]);
    let next = &marked.steps[1];
    assert_eq!((next.verdict, next.points), (Verdict::RightValueWrongForm, 1));
    let form = "write it with 2 places after the point";
    assert_eq!(next.note, format!("the value is right from your own earlier value; {form}"));
    let follows: Vec<bool> = worked_with(&item, &marked).iter().map(|with| with.follows).collect();
    assert_eq!(follows, [false, true]);
    assert_eq!(
        notes_in(&item, &marked, Language::Spanish)[1],
        "el valor es correcto a partir de tu propio valor anterior; escríbelo con 2 lugares decimales"
    );
}

#[test]
fn an_own_value_that_equals_the_right_one_is_no_follow_through() {
    let steps =
        &[step("first", "a + b", "15.97", &json!({})), step("next", "first * c", "7.985", &json!({}))];
    let item = item(&[("a", "12.4"), ("b", "3.57"), ("c", "0.5")], steps);
    // The earlier step is right in value, and loses nothing and gives nothing away.
    for first in ["15.970", "1597/100", "15 97/100"] {
        let mark = marked(&item, &[("first", first), ("next", "7.985")]);
        assert_eq!(mark.steps[1].verdict, Verdict::Correct, "{first}");
        let mark = marked(&item, &[("first", first), ("next", "7.9")]);
        assert_eq!((mark.steps[1].verdict, mark.steps[1].note.as_str()), (Verdict::Wrong, ""), "{first}");
    }
}

/// A first step worth 15.97 and a second one over it: own first value, own second value, the limit that bars credit.
const LIMITS: &[(&str, &str, &str, &str, Option<Limit>)] = &[
    // What is still followed: slips of digits and of the point.
    ("first * c", "7.985", "15.87", "7.935", None),
    ("first * c", "7.985", "1.597", "0.7985", None),
    ("first * c", "7.985", "1597", "798.5", None),
    ("first + c", "16.47", "1", "1.5", None),
    ("first - c", "15.47", "1", "0.5", None),
    // The error makes the rest much simpler [IB].
    ("first * c", "7.985", "1", "0.5", Some(Limit::Trivial)),
    ("first * c", "7.985", "0", "0", Some(Limit::Trivial)),
    ("first + c", "16.47", "0", "0.5", Some(Limit::Trivial)),
    ("20 - first", "4.03", "0", "20", Some(Limit::Trivial)),
    ("31.94 / first", "2", "1", "31.94", Some(Limit::Trivial)),
    ("first / c", "31.94", "0", "0", Some(Limit::Trivial)),
    ("a - (20 - first)", "8.37", "20", "12.4", Some(Limit::Trivial)),
    ("round((first - 14.97) * c, 1)", "0.5", "15.97", "0.5", None),
    // A value that cannot be.
    ("first * c", "7.985", "15970", "7985", Some(Limit::Absurd)),
    ("first * c", "7.985", "15969.9", "7984.95", None),
    ("first * c", "7.985", "0.01597", "0.007985", Some(Limit::Absurd)),
    ("first * c", "7.985", "0.016", "0.008", None),
    ("max(first, c)", "15.97", "0", "0.5", Some(Limit::Absurd)),
    // Nothing can be worked [IB: inappropriate values].
    ("20 - first", "4.03", "25", "5", Some(Limit::BelowZero)),
    ("31.94 / first", "2", "0", "0", Some(Limit::DivisionByZero)),
    ("smallest_at_least(first, 16, 20) - c", "15.5", "30", "29.5", Some(Limit::NoneFits)),
    ("31.94 / first", "2", "3", "10.6", Some(Limit::NoAnswer)),
];

#[test]
fn each_limit_of_follow_through_bars_credit_and_is_named_in_both_languages() {
    for (locale, language) in
        [("en-US", qbank::locale::Language::English), ("es-US", qbank::locale::Language::Spanish)]
    {
        for (expression, answer, own_first, own_next, limit) in LIMITS {
            let givens = [("a", "12.4"), ("b", "3.57"), ("c", "0.5")];
            let steps =
                [step("first", "a + b", "15.97", &json!({})), step("next", expression, answer, &json!({}))];
            let item =
                proven(locale, &givens, &steps).unwrap_or_else(|error| panic!("{expression}: {error}"));
            let judged = marked(&item, &[("first", own_first), ("next", own_next)]).steps.remove(1);
            let case = format!("{expression} from {own_first}: {judged:?}");
            match limit {
                Some(limit) => {
                    assert_eq!((judged.verdict, judged.points), (Verdict::Wrong, 0), "{case}");
                    assert_eq!(judged.note, limit.told(language), "{case}");
                }
                None => {
                    let right = own_first == &"15.97";
                    let verdict = if right { Verdict::Correct } else { Verdict::FollowThrough };
                    assert_eq!((judged.verdict, judged.points), (verdict, 1), "{case}");
                }
            }
        }
    }
    assert_eq!(ABSURD_FACTOR, 1000);
}

#[test]
fn notes_are_told_in_the_language_of_the_question() {
    let accept = json!({"rule": "exact", "form": {"places": 2, "unit": true}});
    let more = json!({"unit": "$", "accept": accept});
    let item = proven("es-US", &[("a", "2.40")], &[step("it", "a", "2.40", &more)]).unwrap();
    for (text, note) in [
        ("2.4", "el valor es correcto; escríbelo con 2 lugares decimales; escribe también la unidad"),
        ("2,4", "el signo ',' se puede leer aquí de dos maneras; escribe los decimales como 12.5"),
        ("2 kg", "la unidad no corresponde; la respuesta se pide en $"),
        ("dos coma cuatro", "nombra el último lugar, como décimas o centésimas, en vez de 'coma'"),
    ] {
        assert_eq!(only(&item, text).note, note, "{text}");
    }
}
