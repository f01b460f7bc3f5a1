//! Comparing and ordering: rules that read the digits after the point in some other way than by place.
use super::{Misconception, Rule};
use crate::{arithmetic::Relation, columns, decimal::Decimal};

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "compare-longer-is-larger",
        name: "longer is larger",
        source: "Sackur-Grisvard and Léonard 1985, Resnick et al. 1989 (abstracts), Steinle and Stacey (read)",
        pupil: "More digits do not make a decimal larger: compare the tenths first.",
        teacher: "answers consistent with reading the digits after the point as a whole number, so that longer is larger",
        next: "Mark 0.35 and 0.8 on a number line in tenths.",
        rule: Rule::Compare(longer_is_larger),
    },
    Misconception {
        id: "compare-zero-makes-small",
        name: "only zeros after the point count",
        source: "Steinle and Stacey, Beckmann's summary of them (read)",
        pupil: "Compare place by place, tenths first; not only a zero makes a decimal smaller.",
        teacher: "answers consistent with seeing that zeros after the point make a decimal small, and otherwise longer is larger",
        next: "Give pairs with and without zeros: 0.8 and 0.35, 0.8 and 0.053.",
        rule: Rule::Compare(zero_makes_small),
    },
    Misconception {
        id: "compare-shorter-is-larger",
        name: "shorter is larger",
        source: "Steinle and Stacey, Beckmann's summary of them (read)",
        pupil: "Fewer digits do not make a decimal larger: compare the tenths first.",
        teacher: "answers consistent with taking the decimal with fewer digits for the larger one",
        next: "Write both with the same number of places and say them in hundredths.",
        rule: Rule::Compare(shorter_is_larger),
    },
    Misconception {
        id: "compare-like-unit-fractions",
        name: "larger digits, smaller number",
        source: "reciprocal thinking, Steinle and Stacey (read)",
        pupil: "0.4 is four tenths, more than three tenths: with the same places, larger digits mean a larger number.",
        teacher: "answers consistent with treating decimals like one over a number, so that larger digits are smaller",
        next: "Shade three tenths and four tenths of a strip.",
        rule: Rule::Compare(like_unit_fractions),
    },
    Misconception {
        id: "compare-right-to-left",
        name: "digits read from right to left",
        source: "reverse thinking, Steinle and Stacey (read)",
        pupil: "Start comparing at the point: the tenths decide first.",
        teacher: "answers consistent with comparing the digits after the point from right to left",
        next: "Name the value of each digit of 0.41 and 0.29.",
        rule: Rule::Compare(right_to_left),
    },
    Misconception {
        id: "compare-two-places-only",
        name: "only two places seen, as in money",
        source: "money thinking, Steinle and Stacey (name and idea read); rule by common practice",
        pupil: "Look beyond the hundredths too: thousandths can make the difference.",
        teacher: "answers consistent with looking at two places only, as if all decimals were money",
        next: "Zoom into the number line between 4.45 and 4.46.",
        rule: Rule::Compare(two_places_only),
    },
    Misconception {
        id: "compare-end-zero-makes-larger",
        name: "a zero at the end makes a decimal larger",
        source: "common practice",
        pupil: "A zero written at the end adds no hundredths: five tenths and fifty hundredths are the same amount.",
        teacher: "answers consistent with taking a decimal for larger once a zero is written at its end",
        next: "Shade 5 of 10 strips and 50 of 100 squares of the same whole.",
        rule: Rule::Compare(end_zero_makes_larger),
    },
    Misconception {
        id: "compare-end-zero-makes-smaller",
        name: "a zero at the end makes a decimal smaller",
        source: "common practice",
        pupil: "A zero written at the end takes nothing away: five tenths and fifty hundredths are the same amount.",
        teacher: "answers consistent with taking a decimal for smaller once a zero is written at its end",
        next: "Trade five tenths for hundredths with place-value discs and count them.",
        rule: Rule::Compare(end_zero_makes_smaller),
    },
    Misconception {
        id: "compare-point-ignored",
        name: "decimal point ignored in comparing",
        source: "a published class survey (read as a conjecture)",
        pupil: "Look at the whole part first: where is the point?",
        teacher: "answers consistent with comparing all digits as whole numbers and ignoring the point",
        next: "Ask which is nearer to two: 2.15 or 12.3?",
        rule: Rule::Compare(point_ignored),
    },
];

/// Whole parts decide as they should; only equal ones leave the fraction to the rule.
fn by_fraction(a: &Decimal, b: &Decimal, rule: impl Fn() -> Relation) -> Relation {
    match a.whole_part().cmp(&b.whole_part()) {
        core::cmp::Ordering::Equal => rule(),
        decided => decided.into(),
    }
}

fn longer_is_larger(a: &Decimal, b: &Decimal) -> Option<Relation> {
    Some(by_fraction(a, b, || a.fraction_units().cmp(&b.fraction_units()).into()))
}

fn leading_zeros(numeral: &Decimal) -> u32 {
    let digits = numeral.fraction_units().checked_ilog10().map_or(0, |log| log + 1);
    numeral.places() - digits
}

fn zero_makes_small(a: &Decimal, b: &Decimal) -> Option<Relation> {
    Some(by_fraction(a, b, || {
        let fewer_zeros = leading_zeros(b).cmp(&leading_zeros(a));
        fewer_zeros.then(a.fraction_units().cmp(&b.fraction_units())).into()
    }))
}

fn shorter_is_larger(a: &Decimal, b: &Decimal) -> Option<Relation> {
    Some(by_fraction(a, b, || b.places().cmp(&a.places()).then(a.cmp(b)).into()))
}

fn like_unit_fractions(a: &Decimal, b: &Decimal) -> Option<Relation> {
    Some(by_fraction(a, b, || b.fraction_units().cmp(&a.fraction_units()).into()))
}

fn right_to_left(a: &Decimal, b: &Decimal) -> Option<Relation> {
    let reversed = |numeral: &Decimal| {
        let places = i32::try_from(numeral.places()).unwrap_or(0);
        (1..=places).rev().fold(0_u128, |sum, place| sum * 10 + u128::from(numeral.digit(place)))
    };
    Some(by_fraction(a, b, || reversed(a).cmp(&reversed(b)).into()))
}

fn two_places_only(a: &Decimal, b: &Decimal) -> Option<Relation> {
    let seen = |numeral: &Decimal| columns::cut(numeral, 2).ok();
    Some(seen(a)?.cmp(&seen(b)?).into())
}

fn end_zero_makes_larger(a: &Decimal, b: &Decimal) -> Option<Relation> {
    (a == b).then(|| a.places().cmp(&b.places()).into())
}

fn end_zero_makes_smaller(a: &Decimal, b: &Decimal) -> Option<Relation> {
    (a == b).then(|| b.places().cmp(&a.places()).into())
}

fn point_ignored(a: &Decimal, b: &Decimal) -> Option<Relation> {
    Some(a.point_removed().cmp(&b.point_removed()).into())
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions; an empty prediction means that the faulty rule happens to be right.
        check(&[
            ("compare-longer-is-larger", "0.35 ? 0.8", ">"),
            ("compare-longer-is-larger", "0.5 ? 0.50", "<"),
            ("compare-zero-makes-small", "0.35 ? 0.8", ">"),
            ("compare-zero-makes-small", "0.8 ? 0.053", ""),
            ("compare-shorter-is-larger", "0.83 ? 0.4", "<"),
            ("compare-shorter-is-larger", "0.5 ? 0.50", ">"),
            ("compare-like-unit-fractions", "0.3 ? 0.4", ">"),
            ("compare-right-to-left", "0.41 ? 0.29", "<"),
            ("compare-two-places-only", "4.4502 ? 4.45", "="),
            ("compare-end-zero-makes-larger", "0.5 ? 0.50", "<"),
            ("compare-end-zero-makes-larger", "0.5 ? 0.53", ""),
            ("compare-end-zero-makes-smaller", "0.5 ? 0.50", ">"),
            ("compare-end-zero-makes-smaller", "0.50 ? 0.50", ""),
            ("compare-point-ignored", "2.15 ? 12.3", ">"),
        ]);
    }
}
