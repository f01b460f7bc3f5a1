//! Workings in words: what a picture shows, a sentence each.

use qbank::arithmetic::Relation;
use qbank::columns::board::{Board, BoardRow, EqualShift, Mark, Role};
use qbank::columns::{Division, Multiplication};
use qbank::decimal::Decimal;
use qbank::expression::Direction;
use qbank::working::Block;

use super::working::Painter;

/// What a block is, as the title of its picture.
pub(super) fn title(painter: &Painter, block: &Block) -> String {
    let texts = painter.texts;
    match block {
        Block::Addition(_) => texts.say("drawings-title-add"),
        Block::Subtraction(_) => texts.say("drawings-title-subtract"),
        Block::Multiplication(_) => texts.say("drawings-title-multiply"),
        Block::Division(..) => texts.say("drawings-title-divide"),
        Block::Rounding(..) => texts.say("drawings-title-round"),
        Block::Comparison(..) | Block::Limits(..) => texts.say("drawings-title-compare"),
        Block::Row(..) | Block::Sorted(_) => texts.say("drawings-title-order"),
        _ => texts.say("drawings-title-place"),
    }
}

/// A block in words.
pub(super) fn sentences(painter: &Painter, block: &Block) -> Vec<String> {
    let texts = painter.texts;
    let board = block.board();
    let result = |id: &str| {
        let row = board.as_ref().and_then(Board::result);
        row.map(|row| texts.with(id, &[("number", painter.row(row).into())]))
    };
    match block {
        Block::Addition(_) => {
            let worked = board.as_ref().map(|board| lined_up(painter, board)).unwrap_or_default();
            worked.into_iter().chain(result("drawings-told-sum")).collect()
        }
        Block::Subtraction(_) => {
            let worked = board.as_ref().map(|board| lined_up(painter, board)).unwrap_or_default();
            worked.into_iter().chain(result("drawings-told-difference")).collect()
        }
        Block::Multiplication(worked) => multiplied(painter, worked),
        Block::Division(worked, rounded) => divided(painter, worked, rounded.as_ref()),
        Block::Rounding(number, _, rounded) => {
            let number = painter.number(number);
            let variables = [("number", number.into()), ("rounded", painter.number(rounded).into())];
            let told = texts.with("drawings-told-rounded", &variables);
            board.as_ref().and_then(|board| decides(painter, board)).into_iter().chain([told]).collect()
        }
        Block::Comparison(left, relation, right) => {
            let differing = board.as_ref().and_then(|board| first_difference(painter, board));
            differing.into_iter().chain([related(painter, left, *relation, right)]).collect()
        }
        Block::Limits(limits, number) => {
            limits.iter().map(|limit| related(painter, limit, limit.cmp(number).into(), number)).collect()
        }
        Block::Row(Direction::Descending, numbers) => {
            vec![row_of(painter, "drawings-told-descending", numbers)]
        }
        Block::Row(Direction::Ascending, numbers) | Block::Sorted(numbers) => {
            vec![row_of(painter, "drawings-told-ascending", numbers)]
        }
        Block::Place(number, _) => {
            let told = board.as_ref().and_then(|board| pointed_at(painter, board));
            vec![told.unwrap_or_else(|| painter.number(number))]
        }
        Block::Worth(number) => {
            let parts = format!("{}/{}", number.fraction_units(), 10_u128.pow(number.places()));
            let whole = number.whole_part().to_string();
            let variables =
                [("number", painter.number(number).into()), ("whole", whole.into()), ("parts", parts.into())];
            vec![texts.with("drawings-told-worth", &variables)]
        }
        // A block of a later version says itself.
        _ => block.lines().unwrap_or_default().into_iter().map(Into::into).collect(),
    }
}

/// An equal shift in words.
pub(super) fn shift(painter: &Painter, shift: &EqualShift) -> String {
    let number = |number: &Decimal| painter.number(number).into();
    painter.texts.with(
        "drawings-told-shift",
        &[
            ("low", number(&shift.low)),
            ("high", number(&shift.high)),
            ("shift", number(&shift.shift)),
            ("lowRaised", number(&shift.low_raised)),
            ("highRaised", number(&shift.high_raised)),
            ("difference", number(&shift.difference)),
        ],
    )
}

impl Painter {
    /// The number of a row, its zeros included.
    fn row(&self, row: &BoardRow) -> String {
        Board::told(row).replace('.', &self.locale.point.to_string())
    }

    /// The name of the place that a column has.
    fn place(&self, column: usize, places: usize) -> String {
        let texts = self.texts;
        match (column.checked_sub(places), places.checked_sub(column)) {
            (Some(0), _) => texts.say("drawings-place-ones"),
            (Some(1), _) => texts.say("drawings-place-tens"),
            (Some(2), _) => texts.say("drawings-place-hundreds"),
            (Some(3), _) => texts.say("drawings-place-thousands"),
            (_, Some(1)) => texts.say("drawings-place-tenths"),
            (_, Some(2)) => texts.say("drawings-place-hundredths"),
            (_, Some(3)) => texts.say("drawings-place-thousandths"),
            (_, Some(4)) => texts.say("drawings-place-ten-thousandths"),
            _ => texts.say("drawings-place-other"),
        }
    }
}

/// Places of a board whose rows are lined up by place.
fn places_of(board: &Board) -> usize {
    board.rows.iter().filter_map(|row| row.point).max().unwrap_or(0)
}

/// Annexed zeros, carries and exchanges of an addition or a subtraction.
fn lined_up(painter: &Painter, board: &Board) -> Vec<String> {
    let texts = painter.texts;
    let places = places_of(board);
    let mut told = Vec::new();
    // A zero that was exchanged is struck, and still was annexed; the row's own zeros tell.
    if board.rows.iter().flat_map(|row| row.cells.iter().flatten()).any(|cell| cell.mark == Mark::Annexed) {
        told.push(texts.say("drawings-told-annexed"));
    }
    let top = board.rows.iter().find(|row| row.role == Role::Operand);
    for row in &board.rows {
        for (column, cell) in row.cells.iter().enumerate() {
            let Some(cell) = cell else { continue };
            let place = painter.place(column, places);
            let digit = cell.digit.to_string();
            match (row.role, top.and_then(|top| top.cells[column])) {
                (Role::Carries, _) => {
                    let variables = [("digit", digit.into()), ("place", place.into())];
                    told.push(texts.with("drawings-told-carry", &variables));
                }
                (Role::Exchanged, Some(old)) => {
                    let old = old.digit.to_string();
                    let variables = [("place", place.into()), ("old", old.into()), ("new", digit.into())];
                    told.push(texts.with("drawings-told-exchange", &variables));
                }
                _ => {}
            }
        }
    }
    told
}

fn multiplied(painter: &Painter, worked: &Multiplication) -> Vec<String> {
    let texts = painter.texts;
    let (left, right) = worked.factors();
    let places = left.places() + right.places();
    let counted = (places > 0).then(|| texts.with("drawings-told-places", &[("places", places.into())]));
    let product = worked.result().ok().map(|product| {
        let variables = [("number", painter.number(&product).into())];
        texts.with("drawings-told-product", &variables)
    });
    counted.into_iter().chain(product).collect()
}

fn divided(painter: &Painter, worked: &Division, rounded: Option<&Decimal>) -> Vec<String> {
    let texts = painter.texts;
    let mut told = Vec::new();
    if let (1.., Some((dividend, divisor))) = (worked.shift(), worked.shifted()) {
        let (from, by) = worked.numbers();
        let times = 10_u64.checked_pow(worked.shift()).unwrap_or(u64::MAX);
        told.push(texts.with(
            "drawings-told-made-whole",
            &[
                ("times", times.into()),
                ("from", painter.number(&from).into()),
                ("by", painter.number(&by).into()),
                ("to", painter.number(&dividend.normalized()).into()),
                ("whole", painter.number(&divisor).into()),
            ],
        ));
    }
    let variables = [("number", painter.number(&worked.quotient()).into())];
    told.push(if worked.is_exact() {
        texts.with("drawings-told-quotient", &variables)
    } else {
        texts.with("drawings-told-quotient-begins", &variables)
    });
    told.extend(rounded.map(|rounded| {
        texts.with("drawings-told-quotient-rounded", &[("number", painter.number(rounded).into())])
    }));
    told
}

/// The marked digit of a row, with its column.
fn marked(board: &Board) -> Option<(usize, u8)> {
    let cells = board.rows.first()?.cells.iter().enumerate();
    cells
        .filter_map(|(column, cell)| Some((column, (*cell)?)))
        .find_map(|(column, cell)| (cell.mark == Mark::Deciding).then_some((column, cell.digit)))
}

fn decides(painter: &Painter, board: &Board) -> Option<String> {
    let (column, digit) = marked(board)?;
    let place = painter.place(column, places_of(board));
    let variables = [("digit", digit.to_string().into()), ("place", place.into())];
    Some(if digit < 5 {
        painter.texts.with("drawings-told-decides-down", &variables)
    } else {
        painter.texts.with("drawings-told-decides-up", &variables)
    })
}

fn pointed_at(painter: &Painter, board: &Board) -> Option<String> {
    let (column, digit) = marked(board)?;
    let place = painter.place(column, places_of(board));
    let number = painter.row(board.rows.first()?);
    let variables = [("number", number.into()), ("digit", digit.to_string().into()), ("place", place.into())];
    Some(painter.texts.with("drawings-told-place", &variables))
}

fn first_difference(painter: &Painter, board: &Board) -> Option<String> {
    let Some((column, _)) = marked(board) else { return Some(painter.texts.say("drawings-told-alike")) };
    let place = painter.place(column, places_of(board));
    Some(painter.texts.with("drawings-told-differ", &[("place", place.into())]))
}

fn related(painter: &Painter, left: &Decimal, relation: Relation, right: &Decimal) -> String {
    let variables = [("left", painter.number(left).into()), ("right", painter.number(right).into())];
    match relation {
        Relation::Less => painter.texts.with("drawings-told-less", &variables),
        Relation::Equal => painter.texts.with("drawings-told-equal", &variables),
        Relation::Greater => painter.texts.with("drawings-told-greater", &variables),
    }
}

fn row_of(painter: &Painter, id: &str, numbers: &[Decimal]) -> String {
    let numbers: Vec<String> = numbers.iter().map(|number| painter.number(number)).collect();
    painter.texts.with(id, &[("numbers", numbers.join("; ").into())])
}
