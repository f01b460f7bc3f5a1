//! The working of an expression, operation by operation, as it is done on paper: lines of text in equal character
//! widths that need no language.
use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};

use serde::Serialize;

use crate::{
    arithmetic::{ArithmeticError, Columns, Value, evaluate, prove},
    columns,
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
    pub working: Vec<String>,
    /// What each misconception would give, equal answers gathered.
    pub predicted: Vec<WorkedPrediction>,
}

/// A wrong answer of a worked expression.
#[derive(Clone, Debug, Serialize)]
pub struct WorkedPrediction {
    /// The misconceptions that lead to it, joined by ` | `.
    pub misconception: String,
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

/// The working of an expression, inner operations first, an empty line between two of them.
///
/// # Errors
/// [`ArithmeticError`] where a part has no value.
pub fn lines(expression: &Expression, names: &Names) -> Result<Vec<String>, ArithmeticError> {
    let mut drawn = Vec::new();
    draw(expression, names, &mut drawn)?;
    // A numeral alone is to be read or written: show what its digits are worth.
    if let Expression::Name(_) | Expression::Literal(_) = expression {
        let number = value_as_written(expression, names)?;
        if number.places() > 0 && !number.is_negative() {
            let parts = format!("{}/{}", number.fraction_units(), 10_u128.pow(number.places()));
            drawn.push(format!("{number} = {} + {parts}", number.whole_part()));
        }
    }
    Ok(drawn)
}

fn draw(expression: &Expression, names: &Names, drawn: &mut Vec<String>) -> Result<(), ArithmeticError> {
    let block = match expression {
        Expression::Literal(_) | Expression::Name(_) => return Ok(()),
        Expression::Binary(Operation::Add, ..) => {
            let mut addends = Vec::new();
            gather_addends(expression, &mut addends);
            let values = worked_out(&addends, names, drawn)?;
            columns::add(&values)?.drawn()
        }
        Expression::Binary(operation, left, right) => {
            let values = worked_out(&[&**left, &**right], names, drawn)?;
            match operation {
                Operation::Multiply => columns::multiply(&values[0], &values[1])?.drawn(),
                Operation::Divide => columns::divide(&values[0], &values[1], 6)?.drawn(),
                Operation::Add | Operation::Subtract => columns::subtract(&values[0], &values[1])?.drawn(),
            }
        }
        Expression::Call(function, arguments) => draw_call(*function, arguments, names, drawn)?,
        Expression::Comparison(left, right) => {
            let values = worked_out(&[&**left, &**right], names, drawn)?;
            alloc::vec![compared(&values[0], &values[1])?]
        }
        Expression::Order(direction, values) => {
            worked_out(&values.iter().collect::<Vec<_>>(), names, drawn)?;
            alloc::vec![in_a_row(*direction, expression, names)?]
        }
    };
    if !drawn.is_empty() {
        drawn.push(String::new());
    }
    drawn.extend(block);
    Ok(())
}

/// The parts of `a + b + c`, in order: one column addition, as on paper.
pub(crate) fn gather_addends<'e>(expression: &'e Expression, addends: &mut Vec<&'e Expression>) {
    match expression {
        Expression::Binary(Operation::Add, left, right) => {
            gather_addends(left, addends);
            gather_addends(right, addends);
        }
        other => addends.push(other),
    }
}

/// Draws the parts that need working first, and gives the values of all, names in their written form.
fn worked_out(
    parts: &[&Expression],
    names: &Names,
    drawn: &mut Vec<String>,
) -> Result<Vec<Decimal>, ArithmeticError> {
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
            names.get(name).copied().ok_or_else(|| ArithmeticError::UnknownName { name: name.clone() })
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
    drawn: &mut Vec<String>,
) -> Result<Vec<String>, ArithmeticError> {
    let place = arguments.get(1).and_then(Expression::places_literal);
    if let (Function::Round, Some(places)) = (function, place) {
        return draw_rounding(&arguments[0], places, names, drawn);
    }
    // The whole part or a digit of a quotient: its division is carried as far as that place, and no further.
    if let (Function::Whole | Function::Digit, Expression::Binary(Operation::Divide, left, right)) =
        (function, &arguments[0])
    {
        let values = worked_out(&[&**left, &**right], names, drawn)?;
        return Ok(columns::divide(&values[0], &values[1], place.unwrap_or(0))?.drawn());
    }
    if let (Function::Digit, Some(place)) = (function, place) {
        let number = worked_out(&[&arguments[0]], names, drawn)?[0];
        return Ok(pointed_at(&number, place));
    }
    let values = worked_out(&arguments.iter().collect::<Vec<_>>(), names, drawn)?;
    let (first, rest) = values.split_first().expect("the parser admits no empty call");
    if function == Function::Whole {
        return Ok(pointed_at(first, 0));
    }
    if function == Function::SmallestAtLeast {
        let mut limits = rest.to_vec();
        limits.sort_unstable();
        // Up to the first limit that suffices, as one looks for it.
        let enough = limits.iter().position(|limit| limit >= first).map_or(limits.len(), |index| index + 1);
        return limits[..enough].iter().map(|limit| compared(limit, first)).collect();
    }
    let mut sorted = values.clone();
    sorted.sort_unstable();
    Ok(alloc::vec![sorted.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ≤ ")])
}

fn draw_rounding(
    part: &Expression,
    places: u32,
    names: &Names,
    drawn: &mut Vec<String>,
) -> Result<Vec<String>, ArithmeticError> {
    let rounded = evaluate(
        &Columns,
        &Expression::Call(Function::Round, alloc::vec![part.clone(), Expression::Literal(places.into())]),
        names,
    )?;
    // A quotient that does not end has no value of its own; its division shows it.
    if let Expression::Binary(Operation::Divide, left, right) = part {
        let values = worked_out(&[&**left, &**right], names, drawn)?;
        let mut lines = columns::divide(&values[0], &values[1], places + 1)?.drawn();
        lines.push(format!("≈ {rounded}"));
        return Ok(lines);
    }
    draw(part, names, drawn)?;
    Ok(alloc::vec![format!("{} ≈ {rounded}", value_as_written(part, names)?)])
}

/// The number and a mark under the digit at a place.
fn pointed_at(number: &Decimal, place: u32) -> Vec<String> {
    let places = number.places().max(place);
    let told = number.with_places(places).unwrap_or(*number).to_string();
    // The point stands between the ones and the tenths.
    let behind = (places - place) as usize + usize::from(place == 0 && places > 0);
    let mark = format!("{}^", " ".repeat(told.len() - behind - 1));
    alloc::vec![told, mark]
}

/// `0.35 < 0.53 < 0.80`, all with the same number of places.
fn in_a_row(direction: Direction, expression: &Expression, names: &Names) -> Result<String, ArithmeticError> {
    let Value::Order(numbers) = evaluate(&Columns, expression, names)? else {
        return Err(ArithmeticError::NestedComparison);
    };
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
fn compared(left: &Decimal, right: &Decimal) -> Result<String, ArithmeticError> {
    let places = left.places().max(right.places());
    let filled = |number: &Decimal| number.with_places(places).ok_or(ArithmeticError::NotADecimal);
    let relation = crate::arithmetic::Relation::from(columns::compare(left, right)?);
    Ok(format!("{} {relation} {}", filled(left)?, filled(right)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn working(text: &str) -> Vec<String> {
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
