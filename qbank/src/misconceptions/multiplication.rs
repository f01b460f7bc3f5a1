//! Multiplication: the point put in the wrong place, parts worked apart, and the belief that products are larger.
use super::{Exercise, Misconception, Rule, digit_count, two_parts, with_point};
use crate::{decimal::Decimal, expression::Operation};

const fn multiply(rule: fn(&Decimal, &Decimal) -> Option<Decimal>) -> Rule {
    Rule::Operation(Operation::Multiply, rule)
}

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "multiply-points-lined-up",
        name: "point placed as in addition",
        source: "Hiebert and Wearne 1985 (abstract); a university page on misconceptions, 0.1 × 0.1 = 0.1 (read)",
        pupil: "In a product the places of both numbers count together; tenths of tenths are hundredths.",
        teacher: "answers consistent with giving the product as many places as the factor with the most, as in addition",
        next: "Shade 0.3 of 0.2 on a hundred square and count the squares.",
        rule: multiply(points_lined_up),
    },
    Misconception {
        id: "multiply-point-ignored",
        name: "decimal point left out",
        source: "a list of errors in multiplying decimals (read)",
        pupil: "The digits were multiplied as whole numbers; where does the point belong?",
        teacher: "answers consistent with multiplying the digits as whole numbers and leaving the point out",
        next: "Estimate first: is 1.2 × 0.3 nearer to 36 or to 1?",
        rule: multiply(point_ignored),
    },
    Misconception {
        id: "multiply-places-from-left",
        name: "places counted from the left",
        source: "a published slide that teaches it so (read)",
        pupil: "The digits are right; count the places for the point from the right end.",
        teacher: "answers consistent with counting the places for the point from the left end of the product",
        next: "Round both factors and see which place for the point fits the estimate.",
        rule: multiply(places_from_left),
    },
    Misconception {
        id: "multiply-places-multiplied",
        name: "numbers of places multiplied",
        source: "common practice",
        pupil: "The digits are multiplied, the numbers of places are added.",
        teacher: "answers consistent with multiplying the numbers of places instead of adding them",
        next: "Write both factors as fractions: what is one thousandth of one tenth?",
        rule: multiply(places_multiplied),
    },
    Misconception {
        id: "multiply-parts-apart",
        name: "whole parts and decimal parts multiplied apart",
        source: "common practice",
        pupil: "Every part of one number meets every part of the other, and ten tenths make one whole.",
        teacher: "answers consistent with multiplying the parts before and after the point as two separate whole numbers",
        next: "Draw a rectangle of 2.3 by 1.4, cut it at the wholes, and count its four pieces.",
        rule: multiply(parts_apart),
    },
    Misconception {
        id: "multiply-end-zero-dropped",
        name: "zero at the end dropped before the point was placed",
        source: "common practice",
        pupil: "A zero at the end of the product counts as a place: set the point first, then leave the zero out.",
        teacher: "answers consistent with dropping a zero at the end of the product before counting places",
        next: "Think half of four tenths: is 0.02 large enough?",
        rule: multiply(end_zero_dropped),
    },
    Misconception {
        id: "multiply-no-zeros-in-front",
        name: "no zeros put in front of the product",
        source: "common practice",
        pupil: "There are fewer digits than places: put zeros in front until every place is filled.",
        teacher: "answers consistent with setting the point right in front of the product's digits where zeros are needed",
        next: "Say it in units: three hundredths of two tenths are six of what?",
        rule: multiply(no_zeros_in_front),
    },
    Misconception {
        id: "multiply-second-row-not-shifted",
        name: "second partial product not moved to its place",
        source: "a list of errors in multiplying decimals (read)",
        pupil: "Each digit of the second number has a place: its row starts one place further to the left than the row above.",
        teacher: "answers consistent with writing all partial products under each other without moving them to their places",
        next: "Write what each row stands for beside it: 23 × 4, then 23 × 10.",
        rule: multiply(second_row_not_shifted),
    },
    Misconception {
        id: "multiply-makes-bigger",
        name: "multiplication makes bigger, so divided by a number below one",
        source: "Ekenstam and Greger 1983, through a course paper (read); Bell, Swan and Taylor 1981 (from memory); Lortie-Forgues and Siegler 2016 (abstract)",
        pupil: "Multiplying by a number below one takes a part of the other number, so the result is smaller; the operation stays.",
        teacher: "answers consistent with dividing by a factor below one, as if multiplying could only make bigger",
        next: "Work the same story with 2 kg, 1 kg and then 0.8 kg, and keep the operation.",
        rule: Rule::Exercise(Operation::Multiply, makes_bigger),
    },
];

/// Both factors multiplied as whole numbers, and how many places they have together; `None` without a point to
/// place.
fn digits_and_places(a: &Decimal, b: &Decimal) -> Option<(u128, u32)> {
    let places = a.places() + b.places();
    let product = a.point_removed().checked_mul(b.point_removed())?;
    (places > 0 && product > 0).then_some((product, places))
}

fn points_lined_up(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, _) = digits_and_places(a, b)?;
    with_point(product, a.places().max(b.places()))
}

fn point_ignored(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, _) = digits_and_places(a, b)?;
    with_point(product, 0)
}

fn places_from_left(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, places) = digits_and_places(a, b)?;
    with_point(product, digit_count(product).checked_sub(places)?)
}

fn places_multiplied(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, _) = digits_and_places(a, b)?;
    with_point(product, a.places() * b.places())
}

/// With a whole factor both parts of the other number are multiplied by it: 2.3 × 4 gives 8.12.
fn parts_apart(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    digits_and_places(a, b)?;
    let fraction_or_whole = |numeral: &Decimal| {
        if numeral.places() > 0 { numeral.fraction_units() } else { numeral.whole_part() }
    };
    let fraction = fraction_or_whole(a).checked_mul(fraction_or_whole(b))?;
    two_parts(a.whole_part().checked_mul(b.whole_part())?, fraction, a.places().max(b.places()))
}

fn end_zero_dropped(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, places) = digits_and_places(a, b)?;
    product.is_multiple_of(10).then(|| with_point(without_end_zeros(product), places))?
}

fn no_zeros_in_front(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (product, places) = digits_and_places(a, b)?;
    let digits = digit_count(product);
    (digits < places).then(|| with_point(product, digits))?
}

fn second_row_not_shifted(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (top, mut rest) = (a.point_removed(), b.point_removed());
    // A factor of one digit, zeros at its end aside, is written below and makes a single row.
    if without_end_zeros(top) < 10 || without_end_zeros(rest) < 10 {
        return None;
    }
    let mut sum = 0_u128;
    while rest > 0 {
        sum = sum.checked_add(top.checked_mul(rest % 10)?)?;
        rest /= 10;
    }
    with_point(sum, a.places() + b.places())
}

fn without_end_zeros(mut number: u128) -> u128 {
    while number > 0 && number.is_multiple_of(10) {
        number /= 10;
    }
    number
}

/// Only where exactly one factor is below one: it is the multiplier then, in whatever order they are written.
fn makes_bigger(a: &Decimal, b: &Decimal) -> Option<Exercise> {
    let below_one = |numeral: &Decimal| numeral.whole_part() == 0 && !numeral.is_zero();
    match (below_one(a), below_one(b)) {
        (false, true) => Some((Operation::Divide, *a, *b)),
        (true, false) => Some((Operation::Divide, *b, *a)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions, each recomputed there by an independent script; 0.1 × 0.1 = 0.1 is a
        // published case.
        check(&[
            ("multiply-points-lined-up", "1.2 * 0.3", "3.6"),
            ("multiply-points-lined-up", "0.1 * 0.1", "0.1"),
            ("multiply-point-ignored", "1.2 * 0.3", "36"),
            ("multiply-places-from-left", "2.5 * 1.3", "32.5"),
            ("multiply-places-multiplied", "0.125 * 0.3", "0.375"),
            ("multiply-parts-apart", "2.3 * 1.4", "2.12"),
            ("multiply-parts-apart", "2.3 * 4", "8.12"),
            ("multiply-end-zero-dropped", "0.5 * 0.4", "0.02"),
            ("multiply-no-zeros-in-front", "0.03 * 0.2", "0.6"),
            ("multiply-second-row-not-shifted", "2.3 * 1.4", "1.15"),
            ("multiply-second-row-not-shifted", "23 * 105", "138"),
            ("multiply-makes-bigger", "6.00 * 0.8", "7.5"),
            ("multiply-makes-bigger", "0.8 * 6.00", "7.5"),
            ("multiply-makes-bigger", "round(6.35 * 0.9, 2)", "7.06"),
        ]);
    }

    #[test]
    fn stays_silent_where_there_is_nothing_of_its_own() {
        check(&[
            ("multiply-points-lined-up", "1.2 * 3", ""),
            ("multiply-point-ignored", "12 * 3", ""),
            ("multiply-places-from-left", "0.03 * 0.2", ""),
            ("multiply-places-multiplied", "0.12 * 0.12", ""),
            ("multiply-parts-apart", "2.3 * 2", ""),
            ("multiply-parts-apart", "23 * 14", ""),
            ("multiply-end-zero-dropped", "0.5 * 0.3", ""),
            ("multiply-end-zero-dropped", "5 * 4", ""),
            ("multiply-no-zeros-in-front", "0.9 * 0.4", ""),
            ("multiply-second-row-not-shifted", "2.3 * 0.4", ""),
            ("multiply-second-row-not-shifted", "0.4 * 2.3", ""),
            ("multiply-second-row-not-shifted", "2.3 * 10", ""),
            ("multiply-makes-bigger", "6.00 * 1.8", ""),
            ("multiply-makes-bigger", "0.5 * 0.4", ""),
            ("multiply-makes-bigger", "6.35 * 0.9", ""),
        ]);
    }
}
