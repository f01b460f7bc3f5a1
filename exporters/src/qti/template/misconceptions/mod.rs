//! Misconceptions as integer expressions: what each rule of [`qbank::misconceptions`] does to numbers that are only
//! known when the platform draws.
//!
//! Group by group, in the order of [`qbank::misconceptions`]. Each translation is held against the rule itself on
//! thousands of numbers by a test. A rule gives cases, each with the test for when it is at work; where no case is
//! true, the misconception makes no difference of its own and the machine goes on rightly.
mod addition;
mod comparison;
pub(super) mod division;
mod instead;
mod multiplication;
pub(super) mod powers_of_ten;
mod rounding;
mod subtraction;

pub(super) use subtraction::Columns as Working;

use qbank::expression::{Expression as Formula, Operation};

use super::{
    Refusal,
    formulas::{Case, Formulas},
    integer::{Fixed, Int, Test},
    program::Program,
};

/// A rule on two numbers.
pub(super) type OnTwo = fn(&mut Program, &Fixed, &Fixed) -> Vec<Case>;
/// The other exercises that may be worked, and when.
pub(super) type OtherExercise = fn(&mut Program, &Fixed, &Fixed) -> Vec<(Test, Operation, Fixed, Fixed)>;

/// What a misconception bends; the kinds of [`qbank::misconceptions::Rule`].
#[derive(Clone, Copy)]
pub(super) enum Bend {
    Operation(Operation, OnTwo),
    Exercise(Operation, OtherExercise),
    /// All zeros left out of a quotient.
    ZeroDropped,
    PowerOfTen(fn(&mut Program, &Fixed, i32) -> Vec<Case>),
    /// By what numbers are compared, the first of the list first.
    Compare(fn(&mut Program, &Fixed) -> Vec<Int>),
    Round(fn(&mut Program, &Fixed, u32) -> Vec<Case>),
    /// Another value in the place of the whole expression; nothing where the rule is not at work.
    Instead(fn(&mut Formulas<'_>, &Formula) -> Result<Vec<Case>, Refusal>),
}

/// The translation of a misconception, if there is one.
pub(super) fn translated(id: &str) -> Option<Bend> {
    let groups = [
        addition::bend,
        subtraction::bend,
        multiplication::bend,
        powers_of_ten::bend,
        division::bend,
        comparison::bend,
        rounding::bend,
        instead::bend,
    ];
    groups.iter().find_map(|group| group(id))
}

/// What the misconception leads to, the right value where it makes no difference.
pub(super) fn predicted(
    formulas: &mut Formulas<'_>,
    formula: &Formula,
    bend: &Bend,
) -> Result<Vec<Case>, Refusal> {
    match bend {
        Bend::Instead(rule) => rule(formulas, formula),
        _ => formulas.number(formula, Some(bend)),
    }
}

/// Two parts that were worked as two whole numbers, the fraction padded to `width` digits or as long as it is.
fn two_parts(when: &Test, whole: &Int, fraction: &Int, width: u32) -> Vec<Case> {
    let longest = (*fraction.digit_counts().end()).max(width);
    (width..=longest)
        .map(|digits| {
            let fits = if digits == longest {
                Test::TRUE
            } else {
                fraction.below(&super::integer::ten(digits).into())
            };
            let most = super::integer::ten(digits) - 1;
            Case::of_parts(when.and(&fits), whole, &fraction.clone().within(0, most), digits)
        })
        .collect()
}

/// Every column's content written in full, low to high, the point before the last `places` columns.
fn written_in_full(program: &mut Program, when: &Test, columns: &[Int], places: usize) -> Vec<Case> {
    let long = |column: &Int| column.at_least(&10.into());
    let mut whole = Int::from(0);
    for column in columns[places..].iter().rev() {
        let (one, two) = (whole.raised(1).plus(column), whole.raised(2).plus(column));
        whole = program.either(&long(column), &two, &one);
    }
    let may_be_long = columns[..places].iter().filter(|column| column.high >= 10).count();
    let width = places + may_be_long;
    let mut fraction = Int::from(0);
    let scale = u32::try_from(width).unwrap_or(u32::MAX);
    for column in &columns[..places] {
        // What stands right of the column, moved behind it: all in one number with a digit more each time.
        let joined = column.raised(scale).plus(&fraction);
        fraction = program.either(&long(column), &joined.cut(2), &joined.cut(1));
        fraction = fraction.within(0, super::integer::ten(scale));
    }
    let most = u32::try_from(width).unwrap_or(u32::MAX);
    let least = u32::try_from(places).unwrap_or(u32::MAX);
    // The count of long columns after the point decides how many places are written.
    let mut longs = Int::from(0);
    if most > least {
        for column in &columns[..places] {
            longs = longs.plus(&program.indicator(&long(column)));
        }
        longs = program.keep(&longs);
    }
    (least..=most)
        .map(|written| {
            let fits = if most > least { longs.is((written - least).into()) } else { Test::TRUE };
            Case::of_parts(when.and(&fits), &whole, &fraction.cut(most - written), written)
        })
        .collect()
}

/// The digits of a number in a grid, low to high.
fn digits(program: &mut Program, units: &Int, columns: u32) -> Vec<Int> {
    (0..columns).map(|column| program.keep(&units.digit(column))).collect()
}

/// How many columns hold both numbers, lined up.
fn columns_of(a: &Int, b: &Int, places: u32) -> u32 {
    (*a.digit_counts().end()).max(*b.digit_counts().end()).max(places + 1)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use qbank::{
        arithmetic::{Relation, Value, evaluate},
        decimal::Decimal,
        draw::Draws,
        expression::Names,
        misconceptions,
    };

    use super::*;
    use crate::qti::{
        model::{BaseType, Identifier},
        processing::Expression,
        template::program::{HELD_PLACES, Held},
    };

    /// Two drawn numbers with so many places, and a program that draws them.
    struct Operands {
        program: Program,
        names: BTreeMap<String, Fixed>,
    }

    fn operands(ranges: [(i64, i64, u32); 2]) -> Operands {
        let mut program = Program::default();
        let mut names = BTreeMap::new();
        for (name, (low, high, places)) in ["a", "b"].into_iter().zip(ranges) {
            let variable = Identifier::new(name).unwrap();
            let small = |number: i64| u32::try_from(number).unwrap();
            let drawn = Expression::RandomInteger { min: small(low), max: small(high), step: 1 };
            program.set(&variable, BaseType::Integer, drawn);
            let units = Int { expression: Expression::variable(&variable), low, high, peak: high };
            names.insert(name.to_owned(), Fixed::new(units, places));
        }
        Operands { program, names }
    }

    fn drawn(names: &BTreeMap<String, Fixed>, run: &crate::qti::template::program::Variables) -> Names {
        let value = |(name, number): (&String, &Fixed)| {
            let Some(Held::Integer(units)) = run.get(&Identifier::new(name).unwrap()) else {
                panic!("{name}")
            };
            (name.into(), Decimal::new((*units).into(), number.places).unwrap())
        };
        names.iter().map(value).collect()
    }

    /// Holds a translation against the rule; gives how often the rule was at work.
    fn hold(id: &str, text: &str, ranges: [(i64, i64, u32); 2], seed: &str) -> u32 {
        let formula: Formula = text.parse().unwrap();
        let known = misconceptions::find(id).unwrap();
        let bend = translated(id).unwrap();
        let Operands { mut program, names } = operands(ranges);
        let wrong = Identifier::fixed("WRONG");
        let mut formulas = Formulas { program: &mut program, names: &names };
        if let Formula::Comparison(left, right) = &formula {
            let (less, greater) = formulas.comparison(left, right, Some(&bend)).unwrap();
            let sign = |sign: i64| Int::from(sign).expression;
            let cases = vec![(less, sign(0)), (greater, sign(2)), (Test::TRUE, sign(1))];
            program.choose_into(&wrong, BaseType::Integer, cases);
        } else {
            let Ok(cases) = predicted(&mut formulas, &formula, &bend) else { return 0 };
            let floats = cases.iter().map(|case| (case.when.clone(), case.amount.float())).collect();
            program.choose_into(&wrong, BaseType::Float, floats);
        }
        if program.too_large {
            return 0;
        }
        let mut at_work = 0;
        let mut draws = Draws::keyed(seed);
        for _ in 0..50 {
            let run = program.run(&mut draws).unwrap();
            let values = drawn(&names, &run);
            let held = match &run[&wrong] {
                Held::Float(units) => Some(Value::Number(Decimal::new(*units, HELD_PLACES).unwrap())),
                Held::Integer(0) => Some(Value::Relation(Relation::Less)),
                Held::Integer(1) => Some(Value::Relation(Relation::Equal)),
                Held::Integer(_) => Some(Value::Relation(Relation::Greater)),
                _ => None,
            };
            let by_rule = misconceptions::predict(known, &formula, &values);
            let right = evaluate(&qbank::arithmetic::Columns, &formula, &values).ok();
            let found = held.filter(|held| Some(held) != right.as_ref());
            assert_eq!(found, by_rule, "{id} on {text} with {values:?}");
            at_work += u32::from(by_rule.is_some());
        }
        at_work
    }

    #[test]
    fn every_translation_leads_to_what_its_rule_does() {
        let forms: [(&str, &[&str]); 9] = [
            ("add-", &["a + b", "a + b + 2.75", "1.5 + a * 2 + b"]),
            ("subtract-", &["a - b", "a + 12 - b"]),
            ("multiply-", &["a * b", "a * 0.5 + b"]),
            ("divide-", &["a / b", "round(a / 3, 2)"]),
            ("compare-", &["a ? b"]),
            ("round-", &["round(a, 0)", "round(a, 1)", "round(a, 2)", "round(a / 10, 0) + b"]),
            ("power-", &["a * 10", "b / 100", "a * b"]),
            ("unit-", &["a * 100", "b / 1000", "a + b / 60"]),
            ("place-", &["a / 10", "a / 100 + b", "a", "b / 1000"]),
        ];
        let ranges = |places: u32| match places {
            0 => [(1, 12), (2, 98), (101, 500)],
            1 => [(1, 19), (11, 99), (101, 489)],
            2 => [(1, 99), (105, 995), (1001, 3999)],
            _ => [(11, 999), (1001, 4999), (10_015, 19_995)],
        };
        for misconception in misconceptions::all() {
            let Some((_, texts)) = forms.iter().find(|(group, _)| misconception.id.starts_with(group)) else {
                continue;
            };
            if translated(misconception.id).is_none() {
                continue;
            }
            let mut at_work = 0;
            for text in *texts {
                // Close together, so that later places decide.
                at_work += hold(misconception.id, text, [(2001, 2040, 3), (2001, 2020, 3)], text);
                for (first, second) in (0..4).flat_map(|first| (0..4).map(move |second| (first, second))) {
                    for ((low, high), (least, most)) in ranges(first).into_iter().zip(ranges(second)) {
                        let seed = format!("{text} {first} {second} {low}");
                        at_work +=
                            hold(misconception.id, text, [(low, high, first), (least, most, second)], &seed);
                    }
                }
            }
            // That one is refused wherever it could be at work.
            let silent = misconception.id == "unit-not-converted";
            assert!(silent || at_work > 9, "{} was hardly ever at work", misconception.id);
        }
    }

    #[test]
    fn bars_and_stories_lead_to_what_their_rules_do() {
        let whole = [(1, 98, 0), (2, 40, 0)];
        assert!(hold("fraction-bar-as-point", "a / b", whole, "bar") > 20);
        assert!(hold("story-stops-early", "a + b * 2", whole, "story") > 20);
        assert!(hold("story-stops-early", "(a + b) * 2", whole, "story") > 20);
    }
}
