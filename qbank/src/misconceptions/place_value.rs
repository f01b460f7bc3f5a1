//! Place value: names of places mirrored at the point, zeros of number words lost, too many units in a place.
//!
//! They show where an expression spells a number out by its places: `9 / 100` for nine hundredths, `6 + 4 / 100` for
//! six and four hundredths. The number itself, `6.04`, serves for the second as well.
use super::{Misconception, Rule, digit_count, powers_of_ten::exponent, two_parts};
use crate::{
    decimal::Decimal,
    expression::{Expression, Operation},
};

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "place-mirror-name",
        name: "hundredths taken for hundreds",
        source: "Bell, Swan and Taylor 1981, through errors and misconceptions in decimals (read)",
        pupil: "Listen for the end of the name: tenths and hundredths are parts of one, tens and hundreds are many ones.",
        teacher: "answers consistent with taking tenths for tens and hundredths for hundreds",
        next: "Build one hundred and one hundredth with place-value discs and compare them with one.",
        rule: Rule::PowerOfTen(mirror_name),
    },
    Misconception {
        id: "place-mirror-position",
        name: "places mirrored at the point",
        source: "Bell, Swan and Taylor 1981, through errors and misconceptions in decimals (read)",
        pupil: "Right of the point the places are parts of one, and the first of them is tenths: there is no place of 'oneths'.",
        teacher: "answers consistent with counting places right of the point like those left of it, ones first",
        next: "Label a place-value chart outward from the ones: tens and tenths, hundreds and hundredths.",
        rule: Rule::PowerOfTen(mirror_position),
    },
    Misconception {
        id: "place-zero-after-point-dropped",
        name: "digits written straight after the point",
        source: "a provincial assessment note on decimals, 37.08 written as 37.800 (read)",
        pupil: "The last digit belongs in the place that is named; fill the places before it with zeros.",
        teacher: "answers consistent with writing the digits of the fraction straight after the point, without zeros to fill places",
        next: "Write the number into a place-value chart, place by place, as it is said.",
        rule: Rule::Instead(zero_after_point_dropped),
    },
    Misconception {
        id: "place-name-one-too-small",
        name: "last place named one too small",
        source: "common practice: the ones are counted as the first place, so that hundredths become thousandths",
        pupil: "Count the places from the point: the first is tenths, the second hundredths, the third thousandths.",
        teacher: "answers consistent with counting the ones as the first place after the point, so that the last place gets the name of the next smaller one",
        next: "Label a place-value chart and name the last place of 0.4, 0.45 and 0.456 before saying the number.",
        rule: Rule::Instead(name_one_too_small),
    },
    Misconception {
        id: "place-too-many-units",
        name: "more units than a place holds",
        source: "overflow of a place, Steinle and Stacey (read); rule by common practice",
        pupil: "A place holds at most nine: ten tenths make one whole, so trade first.",
        teacher: "answers consistent with writing all of the tenths or hundredths after the point, however many they are",
        next: "Lay fifteen tenths out and trade ten of them for one whole.",
        rule: Rule::PowerOfTen(too_many_units),
    },
];

/// The digit whose value is asked for: a single one, moved to the right by dividing.
fn digit_in_a_decimal_place(number: &Decimal, shift: i32) -> bool {
    shift < 0 && number.places() == 0 && (1..=9).contains(&number.units())
}

fn mirror_name(number: &Decimal, shift: i32) -> Option<Decimal> {
    digit_in_a_decimal_place(number, shift).then(|| number.shifted(-shift))?
}

fn mirror_position(number: &Decimal, shift: i32) -> Option<Decimal> {
    digit_in_a_decimal_place(number, shift).then(|| number.shifted(-shift - 1))?
}

fn zero_after_point_dropped(expression: &Expression) -> Option<Expression> {
    let number = as_words_say(expression)?;
    let units = number.fraction_units();
    let digits = digit_count(units);
    let has_zeros_first = units > 0 && digits < number.places();
    has_zeros_first.then(|| two_parts(number.whole_part(), units, digits).map(Expression::Literal))?
}

/// Forty-five hundredths taken for forty-five thousandths.
fn name_one_too_small(expression: &Expression) -> Option<Expression> {
    let number = literal(expression).filter(|number| number.fraction_units() > 0)?;
    let parts = i128::try_from(number.fraction_units()).ok()?;
    let whole =
        i128::try_from(number.whole_part()).ok()?.checked_mul(10_i128.checked_pow(number.places() + 1)?)?;
    Decimal::new(whole.checked_add(parts)?, number.places() + 1).ok().map(Expression::Literal)
}

/// The number that words spell out as a whole and so many parts: `6.04`, or `6 + 4 / 100`.
pub(super) fn as_words_say(expression: &Expression) -> Option<Decimal> {
    let (whole, parts) = match expression {
        Expression::Literal(number) => return Some(*number),
        Expression::Binary(Operation::Add, whole, parts) => (whole_literal(whole)?, parts),
        _ => return None,
    };
    let Expression::Binary(Operation::Divide, count, power) = &**parts else {
        return None;
    };
    let (count, places) = (whole_literal(count)?, u32::try_from(exponent(literal(power)?)?).ok()?);
    (digit_count(count) <= places).then(|| two_parts(whole, count, places))?
}

/// The number that stands there as such.
pub(super) fn literal(expression: &Expression) -> Option<&Decimal> {
    match expression {
        Expression::Literal(number) => Some(number),
        _ => None,
    }
}

/// The number that stands there as such, if it is written without a point.
pub(super) fn whole_literal(expression: &Expression) -> Option<u128> {
    literal(expression).filter(|number| number.places() == 0).map(Decimal::whole_part)
}

/// Fifteen tenths as 0.15: right as long as there are no more digits than places.
fn too_many_units(number: &Decimal, shift: i32) -> Option<Decimal> {
    let count = (number.places() == 0).then(|| number.whole_part())?;
    let places = u32::try_from(-shift).ok()?;
    let digits = digit_count(count);
    (places > 0 && digits > places).then(|| two_parts(0, count, digits))?
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions: the 9 in 21.094; six and four hundredths; 15 tenths. 37.08 as 37.800
        // is a published case.
        check(&[
            ("place-mirror-name", "9 / 100", "900"),
            ("place-mirror-position", "9 / 100", "90"),
            ("place-zero-after-point-dropped", "6 + 4 / 100", "6.4"),
            ("place-zero-after-point-dropped", "6.04", "6.4"),
            ("place-zero-after-point-dropped", "37.08", "37.8"),
            ("place-zero-after-point-dropped", "5 + 34 / 1000", "5.34"),
            ("place-name-one-too-small", "3.45", "3.045"),
            ("place-name-one-too-small", "0.50", "0.05"),
            ("place-too-many-units", "15 / 10", "0.15"),
            ("place-too-many-units", "3 + 15 / 10", "3.15"),
        ]);
    }

    #[test]
    fn stays_silent_where_there_is_nothing_of_its_own() {
        check(&[
            ("place-mirror-name", "35 / 100", ""),
            ("place-mirror-name", "9 * 100", ""),
            ("place-mirror-position", "9 / 4", ""),
            ("place-zero-after-point-dropped", "6 + 34 / 100", ""),
            ("place-zero-after-point-dropped", "6 + 134 / 100", ""),
            ("place-zero-after-point-dropped", "6.40", ""),
            ("place-zero-after-point-dropped", "6 + 4 / 5", ""),
            ("place-zero-after-point-dropped", "6.04 + 1", ""),
            ("place-name-one-too-small", "3", ""),
            ("place-name-one-too-small", "3.45 + 1", ""),
            ("place-too-many-units", "35 / 100", ""),
            ("place-too-many-units", "15 * 10", ""),
        ]);
    }
}
