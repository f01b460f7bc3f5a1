//! The working of an expression, operation by operation, as it is done on paper: lines of text in equal character
//! widths that need no language.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::Serialize;
use smallvec::SmallVec;
use smol_str::{SmolStr, format_smolstr};

use crate::{
    arithmetic::{ArithmeticError, Columns, Relation, Value, evaluate, prove},
    columns::{
        self, Addition, Division, Multiplication, Subtraction,
        board::{self, Board},
    },
    decimal::Decimal,
    expression::{Direction, Expression, Function, Names, Operation},
    misconceptions,
};

/// Everything that can be told of an expression.
#[derive(Clone, Debug, Serialize)]
pub struct Worked {
    /// The expression, as read.
    pub expression: String,
    /// Its proven value: a decimal, or `<`, `=`, `>`.
    pub answer: String,
    /// The working, a line each.
    pub working: Vec<SmolStr>,
    /// What each misconception would give, equal answers gathered.
    pub predicted: Vec<WorkedPrediction>,
}

/// A wrong answer of a worked expression.
#[derive(Clone, Debug, Serialize)]
pub struct WorkedPrediction {
    /// The misconceptions that lead to it, joined by ` | `.
    pub misconception: SmolStr,
    /// The wrong answer.
    pub answer: String,
}

/// Works an expression of literals: proves its value, draws the working, predicts wrong answers.
///
/// # Errors
/// [`ArithmeticError`] where there is no value.
///
/// # Example
/// ```
/// let worked = qbank::working::work(&"9.04 - 3.28".parse()?)?;
/// assert_eq!(worked.answer, "5.76");
/// let skipping = worked.predicted.iter().find(|wrong| wrong.misconception.contains("subtract-skips-zero"));
/// assert_eq!(skipping.expect("it fires").answer, "4.86");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn work(expression: &Expression) -> Result<Worked, ArithmeticError> {
    let names = Names::new();
    let answer = prove(expression, &names)?;
    let predicted = misconceptions::predict_all(misconceptions::all(), expression, &names);
    Ok(Worked {
        expression: expression.to_string(),
        answer: answer.to_string(),
        working: lines(expression, &names)?,
        predicted: predicted
            .iter()
            .map(|wrong| WorkedPrediction { misconception: wrong.joined(), answer: wrong.value.to_string() })
            .collect(),
    })
}

/// One operation of a working, worked: what lines of text and pictures are drawn from.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub enum Block {
    /// A column addition.
    Addition(Addition),
    /// A column subtraction.
    Subtraction(Subtraction),
    /// A long multiplication.
    Multiplication(Multiplication),
    /// A division, and what its quotient is rounded to, if it is.
    Division(Division, Option<Decimal>),
    /// A number, the places that are kept, and what it is rounded to.
    Rounding(Decimal, u32, Decimal),
    /// Two numbers with the relation between them.
    Comparison(Decimal, Relation, Decimal),
    /// Limits that are tried one after the other until one is large enough for the last number.
    Limits(Vec<Decimal>, Decimal),
    /// Numbers in the order asked for.
    Row(Direction, Vec<Decimal>),
    /// Numbers from the smallest to the largest, to find the smallest or the largest.
    Sorted(Vec<Decimal>),
    /// A number and a place that is pointed at, counted from the point to the right, 0 for the ones.
    Place(Decimal, u32),
    /// A number and what its digits are worth.
    Worth(Decimal),
}

/// The working of an expression, inner operations first, an empty line between two of them.
///
/// # Errors
/// [`ArithmeticError`] where a part has no value.
pub fn lines(expression: &Expression, names: &Names) -> Result<Vec<SmolStr>, ArithmeticError> {
    let mut lines = Vec::new();
    for block in blocks(expression, names)? {
        if lines.is_empty() {
            lines = block.lines()?;
        } else {
            lines.push(SmolStr::default());
            lines.extend(block.lines()?);
        }
    }
    Ok(lines)
}

/// The working of an expression, operation by operation, inner ones first.
///
/// # Errors
/// [`ArithmeticError`] where a part has no value.
///
/// # Example
/// ```
/// use qbank::{expression::Names, working::{Block, blocks}};
/// let blocks = blocks(&"9.04 - 3.28".parse()?, &Names::new())?;
/// let [Block::Subtraction(worked)] = blocks.as_slice() else { panic!("one subtraction") };
/// assert_eq!(worked.board().result().map(|row| row.numeral()), Some(Ok("5.76".parse()?)));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn blocks(expression: &Expression, names: &Names) -> Result<Vec<Block>, ArithmeticError> {
    let mut drawn = Vec::new();
    draw(expression, names, &mut drawn)?;
    // A numeral alone is to be read or written: show what its digits are worth.
    if let Expression::Name(_) | Expression::Literal(_) = expression {
        let number = value_as_written(expression, names)?;
        if number.places() > 0 && !number.is_negative() {
            drawn.push(Block::Worth(number));
        }
    }
    Ok(drawn)
}

impl Block {
    /// The working, a line of text each, in equal character widths.
    ///
    /// # Errors
    /// [`ArithmeticError::NotADecimal`] where a number with more places is too long.
    pub fn lines(&self) -> Result<Vec<SmolStr>, ArithmeticError> {
        Ok(match self {
            Self::Addition(addition) => addition.drawn(),
            Self::Subtraction(subtraction) => subtraction.drawn(),
            Self::Multiplication(multiplication) => multiplication.drawn(),
            Self::Division(division, rounded) => {
                let rounded = rounded.map(|rounded| format_smolstr!("≈ {rounded}"));
                division.drawn().into_iter().chain(rounded).collect()
            }
            Self::Rounding(number, _, rounded) => alloc::vec![format_smolstr!("{number} ≈ {rounded}")],
            Self::Comparison(left, _, right) => alloc::vec![compared(left, right)?],
            Self::Limits(limits, number) => {
                limits.iter().map(|limit| compared(limit, number)).collect::<Result<_, _>>()?
            }
            Self::Row(direction, numbers) => alloc::vec![in_a_row(*direction, numbers)?.into()],
            Self::Sorted(numbers) => {
                alloc::vec![numbers.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ≤ ").into()]
            }
            Self::Place(number, place) => pointed_at(number, *place),
            Self::Worth(number) => {
                let parts = format!("{}/{}", number.fraction_units(), 10_u128.pow(number.places()));
                alloc::vec![format_smolstr!("{number} = {} + {parts}", number.whole_part())]
            }
        })
    }

    /// The block as a picture in columns; `None` where it needs none, or is too long.
    #[must_use]
    pub fn board(&self) -> Option<Board> {
        match self {
            Self::Addition(addition) => Some(addition.board()),
            Self::Subtraction(subtraction) => Some(subtraction.board()),
            Self::Multiplication(multiplication) => Some(multiplication.board()),
            Self::Division(division, _) => division.board(),
            // The digit right of the kept places decides.
            Self::Rounding(number, places, rounded) => board::looked_at(number, places + 1, Some(rounded)),
            Self::Comparison(left, _, right) => board::under_each_other(&[*left, *right]),
            Self::Row(_, numbers) | Self::Sorted(numbers) => board::under_each_other(numbers),
            Self::Place(number, place) => board::looked_at(number, *place, None),
            Self::Limits(..) | Self::Worth(_) => None,
        }
    }
}

fn draw(expression: &Expression, names: &Names, drawn: &mut Vec<Block>) -> Result<(), ArithmeticError> {
    let block = match expression {
        Expression::Literal(_) | Expression::Name(_) => return Ok(()),
        Expression::Binary(Operation::Add, ..) => {
            let addends = addends_of(expression);
            let values = worked_out(&addends, names, drawn)?;
            Block::Addition(columns::add(&values)?)
        }
        Expression::Binary(operation, left, right) => {
            let values = worked_out(&[&**left, &**right], names, drawn)?;
            match operation {
                Operation::Multiply => Block::Multiplication(columns::multiply(&values[0], &values[1])?),
                Operation::Divide => Block::Division(columns::divide(&values[0], &values[1], 6)?, None),
                Operation::Add | Operation::Subtract => {
                    Block::Subtraction(columns::subtract(&values[0], &values[1])?)
                }
            }
        }
        Expression::Call(function, arguments) => draw_call(*function, arguments, names, drawn)?,
        Expression::Comparison(left, right) => {
            let values = worked_out(&[&**left, &**right], names, drawn)?;
            Block::Comparison(values[0], columns::compare(&values[0], &values[1])?.into(), values[1])
        }
        Expression::Order(direction, values) => {
            worked_out(&values.iter().collect::<Vec<_>>(), names, drawn)?;
            let Value::Order(numbers) = evaluate(&Columns, expression, names)? else {
                return Err(ArithmeticError::NestedComparison);
            };
            Block::Row(*direction, numbers)
        }
    };
    drawn.push(block);
    Ok(())
}

/// The parts of `a + b + c`, in order: one column addition, as on paper.
pub(crate) fn addends_of(expression: &Expression) -> SmallVec<[&Expression; 4]> {
    fn gather<'e>(expression: &'e Expression, addends: &mut SmallVec<[&'e Expression; 4]>) {
        match expression {
            Expression::Binary(Operation::Add, left, right) => {
                gather(left, addends);
                gather(right, addends);
            }
            other => addends.push(other),
        }
    }
    let mut addends = SmallVec::new();
    gather(expression, &mut addends);
    addends
}

/// Draws the parts that need working first, and gives the values of all, names in their written form.
fn worked_out(
    parts: &[&Expression],
    names: &Names,
    drawn: &mut Vec<Block>,
) -> Result<SmallVec<[Decimal; 4]>, ArithmeticError> {
    parts
        .iter()
        .map(|part| {
            draw(part, names, drawn)?;
            value_as_written(part, names)
        })
        .collect()
}

fn value_as_written(part: &Expression, names: &Names) -> Result<Decimal, ArithmeticError> {
    match part {
        Expression::Literal(number) => Ok(*number),
        Expression::Name(name) => {
            names.get(name).copied().ok_or_else(|| ArithmeticError::UnknownName { name: name.clone().into() })
        }
        _ => match evaluate(&Columns, part, names)? {
            Value::Number(number) => Ok(number),
            Value::Relation(_) | Value::Order(_) => Err(ArithmeticError::NestedComparison),
        },
    }
}

fn draw_call(
    function: Function,
    arguments: &[Expression],
    names: &Names,
    drawn: &mut Vec<Block>,
) -> Result<Block, ArithmeticError> {
    let place = arguments.get(1).and_then(Expression::places_literal);
    if let (Function::Round, Some(places)) = (function, place) {
        return draw_rounding(&arguments[0], places, names, drawn);
    }
    // The whole part or a digit of a quotient: its division is carried as far as that place, and no further.
    if let (Function::Whole | Function::Digit, Expression::Binary(Operation::Divide, left, right)) =
        (function, &arguments[0])
    {
        let values = worked_out(&[&**left, &**right], names, drawn)?;
        return Ok(Block::Division(columns::divide(&values[0], &values[1], place.unwrap_or(0))?, None));
    }
    if let (Function::Digit, Some(place)) = (function, place) {
        let number = worked_out(&[&arguments[0]], names, drawn)?[0];
        return Ok(Block::Place(number, place));
    }
    let values = worked_out(&arguments.iter().collect::<Vec<_>>(), names, drawn)?;
    let (first, rest) = values.split_first().expect("the parser admits no empty call");
    if function == Function::Whole {
        return Ok(Block::Place(*first, 0));
    }
    if function == Function::SmallestAtLeast {
        let mut limits = rest.to_vec();
        limits.sort_unstable();
        // Up to the first limit that suffices, as one looks for it.
        let enough = limits.iter().position(|limit| limit >= first).map_or(limits.len(), |index| index + 1);
        limits.truncate(enough);
        return Ok(Block::Limits(limits, *first));
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    Ok(Block::Sorted(sorted))
}

fn draw_rounding(
    part: &Expression,
    places: u32,
    names: &Names,
    drawn: &mut Vec<Block>,
) -> Result<Block, ArithmeticError> {
    let rounded = evaluate(
        &Columns,
        &Expression::Call(Function::Round, alloc::vec![part.clone(), Expression::Literal(places.into())]),
        names,
    )?;
    let Value::Number(rounded) = rounded else { return Err(ArithmeticError::NestedComparison) };
    // A quotient that does not end has no value of its own; its division shows it.
    if let Expression::Binary(Operation::Divide, left, right) = part {
        let values = worked_out(&[&**left, &**right], names, drawn)?;
        return Ok(Block::Division(columns::divide(&values[0], &values[1], places + 1)?, Some(rounded)));
    }
    draw(part, names, drawn)?;
    Ok(Block::Rounding(value_as_written(part, names)?, places, rounded))
}

/// The number and a mark under the digit at a place.
fn pointed_at(number: &Decimal, place: u32) -> Vec<SmolStr> {
    let places = number.places().max(place);
    let told = number.with_places(places).unwrap_or(*number).printed();
    // The point stands between the ones and the tenths.
    let behind = (places - place) as usize + usize::from(place == 0 && places > 0);
    let mark = format_smolstr!("{}^", " ".repeat(told.len() - behind - 1));
    alloc::vec![told, mark]
}

/// `0.35 < 0.53 < 0.80`, all with the same number of places.
fn in_a_row(direction: Direction, numbers: &[Decimal]) -> Result<String, ArithmeticError> {
    let places = numbers.iter().map(Decimal::places).max().unwrap_or(0);
    let filled: Option<Vec<String>> =
        numbers.iter().map(|number| Some(number.with_places(places)?.to_string())).collect();
    let sign = match direction {
        Direction::Ascending => " < ",
        Direction::Descending => " > ",
    };
    Ok(filled.ok_or(ArithmeticError::NotADecimal)?.join(sign))
}

/// `0.35 < 0.80`: both with the same number of places, so that digits of one place can be compared.
fn compared(left: &Decimal, right: &Decimal) -> Result<SmolStr, ArithmeticError> {
    let places = left.places().max(right.places());
    let filled = |number: &Decimal| number.with_places(places).ok_or(ArithmeticError::NotADecimal);
    let relation = Relation::from(columns::compare(left, right)?);
    Ok(format_smolstr!("{} {relation} {}", filled(left)?, filled(right)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn working(text: &str) -> Vec<SmolStr> {
        work(&text.parse().unwrap()).unwrap().working
    }

    #[test]
    fn works_inner_operations_first() {
        let sum = ["  1.25", "+ 2.50", "------", "  3.75", ""];
        let difference =
            ["    0  9   9 10", "    1  0.  0  0", "−      3.  7  5", "---------------", "       6.  2  5"];
        assert_eq!(working("10 - (1.25 + 2.5)"), [sum, difference].concat());
    }

    #[test]
    fn adds_a_chain_in_one_working() {
        assert_eq!(
            working("18.49 + 8.92 + 1.65"),
            ["  12 1", "  18.49", "   8.92", "+  1.65", "-------", "  29.06"]
        );
    }

    #[test]
    fn shows_comparisons_and_roundings() {
        assert_eq!(working("0.35 ? 0.8"), ["0.35 < 0.80"]);
        assert_eq!(working("round(4.68, 1)"), ["4.68 ≈ 4.7"]);
        assert_eq!(working("round(2 / 3, 2)"), ["2 ÷ 3 = 0.666…", "≈ 0.67"]);
        assert_eq!(working("descending(0.35, 0.8, 0.6)"), ["0.80 > 0.60 > 0.35"]);
        assert_eq!(working("digit(12.987, 2)"), ["12.987", "    ^"]);
        assert_eq!(working("whole(12.987)"), ["12.987", " ^"]);
        assert_eq!(working("3.45"), ["3.45 = 3 + 45/100"]);
        assert!(working("whole(2 / 0.65)").iter().any(|line| line.contains('3')));
        assert_eq!(working("smallest_at_least(7.5, 12.5, 5, 10)"), ["5.0 < 7.5", "10.0 > 7.5"]);
    }
}
