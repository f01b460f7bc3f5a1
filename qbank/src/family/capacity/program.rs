//! The program of an automaton: what happens in one column of digits, and what must hold after the last.
use alloc::vec::Vec;
use core::cmp::Ordering;

use super::{Choice, state::State};
use crate::decimal::Decimal;

/// A place in the state that holds a digit of the column being read.
pub(super) type Register = usize;
/// A place in the state that is carried from column to column.
pub(super) type Slot = usize;

/// What happens in each column, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Instruction {
    /// Reads a digit of a given: the automaton branches here.
    Read { given: usize, into: Register },
    /// A digit of a fixed number.
    Fixed { constant: usize, into: Register },
    /// One column of a sum.
    Add { left: Register, right: Register, into: Register, carry: Slot, counted: Option<Slot> },
    /// One column of a difference.
    Subtract {
        left: Register,
        right: Register,
        into: Register,
        lent: Slot,
        counted: Option<Slot>,
        crossed: Option<Slot>,
    },
    /// Whether two numbers compare as demanded so far, looking at some of their digits.
    Compare { left: Register, right: Register, order: Slot, within: Digits },
    /// A digit that must be one of a set (bits 0 to 9), in one place.
    Demand { digit: Register, place: u32, allowed: u16 },
}

impl Instruction {
    /// The registers that are read and then the one that is written.
    pub(super) fn registers_mut(&mut self) -> Vec<&mut Register> {
        match self {
            Self::Read { into, .. } | Self::Fixed { into, .. } => alloc::vec![into],
            Self::Add { left, right, into, .. } | Self::Subtract { left, right, into, .. } => {
                alloc::vec![left, right, into]
            }
            Self::Compare { left, right, .. } => alloc::vec![left, right],
            Self::Demand { digit, .. } => alloc::vec![digit],
        }
    }
}

/// Which digits of two numbers are compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Digits {
    All,
    /// Those before the point.
    Whole,
    /// The one at a place, counted from the point to the right.
    At(u32),
}

/// What a slot must hold after the last column.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Demand {
    /// No carry is left over, nothing is lent from beyond.
    Zero,
    /// One of these orders. The slot tells whether the order so far is one: the higher column decides over the lower
    /// ones, so nothing else need be remembered.
    Order(&'static [Ordering]),
    /// The same as one of several alternatives; those with one number stand for each other.
    Alternative(usize, &'static [Ordering]),
    /// A count within bounds.
    Count { least: usize, most: usize },
    /// A flag, set or not.
    Flag(bool),
}

/// An automaton's program.
#[derive(Debug, PartialEq)]
pub(super) struct Program {
    /// The ranges of the givens that are read.
    pub(super) ranges: Vec<Option<Choice>>,
    pub(super) constants: Vec<Decimal>,
    pub(super) instructions: Vec<Instruction>,
    /// Registers that no later instruction of the column reads, by instruction: cleared, so that equal states meet.
    pub(super) dead_after: Vec<Vec<Register>>,
    pub(super) demands: Vec<(Slot, Demand)>,
    /// Slots start after the registers.
    pub(super) registers: usize,
    pub(super) places: usize,
    pub(super) columns: usize,
}

impl Program {
    /// Whether a given may have that digit in a column: zero where its largest number has no digit, and not zero at its
    /// end if so asked. Its bounds are compared by instructions.
    pub(super) fn may_read(&self, given: usize, column: usize, digit: u8) -> bool {
        let Some(Choice::Range { to, places, digits, .. }) = &self.ranges[given] else {
            return digit == 0;
        };
        let lowest = self.places - *places as usize;
        let width = to.checked_ilog10().map_or(1, |log| log as usize + 1);
        match column.checked_sub(lowest) {
            None => digit == 0,
            Some(column) => (digit == 0 || column < width) && digits.allow(column, digit),
        }
    }

    /// The column of a place after the point; 0 for the ones.
    fn column(&self, place: u32) -> Option<usize> {
        self.places.checked_sub(place as usize)
    }

    pub(super) fn execute(&self, instruction: Instruction, column: usize, state: &mut State) -> Option<()> {
        let slots = self.registers;
        match instruction {
            Instruction::Read { .. } => {}
            Instruction::Fixed { constant, into } => state.set(into, self.fixed_digit(constant, column)),
            Instruction::Add { left, right, into, carry, counted } => {
                let sum = state.get(left) + state.get(right) + state.get(slots + carry);
                state.set(into, sum % 10);
                state.set(slots + carry, sum / 10);
                if let Some(count) = counted {
                    self.counted(count, sum >= 10, state)?;
                }
            }
            Instruction::Subtract { left, right, into, lent, counted, crossed } => {
                let (top, bottom, lends) = (state.get(left), state.get(right), state.get(slots + lent) > 0);
                // A zero that has to lend becomes nine and hands the exchange on to its left.
                let through_zero = lends && top == 0;
                let now = if through_zero { 9 } else { top - u8::from(lends) };
                let exchanges = now < bottom;
                state.set(into, if exchanges { now + 10 } else { now } - bottom);
                state.set(slots + lent, u8::from(exchanges || through_zero));
                if let Some(count) = counted {
                    self.counted(count, exchanges, state)?;
                }
                if let (Some(flag), true) = (crossed, through_zero) {
                    state.set(slots + flag, 1);
                }
            }
            Instruction::Compare { left, right, order, within } => {
                let looked_at = match within {
                    Digits::All => true,
                    Digits::Whole => column >= self.places,
                    Digits::At(place) => self.column(place) == Some(column),
                };
                let here = state.get(left).cmp(&state.get(right));
                if let (true, Demand::Order(allowed) | Demand::Alternative(_, allowed)) =
                    (looked_at && here != Ordering::Equal, &self.demands[order].1)
                {
                    state.set(slots + order, u8::from(allowed.contains(&here)));
                }
            }
            Instruction::Demand { digit, place, allowed } => {
                let here = self.column(place) == Some(column);
                if here && allowed >> state.get(digit) & 1 == 0 {
                    return None;
                }
            }
        }
        Some(())
    }

    /// Counts one more; no way leads on past the most.
    fn counted(&self, slot: Slot, one_more: bool, state: &mut State) -> Option<()> {
        let Demand::Count { most, .. } = self.demands[slot].1 else {
            return None;
        };
        let count = state.get(self.registers + slot) + u8::from(one_more);
        state.set(self.registers + slot, count);
        (usize::from(count) <= most).then_some(())
    }

    pub(super) fn clear(&self, instruction: usize, state: &mut State) {
        for register in &self.dead_after[instruction] {
            state.set(*register, 0);
        }
    }

    fn fixed_digit(&self, constant: usize, column: usize) -> u8 {
        let index = i32::try_from(self.places).unwrap_or(0) - i32::try_from(column).unwrap_or(0);
        self.constants[constant].digit(index)
    }

    pub(super) fn accepts(&self, state: State) -> bool {
        self.demands.iter().all(|(slot, demand)| {
            let held = state.get(self.registers + slot);
            match demand {
                Demand::Zero => held == 0,
                Demand::Order(_) => held == 1,
                Demand::Alternative(group, _) => self.one_holds(*group, state),
                Demand::Count { least, most } => (*least..=*most).contains(&usize::from(held)),
                Demand::Flag(wanted) => (held > 0) == *wanted,
            }
        })
    }

    /// Whether one of the alternatives of a group holds.
    fn one_holds(&self, group: usize, state: State) -> bool {
        self.demands.iter().any(|(slot, demand)| {
            matches!(demand, Demand::Alternative(known, _) if *known == group)
                && state.get(self.registers + slot) == 1
        })
    }

    /// Values from units of the finest place, written with the places of each given.
    pub(super) fn as_written(&self, givens: &[Choice], units: &[i128]) -> Option<Vec<Decimal>> {
        let finest = u32::try_from(self.places).ok()?;
        let values = givens.iter().zip(units).map(|(given, units)| match given {
            Choice::Fixed(value) => Some(*value),
            Choice::Derived | Choice::Mistake(_) => given.at(0),
            Choice::Listed(_) => None,
            Choice::Range { .. } => Decimal::new(*units, finest).ok()?.with_places(given.places()),
        });
        values.collect()
    }
}
