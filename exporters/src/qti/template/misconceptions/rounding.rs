//! Rounding: the wrong digit decides, or the wrong place is kept.
use super::Bend;
use crate::qti::template::{
    formulas::{Case, round},
    integer::{Fixed, Int, Test},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    let rule: fn(&mut Program, &Fixed, u32) -> Vec<Case> = match id {
        "round-cuts-off" => cuts_off,
        "round-digit-by-digit" => digit_by_digit,
        "round-wrong-place" => wrong_place,
        "round-always-up" => always_up,
        "round-five-goes-down" => five_goes_down,
        "round-nine-becomes-ten" => nine_becomes_ten,
        "round-nine-loses-carry" => nine_loses_carry,
        _ => return None,
    };
    Some(Bend::Round(rule))
}

fn only(units: Int, places: u32) -> Vec<Case> {
    vec![Case::new(Test::TRUE, units, places)]
}

fn cut(number: &Fixed, places: u32) -> Int {
    number.units.cut(number.places - places)
}

fn cuts_off(_: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    if number.places <= places { Vec::new() } else { only(cut(number, places), places) }
}

fn digit_by_digit(program: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    if number.places <= places {
        return Vec::new();
    }
    let mut rounded = number.clone();
    for place in (places..number.places).rev() {
        rounded = Fixed::new(program.keep(&round(&rounded, place)), place);
    }
    only(rounded.units, places)
}

fn wrong_place(_: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    let other = match places {
        1 => 0,
        2 => 3,
        _ => return Vec::new(),
    };
    if number.places <= places { Vec::new() } else { only(round(number, other), other) }
}

fn always_up(program: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    if number.places <= places {
        return Vec::new();
    }
    let kept = cut(number, places);
    let nothing_dropped = number.units.last(number.places - places).is(0);
    only(program.either(&nothing_dropped, &kept, &kept.add(1)), places)
}

fn five_goes_down(_: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    if number.places <= places {
        return Vec::new();
    }
    vec![Case::new(number.digit(places + 1).is(5), cut(number, places), places)]
}

/// When a nine rounds up, and what stands left of it.
fn left_of_rolling_nine(number: &Fixed, places: u32) -> Option<(Test, Int)> {
    if number.places <= places || places == 0 {
        return None;
    }
    let rolls = number.digit(places + 1).at_least(&5.into()).and(&number.digit(places).is(9));
    Some((rolls, cut(number, places - 1)))
}

fn nine_becomes_ten(_: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    let rolling = left_of_rolling_nine(number, places);
    rolling.map_or_else(Vec::new, |(rolls, left)| vec![Case::new(rolls, left.raised(2).add(10), places + 1)])
}

fn nine_loses_carry(_: &mut Program, number: &Fixed, places: u32) -> Vec<Case> {
    let rolling = left_of_rolling_nine(number, places);
    rolling.map_or_else(Vec::new, |(rolls, left)| vec![Case::new(rolls, left, places - 1)])
}
