//! Workings as pictures: rows of digits that stand in columns, ready to be drawn on a page or a sheet.
//!
//! A [`Board`] comes from the machine that worked the answer, and needs no language: what a row is says its [`Role`],
//! what a digit is its [`Mark`]. [`EqualShift`] is a subtraction made easier on the number line.
use alloc::{string::String, vec::Vec};

use super::{Addition, ColumnError, Division, Grid, Multiplication, Pair, Row, Subtraction, filled, shown};
use crate::decimal::Decimal;

/// A working in columns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// All columns; column 0 is the rightmost.
    pub columns: usize,
    /// What is written, from the top down.
    pub rows: Vec<BoardRow>,
}

/// A row of a [`Board`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardRow {
    /// What the row is.
    pub role: Role,
    /// The sign before it: `+`, `−`, `×`.
    pub sign: Option<char>,
    /// One for each column of the board, from the rightmost; `None` where nothing is written.
    pub cells: Vec<Option<Cell>>,
    /// How many columns stand right of the row's point; `None` where no point is written.
    pub point: Option<usize>,
    /// Whether a line is drawn above it.
    pub rule_above: bool,
}

/// What a row of a [`Board`] is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// What was carried into each column.
    Carries,
    /// What the top digits became by exchanging; up to 19.
    Exchanged,
    /// A number that is worked with.
    Operand,
    /// The factor times one digit of the second factor, moved to its place.
    Partial,
    /// What is taken away in a long division.
    Taken,
    /// What is left over in a long division, with the next digit brought down.
    Left,
    /// A number that is looked at: rounded, compared, or read.
    LookedAt,
    /// What comes out.
    Result,
}

/// A digit of a [`Board`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cell {
    /// The digit; up to 19 where ten of the next column were exchanged.
    pub digit: u8,
    /// What is said of it.
    pub mark: Mark,
}

/// What is said of a digit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Nothing.
    Plain,
    /// A zero that was not written in the number and fills a place.
    Annexed,
    /// Replaced by the digit above it.
    Struck,
    /// A carry or a digit after an exchange.
    Small,
    /// The digit that decides.
    Deciding,
}

/// A subtraction in which both numbers are raised by the same amount, so that the second becomes whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EqualShift {
    /// The smaller number.
    pub low: Decimal,
    /// The larger number.
    pub high: Decimal,
    /// By how much both are raised.
    pub shift: Decimal,
    /// The smaller number after that, a whole number.
    pub low_raised: Decimal,
    /// The larger number after that.
    pub high_raised: Decimal,
    /// The difference, before and after.
    pub difference: Decimal,
}

impl BoardRow {
    fn new(role: Role, columns: usize, cell: impl Fn(usize) -> Option<Cell>) -> Self {
        Self { role, sign: None, cells: (0..columns).map(cell).collect(), point: None, rule_above: false }
    }

    fn with_sign(self, sign: char) -> Self {
        Self { sign: Some(sign), ..self }
    }

    fn with_point(self, places: usize) -> Self {
        Self { point: (places > 0).then_some(places), ..self }
    }

    fn below_rule(self) -> Self {
        Self { rule_above: true, ..self }
    }

    /// The number of an operand, of what is looked at, or of a result, as it is written with all its zeros.
    ///
    /// # Errors
    /// [`ColumnError::TooLong`].
    pub fn numeral(&self) -> Result<Decimal, ColumnError> {
        let places = self.point.unwrap_or(0);
        let columns = self.cells.iter().rev();
        let written = columns.filter_map(|cell| cell.map(|cell| i128::from(cell.digit)));
        let units =
            written.into_iter().try_fold(0_i128, |sum, digit| sum.checked_mul(10)?.checked_add(digit));
        let places = u32::try_from(places).map_err(|_| ColumnError::TooLong)?;
        Decimal::new(units.ok_or(ColumnError::TooLong)?, places).map_err(|_| ColumnError::TooLong)
    }
}

const fn plain(digit: u8) -> Cell {
    Cell { digit, mark: Mark::Plain }
}

/// A numeral's row in a grid; zeros that fill places are marked.
fn operand(grid: &Grid, row: &Row, role: Role) -> BoardRow {
    let digit = filled(grid, row);
    let cell = |column: usize| {
        let mark = if column < row.written.0 { Mark::Annexed } else { Mark::Plain };
        digit(column).map(|digit| Cell { digit, mark })
    };
    BoardRow::new(role, grid.columns, cell).with_point(grid.places)
}

/// The digits of a whole number from `lowest` up, as many as it has, at least `least`.
fn whole(number: u128, lowest: usize, least: usize) -> impl Fn(usize) -> Option<Cell> {
    move |column| {
        let above = u32::try_from(column.checked_sub(lowest)?).ok()?;
        let rest = number.checked_div(10_u128.checked_pow(above)?)?;
        (rest > 0 || (above as usize) < least.max(1))
            .then(|| plain(u8::try_from(rest % 10).expect("a remainder by ten is one digit")))
    }
}

fn digits_of(number: u128) -> usize {
    number.checked_ilog10().map_or(1, |log| log as usize + 1)
}

impl Addition {
    /// The working as a picture.
    #[must_use]
    pub fn board(&self) -> Board {
        let mut rows = Vec::new();
        let carried = |column: usize| {
            (self.carries[column] > 0).then(|| Cell { digit: self.carries[column], mark: Mark::Small })
        };
        if self.carry_count() > 0 {
            rows.push(BoardRow::new(Role::Carries, self.grid.columns, carried));
        }
        for (index, row) in self.rows.iter().enumerate() {
            let drawn = operand(&self.grid, row, Role::Operand);
            rows.push(if index + 1 == self.rows.len() { drawn.with_sign('+') } else { drawn });
        }
        rows.push(result(&self.grid, &self.sum));
        Board { columns: self.grid.columns, rows }
    }
}

fn result(grid: &Grid, digits: &super::Digits) -> BoardRow {
    let digit = shown(grid, digits);
    BoardRow::new(Role::Result, grid.columns, |column| digit(column).map(plain))
        .with_point(grid.places)
        .below_rule()
}

impl Subtraction {
    /// The working as a picture.
    #[must_use]
    pub fn board(&self) -> Board {
        let grid = &self.pair.grid;
        let mut rows = Vec::new();
        if self.exchange_count() > 0 {
            let new = |column: usize| self.exchanged[column].map(|digit| Cell { digit, mark: Mark::Small });
            rows.push(BoardRow::new(Role::Exchanged, grid.columns, new));
        }
        let mut top = operand(grid, &self.pair.top, Role::Operand);
        for (column, cell) in top.cells.iter_mut().enumerate() {
            if let (Some(cell), Some(_)) = (cell, self.exchanged[column]) {
                cell.mark = Mark::Struck;
            }
        }
        rows.push(top);
        rows.push(operand(grid, &self.pair.bottom, Role::Operand).with_sign('−'));
        rows.push(result(grid, &self.difference));
        Board { columns: grid.columns, rows }
    }

    /// The same difference on the number line; `None` where the smaller number is whole
    /// already, where the larger one is the next whole number, or where they are too long.
    #[must_use]
    pub fn equal_shift(&self) -> Option<EqualShift> {
        let grid = &self.pair.grid;
        let [low, high] = [self.pair.bottom, self.pair.top].map(|row| grid.numeral(&row.digits).ok());
        let (low, high) = (low?.normalized(), high?.normalized());
        if low.places() == 0 {
            return None;
        }
        let one = Decimal::new(1, 0).ok()?;
        let whole = Decimal::new(i128::try_from(low.whole_part()).ok()?, 0).ok()?;
        let sum = |a: Decimal, b: Decimal| Some(super::add(&[a, b]).ok()?.result().ok()?.normalized());
        let low_raised = sum(whole, one)?;
        // What is left to the next whole number is not found by the same shift.
        if high == low_raised {
            return None;
        }
        let shift = super::subtract(&low_raised, &low).ok()?.result().ok()?.normalized();
        let difference = self.result().ok()?.normalized();
        Some(EqualShift { low, high, shift, low_raised, high_raised: sum(high, shift)?, difference })
    }
}

impl Multiplication {
    /// The working as a picture: the factors as they are written, partial products as whole numbers, and the product
    /// with the places of both factors together.
    #[must_use]
    pub fn board(&self) -> Board {
        let (left, right) = self.factors;
        let least = |numeral: &Decimal| numeral.places() as usize + 1;
        let columns = [left.point_removed(), right.point_removed(), self.product]
            .map(digits_of)
            .into_iter()
            .chain([&left, &right].map(least))
            .chain([self.places as usize + 1])
            .max()
            .unwrap_or(1);
        let factor = |numeral: &Decimal| {
            BoardRow::new(Role::Operand, columns, whole(numeral.point_removed(), 0, least(numeral)))
                .with_point(numeral.places() as usize)
        };
        let mut rows = alloc::vec![factor(&left), factor(&right).with_sign('×')];
        if self.partials.len() > 1 {
            for (moved, partial) in self.partials.iter().enumerate() {
                let mut row = BoardRow::new(Role::Partial, columns, whole(*partial, 0, 1));
                for cell in row.cells.iter_mut().take(moved).flatten().filter(|_| *partial > 0) {
                    cell.mark = Mark::Annexed;
                }
                rows.push(if moved == 0 { row.below_rule() } else { row });
            }
        }
        let product = whole(self.product, 0, self.places as usize + 1);
        let product = BoardRow::new(Role::Result, columns, product).with_point(self.places as usize);
        rows.push(product.below_rule());
        Board { columns, rows }
    }

    /// The factors as they are written.
    #[must_use]
    pub fn factors(&self) -> (Decimal, Decimal) {
        self.factors
    }
}

/// One digit of a long division.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Turn {
    /// What is divided: what was left over, and the digit brought down.
    divided: u128,
    /// The digit of the quotient.
    digit: u8,
}

impl Division {
    /// The dividend and the divisor as they are written.
    #[must_use]
    pub fn numbers(&self) -> (Decimal, Decimal) {
        (self.dividend, self.divisor)
    }

    /// By how many places both numbers are moved, so that the divisor becomes whole.
    #[must_use]
    pub fn shift(&self) -> u32 {
        self.divisor.normalized().places()
    }

    /// Both numbers after the equal shift: the divisor is whole. `None` where they are too long.
    #[must_use]
    pub fn shifted(&self) -> Option<(Decimal, Decimal)> {
        let shift = i32::try_from(self.shift()).ok()?;
        let dividend = self.dividend.shifted(shift)?;
        Some((dividend, self.divisor.shifted(shift)?.normalized()))
    }

    /// The long division as a picture: quotient, dividend, what is taken away and what is left digit by digit. `None`
    /// where the numbers are too long for it.
    #[must_use]
    pub fn board(&self) -> Option<Board> {
        let (dividend, divisor) = self.shifted()?;
        // As far as the quotient goes; a quotient that ends before may have cut the dividend's last zeros.
        let places = self.quotient.places().max(dividend.places());
        let by = divisor.point_removed();
        let filled = dividend.with_places(places)?.point_removed();
        let ones = dividend.whole_digits() as usize;
        let (places, columns) = (places as usize, ones + places as usize);
        let carried_out = ones + self.quotient.places() as usize;
        let turns = turns(filled, columns, carried_out, by)?;
        let first = turns.iter().position(|turn| turn.digit > 0).unwrap_or(ones - 1).min(ones - 1);
        let quotient = |column: usize| {
            let index = columns - 1 - column;
            (index >= first).then(|| turns.get(index)).flatten().map(|turn| plain(turn.digit))
        };
        let mut top = BoardRow::new(Role::Result, columns, quotient);
        top.point = (self.quotient.places() > 0).then_some(places);
        let mut rows = alloc::vec![top];
        let written = dividend.places() as usize;
        let mut under =
            BoardRow::new(Role::Operand, columns, whole(filled, 0, places + 1)).with_point(places);
        for cell in under.cells.iter_mut().take(places - written).flatten() {
            cell.mark = Mark::Annexed;
        }
        rows.push(under.below_rule());
        rows.extend(subtractions(&turns, columns, by)?);
        Some(Board { columns, rows })
    }
}

/// Brings one digit after the other down.
fn turns(number: u128, digits: usize, carried_out: usize, by: u128) -> Option<Vec<Turn>> {
    let mut left = 0_u128;
    let mut turns = Vec::with_capacity(carried_out);
    for index in 0..carried_out {
        let power = 10_u128.checked_pow(u32::try_from(digits - 1 - index).ok()?)?;
        let divided = left.checked_mul(10)?.checked_add(number / power % 10)?;
        turns.push(Turn { divided, digit: u8::try_from(divided.checked_div(by)?).ok()? });
        left = divided % by;
    }
    Some(turns)
}

/// What is taken away and what is left, for each digit of the quotient that is not zero.
fn subtractions(turns: &[Turn], columns: usize, by: u128) -> Option<Vec<BoardRow>> {
    let mut rows = Vec::new();
    let counted = turns.iter().enumerate().filter(|(_, turn)| turn.digit > 0);
    for (nth, (index, turn)) in counted.enumerate() {
        let lowest = columns - 1 - index;
        // The first one is divided where it stands in the dividend.
        if nth > 0 {
            rows.push(BoardRow::new(Role::Left, columns, whole(turn.divided, lowest, 1)).below_rule());
        }
        let taken = by.checked_mul(u128::from(turn.digit))?;
        rows.push(BoardRow::new(Role::Taken, columns, whole(taken, lowest, 1)).with_sign('−'));
    }
    if let Some(last) = turns.last() {
        let left = whole(last.divided % by, columns - turns.len(), 1);
        rows.push(BoardRow::new(Role::Left, columns, left).below_rule());
    }
    Some(rows)
}

/// A number with the digit at a place marked, and below it what comes out, if that is another number.
pub(crate) fn looked_at(number: &Decimal, place: u32, becomes: Option<&Decimal>) -> Option<Board> {
    let filled = number.with_places(number.places().max(place))?;
    let numerals: Vec<Decimal> = core::iter::once(filled).chain(becomes.copied()).collect();
    let grid = Grid::around(&numerals).ok()?;
    let mut top = operand(&grid, &grid.row(&filled), Role::LookedAt);
    let written = number.places() as usize;
    let fill = grid.places.checked_sub(written)?;
    for cell in top.cells.iter_mut().take(fill).flatten() {
        cell.mark = Mark::Annexed;
    }
    if let Some(Some(cell)) = top.cells.get_mut(grid.places.checked_sub(place as usize)?) {
        cell.mark = Mark::Deciding;
    }
    let mut rows = alloc::vec![top];
    if let Some(becomes) = becomes {
        let row = grid.row(becomes);
        let digit = filled_as_written(&row);
        let below = BoardRow::new(Role::Result, grid.columns, |column| digit(column).map(plain));
        let point = (becomes.places() > 0).then_some(grid.places);
        rows.push(BoardRow { point, ..below.below_rule() });
    }
    Some(Board { columns: grid.columns, rows })
}

/// A row's digits where they are written, without zeros that fill places.
fn filled_as_written(row: &Row) -> impl Fn(usize) -> Option<u8> + use<'_> {
    move |column| (row.written.0..row.written.1).contains(&column).then(|| row.digits[column])
}

/// Numbers under each other, the first place in which not all are alike marked.
pub(crate) fn under_each_other(numbers: &[Decimal]) -> Option<Board> {
    let grid = Grid::around(numbers).ok()?;
    let rows: Vec<Row> = numbers.iter().map(|number| grid.row(number)).collect();
    let differs = |column: &usize| rows.iter().any(|row| row.digits[*column] != rows[0].digits[*column]);
    let deciding = (0..grid.columns).rev().find(differs);
    let drawn = |row: &Row| {
        let mut drawn = operand(&grid, row, Role::LookedAt);
        if let Some(Some(cell)) = deciding.map(|column| drawn.cells[column].as_mut()) {
            cell.mark = Mark::Deciding;
        }
        drawn
    };
    Some(Board { columns: grid.columns, rows: rows.iter().map(drawn).collect() })
}

impl Board {
    /// What comes out, if the board has it.
    #[must_use]
    pub fn result(&self) -> Option<&BoardRow> {
        self.rows.iter().find(|row| row.role == Role::Result)
    }

    /// The digits of a row as text, from the left, with the point; blanks are left out.
    #[must_use]
    pub fn told(row: &BoardRow) -> String {
        let mut told = String::new();
        for (column, cell) in row.cells.iter().enumerate().rev() {
            if let Some(cell) = cell {
                told.push_str(&alloc::format!("{}", cell.digit));
            }
            if row.point == Some(column) && !told.is_empty() {
                told.push('.');
            }
        }
        told
    }
}

impl Pair {
    /// Both numbers under each other, for comparing.
    #[must_use]
    pub fn board(&self) -> Option<Board> {
        let [top, bottom] = [self.top, self.bottom].map(|row| self.grid.numeral(&row.digits).ok());
        under_each_other(&[top?, bottom?])
    }
}

#[cfg(test)]
mod tests {
    use super::super::{add, divide, multiply, subtract};
    use super::*;
    use alloc::{format, string::ToString, vec};
    use proptest::prelude::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    /// A board as text, to be read in tests: struck digits between slashes, annexed zeros as `o`, deciding ones in
    /// brackets.
    fn drawn(board: &Board) -> Vec<String> {
        board
            .rows
            .iter()
            .map(|row| {
                let mut line = format!("{}|", row.sign.unwrap_or(' '));
                for (column, cell) in row.cells.iter().enumerate().rev() {
                    line.push_str(&match cell {
                        None => "  . ".into(),
                        Some(Cell { mark: Mark::Struck, digit }) => format!(" /{digit}/"),
                        Some(Cell { mark: Mark::Annexed, .. }) => "  o ".into(),
                        Some(Cell { mark: Mark::Deciding, digit }) => format!(" [{digit}]"),
                        Some(Cell { digit, .. }) => format!("{digit:>3} "),
                    });
                    if row.point == Some(column) {
                        line.push(',');
                    }
                }
                line
            })
            .collect()
    }

    #[test]
    fn an_exchange_across_zero_strikes_the_digits_it_changes() {
        let board = subtract(&decimal("9.04"), &decimal("3.28")).unwrap().board();
        assert_eq!(
            drawn(&board),
            [" |  8   9  14 ", " | /9/, /0/ /4/", "−|  3 ,  2   8 ", " |  5 ,  7   6 "]
        );
    }

    #[test]
    fn annexed_zeros_are_marked() {
        let board = add(&[decimal("4.6"), decimal("0.75")]).unwrap().board();
        assert_eq!(
            drawn(&board),
            [" |  1   .   . ", " |  4 ,  6   o ", "+|  0 ,  7   5 ", " |  5 ,  3   5 "]
        );
    }

    #[test]
    fn a_multiplication_shows_its_partial_products() {
        let board = multiply(&decimal("2.3"), &decimal("1.4")).unwrap().board();
        assert_eq!(
            drawn(&board),
            [" |  .   2 ,  3 ", "×|  .   1 ,  4 ", " |  .   9   2 ", " |  2   3   o ", " |  3 ,  2   2 "]
        );
        let small = multiply(&decimal("0.2"), &decimal("0.3")).unwrap().board();
        assert_eq!(Board::told(small.result().unwrap()), "0.06");
    }

    #[test]
    fn a_long_division_brings_digits_down() {
        let board = divide(&decimal("7.5"), &decimal("6"), 6).unwrap().board().unwrap();
        assert_eq!(
            drawn(&board),
            [
                " |  1 ,  2   5 ",
                " |  7 ,  5   o ",
                "−|  6   .   . ",
                " |  1   5   . ",
                "−|  1   2   . ",
                " |  .   3   0 ",
                "−|  .   3   0 ",
                " |  .   .   0 ",
            ]
        );
        let shifted = divide(&decimal("7.2"), &decimal("0.36"), 6).unwrap();
        assert_eq!(
            shifted.shifted().map(|(a, b)| (a.to_string(), b.to_string())),
            Some(("720".into(), "36".into()))
        );
        assert_eq!(Board::told(&shifted.board().unwrap().rows[0]), "20");
        let zero_inside = divide(&decimal("6.12"), &decimal("6"), 6).unwrap().board().unwrap();
        assert_eq!(Board::told(&zero_inside.rows[0]), "1.02");
        let below_one = divide(&decimal("0.15"), &decimal("3"), 6).unwrap().board().unwrap();
        assert_eq!(Board::told(&below_one.rows[0]), "0.05");
    }

    #[test]
    fn the_digit_that_decides_is_marked() {
        let rounded = looked_at(&decimal("4.68"), 2, Some(&decimal("4.7"))).unwrap();
        assert_eq!(drawn(&rounded), [" |  4 ,  6  [8]", " |  4 ,  7   . "]);
        let compared = under_each_other(&[decimal("0.35"), decimal("0.8")]).unwrap();
        assert_eq!(drawn(&compared), [" |  0 , [3]  5 ", " |  0 , [8]  o "]);
        let read = looked_at(&decimal("12.987"), 1, None).unwrap();
        assert_eq!(drawn(&read), [" |  1   2 , [9]  8   7 "]);
    }

    #[test]
    fn an_equal_shift_keeps_the_difference() {
        let shift = subtract(&decimal("31.42"), &decimal("9.97")).unwrap().equal_shift().unwrap();
        let told = [shift.shift, shift.low_raised, shift.high_raised, shift.difference]
            .map(|number| number.to_string());
        assert_eq!(told, ["0.03", "10", "31.45", "21.45"]);
        assert_eq!(subtract(&decimal("5.5"), &decimal("3")).unwrap().equal_shift(), None);
        assert_eq!(subtract(&decimal("14"), &decimal("13.99")).unwrap().equal_shift(), None);
    }

    proptest! {
        #[test]
        fn boards_say_what_was_worked(a in 0_i128..1_000_000, b in 1_i128..100_000, p in 0_u32..4, q in 0_u32..4, most in 0_u32..5) {
            let (x, y) = (Decimal::new(a, p).unwrap(), Decimal::new(b, q).unwrap());
            let sum = add(&[x, y]).unwrap();
            let (high, low) = if x >= y { (x, y) } else { (y, x) };
            let difference = subtract(&high, &low).unwrap();
            let product = multiply(&x, &y).unwrap();
            let checked = vec![
                (sum.board(), sum.result().unwrap(), vec![x, y]),
                (difference.board(), difference.result().unwrap(), vec![high, low]),
                (product.board(), product.result().unwrap(), vec![x, y]),
            ];
            for (board, result, operands) in checked {
                prop_assert_eq!(board.result().unwrap().numeral().unwrap(), result);
                let rows = board.rows.iter().filter(|row| row.role == Role::Operand);
                prop_assert_eq!(rows.map(|row| row.numeral().unwrap()).collect::<Vec<_>>(), operands);
                prop_assert!(board.rows.iter().all(|row| row.cells.len() == board.columns));
            }
            let division = divide(&x, &y, most).unwrap();
            if let Some(board) = division.board() {
                let told: Decimal = Board::told(&board.rows[0]).parse().unwrap();
                prop_assert_eq!(told, division.quotient());
                // What is left over at the end is nothing exactly where the division ends.
                let left = board.rows.last().unwrap().numeral().unwrap();
                prop_assert_eq!(left.is_zero(), division.is_exact());
            }
            if let Some(shift) = difference.equal_shift() {
                prop_assert_eq!(subtract(&shift.high_raised, &shift.low_raised).unwrap().result().unwrap(), shift.difference);
            }
        }
    }
}
