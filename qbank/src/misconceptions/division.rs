//! Division: zeros and points lost on the way, numbers turned round, and the belief that quotients are smaller.
use alloc::string::ToString;

use super::{Exercise, Misconception, Rule, digit_count, two_parts, with_point};
use crate::{
    arithmetic::{Arithmetic, Columns},
    decimal::Decimal,
    expression::Operation,
};

const fn exercise(rule: fn(&Decimal, &Decimal) -> Option<Exercise>) -> Rule {
    Rule::Exercise(Operation::Divide, rule)
}

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "divide-zero-dropped",
        name: "zero in the quotient dropped",
        source: "a provincial assessment note on decimals (read; it names as a weakness a divisor that does not go into a digit)",
        pupil: "Where the divisor does not go into the digit brought down, write a 0 in the quotient and go on.",
        teacher: "answers consistent with leaving out a zero inside the quotient",
        next: "Check by multiplying back: is 4 × 2.6 equal to 8.24?",
        rule: Rule::Operation(Operation::Divide, zero_dropped),
    },
    Misconception {
        id: "divide-point-ignored",
        name: "decimal point of the dividend left out",
        source: "a provincial assessment note on decimals, 189.06 ÷ 3 = 6302 (read)",
        pupil: "The digits were divided as a whole number; set the point in the quotient when you pass it in the dividend.",
        teacher: "answers consistent with dividing the digits of the dividend as a whole number",
        next: "Estimate first: 12.6 shared among 3 is about how much?",
        rule: exercise(point_ignored),
    },
    Misconception {
        id: "divide-only-divisor-made-whole",
        name: "only the divisor made whole",
        source: "common practice",
        pupil: "When the divisor becomes ten times as large, the dividend must, too.",
        teacher: "answers consistent with removing the divisor's point and leaving the dividend as it was",
        next: "Ask how many halves fit into 4.5 and count along a number line.",
        rule: exercise(only_divisor_made_whole),
    },
    Misconception {
        id: "divide-points-removed-apart",
        name: "both points removed, each by its own shift",
        source: "common practice",
        pupil: "Move both points by the same number of places, as many as make the divisor whole.",
        teacher: "answers consistent with removing both points without an equal shift",
        next: "Write both numbers with the same number of places before the points go.",
        rule: exercise(points_removed_apart),
    },
    Misconception {
        id: "divide-larger-by-smaller",
        name: "the larger number divided by the smaller one",
        source: "Bell, Swan and Taylor 1981, Fischbein et al. 1985 (from memory)",
        pupil: "A smaller number can be shared among a larger one: the shares are then less than one whole.",
        teacher: "answers consistent with always dividing the larger number by the smaller one",
        next: "Share 2 metres of rope among 5 and say what is shared and among how many.",
        rule: exercise(larger_by_smaller),
    },
    Misconception {
        id: "divide-makes-smaller",
        name: "division makes smaller, so multiplied by a number below one",
        source: "Bell, Swan and Taylor 1981 (from memory); Lortie-Forgues and Siegler 2016 (abstract)",
        pupil: "Dividing by a number below one makes larger: ask how often it fits in.",
        teacher: "answers consistent with multiplying by a divisor below one, as if dividing could only make smaller",
        next: "Ask how many half litres are in 6 litres.",
        rule: exercise(makes_smaller),
    },
    Misconception {
        id: "divide-remainder-as-decimal",
        name: "remainder written after the point",
        source: "common practice",
        pupil: "What is left over is not a number of tenths; trade it for tenths and go on dividing.",
        teacher: "answers consistent with writing the remainder as the digits after the point",
        next: "Share 7 paper strips among 4 and cut the three left over.",
        rule: Rule::Operation(Operation::Divide, remainder_as_decimal),
    },
];

/// As if no digit were written where the divisor does not go in: all zeros are left out but those in front of the
/// point of a number below one and those at the end of a whole number.
fn zero_dropped(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let quotient = Columns.apply(Operation::Divide, &(*a).into(), &(*b).into()).ok()?;
    let text = Columns.decimal(&quotient).ok()?.normalized().to_string();
    match text.split_once('.') {
        Some(("0", fraction)) => alloc::format!("0.{}", fraction.replace('0', "")).parse().ok(),
        Some((whole, fraction)) => {
            alloc::format!("{}.{}", whole.replace('0', ""), fraction.replace('0', "")).parse().ok()
        }
        None => {
            let inside = text.trim_end_matches('0');
            alloc::format!("{}{}", inside.replace('0', ""), &text[inside.len()..]).parse().ok()
        }
    }
}

fn without_point(numeral: &Decimal) -> Option<Decimal> {
    with_point(numeral.point_removed(), 0)
}

fn point_ignored(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    (a.places() > 0).then(|| Some((Operation::Divide, without_point(a)?, *b)))?
}

fn only_divisor_made_whole(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    (b.places() > 0).then(|| Some((Operation::Divide, *a, without_point(b)?)))?
}

fn points_removed_apart(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    let both_have_points = a.places() > 0 && b.places() > 0;
    both_have_points.then(|| Some((Operation::Divide, without_point(a)?, without_point(b)?)))?
}

fn larger_by_smaller(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    (a < b && !a.is_zero()).then_some((Operation::Divide, *b, *a))
}

fn makes_smaller(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    (b.whole_part() == 0 && !b.is_zero()).then_some((Operation::Multiply, *a, *b))
}

fn remainder_as_decimal(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let both_whole = a.places() == 0 && b.places() == 0;
    let (dividend, divisor) = (a.whole_part(), b.whole_part());
    let remainder = both_whole.then(|| dividend.checked_rem(divisor))??;
    (remainder > 0).then(|| two_parts(dividend / divisor, remainder, digit_count(remainder)))?
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions; 189.06 ÷ 3 = 6302 is a published case.
        check(&[
            ("divide-zero-dropped", "8.24 / 4", "2.6"),
            ("divide-zero-dropped", "412 / 4", "13"),
            ("divide-zero-dropped", "4120 / 4", "130"),
            ("divide-zero-dropped", "0.56 / 7", "0.8"),
            ("divide-point-ignored", "12.6 / 3", "42"),
            ("divide-point-ignored", "189.06 / 3", "6302"),
            ("divide-point-ignored", "round(8.5 / 3, 2)", "28.33"),
            ("divide-only-divisor-made-whole", "4.5 / 0.5", "0.9"),
            ("divide-points-removed-apart", "7.2 / 0.36", "2"),
            ("divide-larger-by-smaller", "2 / 5", "2.5"),
            ("divide-makes-smaller", "6 / 0.5", "3"),
            ("divide-remainder-as-decimal", "7 / 4", "1.3"),
            ("divide-remainder-as-decimal", "47 / 12", "3.11"),
        ]);
    }

    #[test]
    fn stays_silent_where_there_is_nothing_of_its_own() {
        check(&[
            ("divide-zero-dropped", "12.6 / 3", ""),
            ("divide-zero-dropped", "800 / 4", ""),
            ("divide-zero-dropped", "2 / 3", ""),
            ("divide-point-ignored", "126 / 0.3", ""),
            ("divide-only-divisor-made-whole", "4.5 / 5", ""),
            ("divide-points-removed-apart", "7.2 / 0.6", ""),
            ("divide-points-removed-apart", "7.2 / 3", ""),
            ("divide-larger-by-smaller", "5 / 2", ""),
            ("divide-larger-by-smaller", "0 / 5", ""),
            ("divide-makes-smaller", "6 / 1.5", ""),
            ("divide-makes-smaller", "6 / 0", ""),
            ("divide-remainder-as-decimal", "8 / 4", ""),
            ("divide-remainder-as-decimal", "7.5 / 4", ""),
            ("divide-remainder-as-decimal", "7 / 0", ""),
        ]);
    }
}
