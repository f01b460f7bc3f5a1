//! An equal shift on the number line: both numbers move by the same amount, and their distance stays.

use qbank::columns::board::EqualShift;
use qbank::decimal::Decimal;

use super::{Letters, Line, Picture};

/// Where the line lies, from the top.
const LINE: i32 = 74;
/// Width of the picture.
const WIDTH: i32 = 540;
/// Where the smaller number stands.
const START: i32 = 60;
/// How far the line is used.
const SPAN: i32 = 420;
/// Length of a shift where the numbers are far apart and the line is broken between them.
const BROKEN_SHIFT: i32 = 130;

/// Where the four numbers stand on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Places {
    low: i32,
    low_raised: i32,
    high: i32,
    high_raised: i32,
    /// Whether a part of the line between the numbers is left out.
    broken: bool,
}

impl Places {
    /// To scale where the numbers are near each other; else with a break, both shifts equally long all the same.
    fn of(shift: &EqualShift) -> Self {
        let places = shift.difference.places().max(shift.shift.places());
        let units = |number: &Decimal| number.units_at(places).unwrap_or(1);
        let (distance, moved) = (units(&shift.difference), units(&shift.shift));
        let near = distance <= moved.saturating_mul(3) && moved <= distance.saturating_mul(3);
        let length = if near {
            let all = distance.saturating_add(moved).max(1);
            i32::try_from(moved.saturating_mul(SPAN.into()) / all).unwrap_or(BROKEN_SHIFT)
        } else {
            BROKEN_SHIFT
        };
        let high = START + SPAN - length;
        Self { low: START, low_raised: START + length, high, high_raised: START + SPAN, broken: !near }
    }
}

/// The picture; `told` writes a number as the reader's region does.
pub(super) fn picture(shift: &EqualShift, title: String, told: impl Fn(&Decimal) -> String) -> Picture {
    let at = Places::of(shift);
    let mut picture = Picture { title, width: WIDTH, height: 228, letters: Vec::new(), lines: Vec::new() };
    draw_line(&mut picture, at);
    let arrow = format!("+{}", told(&shift.shift));
    for (from, to) in [(at.low, at.low_raised), (at.high, at.high_raised)] {
        draw_arrow(
            &mut picture,
            from,
            to,
            &arrow,
            if from == at.low || at.high > at.low_raised { 40 } else { 16 },
        );
    }
    let numbers = [
        (at.low, shift.low, 28),
        (at.high, shift.high, 28),
        (at.low_raised, shift.low_raised, 54),
        (at.high_raised, shift.high_raised, 54),
    ];
    for (x, number, below) in numbers {
        picture.lines.push(Line { from: (x, LINE - 6), to: (x, LINE + below - 20), class: "ruled" });
        let class = if below == 28 { "digit" } else { "digit raised" };
        picture.letters.push(Letters { x, y: LINE + below, text: told(&number), class });
    }
    let distance = told(&shift.difference);
    for (from, to, y, class) in
        [(at.low, at.high, 172, "distance"), (at.low_raised, at.high_raised, 208, "distance raised")]
    {
        picture.lines.push(Line { from: (from, y), to: (to, y), class });
        for end in [from, to] {
            picture.lines.push(Line { from: (end, y - 5), to: (end, y + 5), class });
        }
        picture.letters.push(Letters {
            x: from.midpoint(to),
            y: y - 6,
            text: distance.clone(),
            class: "digit",
        });
    }
    picture
}

fn draw_line(picture: &mut Picture, at: Places) {
    let whole = (20, WIDTH - 20);
    if !at.broken {
        picture.lines.push(Line { from: (whole.0, LINE), to: (whole.1, LINE), class: "ruled" });
        return;
    }
    let middle = at.low_raised.midpoint(at.high);
    picture.lines.push(Line { from: (whole.0, LINE), to: (middle - 8, LINE), class: "ruled" });
    picture.lines.push(Line { from: (middle + 8, LINE), to: (whole.1, LINE), class: "ruled" });
    for x in [middle - 8, middle + 8] {
        picture.lines.push(Line { from: (x - 4, LINE + 8), to: (x + 4, LINE - 8), class: "ruled" });
    }
}

fn draw_arrow(picture: &mut Picture, from: i32, to: i32, label: &str, y: i32) {
    let y = y + 12;
    let head = (to - from).clamp(2, 8);
    picture.lines.push(Line { from: (from, y), to: (to, y), class: "arrow" });
    for side in [-5, 5] {
        picture.lines.push(Line { from: (to - head, y + side), to: (to, y), class: "arrow" });
    }
    let text = label.to_owned();
    picture.letters.push(Letters { x: from.midpoint(to), y: y - 6, text, class: "small carry" });
}

#[cfg(test)]
mod tests {
    use qbank::expression::Names;
    use qbank::working::{Block, blocks};

    use super::*;

    fn shift(expression: &str) -> EqualShift {
        let blocks = blocks(&expression.parse().unwrap(), &Names::new()).unwrap();
        let [Block::Subtraction(worked)] = blocks.as_slice() else { panic!("{blocks:?}") };
        worked.equal_shift().unwrap()
    }

    #[test]
    fn both_shifts_and_both_distances_are_equally_long() {
        for expression in
            ["31.42 - 9.97", "9.7 - 9.2", "10.6 - 9.5", "4.25 - 3.75", "48.85 - 8.96", "5.1 - 5.05"]
        {
            let at = Places::of(&shift(expression));
            assert_eq!(at.low_raised - at.low, at.high_raised - at.high, "{expression}");
            assert_eq!(at.high - at.low, at.high_raised - at.low_raised, "{expression}");
            assert!(
                at.low < at.low_raised && at.low < at.high && at.high_raised <= WIDTH - 40,
                "{expression}: {at:?}"
            );
        }
    }
}
