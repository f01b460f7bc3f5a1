//! Powers of ten: multiplying and dividing by 10, 100, 1000 …, where digits move to other places.
use super::{Misconception, Rule, two_parts};
use crate::{decimal::Decimal, expression::Operation};

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "power-append-zero",
        name: "zeros written at the end",
        source: "a published grade 5 task, 84.15 × 10 = 84.150, and a teacher's page, 12.6 × 10 = 12.60 (read)",
        pupil: "A zero after the last decimal place leaves the value as it was; in a product with 10 every digit moves one place to the left.",
        teacher: "answers consistent with writing zeros after the last digit, which leaves the value of a decimal unchanged",
        next: "Ask which is more, 2.3 or 2.30, and then what ten times 2.3 must be near.",
        rule: Rule::PowerOfTen(append_zero),
    },
    Misconception {
        id: "power-whole-part-only",
        name: "only the whole part multiplied",
        source: "common practice",
        pupil: "The tenths become ten times as much, too: every digit moves.",
        teacher: "answers consistent with multiplying only the part before the point by the power of ten",
        next: "Lay 2.3 out ten times with place-value discs and trade the tenths.",
        rule: Rule::PowerOfTen(whole_part_only),
    },
    Misconception {
        id: "power-wrong-direction",
        name: "digits moved the wrong way",
        source: "common practice",
        pupil: "Should the result be larger or smaller than the number? Let the digits move that way.",
        teacher: "answers consistent with dividing by the power of ten instead of multiplying, or the other way round",
        next: "Before working, write 'larger' or 'smaller' beside each task.",
        rule: Rule::PowerOfTen(wrong_direction),
    },
    Misconception {
        id: "power-one-place-short",
        name: "digits moved one place too few",
        source: "common practice",
        pupil: "The direction is right; count the zeros of 10, 100 or 1000 to see how many places the digits move.",
        teacher: "answers consistent with moving the digits one place less than the power of ten asks for",
        next: "Go in steps of ten: 6.4, 64, 640.",
        rule: Rule::PowerOfTen(one_place_short),
    },
    Misconception {
        id: "power-one-place-too-far",
        name: "digits moved one place too many",
        source: "common practice",
        pupil: "The direction is right; count the zeros of 10, 100 or 1000 to see how many places the digits move.",
        teacher: "answers consistent with moving the digits one place more than the power of ten asks for",
        next: "Go in steps of ten and stop at the number of zeros.",
        rule: Rule::PowerOfTen(one_place_too_far),
    },
];

/// What a multiplication or division by 10, 100, 1000 … does: the other number, and how many places its digits move
/// to the left (below zero: to the right). `None` if there is no such factor or divisor.
pub(super) fn move_of_digits(
    operation: Operation,
    left: &Decimal,
    right: &Decimal,
) -> Option<(Decimal, i32)> {
    match operation {
        Operation::Multiply => exponent(right)
            .map(|shift| (*left, shift))
            .or_else(|| exponent(left).map(|shift| (*right, shift))),
        Operation::Divide => exponent(right).map(|shift| (*left, -shift)),
        Operation::Add | Operation::Subtract => None,
    }
}

/// How many zeros 10, 100, 1000 … has; `None` for every other number, one and tenths included.
pub(super) fn exponent(numeral: &Decimal) -> Option<i32> {
    let plain = numeral.normalized();
    let whole = plain.units();
    let zeros = u128::try_from(whole).ok()?.checked_ilog10()?;
    let is_power = plain.places() == 0 && zeros > 0 && whole == 10_i128.pow(zeros);
    is_power.then(|| i32::try_from(zeros).ok())?
}

/// The zeros change the written form only; of a whole number they would be the right ones.
fn append_zero(number: &Decimal, shift: i32) -> Option<Decimal> {
    let zeros = u32::try_from(shift).ok()?;
    (number.places() > 0).then(|| number.with_places(number.places() + zeros))?
}

fn whole_part_only(number: &Decimal, shift: i32) -> Option<Decimal> {
    let power = 10_u128.checked_pow(u32::try_from(shift).ok()?)?;
    (number.places() > 0).then(|| {
        two_parts(number.whole_part().checked_mul(power)?, number.fraction_units(), number.places())
    })?
}

pub(super) fn wrong_direction(number: &Decimal, shift: i32) -> Option<Decimal> {
    number.shifted(-shift)
}

fn one_place_short(number: &Decimal, shift: i32) -> Option<Decimal> {
    number.shifted(shift - shift.signum())
}

fn one_place_too_far(number: &Decimal, shift: i32) -> Option<Decimal> {
    number.shifted(shift + shift.signum())
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions; 84.15 × 10 = 84.150 and 12.6 × 10 = 12.60 are published cases.
        check(&[
            ("power-append-zero", "2.3 * 10", "2.3"),
            ("power-append-zero", "84.15 * 10", "84.15"),
            ("power-append-zero", "10 * 12.6", "12.6"),
            ("power-whole-part-only", "2.3 * 10", "20.3"),
            ("power-wrong-direction", "2.3 * 10", "0.23"),
            ("power-wrong-direction", "30.07 / 10", "300.7"),
            ("power-one-place-short", "6.4 * 100", "64"),
            ("power-one-place-short", "12 / 1000", "0.12"),
            ("power-one-place-too-far", "6.4 * 100", "6400"),
            ("power-one-place-too-far", "0.6 / 10", "0.006"),
        ]);
    }

    #[test]
    fn fires_on_powers_of_ten_only() {
        check(&[
            ("power-append-zero", "23 * 10", ""),
            ("power-append-zero", "2.3 / 10", ""),
            ("power-append-zero", "2.3 * 20", ""),
            ("power-whole-part-only", "23 * 10", ""),
            ("power-whole-part-only", "23.4 / 10", ""),
            ("power-wrong-direction", "2.3 * 1", ""),
            ("power-wrong-direction", "10 / 4", ""),
            ("power-wrong-direction", "2.3 + 10", ""),
            ("power-one-place-short", "6.4 * 0.1", ""),
            ("power-one-place-too-far", "6.4 * 101", ""),
        ]);
    }
}
