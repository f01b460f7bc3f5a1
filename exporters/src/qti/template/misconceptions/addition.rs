//! Addition: numbers lined up by the wrong edge, carries lost or misplaced.
use qbank::expression::Operation;

use super::{Bend, OnTwo, columns_of, digits, two_parts, written_in_full};
use crate::qti::template::{
    formulas::Case,
    integer::{Fixed, Int, Test, lined_up},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    let rule: OnTwo = match id {
        "add-right-edge" => right_edge,
        "add-right-edge-first-point" => right_edge_first_point,
        "add-point-ignored" => point_ignored,
        "add-two-whole-numbers" => two_whole_numbers,
        "add-carry-dropped" => carry_dropped,
        "add-carry-lost-at-point" => carry_lost_at_point,
        "add-carry-written-in-full" => carry_written_in_full,
        "add-wrong-digit-carried" => wrong_digit_carried,
        "add-left-edge" => left_edge,
        "add-ragged-tail-dropped" => ragged_tail_dropped,
        _ => return None,
    };
    Some(Bend::Operation(Operation::Add, rule))
}

fn if_(certain: bool, units: Int, places: u32) -> Vec<Case> {
    if certain { vec![Case::new(Test::TRUE, units, places)] } else { Vec::new() }
}

fn right_edge(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    if_(a.places != b.places, a.units.plus(&b.units), a.places.max(b.places))
}

fn right_edge_first_point(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    if_(a.places != b.places, a.units.plus(&b.units), a.places)
}

fn point_ignored(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    if_(a.places > 0 || b.places > 0, a.units.plus(&b.units), 0)
}

fn two_whole_numbers(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    if a.places == 0 || b.places == 0 {
        return Vec::new();
    }
    let whole = program.keep(&a.whole().plus(&b.whole()));
    let fraction = program.keep(&a.fraction().plus(&b.fraction()));
    two_parts(&Test::TRUE, &whole, &fraction, a.places.max(b.places))
}

fn carry_dropped(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let (top, bottom, places) = lined_up(a, b);
    let mut sum = Int::from(0);
    for column in 0..columns_of(&top, &bottom, places) {
        let digit = top.digit(column).plus(&bottom.digit(column)).last(1);
        sum = program.keep(&sum.plus(&digit.raised(column)));
    }
    vec![Case::new(Test::TRUE, sum, places)]
}

fn carry_lost_at_point(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let (top, bottom, places) = lined_up(a, b);
    if places == 0 {
        return Vec::new();
    }
    let lost = top.last(places).plus(&bottom.last(places)).last(places);
    let whole = a.whole().plus(&b.whole());
    vec![Case::new(Test::TRUE, whole.raised(places).plus(&lost), places)]
}

fn carry_written_in_full(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let (top, bottom, places) = lined_up(a, b);
    let columns = columns_of(&top, &bottom, places);
    let sums: Vec<Int> =
        (0..columns).map(|column| program.keep(&top.digit(column).plus(&bottom.digit(column)))).collect();
    written_in_full(program, &Test::TRUE, &sums, places as usize)
}

/// The leftmost column has nothing to carry to; which one it is depends on how long the numbers are.
fn wrong_digit_carried(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let (top, bottom, places) = lined_up(a, b);
    let columns = columns_of(&top, &bottom, places);
    let (upper, lower) = (digits(program, &top, columns), digits(program, &bottom, columns));
    let mut written = Vec::new();
    let mut carried = Int::from(0);
    for (column, (upper, lower)) in upper.iter().zip(&lower).enumerate() {
        let sum = program.keep(&upper.plus(lower).plus(&carried));
        let beyond = u32::try_from(column).map_or(u32::MAX, |column| column + 1);
        let nothing_left = top.cut(beyond).is(0).and(&bottom.cut(beyond).is(0));
        let leftmost = if beyond > places { nothing_left } else { Test::Certain(false) };
        let stays = sum.below(&10.into()).or(&leftmost);
        let digit = program.either(&stays, &sum, &sum.cut(1));
        // Only the leftmost column can hold a sum of two digits.
        written.push(if beyond > places { digit } else { digit.within(0, 9) });
        carried = program.either(&stays, &0.into(), &sum.last(1));
    }
    written_in_full(program, &Test::TRUE, &written, places as usize)
}

fn left_edge(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let mut cases = Vec::new();
    for first in a.whole().digit_counts() {
        for second in b.whole().digit_counts().filter(|second| *second != first) {
            let test = a.whole().has_digits(first).and(&b.whole().has_digits(second));
            let length = (first + a.places).max(second + b.places);
            let annexed = length - (first + a.places);
            let padded = b.units.raised(length - (second + b.places));
            cases.push(Case::new(test, a.units.raised(annexed).plus(&padded), a.places + annexed));
        }
    }
    cases
}

fn ragged_tail_dropped(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let shorter = a.places.min(b.places);
    let cut = |number: &Fixed| number.units.cut(number.places - shorter);
    if_(a.places != b.places, cut(a).plus(&cut(b)), shorter)
}
