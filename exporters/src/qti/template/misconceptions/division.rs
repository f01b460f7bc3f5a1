//! Division: zeros and points lost on the way, the belief that quotients are smaller, fractions by their looks.
use qbank::expression::Operation;

use super::{Bend, OtherExercise, two_parts};
use crate::qti::template::{
    formulas::Case,
    integer::{Fixed, Int, Test},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    let rule: OtherExercise = match id {
        "divide-zero-dropped" => return Some(Bend::ZeroDropped),
        "divide-remainder-as-decimal" => {
            return Some(Bend::Operation(Operation::Divide, remainder_as_decimal));
        }
        "fraction-bar-as-point" => return Some(Bend::Operation(Operation::Divide, bar_as_point)),
        "divide-point-ignored" => |_, a, b| other(a.places > 0, &without_point(a), b),
        "divide-only-divisor-made-whole" => |_, a, b| other(b.places > 0, a, &without_point(b)),
        "divide-points-removed-apart" => {
            |_, a, b| other(a.places > 0 && b.places > 0, &without_point(a), &without_point(b))
        }
        "divide-makes-smaller" => makes_smaller,
        _ => return None,
    };
    Some(Bend::Exercise(Operation::Divide, rule))
}

fn without_point(number: &Fixed) -> Fixed {
    Fixed::new(number.units.clone(), 0)
}

fn other(works: bool, a: &Fixed, b: &Fixed) -> Vec<(Test, Operation, Fixed, Fixed)> {
    if works { vec![(Test::TRUE, Operation::Divide, a.clone(), b.clone())] } else { Vec::new() }
}

fn makes_smaller(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<(Test, Operation, Fixed, Fixed)> {
    let below_one = b.whole().is(0).and(&b.units.at_least(&1.into()));
    match below_one {
        Test::Certain(false) => Vec::new(),
        test => vec![(test, Operation::Multiply, a.clone(), b.clone())],
    }
}

/// Quotient and remainder of whole numbers, and when something remains.
fn remainder(program: &mut Program, a: &Fixed, b: &Fixed) -> Option<(Test, Int)> {
    (a.places == 0 && b.places == 0).then(|| {
        let remainder = program.keep(&a.units.modulo(&b.units));
        (remainder.at_least(&1.into()), remainder)
    })
}

fn remainder_as_decimal(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, remainder)) = remainder(program, a, b) else { return Vec::new() };
    two_parts(&test, &a.units.over(&b.units), &remainder, 1)
}

fn bar_as_point(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, _)) = remainder(program, a, b) else { return Vec::new() };
    two_parts(&test, &a.units, &b.units, 1)
}

/// All zeros are left out but the one in front of the point of a number below one and those at the end of a whole
/// number.
pub(in crate::qti::template) fn zero_dropped(
    program: &mut Program,
    exact: &Test,
    quotient: &Fixed,
) -> Vec<Case> {
    let whole = program.keep(&quotient.whole());
    let fraction = program.keep(&quotient.fraction());
    let mut left = Int::from(0);
    for column in (0..*whole.digit_counts().end()).rev() {
        let digit = program.keep(&whole.digit(column));
        left = program.either(&digit.is(0), &left, &left.raised(1).plus(&digit));
    }
    let mut right = Int::from(0);
    let scale = quotient.places;
    for column in 0..scale {
        let digit = program.keep(&fraction.digit(column));
        let moved = digit.raised(scale).plus(&right).cut(1);
        right = program.either(&digit.is(0), &right, &moved);
        right = right.within(0, crate::qti::template::integer::ten(scale) - 1);
    }
    let is_whole = exact.and(&fraction.is(0));
    let mut cases: Vec<Case> = (0..*whole.digit_counts().end())
        .rev()
        .map(|zeros| Case::new(is_whole.and(&whole.last(zeros).is(0)), left.raised(zeros), 0))
        .collect();
    cases.push(Case::of_parts(exact.clone(), &left, &right, scale));
    cases
}
