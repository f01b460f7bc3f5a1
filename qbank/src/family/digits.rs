//! Which digits may stand in which place of a number: a zero in the tenths, no zero at the end.
use alloc::vec::Vec;
use core::ops::RangeInclusive;

/// Bits 0 to 9: all digits.
const ANY: u16 = 0x3FF;

/// The digits that may stand in each place. Places to the left of a number's first digit count as zeros.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AllowedDigits {
    /// A set of digits for each column, from the last written one to the left; columns beyond allow any digit.
    columns: Vec<u16>,
}

impl AllowedDigits {
    /// The same with only these digits in a column, 0 being the last written one.
    #[must_use]
    pub(super) fn only(mut self, column: usize, digits: u16) -> Self {
        if self.columns.len() <= column {
            self.columns.resize(column + 1, ANY);
        }
        self.columns[column] &= digits;
        self
    }

    /// Whether a digit may stand in a column, 0 being the last written one.
    #[must_use]
    pub fn allow(&self, column: usize, digit: u8) -> bool {
        self.columns.get(column).is_none_or(|digits| digits >> digit & 1 == 1)
    }

    /// How many whole numbers below `limit` have allowed digits only.
    pub(super) fn below(&self, limit: u64) -> u64 {
        let width = limit.checked_ilog10().map_or(1, |log| log as usize + 1).max(self.columns.len());
        let choices = |column: usize| (0..10).filter(|digit| self.allow(column, *digit)).count() as u64;
        // What stands to the right of each column can be anything allowed once a digit is smaller than the limit's.
        let mut right_of = alloc::vec![1_u64; width + 1];
        for column in 0..width {
            right_of[column + 1] = right_of[column].saturating_mul(choices(column));
        }
        let mut count = 0_u64;
        for column in (0..width).rev() {
            let here = u32::try_from(column).ok().and_then(|column| 10_u64.checked_pow(column));
            let digit = here.map_or(0, |here| (limit / here % 10) as u8);
            let smaller = (0..digit).filter(|smaller| self.allow(column, *smaller)).count() as u64;
            count = count.saturating_add(smaller.saturating_mul(right_of[column]));
            if !self.allow(column, digit) {
                break;
            }
        }
        count
    }

    /// The allowed number at an index within bounds, smallest first.
    pub(super) fn at(&self, bounds: RangeInclusive<u64>, index: u64) -> Option<u64> {
        let rank = self.below(*bounds.start()).checked_add(index)?;
        // The smallest number with more than `rank` allowed ones up to and including it.
        let (mut low, mut high) = bounds.into_inner();
        if self.below(high + 1) <= rank {
            return None;
        }
        while low < high {
            let middle = low + (high - low) / 2;
            if self.below(middle + 1) > rank {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        Some(low)
    }
}

/// Reads a set of digits: `0`, `05`, `1-9`, `0-4` or a mixture; `None` if it is none, or empty.
pub(super) fn read_digits(text: &str) -> Option<u16> {
    let mut digits = 0_u16;
    let mut rest = text.chars().peekable();
    while let Some(character) = rest.next() {
        let first = character.to_digit(10)?;
        let mut last = first;
        if rest.peek() == Some(&'-') {
            rest.next();
            last = rest.next()?.to_digit(10).filter(|last| *last >= first)?;
        }
        digits |= (first..=last).fold(0, |set, digit| set | 1 << digit);
    }
    (digits != 0).then_some(digits)
}

#[cfg(test)]
mod tests {
    use alloc::string::ToString;

    use super::*;

    #[test]
    fn counts_and_gives_what_one_by_one_counting_does() {
        let sets: [&[(usize, &str)]; 5] =
            [&[], &[(0, "1-9")], &[(1, "0")], &[(0, "05"), (2, "1-3")], &[(0, "1-9"), (1, "05")]];
        for set in sets {
            let allowed = set.iter().fold(AllowedDigits::default(), |allowed, (column, digits)| {
                allowed.only(*column, read_digits(digits).unwrap())
            });
            for bounds in [1..=9_u64, 10..=30, 11..=99, 101..=989, 7..=7, 0..=1205] {
                let fits = |number: &u64| {
                    let digits = number.to_string();
                    let padded = alloc::format!("{digits:0>4}");
                    padded
                        .bytes()
                        .rev()
                        .enumerate()
                        .all(|(column, digit)| allowed.allow(column, digit - b'0'))
                };
                let by_hand: Vec<u64> = bounds.clone().filter(fits).collect();
                let count = allowed.below(bounds.end() + 1) - allowed.below(*bounds.start());
                assert_eq!(count, by_hand.len() as u64, "{set:?} {bounds:?}");
                let given: Vec<u64> =
                    (0..count).map(|index| allowed.at(bounds.clone(), index).unwrap()).collect();
                assert_eq!(given, by_hand, "{set:?} {bounds:?}");
                assert_eq!(allowed.at(bounds, count), None);
            }
        }
    }

    #[test]
    fn reads_sets_of_digits() {
        assert_eq!(read_digits("0"), Some(1));
        assert_eq!(read_digits("1-9"), Some(0x3FE));
        assert_eq!(read_digits("05"), Some(0b10_0001));
        for text in ["", "x", "9-1", "1-", "-"] {
            assert_eq!(read_digits(text), None, "{text}");
        }
    }
}
