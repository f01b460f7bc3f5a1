//! Every operator on examples. The source of each table is the class of that name in the information model of the
//! standard (ASI 3.0 and 2.2); the examples in `[…]` are the standard's own.
use super::*;
use crate::processor::{
    document::{Limits, read_document},
    reading::read_item,
};

/// Floats `f:1.5`, integers `i:3`, names `n:A`, texts `s:a`, truth `b:true`, points `p:1 2`, durations `d:3`, pairs
/// `P:A B`, NULL `-`; `O[…]` and `M[…]` are ordered and multiple containers of values between `|`.
fn operand(text: &str) -> String {
    let base = |kind: &str, text: &str| format!("<qti-base-value base-type='{kind}'>{text}</qti-base-value>");
    if text == "-" {
        return "<qti-null/>".into();
    }
    if let Some(inner) = text.strip_suffix(']') {
        let (kind, inner) = inner.split_once('[').unwrap();
        let name = if kind == "O" { "qti-ordered" } else { "qti-multiple" };
        let parts: String = inner.split('|').filter(|part| !part.is_empty()).map(operand).collect();
        return format!("<{name}>{parts}</{name}>");
    }
    let (kind, value) = text.split_once(':').unwrap();
    let kinds = [
        ("f", "float"),
        ("i", "integer"),
        ("n", "identifier"),
        ("s", "string"),
        ("b", "boolean"),
        ("p", "point"),
        ("d", "duration"),
        ("P", "pair"),
    ];
    base(kinds.iter().find(|(short, _)| *short == kind).unwrap().1, value)
}

fn evaluated(xml: &str) -> Result<Value, String> {
    let item = "<qti-assessment-item xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0' identifier='i'>\
        <qti-response-declaration identifier='R' cardinality='multiple' base-type='string'><qti-mapping \
        default-value='-1' upper-bound='3'><qti-map-entry map-key='a' mapped-value='2' case-sensitive='false'/>\
        <qti-map-entry map-key='B' mapped-value='2' case-sensitive='true'/></qti-mapping></qti-response-declaration>\
        <qti-response-declaration identifier='POINT' cardinality='multiple' base-type='point'><qti-area-mapping \
        default-value='0'><qti-area-map-entry shape='rect' coords='0,0,9,9' mapped-value='1'/></qti-area-mapping>\
        </qti-response-declaration><qti-response-declaration identifier='C' cardinality='single' \
        base-type='float'><qti-default-value><qti-value>4</qti-value></qti-default-value><qti-correct-response>\
        <qti-value>2.5</qti-value></qti-correct-response></qti-response-declaration>\
        <qti-template-declaration identifier='N' cardinality='single' base-type='integer'><qti-default-value>\
        <qti-value>2</qti-value></qti-default-value></qti-template-declaration></qti-assessment-item>";
    let item = read_item(item.as_bytes()).unwrap();
    let mut variables = Variables::new(&item.declarations);
    let list =
        |values: &[&str]| Value::Multiple(values.iter().map(|text| Scalar::String((*text).into())).collect());
    variables.set("R", list(&["A", "b", "a", "B", "A"])).unwrap();
    variables.set("POINT", Value::Multiple(vec![Scalar::Point(1, 1), Scalar::Point(2, 2)])).unwrap();
    let document = format!(
        "<qti-response-processing xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0'>{xml}</qti-response-processing>"
    );
    let document = read_document(document.as_bytes(), &["response-processing"], Limits::ITEM).unwrap();
    let child = document.root().children().next().unwrap();
    let expression = Expression::read(child).map_err(|fault| fault.to_string())?;
    let mut chance = Chance::keyed("tests");
    let mut scope = Scope { variables: &variables, chance: &mut chance };
    expression.evaluate(&mut scope).map(Operand::into_value).map_err(|failure| failure.to_string())
}

/// The operator with its attributes on the operands.
fn found(operator: &str, operands: &[&str]) -> Result<Value, String> {
    let name = operator.split(' ').next().unwrap();
    let operands: String = operands.iter().map(|text| operand(text)).collect();
    evaluated(&format!("<qti-{operator}>{operands}</qti-{name}>"))
}

#[track_caller]
fn assert_gives(table: &[(&str, &[&str], &str)]) {
    for (operator, operands, expected) in table {
        let expected = match *expected {
            "-" => Value::Null,
            other => evaluated(&operand(other)).unwrap(),
        };
        assert_eq!(found(operator, operands), Ok(expected), "{operator} of {operands:?}");
    }
}

#[test]
fn sums_products_and_differences_stay_integers_among_integers() {
    assert_gives(&[
        ("sum", &["i:1", "i:2"], "i:3"),
        ("sum", &["i:1", "f:2"], "f:3"),
        ("sum", &["O[i:1|i:2]", "i:4"], "i:7"),
        ("sum", &["i:1", "-"], "-"),
        ("sum", &["i:2147483647", "i:1"], "-"),
        ("sum", &["f:0.1", "f:0.2"], "f:0.30000000000000004"),
        ("product", &["i:2", "i:-3"], "i:-6"),
        ("product", &["f:1.5", "i:2"], "f:3"),
        ("subtract", &["i:2", "i:5"], "i:-3"),
        ("subtract", &["f:2.5", "i:1"], "f:1.5"),
        ("subtract", &["-", "i:1"], "-"),
    ]);
}

#[test]
fn division_is_always_a_float_and_integers_divide_downwards() {
    assert_gives(&[
        ("divide", &["i:6", "i:3"], "f:2"),
        ("divide", &["i:6", "i:0"], "-"),
        ("divide", &["f:1e308", "f:1e-308"], "-"),
        ("power", &["i:2", "i:3"], "f:8"),
        ("power", &["f:10", "i:400"], "-"),
        ("power", &["f:-8", "f:0.5"], "-"),
        ("integer-divide", &["i:7", "i:2"], "i:3"),
        ("integer-divide", &["i:-7", "i:2"], "i:-4"),
        ("integer-divide", &["i:7", "i:-2"], "i:-4"),
        ("integer-divide", &["i:-6", "i:2"], "i:-3"),
        ("integer-divide", &["i:7", "i:0"], "-"),
        ("integer-modulus", &["i:7", "i:2"], "i:1"),
        ("integer-modulus", &["i:-7", "i:2"], "i:1"),
        ("integer-modulus", &["i:7", "i:-2"], "i:-1"),
        ("integer-modulus", &["i:7", "i:0"], "-"),
        ("integer-to-float", &["i:7"], "f:7"),
    ]);
}

#[test]
fn rounding_goes_half_up_to_integers_and_by_digits_to_figures() {
    assert_gives(&[
        ("truncate", &["f:6.8"], "i:6"),
        ("truncate", &["f:-6.8"], "i:-6"),
        ("truncate", &["f:1e12"], "-"),
        ("round", &["f:6.5"], "i:7"),
        ("round", &["f:6.49"], "i:6"),
        ("round", &["f:-6.5"], "i:-6"),
        ("round", &["f:-6.51"], "i:-7"),
        ("round", &["f:0.49999999999999994"], "i:0"),
        ("round", &["-"], "-"),
        ("round-to rounding-mode='significantFigures' figures='3'", &["f:3.175"], "f:3.18"),
        ("round-to rounding-mode='significantFigures' figures='3'", &["f:3.1749"], "f:3.17"),
        ("round-to rounding-mode='significantFigures' figures='2'", &["f:99.6"], "f:100"),
        ("round-to rounding-mode='significantFigures' figures='1'", &["f:-0.0951"], "f:-0.1"),
        ("round-to rounding-mode='significantFigures' figures='2'", &["i:1250"], "f:1300"),
        ("round-to rounding-mode='decimalPlaces' figures='2'", &["f:1.68572"], "f:1.69"),
        ("round-to rounding-mode='decimalPlaces' figures='2'", &["f:1.005"], "f:1.01"),
        ("round-to rounding-mode='decimalPlaces' figures='0'", &["f:0.5"], "f:1"),
        ("round-to rounding-mode='decimalPlaces' figures='1'", &["f:0.04"], "f:0"),
        ("round-to rounding-mode='decimalPlaces' figures='1'", &["f:0.005"], "f:0"),
        ("round-to rounding-mode='significantFigures' figures='0'", &["f:1.5"], "-"),
        ("equal-rounded rounding-mode='significantFigures' figures='3'", &["f:3.175", "f:3.183"], "b:true"),
        ("equal-rounded rounding-mode='significantFigures' figures='3'", &["f:3.175", "f:3.1749"], "b:false"),
        ("equal-rounded rounding-mode='decimalPlaces' figures='2'", &["f:1.68572", "f:1.69"], "b:true"),
        ("equal-rounded figures='N'", &["f:1.24", "f:1.16"], "b:true"),
    ]);
}

#[test]
fn equality_is_set_by_the_first_operand_and_tests_the_second() {
    assert_gives(&[
        ("equal", &["f:1.5", "f:1.5"], "b:true"),
        ("equal", &["i:2", "f:2"], "b:true"),
        ("equal tolerance-mode='exact'", &["f:0.3", "f:0.30000000000000004"], "b:false"),
        ("equal tolerance-mode='absolute' tolerance='0.5'", &["f:2", "f:2.5"], "b:true"),
        ("equal tolerance-mode='absolute' tolerance='0.5 0.25'", &["f:2", "f:2.5"], "b:false"),
        ("equal tolerance-mode='absolute' tolerance='0.5 0.25'", &["f:2.5", "f:2"], "b:true"),
        (
            "equal tolerance-mode='absolute' tolerance='0.5' include-upper-bound='false'",
            &["f:2", "f:2.5"],
            "b:false",
        ),
        (
            "equal tolerance-mode='absolute' tolerance='0.5' include-lower-bound='false'",
            &["f:2", "f:1.5"],
            "b:false",
        ),
        ("equal tolerance-mode='relative' tolerance='50'", &["f:2", "f:3"], "b:true"),
        ("equal tolerance-mode='relative' tolerance='50'", &["f:3", "f:1.4"], "b:false"),
        // The range of a negative key is empty: from -1 down to -3.
        ("equal tolerance-mode='relative' tolerance='50'", &["f:-2", "f:-2"], "b:false"),
        ("equal tolerance-mode='absolute' tolerance='N'", &["f:5", "f:7"], "b:true"),
        ("equal", &["-", "f:1"], "-"),
    ]);
}

#[test]
fn functions_of_mathematics_are_null_outside_their_domains() {
    let near = |name: &str, operands: &[&str], expected: f64| {
        let value = found(&format!("math-operator name='{name}'"), operands).unwrap().as_float().unwrap();
        assert!((value - expected).abs() < 1e-12, "{name} {operands:?} {value}");
    };
    for (name, at_half) in [
        ("sin", 0.5_f64.sin()),
        ("cos", 0.5_f64.cos()),
        ("tan", 0.5_f64.tan()),
        ("sec", 1.0 / 0.5_f64.cos()),
        ("csc", 1.0 / 0.5_f64.sin()),
        ("cot", 1.0 / 0.5_f64.tan()),
        ("asin", std::f64::consts::FRAC_PI_6),
        ("acos", 1.047_197_551_196_597_7),
        ("atan", 0.463_647_609_000_806_1),
        ("acot", 1.107_148_717_794_090_5),
        ("sinh", 0.521_095_305_493_747_4),
        ("cosh", 1.127_625_965_206_380_8),
        ("tanh", 0.462_117_157_260_009_76),
        ("sech", 0.886_818_883_970_074),
        ("csch", 1.919_034_751_334_943_7),
        ("coth", 2.163_953_413_738_653),
        ("log", -std::f64::consts::LOG10_2),
        ("ln", -std::f64::consts::LN_2),
        ("exp", 1.648_721_270_700_128_2),
        ("abs", 0.5),
        ("toDegrees", 28.647_889_756_541_16),
        ("toRadians", 0.008_726_646_259_971_648),
    ] {
        near(name, &["f:0.5"], at_half);
    }
    near("asec", &["f:2"], std::f64::consts::FRAC_PI_3);
    near("acsc", &["f:2"], std::f64::consts::FRAC_PI_6);
    near("atan2", &["f:1", "f:-1"], 3.0 * std::f64::consts::FRAC_PI_4);
    assert_gives(&[
        ("math-operator name='signum'", &["f:-2.5"], "i:-1"),
        ("math-operator name='signum'", &["f:0"], "i:0"),
        ("math-operator name='floor'", &["f:-2.5"], "i:-3"),
        ("math-operator name='ceil'", &["f:-2.5"], "i:-2"),
        ("math-operator name='ln'", &["f:-1"], "-"),
        ("math-operator name='log'", &["f:0"], "-"),
        ("math-operator name='asin'", &["f:2"], "-"),
        ("math-operator name='asec'", &["f:0.5"], "-"),
        ("math-operator name='csch'", &["f:0"], "-"),
        ("math-operator name='exp'", &["f:1000"], "-"),
    ]);
    assert!(found("math-operator name='power'", &["f:1"]).unwrap_err().contains("one of sin, cos"));
    assert_eq!(found("math-constant name='pi'", &[]), Ok(Value::float(std::f64::consts::PI)));
    assert_eq!(found("math-constant name='e'", &[]), Ok(Value::float(std::f64::consts::E)));
}

#[test]
fn smallest_largest_divisors_multiples_and_statistics() {
    assert_gives(&[
        ("min", &["i:3", "i:2", "i:4"], "i:2"),
        ("min", &["i:3", "f:2.5"], "f:2.5"),
        ("max", &["M[i:3|i:9]", "i:2"], "i:9"),
        ("max", &["i:3", "-"], "-"),
        ("gcd", &["i:12", "i:-18"], "i:6"),
        ("gcd", &["i:0", "i:0"], "i:0"),
        ("lcm", &["i:4", "i:6"], "i:12"),
        ("lcm", &["i:4", "i:0"], "i:0"),
        ("lcm", &["i:2147483647", "i:2147483646"], "-"),
        ("stats-operator name='mean'", &["O[i:1|i:2|i:6]"], "f:3"),
        ("stats-operator name='sampleVariance'", &["O[i:1|i:2|i:6]"], "f:7"),
        ("stats-operator name='popVariance'", &["M[i:2|i:4]"], "f:1"),
        ("stats-operator name='popSD'", &["M[i:1|i:5]"], "f:2"),
        ("stats-operator name='sampleSD'", &["M[i:1|i:1]"], "f:0"),
        ("stats-operator name='sampleSD'", &["M[i:1]"], "-"),
    ]);
}

#[test]
fn truth_is_decided_by_one_part_even_beside_null() {
    assert_gives(&[
        ("and", &["b:true", "b:true"], "b:true"),
        ("and", &["b:false", "-"], "b:false"),
        ("and", &["b:true", "-"], "-"),
        ("or", &["b:true", "-"], "b:true"),
        ("or", &["b:false", "-"], "-"),
        ("or", &["b:false", "b:false"], "b:false"),
        ("not", &["b:true"], "b:false"),
        ("not", &["-"], "-"),
        ("any-n min='1' max='2'", &["b:true", "b:false", "-"], "b:true"),
        ("any-n min='2' max='2'", &["b:true", "-", "b:false"], "-"),
        ("any-n min='2' max='3'", &["b:true", "b:false", "b:false"], "b:false"),
        ("any-n min='0' max='1'", &["b:true", "b:true"], "b:false"),
        ("is-null", &["-"], "b:true"),
        ("is-null", &["s:"], "b:true"),
        ("is-null", &["O[]"], "b:true"),
        ("is-null", &["i:0"], "b:false"),
        ("lt", &["i:1", "f:1.5"], "b:true"),
        ("lte", &["f:1", "i:1"], "b:true"),
        ("gt", &["f:1", "i:1"], "b:false"),
        ("gte", &["f:1", "i:1"], "b:true"),
        ("gte", &["f:1", "-"], "-"),
        ("duration-lt", &["d:3", "d:3"], "b:false"),
        ("duration-gte", &["d:3", "d:3"], "b:true"),
    ]);
    assert!(found("and", &["i:1"]).unwrap_err().contains("expected a boolean"));
    assert!(found("lt", &["s:a", "i:1"]).unwrap_err().contains("expected a number"));
}

#[test]
fn values_are_matched_found_and_taken_from_containers() {
    assert_gives(&[
        ("match", &["n:A", "n:A"], "b:true"),
        ("match", &["M[n:A|n:B]", "M[n:B|n:A]"], "b:true"),
        ("match", &["O[n:A|n:B]", "O[n:B|n:A]"], "b:false"),
        ("match", &["P:A B", "P:B A"], "b:true"),
        ("match", &["s:a", "s:A"], "b:false"),
        ("match", &["-", "n:A"], "-"),
        ("member", &["n:A", "M[n:B|n:A]"], "b:true"),
        ("member", &["n:C", "O[n:B|n:A]"], "b:false"),
        ("contains", &["M[i:1|i:2|i:2]", "M[i:2|i:2]"], "b:true"),
        ("contains", &["M[i:1|i:2]", "M[i:2|i:2]"], "b:false"),
        ("contains", &["O[n:A|n:B|n:C]", "O[n:B|n:C]"], "b:true"),
        ("contains", &["O[n:A|n:B|n:C]", "O[n:A|n:C]"], "b:false"),
        ("delete", &["n:A", "O[n:A|n:B|n:A]"], "O[n:B]"),
        ("delete", &["n:A", "M[n:A]"], "-"),
        ("index n='2'", &["O[n:A|n:B]"], "n:B"),
        ("index n='N'", &["O[n:A|n:B]"], "n:B"),
        ("index n='3'", &["O[n:A|n:B]"], "-"),
        ("container-size", &["M[n:A|n:B]"], "i:2"),
        ("container-size", &["-"], "i:0"),
        ("multiple", &["-", "i:1", "M[i:2]"], "M[i:1|i:2]"),
        ("ordered", &["-"], "-"),
        ("repeat number-repeats='2'", &["i:1", "i:2"], "O[i:1|i:2|i:1|i:2]"),
        ("repeat number-repeats='0'", &["i:1"], "-"),
    ]);
    assert!(found("match", &["n:A", "s:A"]).unwrap_err().contains("base type"));
    assert!(found("multiple", &["n:A", "s:A"]).unwrap_err().contains("one base type"));
    let chosen = found("random", &["M[n:A|n:B]"]).unwrap();
    assert!(["A", "B"].contains(&chosen.as_text().unwrap()));
    assert_eq!(found("random", &["-"]), Ok(Value::Null));
}

#[test]
fn strings_are_compared_whole_or_in_part() {
    assert_gives(&[
        ("string-match case-sensitive='true'", &["s:a", "s:A"], "b:false"),
        ("string-match case-sensitive='false'", &["s:a", "s:A"], "b:true"),
        ("string-match case-sensitive='true' substring='true'", &["s:abc", "s:b"], "b:true"),
        ("substring case-sensitive='true'", &["s:b", "s:abc"], "b:true"),
        ("substring case-sensitive='true'", &["s:abc", "s:b"], "b:false"),
        ("pattern-match pattern='[0-9]+[.][0-9]{2}'", &["s:1.50"], "b:true"),
        ("pattern-match pattern='[0-9]+[.][0-9]{2}'", &["s:1.505"], "b:false"),
        ("pattern-match pattern='x'", &["-"], "-"),
    ]);
    assert!(found(r"pattern-match pattern='\p{L}'", &["s:a"]).unwrap_err().contains("cannot be judged"));
}

#[test]
fn points_lie_inside_areas_with_their_edges() {
    assert_gives(&[
        ("inside shape='rect' coords='0,0,9,9'", &["p:9 9"], "b:true"),
        ("inside shape='rect' coords='0,0,9,9'", &["p:10 9"], "b:false"),
        ("inside shape='circle' coords='0,0,5'", &["p:3 4"], "b:true"),
        ("inside shape='circle' coords='0,0,5'", &["p:4 4"], "b:false"),
        ("inside shape='ellipse' coords='0,0,10,5'", &["p:10 0"], "b:true"),
        ("inside shape='ellipse' coords='0,0,10,5'", &["p:0 10"], "b:false"),
        ("inside shape='poly' coords='0,0,10,0,0,10'", &["p:2 2"], "b:true"),
        ("inside shape='poly' coords='0,0,10,0,0,10'", &["p:8 8"], "b:false"),
        ("inside shape='default'", &["p:8 8"], "b:true"),
    ]);
}

#[test]
fn variables_give_values_defaults_correct_responses_and_points() {
    let of = |xml: &str| evaluated(xml).unwrap();
    assert_eq!(of("<qti-variable identifier='N'/>"), Value::integer(2));
    assert_eq!(of("<qti-variable identifier='C'/>"), Value::Null);
    assert_eq!(of("<qti-default identifier='C'/>"), Value::float(4.0));
    assert_eq!(of("<qti-correct identifier='C'/>"), Value::float(2.5));
    // A and a are one value each by letter, and both are the entry a; b has no entry, B has; the bound cuts 2+2+2-1.
    assert_eq!(of("<qti-map-response identifier='R'/>"), Value::float(3.0));
    assert_eq!(of("<qti-map-response-point identifier='POINT'/>"), Value::float(1.0));
    assert!(evaluated("<qti-variable identifier='X'/>").unwrap_err().contains("no variable 'X'"));
}

#[test]
fn random_numbers_reach_every_step_and_nothing_else() {
    let item = "<qti-assessment-item xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0' identifier='i'/>";
    let item = read_item(item.as_bytes()).unwrap();
    let variables = Variables::new(&item.declarations);
    let mut chance = Chance::keyed("steps");
    let count = |number| Count::Number(number);
    let expression = |operator| Expression { operator, operands: Vec::new(), line: 1 };
    let integers =
        expression(Operator::RandomInteger { min: count(3.0), max: count(12.0), step: count(4.0) });
    let floats = expression(Operator::RandomFloat { min: count(1.0), max: count(2.0) });
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..200 {
        let mut scope = Scope { variables: &variables, chance: &mut chance };
        let [integer, float] = [&integers, &floats].map(|one| one.evaluate(&mut scope).unwrap());
        seen.insert(integer.to_string());
        let float = float.as_float().unwrap();
        assert!((1.0..2.0).contains(&float));
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), ["11", "3", "7"]);
    assert!(evaluated("<qti-random-integer min='5' max='4'/>").is_err());
}

#[test]
fn what_is_no_expression_is_named_with_its_line() {
    for (xml, said) in [
        ("<sum/>", "line 1: the element 'sum'; expected an expression"),
        ("<qti-average/>", "the element 'average'"),
        ("<qti-is-null/>", "'is-null' has 0 operands; expected 1"),
        ("<qti-sum/>", "expected 1 or more"),
        ("<qti-base-value base-type='integer'>1.5</qti-base-value>", "a value of the base type integer"),
        ("<qti-equal tolerance-mode='absolute'><qti-null/><qti-null/></qti-equal>", "one or two numbers"),
        (
            "<qti-custom-operator class='org.example.own'/>",
            "the custom operator 'org.example.own' cannot be judged",
        ),
        ("<qti-test-variables variable-identifier='SCORE'/>", "'test-variables' of a whole test"),
    ] {
        let error = evaluated(xml).unwrap_err();
        assert!(error.contains(said), "{xml}: {error}");
    }
}
