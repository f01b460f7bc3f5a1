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
    for (index, column) in columns[..places].iter().enumerate() {
        // What stands right of the column, moved behind it: all in one number with a digit more each time.
        let _ = index;
        let scale = u32::try_from(width).unwrap_or(u32::MAX);
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
