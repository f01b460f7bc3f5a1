//! Addition: numbers lined up by the wrong edge, carries lost or misplaced.
use super::{Misconception, Rule, two_parts, with_point, written_in_full};
use crate::{
    columns::{self, MAX_COLUMNS, Pair},
    decimal::{Decimal, power_of_ten, split},
    expression::Operation,
};

const fn add(rule: fn(&Decimal, &Decimal) -> Option<Decimal>) -> Rule {
    Rule::Operation(Operation::Add, rule)
}

pub(super) static ALL: &[Misconception] = &[
    Misconception {
        id: "add-right-edge",
        name: "numbers lined up at the right edge",
        source: "Hiebert and Wearne 1985 (abstract); a published case 4.15 + 0.1 = 4.16",
        pupil: "It looks as if the last digits were put under each other; line up the points, so that tenths stand under tenths.",
        teacher: "answers consistent with lining numbers up at their last digits instead of by place",
        next: "Write both numbers on place-value paper and annex zeros until they have the same number of places.",
        rule: add(right_edge),
    },
    Misconception {
        id: "add-right-edge-first-point",
        name: "numbers lined up at the right edge, point below the first number's",
        source: "Hiebert and Wearne 1985 (abstract); where the point goes: common practice",
        pupil: "It looks as if the last digits were put under each other and the point was taken from the first number; line up the points.",
        teacher: "answers consistent with lining numbers up at their last digits and putting the point where the first number has it",
        next: "Write both numbers on place-value paper, then ask which digits of the sum are tenths.",
        rule: add(right_edge_first_point),
    },
    Misconception {
        id: "add-point-ignored",
        name: "decimal point left out",
        source: "a provincial assessment note on decimals (read)",
        pupil: "The digits were added as whole numbers; where does the point belong?",
        teacher: "answers consistent with adding the digits as whole numbers and leaving the point out",
        next: "Estimate first: is the sum nearer to 5 or to 100?",
        rule: add(point_ignored),
    },
    Misconception {
        id: "add-two-whole-numbers",
        name: "whole part and decimal part added as two whole numbers",
        source: "whole-number thinking, Steinle and Stacey (read)",
        pupil: "Ten tenths make one whole: when the tenths come to ten or more, carry one across the point.",
        teacher: "answers consistent with adding the parts before and after the point as two separate whole numbers",
        next: "Count on in tenths past a whole: 4.8, 4.9, and then?",
        rule: add(two_whole_numbers),
    },
    Misconception {
        id: "add-carry-dropped",
        name: "carries dropped",
        source: "Cox 1974 (abstract)",
        pupil: "Some columns come to ten or more: remember to carry the one to the next place.",
        teacher: "answers consistent with dropping every carry",
        next: "Trade ten hundredths for one tenth with place-value discs, then write the small one above.",
        rule: add(carry_dropped),
    },
    Misconception {
        id: "add-carry-lost-at-point",
        name: "carry lost at the point",
        source: "common practice",
        pupil: "The tenths came to ten or more: carry one across the point to the ones.",
        teacher: "answers consistent with losing the carry from tenths to ones",
        next: "Add 0.7 and 0.5 with discs: what can ten tenths be traded for?",
        rule: add(carry_lost_at_point),
    },
    Misconception {
        id: "add-carry-written-in-full",
        name: "column sums written in full",
        source: "Ashlock (from memory)",
        pupil: "Each column holds one digit: write the ones of the column and carry the ten.",
        teacher: "answers consistent with writing each column's whole sum instead of carrying",
        next: "Compare with an estimate: can the sum have that many digits?",
        rule: add(carry_written_in_full),
    },
    Misconception {
        id: "add-wrong-digit-carried",
        name: "wrong digit carried",
        source: "Ashlock (from memory)",
        pupil: "When a column comes to 15, write the 5 and carry the 1, not the other way round.",
        teacher: "answers consistent with writing the tens digit of a column sum and carrying its ones digit",
        next: "Say it aloud: fifteen hundredths are one tenth and five hundredths.",
        rule: add(wrong_digit_carried),
    },
    Misconception {
        id: "add-left-edge",
        name: "numbers lined up at the left edge",
        source: "common practice",
        pupil: "It looks as if the first digits were put under each other; line up the points instead.",
        teacher: "answers consistent with lining numbers up at their first digits instead of by place",
        next: "Name the place of each first digit before adding.",
        rule: add(left_edge),
    },
    Misconception {
        id: "add-ragged-tail-dropped",
        name: "extra places dropped",
        source: "common practice",
        pupil: "One number has more places; keep them: annex a zero to the other number and add every column.",
        teacher: "answers consistent with dropping the places that only one of the numbers has",
        next: "Write 4.6 as 4.60 and ask what the hundredths come to.",
        rule: add(ragged_tail_dropped),
    },
];

fn right_edge(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let ragged = a.places() != b.places();
    ragged.then(|| with_point(a.point_removed() + b.point_removed(), a.places().max(b.places())))?
}

fn right_edge_first_point(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let ragged = a.places() != b.places();
    ragged.then(|| with_point(a.point_removed() + b.point_removed(), a.places()))?
}

fn point_ignored(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let has_point = a.places() > 0 || b.places() > 0;
    has_point.then(|| with_point(a.point_removed() + b.point_removed(), 0))?
}

fn two_whole_numbers(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let both_have_fractions = a.places() > 0 && b.places() > 0;
    let width = a.places().max(b.places());
    both_have_fractions
        .then(|| two_parts(a.whole_part() + b.whole_part(), a.fraction_units() + b.fraction_units(), width))?
}

fn carry_dropped(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let pair = Pair::lined_up(a, b).ok()?;
    let mut sum = [0; MAX_COLUMNS];
    for (column, digit) in sum.iter_mut().enumerate().take(pair.grid.columns) {
        *digit = (pair.top.digits[column] + pair.bottom.digits[column]) % 10;
    }
    pair.grid.numeral(&sum).ok()
}

fn carry_lost_at_point(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let places = a.places().max(b.places());
    let fraction = |numeral: &Decimal| numeral.with_places(places).map(|same| same.fraction_units());
    let (_, lost) = split(fraction(a)? + fraction(b)?, places);
    (places > 0).then(|| two_parts(a.whole_part() + b.whole_part(), lost, places))?
}

fn carry_written_in_full(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let pair = Pair::lined_up(a, b).ok()?;
    let mut sums = [0; MAX_COLUMNS];
    for (column, sum) in sums.iter_mut().enumerate().take(pair.grid.columns) {
        *sum = pair.top.digits[column] + pair.bottom.digits[column];
    }
    written_in_full(&pair.grid, &sums)
}

fn wrong_digit_carried(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    let pair = Pair::lined_up(a, b).ok()?;
    let mut written = [0; MAX_COLUMNS];
    let mut carried = 0;
    for (column, digit) in written.iter_mut().enumerate().take(pair.grid.columns) {
        let sum = pair.top.digits[column] + pair.bottom.digits[column] + carried;
        let leftmost = column + 1 == pair.grid.columns;
        (*digit, carried) = if sum < 10 || leftmost { (sum, 0) } else { (sum / 10, sum % 10) };
    }
    written_in_full(&pair.grid, &written)
}

fn left_edge(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    if a.whole_digits() == b.whole_digits() {
        return None;
    }
    let width = |numeral: &Decimal| numeral.whole_digits() + numeral.places();
    let longer = width(a).max(width(b));
    let padded =
        |numeral: &Decimal| numeral.point_removed().checked_mul(power_of_ten(longer - width(numeral)));
    with_point(padded(a)?.checked_add(padded(b)?)?, a.places() + longer - width(a))
}

fn ragged_tail_dropped(a: &Decimal, b: &Decimal) -> Option<Decimal> {
    if a.places() == b.places() {
        return None;
    }
    let shorter = a.places().min(b.places());
    columns::sum(&columns::cut(a, shorter).ok()?, &columns::cut(b, shorter).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use crate::misconceptions::tests::check;

    #[test]
    fn predicts_the_worked_examples() {
        // The trade's list of misconceptions; 4.15 + 0.1 = 4.16 is a published case, the rest were recomputed there.
        check(&[
            ("add-right-edge", "4.6 + 0.75", "1.21"),
            ("add-right-edge", "4.15 + 0.1", "4.16"),
            ("add-right-edge", "4.68 + 2.57", ""),
            ("add-right-edge-first-point", "4.6 + 0.75", "12.1"),
            ("add-right-edge-first-point", "4.68 + 2.57", ""),
            ("add-point-ignored", "4.6 + 0.75", "121"),
            ("add-two-whole-numbers", "3.8 + 1.5", "4.13"),
            ("add-two-whole-numbers", "4.6 + 0.75", "4.81"),
            ("add-two-whole-numbers", "4.05 + 1.02", ""),
            ("add-carry-dropped", "4.68 + 2.57", "6.15"),
            ("add-carry-lost-at-point", "4.68 + 2.57", "6.25"),
            ("add-carry-written-in-full", "4.68 + 2.57", "6.1115"),
            ("add-wrong-digit-carried", "4.68 + 2.57", "12.11"),
            ("add-left-edge", "12.5 + 3.41", "46.6"),
            ("add-left-edge", "2.5 + 3.41", ""),
            ("add-ragged-tail-dropped", "4.6 + 0.75", "5.3"),
        ]);
    }
}
