//! Subtraction: the classic procedures, column by column, alignment, and equal shift.
use qbank::expression::Operation;

use super::{Bend, OnTwo, columns_of, digits, two_parts, written_in_full};
use crate::qti::template::{
    formulas::Case,
    integer::{Fixed, Int, MOST, Test, lined_up, ten},
    program::Program,
};

pub(super) fn bend(id: &str) -> Option<Bend> {
    let rule: OnTwo = match id {
        "subtract-smaller-from-larger" => smaller_from_larger,
        "subtract-exchange-without-trade" => exchange_without_trade,
        "subtract-zero-instead-of-exchange" => zero_instead_of_exchange,
        "subtract-exchange-from-leftmost" => exchange_from_leftmost,
        "subtract-ten-replaces-digit" => ten_replaces_digit,
        "subtract-stops-at-zero" => stops_at_zero,
        "subtract-skips-zero" => skips_zero,
        "subtract-exchange-from-zero" => exchange_from_zero,
        "subtract-zero-becomes-ten" => zero_becomes_ten,
        "subtract-zero-minus-copies" => zero_minus_copies,
        "subtract-zero-minus-zero" => zero_minus_zero,
        "subtract-copies-unfilled-places" => copies_unfilled_places,
        "subtract-right-edge" => right_edge,
        "subtract-right-edge-first-point" => right_edge_first_point,
        "subtract-two-whole-numbers" => two_whole_numbers,
        "subtract-shift-on-one-number" => shift_on_one_number,
        "subtract-shift-opposite-ways" => shift_opposite_ways,
        _ => return None,
    };
    Some(Bend::Operation(Operation::Subtract, rule))
}

/// A subtraction in columns as it is worked: the top digits change with every exchange.
pub(in crate::qti::template) struct Columns {
    pub(in crate::qti::template) top: Vec<Int>,
    pub(in crate::qti::template) now: Vec<Int>,
    pub(in crate::qti::template) bottom: Vec<Int>,
    /// What must have been possible so far.
    pub(in crate::qti::template) possible: Test,
    places: usize,
    /// Columns in which the top number has no digit written.
    unfilled: usize,
}

impl Columns {
    pub(in crate::qti::template) fn new(program: &mut Program, a: &Fixed, b: &Fixed) -> Self {
        let (upper, lower, places) = lined_up(a, b);
        let columns = columns_of(&upper, &lower, places);
        let top = digits(program, &upper, columns);
        let bottom = digits(program, &lower, columns);
        let unfilled = (places - a.places) as usize;
        Self { now: top.clone(), top, bottom, possible: Test::TRUE, places: places as usize, unfilled }
    }

    pub(in crate::qti::template) fn too_small(&self, column: usize) -> Test {
        self.now[column].below(&self.bottom[column])
    }

    /// Whether the place `left` is the nearest one on the left of a column that has something.
    pub(in crate::qti::template) fn lends(&self, column: usize, left: usize) -> Test {
        let between = self.now[column + 1..left].iter().map(|digit| digit.is(0));
        Test::all(between).and(&self.now[left].at_least(&1.into()))
    }

    /// Some place on the left must have something to lend, where one is needed.
    fn needs_lender(&mut self, column: usize, need: &Test) {
        let any = Test::any(self.now[column + 1..].iter().map(|digit| digit.at_least(&1.into())));
        self.possible = self.possible.and(&need.not().or(&any));
    }

    /// An exchange where one is needed: the lender gives one, places between become `between`.
    pub(in crate::qti::template) fn exchange(
        &mut self,
        program: &mut Program,
        column: usize,
        need: &Test,
        between: Option<i64>,
    ) {
        self.needs_lender(column, need);
        let mut changed = self.now[..=column].to_vec();
        for (left, digit) in self.now.iter().enumerate().skip(column + 1) {
            let lends = need.and(&self.lends(column, left));
            let mut cases = vec![(lends, digit.add(-1).within(0, 10))];
            if let Some(between) = between {
                let further = Test::any((left + 1..self.now.len()).map(|lender| self.lends(column, lender)));
                cases.push((need.and(&further), between.into()));
            }
            cases.push((Test::TRUE, digit.clone()));
            changed.push(program.choose(&cases));
        }
        self.now = changed;
        self.ten_more(program, column, need);
    }

    fn ten_more(&mut self, program: &mut Program, column: usize, need: &Test) {
        self.now[column] = program.either(need, &self.now[column].add(10), &self.now[column]);
    }

    /// The digit left in a column; it must not be below zero.
    fn difference(&mut self, column: usize) -> Int {
        self.possible = self.possible.and(&self.now[column].at_least(&self.bottom[column]));
        self.now[column].minus(&self.bottom[column]).within(0, 19)
    }

    /// The right step: exchange where needed, then subtract. A right working leaves single digits.
    fn right_step(&mut self, program: &mut Program, column: usize) -> Int {
        let need = self.too_small(column);
        self.exchange(program, column, &need, Some(9));
        self.difference(column).within(0, 9)
    }
}

/// Works the columns from the right.
fn by_columns(
    program: &mut Program,
    a: &Fixed,
    b: &Fixed,
    step: impl Fn(&mut Columns, &mut Program, usize) -> Int,
) -> Vec<Case> {
    let mut columns = Columns::new(program, a, b);
    let mut written = Vec::new();
    for column in 0..columns.top.len() {
        let digit = step(&mut columns, program, column);
        written.push(program.keep(&digit));
        // Kept as a number, so that the tests do not grow from column to column.
        if let Test::Open { .. } = columns.possible {
            columns.possible = program.indicator(&columns.possible).is(1);
        }
    }
    written_in_full(program, &columns.possible, &written, columns.places)
}

fn smaller_from_larger(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let (now, bottom) = (columns.now[column].clone(), columns.bottom[column].clone());
        program.either(&columns.too_small(column), &bottom.minus(&now), &now.minus(&bottom)).within(0, 9)
    })
}

fn exchange_without_trade(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let difference = columns.now[column].minus(&columns.bottom[column]);
        program.either(&columns.too_small(column), &difference.add(10), &difference).within(0, 9)
    })
}

fn zero_instead_of_exchange(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let difference = columns.now[column].minus(&columns.bottom[column]);
        program.either(&columns.too_small(column), &0.into(), &difference).within(0, 9)
    })
}

fn exchange_from_leftmost(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.needs_lender(column, &need);
        let mut changed = columns.now[..=column].to_vec();
        for (left, digit) in columns.now.iter().enumerate().skip(column + 1) {
            let none_beyond = Test::all(columns.now[left + 1..].iter().map(|digit| digit.is(0)));
            let lends = need.and(&digit.at_least(&1.into())).and(&none_beyond);
            changed.push(program.either(&lends, &digit.add(-1).within(0, 9), digit));
        }
        columns.now = changed;
        columns.ten_more(program, column, &need);
        columns.difference(column).within(0, 9)
    })
}

fn ten_replaces_digit(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.exchange(program, column, &need, Some(9));
        let ten = Int::from(10).minus(&columns.bottom[column]);
        let difference = columns.now[column].minus(&columns.bottom[column]);
        // A zero is never too large, so that something is taken from the ten.
        program.either(&need, &ten, &difference).within(0, 9)
    })
}

fn stops_at_zero(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.needs_lender(column, &need);
        if let Some(next) = columns.now.get(column + 1).cloned() {
            let takes = need.and(&next.at_least(&1.into()));
            columns.now[column + 1] = program.either(&takes, &next.add(-1).within(0, 9), &next);
        }
        columns.ten_more(program, column, &need);
        columns.difference(column).within(0, 9)
    })
}

fn skips_zero(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.exchange(program, column, &need, None);
        columns.difference(column).within(0, 9)
    })
}

fn exchange_from_zero(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.needs_lender(column, &need);
        if let Some(next) = columns.now.get(column + 1).cloned() {
            let cases = [
                (need.and(&next.is(0)), Int::from(9)),
                (need.clone(), next.add(-1).within(0, 9)),
                (Test::TRUE, next.clone()),
            ];
            columns.now[column + 1] = program.choose(&cases);
        }
        columns.ten_more(program, column, &need);
        columns.difference(column).within(0, 9)
    })
}

/// Zeros that lend become ten and stay so: a column may hold two digits in the end.
fn zero_becomes_ten(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let need = columns.too_small(column);
        columns.exchange(program, column, &need, Some(10));
        columns.difference(column).within(0, 10)
    })
}

/// A zero that no exchange has touched, from which something is to be taken.
fn untouched_zero(columns: &Columns, column: usize) -> Test {
    columns.top[column].is(0).and(&columns.now[column].is(0)).and(&columns.bottom[column].at_least(&1.into()))
}

fn zero_minus(program: &mut Program, a: &Fixed, b: &Fixed, copies: bool) -> Vec<Case> {
    by_columns(program, a, b, |columns, program, column| {
        let zero = untouched_zero(columns, column);
        let need = columns.too_small(column).and(&zero.not());
        columns.exchange(program, column, &need, Some(9));
        let bottom = columns.bottom[column].clone();
        let enough = zero.or(&columns.now[column].at_least(&bottom));
        columns.possible = columns.possible.and(&enough);
        let instead = if copies { bottom.clone() } else { 0.into() };
        program.either(&zero, &instead, &columns.now[column].minus(&bottom)).within(0, 9)
    })
}

fn zero_minus_copies(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    zero_minus(program, a, b, true)
}

fn zero_minus_zero(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    zero_minus(program, a, b, false)
}

fn copies_unfilled_places(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    if a.places >= b.places {
        return Vec::new();
    }
    by_columns(program, a, b, |columns, program, column| {
        if column < columns.unfilled {
            columns.bottom[column].clone()
        } else {
            columns.right_step(program, column)
        }
    })
}

fn at_edge(a: &Fixed, b: &Fixed, places: u32) -> Vec<Case> {
    if a.places == b.places {
        return Vec::new();
    }
    let enough = a.units.at_least(&b.units);
    vec![Case::new(enough, a.units.minus(&b.units).within(0, MOST), places)]
}

fn right_edge(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    at_edge(a, b, a.places.max(b.places))
}

fn right_edge_first_point(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    at_edge(a, b, a.places)
}

fn two_whole_numbers(program: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let width = a.places.max(b.places);
    if width == 0 {
        return Vec::new();
    }
    let enough = a.whole().at_least(&b.whole());
    let whole = program.keep(&a.whole().minus(&b.whole()).within(0, MOST));
    let (first, second) = (program.keep(&a.fraction()), program.keep(&b.fraction()));
    let apart = program.either(&first.below(&second), &second.minus(&first), &first.minus(&second));
    two_parts(&enough, &whole, &apart.within(0, ten(width) - 1), width)
}

fn shift_on_one_number(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let raised = Fixed::new(b.whole().add(1), 0);
    let (top, bottom, places) = lined_up(a, &raised);
    let test = b.fraction().at_least(&1.into()).and(&top.at_least(&bottom));
    vec![Case::new(test, top.minus(&bottom).within(0, MOST), places)]
}

/// What the second number is raised by is taken from the first.
fn shift_opposite_ways(_: &mut Program, a: &Fixed, b: &Fixed) -> Vec<Case> {
    let places = a.places.max(b.places);
    let whole = b.whole().add(1).raised(places);
    let by = whole.minus(&b.at(places));
    let taken = by.plus(&whole);
    let top = a.at(places);
    let test = b.fraction().at_least(&1.into()).and(&top.at_least(&taken));
    vec![Case::new(test, top.minus(&taken).within(0, MOST), places)]
}
