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
    expression::{Expression, Function, Names, Operation},
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
            Value::Relation(_) => Err(ArithmeticError::NestedComparison),
        },
    }
}

fn draw_call(
    function: Function,
    arguments: &[Expression],
    names: &Names,
    drawn: &mut Vec<String>,
) -> Result<Vec<String>, ArithmeticError> {
    if let (Function::Round, Some(places)) = (function, arguments[1].places_literal()) {
        return draw_rounding(&arguments[0], places, names, drawn);
    }
    let values = worked_out(&arguments.iter().collect::<Vec<_>>(), names, drawn)?;
    let (first, rest) = values.split_first().expect("the parser admits no empty call");
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
        assert_eq!(working("smallest_at_least(7.5, 12.5, 5, 10)"), ["5.0 < 7.5", "10.0 > 7.5"]);
    }
}
