//! Powers of ten, and what meets them: units of measure, names of places.
use qbank::expression::Operation;

use super::{Bend, two_parts};
use crate::qti::template::{
    formulas::Case,
    integer::{Fixed, MOST, Test, ten},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    Some(Bend::PowerOfTen(match id {
        "power-append-zero" => append_zero,
        "power-whole-part-only" => whole_part_only,
        "power-wrong-direction" | "unit-wrong-direction" => |_, number, shift| moved(number, -shift),
        "power-one-place-short" => |_, number, shift| moved(number, shift - shift.signum()),
        "power-one-place-too-far" => |_, number, shift| moved(number, shift + shift.signum()),
        "unit-factor-ten" => |_, number, shift| {
            if shift.abs() == 1 { Vec::new() } else { moved(number, shift.signum()) }
        },
        "unit-factor-hundred" => |_, number, shift| {
            if shift.abs() == 2 { Vec::new() } else { moved(number, 2 * shift.signum()) }
        },
        "place-mirror-name" => |_, number, shift| mirrored(number, shift, -shift),
        "place-mirror-position" => |_, number, shift| mirrored(number, shift, -shift - 1),
        "place-too-many-units" => too_many_units,
        _ => return None,
    }))
}

/// The numbers whose digits move, by how many places to the left, and when.
pub(in crate::qti::template) fn move_of_digits(
    operation: Operation,
    left: &Fixed,
    right: &Fixed,
) -> Vec<(Test, Fixed, i32)> {
    let by = |power: &Fixed, number: &Fixed, sign: i32| -> Vec<(Test, Fixed, i32)> {
        let zeros = (1..=9).filter(|zeros| ten(zeros + power.places) <= MOST.min(power.units.high));
        zeros
            .filter_map(|zeros| {
                let test = power.units.is(ten(zeros + power.places));
                let shift = i32::try_from(zeros).ok()? * sign;
                Some((test, number.clone(), shift))
            })
            .filter(|(test, ..)| !matches!(test, Test::Certain(false)))
            .collect()
    };
    match operation {
        Operation::Multiply => {
            let mut moves = by(right, left, 1);
            // Of two powers the second one counts, even where a rule has nothing to say of it.
            let second = Test::any(moves.iter().map(|(test, ..)| test.clone())).not();
            moves.extend(
                by(left, right, 1)
                    .into_iter()
                    .map(|(test, number, shift)| (test.and(&second), number, shift)),
            );
            moves.retain(|(test, ..)| !matches!(test, Test::Certain(false)));
            moves
        }
        Operation::Divide => by(right, left, -1),
        Operation::Add | Operation::Subtract => Vec::new(),
    }
}

fn moved(number: &Fixed, shift: i32) -> Vec<Case> {
    let Fixed { units, places } = number.shifted(shift);
    vec![Case::new(Test::TRUE, units, places)]
}

fn append_zero(_: &mut Program, number: &Fixed, shift: i32) -> Vec<Case> {
    if shift < 0 || number.places == 0 {
        return Vec::new();
    }
    vec![Case::new(
        Test::TRUE,
        number.units.raised(shift.unsigned_abs()),
        number.places + shift.unsigned_abs(),
    )]
}

fn whole_part_only(_: &mut Program, number: &Fixed, shift: i32) -> Vec<Case> {
    if shift < 0 || number.places == 0 {
        return Vec::new();
    }
    let whole = number.whole().raised(shift.unsigned_abs());
    two_parts(&Test::TRUE, &whole, &number.fraction(), number.places)
}

/// Of a single digit that is moved to the right.
fn mirrored(number: &Fixed, shift: i32, to: i32) -> Vec<Case> {
    if shift > 0 || number.places > 0 {
        return Vec::new();
    }
    let single = number.units.at_least(&1.into()).and(&number.units.below(&10.into()));
    moved(number, to).into_iter().map(|case| Case { when: single.clone(), ..case }).collect()
}

fn too_many_units(_: &mut Program, number: &Fixed, shift: i32) -> Vec<Case> {
    if shift > 0 || number.places > 0 {
        return Vec::new();
    }
    let counts = number.units.digit_counts().filter(|count| *count > shift.unsigned_abs());
    counts.map(|count| Case::new(number.units.has_digits(count), number.units.clone(), count)).collect()
}
