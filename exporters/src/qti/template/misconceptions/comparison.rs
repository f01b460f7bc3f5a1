//! Comparing and ordering: each rule is a list of numbers by which it compares, the most important first.
use super::Bend;
use crate::qti::template::{
    integer::{Fixed, Int, ten},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    Some(Bend::Compare(match id {
        "compare-longer-is-larger" => |_, number| vec![number.whole(), number.fraction()],
        "compare-zero-makes-small" => zero_makes_small,
        "compare-shorter-is-larger" => {
            |_, number| vec![number.whole(), Int::from(-i64::from(number.places)), number.fraction()]
        }
        "compare-like-unit-fractions" => {
            |_, number| vec![number.whole(), Int::from(0).minus(&number.fraction())]
        }
        "compare-right-to-left" => right_to_left,
        "compare-two-places-only" => |_, number| vec![number.at(2).cut(number.places.saturating_sub(2))],
        "compare-point-ignored" => |_, number| vec![number.units.clone()],
        _ => return None,
    }))
}

/// More zeros straight after the point make it smaller, whatever follows.
fn zero_makes_small(program: &mut Program, number: &Fixed) -> Vec<Int> {
    let fraction = program.keep(&number.fraction());
    let mut digits = Int::from(0);
    for place in 0..number.places {
        digits = digits.plus(&program.indicator(&fraction.at_least(&ten(place).into())));
    }
    vec![number.whole(), digits.add(-i64::from(number.places)), fraction]
}

fn right_to_left(_: &mut Program, number: &Fixed) -> Vec<Int> {
    let turned =
        (1..=number.places).rev().fold(Int::from(0), |sum, place| sum.raised(1).plus(&number.digit(place)));
    vec![number.whole(), turned]
}
