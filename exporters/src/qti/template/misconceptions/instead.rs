//! Misconceptions that put another value in the place of the whole expression: numbers read or written by their
//! words, clock times, stories that stop early.
use qbank::expression::{Expression as Formula, Operation};

use super::Bend;
use crate::qti::template::{
    Refusal,
    formulas::{Case, Formulas},
    integer::{Fixed, Int, Test},
};

type Found = Result<Vec<Case>, Refusal>;

pub(super) fn bend(id: &str) -> Option<Bend> {
    Some(Bend::Instead(match id {
        "place-zero-after-point-dropped" => zero_after_point_dropped,
        "place-name-one-too-small" => name_one_too_small,
        "unit-clock-as-decimal" => clock_as_decimal,
        "unit-not-converted" => not_converted,
        "story-stops-early" => first_step,
        _ => return None,
    }))
}

/// The number that stands there as such.
fn written(formulas: &Formulas<'_>, formula: &Formula) -> Option<Fixed> {
    match formula {
        Formula::Literal(number) => Fixed::literal(number),
        Formula::Name(name) => formulas.names.get(name.as_str()).cloned(),
        _ => None,
    }
}

fn zero_after_point_dropped(formulas: &mut Formulas<'_>, formula: &Formula) -> Found {
    let Some(number) = written(formulas, formula) else {
        // A sum of a whole and so many parts is told in the same words.
        return if matches!(formula, Formula::Binary(Operation::Add, ..)) {
            Err(Refusal::Nested)
        } else {
            Ok(Vec::new())
        };
    };
    let fraction = formulas.program.keep(&number.fraction());
    let shorter = fraction.digit_counts().filter(|digits| *digits < number.places);
    let some = fraction.at_least(&1.into());
    Ok(shorter
        .map(|digits| {
            let units = number.whole().raised(digits).plus(&fraction);
            Case::new(some.and(&fraction.has_digits(digits)), units, digits)
        })
        .collect())
}

fn name_one_too_small(formulas: &mut Formulas<'_>, formula: &Formula) -> Found {
    let Some(number) = written(formulas, formula) else { return Ok(Vec::new()) };
    let units = number.whole().raised(number.places + 1).plus(&number.fraction());
    Ok(vec![Case::new(number.fraction().at_least(&1.into()), units, number.places + 1)])
}

/// Hours and so many sixtieths, the minutes written after the point.
fn clock_as_decimal(formulas: &mut Formulas<'_>, formula: &Formula) -> Found {
    let Formula::Binary(Operation::Add, hours, part) = formula else { return Ok(Vec::new()) };
    let Formula::Binary(Operation::Divide, minutes, hour) = &**part else { return Ok(Vec::new()) };
    let all = [&**hours, minutes, hour].map(|part| written(formulas, part).filter(|whole| whole.places == 0));
    let [Some(hours), Some(minutes), Some(hour)] = all else { return Ok(Vec::new()) };
    let test = hour.units.is(60).and(&minutes.units.below(&60.into()));
    let most = minutes.units.clone().within(0, 59);
    Ok(vec![Case::new(test, hours.units.raised(2).plus(&most), 2)])
}

/// Only where nothing in the expression is divided or multiplied by what could be a power of ten: then the rule is
/// not at work at all.
fn not_converted(formulas: &mut Formulas<'_>, formula: &Formula) -> Found {
    let mut converts = false;
    formula.visit(&mut |part| {
        if let Formula::Binary(operation @ (Operation::Multiply | Operation::Divide), left, right) = part {
            let power = |part: &Formula| {
                written(formulas, part)
                    .is_none_or(|number| !matches!(power_of_ten(&number.units), Test::Certain(false)))
            };
            converts |= *operation == Operation::Multiply && power(left) || power(right);
        }
    });
    if converts { Err(Refusal::Nested) } else { Ok(Vec::new()) }
}

fn power_of_ten(units: &Int) -> Test {
    Test::any((1..=9).map(|zeros| units.is(crate::qti::template::integer::ten(zeros))))
}

/// The one part that itself has to be worked out before the whole can be.
fn first_step(formulas: &mut Formulas<'_>, formula: &Formula) -> Found {
    let Formula::Binary(_, left, right) = formula else { return Ok(Vec::new()) };
    let worked = |part: &Formula| matches!(part, Formula::Binary(..));
    match (worked(left), worked(right)) {
        (true, false) => formulas.number(left, None),
        (false, true) => formulas.number(right, None),
        _ => Ok(Vec::new()),
    }
}
