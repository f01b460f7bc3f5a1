//! Schoolbook column working: digits under each other, lined up by place, worked from the right.
//!
//! The second route to every answer, the working that a pupil is shown, and the machine that misconceptions bend. It
//! works on single digits with carries and exchanges, as on paper, and shares no arithmetic with the other routes in
//! [`crate::arithmetic`]. It knows nothing of stories, locales or wrong answers.
pub mod board;

use alloc::{format, vec::Vec};
use core::cmp::Ordering;

use smol_str::{SmolStr, SmolStrBuilder, format_smolstr};

use crate::decimal::{Decimal, MAX_DIGITS, split};

/// Most columns a working may have; a product of two numerals may need a few more than [`MAX_DIGITS`].
pub const MAX_COLUMNS: usize = MAX_DIGITS + 4;

/// The digits of one row; column 0 is the rightmost.
pub type Digits = [u8; MAX_COLUMNS];

/// One numeral in a grid of columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// Digits by column, zero where nothing is written.
    pub digits: Digits,
    /// The columns in which a digit is really written: from the lowest (inclusive) to the highest (exclusive).
    /// Zeros outside it were annexed to fill the grid.
    pub written: (usize, usize),
}

/// Numerals lined up by place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grid {
    /// Columns right of the point.
    pub places: usize,
    /// All columns.
    pub columns: usize,
}

/// Two numerals lined up by place, ready to be worked.
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    /// Where the point stands and how many columns there are.
    pub grid: Grid,
    /// The first numeral.
    pub top: Row,
    /// The second numeral.
    pub bottom: Row,
}

/// A worked addition.
#[derive(Clone, Debug)]
pub struct Addition {
    grid: Grid,
    rows: Vec<Row>,
    /// What was carried into each column.
    carries: Digits,
    sum: Digits,
}

/// A worked subtraction.
#[derive(Clone, Debug)]
pub struct Subtraction {
    pair: Pair,
    /// The top digit of each column after exchanges (up to 19), where it changed.
    exchanged: [Option<u8>; MAX_COLUMNS],
    difference: Digits,
}

/// A worked long multiplication.
#[derive(Clone, Debug)]
pub struct Multiplication {
    factors: (Decimal, Decimal),
    /// One partial product for each digit of the second factor, from its last digit on, already moved to its place.
    partials: Vec<u128>,
    product: u128,
    places: u32,
}

/// A worked division.
#[derive(Clone, Debug)]
pub struct Division {
    dividend: Decimal,
    divisor: Decimal,
    quotient: Decimal,
    exact: bool,
}

/// Why columns cannot be worked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ColumnError {
    /// Column working is taught for numbers from zero up.
    #[error("column working needs numbers that are not negative")]
    Negative,
    /// The bottom number is larger than the top one.
    #[error("the number taken away is larger than the number it is taken from")]
    BelowZero,
    /// Nothing is divided by zero.
    #[error("division by zero")]
    DivisionByZero,
    /// More than [`MAX_DIGITS`] digits.
    #[error("the working needs more than {MAX_DIGITS} digits")]
    TooLong,
}

impl Row {
    /// A numeral in a grid with so many places.
    fn written(numeral: &Decimal, places: usize) -> Self {
        let lowest = places - numeral.places() as usize;
        let mut digits = [0; MAX_COLUMNS];
        let count = numeral.write_digits(&mut digits[lowest..]);
        Self { digits, written: (lowest, lowest + count) }
    }
}

impl Grid {
    /// The smallest grid that holds all the numerals.
    ///
    /// # Errors
    /// [`ColumnError::Negative`] for a negative numeral, [`ColumnError::TooLong`] if together they need more than
    /// [`MAX_DIGITS`] columns.
    pub fn around(numerals: &[Decimal]) -> Result<Self, ColumnError> {
        if numerals.iter().any(Decimal::is_negative) {
            return Err(ColumnError::Negative);
        }
        let places = numerals.iter().map(|numeral| numeral.places() as usize).max().unwrap_or(0);
        let whole = numerals.iter().map(|numeral| numeral.whole_digits() as usize).max().unwrap_or(1);
        if places + whole > MAX_DIGITS {
            return Err(ColumnError::TooLong);
        }
        Ok(Self { places, columns: places + whole })
    }

    /// Writes a numeral into the grid.
    #[must_use]
    pub fn row(&self, numeral: &Decimal) -> Row {
        Row::written(numeral, self.places)
    }

    /// Reads digits of this grid as a numeral with all of its places.
    ///
    /// # Errors
    /// [`ColumnError::TooLong`].
    pub fn numeral(&self, digits: &Digits) -> Result<Decimal, ColumnError> {
        let highest = first_column(digits).map_or(0, |column| column + 1);
        let written = digits[..highest].iter().rev();
        // Seventeen columns fit 64 bits, whatever stands in them.
        let units = if highest <= 17 {
            written.fold(0_i64, |sum, digit| sum * 10 + i64::from(*digit)).into()
        } else {
            written.fold(0_i128, |sum, digit| sum * 10 + i128::from(*digit))
        };
        let places = u32::try_from(self.places).map_err(|_| ColumnError::TooLong)?;
        Decimal::new(units, places).map_err(|_| ColumnError::TooLong)
    }
}

impl Pair {
    /// Lines two numerals up by place.
    ///
    /// # Errors
    /// As [`Grid::around`].
    pub fn lined_up(top: &Decimal, bottom: &Decimal) -> Result<Self, ColumnError> {
        let (grid, [top, bottom]) = lined_up([top, bottom])?;
        Ok(Self { grid, top, bottom })
    }
}

/// Lines numerals up by place, as [`Grid::around`] and [`Grid::row`] do; each is parted into its digits once.
fn lined_up<const COUNT: usize>(numerals: [&Decimal; COUNT]) -> Result<(Grid, [Row; COUNT]), ColumnError> {
    if numerals.iter().any(|numeral| numeral.is_negative()) {
        return Err(ColumnError::Negative);
    }
    let places = numerals.iter().fold(0, |most, numeral| most.max(numeral.places() as usize));
    let rows = numerals.map(|numeral| Row::written(numeral, places));
    let columns = rows.iter().fold(0, |most, row| most.max(row.written.1));
    if columns > MAX_DIGITS {
        return Err(ColumnError::TooLong);
    }
    Ok((Grid { places, columns }, rows))
}

/// Adds numerals in columns.
///
/// # Errors
/// As [`Grid::around`]; [`ColumnError::TooLong`] if the sum outgrows [`MAX_DIGITS`] or a carry its digit (more than
/// eleven addends can do that).
///
/// # Example
/// ```
/// use qbank::{columns, decimal::Decimal};
/// let numbers: [Decimal; 2] = ["4.6".parse()?, "0.75".parse()?];
/// let addition = columns::add(&numbers)?;
/// assert_eq!(addition.result()?.to_string(), "5.35");
/// assert_eq!(addition.drawn(), ["  1", "  4.60", "+ 0.75", "------", "  5.35"]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn add(numerals: &[Decimal]) -> Result<Addition, ColumnError> {
    let (mut grid, rows) = match numerals {
        [one, other] => lined_up([one, other]).map(|(grid, rows)| (grid, rows.to_vec()))?,
        _ => {
            let grid = Grid::around(numerals)?;
            (grid, numerals.iter().map(|numeral| grid.row(numeral)).collect())
        }
    };
    let (sum, carries) = worked_columns(&mut grid, &rows)?;
    Ok(Addition { grid, rows, carries, sum })
}

/// The sum of two numerals by the same columns, without the working to draw.
///
/// # Errors
/// As [`add`].
pub(crate) fn sum(left: &Decimal, right: &Decimal) -> Result<Decimal, ColumnError> {
    let Pair { mut grid, top, bottom } = Pair::lined_up(left, right)?;
    let (sum, _) = worked_columns(&mut grid, &[top, bottom])?;
    grid.numeral(&sum)
}

/// How many columns of the sum of two numerals carry.
///
/// # Errors
/// As [`add`].
pub(crate) fn carries_of(left: &Decimal, right: &Decimal) -> Result<usize, ColumnError> {
    let Pair { mut grid, top, bottom } = Pair::lined_up(left, right)?;
    let (_, carries) = worked_columns(&mut grid, &[top, bottom])?;
    Ok(carries.iter().filter(|carry| **carry > 0).count())
}

/// The sum of rows and what was carried into each column. The grid grows by the columns that the sum needs.
fn worked_columns(grid: &mut Grid, rows: &[Row]) -> Result<(Digits, Digits), ColumnError> {
    let mut carries = [0; MAX_COLUMNS];
    let mut sum = [0; MAX_COLUMNS];
    for column in 0..MAX_COLUMNS - 1 {
        // Left of the grid there is only what is carried.
        if column >= grid.columns && carries[column] == 0 {
            break;
        }
        let total =
            rows.iter().map(|row| u32::from(row.digits[column])).sum::<u32>() + u32::from(carries[column]);
        sum[column] = u8::try_from(total % 10).map_err(|_| ColumnError::TooLong)?;
        carries[column + 1] =
            u8::try_from(total / 10).ok().filter(|carry| *carry < 10).ok_or(ColumnError::TooLong)?;
    }
    grid.columns = grid.columns.max(first_column(&sum).unwrap_or(0) + 1);
    Ok((sum, carries))
}

/// The leftmost column with a digit other than zero; sixteen columns are looked at in one step.
fn first_column(digits: &Digits) -> Option<usize> {
    let halves = digits.as_chunks::<16>().0.iter().map(|half| u128::from_le_bytes(*half)).enumerate();
    let (half, written) = halves.rev().find(|(_, written)| *written > 0)?;
    Some(16 * half + written.ilog2() as usize / 8)
}

/// Takes `bottom` from `top` in columns, exchanging from the left where a digit does not suffice.
///
/// # Errors
/// As [`Grid::around`]; [`ColumnError::BelowZero`] if `bottom` is larger.
pub fn subtract(top: &Decimal, bottom: &Decimal) -> Result<Subtraction, ColumnError> {
    let pair = Pair::lined_up(top, bottom)?;
    let mut now = pair.top.digits;
    let mut exchanged = [None; MAX_COLUMNS];
    let mut difference = [0; MAX_COLUMNS];
    for column in 0..pair.grid.columns {
        if now[column] < pair.bottom.digits[column] {
            let lender =
                (column + 1..pair.grid.columns).find(|left| now[*left] > 0).ok_or(ColumnError::BelowZero)?;
            now[lender] -= 1;
            exchanged[lender] = Some(now[lender]);
            // Each zero between becomes ten and lends one on at once: nine is left.
            for between in column + 1..lender {
                now[between] = 9;
                exchanged[between] = Some(9);
            }
            now[column] += 10;
            exchanged[column] = Some(now[column]);
        }
        difference[column] = now[column] - pair.bottom.digits[column];
    }
    Ok(Subtraction { pair, exchanged, difference })
}

/// Multiplies digit by digit, as in long multiplication, and counts the places of both factors for the point.
///
/// # Errors
/// [`ColumnError::Negative`], [`ColumnError::TooLong`].
pub fn multiply(left: &Decimal, right: &Decimal) -> Result<Multiplication, ColumnError> {
    if left.is_negative() || right.is_negative() {
        return Err(ColumnError::Negative);
    }
    let places = left.places() + right.places();
    let mut partials = Vec::new();
    let mut rest = right.point_removed();
    let mut place_value = 1_u128;
    loop {
        partials.push(times_digit(left.point_removed(), rest % 10, place_value)?);
        rest /= 10;
        if rest == 0 {
            break;
        }
        place_value = place_value.checked_mul(10).ok_or(ColumnError::TooLong)?;
    }
    let product = partials
        .iter()
        .try_fold(0_u128, |sum, partial| sum.checked_add(*partial))
        .ok_or(ColumnError::TooLong)?;
    Ok(Multiplication { factors: (*left, *right), partials, product, places })
}

/// Multiplies a whole number by one digit, column by column with carries, then moves it to its place.
fn times_digit(number: u128, digit: u128, place_value: u128) -> Result<u128, ColumnError> {
    let (mut rest, mut carry, mut column, mut sum) = (number, 0, place_value, 0_u128);
    while rest > 0 || carry > 0 {
        let here = rest % 10 * digit + carry;
        let written = (here % 10).checked_mul(column).ok_or(ColumnError::TooLong)?;
        sum = sum.checked_add(written).ok_or(ColumnError::TooLong)?;
        carry = here / 10;
        rest /= 10;
        if rest > 0 || carry > 0 {
            column = column.checked_mul(10).ok_or(ColumnError::TooLong)?;
        }
    }
    Ok(sum)
}

/// Divides by long division: both numbers are made whole by an equal shift, then one digit after the other is
/// brought down. Stops when nothing is left over, or after `most_places` places, cut off there.
///
/// # Errors
/// [`ColumnError::Negative`], [`ColumnError::DivisionByZero`], [`ColumnError::TooLong`].
pub fn divide(dividend: &Decimal, divisor: &Decimal, most_places: u32) -> Result<Division, ColumnError> {
    if dividend.is_negative() || divisor.is_negative() {
        return Err(ColumnError::Negative);
    }
    let places = dividend.places().max(divisor.places());
    let whole =
        |numeral: &Decimal| numeral.units_at(places).map(i128::unsigned_abs).ok_or(ColumnError::TooLong);
    let (number, by) = (whole(dividend)?, whole(divisor)?);
    if by == 0 {
        return Err(ColumnError::DivisionByZero);
    }
    let mut quotient = 0_i128;
    let mut left_over = 0_u128;
    let mut bring_down = |digit: u128, quotient: &mut i128| {
        left_over =
            left_over.checked_mul(10).and_then(|tens| tens.checked_add(digit)).ok_or(ColumnError::TooLong)?;
        let mut times = 0;
        while left_over >= by {
            left_over -= by;
            times += 1;
        }
        *quotient =
            quotient.checked_mul(10).and_then(|tens| tens.checked_add(times)).ok_or(ColumnError::TooLong)?;
        Ok(left_over == 0)
    };
    let mut exact = true;
    let mut power = 10_u128.pow(number.checked_ilog10().unwrap_or(0));
    while power > 0 {
        exact = bring_down(number / power % 10, &mut quotient)?;
        power /= 10;
    }
    let mut quotient_places = 0;
    while !exact && quotient_places < most_places {
        exact = bring_down(0, &mut quotient)?;
        quotient_places += 1;
    }
    let quotient = Decimal::new(quotient, quotient_places).map_err(|_| ColumnError::TooLong)?;
    Ok(Division { dividend: *dividend, divisor: *divisor, quotient, exact })
}

/// Rounds half up by looking at the digit right of the place, rolling nines over. A numeral with fewer places gets
/// zeros.
///
/// # Errors
/// [`ColumnError::Negative`] (half up is taught for numbers from zero up), [`ColumnError::TooLong`].
pub fn round(numeral: &Decimal, places: u32) -> Result<Decimal, ColumnError> {
    if numeral.is_negative() {
        return Err(ColumnError::Negative);
    }
    let Some(dropped) = numeral.places().checked_sub(places) else {
        return numeral.with_places(places).ok_or(ColumnError::TooLong);
    };
    let kept = cut(numeral, places)?;
    let deciding = if dropped == 0 {
        0
    } else {
        numeral.digit(i32::try_from(places + 1).map_err(|_| ColumnError::TooLong)?)
    };
    if deciding < 5 {
        return Ok(kept);
    }
    let one = Decimal::new(1, places).map_err(|_| ColumnError::TooLong)?;
    add(&[kept, one])?.result()
}

/// The numeral with all digits after `places` places cut off, or zeros annexed.
///
/// # Errors
/// [`ColumnError::TooLong`].
pub fn cut(numeral: &Decimal, places: u32) -> Result<Decimal, ColumnError> {
    match numeral.places().checked_sub(places) {
        Some(dropped) => {
            let kept = split(numeral.units().unsigned_abs(), dropped).0;
            let kept = i128::try_from(kept).map_err(|_| ColumnError::TooLong)?;
            let kept = if numeral.is_negative() { -kept } else { kept };
            Decimal::new(kept, places).map_err(|_| ColumnError::TooLong)
        }
        None => numeral.with_places(places).ok_or(ColumnError::TooLong),
    }
}

/// Compares by place, from the highest column down: the first column that differs decides.
///
/// # Errors
/// As [`Grid::around`].
pub fn compare(left: &Decimal, right: &Decimal) -> Result<Ordering, ColumnError> {
    let pair = Pair::lined_up(left, right)?;
    let columns = (0..pair.grid.columns).rev();
    let differing = columns.map(|column| pair.top.digits[column].cmp(&pair.bottom.digits[column]));
    Ok(differing.into_iter().find(|order| *order != Ordering::Equal).unwrap_or(Ordering::Equal))
}

impl Addition {
    /// The sum, with as many places as the addend with the most.
    ///
    /// # Errors
    /// [`ColumnError::TooLong`].
    pub fn result(&self) -> Result<Decimal, ColumnError> {
        self.grid.numeral(&self.sum)
    }

    /// How many columns carry into the next one.
    #[must_use]
    pub fn carry_count(&self) -> usize {
        self.carries.iter().filter(|carry| **carry > 0).count()
    }

    /// Whether the tenths carry into the ones.
    #[must_use]
    pub fn carries_at_point(&self) -> bool {
        self.grid.places > 0 && self.carries[self.grid.places] > 0
    }

    /// The working, a line of text each, in equal character widths: carries, addends with annexed zeros, rule, sum.
    #[must_use]
    pub fn drawn(&self) -> Vec<SmolStr> {
        let mut lines = Vec::with_capacity(self.rows.len() + 3);
        if self.carry_count() > 0 {
            let carried = |column: usize| (self.carries[column] > 0).then(|| self.carries[column]);
            lines.push(draw_row(&self.grid, ' ', 1, carried, false));
        }
        for (index, row) in self.rows.iter().enumerate() {
            let sign = if index + 1 == self.rows.len() { '+' } else { ' ' };
            lines.push(draw_row(&self.grid, sign, 1, filled(&self.grid, row), true));
        }
        lines.push(rule(&self.grid, 1));
        lines.push(draw_row(&self.grid, ' ', 1, shown(&self.grid, &self.sum), true));
        lines
    }
}

impl Subtraction {
    /// The difference, with as many places as the numeral with the most.
    ///
    /// # Errors
    /// [`ColumnError::TooLong`].
    pub fn result(&self) -> Result<Decimal, ColumnError> {
        self.pair.grid.numeral(&self.difference)
    }

    /// How many columns needed an exchange.
    #[must_use]
    pub fn exchange_count(&self) -> usize {
        self.exchanged.iter().filter(|digit| digit.is_some_and(|digit| digit >= 10)).count()
    }

    /// Whether an exchange had to cross a zero.
    #[must_use]
    pub fn crosses_zero(&self) -> bool {
        self.zeros_crossed() > 0
    }

    /// How many zeros the exchanges had to cross, annexed ones included.
    #[must_use]
    pub fn zeros_crossed(&self) -> usize {
        let turned_nine =
            |column: &usize| self.exchanged[*column] == Some(9) && self.pair.top.digits[*column] == 0;
        (0..self.pair.grid.columns).filter(turned_nine).count()
    }

    /// The working: the top digits after exchanges, the two numerals with annexed zeros, rule, difference.
    #[must_use]
    pub fn drawn(&self) -> Vec<SmolStr> {
        let grid = &self.pair.grid;
        // Exchanged digits go up to 19 and need two characters and a space between.
        let width = if self.exchange_count() > 0 { 3 } else { 1 };
        let mut lines = Vec::new();
        if self.exchange_count() > 0 {
            lines.push(draw_row(grid, ' ', width, |column| self.exchanged[column], false));
        }
        lines.push(draw_row(grid, ' ', width, filled(grid, &self.pair.top), true));
        lines.push(draw_row(grid, '−', width, filled(grid, &self.pair.bottom), true));
        lines.push(rule(grid, width));
        lines.push(draw_row(grid, ' ', width, shown(grid, &self.difference), true));
        lines
    }
}

impl Multiplication {
    /// The product, with the places of both factors together.
    ///
    /// # Errors
    /// [`ColumnError::TooLong`].
    pub fn result(&self) -> Result<Decimal, ColumnError> {
        let units = i128::try_from(self.product).map_err(|_| ColumnError::TooLong)?;
        Decimal::new(units, self.places).map_err(|_| ColumnError::TooLong)
    }

    /// The partial products as whole numbers, each moved to its place, from the last digit of the second factor on.
    #[must_use]
    pub fn partials(&self) -> &[u128] {
        &self.partials
    }

    /// The working: factors as whole numbers, partial products, their sum, then the point.
    #[must_use]
    pub fn drawn(&self) -> Vec<SmolStr> {
        let (left, right) = self.factors;
        let width = format!("{}", self.product).len().max(format!("{}", left.point_removed()).len()) + 2;
        let mut lines = alloc::vec![
            format_smolstr!("{:>width$}", left.point_removed()),
            format_smolstr!("×{:>rest$}", right.point_removed(), rest = width - 1),
            dashes(width),
        ];
        if self.partials.len() > 1 {
            lines.extend(self.partials.iter().map(|partial| format_smolstr!("{partial:>width$}")));
            lines.push(dashes(width));
        }
        lines.push(format_smolstr!("{:>width$}", self.product));
        if let Ok(product) = self.result() {
            lines.push(format_smolstr!("{left} × {right} = {product}"));
        }
        lines
    }
}

impl Division {
    /// The quotient, cut off after the places asked for if it does not end before.
    #[must_use]
    pub fn quotient(&self) -> Decimal {
        self.quotient
    }

    /// Whether nothing was left over.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        self.exact
    }

    /// The working: both numbers made whole by the same shift, then the quotient.
    #[must_use]
    pub fn drawn(&self) -> Vec<SmolStr> {
        let shift = self.divisor.normalized().places();
        let mut lines = Vec::new();
        let moved = |numeral: &Decimal| i32::try_from(shift).ok().and_then(|shift| numeral.shifted(shift));
        if shift > 0
            && let (Some(dividend), Some(divisor)) = (moved(&self.dividend), moved(&self.divisor))
        {
            let (dividend, divisor) = (dividend.normalized(), divisor.normalized());
            lines.push(format_smolstr!("{} ÷ {} = {dividend} ÷ {divisor}", self.dividend, self.divisor));
        }
        let more = if self.exact { "" } else { "…" };
        lines.push(format_smolstr!("{} ÷ {} = {}{more}", self.dividend, self.divisor, self.quotient));
        lines
    }
}

/// A row's digits with the zeros that fill the places up to the finest one.
fn filled<'r>(grid: &Grid, row: &'r Row) -> impl Fn(usize) -> Option<u8> + use<'r> {
    let fraction = grid.places;
    move |column| (column < fraction || column < row.written.1).then(|| row.digits[column])
}

/// A result's digits without zeros in front of the ones.
fn shown<'d>(grid: &Grid, digits: &'d Digits) -> impl Fn(usize) -> Option<u8> + use<'d> {
    let highest = (0..grid.columns).rev().find(|column| digits[*column] != 0).unwrap_or(0).max(grid.places);
    move |column| (column <= highest).then(|| digits[column])
}

fn draw_row(
    grid: &Grid,
    sign: char,
    width: usize,
    digit: impl Fn(usize) -> Option<u8>,
    with_point: bool,
) -> SmolStr {
    let mut line = SmolStrBuilder::new();
    line.push(sign);
    // Blanks are written when something follows them.
    let mut blanks = 1;
    for column in (0..grid.columns).rev() {
        let digit = digit(column);
        let written = digit.map_or(0, |digit| if digit > 9 { 2 } else { 1 });
        blanks += width.saturating_sub(written);
        if let Some(digit) = digit {
            (0..core::mem::take(&mut blanks)).for_each(|_| line.push(' '));
            if digit > 9 {
                line.push(char::from(b'0' + digit / 10));
            }
            line.push(char::from(b'0' + digit % 10));
        }
        if column == grid.places && grid.places > 0 {
            if with_point {
                line.push('.');
            } else {
                blanks += 1;
            }
        }
    }
    line.finish()
}

fn rule(grid: &Grid, width: usize) -> SmolStr {
    dashes(2 + grid.columns * width + usize::from(grid.places > 0))
}

fn dashes(count: usize) -> SmolStr {
    "-".repeat(count).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use proptest::prelude::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn draws_an_exchange_across_zero() {
        let worked = subtract(&decimal("9.04"), &decimal("3.28")).unwrap();
        assert_eq!(
            worked.drawn(),
            ["    8   9 14", "    9.  0  4", "−   3.  2  8", "------------", "    5.  7  6"]
        );
        assert_eq!(worked.exchange_count(), 1);
    }

    #[test]
    fn annexes_zeros_to_a_whole_number() {
        let worked = subtract(&decimal("20"), &decimal("14.65")).unwrap();
        assert_eq!(worked.result().unwrap().to_string(), "5.35");
        assert_eq!(subtract(&decimal("3.28"), &decimal("9.04")).unwrap_err(), ColumnError::BelowZero);
    }

    #[test]
    fn rounds_by_the_next_digit_and_rolls_nines_over() {
        // OpenStax Prealgebra 2e, section 5.1, answers as listed in the trade's worked examples.
        let published = [
            ("18.379", 2, "18.38"),
            ("0.845", 2, "0.85"),
            ("0.299", 2, "0.30"),
            ("4.098", 2, "4.10"),
            ("63.479", 0, "63"),
        ];
        for (numeral, places, rounded) in published {
            assert_eq!(round(&decimal(numeral), places).unwrap().to_string(), rounded);
        }
        assert_eq!(round(&decimal("9.96"), 1).unwrap().to_string(), "10.0");
    }

    #[test]
    fn draws_long_multiplication_and_division() {
        let product = multiply(&decimal("2.3"), &decimal("1.4")).unwrap();
        assert_eq!(
            product.drawn(),
            ["   23", "×  14", "-----", "   92", "  230", "-----", "  322", "2.3 × 1.4 = 3.22"]
        );
        let division = divide(&decimal("7.2"), &decimal("0.36"), 9).unwrap();
        assert_eq!(division.drawn(), ["7.2 ÷ 0.36 = 720 ÷ 36", "7.2 ÷ 0.36 = 20"]);
        assert!(!divide(&decimal("1"), &decimal("3"), 4).unwrap().is_exact());
    }

    #[test]
    fn columns_that_hold_more_than_a_digit_are_read_at_every_length() {
        for columns in 1..=MAX_COLUMNS {
            let mut digits = [0; MAX_COLUMNS];
            digits[..columns].fill(u8::MAX);
            let ones = (0..columns).fold(0_i128, |ones, _| 10 * ones + 1);
            let read = Grid { places: 0, columns }.numeral(&digits);
            assert_eq!(read.ok(), Decimal::new(255 * ones, 0).ok(), "{columns} columns");
        }
    }

    proptest! {
        #[test]
        fn agrees_with_whole_number_arithmetic(a in 0_i128..10_000_000, b in 0_i128..10_000_000, p in 0_u32..5, q in 0_u32..5) {
            let (x, y) = (Decimal::new(a, p).unwrap(), Decimal::new(b, q).unwrap());
            let scale = |units: i128, places: u32| units * 10_i128.pow(5 - places);
            let sum = add(&[x, y]).unwrap().result().unwrap();
            prop_assert_eq!(sum.units_at(5).unwrap(), scale(a, p) + scale(b, q));
            let (high, low) = if x >= y { (x, y) } else { (y, x) };
            let difference = subtract(&high, &low).unwrap().result().unwrap();
            prop_assert_eq!(difference.units_at(5).unwrap(), (scale(a, p) - scale(b, q)).abs());
            let product = multiply(&x, &y).unwrap().result().unwrap();
            prop_assert_eq!(product.units_at(p + q).unwrap(), a * b);
            prop_assert_eq!(compare(&x, &y).unwrap(), scale(a, p).cmp(&scale(b, q)));
        }
    }
}
