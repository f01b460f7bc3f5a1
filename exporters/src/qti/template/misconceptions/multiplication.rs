//! Multiplication: the point put in the wrong place, parts worked apart, and the belief that products are larger.
use qbank::expression::Operation;

use super::{Bend, OnTwo, two_parts};
use crate::qti::template::{
    formulas::Case,
    integer::{Fixed, Int, MOST, Test, ten},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    let rule: OnTwo = match id {
        "multiply-points-lined-up" => |program, a, b| placed(program, a, b, a.places.max(b.places)),
        "multiply-point-ignored" => |program, a, b| placed(program, a, b, 0),
        "multiply-places-multiplied" => |program, a, b| placed(program, a, b, a.places * b.places),
        "multiply-places-from-left" => places_from_left,
        "multiply-parts-apart" => parts_apart,
        "multiply-end-zero-dropped" => end_zero_dropped,
        "multiply-no-zeros-in-front" => no_zeros_in_front,
        "multiply-second-row-not-shifted" => second_row_not_shifted,
        "multiply-makes-bigger" => return Some(Bend::Exercise(Operation::Multiply, makes_bigger)),
        _ => return None,
    };
    Some(Bend::Operation(Operation::Multiply, rule))
}

/// The product of the digits, and when there is a point to place.
fn product(program: &mut Program, a: &Fixed, b: &Fixed) -> Option<(Test, Int)> {
    let product = program.keep(&a.units.times(&b.units));
    (a.places + b.places > 0).then(|| (product.at_least(&1.into()), product))
}

fn placed(program: &mut Program, a: &Fixed, b: &Fixed, places: u32) -> Vec<Case> {
    let found = product(program, a, b);
    found.map_or_else(Vec::new, |(test, product)| vec![Case::new(test, product, places)])
}

fn places_from_left(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, product)) = product(program, a, b) else { return Vec::new() };
    let places = a.places + b.places;
    let counts = product.digit_counts().filter(|count| *count >= places);
    counts
        .map(|count| Case::new(test.and(&product.has_digits(count)), product.clone(), count - places))
        .collect()
}

fn parts_apart(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, _)) = product(program, a, b) else { return Vec::new() };
    let part = |number: &Fixed| if number.places > 0 { number.fraction() } else { number.whole() };
    let fraction = program.keep(&part(a).times(&part(b)));
    let whole = program.keep(&a.whole().times(&b.whole()));
    two_parts(&test, &whole, &fraction, a.places.max(b.places))
}

/// All zeros at the end, however many.
fn end_zero_dropped(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, product)) = product(program, a, b) else { return Vec::new() };
    let most = *product.digit_counts().end();
    let cases = (1..most).rev().map(|zeros| {
        let ends = test.and(&product.last(zeros).is(0));
        Case::new(ends, product.cut(zeros), a.places + b.places)
    });
    cases.collect()
}

fn no_zeros_in_front(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let Some((test, product)) = product(program, a, b) else { return Vec::new() };
    let counts = product.digit_counts().filter(|count| *count < a.places + b.places);
    counts.map(|count| Case::new(test.and(&product.has_digits(count)), product.clone(), count)).collect()
}

/// Whether a number has one digit, zeros at its end aside.
fn one_digit(number: &Int) -> Test {
    let counts = (0..*number.digit_counts().end())
        .map(|zeros| number.last(zeros).is(0).and(&number.below(&ten(zeros + 1).into())));
    Test::any(counts)
}

fn second_row_not_shifted(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let columns = *b.units.digit_counts().end();
    let digits = (0..columns).fold(Int::from(0), |sum, column| sum.plus(&b.units.digit(column)));
    let digits = program.keep(&digits);
    let rows = one_digit(&a.units).or(&one_digit(&b.units)).not();
    vec![Case::new(rows, a.units.times(&digits), a.places + b.places)]
}

fn makes_bigger(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<(Test, Operation, Fixed, Fixed)> {
    let below_one = |number: &Fixed| number.whole().is(0).and(&number.units.at_least(&1.into()));
    let (first, second) = (below_one(a), below_one(b));
    // The divisor is a number below one then.
    let part = |number: &Fixed| {
        let units = number.units.clone().within(1, (ten(number.places) - 1).clamp(1, MOST));
        Fixed::new(units, number.places)
    };
    let exercises = [
        (second.and(&first.not()), Operation::Divide, a.clone(), part(b)),
        (first.and(&second.not()), Operation::Divide, b.clone(), part(a)),
    ];
    exercises.into_iter().filter(|(test, ..)| !matches!(test, Test::Certain(false))).collect()
}
