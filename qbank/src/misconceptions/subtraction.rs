//! Subtraction: the classic whole-number procedures carried over to lined-up decimals, alignment, and equal shift.
use super::{Misconception, Rule, two_parts, with_point, written_in_full};
use crate::{
    columns::{self, Digits, MAX_COLUMNS, Pair},
    decimal::Decimal,
    expression::Operation,
};

const fn subtract(rule: fn(&Decimal, &Decimal) -> Option<Decimal>) -> Rule {
    Rule::Operation(Operation::Subtract, rule)
}

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "subtract-smaller-from-larger",
        name: "smaller digit from larger digit",
        source: "Brown and Burton 1978, VanLehn 1982, Young and O'Shea 1981 (abstracts)",
        pupil: "In some column the smaller digit was taken from the larger one; the top digit must give, so exchange first.",
        teacher: "answers consistent with taking the smaller digit from the larger one in every column",
        next: "Act 7.42 − 3.18 out with discs: can 8 hundredths be taken from 2?",
        rule: subtract(smaller_from_larger),
    },
    Misconception {
        id: "subtract-exchange-without-trade",
        name: "exchange without giving one up",
        source: "Brown and Burton 1978 (abstract); a public list of the procedures (read)",
        pupil: "After the exchange the place to the left has one less; make it smaller before going on.",
        teacher: "answers consistent with adding ten to a column without lowering the place to its left",
        next: "Cross out and rewrite the left digit before subtracting.",
        rule: subtract(exchange_without_trade),
    },
    Misconception {
        id: "subtract-zero-instead-of-exchange",
        name: "zero where an exchange is needed",
        source: "VanLehn 1990 (from memory)",
        pupil: "Where the top digit is too small, exchange one from the left instead of writing 0.",
        teacher: "answers consistent with writing zero where the top digit is smaller",
        next: "Check by adding back: does difference plus the bottom number give the top number?",
        rule: subtract(zero_instead_of_exchange),
    },
    Misconception {
        id: "subtract-exchange-from-leftmost",
        name: "exchange from the leftmost digit",
        source: "VanLehn 1990 (from memory)",
        pupil: "The exchange comes from the place just to the left, not from the first digit.",
        teacher: "answers consistent with exchanging always from the leftmost digit",
        next: "Name the trade: one tenth for ten hundredths.",
        rule: subtract(exchange_from_leftmost),
    },
    Misconception {
        id: "subtract-ten-replaces-digit",
        name: "the exchanged ten replaces the digit",
        source: "VanLehn 1990 (from memory)",
        pupil: "The ten joins the digit that is already there: 2 becomes 12.",
        teacher: "answers consistent with subtracting from ten instead of from ten and the digit",
        next: "Lay out the two hundredths and the ten new ones and count them together.",
        rule: subtract(ten_replaces_digit),
    },
    Misconception {
        id: "subtract-stops-at-zero",
        name: "exchange stops at a zero",
        source: "VanLehn 1990 (from memory), Brown and VanLehn 1980 (abstract)",
        pupil: "A zero cannot give one; go on to the next place on the left, and the zero becomes nine.",
        teacher: "answers consistent with leaving a zero unchanged when an exchange has to cross it",
        next: "Trade step by step: one whole for ten tenths, one of them for ten hundredths.",
        rule: subtract(stops_at_zero),
    },
    Misconception {
        id: "subtract-skips-zero",
        name: "exchange skips over zeros",
        source: "VanLehn 1990 (from memory)",
        pupil: "When the exchange crosses a zero, that zero becomes nine.",
        teacher: "answers consistent with skipping zeros in an exchange and leaving them zero",
        next: "Write the crossed-out digits above 9.04: eight, nine, fourteen.",
        rule: subtract(skips_zero),
    },
    Misconception {
        id: "subtract-exchange-from-zero",
        name: "a zero lends without having",
        source: "a public list of the procedures (read); Brown and Burton 1978 (from memory)",
        pupil: "A zero can only become nine if the place to its left gives one; make that digit smaller too.",
        teacher: "answers consistent with turning a zero into nine without lowering the digit to its left",
        next: "Check by adding back, and look which place is one too large.",
        rule: subtract(exchange_from_zero),
    },
    Misconception {
        id: "subtract-zero-becomes-ten",
        name: "a crossed zero becomes ten",
        source: "VanLehn 1990 (from memory)",
        pupil: "The zero becomes ten and gives one away at once: nine are left.",
        teacher: "answers consistent with a crossed zero becoming ten and staying ten",
        next: "Count the tenths after both trades.",
        rule: subtract(zero_becomes_ten),
    },
    Misconception {
        id: "subtract-zero-minus-copies",
        name: "zero minus a digit gives the digit",
        source: "a public list of the procedures (read)",
        pupil: "From 0 nothing can be taken yet: exchange first, then subtract.",
        teacher: "answers consistent with writing the bottom digit where the top digit is zero",
        next: "Ask: you have no hundredths and give six away; where do they come from?",
        rule: subtract(zero_minus_copies),
    },
    Misconception {
        id: "subtract-zero-minus-zero",
        name: "zero minus a digit gives zero",
        source: "Brown and Burton 1978 (from memory)",
        pupil: "From 0 nothing can be taken yet: exchange first, then subtract.",
        teacher: "answers consistent with writing zero where the top digit is zero",
        next: "Check by adding back.",
        rule: subtract(zero_minus_zero),
    },
    Misconception {
        id: "subtract-minus-zero-gives-zero",
        name: "a digit minus zero gives zero",
        source: "VanLehn 1990 (from memory)",
        pupil: "Taking away 0 changes nothing: the top digit stays.",
        teacher: "answers consistent with writing zero where the bottom digit is zero",
        next: "Take nothing away from eight discs: how many are left?",
        rule: subtract(minus_zero_gives_zero),
    },
    Misconception {
        id: "subtract-copies-unfilled-places",
        name: "places without a top digit copied down",
        source: "common practice",
        pupil: "The top number has no digit there: annex a zero first, then exchange and subtract.",
        teacher: "answers consistent with copying the bottom digits where the top number has none",
        next: "Write 6.3 as 6.30 before subtracting.",
        rule: subtract(copies_unfilled_places),
    },
    Misconception {
        id: "subtract-right-edge",
        name: "numbers lined up at the right edge",
        source: "errors and misconceptions in decimals, citing Bell, Swan and Taylor 1981 (read; its case is 12 − 0.1)",
        pupil: "It looks as if the last digits were put under each other; line up the points, so that tenths stand under tenths.",
        teacher: "answers consistent with lining numbers up at their last digits instead of by place",
        next: "Write both numbers on place-value paper and annex zeros.",
        rule: subtract(right_edge),
    },
    Misconception {
        id: "subtract-right-edge-first-point",
        name: "numbers lined up at the right edge, point below the first number's",
        source: "errors and misconceptions in decimals, citing Bell, Swan and Taylor 1981 (read; its case is 12 − 0.1 = 11)",
        pupil: "It looks as if the last digits were put under each other and the point was taken from the first number; line up the points.",
        teacher: "answers consistent with lining numbers up at their last digits and putting the point where the first number has it",
        next: "Ask what is left of 12 metres when only one tenth of a metre is cut off.",
        rule: subtract(right_edge_first_point),
    },
    Misconception {
        id: "subtract-two-whole-numbers",
        name: "whole part and decimal part subtracted as two whole numbers",
        source: "whole-number thinking, Steinle and Stacey (read for the idea)",
        pupil: "The parts before and after the point belong together: line up by place and exchange across the point.",
        teacher: "answers consistent with subtracting the parts before and after the point as two whole numbers",
        next: "Say the numbers in tenths: seventy-five tenths take away …",
        rule: subtract(two_whole_numbers),
    },
    Misconception {
        id: "subtract-shift-on-one-number",
        name: "equal shift on one number only",
        source: "named on a teaching question page (read), without a case",
        pupil: "When you make the number you take away larger, make the other number larger by the same amount.",
        teacher: "answers consistent with raising the second number to a whole and leaving the first as it was",
        next: "Slide both numbers on a number line: the distance must stay the same.",
        rule: subtract(shift_on_one_number),
    },
    Misconception {
        id: "subtract-shift-opposite-ways",
        name: "shift in opposite ways, as in addition",
        source: "a teacher's page on compensation (read; its case differs in size)",
        pupil: "In subtraction both numbers move the same way; only in addition do they move opposite ways.",
        teacher: "answers consistent with raising the second number and lowering the first by the same amount",
        next: "Compare 5.02 − 2.98 and 5.04 − 3.00 on a number line.",
        rule: subtract(shift_opposite_ways),
    },
];

/// Works columns from the right with `step`, which sees the top digits as changed so far and may change them.
fn by_columns(
    a: &Decimal,
    b: &Decimal,
    step: impl Fn(&Pair, &mut Digits, usize) -> Option<u8>,
) -> Option<Decimal> {
    let pair = Pair::lined_up(a, b).ok()?;
    let mut now = pair.top.digits;
    let mut difference = [0; MAX_COLUMNS];
    for (column, digit) in difference.iter_mut().enumerate().take(pair.grid.columns) {
        *digit = step(&pair, &mut now, column)?;
    }
    written_in_full(&pair.grid, &difference)
}

/// The right step: exchange where needed, then subtract.
fn right_step(pair: &Pair, now: &mut Digits, column: usize) -> Option<u8> {
    if now[column] < pair.bottom.digits[column] {
        exchange(pair, now, column)?;
    }
    now[column].checked_sub(pair.bottom.digits[column])
}

/// A right exchange: the next place that has something lends, zeros between become nine.
fn exchange(pair: &Pair, now: &mut Digits, column: usize) -> Option<()> {
    let lender = lender(pair, now, column)?;
    now[lender] -= 1;
    now[column + 1..lender].fill(9);
    now[column] += 10;
    Some(())
}

/// The nearest place on the left that has something to lend.
fn lender(pair: &Pair, now: &Digits, column: usize) -> Option<usize> {
    (column + 1..pair.grid.columns).find(|left| now[*left] > 0)
}

fn too_small(pair: &Pair, now: &Digits, column: usize) -> bool {
    now[column] < pair.bottom.digits[column]
}

fn smaller_from_larger(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| Some(now[column].abs_diff(pair.bottom.digits[column])))
}

fn exchange_without_trade(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        let ten = if too_small(pair, now, column) { 10 } else { 0 };
        Some(now[column] + ten - pair.bottom.digits[column])
    })
}

fn zero_instead_of_exchange(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| Some(now[column].saturating_sub(pair.bottom.digits[column])))
}

fn exchange_from_leftmost(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            let leftmost = (column + 1..pair.grid.columns).rev().find(|left| now[*left] > 0)?;
            now[leftmost] -= 1;
            now[column] += 10;
        }
        now[column].checked_sub(pair.bottom.digits[column])
    })
}

fn ten_replaces_digit(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            exchange(pair, now, column)?;
            return Some(10 - pair.bottom.digits[column]);
        }
        right_step(pair, now, column)
    })
}

fn stops_at_zero(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            lender(pair, now, column)?;
            now[column + 1] = now[column + 1].saturating_sub(1);
            now[column] += 10;
        }
        now[column].checked_sub(pair.bottom.digits[column])
    })
}

fn skips_zero(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            now[lender(pair, now, column)?] -= 1;
            now[column] += 10;
        }
        now[column].checked_sub(pair.bottom.digits[column])
    })
}

fn exchange_from_zero(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            lender(pair, now, column)?;
            now[column + 1] = if now[column + 1] == 0 { 9 } else { now[column + 1] - 1 };
            now[column] += 10;
        }
        now[column].checked_sub(pair.bottom.digits[column])
    })
}

fn zero_becomes_ten(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if too_small(pair, now, column) {
            let lender = lender(pair, now, column)?;
            now[lender] -= 1;
            now[column + 1..lender].fill(10);
            now[column] += 10;
        }
        now[column].checked_sub(pair.bottom.digits[column])
    })
}

/// Whether the top digit is a zero that no exchange has touched yet and something is to be taken from it.
fn untouched_zero(pair: &Pair, now: &Digits, column: usize) -> bool {
    pair.top.digits[column] == 0 && now[column] == 0 && pair.bottom.digits[column] > 0
}

fn zero_minus_copies(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        if untouched_zero(pair, now, column) {
            Some(pair.bottom.digits[column])
        } else {
            right_step(pair, now, column)
        }
    })
}

fn zero_minus_zero(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(
        a,
        b,
        |pair, now, column| {
            if untouched_zero(pair, now, column) { Some(0) } else { right_step(pair, now, column) }
        },
    )
}

fn minus_zero_gives_zero(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    by_columns(a, b, |pair, now, column| {
        let written = (pair.bottom.written.0..pair.bottom.written.1).contains(&column);
        let leftmost = column + 1 == pair.grid.columns;
        if written && !leftmost && pair.bottom.digits[column] == 0 {
            Some(0)
        } else {
            right_step(pair, now, column)
        }
    })
}

fn copies_unfilled_places(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    if a.places() >= b.places() {
        return None;
    }
    by_columns(a, b, |pair, now, column| {
        if column < pair.top.written.0 {
            Some(pair.bottom.digits[column])
        } else {
            right_step(pair, now, column)
        }
    })
}

fn right_edge(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    if a.places() == b.places() {
        return None;
    }
    with_point(a.point_removed().checked_sub(b.point_removed())?, a.places().max(b.places()))
}

fn right_edge_first_point(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    if a.places() == b.places() {
        return None;
    }
    with_point(a.point_removed().checked_sub(b.point_removed())?, a.places())
}

fn two_whole_numbers(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let width = a.places().max(b.places());
    let whole = a.whole_part().checked_sub(b.whole_part())?;
    (width > 0).then(|| two_parts(whole, a.fraction_units().abs_diff(b.fraction_units()), width))?
}

/// The next whole number above, and how far it is.
fn raised_to_whole(b: &Decimal) -> Option<(Decimal, Decimal)> {
    if b.fraction_units() == 0 {
        return None;
    }
    let whole = with_point(b.whole_part() + 1, 0)?;
    let by = columns::subtract(&whole, b).ok()?.result().ok()?;
    Some((whole, by))
}

fn shift_on_one_number(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (whole, _) = raised_to_whole(b)?;
    columns::subtract(a, &whole).ok()?.result().ok()
}

fn shift_opposite_ways(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let (whole, by) = raised_to_whole(b)?;
    let lowered = columns::subtract(a, &by).ok()?.result().ok()?;
    columns::subtract(&lowered, &whole).ok()?.result().ok()
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions, each recomputed there by an independent script.
        check(&[
            ("subtract-smaller-from-larger", "7.42 - 3.18", "4.36"),
            ("subtract-exchange-without-trade", "7.42 - 3.18", "4.34"),
            ("subtract-zero-instead-of-exchange", "7.42 - 3.18", "4.3"),
            ("subtract-exchange-from-leftmost", "7.42 - 3.18", "3.34"),
            ("subtract-ten-replaces-digit", "7.42 - 3.18", "4.22"),
            ("subtract-stops-at-zero", "9.04 - 3.28", "5.86"),
            ("subtract-skips-zero", "9.04 - 3.28", "4.86"),
            ("subtract-exchange-from-zero", "9.04 - 3.28", "6.76"),
            ("subtract-zero-becomes-ten", "9.04 - 3.28", "5.86"),
            ("subtract-zero-becomes-ten", "9.04 - 3.08", "5.106"),
            ("subtract-zero-minus-copies", "8.40 - 3.16", "5.36"),
            ("subtract-zero-minus-zero", "8.40 - 3.16", "5.3"),
            ("subtract-minus-zero-gives-zero", "5.86 - 2.04", "3.02"),
            ("subtract-copies-unfilled-places", "6.3 - 2.75", "3.65"),
            ("subtract-right-edge", "12.5 - 0.34", "0.91"),
            ("subtract-right-edge-first-point", "12.5 - 0.34", "9.1"),
            ("subtract-right-edge-first-point", "12 - 0.1", "11"),
            ("subtract-right-edge-first-point", "12.5 - 0.3", ""),
            ("subtract-two-whole-numbers", "7.5 - 2.35", "5.3"),
            ("subtract-shift-on-one-number", "5.02 - 2.98", "2.02"),
            ("subtract-shift-opposite-ways", "5.02 - 2.98", "2"),
        ]);
    }

    #[test]
    fn predicts_the_published_whole_number_cases() {
        // A public list of four of the Brown and Burton procedures, and Brown and Burton 1978 / VanLehn 1990
        // (from memory), as gathered in the trade's notes.
        check(&[
            ("subtract-exchange-without-trade", "143 - 28", "125"),
            ("subtract-smaller-from-larger", "143 - 24", "121"),
            ("subtract-exchange-from-zero", "1300 - 522", "878"),
            ("subtract-zero-minus-copies", "140 - 21", "121"),
            ("subtract-exchange-from-zero", "103 - 45", "158"),
            ("subtract-smaller-from-larger", "253 - 118", "145"),
            ("subtract-zero-minus-zero", "140 - 21", "120"),
            ("subtract-zero-becomes-ten", "1300 - 522", "788"),
            ("subtract-exchange-from-zero", "306 - 187", "219"),
        ]);
    }

    #[test]
    fn separates_seven_rules_on_a_good_item() {
        // The trade's notes on collisions: 64.05 - 28.37 = 35.68.
        check(&[
            ("subtract-smaller-from-larger", "64.05 - 28.37", "44.32"),
            ("subtract-exchange-without-trade", "64.05 - 28.37", "46.78"),
            ("subtract-zero-instead-of-exchange", "64.05 - 28.37", "40"),
            ("subtract-exchange-from-leftmost", "64.05 - 28.37", "16.78"),
            ("subtract-stops-at-zero", "64.05 - 28.37", "35.78"),
            ("subtract-skips-zero", "64.05 - 28.37", "34.78"),
            ("subtract-exchange-from-zero", "64.05 - 28.37", "36.68"),
        ]);
    }
}
