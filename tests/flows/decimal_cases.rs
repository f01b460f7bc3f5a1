//! The General Decimal Arithmetic test cases against the three routes to an answer.
//!
//! The cases (M. F. Cowlishaw) come with Debian's package `libpython3.*-testsuite`; `DECTEST_DIR` may name another
//! folder. They are an outside check only, never part of this project. Without them the check is skipped and says
//! so; with `CI=true` it fails.
//!
//! The school-sized subset: operands in plain notation, not negative, with at most 7 digits before and 6 after the
//! point, and a result in plain notation. Results are compared by value, for the cases keep trailing zeros
//! (0.7 + 0.3 is 1.0 there). A case whose result was rounded is checked where it was rounded half up, by
//! rounding the route's exact result to the same place. What a route cannot carry is counted by reason, see
//! [`Uncarried`]; a result below zero is carried by refusing it.
use std::{cmp::Ordering, collections::BTreeMap};

use conformance::{
    dectest::{self, Case},
    skip,
};
use qbank::{
    arithmetic::{Arithmetic, ArithmeticError, Columns, Fractions, Library},
    decimal::Decimal,
    expression::Operation,
};

const CHECK: &str = "General Decimal Arithmetic cases";

/// How many cases of each operation there are at least, and how many of them each route carries: library, columns,
/// fractions. Counted in Debian 12's files, version 2.59 of the cases.
const LEAST: [(&str, usize, [usize; 3]); 9] = [
    ("add", 532, [373, 373, 373]),
    ("compare", 318, [318, 318, 318]),
    ("divide", 623, [446, 439, 446]),
    ("multiply", 340, [256, 256, 256]),
    ("quantize", 278, [84, 84, 84]),
    ("reduce", 63, [63, 63, 63]),
    ("subtract", 220, [220, 220, 220]),
    ("tointegral", 52, [34, 34, 34]),
    ("tointegralx", 156, [66, 66, 66]),
];

const ROUTES: [&str; 3] = ["library", "columns", "fractions"];

/// Places to which the columns carry a division; more than any question asks for.
const COLUMN_PLACES: u32 = 12;

/// Why a route cannot be held against a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Uncarried {
    /// Rounded by another rule than half up; schools teach no other.
    OtherRounding,
    /// A result of more digits than a decimal holds here.
    TooManyDigits,
    /// More places than the columns carry a division to.
    BeyondColumns,
}

/// What a route is asked to do.
#[derive(Clone, Copy, Debug)]
enum Task {
    Apply(Operation, Decimal, Decimal),
    Compare(Decimal, Decimal),
    Round(Decimal, u32),
    Reduce(Decimal),
}

#[derive(Debug, PartialEq, Eq)]
enum Found {
    Number(Decimal),
    Order(Ordering),
    /// A number whose written form counts, too.
    Written(String),
}

/// A case in the project's own terms.
struct Exercise {
    task: Task,
    /// The places to which the result is rounded; `None` for an exact one.
    rounded_to: Option<u32>,
    expected: Result<Found, ArithmeticError>,
}

#[derive(Default)]
struct Count {
    cases: usize,
    /// By route, in the order of [`ROUTES`].
    carried: [usize; 3],
    /// Of those carried, the ones that are carried by refusing a result below zero.
    below_zero: usize,
    /// By route, as `carried`.
    uncarried: BTreeMap<Uncarried, [usize; 3]>,
}

#[test]
fn three_routes_agree_with_the_general_decimal_arithmetic_cases() {
    let Some(folder) = dectest::folder() else {
        return skip(CHECK, "no folder of .decTest files; set DECTEST_DIR");
    };
    let cases = dectest::read_folder(&folder).unwrap();
    let mut counts: BTreeMap<&str, Count> = BTreeMap::new();
    let mut differences = Vec::new();
    for case in cases.iter().filter(|case| is_school_sized(case)) {
        let count = counts.entry(case.operation.as_str()).or_default();
        count.cases += 1;
        match exercise(case) {
            Ok(exercise) => differences.extend(check(case, &exercise, count)),
            Err(reason) => {
                count.uncarried.entry(reason).or_default().iter_mut().for_each(|routes| *routes += 1);
            }
        }
    }
    report(&counts);
    assert_eq!(differences, [] as [String; 0]);
    for (operation, cases, carried) in LEAST {
        let count =
            counts.get(operation).unwrap_or_else(|| panic!("no case of {operation} in {}", folder.display()));
        assert!(count.cases >= cases, "{operation}: {} cases, expected at least {cases}", count.cases);
        for ((route, found), least) in ROUTES.iter().zip(count.carried).zip(carried) {
            assert!(
                found >= least,
                "{operation}: the {route} carried {found} cases, expected at least {least}"
            );
        }
    }
}

fn is_school_sized(case: &Case) -> bool {
    let plain = |text: &str| {
        text.bytes().any(|byte| byte.is_ascii_digit())
            && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
    };
    let small = |text: &String| {
        let (whole, places) = text.split_once('.').unwrap_or((text, ""));
        plain(text) && whole.trim_start_matches('0').len() <= 7 && places.len() <= 6
    };
    LEAST.iter().any(|(operation, ..)| *operation == case.operation)
        && case.operands.iter().all(small)
        && plain(case.result.strip_prefix('-').unwrap_or(&case.result))
}

/// The case as a task for the routes. Asserts what the reader of cases relies on: that directives were obeyed.
fn exercise(case: &Case) -> Result<Exercise, Uncarried> {
    let operand = |index: usize| decimal(&case.operands[index]);
    let (left, right) = (operand(0)?, operand(case.operands.len() - 1)?);
    let result = decimal(&case.result)?;
    let task = match case.operation.as_str() {
        "add" => Task::Apply(Operation::Add, left, right),
        "subtract" => Task::Apply(Operation::Subtract, left, right),
        "multiply" => Task::Apply(Operation::Multiply, left, right),
        "divide" => Task::Apply(Operation::Divide, left, right),
        "compare" => Task::Compare(left, right),
        "quantize" => Task::Round(left, right.places()),
        "reduce" => Task::Reduce(left),
        "tointegral" | "tointegralx" => Task::Round(left, 0),
        other => panic!("{}: no task for {other}", case.id),
    };
    // 'tointegral' rounds without raising a flag.
    let inexact = case.is_inexact() || (matches!(task, Task::Round(..)) && result != left);
    assert_directives(case, &task, &result, inexact);
    if inexact && case.directive("rounding") != "half_up" {
        return Err(Uncarried::OtherRounding);
    }
    let expected = match task {
        Task::Compare(..) => Ok(Found::Order(result.cmp(&Decimal::ZERO))),
        Task::Reduce(_) => Ok(Found::Written(result.to_string())),
        _ if result.is_negative() => Err(ArithmeticError::BelowZero),
        _ => Ok(Found::Number(result)),
    };
    Ok(Exercise { task, rounded_to: inexact.then_some(result.places()), expected })
}

fn assert_directives(case: &Case, task: &Task, result: &Decimal, inexact: bool) {
    assert_eq!(case.directive("extended"), "1", "{}", case.id);
    let known = |condition: &String| matches!(condition.as_str(), "inexact" | "rounded");
    assert!(case.conditions.iter().all(known), "{}: {:?}", case.id, case.conditions);
    let digits = result.units().unsigned_abs().checked_ilog10().map_or(1, |log| log as usize + 1);
    assert!(digits <= case.precision(), "{}: {result} has more than {} digits", case.id, case.precision());
    if inexact && matches!(task, Task::Apply(..)) {
        assert_eq!(digits, case.precision(), "{}: {result} was rounded", case.id);
    }
}

/// Numerals of the cases may begin or end with the point.
fn decimal(text: &str) -> Result<Decimal, Uncarried> {
    let (sign, digits) = text.strip_prefix('-').map_or(("", text), |digits| ("-", digits));
    let leading = if digits.starts_with('.') { "0" } else { "" };
    format!("{sign}{leading}{}", digits.trim_end_matches('.')).parse().map_err(|_| Uncarried::TooManyDigits)
}

/// Differences of each route from the case, as sentences.
fn check(case: &Case, exercise: &Exercise, count: &mut Count) -> Vec<String> {
    let found = [found(&Library, exercise), found(&Columns, exercise), found(&Fractions, exercise)];
    let beyond_columns = match (&exercise.task, &exercise.expected) {
        // To round half up takes one more digit.
        (Task::Apply(Operation::Divide, ..), Ok(Found::Number(result))) => {
            result.places() + u32::from(exercise.rounded_to.is_some()) > COLUMN_PLACES
        }
        _ => false,
    };
    count.below_zero += usize::from(exercise.expected == Err(ArithmeticError::BelowZero));
    let mut differences = Vec::new();
    for (index, (route, found)) in ROUTES.iter().zip(found).enumerate() {
        if *route == "columns" && beyond_columns {
            count.uncarried.entry(Uncarried::BeyondColumns).or_default()[index] += 1;
        } else if found == exercise.expected {
            count.carried[index] += 1;
        } else {
            differences.push(format!("{} by {route}: {found:?}, expected {:?}", case.id, exercise.expected));
        }
    }
    differences
}

fn found<A: Arithmetic>(route: &A, exercise: &Exercise) -> Result<Found, ArithmeticError> {
    let number = match exercise.task {
        Task::Compare(left, right) => {
            return route.compare(&route.number(&left)?, &route.number(&right)?).map(Found::Order);
        }
        Task::Reduce(number) => {
            let reduced = route.decimal(&route.number(&number)?)?.normalized();
            return Ok(Found::Written(reduced.to_string()));
        }
        Task::Round(number, places) => route.round(&route.number(&number)?, places)?,
        Task::Apply(operation, left, right) => {
            let exact = route.apply(operation, &route.number(&left)?, &route.number(&right)?)?;
            match exercise.rounded_to {
                Some(places) => route.round(&exact, places)?,
                None => exact,
            }
        }
    };
    route.decimal(&number).map(Found::Number)
}

#[expect(clippy::print_stderr, reason = "the counts are the point of the check")]
fn report(counts: &BTreeMap<&str, Count>) {
    eprintln!("carried and not carried by {}:", ROUTES.join(", "));
    for (operation, Count { cases, carried, below_zero, uncarried }) in counts {
        eprintln!(
            "{operation}: {cases} cases; carried {carried:?}, {below_zero} of them by refusing a result below zero; \
             not carried {uncarried:?}"
        );
    }
}
