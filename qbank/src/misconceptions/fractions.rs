//! Fractions beside decimals: a fraction, written `a / b`, turned into a decimal by its looks, or the way back.
use super::{Misconception, Rule, digit_count, place_value::literal, two_parts};
use crate::{
    decimal::Decimal,
    expression::{Expression, Operation},
};

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "fraction-denominator-as-decimal",
        name: "denominator written after the point",
        source: "errors and misconceptions in decimals, 1/5 as 0.5 and 1/4 as 0.4 (read)",
        pupil: "The digits after the point count tenths; how many tenths or hundredths is this fraction worth?",
        teacher: "answers consistent with writing the denominator of a unit fraction after the point",
        next: "Fold a strip into quarters and lay it beside a strip of tenths.",
        rule: Rule::Operation(Operation::Divide, denominator_as_decimal),
    },
    Misconception {
        id: "fraction-decimal-as-denominator",
        name: "digits after the point read as a denominator",
        source: "errors and misconceptions in decimals, 0.4 read as 1/4 (read)",
        pupil: "One digit after the point counts tenths: write it over ten.",
        teacher: "answers consistent with reading the digits after the point as the denominator of a unit fraction",
        next: "Say the decimal by its places, then write what was said as a fraction.",
        rule: Rule::Instead(decimal_as_denominator),
    },
    Misconception {
        id: "fraction-bar-as-point",
        name: "fraction bar written as a point",
        source: "common practice; a case of 1/4 as 1.4 in errors and misconceptions in decimals (read)",
        pupil: "The bar means divided by; is the fraction more or less than one whole?",
        teacher: "answers consistent with writing the numerator before and the denominator after the point",
        next: "Mark the fraction on a number line from 0 to 1 before writing it as a decimal.",
        rule: Rule::Operation(Operation::Divide, bar_as_point),
    },
];

/// Numerator and denominator, if both are whole and the fraction is none.
fn parts(a: &Decimal, b: &Decimal) -> Option<(u128, u128)> {
    let both_whole = a.places() == 0 && b.places() == 0;
    let (numerator, denominator) = (a.whole_part(), b.whole_part());
    let remainder = both_whole.then(|| numerator.checked_rem(denominator))??;
    (remainder > 0).then_some((numerator, denominator))
}

fn denominator_as_decimal(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (numerator, denominator) = parts(a, b)?;
    (numerator == 1).then(|| two_parts(0, denominator, digit_count(denominator)))?
}

fn bar_as_point(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (numerator, denominator) = parts(a, b)?;
    two_parts(numerator, denominator, digit_count(denominator))
}

/// Only of a bare decimal below one, whose tenths are not zero: 0.4 as 1/4.
fn decimal_as_denominator(expression: &Expression) -> Option<Expression> {
    let number = literal(expression)?;
    let denominator = number.fraction_units();
    let plain = number.whole_part() == 0 && denominator > 1 && digit_count(denominator) == number.places();
    let whole = |value: u128| u32::try_from(value).ok().map(|value| Expression::Literal(value.into()).into());
    plain.then(|| Some(Expression::Binary(Operation::Divide, whole(1)?, whole(denominator)?)))?
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions; 1/5 as 0.5, 1/4 as 0.4 or 1.4 are published cases.
        check(&[
            ("fraction-denominator-as-decimal", "1 / 4", "0.4"),
            ("fraction-denominator-as-decimal", "1 / 5", "0.5"),
            ("fraction-denominator-as-decimal", "1 / 20", "0.2"),
            ("fraction-decimal-as-denominator", "0.4", "0.25"),
            ("fraction-bar-as-point", "3 / 4", "3.4"),
            ("fraction-bar-as-point", "1 / 4", "1.4"),
        ]);
    }

    #[test]
    fn stays_silent_where_there_is_nothing_of_its_own() {
        check(&[
            ("fraction-denominator-as-decimal", "3 / 4", ""),
            ("fraction-denominator-as-decimal", "1 / 10", ""),
            ("fraction-decimal-as-denominator", "0.3", ""),
            ("fraction-decimal-as-denominator", "0.04", ""),
            ("fraction-decimal-as-denominator", "1.4", ""),
            ("fraction-decimal-as-denominator", "0.4 + 1", ""),
            ("fraction-bar-as-point", "8 / 4", ""),
            ("fraction-bar-as-point", "7.5 / 4", ""),
            ("fraction-bar-as-point", "3 / 0", ""),
        ]);
    }
}
