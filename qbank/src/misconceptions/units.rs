//! Units of measure and money: conversions left out, turned round or done with another factor.
//!
//! A conversion is a multiplication or division by 10, 100, 1000 … in the expression, minutes of an hour a division
//! by 60. The expression does not know whether there is a unit at all: these rules are meant for families that
//! convert.
use alloc::boxed::Box;

use super::{
    Misconception, Rule,
    place_value::{as_words_say, literal, whole_literal},
    powers_of_ten::{exponent, wrong_direction},
    two_parts,
};
use crate::{
    decimal::Decimal,
    expression::{Expression, Operation},
};

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "unit-wrong-direction",
        name: "converted in the wrong direction",
        source: "notes on unit conversion in grade 5 (read)",
        pupil: "Of a larger unit fewer are needed: should the number become larger or smaller?",
        teacher: "answers consistent with multiplying where the conversion divides, or the other way round",
        next: "Show both units with the hands or on a tape before converting.",
        rule: Rule::PowerOfTen(wrong_direction),
    },
    Misconception {
        id: "unit-factor-ten",
        name: "converted by ten",
        source: "notes on unit conversion in grade 5 (read)",
        pupil: "Check how many of the smaller unit make one of the larger: it is not ten here.",
        teacher: "answers consistent with converting by ten where another factor is needed",
        next: "Make a table of the prefixes with one real thing for each unit.",
        rule: Rule::PowerOfTen(factor_ten),
    },
    Misconception {
        id: "unit-factor-hundred",
        name: "converted by a hundred",
        source: "notes on unit conversion in grade 5 (read)",
        pupil: "Check how many of the smaller unit make one of the larger: it is not a hundred here.",
        teacher: "answers consistent with converting by a hundred where another factor is needed",
        next: "Compare what 'centi', 'milli' and 'kilo' say.",
        rule: Rule::PowerOfTen(factor_hundred),
    },
    Misconception {
        id: "unit-not-converted",
        name: "units not converted before adding or subtracting",
        source: "common practice",
        pupil: "The numbers count different units; write both in the same unit first.",
        teacher: "answers consistent with adding or subtracting the numbers as written, without converting units",
        next: "Underline the units in the task and write the one asked for above each number.",
        rule: Rule::Instead(not_converted),
    },
    Misconception {
        id: "unit-clock-as-decimal",
        name: "minutes written after the point of the hours",
        source: "common practice",
        pupil: "An hour has 60 minutes, not 100: which part of an hour are these minutes?",
        teacher: "answers consistent with writing minutes as hundredths of an hour",
        next: "Shade 30 minutes on a clock face and name the part of an hour.",
        rule: Rule::Instead(clock_as_decimal),
    },
    Misconception {
        id: "unit-cents-as-dollars",
        name: "cents counted as dollars",
        source: "marking of past national tests in England, which counts pence with a pound sign wrong (read)",
        pupil: "A hundred cents make one dollar: write the cents as part of a dollar first.",
        teacher: "answers consistent with counting cents as dollars",
        next: "Lay the amount out in coins and ask whether it is more than one dollar.",
        rule: Rule::Instead(cents_as_dollars),
    },
    Misconception {
        id: "unit-cents-zero-dropped",
        name: "zero of a few cents dropped",
        source: "common practice",
        pupil: "Cents take two places: fewer than ten cents start with a zero.",
        teacher: "answers consistent with writing fewer than ten cents straight after the point",
        next: "Write 2 dollars 5 cents and 2 dollars 50 cents under each other and compare.",
        rule: Rule::Instead(cents_zero_dropped),
    },
];

fn factor_ten(number: &Decimal, shift: i32) -> Option<Decimal> {
    (shift.abs() != 1).then(|| number.shifted(shift.signum()))?
}

fn factor_hundred(number: &Decimal, shift: i32) -> Option<Decimal> {
    (shift.abs() != 2).then(|| number.shifted(2 * shift.signum()))?
}

fn not_converted(expression: &Expression) -> Option<Expression> {
    with_addends(expression, &|addend| converted(addend).map(|(number, _)| number.clone()))
}

fn cents_as_dollars(expression: &Expression) -> Option<Expression> {
    with_addends(expression, &|addend| match converted(addend)? {
        (number, -2) => Some(number.clone()),
        _ => None,
    })
}

/// The sum or difference with `change` made to its addends; `None` if none changes.
fn with_addends(
    expression: &Expression,
    change: &impl Fn(&Expression) -> Option<Expression>,
) -> Option<Expression> {
    let Expression::Binary(operation @ (Operation::Add | Operation::Subtract), left, right) = expression
    else {
        return None;
    };
    let changed = |addend: &Expression| change(addend).or_else(|| with_addends(addend, change));
    let (new_left, new_right) = (changed(left), changed(right));
    if new_left.is_none() && new_right.is_none() {
        return None;
    }
    let or_old = |new: Option<Expression>, old: &Expression| Box::new(new.unwrap_or_else(|| old.clone()));
    Some(Expression::Binary(*operation, or_old(new_left, left), or_old(new_right, right)))
}

/// What is converted, and how many places to the left its digits move.
fn converted(expression: &Expression) -> Option<(&Expression, i32)> {
    let Expression::Binary(operation, left, right) = expression else {
        return None;
    };
    let power = |part| literal(part).and_then(exponent);
    match operation {
        Operation::Multiply => match power(right) {
            Some(shift) => Some((left, shift)),
            None => power(left).map(|shift| (&**right, shift)),
        },
        Operation::Divide => power(right).map(|shift| (&**left, -shift)),
        Operation::Add | Operation::Subtract => None,
    }
}

/// `1 + 30 / 60` as 1.30.
fn clock_as_decimal(expression: &Expression) -> Option<Expression> {
    let Expression::Binary(Operation::Add, hours, part) = expression else {
        return None;
    };
    let Expression::Binary(Operation::Divide, minutes, hour) = &**part else {
        return None;
    };
    let (hours, minutes) = (whole_literal(hours)?, whole_literal(minutes)?);
    let is_clock_time = whole_literal(hour)? == 60 && minutes < 60;
    is_clock_time.then(|| two_parts(hours, minutes, 2).map(Expression::Literal))?
}

fn cents_zero_dropped(expression: &Expression) -> Option<Expression> {
    let dollars = as_words_say(expression)?;
    let few_cents = dollars.places() == 2 && (1..10).contains(&dollars.fraction_units());
    few_cents
        .then(|| two_parts(dollars.whole_part(), dollars.fraction_units(), 1).map(Expression::Literal))?
}

#[cfg(test)]
mod tests {
    use alloc::string::ToString;

    use crate::{
        expression::Names,
        misconceptions::{all, predict_all, tests::check},
    };

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions: 35 cm in m; 2.5 kg in g; 1.2 m + 35 cm; 1 h 30 min; $3.20 + 45 cents;
        // 2 dollars 5 cents.
        check(&[
            ("unit-wrong-direction", "35 / 100", "3500"),
            ("unit-factor-hundred", "2.5 * 1000", "250"),
            ("unit-factor-ten", "2.5 * 1000", "25"),
            ("unit-not-converted", "1.2 + 35 / 100", "36.2"),
            ("unit-not-converted", "1.2 * 100 + 35", "36.2"),
            ("unit-not-converted", "400 - 1.2 * 100 - 35", "363.8"),
            ("unit-clock-as-decimal", "1 + 30 / 60", "1.3"),
            ("unit-clock-as-decimal", "2 + 6 / 60", "2.06"),
            ("unit-cents-as-dollars", "3.20 + 45 / 100", "48.2"),
            ("unit-cents-zero-dropped", "2 + 5 / 100", "2.5"),
            ("unit-cents-zero-dropped", "2.05", "2.5"),
        ]);
    }

    #[test]
    fn stays_silent_where_there_is_nothing_of_its_own() {
        check(&[
            ("unit-wrong-direction", "35 / 60", ""),
            ("unit-factor-hundred", "2.5 * 100", ""),
            ("unit-factor-ten", "35 / 10", ""),
            ("unit-not-converted", "35 / 100", ""),
            ("unit-not-converted", "1.2 + 0.35", ""),
            ("unit-not-converted", "1.2 + 35 / 4", ""),
            ("unit-clock-as-decimal", "1 + 90 / 60", ""),
            ("unit-clock-as-decimal", "1 + 3 / 4", ""),
            ("unit-cents-as-dollars", "3.20 + 45 / 1000", ""),
            ("unit-cents-zero-dropped", "2 + 50 / 100", ""),
            ("unit-cents-zero-dropped", "2.005", ""),
        ]);
    }

    #[test]
    fn meets_rules_on_powers_of_ten_in_the_same_answer() {
        let found = predict_all(all(), &"35 / 100".parse().unwrap(), &Names::new());
        let turned_round = found.iter().find(|one| one.value.to_string() == "3500").unwrap();
        assert_eq!(turned_round.misconceptions[..], ["power-wrong-direction", "unit-wrong-direction"]);
    }

    #[test]
    fn sees_conversion_factors_behind_names() {
        let names = Names::from([("per_metre".into(), "100".parse().unwrap())]);
        let found = predict_all(all(), &"1.2 + 35 / per_metre".parse().unwrap(), &names);
        let unconverted = found.iter().find(|one| one.value.to_string() == "36.2").unwrap();
        assert_eq!(unconverted.misconceptions[..], ["unit-not-converted", "unit-cents-as-dollars"]);
    }
}
