//! Brute force over small families against the automaton.
use alloc::{collections::BTreeSet, format, string::String};

use super::*;
use crate::{family::drawing::Voice, locale::Language};

/// A family of these givens, requirements and steps.
fn family(givens: &[&str], requires: &[&str], steps: &[&str]) -> Family {
    let mut text = String::from(
        "family = \"small\"\nversion = 1\nstandards = []\n[text.en-US]\ntitle = \"t\"\n[text.en-US.prompt]\n",
    );
    for (index, _) in steps.iter().enumerate() {
        text += &format!("s{index} = \"?\"\n");
    }
    for (name, given) in ["a", "b", "c", "d"].iter().zip(givens) {
        text += &format!("[[given]]\nname = \"{name}\"\n{given}\n");
    }
    for require in requires {
        text += &format!("[[require]]\n{require}\n");
    }
    for (index, expression) in steps.iter().enumerate() {
        let kind = match expression {
            _ if expression.contains('?') => "choice",
            _ if expression.contains("scending") => "order",
            _ => "number",
        };
        text += &format!(
            "[[step]]\nid = \"s{index}\"\nkind = \"{kind}\"\nexpression = \"{expression}\"\ncontrol = true\n"
        );
    }
    Family::from_toml("small", &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"))
}

/// Every combination of the givens' numbers that makes a question, one by one.
fn by_brute_force(family: &Family) -> BTreeSet<Vec<Decimal>> {
    let mut all: Vec<Vec<Decimal>> = alloc::vec![Vec::new()];
    for given in &family.givens {
        let numbers: Vec<Decimal> =
            (0..given.numbers.count()).filter_map(|index| given.numbers.at(index)).collect();
        let longer = all
            .iter()
            .flat_map(|values| numbers.iter().map(move |number| [values.as_slice(), &[*number]].concat()));
        all = longer.collect();
    }
    let texts = &family.texts["en-US"];
    let voice = Voice { locale: "en-US".into(), language: Language::English, texts };
    let fits = |values: &Vec<Decimal>| family.steps_if_fitting(values, &voice).is_some();
    all.into_iter().filter_map(|drawn| family.resolved(drawn)).filter(fits).collect()
}

const RANGE_1: &str = "from = \"1.1\"\nto = \"3.9\"";
const RANGE_1_NONZERO: &str = "from = \"0.3\"\nto = \"4.2\"\nends = \"nonzero\"";
const RANGE_2: &str = "from = \"0.95\"\nto = \"2.15\"";
const RANGE_2_NONZERO: &str = "from = \"0.88\"\nto = \"1.31\"\nends = \"nonzero\"";
const WHOLE: &str = "from = \"2\"\nto = \"12\"";
const LIST: &str = "values = [\"0.5\", \"1.25\", \"3\"]";

/// Givens, requirements, steps of small families whose every demand the automaton carries.
const CARRIED: &[(&[&str], &[&str], &[&str])] = &[
    (&[RANGE_1], &[], &["a"]),
    (&[RANGE_1_NONZERO], &[], &["a + 0.75"]),
    (&[RANGE_1, RANGE_2], &[], &["a + b"]),
    (&[RANGE_1, RANGE_2_NONZERO], &[], &["a - b"]),
    (&[RANGE_2, RANGE_1], &[], &["a - b"]),
    (&[WHOLE, RANGE_2], &[], &["a - b"]),
    (&[RANGE_1, RANGE_1], &["relation = \"a > b\""], &["a - b"]),
    (&[RANGE_1, RANGE_1], &["relation = \"a != b\""], &["a ? b"]),
    (&[RANGE_1, RANGE_2], &["relation = \"a = b\""], &["a ? b"]),
    (&[RANGE_1, RANGE_2], &["relation = \"a <= b + 0.5\""], &["a ? b"]),
    (&[RANGE_1, RANGE_2], &["relation = \"b >= a\""], &["b - a"]),
    (&[RANGE_1, RANGE_2], &["relation = \"s0 < 4\""], &["a + b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [1, 1]"], &["a + b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [2, 3]"], &["a + b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [0, 0]"], &["a + b"]),
    (&[RANGE_1, RANGE_2], &["of = \"a + b\"\ncarries = [1, 2]"], &["a + b"]),
    (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [1, 1]"], &["a - b"]),
    (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [2, 2]"], &["a - b"]),
    (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [0, 0]"], &["a - b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = true"], &["a - b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = false"], &["a - b"]),
    (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = true\nexchanges = [1, 1]"], &["a - b"]),
    (&[WHOLE, RANGE_2], &["of = \"a - b\"\nacross_zero = true"], &["a - b"]),
    (&[LIST, RANGE_1], &[], &["a + b"]),
    (&[LIST, RANGE_1, LIST], &["relation = \"c > a\""], &["b + c - a"]),
    (&[RANGE_1_NONZERO, RANGE_1_NONZERO, RANGE_1_NONZERO], &[], &["a + b", "s0 - c"]),
    (&[RANGE_1, RANGE_1, WHOLE], &["of = \"a + b\"\ncarries = [1, 1]"], &["a + b", "c - s0"]),
    (&[RANGE_1, RANGE_1, WHOLE], &["of = \"c - s0\"\nacross_zero = true"], &["a + b", "c - s0"]),
    (&[RANGE_1, RANGE_1, RANGE_1], &["relation = \"s0 > s1\""], &["a + b", "b + c", "s0 - s1"]),
    (&[RANGE_1, RANGE_1, RANGE_1], &["relation = \"a < b\"", "relation = \"b < c\""], &["a + b + c"]),
    (&[RANGE_2_NONZERO, WHOLE], &["relation = \"b > 10\""], &["b - (a + a)"]),
    (
        &[RANGE_1, RANGE_1, RANGE_1, LIST],
        &["of = \"s0 + s1\"\ncarries = [2, 3]"],
        &["a + b", "c + d", "s0 + s1"],
    ),
    (
        &[RANGE_1, RANGE_1, WHOLE],
        &["of = \"a + b\"\ncarries = [0, 1]", "of = \"c - b\"\nexchanges = [1, 1]"],
        &["a + b", "c - b"],
    ),
    (&[RANGE_1, RANGE_2], &["any = [\"a > b + 1\", \"b > a + 1\"]"], &["a ? b"]),
    (&[RANGE_1, RANGE_2], &["any = [\"a = b\", \"s0 > 5\", \"s0 < 3\"]"], &["a + b"]),
    (&[RANGE_2, RANGE_2], &["relation = \"whole(a) = whole(b)\""], &["a ? b"]),
    (&[RANGE_2, RANGE_1], &["relation = \"whole(a) != whole(b)\""], &["a ? b"]),
    (&[RANGE_2, RANGE_2], &["relation = \"digit(a, 1) = digit(b, 1)\""], &["a ? b"]),
    (&[RANGE_2, RANGE_1], &["relation = \"digit(a, 2) >= 5\""], &["a - b"]),
    (&[RANGE_2, RANGE_1], &["relation = \"digit(s0, 1) = 0\""], &["a + b"]),
    (&[RANGE_1, RANGE_1], &["relation = \"digit(a, 3) = 0\""], &["a + b"]),
    (
        &[RANGE_2, "from = \"0.05\"\nto = \"3.05\"\ndigits = { tenths = \"0\", hundredths = \"1-9\" }"],
        &[],
        &["a + b"],
    ),
    (&[RANGE_1, "from = \"1\"\nto = \"40\"\ndigits = { ones = \"05\" }"], &[], &["b - a"]),
    (&[RANGE_1, RANGE_2, "is = \"a + b\""], &["relation = \"c < 5\""], &["c - a"]),
    (&[RANGE_1, "is = \"a + 1.25\""], &["relation = \"digit(b, 1) > 2\""], &["a + b"]),
    (&[RANGE_1, RANGE_2, "from = \"1\"\nto = \"3\""], &[], &["ascending(a, b, c)"]),
    (&[RANGE_1, LIST], &[], &["descending(a, b)"]),
    (&[RANGE_1, LIST], &[], &["a * b", "round(s0 / b, 1)"]),
    (&[WHOLE, "from = \"1.5\"\nto = \"9.5\"\nstep = \"0.5\""], &[], &["a * b + 1"]),
];

#[test]
fn counts_as_brute_force_does_and_reaches_every_question_once() {
    for (givens, requires, steps) in CARRIED {
        let family = family(givens, requires, steps);
        let expected = by_brute_force(&family);
        let place = format!("{requires:?} {steps:?}");
        assert_eq!(family.counted(), Counted::Questions, "{place}");
        assert_eq!(family.capacity(), expected.len() as u128, "{place}");
        let reached: BTreeSet<Vec<Decimal>> = (0..family.capacity())
            .map(|index| family.resolved(family.space.numbers(index).unwrap()).unwrap())
            .collect();
        assert!(reached == expected, "{place}");
        assert_eq!(family.space.numbers(family.capacity()), None);
    }
    assert!(CARRIED.len() >= 30);
}

#[test]
fn keeps_written_places() {
    let family = family(&[RANGE_2, LIST], &[], &["a + b"]);
    let numbers = family.space.numbers(0).unwrap();
    assert_eq!(numbers[0].places(), 2);
}

#[test]
fn says_when_the_count_is_only_a_bound() {
    let product = family(&[RANGE_1, LIST], &["relation = \"s0 > 2\""], &["a * b"]);
    assert_eq!(product.counted(), Counted::Bound);
    assert!(product.capacity() >= by_brute_force(&product).len() as u128);
    let drawn = product.draws("bound", 0, "en-US").count();
    assert_eq!(drawn, by_brute_force(&product).len());
    let twice = family(
        &[RANGE_2, RANGE_2],
        &["of = \"a + b\"\ncarries = [1, 2]", "of = \"a + b\"\ncarries = [2, 3]"],
        &["a + b"],
    );
    assert_eq!(twice.counted(), Counted::Bound);
}

#[test]
fn a_demand_that_is_not_carried_never_hides_a_question() {
    for require in [
        "relation = \"digit(a, 1) != digit(b, 2)\"",
        "any = [\"a > b\", \"a * b > 4\"]",
        "any = [\"a * b > 4\", \"a > b\"]",
    ] {
        let family = family(&[RANGE_1, RANGE_2], &[require], &["a + b"]);
        let expected = by_brute_force(&family);
        assert!(
            family.counted() == Counted::Bound && family.capacity() >= expected.len() as u128,
            "{require}"
        );
        assert_eq!(family.draws("hidden", 0, "en-US").count(), expected.len(), "{require}");
    }
}

#[test]
fn a_seed_draws_every_question_of_a_family_once() {
    let family = family(&[RANGE_1, RANGE_2_NONZERO], &["of = \"a - b\"\nexchanges = [1, 2]"], &["a - b"]);
    let drawn: BTreeSet<Vec<Decimal>> = family
        .draws("all of it", 0, "en-US")
        .map(|item| item.unwrap().givens.iter().map(|given| given.value).collect())
        .collect();
    assert_eq!(drawn, by_brute_force(&family));
}
